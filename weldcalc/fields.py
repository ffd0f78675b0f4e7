"""Fields: name, meaning, units and plausible range of every value that goes in or comes out.

The schedule reader, the help texts, the JSON keys and the headings of reports all come from here.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Literal

from attrs import frozen

from weldcalc.errors import InputError
from weldcalc.field_table import TABLE

Kind = Literal["quantity", "text", "choice", "count", "number", "corners"]


@frozen
class Scale:
    """How a shown unit relates to its SI unit: shown = SI value * per_si + offset."""

    si_unit: str
    per_si: float
    offset: float = 0.0


SCALES: Mapping[str, Scale] = MappingProxyType(
    {
        "m": Scale("m", 1.0),
        "mm": Scale("m", 1e3),
        "um": Scale("m", 1e6),
        "nm": Scale("m", 1e9),
        "s": Scale("s", 1.0),
        "ms": Scale("s", 1e3),
        "min": Scale("s", 1 / 60),
        "Hz": Scale("Hz", 1.0),
        "W": Scale("W", 1.0),
        "J": Scale("J", 1.0),
        "mm/s": Scale("m/s", 1e3),
        "J/mm": Scale("J/m", 1e-3),
        "J/m2": Scale("J/m2", 1.0),
        "W/mm2": Scale("W/m2", 1e-6),
        "mm2": Scale("m2", 1e6),
        "deg": Scale("rad", 180 / math.pi),
        "rpm": Scale("rad/s", 30 / math.pi),
        "degC": Scale("K", 1.0, -273.15),
        "K": Scale("K", 1.0),
        "K/s": Scale("K/s", 1.0),
        "%": Scale("1", 1e2),
        "ppm": Scale("1", 1e6),
        "MPa": Scale("Pa", 1e-6),
        "m3": Scale("m3", 1.0),
        "L": Scale("m3", 1e3),
        "mL": Scale("m3", 1e6),
        "L/min": Scale("m3/s", 6e4),
    }
)
_ROUNDED = 5  # power of ten from which on the last digits of a number say nothing
_ALIKE = 0.7  # from 0.6 on, "operator" looks like "penetration"
_NO_SCALE = Scale("1", 1.0)


@frozen
class Field:
    """One value of a schedule or a result.

    Parameters
    ----------
    key : str
        Name in TOML and Python; ``table.leaf`` where a bare leaf would mean two things.
    meaning : str
        One plain sentence.
    si_unit, shown_unit : str
        Unit inside the program and unit for people; empty for a value that is no quantity.
    low, high : float
        Plausible range, both ends included [SI].
    kind : {"quantity", "text", "choice", "count", "number", "corners"}
        What is written in TOML: a string with a unit, plain text, one of `choices`, a whole
        number, a plain number, or "square" and corner lists.
    choices : tuple of str
        Words allowed, where `kind` is "choice".
    group : str
        Table of the schedule file that it belongs to, or "results".
    example : str
        What may be written, for a text.
    """

    key: str
    meaning: str
    si_unit: str
    shown_unit: str
    low: float
    high: float
    kind: Kind = "quantity"
    choices: tuple[str, ...] = ()
    group: str = ""
    example: str = ""

    @property
    def scale(self) -> Scale:
        """Return the scale between the SI unit and the shown unit."""
        return SCALES.get(self.shown_unit, _NO_SCALE)

    @property
    def is_temperature(self) -> bool:
        """Tell whether it is a temperature, not a difference of temperatures."""
        return self.shown_unit == "degC"


def _numbers(text: str) -> tuple[float, float]:
    low, _, high = text.partition("..")
    return float(low), float(high)


def _quantity_field(key: str, unit: str, span: str, meaning: str, group: str) -> Field:
    scale = SCALES[unit]
    low, high = ((end - scale.offset) / scale.per_si for end in _numbers(span))
    return Field(key, meaning, scale.si_unit, unit, low, high, group=group)


def _plain_field(key: str, kind: str, span: str, meaning: str, group: str) -> Field:
    if kind == "text":
        return Field(key, meaning, "", "", -math.inf, math.inf, "text", (), group, span)
    if kind == "count":
        return Field(key, meaning, "1", "", *_numbers(span), "count", group=group)
    if kind == "number":
        return Field(key, meaning, "1", "", *_numbers(span), "number", group=group)
    choices = tuple(word.strip() for word in span.split(","))
    known: Kind = "corners" if kind == "corners" else "choice"
    return Field(key, meaning, "", "", -math.inf, math.inf, known, choices, group=group)


def _field_from_line(line: str, group: str) -> Field:
    key, unit, span, meaning = (part.strip() for part in line.split("|"))
    build = _quantity_field if unit in SCALES else _plain_field
    return build(key, unit, span, meaning, group)


def _read_table(text: str) -> dict[str, Field]:
    joined = re.sub(r"\n[ \t]+(?=\S)", " ", text)
    fields: dict[str, Field] = {}
    group = ""
    for line in filter(None, joined.splitlines()):
        if line.startswith("["):
            group = line.strip("[]")
        else:
            made = _field_from_line(line, group)
            fields[made.key] = made
    return fields


FIELDS: Mapping[str, Field] = MappingProxyType(_read_table(TABLE))


def nearest(word: str, known: Iterable[str], most: int = 3) -> tuple[str, ...]:
    """Return the known names that look most like a word, best first; may be empty.

    Parameters
    ----------
    word : str
        Name as typed.
    known : iterable of str
        Names that exist.
    most : int, optional
        Longest list to return.
    """
    names = list(known)
    close = difflib.get_close_matches(word, names, n=most, cutoff=_ALIKE)
    holding = [name for name in names if word in name.split("_")]  # "spot" for "spot_diameter"
    return tuple(dict.fromkeys([*close, *holding]))[:most]


def which_known(word: str, known: Iterable[str]) -> str:
    """Return what may have been meant by a word, and all the names that exist.

    Parameters
    ----------
    word : str
        Name as typed.
    known : iterable of str
        Names that exist, few enough to list.

    Examples
    --------
    >>> which_known("Root", ["root", "cover"]), which_known("x", ["root"])
    ('did you mean root? Known are root, cover', 'known are root')
    """
    names = list(known)
    near = nearest(word.lower(), names, 1)
    listed = f"nown are {', '.join(names)}"
    return f"did you mean {near[0]}? K{listed}" if near else f"k{listed}"


def field(key: str) -> Field:
    """Return the field of a key.

    Parameters
    ----------
    key : str
        Key as in the field table; ``table.leaf`` falls back to ``leaf``.

    Raises
    ------
    InputError
        When no field has that key.
    """
    found = FIELDS.get(key) or FIELDS.get(key.rpartition(".")[2])
    if found is None:
        near = " or ".join(nearest(key, FIELDS))
        raise InputError.of("field", f"unknown; did you mean {near}?" if near else "unknown", key)
    return found


def middle_text(made: Field) -> str:
    """Return a round value from the middle of the plausible range, with its unit.

    Parameters
    ----------
    made : Field
        Field of the table.
    """
    middle = made.high / 10 if made.low <= 0 else math.sqrt(made.low * made.high)
    shown = middle * made.scale.per_si + made.scale.offset
    return f"{float(f'{shown:.0e}'):g} {made.shown_unit}".rstrip()


def example(made: Field) -> str:
    """Return a value of a field as it may be written in TOML.

    Parameters
    ----------
    made : Field
        Field of the table.
    """
    if made.choices:
        return f'"{made.choices[0]}"'
    if made.kind in ("count", "number"):
        return "1"
    return f'"{middle_text(made)}"' if made.kind == "quantity" else f'"{made.example}"'


def json_key(key: str) -> str:
    """Return the JSON name of a field, with its shown unit; fractions and counts stay bare.

    Parameters
    ----------
    key : str
        Key as in the field table.

    Examples
    --------
    >>> json_key("penetration"), json_key("mean_irradiance"), json_key("duty_cycle")
    ('penetration_mm', 'mean_irradiance_W_mm2', 'duty_cycle')
    """
    made = field(key)
    name = made.key.replace(".", "_")
    if made.shown_unit in ("", "%"):
        return name
    return f"{name}_{made.shown_unit.replace('/', '_')}"


def to_shown(value: float, key: str) -> float:
    """Return an SI value in the shown unit of its field (percent for fractions).

    Parameters
    ----------
    value : float
        Value [SI].
    key : str
        Key as in the field table.
    """
    scale = field(key).scale
    return value * scale.per_si + scale.offset


def to_json(value: float | None, key: str) -> float | None:
    """Return an SI value as it stands under its `json_key`: shown unit, but fractions 0 to 1.

    Parameters
    ----------
    value : float or None
        Value [SI]; None (does not apply) stays None.
    key : str
        Key as in the field table.
    """
    if value is None:
        return None
    return value if field(key).shown_unit == "%" else to_shown(value, key)


def pretty_unit(unit: str) -> str:
    """Return a unit as people write it: degC becomes °C, mm2 becomes mm².

    Parameters
    ----------
    unit : str
        Unit of the field table.
    """
    return unit.replace("degC", "°C").replace("m2", "m²").replace("m3", "m³")


def show(value: float | tuple[float, float] | None, key: str, digits: int = 3) -> str:
    """Return a value with its shown unit, for people.

    Parameters
    ----------
    value : float, pair of float or None
        Value or interval [SI]; None gives "not given".
    key : str
        Key as in the field table.
    digits : int, optional
        Significant digits; of numbers below a hundred thousand no digit before the decimal point
        is rounded away.

    Examples
    --------
    >>> show(0.0004, "wall_thickness"), show(1.064e-6, "wavelength"), show(None, "gap")
    ('0.400 mm', '1064 nm', 'not given')
    """
    if value is None:
        return "not given"
    unit = pretty_unit(field(key).shown_unit)
    ends = value if isinstance(value, tuple) else (value,)
    text = " to ".join(_digits(to_shown(end, key), key, digits) for end in ends)
    return f"{text} {unit}".rstrip()


def plain_name(key: str) -> str:
    """Return the words of a key: its last part, without underscores and unusual short forms.

    Examples
    --------
    >>> plain_name("goal.haz_width"), plain_name("fusion_width")
    ('heat-affected width', 'fusion width')
    """
    words = key.rpartition(".")[2].split("_")
    return " ".join("heat-affected" if word == "haz" else word for word in words)


def percent(share: float, decimals: int = 0) -> str:
    """Return a share as people write it.

    Parameters
    ----------
    share : float
        [1]
    decimals : int, optional
        Digits behind the decimal point.

    Examples
    --------
    >>> percent(0.071), percent(0.071, 1)
    ('7 %', '7.1 %')
    """
    return f"{100.0 * share:.{decimals}f} %"


def _digits(number: float, key: str, digits: int) -> str:
    if not math.isfinite(number):
        return "not finite"
    if field(key).kind == "count" or number == 0:
        return f"{number:.0f}"
    magnitude = math.floor(math.log10(abs(number)))
    if not -4 <= magnitude < 7:
        return f"{number:.{digits - 1}e}"
    if magnitude >= _ROUNDED:
        number = round(number, digits - 1 - magnitude)
    return f"{number:.{max(digits - 1 - magnitude, 0)}f}"
