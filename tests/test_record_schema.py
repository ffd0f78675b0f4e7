"""Records of every schema version stay readable: one of each is kept, as it was written."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from weldcalc.recheck import recheck
from weldcalc.record import read_record
from weldcalc.records.content import SCHEMA_VERSION

KEPT = sorted((Path(__file__).parent / "fixtures").glob("record_schema_*"))


def test_one_is_kept_for_every_version() -> None:
    numbers = [int(folder.name.rpartition("_")[2]) for folder in KEPT]
    assert numbers == list(range(1, SCHEMA_VERSION + 1))


@pytest.mark.parametrize("kept", KEPT, ids=lambda folder: folder.name)
def test_it_can_be_read_for_ever(kept: Path) -> None:
    data = read_record(kept)
    assert data["schema_version"] == int(kept.name.rpartition("_")[2])
    result = recheck(kept)
    # its numbers may be those of an older weldcalc, and then the recheck says which
    assert result.answer in ("reproduced", "differs")
    assert result.compared > 1000
    assert result.title == "TEST-1 revision A"
    assert all(one.field != "record_sha256" for one in result.differences)


GUARDED = """
import os, sys
folder = os.path.realpath(sys.argv[1])
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC

def guard(event, args):
    if event.startswith("socket.") and event != "socket.gethostname":
        raise PermissionError(f"no network here: {event}")
    named = args[:1] if event == "open" else args  # its second says how, not where
    paths = [os.path.realpath(one) for one in named if isinstance(one, str) and one]
    if not any(path.startswith(folder) for path in paths):
        return
    changes = event in ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.chmod", "os.utime")
    if changes or (event == "open" and isinstance(args[2], int) and args[2] & WRITES):
        raise PermissionError(f"nothing is written here: {event} {args}")

from weldcalc.recheck import recheck
sys.addaudithook(guard)
if len(sys.argv) > 2:
    open(os.path.join(folder, "written"), "w")
print(recheck(folder).answer)
"""


def rechecked_under_guard(folder: Path, *more: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", GUARDED, str(folder), *more]
    environment = {**os.environ, "HOME": "/nonexistent", "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=folder, env=environment
    )


def test_read_only_copy_without_network(tmp_path: Path) -> None:
    """As it comes by mail. Rights alone would not stop an administrator, so calls are watched."""
    folder = Path(shutil.copytree(KEPT[-1], tmp_path / "mail"))
    for path in [*folder.rglob("*"), folder]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    done = rechecked_under_guard(folder)
    assert done.stdout.strip() in ("reproduced", "differs"), done.stderr
    assert "nothing is written here" in rechecked_under_guard(folder, "write").stderr
    for path in [folder, *folder.rglob("*")]:
        path.chmod(0o755)
