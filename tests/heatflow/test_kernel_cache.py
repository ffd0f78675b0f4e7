"""Kept kernels are those of the sources as they are now, and a bad cache never stops a run.

Each run is a process of its own on a copy of the compiling modules with two small kernels.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import weldcalc
from weldcalc.heatflow.kernel_cache import source_digest

PACKAGE = Path(weldcalc.__file__).parent
INNER = "from weldcalc.heatflow.compiling import kernel\n@kernel\ndef inner(x):\n    return x + 1\n"
OUTER = (
    "from weldcalc.heatflow.compiling import entry\n"
    "from weldcalc.heatflow.inner import inner\n"
    "@entry\ndef outer(x):\n    return inner(x)\n"
)
RUN = (
    "from weldcalc.heatflow.compiling import tell_when_compiling\n"
    "tell_when_compiling(print)\n"
    "from weldcalc.heatflow.outer import outer\n"
    "print(outer(1))\n"
)
NO_ROOM = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))\n"


class Copy:
    """A copy of the modules that compile, in a folder where each run starts afresh."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.sources = root / "weldcalc" / "heatflow"
        self.sources.mkdir(parents=True)
        for name in ("__init__", "lazy", "heatflow/__init__", "heatflow/compiling"):
            shutil.copy(PACKAGE / f"{name}.py", root / "weldcalc" / f"{name}.py")
        shutil.copy(PACKAGE / "heatflow" / "kernel_cache.py", self.sources)
        (self.sources / "inner.py").write_text(INNER)
        (self.sources / "outer.py").write_text(OUTER)

    def run(self, before: str = "", **environment: str) -> list[str]:
        clean = {key: value for key, value in os.environ.items() if key != "NUMBA_CACHE_DIR"}
        done = subprocess.run(
            [sys.executable, "-c", before + RUN],
            cwd=self.root,
            env={**clean, "PYTHONDONTWRITEBYTECODE": "1", **environment},
            capture_output=True,
            text=True,
            check=True,
        )
        assert done.stderr == ""
        return done.stdout.splitlines()

    def kept(self, kind: str) -> list[Path]:
        return sorted(self.root.rglob(f"*.{kind}"))


@pytest.fixture
def copy(tmp_path: Path) -> Copy:
    return Copy(tmp_path / "Gehäuse 1")


def test_an_edit_of_a_called_kernel_reaches_its_caller(copy: Copy) -> None:
    assert copy.run()[-1] == "2"
    assert copy.run() == ["2"]
    (copy.sources / "inner.py").write_text(INNER.replace("x + 1", "x + 5"))
    assert copy.run()[-1] == "6"
    assert len({path.parents[1] for path in copy.kept("nbi")}) == 1


def test_nothing_can_be_written_is_told_in_one_line(copy: Copy) -> None:
    in_the_way = copy.sources / "__pycache__"
    in_the_way.write_text("a file where a folder would have to be")
    lines = copy.run(XDG_CACHE_HOME=str(in_the_way), NUMBA_CACHE_DIR=str(in_the_way))
    assert lines[-1] == "2"
    assert len(lines) == 2
    assert "set NUMBA_CACHE_DIR" in lines[0]
    assert copy.kept("nbi") == []


def test_the_users_own_folder_serves_where_the_package_is_read_only(copy: Copy) -> None:
    (copy.sources / "__pycache__").write_text("a file where a folder would have to be")
    home = copy.root / "Zwischenspeicher"
    assert copy.run(XDG_CACHE_HOME=str(home))[-1] == "2"
    assert copy.run(XDG_CACHE_HOME=str(home)) == ["2"]
    assert all(path.is_relative_to(home) for path in copy.kept("nbi"))


@pytest.mark.parametrize("kind", ["nbi", "nbc"])
def test_a_broken_file_is_compiled_again_and_mended(copy: Copy, kind: str) -> None:
    copy.run()
    for path in copy.kept(kind):
        path.write_bytes(path.read_bytes()[:40])
    assert copy.run()[-1] == "2"
    assert copy.run() == ["2"]


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on file sizes there")
def test_a_full_disk_costs_the_cache_and_not_the_answer(copy: Copy) -> None:
    assert copy.run(NO_ROOM)[-1] == "2"
    assert copy.kept("nbi") == []


def test_the_digest_sees_names_and_contents(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text("one")
    first = source_digest(tmp_path)
    assert source_digest(tmp_path) == first
    (tmp_path / "a.py").write_text("two")
    second = source_digest(tmp_path)
    (tmp_path / "a.py").rename(tmp_path / "b.py")
    assert len({first, second, source_digest(tmp_path)}) == 3


def test_kernels_are_made_from_nothing_outside_the_digest() -> None:
    for path in (PACKAGE / "heatflow").glob("*.py"):
        text = path.read_text("utf-8")
        if "from weldcalc.heatflow.compiling import" in text:
            used = [line for line in text.splitlines() if line.startswith("from weldcalc")]
            assert [line for line in used if not line.startswith("from weldcalc.heatflow.")] == []
