"""Sets up and runs the time loop of the 3-D engine: one pulse, or several on warm metal."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.heatflow.enthalpy import Melt, Metal, MetalTables, melt_levels, metal_tables
from weldcalc.heatflow.pulse_result import History
from weldcalc.heatflow.section_beam import SectionFields, Spot
from weldcalc.heatflow.section_case import SectionCase
from weldcalc.heatflow.section_grid import Layout, SectionGrid, section_grid
from weldcalc.heatflow.section_kernel import TOTALS, SectionRun, march
from weldcalc.heatflow.spot_kernel import HISTORY_COLUMNS, Run
from weldcalc.heatflow.spot_solve import (
    FLOOR_STEP,
    HISTORY_ROWS,
    STEPS_PER_PULSE,
    STIRRED_BY,
)

Array = NDArray[np.float64]

DIFFUSED = 4.0 * 1e-5**0.5  # m/s^(1/2): four diffusion lengths sqrt(a t) of the warmest metal here
STILL = 0.1  # K above the surroundings; radiation there is below a watt per square metre
TRAVEL_STEP = 0.5  # share of a cell that the beam may travel in one step


@frozen(eq=False)
class Bench:
    """A case on its cells; pairs are by member.

    Parameters
    ----------
    case : SectionCase
        What to compute.
    tables : tuple of two MetalTables
        The metals.
    melts : tuple of two Melt
        Their levels under this spot.
    grid : SectionGrid
        The cells.
    start, end : float
        Where pulses have their middle in x, first and last [m].
    """

    case: SectionCase
    tables: tuple[MetalTables, MetalTables]
    melts: tuple[Melt, Melt]
    grid: SectionGrid
    start: float
    end: float

    @property
    def metals(self) -> tuple[Metal, Metal]:
        """Tables for the kernels."""
        return self.tables[0].metal, self.tables[1].metal

    @property
    def volumes(self) -> Array:
        """Volumes of the cells [m3], shape (nz, nx, ny); 0 in air."""
        grid = self.grid
        section = np.where(grid.member[1:-1, 1:-1] >= 0, np.outer(grid.dz, grid.dy), 0.0)
        share = 2.0 if grid.mirrored else 1.0
        return np.asarray(share * section[:, None, :] * grid.dx[None, :, None])

    @property
    def centre_column(self) -> int:
        """Column of metal nearest to the beam axis, counted with the rim."""
        grid = self.grid
        away = np.abs(grid.y - self.case.beam_place)
        return int(np.argmin(np.where(grid.top[1:-1] > 0, away, np.inf))) + 1

    @property
    def centre_member(self) -> int:
        """Member that the beam axis meets first."""
        column = self.centre_column
        return int(self.grid.member[self.grid.top[column], column])

    def enthalpies(self, temperature: float) -> Array:
        """Return enthalpies [J/m3] of both members at a temperature [K], shape (2,)."""
        return np.array([table.enthalpy_at(temperature) for table in self.tables])

    def by_cell(self, of_members: Array) -> Array:
        """Return values of members as a field (nz + 2, ny + 2) with rim; in air the first's."""
        return np.asarray(of_members[np.maximum(self.grid.member, 0)])


@frozen(eq=False)
class SectionState:
    """The metal at one moment; carried from pulse to pulse.

    Parameters
    ----------
    enthalpy, peak : ndarray, shape (nz + 2, nx + 2, ny + 2)
        Now, and highest so far [J/m3].
    gate : ndarray, shape (k, nx + 2)
        Which pairs of cells on the joint conduct.
    """

    enthalpy: Array
    peak: Array
    gate: Array


@frozen(eq=False)
class SectionSolution:
    """A finished run.

    Parameters
    ----------
    bench : Bench
        Case and cells.
    state : SectionState
        At the end.
    history : History
        How it went.
    totals : dict of str to float
        Energies [J] and the greatest depth of the depression [m], with "gained" by the metal.
    absorbed : ndarray, shape (2,)
        By each member [J].
    """

    bench: Bench
    state: SectionState
    history: History
    totals: dict[str, float]
    absorbed: Array


