"""Power during a laser pulse: square, or straight from corner to corner."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, TypeAlias, Union, cast

import numpy as np
from attrs import field, frozen

from weldcalc.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

Corners: TypeAlias = tuple[tuple[float, float], ...]
ShapeSpec: TypeAlias = Union["PulseShape", str, Sequence[Sequence[float]]]

_SQUARE: Corners = ((0.0, 1.0), (1.0, 1.0))


def _corners(spec: Sequence[Sequence[float]]) -> Corners:
    return tuple((float(time), float(level)) for time, level in spec)


@frozen
class PulseShape:
    """Power during a pulse, straight from corner to corner.

    Parameters
    ----------
    corners : tuple of (float, float)
        Time as a share of the pulse duration and power as a share of the peak power, both 0 to 1.
        Time starts at 0, ends at 1 and never runs back (two corners at one time make a step); the
        highest power is 1.

    Raises
    ------
    InputError
        When the corners break one of these rules.
    """

    corners: Corners = field(default=_SQUARE, converter=_corners)

    def __attrs_post_init__(self) -> None:
        why = _shape_mistake(self.corners)
        if why:
            raise InputError.of("pulse_shape", why, [list(corner) for corner in self.corners])

    @classmethod
    def of(cls, spec: object) -> PulseShape:
        """Return the shape of "square", of a list of corners, or of a shape.

        Parameters
        ----------
        spec : PulseShape, "square" or sequence of (time, power)
            What a schedule or a caller gives.

        Raises
        ------
        InputError
            When it is none of these.
        """
        if isinstance(spec, PulseShape):
            return spec
        if isinstance(spec, str):
            if spec == "square":
                return _square()
            raise InputError.of("pulse_shape", 'write "square" or a list of corners', spec)
        return cls(corners=_pairs(spec))

    @property
    def mean_level(self) -> float:
        """Return mean power as a share of peak power."""
        steps = pairwise(self.corners)
        return sum((t1 - t0) * (a + b) / 2 for (t0, a), (t1, b) in steps)

    def level(self, fraction: float | NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the power as a share of peak power; at a step, the value after it.

        Parameters
        ----------
        fraction : float or ndarray, shape (n,)
            Time as a share of the pulse duration; outside 0 to 1 the laser is off.

        Returns
        -------
        ndarray of float, shape (n,)
            Share of the peak power, 0 to 1.
        """
        at = np.asarray(fraction, dtype=np.float64)
        times, levels = np.array(self.corners).T
        after = np.clip(np.searchsorted(times, at, side="right"), 1, len(times) - 1)
        start, width = times[after - 1], times[after] - times[after - 1]
        share = np.where(width > 0, (at - start) / np.where(width > 0, width, 1.0), 1.0)
        level = levels[after - 1] + share * (levels[after] - levels[after - 1])
        return np.where((at >= 0) & (at <= 1), level, 0.0)


@cache
def _square() -> PulseShape:
    return PulseShape()


def _pairs(spec: object) -> Corners:
    example = "[[0, 1], [0.6, 1], [1, 0.3]]"
    why = f'write "square" or a list of [time, power] corners such as {example}'
    if not isinstance(spec, (Sequence, np.ndarray)):
        raise InputError.of("pulse_shape", why, spec)
    for corner in spec:
        if isinstance(corner, str) or not hasattr(corner, "__len__") or len(corner) != 2:
            raise InputError.of("pulse_shape", why, spec)
        if any(isinstance(x, bool) or not isinstance(x, (int, float)) for x in corner):
            raise InputError.of("pulse_shape", why, spec)
    return _corners(cast("Sequence[Sequence[float]]", spec))


def _shape_mistake(corners: Corners) -> str:
    times, levels = [time for time, _ in corners], [level for _, level in corners]
    area = sum((t1 - t0) * (a + b) for (t0, a), (t1, b) in pairwise(corners))
    rules = (
        (len(corners) >= 2, "at least two corners are needed"),
        (all(0 <= x <= 1 for x in times + levels), "times and powers are shares from 0 to 1"),
        (times[:1] + times[-1:] == [0, 1], "the first corner is at time 0 and the last at time 1"),
        (all(a <= b for a, b in pairwise(times)), "the times of the corners must not run back"),
        (max(levels, default=0) == 1, "the highest power must be 1: powers are shares of the peak"),
        (area > 0, "this pulse holds no energy"),
    )
    return next((why for kept, why in rules if not kept), "")
