"""The time loop of the 3-D engine, compiled."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from weldcalc.heatflow.compiling import entry, kernel
from weldcalc.heatflow.enthalpy import Melt, Metal, lookup
from weldcalc.heatflow.section_beam import SectionFields, Spot, deepest_melt, light_columns, shine
from weldcalc.heatflow.section_flow import (
    open_gates,
    potentials,
    super_step,
    update_peak,
    update_stirring,
)
from weldcalc.heatflow.section_grid import SectionGrid
from weldcalc.heatflow.spot_kernel import (
    SINKING_MEMORY,
    Run,
    note,
    power_over,
    stages_for,
    wanted_step,
)

Array = NDArray[np.float64]

# J; m; J that met no metal
TOTALS = ("incident", "absorbed", "transmitted", "radiated", "evaporated", "deepest", "missed")
PULSE_STAGES, COOLING_STAGES = 7, 21  # most stages of a super step


class SectionRun(NamedTuple):
    """What one pulse is given besides metals, melts and grid (SI).

    Attributes
    ----------
    pace : Run
        Pulse and time steps; its beam and its one stop enthalpy are not used.
    spot : Spot
        The beam.
    stop : ndarray, shape (2,)
        Cooling ends when no cell of a member is above its enthalpy [J/m3].
    shortest : float
        Earliest end of cooling, since the start of the pulse [s].
    bridging : bool
        Whether molten metal on both sides joins the members.
    alike : bool
        Whether both members are of one metal that is stirred the same.
    centre_row, centre_column : int
        Column whose face temperature is followed.
    """

    pace: Run
    spot: Spot
    stop: Array
    shortest: float
    bridging: bool
    alike: bool
    centre_row: int
    centre_column: int


@kernel
def greatest(depth: Array) -> float:
    """Return the greatest depth of the depression [m]."""
    most = 0.0
    for i in range(depth.shape[0]):
        for j in range(depth.shape[1]):
            most = max(most, depth[i, j])
    return most


@kernel
def lit_share(beam: Array, grid: SectionGrid) -> float:
    """Return the share of the beam that falls on metal in the computed part [-]."""
    total = 0.0
    for i in range(grid.x.size):
        for j in range(grid.y.size):
            total += beam[i + 1, j + 1] * grid.dx[i] * grid.dy[j]
    return total


@kernel
def hottest_temperature(hottest: Array, metals: tuple[Metal, Metal]) -> float:
    """Return the highest temperature [K] of the hottest enthalpies [J/m3] of both members."""
    first: float = lookup(metals[0].temperature, hottest[0], metals[0])
    second: float = lookup(metals[1].temperature, hottest[1], metals[1])
    return max(first, second)


@kernel
def is_molten(hottest: Array, metals: tuple[Metal, Metal]) -> bool:
    """Tell whether any cell is above its solidus."""
    first, second = metals
    return bool(hottest[0] >= first.solidus_enthalpy or hottest[1] >= second.solidus_enthalpy)


@kernel
def keep_books(
    totals: Array, before: float, incident: float, deepest: float, beam: Array, grid: SectionGrid
) -> float:
    """Add a step's incident energy [J] to the totals; return its absorptance [-]."""
    if incident <= 0.0:
        return 0.0
    share = 0.5 if grid.mirrored else 1.0
    totals[0] += incident
    totals[5] = max(totals[5], deepest)
    totals[6] += (1.0 - lit_share(beam, grid) / share) * incident
    return float((totals[1] - before) / incident)


@entry
def march(
    enthalpy: Array,
    other: Array,
    peak: Array,
    fields: SectionFields,
    history: Array,
    totals: Array,
    run: SectionRun,
    grid: SectionGrid,
    metals: tuple[Metal, Metal],
    melts: tuple[Melt, Melt],
) -> tuple[Array, int]:
    """Run one pulse and the cooling; return the last field and the number of history rows.

    `other` is a copy of the enthalpy to work on; `peak`, `fields`, `history` and `totals` are
    filled.
    """
    pace, spot, gate = run.pace, run.spot, fields.gate
    extra, hottest, highest = fields.extra, fields.hottest, fields.highest
    update_peak(enthalpy, peak, highest, grid, hottest)
    light_columns(fields.beam, spot, 0.0, grid)
    update_stirring(melts, 0.0, 0.0, extra)
    pulse_end = pace.times[pace.times.size - 1]
    time, dt, share = 0.0, 0.0, 0.5 if grid.mirrored else 1.0
    deepest, sinking = 0.0, 0.0
    written, stride, count = 0, 1, 0
    while True:
        cooling = time >= pulse_end * (1.0 - 1e-12)
        cold = hottest[0] < run.stop[0] and hottest[1] < run.stop[1]
        if cooling and ((cold and time >= run.shortest) or time >= pace.longest * (1.0 - 1e-12)):
            break
        rate = pace.fastest_rate if is_molten(hottest, metals) else pace.slowest_rate
        dt = wanted_step(time, dt, rate, sinking, pace)
        if cooling:
            dt = min(dt, max(pace.longest - time, 1e-9))
        stages = stages_for(dt, rate, COOLING_STAGES if cooling else PULSE_STAGES)
        dt = min(dt, 0.5 * (stages * stages + stages) / rate)
        power = power_over(pace, time, time + dt)
        if power > 0.0:
            if spot.speed > 0.0:
                light_columns(fields.beam, spot, time + 0.5 * dt, grid)
            melt_depth = deepest_melt(enthalpy, fields.beam, grid, metals)
            update_stirring(melts, deepest / pace.full_depth, melt_depth, extra)
        if run.bridging:
            open_gates(enthalpy, gate, grid, metals)
        potentials(enthalpy, fields, grid, metals, run.alike)
        before, warmed = totals[1], 2.0 * np.sqrt(pace.diffusivity * time / np.pi)
        centre = shine(
            enthalpy,
            fields,
            power,
            pace.ambient,
            dt,
            warmed,
            grid,
            metals,
            melts,
            run.centre_row,
            run.centre_column,
            totals,
        )
        was, deepest = deepest, greatest(fields.depth)
        sinking = max((deepest - was) / dt, SINKING_MEMORY * sinking)
        if was == 0.0 and deepest > 0.0:
            sinking = pace.sink / pace.open_step
        absorptance = keep_books(totals, before, share * power * dt, deepest, fields.beam, grid)
        if count % stride == 0 or cooling:
            warmth = hottest_temperature(hottest, metals)
            written, stride = note(
                history, written, stride, time, centre, warmth, deepest, absorptance
            )
        count += 1
        super_step(enthalpy, other, fields, grid, metals, dt, stages, run.alike)
        enthalpy, other = other, enthalpy
        time += dt
        update_peak(enthalpy, peak, highest, grid, hottest)
    warmth, layer = hottest_temperature(hottest, metals), grid.top[run.centre_column]
    metal = metals[grid.member[layer, run.centre_column]]
    heat = enthalpy[layer, run.centre_row, run.centre_column]
    centre = lookup(metal.temperature, heat, metal)
    written, stride = note(history, written, stride, time, centre, warmth, 0.0, 0.0)
    return enthalpy, written
