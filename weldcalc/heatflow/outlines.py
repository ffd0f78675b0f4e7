"""Outlines within cells: where a field of peak enthalpy crosses a level."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.heatflow.compiling import entry
from weldcalc.heatflow.spot_grid import SpotGrid

Array = NDArray[np.float64]


@frozen(eq=False)
class PeakField:
    """Highest enthalpy that each place reached, from face to face and from the axis out.

    Parameters
    ----------
    r : ndarray, shape (nr,)
        Distance from the beam axis [m], first 0.
    z : ndarray, shape (nz,)
        Depth below the irradiated face [m], first 0, last the thickness.
    enthalpy : ndarray, shape (nz, nr)
        [J/m3]
    """

    r: Array
    z: Array
    enthalpy: Array

    def depth(self, level: float) -> float:
        """Return the greatest depth [m] at which the field reaches a level [J/m3]."""
        reached = np.logical_or.reduce(self.enthalpy >= level, axis=1).nonzero()[0]
        if reached.size == 0:
            return 0.0
        last = int(reached[-1])
        if last == self.z.size - 1:
            return float(self.z[last])
        # only the lowest layer that is reached can hold the lowest crossing
        high, low = self.enthalpy[last], self.enthalpy[last + 1]
        above = high >= level
        share = (high[above] - level) / (high[above] - low[above])
        return float((self.z[last] + share * (self.z[last + 1] - self.z[last])).max())

    def radius_at(self, z: float, level: float) -> float:
        """Return the radius [m] inside which the field reaches a level [J/m3] at one depth [m]."""
        i = min(max(int(np.searchsorted(self.z, z)), 1), self.z.size - 1)
        share = (z - self.z[i - 1]) / (self.z[i] - self.z[i - 1])
        row = (1.0 - share) * self.enthalpy[i - 1] + share * self.enthalpy[i]
        return float(last_crossings(self.r, row[None, :], level)[0])

    def widest(self, level: float) -> float:
        """Return the greatest radius [m] at which the field reaches a level [J/m3]."""
        return float(last_crossings(self.r, self.enthalpy, level).max())

    def outline(self, level: float) -> Array:
        """Return the outline of a level [J/m3] as points (r, z) [m], shape (k, 2), top first."""
        radii = last_crossings(self.r, self.enthalpy, level)
        inside = radii > 0.0
        points = np.column_stack((radii[inside], self.z[inside]))
        depth = self.depth(level)
        if 0.0 < depth < self.z[-1]:
            points = np.vstack((points, (0.0, depth)))
        return points


def peak_field(peak: Array, grid: SpotGrid, thickness: float) -> PeakField:
    """Carry cell values to the axis and both faces.

    Parameters
    ----------
    peak : ndarray, shape (nz, nr)
        Cell values [J/m3].
    grid : SpotGrid
        Its cells.
    thickness : float
        [m]

    Returns
    -------
    PeakField

    Notes
    -----
    No heat crosses the axis or a free face, so the field is even there and the value on it is
    (9 a - b) / 8 of the two nearest cells of equal size.
    """
    layers, rings = peak.shape
    full = np.empty((layers + 2, rings + 1))
    full[1:-1, 1:] = peak
    full[1:-1, 0] = _even(peak[:, 0], peak[:, 1])
    full[0] = _even(full[1], full[2])
    full[-1] = _even(full[-2], full[-3])
    r, z = np.zeros(rings + 1), np.zeros(layers + 2)
    r[1:], z[1:-1], z[-1] = grid.r, grid.z, thickness
    return PeakField(r=r, z=z, enthalpy=np.maximum(full, np.minimum.reduce(peak, axis=None)))


def _even(near: Array, next_one: Array) -> Array:
    return np.asarray(1.125 * near - 0.125 * next_one)


def last_crossings(place: Array, rows: Array, level: float) -> Array:
    """Return for every row the last place at which it comes down through a level; 0 if never above.

    Parameters
    ----------
    place : ndarray, shape (m,)
        Rising, the first 0.
    rows : ndarray, shape (n, m)
        Values at the places.
    level : float
        In the unit of the rows.

    Returns
    -------
    ndarray, shape (n,)
        In the unit of the places; the last one where the row is above to its end.
    """
    found = np.zeros(len(rows))
    _fill_crossings(place, np.ascontiguousarray(rows), float(level), found)
    return found


@entry
def _fill_crossings(place: Array, rows: Array, level: float, found: Array) -> None:
    # compiled, because every result asks for a dozen of short rows; `found` comes filled with 0
    end = place.size - 1
    for i in range(rows.shape[0]):
        last = end
        while last >= 0 and not rows[i, last] >= level:
            last -= 1
        if last == end:
            found[i] = place[end]
        elif last >= 0:
            high, low = rows[i, last], rows[i, last + 1]
            share = (high - level) / (high - low)
            found[i] = place[last] + share * (place[last + 1] - place[last])
