"""Two values of one field, in the record and recomputed: the same, or how they differ."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from attrs import frozen

SAME_PLATFORM = 1e-9
OTHER_PLATFORM = 1e-6
# ends of intervals, windows and chances come from seeded draws: the same to the last digit on the
# same platform; elsewhere a draw or a place right at an edge may fall to the other side. Allowed
# then: for sizes the error that the draws state for themselves, for shares and chances one draw of
# the twenty behind a place of a map, for the row of a map one place next to an edge
SAMPLED = 0.03
SAMPLED_SHARE = 0.06
_SAMPLED_FIELD = re.compile(
    r"_interval(_[A-Za-z0-9]+)*\[[01]\]$"
    r"|^computed\.(window|scatter|whole_weld\.fit_up\.stacked)\."
)
_SHARE_FIELD = re.compile(r"^computed\.(window|scatter)\..*(chance|interval_95|share)")
_MAP_ROW = "computed.window.map.region["
ABSOLUTE = 1e-12  # a number that is all rounding error, such as a closed balance, has no digits


@frozen
class Difference:
    """A field that did not come out the same.

    Parameters
    ----------
    field : str
        Path in record.json, or a place in pulses.csv.
    recorded, recomputed : object
        The two values; None where one is missing.
    how : str
        By how much, in words.
    """

    field: str
    recorded: object
    recomputed: object
    how: str


def tolerance_between(then: object, here: Mapping[str, Any]) -> float:
    """Return how far a number may be off, as a share of it.

    Parameters
    ----------
    then, here : mapping
        Environment of the record, and the one here.
    """
    return SAME_PLATFORM if then == here else OTHER_PLATFORM


def difference_of(
    path: str, then: Mapping[str, Any], now: Mapping[str, Any], tolerance: float
) -> Difference | None:
    """Return how a field differs, or None where it is the same.

    Parameters
    ----------
    path : str
        Path of the field.
    then, now : mapping of str to object
        All fields of the record, and those recomputed.
    tolerance : float
        From `tolerance_between` [-].
    """
    if path not in then:
        return Difference(path, None, now[path], "is not in the record")
    if path not in now:
        return Difference(path, then[path], None, "is not computed any more")
    old, new = then[path], now[path]
    elsewhere = tolerance == OTHER_PLATFORM
    if _is_number(old) and _is_number(new):
        relative, absolute = _allowed(path, tolerance) if elsewhere else (tolerance, ABSOLUTE)
        if math.isclose(old, new, rel_tol=relative, abs_tol=absolute):
            return None
        return Difference(path, old, new, how_much(old, new))
    if (type(old) is type(new) and old == new) or (elsewhere and _is_same_row(path, old, new)):
        return None
    return Difference(path, old, new, f'"{old}" in the record, "{new}" recomputed')


def _allowed(path: str, tolerance: float) -> tuple[float, float]:
    """Return the relative and the absolute difference allowed on another platform."""
    if not _SAMPLED_FIELD.search(path):
        return tolerance, ABSOLUTE
    return SAMPLED, SAMPLED_SHARE if _SHARE_FIELD.search(path) else ABSOLUTE


def _is_same_row(path: str, old: object, new: object) -> bool:
    """Tell whether two texts are a row of the window's map and differ in one place at most."""
    if not (path.startswith(_MAP_ROW) and isinstance(old, str) and isinstance(new, str)):
        return False
    return len(old) == len(new) and sum(a != b for a, b in zip(old, new, strict=True)) <= 1


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _two_digits(percent: float) -> str:
    return f"{percent:.0f}" if percent >= 10.0 else f"{percent:.2g}"


def how_much(old: float, new: float) -> str:
    """Return by how much a number differs, in words."""
    text = f"{old:.9g} in the record, {new:.9g} recomputed"
    if not old:
        return text
    percent = 100.0 * (new - old) / abs(old)
    return f"{text} ({_two_digits(abs(percent))} % {'more' if percent > 0 else 'less'})"
