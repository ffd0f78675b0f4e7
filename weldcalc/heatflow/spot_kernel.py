"""The time loop of the axisymmetric engine, compiled.

Diffusion goes forward in super steps of the first-order Runge-Kutta-Legendre scheme (RKL1): s
stages reach (s^2 + s) / 2 times as far as one explicit step, conserve energy exactly and stay
stable. Beam, losses and the depression are found once per super step and held during it.

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
from weldcalc.heatflow.enthalpy import Melt, Metal, lookup, stirring
from weldcalc.heatflow.spot_beam import Fields, shine
from weldcalc.heatflow.spot_grid import SpotGrid

Array = NDArray[np.float64]

HISTORY_COLUMNS = 5  # time, centre face T, hottest cell H, depression depth, absorptance
FIRST_STEPS = 0.15  # step over time since the start: the face follows the square root of time
COOLING_STEPS = 0.06  # step over time since the end of the pulse
COOLING_GROWTH = 1.2  # of one cooling step over the last
SINKING_MEMORY = 0.9  # of the sinking speed from step to step
UNTOUCHED = 1e-10  # relative rise of the enthalpy that counts as none
PULSE_STAGES, COOLING_STAGES = 7, 11  # most stages of a super step


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
def potentials(
    enthalpy: Array,
    side: Array,
    down: Array,
    metal: Metal,
    stir_r: float,
    stir_z: float,
    rows: int,
    columns: int,
) -> None:
    """Fill the heat-flow potentials [W/m] of the cells in the window."""
    for i in range(1, rows):
        for j in range(1, columns):
            place = enthalpy[i, j] * metal.inverse_step
            index = min(max(np.int32(place), np.int32(0)), np.int32(metal.last))
            low = metal.potential[index]
            theta = low + (place - index) * (metal.potential[index + 1] - low)
            molten = max(theta - metal.liquidus_potential, 0.0)
            side[i, j] = theta + stir_r * molten
            down[i, j] = theta + stir_z * molten


@kernel
def spread_heat(
    now: Array,
    other: Array,
    fields: Fields,
    grid: SpotGrid,
    mu: float,
    nu: float,
    dt: float,
    rows: int,
    columns: int,
) -> None:
    """Write one stage into `other`: mu now + nu other + dt (div(k grad T) + source)."""
    side, down, source = fields.side, fields.down, fields.source
    for i in range(1, rows):
        above, below = grid.above[i], grid.below[i]
        for j in range(1, columns):
            gain = (
                grid.inner[j] * (side[i, j - 1] - side[i, j])
                + grid.outer[j] * (side[i, j + 1] - side[i, j])
                + above * (down[i - 1, j] - down[i, j])
                + below * (down[i + 1, j] - down[i, j])
                + source[i, j]
            )
            other[i, j] = mu * now[i, j] + nu * other[i, j] + dt * gain


@kernel
def super_step(
    a: Array,
    b: Array,
    fields: Fields,
    grid: SpotGrid,
    metal: Metal,
    stir_r: float,
    stir_z: float,
    dt: float,
    stages: int,
    rows: int,
    columns: int,
) -> None:
    """Advance by dt [s] in an odd number of stages; potentials of `a` are known, result in `b`."""
    scale = 2.0 / (stages * stages + stages)
    spread_heat(a, b, fields, grid, 1.0, 0.0, scale * dt, rows, columns)
    for stage in range(2, stages + 1):
        mu = (2.0 * stage - 1.0) / stage
        nu = (1.0 - stage) / stage
        now, other = (b, a) if stage % 2 == 0 else (a, b)
        potentials(now, fields.side, fields.down, metal, stir_r, stir_z, rows, columns)
        spread_heat(now, other, fields, grid, mu, nu, mu * scale * dt, rows, columns)


@kernel
def update_peak(enthalpy: Array, peak: Array, hottest: Array, rows: int, columns: int) -> float:
    """Raise the peak field; fill the hottest cell of each column and return that of all [J/m3]."""
    for j in range(columns):
        hottest[j] = enthalpy[1, j]
    for i in range(1, rows):
        for j in range(1, columns):
            peak[i, j] = max(peak[i, j], enthalpy[i, j])
            hottest[j] = max(hottest[j], enthalpy[i, j])
    return float(hottest.max())


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
        history[i] = history[2 * i]
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


@kernel
def first_fields(enthalpy: Array, rings: int, metal: Metal) -> Fields:
    """Return working arrays for metal that is at its first temperature everywhere."""
    theta = lookup(metal.potential, enthalpy[1, 1], metal)
    return Fields(
        source=np.zeros_like(enthalpy),
        side=np.full_like(enthalpy, theta),
        down=np.full_like(enthalpy, theta),
        opened=np.zeros(rings),
        depth=np.zeros(rings),
    )


@kernel
def march(
    enthalpy: Array,
    peak: Array,
    history: Array,
    totals: Array,
    run: Run,
    grid: SpotGrid,
    metal: Metal,
    melt: Melt,
) -> tuple[Array, int]:
    """Run the pulse and the cooling; return the last field and the number of history rows.

    `peak`, `history` and `totals` are filled. Order of the totals: `spot_beam.TOTALS`.
    """
    other = enthalpy.copy()
    untouched, hottest_of = enthalpy[1, 1], enthalpy[1].copy()
    fields = first_fields(enthalpy, grid.r.size, metal)
    pulse_end = run.times[run.times.size - 1]
    time, dt, power, deepest, sinking = 0.0, 0.0, 0.0, 0.0, 0.0
    stir_r, stir_z = melt.stir_r, melt.stir_z
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
            stir_r, stir_z = stirring(fields.depth.max() / run.full_depth, melt)
        rows, columns = window(enthalpy, hottest_of, untouched, run.lit, stages)
        potentials(enthalpy, fields.side, fields.down, metal, stir_r, stir_z, rows, columns)
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
            grid,
            metal,
            melt,
            totals,
            columns,
        )
        absorptance = 0.0 if power <= 0.0 else (totals[1] - before) / (power * dt)
        was, deepest = deepest, fields.depth.max()
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
        super_step(enthalpy, other, fields, grid, metal, stir_r, stir_z, dt, stages, rows, columns)
        enthalpy, other = other, enthalpy
        time += dt
        hottest = update_peak(enthalpy, peak, hottest_of, rows, columns)
    centre = lookup(metal.temperature, enthalpy[1, 1], metal)
    written, stride = note(history, written, stride, time, centre, hottest, 0.0, 0.0)
    return enthalpy, written
