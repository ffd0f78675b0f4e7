"""The committed example record: made by the command beside it, whole and reproducible."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from tests.readme_command import README, readme_command
from weldcalc.canonical import sha256_of_bytes

ROOT = README.parent
EXAMPLE = ROOT / "reports" / "example"
MAIN = "from weldcalc.cli import main; main()"
LARGEST = 3_000_000  # bytes, all together: it goes into every clone


def test_it_comes_out_the_same() -> None:
    """In a process of its own, so that nothing of the tests is in the way."""
    command = [sys.executable, "-c", MAIN, "recheck", str(EXAMPLE), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"make it anew, see reports/README.md: {done.stdout[:2000]}"
    assert json.loads(done.stdout)["answer"] == "reproduced"


def test_it_is_made_by_the_command_beside_it() -> None:
    command = readme_command("example", (ROOT / "reports/README.md").read_text(encoding="utf-8"))
    assert command.endswith("-o reports/example")
    data = json.loads((EXAMPLE / "record.json").read_text(encoding="utf-8"))
    for named in data["input_files"]:
        source = ROOT / "reference_data/demo" / named["name"]
        assert str(source.relative_to(ROOT)) in command
        assert sha256_of_bytes(source.read_bytes()) == named["sha256"]
        assert (EXAMPLE / named["path"]).read_bytes() == source.read_bytes()


def test_it_holds_all_views_and_no_path_of_a_machine() -> None:
    files = [path for path in EXAMPLE.rglob("*") if path.is_file() and path.suffix != ".ipynb"]
    names = {path.name for path in files}
    assert {"record.json", "record.html", "setup_card.pdf", "pulses.csv"} <= names
    assert sum(path.stat().st_size for path in files) < LARGEST
    for path in files:
        if path.suffix in (".json", ".html", ".toml", ".csv"):
            text = path.read_text(encoding="utf-8")
            assert str(ROOT) not in text
            assert str(Path.home()) + "/" not in text
