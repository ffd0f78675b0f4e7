"""Records made while something goes wrong around them: one clear line, whole or not there."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from record_samples import (
    ACCEPTANCE,
    COUPONS,
    SCHEDULE,
    coupon_files,
    data_of,
    remember_estimates,
    write_schedule,
)

from weldcalc import record as record_module
from weldcalc import workflow
from weldcalc.canonical import sha256_of_bytes
from weldcalc.cli import main
from weldcalc.errors import InputError
from weldcalc.recheck import recheck
from weldcalc.record import make_record, open_record, read_record, write_record
from weldcalc.records import content as record_content

COMMAND = ["record", "schedule.toml", "-o", "made"]
WITH_FILES = [*COMMAND, "--coupons", "coupons.csv", "--acceptance", "acceptance.toml"]


@pytest.fixture(autouse=True)
def _shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_schedule(tmp_path)
    coupon_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    remember_estimates(monkeypatch)


@pytest.fixture
def _no_views(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workflow, "_page_views", lambda *_: ())
    monkeypatch.setattr(workflow, "_file_views", lambda *_: ())


def names_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


INPUTS = {"schedule.toml", "coupons.csv", "acceptance.toml"}

# the notebook of a record ends its own kernel as a person or a system short of memory would; or
# the kernel ends before it has said that it is there
DEAD_KERNEL = """
import sys
from pathlib import Path
import ipykernel.kernelspec, nbformat
from nbformat.v4 import new_code_cell, new_notebook
from weldcalc import notebook

folder = Path("templates")
folder.mkdir()
cells = [new_code_cell('record_folder: str = ""'), new_code_cell("print('so far')")]
cells[0].metadata["tags"] = ["parameters"]
cells += [new_code_cell("import os, signal; os.kill(os.getpid(), signal.SIGKILL)")]
nbformat.write(new_notebook(cells=cells), folder / "qualification_record.ipynb")
notebook.notebook_folder = lambda: folder
if sys.argv.pop(1) == "at its start":
    end = [sys.executable, "-c", "import os, signal; os.kill(os.getpid(), signal.SIGKILL)"]
    spec = {"argv": end, "display_name": "dead", "language": "python"}
    ipykernel.kernelspec.get_kernel_dict = lambda **_: spec