def set_up(
    case: SectionCase, *, start: float = 0.0, end: float = 0.0, lasting: float = 0.0
) -> Bench:
    """Lay out cells and levels for pulses with their middle from one place in x to another [m].

    Parameters
    ----------
    case : SectionCase
        What to compute.
    start, end : float, optional
        First and last place [m].
    lasting : float, optional
        How long heat has to be kept from noticing the end of the cells [s].

    Returns
    -------
    Bench
    """
    tables = (metal_tables(case.materials[0]), metal_tables(case.materials[1]))
    half_way = 0.5 * case.travel_speed * case.pulse_duration
    layout = Layout(
        spot_radius=0.5 * case.spot_diameter,
        cells=case.cells,
        reach=max(case.reach, DIFFUSED * np.sqrt(lasting)),
        offset=case.beam_offset,
        angle=case.beam_angle,
        start=start - half_way,
        end=end + half_way,
        broken=case.is_broken,
    )
    return Bench(
        case=case,
        tables=tables,
        melts=(_melt(case, tables, 0), _melt(case, tables, 1)),
        grid=section_grid(case.section, layout),
        start=start,
        end=end,
    )


def _melt(case: SectionCase, tables: tuple[MetalTables, MetalTables], number: int) -> Melt:
    melt = melt_levels(
        tables[number],
        case.constants[number],
        spot_diameter=case.spot_diameter,
        absorptivity=case.absorptivity[number],
    )
    return melt if case.with_losses else melt._replace(losses=0.0)


def cold_state(bench: Bench) -> SectionState:
    """Return the metal at the preheat, its joint open where faces do not touch."""
    grid = bench.grid
    level = bench.by_cell(bench.enthalpies(bench.case.preheat))
    field = np.repeat(level[:, None, :], grid.x.size + 2, axis=1)
    closed = 0.0 if bench.case.has_gap else 1.0
    gate = np.full((grid.pairs.down.size, grid.x.size + 2), closed)
    return SectionState(enthalpy=field, peak=field.copy(), gate=gate)


def run_pulse(
    bench: Bench, state: SectionState, *, place: float = 0.0, period: float | None = None
) -> SectionSolution:
    """Run one pulse and the cooling after it.

    Parameters
    ----------
    bench : Bench
        Case and cells.
    state : SectionState
        The metal before; left as it is.
    place : float, optional
        Middle of the pulse in x [m].
    period : float, optional
        Follow the cooling until so long after the start of the pulse [s]; None: until the metal
        is below the strict shielding temperature.

    Returns
    -------
    SectionSolution
    """
    fields = _fields(bench, state)
    peak, totals = state.peak.copy(), np.zeros(len(TOTALS))
    history = np.empty((HISTORY_ROWS, HISTORY_COLUMNS))
    end, rows = march(
        state.enthalpy.copy(),
        state.enthalpy.copy(),
        peak,
        fields,
        history,
        totals,
        _run(bench, place, period),
        bench.grid,
        bench.metals,
        bench.melts,
    )
    share = 2.0 if bench.grid.mirrored else 1.0
    energies = np.where(np.array(TOTALS) == "deepest", 1.0, share) * totals
    change = (end - state.enthalpy)[1:-1, 1:-1, 1:-1]
    gained = float(np.sum(change * bench.volumes))
    return SectionSolution(
        bench=bench,
        state=SectionState(enthalpy=end, peak=peak, gate=fields.gate),
        history=_history(history[:rows]),
        totals=dict(zip(TOTALS, energies.tolist(), strict=True)) | {"gained": gained},
        absorbed=share * fields.absorbed,
    )


def _fields(bench: Bench, state: SectionState) -> SectionFields:
    cells = state.enthalpy.shape
    source, side, down = (np.zeros(cells) for _ in range(3))
    opened, depth, beam = (np.zeros(cells[1:]) for _ in range(3))
    return SectionFields(
        source=source,
        side=side,
        down=down,
        opened=opened,
        depth=depth,
        beam=beam,
        gate=state.gate.copy(),
        absorbed=np.zeros(2),
        losses=np.zeros(2),
        extra=np.zeros((2, 3)),
        hottest=np.zeros(2),
        highest=np.zeros(cells[2]),
        interval=np.zeros(cells[1] * cells[2], dtype=np.int32),
        still=bench.enthalpies(bench.case.preheat + STILL),
    )


def _run(bench: Bench, place: float, period: float | None) -> SectionRun:
    case, grid = bench.case, bench.grid
    spot = _spot(bench, place)
    centre_row = int(np.argmin(np.abs(grid.x - place))) + 1
    return SectionRun(
        pace=_pace(bench, period),
        spot=spot,
        stop=bench.enthalpies(case.cooled_to - 1.0),
        shortest=0.0 if period is None else period,
        bridging=case.is_broken and case.can_bridge,
        alike=_are_alike(bench),
        centre_row=centre_row,
        centre_column=bench.centre_column,
    )


