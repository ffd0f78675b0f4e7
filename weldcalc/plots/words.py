"""Words and numbers in pictures: axis labels with units, and text that the font can show."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

import numpy as np
from matplotlib import font_manager
from numpy.typing import ArrayLike

from weldcalc.fields import plain_name
from weldcalc.plots.style import Floats
from weldcalc.quantities import field, pretty_unit, to_shown


def label(key: str, name: str = "") -> str:
    """Return the axis label of a field: its name and, in square brackets, its shown unit.

    Parameters
    ----------
    key : str
        Key of the field table.
    name : str, optional
        Words to use instead of those of the key.

    Examples
    --------
    >>> label("penetration"), label("haz_width"), label("travel_speed", "speed of the spot")
    ('penetration [mm]', 'heat-affected width [mm]', 'speed of the spot [mm/s]')
    """
    return f"{name or named(key)} [{pretty_unit(field(key).shown_unit) or '1'}]"


def named(key: str) -> str:
    """Return the words of a key of the field table: "goal.haz_width" as "heat-affected width"."""
    return plain_name(key)


def shown(values: ArrayLike, key: str) -> Floats:
    """Return values [SI] in the shown unit of a field, in the shape given."""
    array = np.asarray(values, dtype=float)
    zero = to_shown(0.0, key)
    return array * (to_shown(1.0, key) - zero) + zero


@lru_cache(maxsize=1)
def _known_characters() -> frozenset[int]:
    path = font_manager.findfont(font_manager.FontProperties(family=["DejaVu Sans"]))
    return frozenset(font_manager.get_font(path).get_charmap())


def printable(text: str) -> str:
    """Return `text` as it can be drawn: a character the font lacks becomes an empty box."""
    known = _known_characters()
    clean = (" " if unicodedata.category(c)[0] in "CZ" else c for c in text)
    return "".join(c if ord(c) in known else "□" for c in clean)
