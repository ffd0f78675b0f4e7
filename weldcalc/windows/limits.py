"""Limits of the laser as curves over a map of two settings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.quantities import show
from weldcalc.schedule import Laser, WeldPass

Floats = NDArray[np.float64]

_LIMITED: Final = {
    "peak_power": "peak_power_limit",
    "pulse_energy": "pulse_energy_limit",
    "average_power": "average_power_limit",
    "repetition_rate": "repetition_rate_limit",
}


_SAME: Final = 1e-9  # share of a limit that counts as still at it


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
        Points of the curve [SI]; none where all of the map is beyond the limit.
    """

    key: str
    value: float
    x: Floats = field(repr=False)
    y: Floats = field(repr=False)

    @property
    def words(self) -> str:
        """What is limited, with its number ("pulse energy 30 J"), and whether nothing is within."""
        words = f"{self.key.replace('_', ' ')} {show(self.value, self.key)}"
        return words if self.x.size else f"{words}, which all of the map is beyond"


def laser_limits(
    laser: Laser, passes: Sequence[Sequence[WeldPass]], x: Floats, y: Floats
) -> tuple[Limit, ...]:
    """Return the limits of the laser that cross the map, or leave none of it.

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
    for key, limit, side in _ends(laser):
        values = np.array([[float(getattr(one, key)) for one in row] for row in passes])
        if values.min() < limit < values.max():
            yield Limit(key, limit, *_curve(values, limit, x, y))
        elif (side * (values - limit) > _SAME * limit).all():
            yield Limit(key, limit, np.zeros(0), np.zeros(0))


def _ends(laser: Laser) -> Iterator[tuple[str, float, int]]:
    """Yield what is limited, the limit, and the side beyond it: 1 above, -1 below."""
    for key, name in _LIMITED.items():
        if (most := getattr(laser, name)) is not None:
            yield key, float(most), 1
    if laser.pulse_duration_range is not None:
        least, longest = laser.pulse_duration_range
        yield from (("pulse_duration", least, -1), ("pulse_duration", longest, 1))


def _curve(values: Floats, limit: float, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return where a field that rises or falls along each axis passes a value."""
    if np.ptp(values, axis=0).max() <= _SAME * limit:  # depends on x alone
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
