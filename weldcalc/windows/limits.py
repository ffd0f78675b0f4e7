"""Limits of the laser as curves over a map of two settings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.schedule import Laser, WeldPass

Floats = NDArray[np.float64]

_LIMITED: Final = {
    "peak_power": "peak_power_limit",
    "pulse_energy": "pulse_energy_limit",
    "average_power": "average_power_limit",
    "repetition_rate": "repetition_rate_limit",
}


@frozen(eq=False)
class Limit:
    """One limit of the laser on the map.

    Parameters
    ----------
    key : str
        What is limited.
    value : float
        The limit [SI].
    x, y : ndarray, shape (k,)
        Points of the curve [SI].
    """

    key: str
    value: float
    x: Floats = field(repr=False)
    y: Floats = field(repr=False)


def laser_limits(
    laser: Laser, passes: Sequence[Sequence[WeldPass]], x: Floats, y: Floats
) -> tuple[Limit, ...]:
    """Return the limits of the laser that cross the map.

    Parameters
    ----------
    laser : Laser
        Its limits; those not given are left out.
    passes : sequence of sequence of WeldPass, shape (n, m)
        The pass at every place.
    x, y : ndarray, shape (m,), (n,)
        Settings [SI].

    Returns
    -------
    tuple of Limit
    """
    return tuple(_crossing(laser, passes, x, y))


def _crossing(
    laser: Laser, passes: Sequence[Sequence[WeldPass]], x: Floats, y: Floats
) -> Iterator[Limit]:
    ends: list[tuple[str, float]] = [
        (key, float(getattr(laser, name)))
        for key, name in _LIMITED.items()
        if getattr(laser, name) is not None
    ]
    ends += [("pulse_duration", end) for end in laser.pulse_duration_range or ()]
    for key, limit in ends:
        values = np.array([[float(getattr(one, key)) for one in row] for row in passes])
        if values.min() < limit < values.max():
            yield Limit(key, limit, *_curve(values, limit, x, y))


def _curve(values: Floats, limit: float, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return where a field that rises or falls along each axis passes a value."""
    if np.ptp(values, axis=0).max() <= 1e-9 * limit:  # depends on x alone
        at = _crossing_place(values[0], limit, x)
        return np.full(len(y), at), y
    along = [_crossing_place(line, limit, y) for line in values.T]
    found = np.array(along)
    return x[np.isfinite(found)], found[np.isfinite(found)]


def _crossing_place(values: Floats, limit: float, places: Floats) -> float:
    if not values.min() <= limit <= values.max():
        return float("nan")
    order = np.argsort(values)
    return float(np.interp(limit, values[order], places[order]))
