"""Tables of a schedule file: which keys they may hold, and each value read and checked alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

import attrs
from attrs import frozen

from weldcalc.errors import InputError, Problems
from weldcalc.fields import field, nearest
from weldcalc.joint import Joint
from weldcalc.pulse_shape import PulseShape
from weldcalc.quantities import example, parse
from weldcalc.schedules.parts import (
    Goal,
    GoverningCode,
    Laser,
    Preparation,
    Scatter,
    ShieldingSetup,
    WeldPass,
)
from weldcalc.schedules.toml_file import key_path

Values: TypeAlias = dict[str, Any]
_TOP = ("title", "number", "revision")
_CLASSES: dict[str, type] = {
    "code": GoverningCode,
    "joint": Joint,
    "goal": Goal,
    "laser": Laser,
    "shielding": ShieldingSetup,
    "preparation": Preparation,
    "scatter": Scatter,
    "pass": WeldPass,
}
_LONGEST_TEXT = 200
TABLES = tuple(_CLASSES)


def keys_of(table: str) -> tuple[str, ...]:
    """Return the keys that a table of the schedule file may hold, in the order of writing.

    Parameters
    ----------
    table : str
        Name of the table; empty for the top of the file.
    """
    if not table:
        return _TOP
    return tuple(a.name for a in attrs.fields(_CLASSES[table]) if a.name != "given")


@frozen
class Table:
    """One table of the file while it is read: what was typed, and what of it is usable.

    Parameters
    ----------
    name, path : str
        Name of the table ("pass") and path for messages ("pass[0] (root)").
    raw : mapping
        Keys and values as typed.
    values : dict
        Keys and values that could be read [SI].
    problems : Problems
        Where problems are noted.
    """

    name: str
    path: str
    raw: Mapping[str, object]
    values: Values
    problems: Problems

    @property
    def given(self) -> frozenset[str]:
        """Return the keys that were typed."""
        return frozenset(self.raw)

    def at(self, key: str) -> str:
        """Return the path of a key."""
        return key_path(self.path, key)

    def complain(self, key: str, why: str) -> None:
        """Note a problem with a key."""
        self.problems.add(self.at(key), why, self.raw.get(key))

    def need(self, *keys: str) -> bool:
        """Note every key that is missing; tell whether all could be read."""
        for key in keys:
            if key not in self.raw:
                made = field(f"{self.name}.{key}")
                meaning = made.meaning[0].lower() + made.meaning[1:].rstrip(".")
                why = f"missing; write for example {key} = {example(made)} ({meaning})"
                self.complain(key, why)
        return all(key in self.values for key in keys)

    def refuse(self, keys: Sequence[str], why: str) -> None:
        """Note every one of these keys that was typed all the same."""
        for key in keys:
            if key in self.raw:
                self.complain(key, why)

    def one_of(self, first: str, second: str) -> bool:
        """Note if both or neither of two keys were typed; tell whether one could be read."""
        typed = [key for key in (first, second) if key in self.raw]
        if len(typed) != 1:
            which = "both are given" if typed else "neither is given"
            self.problems.add(self.path, f"give exactly one of {first} and {second}; {which}")
        return len(typed) == 1 and typed[0] in self.values


def read_table(name: str, path: str, raw: object, problems: Problems) -> Table:
    """Read every key of one table.

    Parameters
    ----------
    name, path : str
        Name of the table ("pass") and path for messages ("pass[0] (root)").
    raw : object
        What was typed; None for a table left out.
    problems : Problems
        Gets a problem for every value that cannot be used and every unknown key.
    """
    if raw is not None and not isinstance(raw, Mapping):
        problems.add(path, f"is a table: write it under a heading [{name}]", raw)
    typed: Mapping[str, object] = raw if isinstance(raw, Mapping) else {}
    table = Table(name, path, typed, {}, problems)
    known = keys_of(name)
    for key, value in typed.items():
        if key not in known:
            problems.add(table.at(key), _unknown(key, known))
        else:
            read = _read_value(value, field(f"{name}.{key}").key, table.at(key), problems)
            if read is not None:
                table.values[key] = read
    return table


def _unknown(key: str, known: Sequence[str]) -> str:
    near = nearest(key, known)
    if near:
        return f"unknown key; did you mean {' or '.join(near)}?"
    homes = [f"[{name}]" for name in _CLASSES if name != "scatter" and key in keys_of(name)]
    if homes:
        return f"unknown key here; it belongs in {' or '.join(homes)}"
    return f"unknown key; known are {', '.join(known)}"


def _read_value(value: object, key: str, where: str, problems: Problems) -> Any:
    kind = field(key).kind
    if key == "pulse_duration_range":
        return _read_range(value, key, where, problems)
    if kind in ("text", "choice"):
        return _read_text(value, key, where, problems)
    if kind == "corners":
        return _read_shape(value, where, problems)
    return parse(value, key, where=where, problems=problems)


def _read_text(value: object, key: str, where: str, problems: Problems) -> str | None:
    choices = field(key).choices
    if choices and value not in choices:
        problems.add(where, f"write one of {', '.join(choices)}", value)
    elif not isinstance(value, str):
        problems.add(where, f'write text in quotes, for example "{value}"', value)
    elif not value.strip() or not value.isprintable() or len(value) > _LONGEST_TEXT:
        problems.add(where, f"write one line of 1 to {_LONGEST_TEXT} characters", value)
    else:
        return value.strip()
    return None


def _read_range(
    value: object, key: str, where: str, problems: Problems
) -> tuple[float, float] | None:
    if not isinstance(value, list) or len(value) != 2:
        problems.add(where, 'write the two ends, for example ["0.5 ms", "20 ms"]', value)
        return None
    low, high = (
        parse(end, key, where=f"{where}[{i}]", problems=problems) for i, end in enumerate(value)
    )
    if low is None or high is None:
        return None
    if low >= high:
        problems.add(where, "write the shorter end first", value)
        return None
    return low, high


def _read_shape(value: object, where: str, problems: Problems) -> Any:
    try:
        shape = PulseShape.of(value)
    except InputError as error:
        problems.add(where, error.problems[0].why, value)
        return None
    return "square" if isinstance(value, str) else shape.corners
