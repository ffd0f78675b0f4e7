"""One changed value against the limits of change that the user typed."""

from __future__ import annotations

from typing import Any, Literal

from weldcalc.qualification.change_limits import Move, VariableLimit
from weldcalc.qualification.flat import MATERIALS, FlatValue, grade_name, is_number
from weldcalc.quantities import show

Standing = Literal["within", "outside", "no limit stated"]

UNSTATED: tuple[Standing, str] = ("no limit stated", "")

_ROUNDING = 1e-9  # a typed 10 % must cover a change of exactly 10 %
_MOVE_WORDS = {
    "change_at_most": "a change",
    "increase_at_most": "an increase",
    "decrease_at_most": "a decrease",
}


def standing_of(
    limit: VariableLimit | None,
    old: FlatValue,
    new: FlatValue,
    *,
    changed: bool,
    difference: float | None,
) -> tuple[Standing, str]:
    """Say where one variable stands against its limits.

    Parameters
    ----------
    limit : VariableLimit or None
        As typed; None where the variable is not listed.
    old, new : FlatValue
        Before and after.
    changed : bool
        False where only the qualified range is of interest.
    difference : float or None
        New minus old [SI]; None where one of them is no number.

    Returns
    -------
    tuple of str
        "within", "outside" or "no limit stated", and the limit that decides.
    """
    if limit is None or limit.is_blank:
        return UNSTATED
    broken = _range_broken(limit, new)
    if broken:
        return "outside", broken
    if not changed:
        return "within", _range_words(limit)
    if limit.may_change is False:
        return standing_of_word(limit)
    moved = _moved(limit, old, difference)
    if moved:
        return "outside", moved
    return "within", ", ".join(filter(None, [*_move_words(limit), _range_words(limit)]))


def _move_words(limit: VariableLimit) -> list[str]:
    said = [f"{_MOVE_WORDS[key]} of at most {move.typed}" for key, move in limit.moves.items()]
    return [*said, "may change"] if limit.may_change else said


def _moved(limit: VariableLimit, old: FlatValue, difference: float | None) -> str:
    if limit.moves and difference is None:
        return "a limit of change needs a value before and after"
    for key, move in limit.moves.items():
        if _too_far(key, move, difference or 0.0, old.value):
            return f"allowed is {_MOVE_WORDS[key]} of at most {move.typed}"
    return ""


def standing_of_word(limit: VariableLimit) -> tuple[Standing, str]:
    """Say whether a variable may change at all.

    Parameters
    ----------
    limit : VariableLimit
        As typed.

    Returns
    -------
    tuple of str
        As `standing_of`.
    """
    if limit.may_change is None:
        return UNSTATED
    return ("within", "may change") if limit.may_change else ("outside", "must not change")


def _range_broken(limit: VariableLimit, new: FlatValue) -> str:
    allowed = limit.allowed
    if limit.path.endswith(MATERIALS):
        allowed = tuple(grade_name(word) for word in allowed)
    if allowed and str(new.value) not in allowed:
        return f"qualified: {', '.join(limit.allowed)}"
    if limit.low is None and limit.high is None:
        return ""
    if not is_number(new.value):
        return "has a qualified range, but is not given"
    value, slack = float(new.value), _ROUNDING * abs(float(new.value))
    below = limit.low is not None and value < limit.low - slack
    above = limit.high is not None and value > limit.high + slack
    return f"qualified: {_range_words(limit)}" if below or above else ""


def _range_words(limit: VariableLimit) -> str:
    if limit.allowed:
        return f"one of {', '.join(limit.allowed)}"
    low = "" if limit.low is None else f"from {show(limit.low, limit.path)}"
    high = "" if limit.high is None else f"to {show(limit.high, limit.path)}"
    return " ".join(filter(None, (low, high)))


def _too_far(key: str, move: Move, difference: float, old: Any) -> bool:
    counted = {
        "change_at_most": abs(difference),
        "increase_at_most": difference,
        "decrease_at_most": -difference,
    }[key]
    allowed = move.value * abs(old) if move.is_share else move.value
    return bool(counted > allowed * (1.0 + _ROUNDING))