def _are_alike(bench: Bench) -> bool:
    """Tell whether potentials of both members follow from enthalpy in the same way."""
    stirred = [melt[: Melt._fields.index("full_stirring") + 1] for melt in bench.melts]
    return bench.tables[0] is bench.tables[1] and stirred[0] == stirred[1]


def _spot(bench: Bench, place: float) -> Spot:
    case, grid = bench.case, bench.grid
    west, east = true_faces(bench)
    return Spot(
        x=place - 0.5 * case.travel_speed * case.pulse_duration,
        y=case.beam_place,
        speed=case.travel_speed,
        radius=0.5 * case.spot_diameter,
        gaussian=case.profile == "gaussian",
        x_faces=np.append(grid.x - 0.5 * grid.dx, grid.x[-1] + 0.5 * grid.dx[-1]),
        west=west,
        east=east,
    )


def true_faces(bench: Bench) -> tuple[Array, Array]:
    """Return both faces of each cell in y [m], with the members apart by what the beam sees."""
    grid = bench.grid
    shift = 0.5 * bench.case.open_gap * np.where(grid.y < 0.0, -1.0, 1.0)
    return grid.y - 0.5 * grid.dy + shift, grid.y + 0.5 * grid.dy + shift


def _pace(bench: Bench, period: float | None) -> Run:
    case, grid = bench.case, bench.grid
    corners = np.array(case.shape.corners)
    slow, fast = _decay_rates(bench)
    spread = 0.5 if case.profile == "gaussian" else 1.0
    brightest = 1.0 / (spread * np.pi * (0.5 * case.spot_diameter) ** 2)
    step = case.pulse_duration / STEPS_PER_PULSE
    if case.travel_speed > 0.0:
        step = min(step, TRAVEL_STEP * case.cells[0] / case.travel_speed)
    passing = min(melt.pass_enthalpy for melt in bench.melts)
    return Run(
        beam=np.zeros(0),
        lit=0,
        full_depth=STIRRED_BY * case.spot_diameter,
        times=corners[:, 0] * case.pulse_duration,
        powers=corners[:, 1] * case.peak_power,
        ambient=case.preheat,
        diffusivity=max(table.solid_diffusivity for table in bench.tables),
        stop_enthalpy=0.0,
        longest=case.pulse_duration + case.cooling if period is None else period,
        slowest_rate=slow,
        fastest_rate=fast,
        step=step,
        open_step=FLOOR_STEP * grid.dz.min() * passing / (case.peak_power * brightest),
        sink=FLOOR_STEP * grid.dz.min(),
    )


def _decay_rates(bench: Bench) -> tuple[float, float]:
    """Return the largest rate at which a cell can lose heat, all solid and with melt [1/s]."""
    grid = bench.grid
    sideways = grid.across.sum(axis=0) + float(grid.along.sum(axis=0).max())
    down = grid.down.sum(axis=0)
    for pair, way in enumerate(grid.pairs.down):
        added = grid.pairs.rate[pair] / (grid.pairs.half[pair].sum())
        for end in (0, 1):
            (down if way else sideways)[grid.pairs.z[pair, end], grid.pairs.y[pair, end]] += added[
                end
            ]
    rates = [
        _member_rates(tables, melt, sideways[grid.member == n], down[grid.member == n])
        for n, (tables, melt) in enumerate(zip(bench.tables, bench.melts, strict=True))
        if (grid.member == n).any()
    ]
    return max(slow for slow, _ in rates), max(fast for _, fast in rates)


def _member_rates(
    tables: MetalTables, melt: Melt, sideways: Array, down: Array
) -> tuple[float, float]:
    slow = (sideways + down).max() * tables.solid_diffusivity
    stirred = sideways * (1.0 + max(melt.stir_r, melt.stir_r_open))
    stirred = stirred + down * (1.0 + max(melt.stir_z, melt.stir_z_open))
    return float(slow), float(max(slow, stirred.max() * tables.liquid_diffusivity))


def _history(record: Array) -> History:
    time, centre, hottest, depression, absorptance = (column.copy() for column in record.T)
    return History(
        time=time, centre=centre, hottest=hottest, depression=depression, absorptance=absorptance
    )
