"""The bare melting pulse as plain arrays, for other ways to run the engine's own scheme."""

from __future__ import annotations

from itertools import groupby
from typing import NamedTuple

import numpy as np

from weldcalc.heatflow.enthalpy import metal_tables
from weldcalc.heatflow.spot_grid import spot_grid
from weldcalc.heatflow.spot_kernel import stages_for
from weldcalc.heatflow.spot_solve import beam_share


class Scheme(NamedTuple):
    """Cells, couplings, beam and tables of one case without losses, stirring or depression (SI).

    Attributes
    ----------
    inner, outer : ndarray, shape (nr,)
        Couplings of `SpotGrid` without the rim [1/m2].
    above, below : ndarray, shape (nz, 1)
        Couplings of the layers [1/m2].
    source, start : ndarray, shape (nz, nr)
        Heat put in [W/m3] and enthalpy before the pulse [J/m3].
    base, slope : ndarray, shape (n - 1,)
        Potential within each table interval: base + slope enthalpy [W/m], [m2/s].
    inverse_step : float
        Table entries per enthalpy [m3/J].
    z : ndarray, shape (nz,)
        Centres of the layers [m].
    """

    inner: np.ndarray
    outer: np.ndarray
    above: np.ndarray
    below: np.ndarray
    source: np.ndarray
    start: np.ndarray
    base: np.ndarray
    slope: np.ndarray
    inverse_step: float
    z: np.ndarray


def scheme(case):
    """Return the arrays of a case with a beam of even power."""
    tables = metal_tables(case.material)
    grid = spot_grid(
        spot_radius=0.5 * case.spot_diameter,
        thickness=case.thickness,
        cells=case.cells,
        radius=case.far_radius,
    )
    beam = case.peak_power * beam_share(case.profile, case.spot_diameter, grid)
    source = np.zeros((grid.z.size, grid.r.size))
    source[0] = case.constants.absorptance * beam / grid.dz[0]
    return Scheme(
        inner=grid.inner[1:-1],
        outer=grid.outer[1:-1],
        above=grid.above[1:-1, None],
        below=grid.below[1:-1, None],
        source=source,
        start=np.full(source.shape, tables.enthalpy_at(case.preheat)),
        base=tables.metal.potential_base,
        slope=tables.metal.potential_slope,
        inverse_step=tables.metal.inverse_step,
        z=grid.z,
    )


def super_steps(cells, material, history):
    """Return the (length [s], stages) of every super step of the engine's run of a `Scheme`."""
    tables = metal_tables(material)
    coupling = (cells.inner + cells.outer).max() + (cells.above + cells.below).max()
    slow = coupling * tables.solid_diffusivity
    fast = max(slow, coupling * tables.liquid_diffusivity)
    return [
        (dt, stages_for(dt * (1.0 - 1e-9), fast if hottest >= material.solidus else slow, 99))
        for dt, hottest in zip(np.diff(history.time), history.hottest[:-1], strict=True)
    ]


def runs_of_equal_stages(steps):
    """Return (stages, lengths [s]) of each run of steps that have the same number of stages."""
    return [
        (stages, np.array([dt for dt, _ in run]))
        for stages, run in groupby(steps, key=lambda step: step[1])
    ]


def axis_column(peak):
    """Return the highest enthalpy on the axis from the two innermost rings, shape (nz,)."""
    return 1.125 * peak[:, 0] - 0.125 * peak[:, 1]
