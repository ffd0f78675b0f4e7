"""The time loop of the axisymmetric engine, compiled.

Beam, losses and the depression are found once per super step of conduction and held during it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from weldcalc.heatflow.compiling import entry, kernel
from weldcalc.heatflow.enthalpy import Melt, Metal, lookup, stirring
from weldcalc.heatflow.spot_beam import Fields, column_depth, shine
from weldcalc.heatflow.spot_flow import Flat, potentials, super_step
from weldcalc.heatflow.spot_grid import SpotGrid

Array = NDArray[np.float64]

HISTORY_COLUMNS = 5  # time, centre face T, hottest cell H, depression depth, absorptance
FIRST_STEPS = 0.15  # step over time since the start: the face follows the square root of time
COOLING_STEPS = 0.06  # step over time since the end of the pulse
COOLING_GROWTH = 1.2  # of one cooling step over the last
SINKING_MEMORY = 0.9  # of the sinking speed from step to step
UNTOUCHED = 1e-10  # relative rise of the enthalpy that counts as none
PULSE_STAGES, COOLING_STAGES = 15, 31  # most stages of a super step


class Run(NamedTuple):
    """What one run is given besides metal, melt and grid (SI).

    Attributes
    ----------
    beam : ndarray, shape (nr,)
        Irradiance of each ring per watt of beam power [1/m2].
    lit : int
        Rings that the beam reaches.
    full_depth : float
        Depth of the depression at which its stirring is complete [m].
    times, powers : ndarray, shape (m,)
        Corners of the pulse [s], [W].
    ambient : float
        [K]
    diffusivity : float
        Of the solid [m2/s].
    stop_enthalpy : float
        Cooling ends when no cell is above it [J/m3].
    longest : float
        Latest end of cooling [s].
    slowest_rate, fastest_rate : float
        Largest decay rate of a cell, all solid and with melt [1/s].
    step, open_step : float
        Longest super step during the pulse, and shortest one while a depression sinks [s].
    sink : float
        Farthest that a depression may sink in one step [m].
    """

    beam: Array
    lit: int
    full_depth: float
    times: Array
    powers: Array
    ambient: float
    diffusivity: float
    stop_enthalpy: float
    longest: float
    slowest_rate: float
    fastest_rate: float
    step: float
    open_step: float
    sink: float


@kernel
def highest(values: Array) -> float:
    """Return the greatest of some values; the array's own method would need memory of its own."""
    most = values[0]
    for j in range(values.size):
        most = max(most, values[j])
    return float(most)


@kernel
def update_peak(enthalpy: Array, peak: Array, hottest: Array, rows: int, columns: int) -> float:
    """Raise the peak field; fill the hottest cell of each column and return that of all [J/m3]."""
    for j in range(columns):
        hottest[j] = enthalpy[1, j]
    for i in range(1, rows):
        for j in range(1, columns):
            peak[i, j] = max(peak[i, j], enthalpy[i, j])
            hottest[j] = max(hottest[j], enthalpy[i, j])
    return highest(hottest)


@kernel
def window(
    enthalpy: Array, hottest: Array, untouched: float, lit: int, reach: int
) -> tuple[int, int]:
    """Return the ends of the rows and columns that heat can reach in some stages.

    It starts from the `lit` innermost rings and what is warm already. Heat passes one cell per
    stage, so cells further out than that stay as they are exactly.
    """
    level = untouched * (1.0 + UNTOUCHED)
    rows, columns = enthalpy.shape
    i, j = rows - 2, columns - 2
    while i > 1 and enthalpy[i, 1] <= level:
        i -= 1
    while j > lit and hottest[j] <= level:
        j -= 1
    return min(i + reach + 2, rows - 1), min(j + reach + 2, columns - 1)


@kernel
def power_over(run: Run, start: float, end: float) -> float:
    """Return the mean power [W] between two times [s] of a piecewise linear pulse."""
    total = 0.0
    for m in range(run.times.size - 1):
        low, high = max(start, run.times[m]), min(end, run.times[m + 1])
        if high > low:
            slope = (run.powers[m + 1] - run.powers[m]) / (run.times[m + 1] - run.times[m])
            middle = run.powers[m] + slope * (0.5 * (low + high) - run.times[m])
            total += middle * (high - low)
    return float(total / (end - start))


@kernel
def wanted_step(time: float, last: float, rate: float, sinking: float, run: Run) -> float:
    """Return the next step [s] that accuracy asks for; `sinking` in m/s."""
    pulse_end = run.times[run.times.size - 1]
    if time >= pulse_end:
        return float(max(last, min(COOLING_GROWTH * last, COOLING_STEPS * (time - pulse_end))))
    step = min(run.step, FIRST_STEPS * time + 1.0 / rate)
    if sinking > 0.0:
        step = min(step, max(run.open_step, run.sink / sinking))
    for m in range(run.times.size):
        if run.times[m] > time + 1e-12 * pulse_end:
            # never step over a corner of the pulse; share what is left evenly
            left = run.times[m] - time
            return float(left / np.ceil(left / step))
    return step


