"""Sets up and runs the axisymmetric time loop for one case."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.heatflow.enthalpy import Melt, MetalTables, melt_levels, metal_tables
from weldcalc.heatflow.outlines import PeakField, peak_field
from weldcalc.heatflow.pulse_result import History
from weldcalc.heatflow.spot_beam import TOTALS, Fields
from weldcalc.heatflow.spot_case import SpotCase
from weldcalc.heatflow.spot_flow import flattened
from weldcalc.heatflow.spot_grid import SpotGrid, spot_grid
from weldcalc.heatflow.spot_kernel import HISTORY_COLUMNS, Run, march

Array = NDArray[np.float64]

STIRRED_BY = 2.0  # spot diameters of depression depth at which its stirring is complete
STEPS_PER_PULSE = 60.0  # at least
FLOOR_STEP = 0.12  # share of a cell that the depression may sink in one step
HISTORY_ROWS = 4096
DIMMEST = 1e-12  # of the strongest irradiance; a gaussian beam has no edge


@frozen(eq=False)
class SpotSolution:
    """A finished run.

    Parameters
    ----------
    tables, melt : MetalTables, Melt
        What it was run with.
    field : PeakField
        Highest enthalpies.
    history : History
        How it went.
    totals : dict of str to float
        Energies [J] and the greatest depth of the depression [m] by name, with "gained" by
        the metal [J].
    """

    tables: MetalTables
    melt: Melt
    field: PeakField
    history: History
    totals: dict[str, float]


def solve_spot(case: SpotCase) -> SpotSolution:
    """Run a case to the end of its cooling.

    Parameters
    ----------
    case : SpotCase
        What to compute.

    Returns
    -------
    SpotSolution
    """
    tables = metal_tables(case.material)
    melt = melt_levels(
        tables, case.constants, spot_diameter=case.spot_diameter, absorptivity=case.absorptivity
    )
    melt = melt if case.with_losses else melt._replace(losses=0.0)
    grid = spot_grid(
        spot_radius=0.5 * case.spot_diameter,
        thickness=case.thickness,
        cells=case.cells,
        radius=case.far_radius,
    )
    start = np.empty((grid.z.size + 2, grid.r.size + 2))
    start.fill(tables.enthalpy_at(case.preheat))
    peak, totals = start.copy(), np.zeros(len(TOTALS))
    history = np.empty((HISTORY_ROWS, HISTORY_COLUMNS))
    run = _run(case, tables, melt, grid)
    fields = _fields(start)
    end, rows = march(
        start.copy(),
        start.copy(),
        peak,
        fields,
        flattened(fields, grid),
        history,
        totals,
        run,
        grid,
        tables.metal,
        melt,
    )
    gained = float((grid.dz @ (end - start)[1:-1, 1:-1]) @ grid.area)
    named = dict(zip(TOTALS, totals.tolist(), strict=True))
    return SpotSolution(
        tables=tables,
        melt=melt,
        field=peak_field(peak[1:-1, 1:-1], grid, case.thickness),
        history=_history(history[:rows], tables),
        totals=named | {"gained": gained},
    )


def beam_share(profile: str, spot_diameter: float, grid: SpotGrid) -> Array:
    """Return the irradiance of each ring per watt of beam, exact over the ring.

    Parameters
    ----------
    profile : {"top-hat", "gaussian"}
        Irradiance over the spot.
    spot_diameter : float
        1/e2 diameter for a gaussian [m].
    grid : SpotGrid
        The rings.

    Returns
    -------
    ndarray, shape (nr,)
        [1/m2]
    """
    edges = np.zeros(grid.r.size + 1)
    edges[1:] = (grid.r + 0.5 * grid.dr) / (0.5 * spot_diameter)
    inside = np.minimum(edges, 1.0) ** 2 if profile == "top-hat" else -np.expm1(-2.0 * edges**2)
    return np.asarray((inside[1:] - inside[:-1]) / grid.area)


def _fields(start: Array) -> Fields:
    rings = start.shape[1] - 2
    return Fields(
        source=np.zeros(start.shape),
        side=np.zeros(start.shape),
        down=np.zeros(start.shape),
        opened=np.zeros(rings),
        depth=np.zeros(rings),
        hottest=start[1].copy(),
        losses=np.zeros(2),
    )


def _run(case: SpotCase, tables: MetalTables, melt: Melt, grid: SpotGrid) -> Run:
    beam = beam_share(case.profile, case.spot_diameter, grid)
    corners = np.array(case.shape.corners)
    slow, fast = _decay_rates(tables, melt, grid)
    brightest = np.maximum.reduce(beam)
    return Run(
        beam=beam,
        lit=int((beam > DIMMEST * brightest).nonzero()[0][-1]) + 1,
        full_depth=STIRRED_BY * case.spot_diameter,
        times=corners[:, 0] * case.pulse_duration,
        powers=corners[:, 1] * case.peak_power,
        ambient=case.preheat,
        diffusivity=tables.solid_diffusivity,
        stop_enthalpy=tables.enthalpy_at(case.cooled_to - 1.0),
        longest=case.pulse_duration + case.cooling,
        slowest_rate=slow,
        fastest_rate=fast,
        step=case.pulse_duration / STEPS_PER_PULSE,
        open_step=FLOOR_STEP * grid.dz[0] * melt.pass_enthalpy / (case.peak_power * brightest),
        sink=FLOOR_STEP * grid.dz[0],
    )


def _decay_rates(tables: MetalTables, melt: Melt, grid: SpotGrid) -> tuple[float, float]:
    """Return the largest rate at which a cell can lose heat, all solid and with melt [1/s]."""
    across = np.maximum.reduce(grid.inner + grid.outer)
    along = np.maximum.reduce(grid.above + grid.below)
    slow = (across + along) * tables.solid_diffusivity
    stirred = across * (1.0 + max(melt.stir_r, melt.stir_r_open))
    stirred += along * (1.0 + max(melt.stir_z, melt.stir_z_open))
    return float(slow), float(max(slow, stirred * tables.liquid_diffusivity))


def _history(record: Array, tables: MetalTables) -> History:
    time, centre, hottest, depression, absorptance = record.T.copy()
    return History(
        time=time,
        centre=centre,
        hottest=tables.temperature_at(hottest),
        depression=depression,
        absorptance=absorptance,
    )
