"""What the commands print: plain text within 100 columns, the same in a pipe and on a terminal."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner
from record_samples import copied_record, rewrite

from weldcalc.cli import main
from weldcalc.notebook import lab_command

COLUMNS = 100
DEMO = Path(__file__).resolve().parent.parent / "reference_data" / "demo"
STEM, FLANGE = str(DEMO / "level_gauge_stem.toml"), str(DEMO / "level_gauge_flange.toml")
RUN = "import sys; from weldcalc.cli import main; main(prog_name='weldcalc')"

# fast ones; those around coupons, and draft, window and tolerance, are measured where they are run
ANSWERS = {
    "estimate": ["estimate", STEM],
    "estimate of a fillet": ["estimate", FLANGE],
    "first look": ["estimate", STEM, "--instant"],
    "explain": ["explain", STEM, "--penetration", "0.31 mm"],
    "compare": ["compare", STEM, FLANGE],
    "compare with limits": [
        "compare",
        STEM,
        FLANGE,
        "--limits",
        str(DEMO / "change_limits_stem.toml"),
    ],
    "fields": ["fields"],
    "help": ["--help"],
    **{f"help of {name}": [name, "--help"] for name in main.commands},
}
ON_A_TERMINAL = ("estimate", "explain", "compare with limits", "help")


def too_wide(text: str) -> list[str]:
    return [line for line in text.splitlines() if len(line) > COLUMNS]


@pytest.mark.parametrize("name", ANSWERS)
def test_answer_is_plain_text_within_the_columns(name: str) -> None:
    done = CliRunner().invoke(main, ANSWERS[name])
    assert done.exit_code in (0, 1), done.output
    assert done.stdout.strip()
    assert too_wide(done.stdout) == []
    assert all(one.isprintable() or one == "\n" for one in done.stdout)


def test_findings_come_gravest_first_and_say_what_to_do() -> None:
    findings = CliRunner().invoke(main, ANSWERS["estimate"]).stdout.partition("\nFindings\n")[2]
    weights = re.findall(r"^  (STOP|CAUTION|note)\b", findings, re.MULTILINE)
    assert {"CAUTION", "note"} <= set(weights)
    assert weights == sorted(weights, key=["STOP", "CAUTION", "note"].index)
    told = re.split(r"^  (?:STOP|CAUTION|note)\b", findings, flags=re.MULTILINE)[1:]
    # what was found ends with a full stop, and what to do follows
    assert all(len(re.findall(r"\.(?:\s|$)", one.strip())) >= 2 for one in told)


def test_recheck_of_a_changed_record_keeps_to_the_columns(tmp_path: Path) -> None:
    folder = copied_record(tmp_path)

    def change(data: dict[str, Any]) -> None:
        data["reference_data"]["manifest_sha256"] = "0" * 64
        data["computed"]["passes"][0]["penetration_mm"] *= 2.5

    rewrite(folder, change, sealed=True)
    done = CliRunner().invoke(main, ["recheck", str(folder)])
    assert done.exit_code == 1
    assert "differs" in done.stdout
    assert too_wide(done.stdout) == []


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals of this kind")
@pytest.mark.parametrize("name", ON_A_TERMINAL)
def test_terminal_gets_the_same_as_a_pipe_and_no_colour(name: str) -> None:
    command = [sys.executable, "-c", RUN, *ANSWERS[name]]
    environment = {**os.environ, "NO_COLOR": "1", "TERM": "xterm-256color", "COLUMNS": "100"}
    piped = subprocess.run(command, env=environment, capture_output=True, check=False)
    assert piped.returncode in (0, 1), piped.stderr
    shown = on_a_terminal(command, environment)
    assert b"\x1b" not in shown
    assert shown.replace(b"\r\n", b"\n") == piped.stdout


def on_a_terminal(command: list[str], environment: dict[str, str]) -> bytes:
    """Return what a command writes to a terminal of its own."""
    import pty

    ours, theirs = pty.openpty()
    with subprocess.Popen(
        command, env=environment, stdin=theirs, stdout=theirs, stderr=subprocess.DEVNULL
    ):
        os.close(theirs)
        written = b""
        try:
            while part := os.read(ours, 65536):
                written += part
        except OSError:  # how Linux tells that the other end has gone
            pass
    os.close(ours)
    return written


class TestLabCommand:
    def test_plain_where_the_environment_is_activated(self, monkeypatch):
        programs = Path(sys.prefix) / ("Scripts" if os.name == "nt" else "bin")
        monkeypatch.setenv("PATH", os.pathsep.join(["elsewhere", str(programs)]))
        assert lab_command(Path("mine")) == "jupyter lab mine"

    def test_names_the_program_where_it_is_not(self, monkeypatch, tmp_path):
        programs = tmp_path / ".venv" / ("Scripts" if os.name == "nt" else "bin")
        monkeypatch.setattr(sys, "prefix", str(tmp_path / ".venv"))
        monkeypatch.setenv("PATH", "elsewhere")
        monkeypatch.chdir(tmp_path)
        there = programs.relative_to(tmp_path) / "jupyter"
        assert lab_command(Path("my folder")) == f'{there} lab "my folder"'


def test_the_list_of_commands_is_uncut_in_eighty_columns() -> None:
    told = CliRunner().invoke(main, ["--help"], terminal_width=80).stdout
    listed = told.partition("\nCommands:\n")[2].splitlines()
    assert len(listed) == len(main.commands)
    assert all(line.endswith(".") and "..." not in line for line in listed)
    assert max(map(len, listed)) <= 80


def test_every_option_of_every_command_says_what_it_is() -> None:
    for name, command in main.commands.items():
        for option in command.params:
            if isinstance(option, click.Option):
                assert option.help, (name, option.name)
                assert option.help[0].isupper(), (name, option.name)
                assert option.help.endswith((".", '".')), (name, option.name, option.help)
