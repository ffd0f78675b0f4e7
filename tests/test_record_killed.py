"""A run that is killed at any moment leaves the whole record or none, and an old one untouched."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
from record_samples import copied_record, data_of

from weldcalc.record import read_record
from weldcalc.records.files import read_inside

MOMENTS = 20
# a record whose views take their time, so that most of the moments fall into the writing
WRITER = """
import json, sys, time
from pathlib import Path
from weldcalc.record import Record, write_record
from weldcalc.records.content import InputFile

source, target = Path(sys.argv[1]), Path(sys.argv[2])
data = json.loads((source / "record.json").read_text(encoding="utf-8"))
files = [
    InputFile(one["role"], one["name"], (source / one["path"]).read_bytes())
    for one in data["input_files"]
]

def view(draft):
    with (draft / "record.html").open("wb") as page:
        for _ in range(30):
            page.write(b"." * 10_000)
            page.flush()
            time.sleep(0.005)

def card(draft):
    (draft / "setup_card.pdf").write_bytes(b"card")

print("ready", flush=True)
sys.stdin.read(1)
write_record(Record(data, files), target, views=[view], beside=[card])
print("written", flush=True)
sys.stdin.read(1)
"""


def started(source: Path, target: Path) -> subprocess.Popen[str]:
    """Return a writer that waits for a letter on its input before it writes, and one after."""
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    command = [sys.executable, "-c", WRITER, str(source), str(target)]
    process = subprocess.Popen(command, text=True, **pipes)
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    return process


def let_write(process: subprocess.Popen[str]) -> None:
    assert process.stdin is not None
    process.stdin.write("g")
    process.stdin.flush()


def killed(process: subprocess.Popen[str], after: float) -> None:
    let_write(process)
    time.sleep(after)
    process.send_signal(signal.SIGKILL)
    process.communicate()


def test_killed_at_any_moment(tmp_path: Path) -> None:
    old = copied_record(tmp_path)
    before = {path: path.read_bytes() for path in old.rglob("*") if path.is_file()}
    moments = np.random.default_rng(7).uniform(0.0, 0.3, MOMENTS - 2)
    written = 0
    for number, moment in enumerate([*moments, 0.6, 1.0]):
        target = tmp_path / f"new {number}"
        killed(started(old, target), float(moment))
        if target.exists():
            assert read_record(target)["number"] == "TEST-1"
            assert len(read_inside(target, "record.html")) == 300_000
            assert (target / "inputs/schedule.toml").is_file()
            written += 1
    assert 0 < written < MOMENTS  # else no moment fell into the writing, or none after it
    assert {path: path.read_bytes() for path in old.rglob("*") if path.is_file()} == before


def test_run_into_the_folder_of_an_old_record(tmp_path: Path) -> None:
    old = copied_record(tmp_path)
    before = (old / "record.json").read_bytes()
    process = started(old, old)
    out, error = process.communicate("g", timeout=60)
    assert (out, process.returncode) == ("", 1)
    assert "never overwritten" in error
    assert (old / "record.json").read_bytes() == before


def test_two_processes_at_once_one_wins(tmp_path: Path) -> None:
    old, target = copied_record(tmp_path), tmp_path / "both"
    both = [started(old, target) for _ in range(2)]
    for one in both:
        let_write(one)
    told = [one.communicate(timeout=60) for one in both]
    assert sorted(out for out, _ in told) == ["", "written\n"]
    (loser,) = [error for out, error in told if not out]
    assert "another run wrote this folder first" in loser
    assert read_record(target) == data_of(old)
    assert [path.name for path in tmp_path.iterdir() if "unfinished" in path.name] == []
