"""The schedule to start from: whole, readable, true about what is required and what holds else."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from weldcalc.cli import main
from weldcalc.errors import InputError
from weldcalc.fields import field
from weldcalc.prediction import estimate
from weldcalc.schedule import load_schedule, schedule_from_mapping
from weldcalc.schedules.needs import REQUIRED, need_words
from weldcalc.schedules.table import TABLES, keys_of
from weldcalc.texts.field_list import field_text
from weldcalc.texts.starting_schedule import least_schedule, starting_schedule

ALL = [(table, key) for table in ("", *TABLES) for key in keys_of(table)]
# others have to change with them, as their words say
WITH_OTHERS = ("required if", "in place of")
OTHERS = {("joint", "length_tolerance"), ("joint", "set_gap"), ("joint", "tolerance_spread")}
OTHERS |= {("goal", "underfill"), ("laser", "focus_offset")}


def with_key(table: str, key: str, value: Any) -> dict[str, Any]:
    """Return the starting schedule with a key set, or left out by None."""
    typed = tomllib.loads(starting_schedule())
    place = typed.setdefault(table, {}) if table not in ("", "pass") else typed
    place = typed["pass"][0] if table == "pass" else place
    place.pop(key, None) if value is None else place.update({key: value})
    return typed


def offered(table: str, key: str) -> Any:
    """Return the value that a commented line offers."""
    part = starting_schedule()
    if table:
        part = re.split(rf"^\[+{table}\]+$", part, flags=re.MULTILINE)[1]
    (line,) = re.findall(rf"^#?({key} = .*)$", part.partition("\n[")[0], re.MULTILINE)
    return tomllib.loads(line)[key]


def test_the_command_writes_one_that_can_be_estimated_and_never_overwrites(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    done = CliRunner().invoke(main, ["fields", "--example", "-o", str(file)])
    assert done.exit_code == 0
    assert CliRunner().invoke(main, ["fields", "--example"]).stdout == file.read_text("utf-8")
    made = estimate(load_schedule(file))
    assert [one.name for one in made.passes] == ["root", "cover"]
    assert "INVENTED" in file.read_text("utf-8")
    file.write_text("mine", encoding="utf-8")
    assert CliRunner().invoke(main, ["fields", "--example", "-o", str(file)]).exit_code == 2
    assert file.read_text("utf-8") == "mine"


@pytest.mark.parametrize(("table", "key"), ALL)
def test_every_field_is_there_and_its_words_are_those_of_the_reader(table: str, key: str) -> None:
    need = need_words(table, key, least_schedule())
    if need.startswith((REQUIRED, "required")) and not need.startswith("required if"):
        with pytest.raises(InputError):
            schedule_from_mapping(with_key(table, key, None))
        return
    schedule_from_mapping(with_key(table, key, None))
    value = offered(table, key)
    if not need.startswith(WITH_OTHERS) and (table, key) not in OTHERS:
        schedule_from_mapping(with_key(table, key, value))


@pytest.mark.parametrize(("table", "key"), [one for one in ALL if one[0] not in ("", "scatter")])
def test_a_stated_default_changes_nothing(table: str, key: str) -> None:
    word, _, default = need_words(table, key, least_schedule()).partition(": ")
    if (
        word != "default"
        or default in ("not given", "that of [laser]")
        or key == "tolerance_spread"
    ):
        return
    typed = int(default) if default.isdigit() else default
    names = ("joint", "laser", "preparation", "passes")
    before = schedule_from_mapping(tomllib.loads(starting_schedule()))
    after = schedule_from_mapping(with_key(table, key, typed))
    for name in names:
        one, other = getattr(before, name), getattr(after, name)
        one, other = (one[0], other[0]) if name == "passes" else (one, other)
        for leaf in keys_of("pass" if name == "passes" else name):
            assert getattr(one, leaf) == pytest.approx(getattr(other, leaf)), leaf


def test_the_list_says_what_is_required_and_how_corners_are_typed() -> None:
    told = " ".join(field_text("pass").split())
    assert "peak_power (1 to 100000 W; required, or pulse_energy)" in told
    assert "preheat (-20 to 800 degC; default: 20 degC)" in told
    assert "[[0, 1], [0.6, 1], [1, 0.3]]" in told
    assert "purge_volume  (0.01 to 1000000 mL" in field_text("shielding")


def test_lines_fit_a_terminal() -> None:
    assert max(map(len, starting_schedule().splitlines())) <= 100
    assert all(field(f"{table}.{key}" if table else key) for table, key in ALL)
