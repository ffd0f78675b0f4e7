"""A computed value that carries its formula and source, and checks of keyword arguments."""

from __future__ import annotations

import math

from attrs import asdict, frozen

from weldcalc.errors import Problems


@frozen
class Sourced:
    """One number with its unit, the formula it came from and where that formula stands.

    Parameters
    ----------
    value : float
        The number, in `unit`.
    unit : str
        Unit as text; "1" for a plain ratio.
    formula : str
        The formula, in words or symbols.
    source : str
        Where the formula and its constants were read.
    standing : str
        "published", "derived", "common practice" or "from memory", or a mix in words.
    note : str
        Assumptions a reader has to know; empty where there are none.
    """

    value: float
    unit: str
    formula: str
    source: str
    standing: str
    note: str = ""

    def to_json(self) -> dict[str, float | str]:
        """Return plain values."""
        return asdict(self)


def need_positive(problems: Problems, **values: float) -> None:
    """Note every value that is not a finite number above zero.

    Parameters
    ----------
    problems : Problems
        Where to note it.
    **values : float
        Values by name.
    """
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            problems.add(name, "has to be a finite number above zero", value)


def need_not_negative(problems: Problems, **values: float) -> None:
    """Note every value that is not a finite number of at least zero.

    Parameters
    ----------
    problems : Problems
        Where to note it.
    **values : float
        Values by name.
    """
    for name, value in values.items():
        if not (math.isfinite(value) and value >= 0):
            problems.add(name, "has to be a finite number, zero or more", value)


def need_within(problems: Problems, low: float, high: float, unit: str, **values: float) -> None:
    """Note every value outside a range, both ends allowed.

    Parameters
    ----------
    problems : Problems
        Where to note it.
    low, high : float
        Ends of the range, in the unit of the values.
    unit : str
        Unit to name in the message; may be empty.
    **values : float
        Values by name.
    """
    for name, value in values.items():
        if not low <= value <= high:
            problems.add(name, f"has to lie between {low:g} and {high:g} {unit}".rstrip(), value)
