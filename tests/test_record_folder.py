"""Record folders: whole or not at all, never overwritten, and opened only when intact."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import time
import tomllib
from functools import cache
from pathlib import Path

import pytest
from record_samples import (
    SCHEDULE,
    copied_record,
    data_of,
    rewrite,
)

from weldcalc.errors import InputError, WeldcalcError
from weldcalc.record import Record, make_record, open_record, read_record, write_record
from weldcalc.records.files import unfinished_folders, write_folder
from weldcalc.schedule import schedule_from_mapping


class TestWriting:
    def test_existing_folder_is_never_touched(self, tmp_path):
        folder = copied_record(tmp_path)
        before = (folder / "record.json").read_bytes()
        with pytest.raises(InputError, match=r"never overwritten.*previous"):
            write_record(_record(), folder)
        assert (folder / "record.json").read_bytes() == before

    @pytest.mark.parametrize("kind", ["file", "link", "empty folder"])
    def test_nor_anything_else_of_that_name(self, tmp_path, kind):
        target = tmp_path / "record"
        {
            "file": lambda: target.write_text("mine"),
            "link": lambda: target.symlink_to(tmp_path / "nowhere"),
            "empty folder": target.mkdir,
        }[kind]()
        with pytest.raises(InputError, match="exists"):
            write_record(_record(), target)

    def test_missing_parent_is_named(self, tmp_path):
        with pytest.raises(InputError, match="make it first"):
            write_record(_record(), tmp_path / "no" / "record")

    def test_two_at_once_one_wins(self, tmp_path):
        barrier, answers, refusals = threading.Barrier(2), [], []

        def run(name: str) -> None:
            def fill(draft: Path) -> None:
                (draft / "name").write_text(name)
                barrier.wait(timeout=20)

            try:
                write_folder(tmp_path / "record", fill)
                answers.append(name)
            except InputError as error:
                refusals.append(str(error))

        threads = [threading.Thread(target=run, args=(name,)) for name in ("one", "two")]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(answers) == len(refusals) == 1
        assert "another run wrote this folder first" in refusals[0]
        assert (tmp_path / "record/name").read_text() == answers[0]
        assert [path.name for path in tmp_path.iterdir()] == ["record"]

    def test_killed_run_leaves_no_record_and_its_leftover_is_told(self, tmp_path):
        code = (
            "import sys, time; from pathlib import Path\n"
            "from weldcalc.records.files import write_folder\n"
            "def fill(draft):\n"
            "    (draft / 'record.json').write_text('{}'); print('ready', flush=True)\n"
            "    time.sleep(60)\n"
            "write_folder(Path(sys.argv[1]), fill)\n"
        )
        target = tmp_path / "record"
        with subprocess.Popen(
            [sys.executable, "-c", code, str(target)], stdout=subprocess.PIPE, text=True
        ) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == "ready\n"
            process.send_signal(signal.SIGKILL)
        assert not target.exists()
        written = write_record(_record(), target)
        assert read_record(written.folder)["number"] == "TEST-1"
        assert any("may be deleted" in note for note in written.notes)

    def test_failure_on_the_way_leaves_nothing(self, tmp_path):
        def fill(draft: Path) -> None:
            raise RuntimeError("disk on fire")

        with pytest.raises(RuntimeError):
            write_folder(tmp_path / "record", fill)
        assert list(tmp_path.iterdir()) == []

    def test_views_that_fail_leave_notes_and_a_whole_record(self, tmp_path):
        def view(draft: Path) -> None:
            raise WeldcalcError("no kernel here")

        def drawing(draft: Path) -> None:
            raise ZeroDivisionError("no scale")

        written = write_record(_record(), tmp_path / "record", views=[view, drawing])
        assert written.notes == (
            "no kernel here",
            "a view could not be made: ZeroDivisionError: no scale",
        )
        assert read_record(written.folder)["number"] == "TEST-1"

    def test_altered_record_is_not_read(self, tmp_path):
        folder = copied_record(tmp_path)
        rewrite(folder, lambda data: data.update(title="Another"), sealed=False)
        with pytest.raises(InputError, match="altered"):
            read_record(folder)

    def test_opened_record_is_the_one_asked_for(self, tmp_path):
        folder = copied_record(tmp_path)
        data, made = open_record(folder, data_of(folder)["record_sha256"])
        assert (data["number"], made.schedule.number) == ("TEST-1", "TEST-1")
        assert made.to_json()["passes"] == data["computed"]["passes"]
        with pytest.raises(InputError, match="asked for"):
            open_record(folder, "0" * 64)
        (folder / "inputs/schedule.toml").write_text(SCHEDULE.replace("390", "391"))
        with pytest.raises(InputError, match="altered"):
            open_record(folder)


@cache
def _record() -> Record:
    return make_record(schedule_from_mapping(tomllib.loads(SCHEDULE)))


def test_leftovers_are_those_of_this_folder_whatever_its_name(tmp_path):
    own, other = tmp_path / ".rec[1].unfinished-ab", tmp_path / ".rec1.unfinished-ab"
    own.mkdir()
    other.mkdir()
    assert unfinished_folders(tmp_path / "rec[1]") == (own,)
    assert unfinished_folders(tmp_path / "rec?") == ()


def test_nothing_is_half_imported_when_views_begin_side_by_side(tmp_path):
    """The card of a record was lost to another view that was importing what both use."""
    code = (
        "import sys; from weldcalc import workflow\n"
        "workflow.make_record = lambda *_, **__: None\n"
        "workflow._page_views = lambda *_: ()\n"
        "def write(*_, **__):\n"
        "    print(sys.modules['IPython'].version_info[0])\n"
        "workflow.write_record = write\n"
        "workflow.write_full_record('any.toml', folder='new')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert int(done.stdout) >= 8


def test_views_beside_the_others_get_a_folder_that_stays_where_it_is(tmp_path, monkeypatch):
    """A notebook is run in another working folder, while other views are being written."""
    monkeypatch.chdir(tmp_path)
    moved, elsewhere = threading.Event(), tmp_path / "elsewhere"
    elsewhere.mkdir()

    def notebook(draft: Path) -> None:
        monkeypatch.chdir(elsewhere)
        moved.set()
        time.sleep(0.2)
        monkeypatch.chdir(tmp_path)

    def card(draft: Path) -> None:
        assert moved.wait(20)
        (draft / "setup_card.pdf").write_bytes(b"card")

    written = write_record(_record(), Path("record"), views=[notebook], beside=[card])
    assert written.notes == ()
    assert (tmp_path / "record/setup_card.pdf").read_bytes() == b"card"