@kernel
def stages_for(step: float, rate: float, most: int) -> int:
    """Return the odd number of stages that keeps a step [s] stable, or the most allowed."""
    stages = 1
    while stages < most and 0.5 * (stages * stages + stages) < step * rate:
        stages += 2
    return stages


@kernel
def thin_out(history: Array) -> int:
    """Keep every second row; return how many are left."""
    half: int = history.shape[0] // 2
    for i in range(half):
        for column in range(history.shape[1]):
            history[i, column] = history[2 * i, column]
    return half


@kernel
def note(
    history: Array,
    written: int,
    stride: int,
    time: float,
    centre: float,
    hottest: float,
    deepest: float,
    absorptance: float,
) -> tuple[int, int]:
    """Add a row to the history, thinned out where it is full; return rows and stride."""
    if written == history.shape[0]:
        written = thin_out(history)
        stride *= 2
    row = history[written]
    row[0], row[1], row[2], row[3], row[4] = time, centre, hottest, deepest, absorptance
    return written + 1, stride


@entry
def march(
    enthalpy: Array,
    other: Array,
    peak: Array,
    fields: Fields,
    flat: Flat,
    history: Array,
    totals: Array,
    run: Run,
    grid: SpotGrid,
    metal: Metal,
    melt: Melt,
) -> tuple[Array, int]:
    """Run the pulse and the cooling; return the last field and the number of history rows.

    `other` is a copy of the enthalpy to work on; `peak`, `fields`, `history` and `totals` are
    filled. Order of the totals: `spot_beam.TOTALS`.
    """
    untouched, hottest_of = enthalpy[1, 1], fields.hottest
    # once everywhere: later only as far as heat can have come
    potentials(enthalpy.reshape(enthalpy.size), flat, metal, 0.0, 0.0, enthalpy.size)
    pulse_end = run.times[run.times.size - 1]
    time, dt, power, deepest, sinking = 0.0, 0.0, 0.0, 0.0, 0.0
    stir_r, stir_z, stir_face = 0.0, 0.0, 0.0
    hottest = enthalpy[1, 1]
    written, stride, count = 0, 1, 0
    while True:
        cooling = time >= pulse_end * (1.0 - 1e-12)
        if cooling and (hottest < run.stop_enthalpy or time >= run.longest):
            break
        rate = run.slowest_rate if hottest < metal.solidus_enthalpy else run.fastest_rate
        dt = wanted_step(time, dt, rate, sinking, run)
        stages = stages_for(dt, rate, COOLING_STAGES if cooling else PULSE_STAGES)
        dt = min(dt, 0.5 * (stages * stages + stages) / rate)
        power = 0.0 if cooling else power_over(run, time, time + dt)
        if not cooling:
            melt_depth = 0.0
            if melt.full_stirring > 0.0:
                melt_depth = column_depth(enthalpy, 1, metal.liquidus_enthalpy, grid, metal)
            stir_r, stir_z, stir_face = stirring(deepest / run.full_depth, melt_depth, melt)
        rows, columns = window(enthalpy, hottest_of, untouched, run.lit, stages)
        cells = rows * flat.width
        potentials(enthalpy.reshape(enthalpy.size), flat, metal, stir_r, stir_z, cells)
        before = totals[1]
        # a half space's face is as much hotter than its depth as a layer of this thickness
        warmed = 2.0 * np.sqrt(run.diffusivity * time / np.pi)
        centre = shine(
            enthalpy,
            fields,
            run.beam,
            power,
            run.ambient,
            dt,
            warmed,
            stir_face,
            grid,
            metal,
            melt,
            totals,
            columns,
        )
        absorptance = 0.0 if power <= 0.0 else (totals[1] - before) / (power * dt)
        was, deepest = deepest, highest(fields.depth)
        # as fast as just now, or slowing down gradually: the depth flickers within a cell
        sinking = max((deepest - was) / dt, SINKING_MEMORY * sinking)
        if was == 0.0 and deepest > 0.0:
            sinking = run.sink / run.open_step
        if power > 0.0:
            totals[5] = max(totals[5], deepest)
        if count % stride == 0 or cooling:
            written, stride = note(
                history, written, stride, time, centre, hottest, deepest, absorptance
            )
        count += 1
        super_step(enthalpy, other, flat, metal, stir_r, stir_z, dt, stages, rows)
        enthalpy, other = other, enthalpy
        time += dt
        hottest = update_peak(enthalpy, peak, hottest_of, rows, columns)
    centre = lookup(metal.temperature, enthalpy[1, 1], metal)
    written, stride = note(history, written, stride, time, centre, hottest, 0.0, 0.0)
    return enthalpy, written
