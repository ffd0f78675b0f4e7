"""Pulse after pulse along a seam: what each finds, when each leaves heat for the next.

How warm a pulse finds the seam is a sum over all earlier pulses, linear in the heat that they
left. The factors of that sum depend on the order of pulses alone; they are worked out once, and
one march through them gives the preheat for any rule by which the heat follows from the preheat:
constant energy, or an energy that is lowered as the seam warms up.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.heatflow.seam import SeamBody, unit_mean_rise, unit_rise

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]
HeatLeft = Callable[[float], float]

# Seams of more pulses than this are marched in groups of equal energy; what the first pulse of a
# group finds stays exact.
MOST_GROUPS = 700
_BLOCK = 64  # groups worked on together: keeps tables of long seams within some megabytes


@frozen(eq=False)
class PulseTrain:
    """All pulses of a seam in their real order.

    Parameters
    ----------
    place, time : ndarray, shape (n,)
        Position along the seam [m] and start [s] of each pulse; times rise.
    run : ndarray of int, shape (n,)
        Pulses of different runs do not feel each other: the part cooled down between them.
    stretch : ndarray of int, shape (n,)
        Pulses of one stretch (one segment of one pass) follow each other evenly.
    """

    place: Floats = field(repr=False)
    time: Floats = field(repr=False)
    run: Counts = field(repr=False)
    stretch: Counts = field(repr=False)

    def groups(self) -> Counts:
        """Return the index of the first pulse of each group, shape (g,)."""
        size = -(-len(self.time) // MOST_GROUPS)
        _, starts, counts = np.unique(self.stretch, return_index=True, return_counts=True)
        firsts = [
            start + np.arange(0, count, size)
            for start, count in sorted(zip(starts, counts, strict=True))
        ]
        return np.concatenate(firsts)


@frozen(eq=False)
class SeamFactors:
    """What each group of pulses finds for each joule that earlier groups left.

    Parameters
    ----------
    first : ndarray of int, shape (g,)
        First pulse of each group.
    local, mean : ndarray, shape (g, g)
        Rise at the place of the group, and averaged along the seam, just before its first pulse,
        for each joule that every pulse of an earlier group left [K/J].
    """

    first: Counts = field(repr=False)
    local: Floats = field(repr=False)
    mean: Floats = field(repr=False)


def seam_factors(body: SeamBody, train: PulseTrain) -> SeamFactors:
    """Work out the factors of the sum over earlier pulses.

    Parameters
    ----------
    body : SeamBody
    train : PulseTrain

    Returns
    -------
    SeamFactors
    """
    first = train.groups()
    local = np.zeros((first.size, first.size))
    mean = np.zeros_like(local)
    for start in range(0, first.size, _BLOCK):
        rows = slice(start, min(start + _BLOCK, first.size))
        found = _block(body, train, first[rows])
        filled = found[0].shape[1]
        # pulses still to come count as zero, so whole groups may be summed
        bounds = first[first < filled]
        local[rows, : bounds.size] = np.add.reduceat(found[0], bounds, axis=1)
        mean[rows, : bounds.size] = np.add.reduceat(found[1], bounds, axis=1)
    return SeamFactors(first=first, local=local, mean=mean)


def _block(body: SeamBody, train: PulseTrain, rows: Counts) -> tuple[Floats, Floats]:
    last = int(rows[-1]) + 1
    age = train.time[rows, None] - train.time[None, :last]
    felt = (age > 0) & (train.run[rows, None] == train.run[None, :last])
    row, column = np.nonzero(felt)
    ages = age[felt]
    local, mean = np.zeros(age.shape), np.zeros(age.shape)
    local[felt] = unit_rise(
        body, source=train.place[column], place=train.place[rows[row]], age=ages
    )
    mean[felt] = unit_mean_rise(body, age=ages)
    return local, mean


def march(
    factors: SeamFactors, *, rows: slice, start: float, earlier: Floats, heat_left: HeatLeft
) -> tuple[Floats, Floats]:
    """Go through the groups of one pass in order; each leaves heat by what it finds.

    Parameters
    ----------
    factors : SeamFactors
        From `seam_factors`.
    rows : slice
        Groups of the pass.
    start : float
        Temperature of the part before the run that the pass belongs to [K].
    earlier : ndarray, shape (rows.start,)
        Heat that each pulse of the groups before left [J].
    heat_left : callable
        From the temperature that a pulse finds [K] to the heat that it leaves [J].

    Returns
    -------
    found, left : ndarray, shape (rows.stop - rows.start,)
        Local temperature just before each group [K] and heat that each of its pulses leaves [J].
    """
    left = np.concatenate([earlier, np.zeros(rows.stop - rows.start)])
    found = np.full(left.size, start)
    for number in range(rows.start, rows.stop):
        found[number] += factors.local[number, :number] @ left[:number]
        left[number] = heat_left(float(found[number]))
    return found[rows], left[rows]
