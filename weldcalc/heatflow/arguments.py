"""Argument checks and number forms shared by the closed forms."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weldcalc.errors import InputError, Problems

Floats = NDArray[np.float64]
Value = float | Floats

_Test = Callable[[Floats], NDArray[np.bool_]]


def positive(**values: ArrayLike) -> None:
    """Refuse values that are not finite and above zero, all at once.

    Parameters
    ----------
    **values : float or ndarray
        Value by argument name, each in the SI unit of the argument.

    Raises
    ------
    InputError
        When one or more are zero, negative, infinite or not a number.
    """
    _refuse(values, lambda array: array > 0, "must be finite and above zero (SI unit)")


def not_negative(**values: ArrayLike) -> None:
    """Refuse values that are not finite or below zero, all at once.

    Parameters
    ----------
    **values : float or ndarray
        Value by argument name, each in the SI unit of the argument.

    Raises
    ------
    InputError
        When one or more are negative, infinite or not a number.
    """
    _refuse(values, lambda array: array >= 0, "must be finite and not below zero (SI unit)")


def finite(**values: ArrayLike) -> None:
    """Refuse values that are infinite or not a number, all at once.

    Parameters
    ----------
    **values : float or ndarray
        Value by argument name, each in the SI unit of the argument.

    Raises
    ------
    InputError
        When one or more are infinite or not a number.
    """
    _refuse(values, np.isfinite, "must be finite (SI unit)")


def share(**values: ArrayLike) -> None:
    """Refuse values that are not above zero and at most one, all at once.

    Parameters
    ----------
    **values : float or ndarray
        Value by argument name [-].

    Raises
    ------
    InputError
        When one or more lie elsewhere or are not a number.
    """
    _refuse(values, lambda array: (array > 0) & (array <= 1), "must be above 0 and at most 1")


def ordered(above: str, below: str, *, equal: bool = False, **values: ArrayLike) -> None:
    """Refuse a pair of values in the wrong order.

    Parameters
    ----------
    above, below : str
        Names of the argument that has to be greater and of the one that has to be less.
    equal : bool
        Whether both may be the same.
    **values : float or ndarray
        Both values, in one unit.

    Raises
    ------
    InputError
        When the first is not greater than the second everywhere.
    """
    upper, lower = (np.asarray(values[name], dtype=float) for name in (above, below))
    if not np.all(upper >= lower if equal else upper > lower):
        why = f"must be {'at least' if equal else 'greater than'} {below} ({_shown(lower)})"
        raise InputError.of(above, why, _shown(upper))


def plain(values: ArrayLike) -> Value:
    """Return a float for a single value, otherwise the array.

    Parameters
    ----------
    values : float or ndarray
        Any unit.

    Returns
    -------
    float or ndarray
        The same values.
    """
    array: Floats = np.asarray(values, dtype=float)
    return float(array) if array.ndim == 0 else array


def _refuse(values: dict[str, ArrayLike], allowed: _Test, why: str) -> None:
    problems = Problems()
    for name, value in values.items():
        array = np.asarray(value, dtype=float)
        good = np.isfinite(array) & allowed(array)
        if not np.all(good):
            problems.add(name, why, float(array[~good].flat[0]))
    problems.raise_if_any()


def _shown(array: Floats) -> str:
    return f"{float(array):g}" if array.ndim == 0 else str(array.tolist())
