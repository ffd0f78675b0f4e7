"""Quantities typed by people: one strict parser for numbers with units, and their way back.

The only module that uses pint. Number and unit are split here because a general unit parser reads
"0,6 mm" as 0 mm and refuses "20 degC". Arithmetic is exact until the last step, so that 0.4 mm,
400 um and 0.0004 m are the same float.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from decimal import Context, Decimal
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from weldcalc.errors import InputError, Problems
from weldcalc.fields import (
    FIELDS,
    Field,
    example,
    field,
    json_key,
    middle_text,
    pretty_unit,
    show,
    to_json,
    to_shown,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "FIELDS",
    "Field",
    "convert_column",
    "example",
    "field",
    "json_key",
    "parse",
    "parse_quantity",
    "pretty_unit",
    "shortest_text",
    "show",
    "to_json",
    "to_shown",
]

_SPLIT = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*(.*?)\s*")
_COMMA = re.compile(r"\s*([+-]?[0-9]*),([0-9]+)\s*([^0-9\s.,][^.,]*?)?\s*")
_MORE = re.compile(r"(?!1/)[0-9.,/*^±+-]")
_NOT_FINITE = re.compile(r"\s*[+-]?(nan|inf|infinity)(?![a-z])", re.IGNORECASE)
_LETTERS = r"[A-Za-zµμ°%]+(?:\^?-?[1-9])?"
_UNIT = re.compile(rf"(?:1/)?{_LETTERS}(?:(?:\s?[/*·]\s?|\s){_LETTERS}){{0,3}}")
_LONGEST = 60
_HUGE = 1e300

# Units tried and proposed, in this order, after the shown unit.
_USUAL: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "m": ("mm", "um", "nm", "cm", "m"),
        "s": ("ms", "s", "us", "min", "h"),
        "W": ("W", "kW"),
        "J": ("J", "mJ", "kJ"),
        "m/s": ("mm/s", "mm/min", "m/min", "m/s"),
        "m3": ("mL", "L", "m3"),
        "m3/s": ("L/min", "mL/min", "L/h", "m3/h"),
        "1": ("%", "ppm"),
        "rad": ("deg", "°", "rad", "mrad"),
        "rad/s": ("rpm", "deg/s", "°/s", "rad/s"),
        "Hz": ("Hz", "kHz", "mHz", "1/s", "1/min"),
        "difference": ("K",),
        "temperature": ("degC", "K", "°C", "degF", "°F"),
    }
)
# pint's dimensions are too loose here (a turn, a percent and a hertz look alike to it, and a rise
# like a temperature): nothing but the usual units
_LOOSE = frozenset({"1", "rad", "rad/s", "Hz", "K"})
_PINT_NAMES = {"%": "percent", "°C": "degC", "°F": "degF", "°": "deg", "1/s": "s^-1"}
_ODD_CHARACTERS = str.maketrans({"²": "2", "³": "3", "⁻": "-", "¹": "1", "−": "-", "\u00a0": " "})


@lru_cache(maxsize=1)
def _registry() -> Any:
    # late and without a disk cache: building it takes longer than most commands, and a stale
    # cache has misled others
    import pint

    return pint.UnitRegistry(non_int_type=Fraction, cache_folder=None)


def _for_pint(unit: str) -> str:
    if unit in ("1/s", "1/min"):
        return f"{unit[2:]}^-1"
    plain = _PINT_NAMES.get(unit, unit).replace("°", "deg").replace("·", "*")
    return re.sub(r"(?<=[A-Za-zµμ])\^?(-?[1-9])", r"^\1", plain)


@lru_cache(maxsize=512)
def _exact_scale(unit: str, si_unit: str) -> tuple[Fraction, Fraction] | None:
    """Return (factor, offset) with SI = number * factor + offset, or None if units do not fit."""
    quantity = _registry().Quantity
    target = "dimensionless" if si_unit == "1" else _for_pint(si_unit)
    try:
        zero, one = (
            Fraction(quantity(Fraction(number), _for_pint(unit)).to(target).magnitude)
            for number in (0, 1)
        )
    except (
        Exception
    ):  # pint raises bare AssertionError, AttributeError, TokenError ... for bad text
        return None
    return one - zero, zero


@lru_cache(maxsize=512)
def _is_unit(unit: str) -> bool:
    try:
        _registry().parse_units(_for_pint(unit))
    except Exception:  # as above: any failure means that the text is no unit
        return False
    return True


def _usual_units(made: Field) -> tuple[str, ...]:
    kind = made.si_unit
    if kind == "K":
        kind = "temperature" if made.is_temperature else "difference"
    others = _USUAL.get(kind, ())
    return (made.shown_unit, *(unit for unit in others if unit != made.shown_unit))


class _UnreadableError(Exception):
    """Says why a text is no value of its field."""


def _scale_of(unit: str, made: Field) -> tuple[Fraction, Fraction]:
    usual = _usual_units(made)
    same = [known for known in usual if known.casefold() == unit.casefold()]
    use = f"did you mean {same[0]}?" if same else f"use {' or '.join(usual[:2])}"
    if not _UNIT.fullmatch(unit) or not _is_unit(unit):
        raise _UnreadableError(f'unknown unit "{unit}"; {use}')
    scale = _exact_scale(unit, made.si_unit)
    if scale is None or (made.si_unit in _LOOSE and unit not in usual):
        hint = " (degrees Celsius are written degC)" if unit in ("C", "c") else ""
        raise _UnreadableError(f'the unit "{unit}" does not fit here; {use}{hint}')
    return scale


def _comma_remedy(comma: re.Match[str], shown_unit: str) -> str:
    whole, part, unit = comma[1], comma[2], comma[3] or shown_unit
    dotted = f'"{whole or "0"}.{part} {unit}"'
    if len(part) == 3 and whole.strip("+-0"):
        return f'the comma is unclear: write "{whole}{part} {unit}" or {dotted}'
    return f"use a decimal point, for example {dotted}"


def _split(text: str, made: Field) -> tuple[Fraction, str]:
    """Return number and unit of a text, both still unchecked against the field."""
    unit = made.shown_unit
    comma = _COMMA.fullmatch(text)
    if comma:
        raise _UnreadableError(_comma_remedy(comma, unit))
    if _NOT_FINITE.match(text):
        raise _UnreadableError(f'must be a finite number, for example "{middle_text(made)}"')
    match = _SPLIT.fullmatch(text)
    if match is None or len(text) > _LONGEST or _MORE.match(match[2]):
        raise _UnreadableError(f'write one number and one unit, for example "{middle_text(made)}"')
    if not match[2]:
        wanted = _with_unit(match[1], made)
        raise _UnreadableError(f"the unit is missing; write for example {wanted}")
    return Fraction(match[1]), match[2]


def _with_unit(number: str, made: Field) -> str:
    """Return a bare number with the shown unit; a share of one may be meant as such or in %."""
    unit, exact = made.shown_unit, Fraction(number)
    if unit != "%" or not 0 < exact <= 1:
        return f'"{number} {unit}"'
    shares = {float(100 * exact): f'"{float(100 * exact):g} %"', float(exact): f'"{number} %"'}
    usable = [text for share, text in shares.items() if _in_range(share / 100.0, made)]
    return " or ".join(usable or shares.values())


def _in_range(value: float, made: Field) -> bool:
    # shown limits such as 0.3 mm need not be the same float as their SI value
    slack = 1e-12
    return made.low - slack * abs(made.low) <= value <= made.high + slack * abs(made.high)


def _range_text(made: Field) -> str:
    low, high = (end * made.scale.per_si + made.scale.offset for end in (made.low, made.high))
    return f"{low:.10g} to {high:.10g} {made.shown_unit}".rstrip()


def _quantity(text: str, made: Field) -> float:
    number, unit = _split(text.translate(_ODD_CHARACTERS), made)
    factor, offset = _scale_of(unit, made)
    value = _to_float(number * factor + offset)
    if not _in_range(value, made):
        raise _UnreadableError(
            f"outside the plausible range {_range_text(made)}{_slip(number, made)}"
        )
    return value


def _to_float(exact: Fraction) -> float:
    try:
        return float(exact)
    except OverflowError:
        return math.inf if exact > 0 else -math.inf


def _slip(number: Fraction, made: Field) -> str:
    """Return a question where another prefix, or another usual unit, would be plausible."""
    for unit in _usual_units(made):
        scale = _exact_scale(unit, made.si_unit)
        if scale and not scale[1] and _in_range(_to_float(number * scale[0]), made):
            return f'; did you mean "{_to_float(number):g} {unit}"?'
    return ""


def _plain_number(value: object, made: Field) -> float:
    whole = made.kind == "count"
    if isinstance(value, bool) or not isinstance(value, int if whole else (int, float)):
        raise _UnreadableError(f"write a plain {'whole ' if whole else ''}number without quotes")
    if not _in_range(value, made):  # not a number fails it too
        raise _UnreadableError(f"outside the plausible range {_range_text(made)}")
    return value if whole else float(value)


def _value(given: object, made: Field) -> float:
    if made.kind in ("count", "number"):
        return _plain_number(given, made)
    if isinstance(given, str):
        return _quantity(given, made)
    if isinstance(given, (int, float)) and not isinstance(given, bool):
        usable = abs(given) < _HUGE  # a whole number may be too large even to be shown
        text = f"{given:g}" if usable else middle_text(made).split()[0]
        wanted = _with_unit(text, made)
        raise _UnreadableError(f"write number and unit in quotes, for example {wanted}")
    raise _UnreadableError(f'write number and unit in quotes, for example "{middle_text(made)}"')


def parse(text: object, key: str, *, where: str, problems: Problems) -> float | None:
    """Read one value as typed and note what is wrong with it.

    Parameters
    ----------
    text : object
        Value as typed: a string with number and unit, or a plain number where the field is a count
        or a number without unit.
    key : str
        Key as in the field table.
    where : str
        Path of the value, for messages.
    problems : Problems
        Gets one problem if the value cannot be used.

    Returns
    -------
    float or None
        Value [SI]; None if a problem was noted.
    """
    try:
        return _value(text, field(key))
    except _UnreadableError as error:
        problems.add(where, str(error), text)
        return None


def parse_quantity(text: object, key: str) -> float:
    """Read one value as typed.

    Parameters
    ----------
    text : object
        Value as typed, see `parse`.
    key : str
        Key as in the field table.

    Returns
    -------
    float
        Value [SI].

    Raises
    ------
    InputError
        When the value cannot be used; says why and what to write instead.

    Examples
    --------
    >>> parse_quantity("0.4 mm", "wall_thickness")
    0.0004
    """
    try:
        return _value(text, field(key))
    except _UnreadableError as error:
        raise InputError.of(key, str(error), text) from None


def convert_column(
    values: Iterable[float], unit_text: str, key: str, *, where: str = "column"
) -> NDArray[np.float64]:
    """Return a column of numbers, with the unit in its heading, as SI.

    Parameters
    ----------
    values : iterable of float, length n
        Numbers in `unit_text`; NaN stands for an empty cell and stays NaN.
    unit_text : str
        Unit from the heading; empty for a count or a number without unit.
    key : str
        Key as in the field table.
    where : str, optional
        Name of the column, for messages.

    Returns
    -------
    ndarray of float, shape (n,)
        Values [SI].

    Raises
    ------
    InputError
        When the unit does not fit, or for every value outside the plausible range, by its row.
    """
    made = field(key)
    numbers = np.asarray(list(values), dtype=np.float64)
    factor, offset = _column_scale(unit_text, made, where)
    column = np.asarray(numbers * float(factor) + float(offset))
    problems = Problems()
    for row, (number, value) in enumerate(zip(numbers, column, strict=True), start=1):
        if not math.isnan(value) and not _in_range(value, made):
            why = f"outside the plausible range {_range_text(made)}"
            problems.add(f"{where}, row {row}", why, f"{number:g} {unit_text}".strip())
    problems.raise_if_any()
    return column


def _column_scale(unit_text: str, made: Field, where: str) -> tuple[Fraction, Fraction]:
    unit = unit_text.strip().translate(_ODD_CHARACTERS)
    if made.kind in ("count", "number"):
        if unit:
            raise InputError.of(where, "this column has no unit", unit_text)
        return Fraction(1), Fraction(0)
    try:
        return _scale_of(unit, made)
    except _UnreadableError as error:
        raise InputError.of(where, str(error), unit_text) from None


def shortest_text(value: float, key: str) -> str:
    """Return the shortest text in the shown unit that reads back as exactly this value.

    Parameters
    ----------
    value : float
        Value [SI].
    key : str
        Key as in the field table of a quantity.

    Raises
    ------
    InputError
        When the value is not finite or outside the plausible range.

    Examples
    --------
    >>> shortest_text(0.0004, "wall_thickness"), shortest_text(293.15, "preheat")
    ('0.4 mm', '20 degC')
    """
    made = field(key)
    if not math.isfinite(value) or not _in_range(value, made):
        why = f"outside the plausible range {_range_text(made)}"
        raise InputError.of(key, why, f"{value:g} {made.si_unit}")
    factor, offset = _scale_of(made.shown_unit, made)
    exact = (Fraction(value) - offset) / factor
    for digits in range(1, 18):  # 17 always do: no two floats share their first 17 digits
        text = _rounded(exact, digits)
        if float(Fraction(text) * factor + offset) == value:
            break
    return f"{text} {made.shown_unit}"


def _rounded(exact: Fraction, digits: int) -> str:
    context = Context(prec=digits + 12)
    number = context.divide(Decimal(exact.numerator), Decimal(exact.denominator))
    number = Context(prec=digits).create_decimal(number)
    return f"{number:f}" if -7 <= number.adjusted() < 12 else f"{number:e}"
