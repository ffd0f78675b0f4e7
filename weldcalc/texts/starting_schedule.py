"""A schedule to start from: every field of the field table, those that are required filled in."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any

from weldcalc.fields import Field, example, field
from weldcalc.reference import read_toml
from weldcalc.schedule import Schedule, schedule_from_mapping
from weldcalc.schedules.needs import REQUIRED, default_of, need_words
from weldcalc.schedules.table import TABLES, keys_of
from weldcalc.schedules.toml_file import toml_value

_WIDTH = 100
_HEAD = """\
A schedule to start from: a butt of tubes, welded in two passes. EVERY VALUE IS INVENTED: put your
own in its place, and do not weld from this one. What is required is marked so. A value behind a #
is optional: the default, where there is one, or some value in range. Take the # away to use it.
"""
_INVENTED: Mapping[str, Any] = MappingProxyType(
    {
        "title": "INVENTED EXAMPLE: tube butt",
        "number": "WS-001",
        "revision": "A",
        "joint": {
            "type": "butt",
            "form": "tube",
            "material": "Ti Grade 2",
            "wall_thickness": "0.4 mm",
            "outside_diameter": "8 mm",
        },
        "goal": {"penetration": "100 %"},
        "laser": {"spot_diameter": "0.4 mm"},
        "pass": [
            {
                "name": "root",
                "peak_power": "580 W",
                "pulse_duration": "4 ms",
                "repetition_rate": "3 Hz",
                "travel_speed": "0.35 mm/s",
            },
            {
                "name": "cover",
                "peak_power": "330 W",
                "pulse_duration": "6 ms",
                "repetition_rate": "4 Hz",
                "travel_speed": "0.6 mm/s",
                "spot_diameter": "0.5 mm",
            },
        ],
    }
)
_CORNERS = [[0, 1], [0.6, 1], [1, 0.3]]


@cache
def least_schedule() -> Schedule:
    """Return the starting schedule as it is read, without its goals: it holds the defaults."""
    return schedule_from_mapping({**_INVENTED, "goal": {}})


def starting_schedule() -> str:
    """Return a TOML file to start from, with every field of a schedule, its meaning and default."""
    lines = [f"# {line}" for line in _HEAD.splitlines()]
    lines += _keys("", _INVENTED)
    for name in TABLES:
        if name != "pass":
            lines += ["", f"[{name}]", *_keys(name, _INVENTED.get(name, {}))]
    first, *others = _INVENTED["pass"]
    lines += ["", "[[pass]]", *_keys("pass", first)]
    for one in others:
        written = (f"{key} = {toml_value(value)}" for key, value in one.items())
        lines += ["", "# The fields of every pass are those of the first.", "[[pass]]", *written]
    return "\n".join(lines) + "\n"


def _keys(table: str, typed: Mapping[str, Any]) -> Iterator[str]:
    for key in keys_of(table):
        made = field(f"{table}.{key}" if table else key)
        need = need_words(table, key, least_schedule())
        told = f"{made.meaning} ({allowed(made)}; {need.upper() if need == REQUIRED else need})"
        yield from textwrap.wrap(told, _WIDTH, initial_indent="# ", subsequent_indent="# ")
        value = toml_value(typed[key]) if key in typed else _other(table, key, made)
        yield f"{'' if key in typed else '#'}{key} = {value}"


def _other(table: str, key: str, made: Field) -> str:
    """Return the default, else what might be typed: as in the demo, or some value in range."""
    default = default_of(table, key, least_schedule())
    if default is not None:
        return toml_value(default)
    for name in ("level_gauge_stem", "level_gauge_flange"):
        demo = read_toml(f"demo/{name}.toml").get(table, {})
        for one in demo if isinstance(demo, list) else [demo]:
            if key in one:
                return toml_value(one[key])
    return example(made)


def allowed(made: Field) -> str:
    """Return what may be typed for a field: a range with its unit, words to choose from, text.

    Parameters
    ----------
    made : Field
        Field of the table.
    """
    if made.kind == "corners":
        shape = toml_value(_CORNERS)
        return f'"square", or corners of [time, power], each 0 to 1, such as {shape}'
    if made.choices:
        return ", ".join(made.choices)
    if made.kind == "text":
        return "text"
    low, high = (end * made.scale.per_si + made.scale.offset for end in (made.low, made.high))
    span = f"{low:.10g} to {high:.10g} {made.shown_unit}".rstrip()
    return f'two ends, such as ["0.5 ms", "20 ms"], {span}' if made.key.endswith("_range") else span
