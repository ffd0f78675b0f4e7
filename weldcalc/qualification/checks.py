"""Argument checks shared by the statistics of qualification."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weldcalc.errors import InputError


def fraction(name: str, value: float) -> float:
    """Return a fraction that lies between 0 and 1, both excluded.

    Parameters
    ----------
    name : str
        Name of the argument, for the message.
    value : float
        The fraction [-].

    Returns
    -------
    float
        The same value.

    Raises
    ------
    InputError
        When it lies elsewhere or is not a number.
    """
    if not 0.0 < value < 1.0:
        why = "give a fraction between 0 and 1"
        if 1.0 < value < 100.0:
            why += f", here probably {value / 100.0:g}"
        raise InputError.of(name, why, value)
    return float(value)


def count(name: str, value: int, *, least: int, most: int | None = None) -> int:
    """Return a whole number within its limits.

    Parameters
    ----------
    name : str
        Name of the argument, for the message.
    value : int
        The number.
    least, most : int
        Smallest and largest allowed; `most` None for no upper limit.

    Returns
    -------
    int
        The same value.

    Raises
    ------
    InputError
        When it is not whole or outside.
    """
    whole = isinstance(value, int | np.integer) and not isinstance(value, bool)
    if not whole or value < least or (most is not None and value > most):
        upper = "" if most is None else f" and at most {most}"
        raise InputError.of(name, f"give a whole number of at least {least}{upper}", value)
    return int(value)


def sample(name: str, values: ArrayLike, *, least: int) -> NDArray[np.float64]:
    """Return values as a one-dimensional array of finite numbers.

    Parameters
    ----------
    name : str
        Name of the argument, for the message.
    values : array_like, shape (n,)
        The values [any one unit].
    least : int
        Smallest n allowed.

    Returns
    -------
    ndarray, shape (n,)
        The values [same unit].

    Raises
    ------
    InputError
        When there are too few, or some are not finite.
    """
    array = np.atleast_1d(np.asarray(values, dtype=float))
    if array.ndim != 1:
        raise InputError.of(name, "give one plain row of values", f"{array.ndim} dimensions")
    if not np.all(np.isfinite(array)):
        first = int(np.flatnonzero(~np.isfinite(array))[0])
        why = "not a finite number; leave out what was not measured"
        raise InputError.of(f"{name}[{first}]", why, float(array[first]))
    if array.size < least:
        raise InputError.of(name, f"at least {least} values are needed", f"{array.size} values")
    return array
