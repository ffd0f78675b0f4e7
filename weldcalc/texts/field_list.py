"""The fields of a schedule as text: what may be typed, its unit and range, what it means."""

from __future__ import annotations

import textwrap

from weldcalc.errors import InputError
from weldcalc.fields import FIELDS, Field, nearest

_NOT_TYPED = ("results", "coupons")


def field_text(group: str = "") -> str:
    """Return the fields of one table of the schedule file, or of all.

    Parameters
    ----------
    group : str, optional
        Name of the table, such as "joint"; empty for all.

    Raises
    ------
    InputError
        When there is no such table.
    """
    typed = (item.group for item in FIELDS.values() if item.group not in _NOT_TYPED)
    groups = list(dict.fromkeys(typed))
    if group and group not in groups:
        near = nearest(group, groups) or tuple(groups)
        raise InputError.of("table", f"there is none of this name; known: {', '.join(near)}", group)
    return "\n\n".join(_group_text(name) for name in groups if group in ("", name))


def _group_text(group: str) -> str:
    lines = [_field_lines(item) for item in FIELDS.values() if item.group == group]
    return "\n".join([f"[{group}]", *lines])


def _field_lines(item: Field) -> str:
    leaf = item.key.rpartition(".")[2]
    allowed = ", ".join(item.choices) if item.choices else _range(item)
    meaning = textwrap.fill(item.meaning, width=96, initial_indent="    ", subsequent_indent="    ")
    return f"  {leaf}  ({allowed})\n{meaning}"


def _range(item: Field) -> str:
    if item.kind == "text":
        return "text"
    low, high = (end * item.scale.per_si + item.scale.offset for end in (item.low, item.high))
    return f"{low:.6g} to {high:.6g} {item.shown_unit}".rstrip()