from weldcalc.cli import main
main()
"""


@pytest.mark.parametrize("moment", ["in mid-run", "at its start"])
def test_kernel_that_is_killed_costs_the_page_and_not_the_record(
    tmp_path: Path, moment: str
) -> None:
    done = subprocess.run(
        [sys.executable, "-c", DEAD_KERNEL, moment, *COMMAND],
        capture_output=True,
        text=True,
        check=False,
        timeout=240,
    )
    assert done.returncode == 0, done.stderr
    (line,) = done.stderr.strip().splitlines()
    assert line.startswith("weldcalc: notebook qualification_record: the kernel died: ")
    assert line.endswith("so there is no page, but the record is whole")
    made = tmp_path / "made"
    assert names_in(tmp_path) == {*INPUTS, "templates", "made"}
    (kept,) = made.glob("FAILED-*.ipynb")
    assert kept.name in line
    shown = '"so far\\n"' in kept.read_text(encoding="utf-8")  # what the cell before printed
    assert shown == (moment == "in mid-run")
    assert names_in(made) - {kept.name} == {
        "inputs",
        "record.json",
        "sign_off_form.toml",
        "setup_card.pdf",
        "pulses.csv",
    }
    assert open_record(made)[0]["number"] == "TEST-1"


def _between_reading_and_computing(
    monkeypatch: pytest.MonkeyPatch, change: Callable[[], object]
) -> None:
    read = record_module._refuse_unusable

    def read_and_change(*given: Any) -> None:
        read(*given)
        change()

    monkeypatch.setattr(record_module, "_refuse_unusable", read_and_change)


@pytest.mark.usefixtures("_no_views")
@pytest.mark.parametrize("name", sorted(INPUTS))
def test_input_that_is_removed_in_mid_run_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    _between_reading_and_computing(monkeypatch, (tmp_path / name).unlink)
    done = CliRunner().invoke(main, WITH_FILES)
    assert done.exit_code == 2, done.output
    assert (done.stdout, done.stderr) == ("", f"weldcalc: {name}: No such file or directory\n")
    assert names_in(tmp_path) == INPUTS - {name}


@pytest.mark.usefixtures("_no_views")
@pytest.mark.parametrize("name", sorted(INPUTS))
def test_input_that_is_spoilt_in_mid_run_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    _between_reading_and_computing(
        monkeypatch, lambda: (tmp_path / name).write_text("= half a li", encoding="utf-8")
    )
    done = CliRunner().invoke(main, WITH_FILES)
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    assert name in done.stderr.splitlines()[-1], done.stderr
    assert "weldcalc-" not in done.stderr  # the passing folder
    assert names_in(tmp_path) == INPUTS


@pytest.mark.parametrize("moment", ["before it is computed", "while it is computed"])
def test_record_holds_the_very_bytes_that_it_was_computed_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: str
) -> None:
    new = {
        "schedule.toml": SCHEDULE.replace("390 W", "410 W"),
        "coupons.csv": COUPONS.replace("0.26", "0.16"),
        "acceptance.toml": ACCEPTANCE.replace("0.20", "0.10"),
    }

    def change() -> None:
        for name, text in new.items():
            (tmp_path / name).write_text(text, encoding="utf-8")

    if moment == "before it is computed":
        _between_reading_and_computing(monkeypatch, change)
    else:
        compute = record_content.estimated

        def change_and_compute(*given: Any) -> Any:
            change()
            return compute(*given)

        monkeypatch.setattr(record_content, "estimated", change_and_compute)
    is_new = moment == "before it is computed"
    files = {"coupons": Path("coupons.csv"), "acceptance": Path("acceptance.toml")}
    written = write_record(make_record(Path("schedule.toml"), **files), tmp_path / "made")
    data = data_of(written.folder)
    assert data["schedule"]["pass.root.peak_power"]["si"] == (410.0 if is_new else 390.0)
    widths = [one["measured"]["root_width_mm"] for one in data["computed"]["coupons"]]
    assert widths == pytest.approx([0.25, 0.16 if is_new else 0.26])
    for named in data["input_files"]:
        kept = (written.folder / named["path"]).read_bytes()
        assert named["sha256"] == sha256_of_bytes(kept)
        assert (kept.decode() == new[named["name"]]) == is_new
    assert recheck(written.folder).exit_code == 0


def _remove(path: Path) -> None:
    path.unlink()


def _spoil(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-2])


@pytest.mark.parametrize("harm", [_remove, _spoil])
@pytest.mark.parametrize("name", ["record.json", "sign_off_form.toml", "inputs/schedule.toml"])
def test_file_of_the_record_that_is_harmed_before_it_is_whole(
    tmp_path: Path, name: str, harm: Callable[[Path], None]
) -> None:
    record = make_record(Path("schedule.toml"))
    with pytest.raises(InputError) as caught:
        write_record(record, "made", views=[lambda draft: harm(draft / name)])
    assert str(caught.value) == (
        f"made/{name}: was changed or removed while the record was made; nothing was kept, "
        "try again"
    )
    assert names_in(tmp_path) == INPUTS


class _Clock(datetime):
    """A clock that was set back to the day its battery died."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> _Clock:
        return cls(1970, 1, 1, tzinfo=tz)


def test_clock_that_was_set_back_is_told_and_changes_no_result(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = write_record(make_record(Path("schedule.toml")), tmp_path / "first")
    made = data_of(first.folder)["made_utc"]
    write_schedule(tmp_path, SCHEDULE.replace('revision = "A"', 'revision = "B"'))
    right = make_record(Path("schedule.toml"), previous=first.folder)
    assert write_record(right, tmp_path / "right").notes == ()
    monkeypatch.setattr(record_module, "datetime", _Clock)
    wrong = make_record(Path("schedule.toml"), previous=first.folder)
    written = write_record(wrong, tmp_path / "wrong")
    assert written.notes == (
        f"made_utc: 1970-01-01T00:00:00Z is before the previous record, {made}; set the clock",
    )
    assert read_record(written.folder)["made_utc"] == "1970-01-01T00:00:00Z"
    assert wrong.sha256 == right.sha256
    assert recheck(written.folder).exit_code == 0


def test_a_first_record_has_no_other_to_compare_the_clock_with(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record_module, "datetime", _Clock)
    assert write_record(make_record(Path("schedule.toml")), tmp_path / "made").notes == ()
