"""Rechecking a folder from a stranger: what cannot be read, and what is never touched."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from record_samples import (
    SCHEDULE,
    copied_example,
    copied_record,
    remember_estimates,
    rewrite,
)

from weldcalc.canonical import sha256_of_bytes
from weldcalc.recheck import recheck

INPUTS = ["inputs/acceptance.toml", "inputs/coupons.csv", "inputs/schedule.toml"]


@pytest.fixture(autouse=True)
def _estimate_each_schedule_once(monkeypatch: pytest.MonkeyPatch) -> None:
    remember_estimates(monkeypatch)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return copied_record(tmp_path)


def _deep(data: dict[str, Any]) -> None:
    data["input_files"][0]["path"] = "inputs/../inputs/schedule.toml"


def _outside(data: dict[str, Any]) -> None:
    data["input_files"][0]["path"] = "/etc/hostname"


def _another_place(data: dict[str, Any]) -> None:
    data["input_files"][0]["path"] = "record.json"


def _climbing_material(data: dict[str, Any]) -> None:
    entry = {"role": "material", "name": "../../x.toml", "path": "inputs/../../x.toml"}
    data["input_files"].append(entry)


def _other_role(data: dict[str, Any]) -> None:
    data["input_files"][0]["role"] = "script"


def _twice(data: dict[str, Any]) -> None:
    data["input_files"].append(dict(data["input_files"][0]))


def _no_inputs(data: dict[str, Any]) -> None:
    data["input_files"] = []


def _not_a_list(data: dict[str, Any]) -> None:
    data["input_files"] = {"role": "schedule"}


def _later_form(data: dict[str, Any]) -> None:
    data["schema_version"] = 99


def _other_kind(data: dict[str, Any]) -> None:
    data["kind"] = "shopping list"


class TestCannotBeRead:
    @pytest.mark.parametrize(
        "change",
        [
            _deep,
            _outside,
            _another_place,
            _climbing_material,
            _other_role,
            _twice,
            _no_inputs,
            _not_a_list,
            _later_form,
            _other_kind,
        ],
    )
    def test_record_that_names_what_no_record_names(self, folder, change):
        rewrite(folder, change, sealed=True)
        result = recheck(folder)
        assert (result.answer, result.exit_code) == ("cannot be read", 2)
        assert "record.json" in result.to_text()
        assert "\n" not in result.to_text()

    @pytest.mark.parametrize(
        "content",
        [
            b"",
            b"[]",
            b"{",
            b"\xff\xfe{}",
            b'{"kind": "weldcalc record", "schema_version": 1}',
            b'{"a": NaN}',
            b"[" * 200_000,
        ],
        ids=["empty", "list", "cut", "utf-16", "bare", "nan", "deep"],
    )
    def test_file_that_is_no_record(self, folder, content):
        (folder / "record.json").write_bytes(content)
        assert recheck(folder).exit_code == 2

    @pytest.mark.parametrize("name", ["record.json", "inputs/schedule.toml"])
    def test_endless_file_is_not_read_to_its_end(self, folder, name):
        with (folder / name).open("ab") as file:
            file.truncate(10 * 1024**3)  # sparse: takes no room on the disk
        assert "larger than" in recheck(folder).words

    @pytest.mark.parametrize("name", ["record.json", "inputs/schedule.toml", "inputs"])
    def test_links_are_not_followed(self, folder, tmp_path, name):
        target = tmp_path / "elsewhere"
        (folder / name).rename(target)
        (folder / name).symlink_to(target)
        result = recheck(folder)
        assert result.exit_code == 2
        assert "link" in result.words

    @pytest.mark.parametrize("name", ["record.json", "inputs/schedule.toml"])
    def test_pipe_does_not_catch_the_reader(self, folder, name):
        (folder / name).unlink()
        os.mkfifo(folder / name)
        assert recheck(folder).exit_code == 2

    @pytest.mark.parametrize("name", ["record.json", "inputs/schedule.toml"])
    def test_text_in_another_encoding(self, folder, name):
        path = folder / name
        path.write_bytes(path.read_text(encoding="utf-8").encode("utf-16"))
        result = recheck(folder)
        assert result.exit_code == 2
        assert name in result.to_text()
        assert "\n" not in result.to_text()

    def test_missing_input(self, folder):
        (folder / "inputs/schedule.toml").unlink()
        result = recheck(folder)
        assert result.exit_code == 2
        assert "inputs/schedule.toml" in result.words

    def test_no_folder(self, tmp_path):
        assert recheck(tmp_path / "nowhere").exit_code == 2

    def test_file_in_place_of_the_folder(self, folder):
        words = recheck(folder / "record.json").words
        assert words.endswith(f"record.json: is a file; give the record's folder, {folder}")

    def test_schedule_that_reaches_for_a_file_outside(self, folder, tmp_path):
        from weldcalc.reference import read_bytes

        (tmp_path / "outside.toml").write_bytes(read_bytes("materials/ti_gr2.toml"))
        text = SCHEDULE.replace("Ti Grade 2", "../../outside.toml").encode()
        (folder / "inputs/schedule.toml").write_bytes(text)

        def change(data: dict[str, Any]) -> None:
            data["input_files"][0] |= {"sha256": sha256_of_bytes(text), "bytes": len(text)}

        rewrite(folder, change, sealed=True)
        result = recheck(folder)
        assert result.exit_code == 2
        assert "is not kept in the record" in result.words


class TestTouchesNothingElse:
    def test_opens_only_the_files_that_the_record_names(self, tmp_path):
        """Watched by Python's own audit hook in a process of its own."""
        folder = copied_example(tmp_path)
        for name in ("sitecustomize.py", "numpy.py", "weldcalc.py", "conftest.py", "evil.ipynb"):
            (folder / name).write_text("raise SystemExit('executed')")
            (folder / "inputs" / name).write_text("raise SystemExit('executed')")
        code = (
            "import sys, os, json\n"
            "seen, folder = [], os.path.realpath(sys.argv[1])\n"
            "def hook(event, args):\n"
            "    if event in ('open', 'exec', 'import', 'os.listdir', 'subprocess.Popen'):\n"
            "        path = args[0] if isinstance(args[0], str) else repr(args[0])\n"
            "        if path.startswith(folder):\n"
            "            seen.append(os.path.relpath(path, folder))\n"
            "from weldcalc.recheck import recheck\n"
            "sys.addaudithook(hook)\n"
            "answer = recheck(folder).answer\n"
            "print(json.dumps([answer, sorted(set(seen))]))\n"
        )
        done = subprocess.run(
            [sys.executable, "-c", code, str(folder)],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=True,
        )
        assert json.loads(done.stdout) == ["reproduced", [*INPUTS, "pulses.csv", "record.json"]]

    def test_changes_nothing_in_the_folder(self, folder):
        before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
        recheck(folder)
        assert {path: path.stat().st_mtime_ns for path in folder.rglob("*")} == before
