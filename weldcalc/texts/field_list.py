"""The fields of a schedule as text: what may be typed, its unit and range, its default."""

from __future__ import annotations

import textwrap

from weldcalc.errors import InputError
from weldcalc.fields import FIELDS, Field, which_known
from weldcalc.schedules.needs import need_words
from weldcalc.texts.starting_schedule import allowed, least_schedule

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
        why = f"there is none of this name; {which_known(group, groups)}"
        raise InputError.of("table", why, group)
    return "\n\n".join(_group_text(name) for name in groups if group in ("", name))


def _group_text(group: str) -> str:
    lines = [_field_lines(item) for item in FIELDS.values() if item.group == group]
    return "\n".join([f"[{group}]", *lines])


def _field_lines(item: Field) -> str:
    leaf = item.key.rpartition(".")[2]
    table = "" if item.group == "schedule" else item.group
    told = f"{leaf}  ({allowed(item)}; {need_words(table, leaf, least_schedule())})"
    return "\n".join([_filled(told, "  "), _filled(item.meaning, "    ")])


def _filled(text: str, indent: str) -> str:
    return textwrap.fill(text, width=96, initial_indent=indent, subsequent_indent="    ")
