"""Full disks, closed folders and killed runs: one clear line, and nothing half written."""

from __future__ import annotations

import ctypes
import os
import resource
import signal
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from record_samples import coupon_files, write_schedule

from weldcalc.cli import main
from weldcalc.prediction import Estimate, estimate
from weldcalc.schedule import Schedule, load_schedule

WRITING = {
    "plan": ["plan", "schedule.toml", "-o", "made.csv"],
    "card": ["card", "schedule.toml", "-o", "made.pdf"],
    "notebooks": ["notebooks", "made"],
}
LATE = {  # too slow to be run to their end here; they have to refuse before they begin
    "record": ["record", "schedule.toml", "-o", "made", "--coupons", "coupons.csv"],
    "draft": ["draft", "schedule.toml", "-o", "made.toml"],
    "window": ["window", "schedule.toml", "-o", "made"],
    "calibrate": ["calibrate", "schedule.toml", "coupons.csv", "-o", "made.json"],
}


@pytest.fixture(autouse=True)
def _shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_schedule(tmp_path)
    coupon_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("weldcalc.prediction.estimate", _estimated)


@cache
def _estimated(schedule: Schedule, calibration: None = None) -> Estimate:
    return estimate(schedule, calibration=calibration)


@contextmanager
def full_disk(left: int) -> Iterator[None]:
    """Let no file grow beyond a size [bytes]: the same path through the code as a full disk."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (left, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


class _CapHeader(ctypes.Structure):
    _fields_ = (("version", ctypes.c_uint32), ("pid", ctypes.c_int))


class _CapData(ctypes.Structure):
    _fields_ = tuple((name, ctypes.c_uint32) for name in ("effective", "permitted", "inheritable"))


def drop_override() -> None:
    """Take from this thread root's right to write where no right is given; others never had it.

    capget(2) and capset(2) of Linux, version 3 of their header; CAP_DAC_OVERRIDE is number 1.
    """
    if os.geteuid() != 0:
        return
    libc = ctypes.CDLL(None, use_errno=True)
    header, data = _CapHeader(0x20080522, 0), (_CapData * 2)()
    for name in ("capget", "capset"):
        if getattr(libc, name)(ctypes.byref(header), data):
            raise OSError(ctypes.get_errno(), name)
        # for good, but the rights of a thread end with it
        data[0].effective &= ~(1 << 1)
        data[0].permitted &= ~(1 << 1)


def files_in(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def check_one_line(done: Result, name: str) -> None:
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    (line,) = done.stderr.strip().splitlines()
    assert line.startswith("weldcalc: ")
    assert name in line
    assert ".weldcalc-" not in line
    assert "unfinished" not in line


@pytest.mark.parametrize(("left", "name"), [(500, "weldcalc-"), (5_000, "made")])
def test_full_disk_while_a_record_is_made(tmp_path: Path, left: int, name: str) -> None:
    """First the folder for passing files is full, then the one of the record."""
    _estimated(load_schedule(tmp_path / "schedule.toml"))
    before = files_in(tmp_path)
    with full_disk(left):
        done = CliRunner().invoke(main, ["record", "schedule.toml", "-o", "made"])
    check_one_line(done, name)
    assert files_in(tmp_path) == before


@pytest.mark.parametrize("command", WRITING.values(), ids=WRITING)
def test_full_disk(tmp_path: Path, command: list[str]) -> None:
    _estimated(load_schedule(tmp_path / "schedule.toml"))  # not while nothing can be cached
    before = files_in(tmp_path)
    with full_disk(100 if command[0] == "plan" else 5_000):
        done = CliRunner().invoke(main, command)
    check_one_line(done, "made")
    assert "File too large" in done.stderr
    assert files_in(tmp_path) == before


@pytest.mark.parametrize("command", (WRITING | LATE).values(), ids=WRITING | LATE)
def test_place_that_cannot_be_written(tmp_path: Path, command: list[str]) -> None:
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    before = files_in(tmp_path)
    done = CliRunner().invoke(main, [part.replace("made", "file/made") for part in command])
    check_one_line(done, "file")
    assert files_in(tmp_path) == before


@pytest.mark.parametrize("command", (WRITING | LATE).values(), ids=WRITING | LATE)
def test_folder_that_is_closed(tmp_path: Path, command: list[str]) -> None:
    (tmp_path / "shut").mkdir()
    (tmp_path / "shut").chmod(0o555)
    there = [part.replace("made", "shut/made") for part in command]
    with ThreadPoolExecutor(1, initializer=drop_override) as thread:
        done = thread.submit(CliRunner().invoke, main, there).result()
    check_one_line(done, "shut")
    assert list((tmp_path / "shut").iterdir()) == []


@pytest.mark.parametrize("command", (WRITING | LATE).values(), ids=WRITING | LATE)
def test_what_is_there_is_never_written_over(tmp_path: Path, command: list[str]) -> None:
    target = next(part for part in command if part.startswith("made"))
    (tmp_path / target).write_text("mine", encoding="utf-8")
    before = files_in(tmp_path)
    with_nothing_computed = CliRunner().invoke(main, command)
    check_one_line(with_nothing_computed, target)
    assert "exists" in with_nothing_computed.stderr
    assert files_in(tmp_path) == before


@pytest.mark.parametrize("name", ["made-2.toml", "made-3.toml"])
def test_nor_is_a_further_draft(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("mine", encoding="utf-8")
    done = CliRunner().invoke(main, LATE["draft"])
    check_one_line(done, f'"{name}": exists already; choose a new name')
    assert (tmp_path / name).read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("name", ["made.png", "made"])
def test_a_card_bears_the_name_of_what_it_is(tmp_path: Path, name: str) -> None:
    done = CliRunner().invoke(main, ["card", "schedule.toml", "-o", name])
    check_one_line(done, "end it with .pdf")
    assert not (tmp_path / name).exists()


KILLED = """
import os, signal, sys
from pathlib import Path
from weldcalc.whole_files import whole_folder, write_whole

def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)

os.fsync = die
if sys.argv[1] == "file":
    write_whole(Path("made.csv"), "new" * 100_000)
else:
    with whole_folder(Path("made")) as draft:
        (draft / "half").write_text("half", encoding="utf-8")
        die()
"""


@pytest.mark.parametrize("kind", ["file", "folder"])
def test_killed_halfway(tmp_path: Path, kind: str) -> None:
    (tmp_path / "made.csv").write_text("old", encoding="utf-8")
    done = subprocess.run([sys.executable, "-c", KILLED, kind], cwd=tmp_path, check=False)
    assert done.returncode == -signal.SIGKILL
    assert (tmp_path / "made.csv").read_text(encoding="utf-8") == "old"
    assert not (tmp_path / "made").exists()
    left = [path.name for path in tmp_path.iterdir() if path.name.startswith(".")]
    assert len(left) == 1
    assert left[0].startswith(".weldcalc-")
