"""Schedules written back: values as text that reads back exactly, and the file as a whole."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from weldcalc.fields import field
from weldcalc.quantities import shortest_text
from weldcalc.schedules.table import TABLES, keys_of
from weldcalc.schedules.toml_file import toml_value

_WIDTH = 100
_HEADINGS = {
    "code": "What governs; weldcalc never replaces it.",
    "joint": "Members and fit-up.",
    "goal": "What the weld has to reach.",
    "laser": "Beam and limits of the laser.",
    "shielding": "Gas and purge.",
    "preparation": "Edges and cleaning.",
    "scatter": "What varies in the shop, one sigma.",
    "pass": "One pass; its own values win over those of [laser].",
}


def typed_text(value: Any, key: str) -> Any:
    """Return an SI value as it would be typed in TOML, exact to the last digit.

    Parameters
    ----------
    value : float, pair of float, int, str or corners
        Value [SI].
    key : str
        Key as in the field table.

    Raises
    ------
    InputError
        When a quantity is not finite or outside its plausible range.
    """
    if field(key).kind == "corners" and not isinstance(value, str):
        return [list(corner) for corner in value]
    if field(key).kind != "quantity":
        return value
    if isinstance(value, tuple):
        return [shortest_text(end, key) for end in value]
    return shortest_text(float(value), key)


def to_toml(
    typed: Mapping[str, Any], *, notes: tuple[str, ...] = (), move: tuple[Path, Path] | None = None
) -> str:
    """Return a schedule as the text of a TOML file, in the fixed order of tables and keys.

    Parameters
    ----------
    typed : mapping
        Tables and keys as typed.
    notes : tuple of str, optional
        Lines for the head of the file.
    move : pair of pathlib.Path, optional
        Folder that paths of material files start from now, and where the file will stand.
    """
    lines = [f"# {_in_one_line(note)}" for note in notes]
    lines += _lines(typed, "")
    for name in TABLES:
        tables = typed.get(name)
        for table in tables if isinstance(tables, list) else [tables]:
            if table:
                bracketed = f"[[{name}]]" if name == "pass" else f"[{name}]"
                moved = _moved(table, move) if name == "joint" and move else table
                lines += ["", f"{bracketed:<40} # {_HEADINGS[name]}", *_lines(moved, name)]
    return "\n".join(lines) + "\n"


def _in_one_line(note: str) -> str:
    # a file name in a note may hold a line end, behind which the file would go on
    return "".join(one if one.isprintable() else " " for one in note)


def _lines(table: Mapping[str, Any], name: str) -> Iterator[str]:
    for key in keys_of(name):
        if key in table:
            text = f"{key} = {toml_value(table[key])}"
            comment = f"# {field(f'{name}.{key}').meaning}" if name else ""
            line = f"{text:<40} {comment}".rstrip()
            yield from (line,) if len(line) <= _WIDTH else (comment, text)


def _moved(table: Mapping[str, Any], move: tuple[Path, Path]) -> dict[str, Any]:
    before, after = move
    moved = dict(table)
    for key in ("material", "plate_material"):
        if str(table.get(key, "")).lower().endswith(".toml"):
            path = (before / table[key]).resolve()
            try:
                moved[key] = Path(os.path.relpath(path, after.resolve())).as_posix()
            except ValueError:  # on another drive there is no relative path
                moved[key] = path.as_posix()
    return moved
