"""Values of a schedule by path, as two schedules are compared."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import attrs
from attrs import frozen

from weldcalc.errors import InputError
from weldcalc.qualification.change_limits import COMPARED, COUNTED, ORDERED, is_quantity
from weldcalc.quantities import show

if TYPE_CHECKING:
    from weldcalc.schedule import Schedule

MATERIALS = ("material", "plate_material")
_SAME = 1e-12


@frozen
class FlatValue:
    """One value of a schedule.

    Parameters
    ----------
    value : float, str, tuple or None
        Value [SI], word, or None where not given.
    typed : str
        As typed, or as shown where it follows from the rest or is a stated default.
    """

    value: Any
    typed: str


Flat = Mapping[str, FlatValue]


def flatten(schedule: Schedule) -> dict[str, FlatValue]:
    """Return the values of a schedule by path.

    Parameters
    ----------
    schedule : Schedule
        As loaded.

    Returns
    -------
    dict of str to FlatValue
        "joint.gap", "pass.root.peak_power" and so on, with "passes.count" and "passes.order".
        Title, number and revision are no variables.
    """
    flat: dict[str, FlatValue] = {}
    for table in COMPARED[:-1]:
        typed = schedule.typed.get(table, {})
        flat |= dict(_values(getattr(schedule, table), table, table, typed))
    names = [weld_pass.name for weld_pass in schedule.passes]
    flat[COUNTED] = FlatValue(len(names), str(len(names)))
    flat[ORDERED] = FlatValue(tuple(names), ", ".join(names))
    for weld_pass, typed in zip(schedule.passes, schedule.typed.get("pass", []), strict=True):
        flat |= dict(_values(weld_pass, f"pass.{weld_pass.name}", "pass", typed))
    return flat


def _values(
    part: Any, path: str, table: str, typed: Mapping[str, Any]
) -> Iterator[tuple[str, FlatValue]]:
    for attribute in attrs.fields(type(part)):
        leaf = attribute.name
        if leaf == "given" or (leaf == "name" and table == "pass"):
            continue
        value = getattr(part, leaf)
        if leaf in MATERIALS and leaf in typed:
            value = grade_name(typed[leaf])
        yield f"{path}.{leaf}", FlatValue(value, _text(value, f"{table}.{leaf}", typed.get(leaf)))


def grade_name(text: str) -> str:
    """Return the full name of a listed grade in any spelling; other text stays as it is.

    Parameters
    ----------
    text : str
        Grade, or the path of a file of the user's own.
    """
    from weldcalc.materials import material

    try:
        return text if text.endswith(".toml") else material(text).name
    except InputError:
        return text


def _text(value: Any, path: str, typed: Any) -> str:
    if typed is not None:
        return str(typed)
    if value is None:
        return "not given"
    return show(value, path) if is_quantity(path) else str(value)


def family(path: str) -> str:
    """Return a path without the name of its pass: "pass.root.peak_power" to "pass.peak_power".

    Parameters
    ----------
    path : str
        As in `flatten`.
    """
    return f"pass.{path.rpartition('.')[2]}" if path.startswith("pass.") else path


def is_number(value: Any) -> bool:
    """Return True for a number that is no truth value."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def same(old: Any, new: Any) -> bool:
    """Return True when two values of a schedule are equal but for rounding."""
    if is_number(old) and is_number(new):
        return math.isclose(old, new, rel_tol=_SAME)
    if isinstance(old, tuple) and isinstance(new, tuple) and len(old) == len(new):
        return all(same(one, other) for one, other in zip(old, new, strict=True))
    return bool(old == new)


def pass_name(path: str) -> str:
    """Return the pass that a path belongs to; empty where it belongs to none."""
    return path[len("pass.") :].rpartition(".")[0] if path.startswith("pass.") else ""


def pass_names(flat: Flat) -> set[str]:
    """Return the passes that have values."""
    return {name for path in flat if (name := pass_name(path))}
