"""The (r, z) cells of the axisymmetric engine: fine under the spot, wider with distance."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GROWTH_R = 1.10  # of neighbouring cells beyond the spot
GROWTH_Z = 1.06  # of neighbouring cells below one spot radius
WIDEST_Z = 2.0  # cells under the spot, as deep as a depression may come
DEEPEST = 10.0  # spot radii that it may come


class SpotGrid(NamedTuple):
    """Cells with a rim of unused cells all round, so that loops need no branches (SI).

    Attributes
    ----------
    r, dr : ndarray, shape (nr,)
        Centres and widths of the rings [m].
    z, dz : ndarray, shape (nz,)
        Centres and heights of the layers, from the irradiated face [m].
    area : ndarray, shape (nr,)
        Of the rings [m2].
    inner, outer : ndarray, shape (nr + 2,)
        Coupling of a ring to the one inside and outside: face area / (volume distance) [1/m2].
    above, below : ndarray, shape (nz + 2,)
        Coupling of a layer to the one above and below: 1 / (height distance) [1/m2].
    """

    r: Array
    dr: Array
    z: Array
    dz: Array
    area: Array
    inner: Array
    outer: Array
    above: Array
    below: Array


def spot_grid(
    *, spot_radius: float, thickness: float, cells: tuple[float, float], radius: float
) -> SpotGrid:
    """Lay out cells for one spot on a sheet.

    Parameters
    ----------
    spot_radius, thickness : float
        [m]
    cells : tuple of two float
        Edges of the cells under the spot, in r and z [m].
    radius : float
        Least outer radius [m].

    Returns
    -------
    SpotGrid
    """
    across, along = cells
    r_faces = _graded_faces(
        fine_to=spot_radius + 2.0 * across, end=radius, cell=across, growth=GROWTH_R
    )
    z_faces = _graded_faces(
        fine_to=spot_radius,
        end=thickness,
        cell=along,
        growth=GROWTH_Z,
        widest=WIDEST_Z * along,
        until=DEEPEST * spot_radius,
    )
    # the sheet's thickness is exact: the layers share the difference
    z_faces = z_faces * (thickness / z_faces[-1])
    r, z = 0.5 * (r_faces[1:] + r_faces[:-1]), 0.5 * (z_faces[1:] + z_faces[:-1])
    area = math.pi * _steps(r_faces**2)
    circumference = 2.0 * math.pi * r_faces[1:-1] / _steps(r)
    dz = _steps(z_faces)
    per_gap = 1.0 / _steps(z)
    inner, outer = _couplings(circumference, area)
    above, below = _couplings(per_gap, dz)
    return SpotGrid(
        r=r,
        dr=_steps(r_faces),
        z=z,
        dz=dz,
        area=area,
        inner=inner,
        outer=outer,
        above=above,
        below=below,
    )


def _steps(values: Array) -> Array:
    # as np.diff, which takes several times as long for a few dozen values
    return values[1:] - values[:-1]


def _couplings(between: Array, size: Array) -> Array:
    """Return what couples cells to the one before and after, shape (2, n + 2), rims at 0."""
    made = np.zeros((2, size.size + 2))
    np.divide(between, size[1:], out=made[0, 2:-1])
    np.divide(between, size[:-1], out=made[1, 1:-2])
    return made


def _graded_faces(
    *,
    fine_to: float,
    end: float,
    cell: float,
    growth: float,
    widest: float = math.inf,
    until: float = 0.0,
) -> Array:
    """Return faces from 0 to at least `end`: even up to `fine_to`, then growing.

    Cells stay below `widest` as far as `until` [m].
    """
    even = max(1, math.ceil(min(fine_to, end) / cell - 1e-9))
    faces = [cell * i for i in range(even + 1)]
    step = cell
    while faces[-1] < end - 0.5 * step:
        step *= growth
        if faces[-1] < until:
            step = min(step, widest)
        faces.append(faces[-1] + step)
    return np.array(faces)
