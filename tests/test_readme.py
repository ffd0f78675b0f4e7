"""What the README promises: its marked commands exist and name files that are there."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from tests.readme_command import README, readme_command
from weldcalc.schedule import schedule_from_mapping

ROOT = README.parent


@pytest.mark.parametrize("name", ["main", "test"])
def test_commands_make_their_own_environment(name: str) -> None:
    command = readme_command(name)
    assert command.startswith("python3 -m venv")
    assert "\n" not in command


def test_the_example_schedule_can_be_read() -> None:
    block = re.search(r"```toml\n(.*?)```", README.read_text("utf-8"), re.DOTALL)
    assert block
    schedule = schedule_from_mapping(tomllib.loads(block[1]))
    assert schedule.passes[0].name == "root"


def test_files_that_are_named_exist() -> None:
    text = README.read_text("utf-8")
    named = set(re.findall(r"(?:reference_data|notebooks|docs)/[\w./-]+\.(?:toml|ipynb|png)", text))
    assert named
    assert [name for name in sorted(named) if not (ROOT / name).is_file()] == []


def test_commands_in_the_text_exist() -> None:
    from weldcalc.cli import main

    text = README.read_text("utf-8")
    used = set(re.findall(r"weldcalc(?: |\n)([a-z]+) ", text)) & set(_verbs(text))
    assert used
    assert used <= set(main.commands)


def _verbs(text: str) -> list[str]:
    blocks = re.findall(r"```(?:bash|sh)\n(.*?)```", text, re.DOTALL)
    return [verb for block in blocks for verb in re.findall(r"weldcalc ([a-z]+)", block)]


def test_it_opens_with_the_job_in_one_paragraph() -> None:
    _, first, *_ = Path(README).read_text("utf-8").split("\n\n")
    assert "titanium tube" in first
    assert "pulsed laser" in first
