"""Conduction in the axisymmetric engine, compiled.

Diffusion goes forward in super steps of the first-order Runge-Kutta-Legendre scheme (RKL1): s
stages reach (s^2 + s) / 2 times as far as one explicit step, conserve energy exactly and stay
stable.

References
----------
[1] C. D. Meyer, D. S. Balsara, T. D. Aslam, "A stabilized Runge-Kutta-Legendre method for explicit
    super-time-stepping of parabolic and mixed equations", J. Comput. Phys. 257 (2014) 594
    (from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from weldcalc.heatflow.compiling import kernel
from weldcalc.heatflow.enthalpy import Metal, fill_potentials
from weldcalc.heatflow.spot_beam import Fields
from weldcalc.heatflow.spot_grid import SpotGrid

Array = NDArray[np.float64]


class Flat(NamedTuple):
    """What conduction needs, cell by cell in one line: long even loops fill vector registers.

    Attributes
    ----------
    inner, outer, above, below : ndarray, shape (n,)
        Couplings of `SpotGrid` for every cell, rim included [1/m2].
    side, down, source : ndarray, shape (n,)
        Views of the arrays of `Fields`.
    interval : ndarray of int32, shape (n,)
        Table interval of each cell: work space.
    width : int
        Cells in a row, rim included.
    """

    inner: Array
    outer: Array
    above: Array
    below: Array
    side: Array
    down: Array
    source: Array
    interval: NDArray[np.int32]
    width: int


def flattened(fields: Fields, grid: SpotGrid) -> Flat:
    """Return couplings and working arrays for `potentials` and `spread_heat`."""
    rows, width = fields.side.shape
    couplings = np.empty((4, rows, width))
    couplings[0], couplings[1] = grid.inner, grid.outer
    couplings[2], couplings[3] = grid.above[:, None], grid.below[:, None]
    inner, outer, above, below = couplings.reshape(4, -1)
    return Flat(
        inner=inner,
        outer=outer,
        above=above,
        below=below,
        side=fields.side.reshape(-1),
        down=fields.down.reshape(-1),
        source=fields.source.reshape(-1),
        interval=np.zeros(rows * width, dtype=np.int32),
        width=width,
    )


@kernel
def potentials(
    enthalpy: Array, flat: Flat, metal: Metal, stir_r: float, stir_z: float, cells: int
) -> None:
    """Fill the heat-flow potentials [W/m] of the cells up to the end of the window."""
    fill_potentials(
        enthalpy[:cells],
        flat.side[:cells],
        flat.down[:cells],
        flat.interval[:cells],
        metal,
        stir_r,
        stir_z,
    )


@kernel
def spread_heat(
    now: Array, other: Array, flat: Flat, mu: float, nu: float, dt: float, cells: int
) -> None:
    """Write one stage into `other`: mu now + nu other + dt (div(k grad T) + source)."""
    width = flat.width
    # slices from the first inner cell on, so that the compiler sees no index below zero
    low, high = width + 1, cells
    side, down = flat.side[low:high], flat.down[low:high]
    left, right = flat.side[low - 1 : high - 1], flat.side[low + 1 : high + 1]
    upper, lower = flat.down[low - width : high - width], flat.down[low + width : high + width]
    inner, outer = flat.inner[low:high], flat.outer[low:high]
    above, below = flat.above[low:high], flat.below[low:high]
    source, heat, result = flat.source[low:high], now[low:high], other[low:high]
    for cell in range(high - low):
        gain = (
            inner[cell] * (left[cell] - side[cell])
            + outer[cell] * (right[cell] - side[cell])
            + above[cell] * (upper[cell] - down[cell])
            + below[cell] * (lower[cell] - down[cell])
            + source[cell]
        )
        result[cell] = mu * heat[cell] + nu * result[cell] + dt * gain


@kernel
def super_step(
    a: Array,
    b: Array,
    flat: Flat,
    metal: Metal,
    stir_r: float,
    stir_z: float,
    dt: float,
    stages: int,
    rows: int,
) -> None:
    """Advance by dt [s] in an odd number of stages; potentials of `a` are known, result in `b`.

    Only the first rows count, the rim above them included. No heat passes between rim and metal:
    the couplings across the metal's edge are zero, and the rim is even, so it stays as it is.
    """
    cells = rows * flat.width
    first, second = a.reshape(a.size), b.reshape(b.size)
    scale = 2.0 / (stages * stages + stages)
    spread_heat(first, second, flat, 1.0, 0.0, scale * dt, cells)
    for stage in range(2, stages + 1):
        mu = (2.0 * stage - 1.0) / stage
        nu = (1.0 - stage) / stage
        now, other = (second, first) if stage % 2 == 0 else (first, second)
        potentials(now, flat, metal, stir_r, stir_z, cells)
        spread_heat(now, other, flat, mu, nu, mu * scale * dt, cells)
