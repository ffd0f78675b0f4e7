"""Conduction in the boxes of the 3-D engine, compiled.

Fields run over (z, x, y) with a rim of unused cells, y last: a layer's cells of one member lie side
by side, so the inner loops run straight over memory. Time steps are super steps as in the
axisymmetric engine.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from weldcalc.heatflow.compiling import kernel
from weldcalc.heatflow.enthalpy import Melt, Metal, fill_potentials, lookup, stirring
from weldcalc.heatflow.section_beam import SectionFields
from weldcalc.heatflow.section_grid import SectionGrid

Array = NDArray[np.float64]


@kernel
def potentials(
    enthalpy: Array,
    fields: SectionFields,
    grid: SectionGrid,
    metals: tuple[Metal, Metal],
    alike: bool,
) -> None:
    """Fill the heat-flow potentials [W/m], sideways and along the beam.

    Where both members are `alike`, whole layers go in one line: what stands in air does not count.
    """
    extra = fields.extra
    for k in range(1, enthalpy.shape[0] - 1):
        heat, side, down = enthalpy[k], fields.side[k], fields.down[k]
        if alike:
            fill_potentials(
                heat.reshape(heat.size),
                side.reshape(heat.size),
                down.reshape(heat.size),
                fields.interval,
                metals[0],
                extra[0, 0],
                extra[0, 1],
            )
            continue
        for own in range(2):
            low, high = grid.span[0, own, k], grid.span[1, own, k]
            for i in range(1, heat.shape[0] - 1):
                fill_potentials(
                    heat[i, low:high],
                    side[i, low:high],
                    down[i, low:high],
                    fields.interval,
                    metals[own],
                    extra[own, 0],
                    extra[own, 1],
                )


@kernel
def spread_member(
    number: int,
    now: Array,
    other: Array,
    fields: SectionFields,
    grid: SectionGrid,
    mu: float,
    nu: float,
    dt: float,
) -> None:
    """Write one stage of a member into `other`: mu now + nu other + dt (div(k grad T) + source)."""
    layers, rows, columns = now.shape
    cells = rows * columns
    # numbers without a sign: the compiler need not look for places counted from the end
    one, width = np.uintp(1), np.uintp(columns)
    for k in range(1, layers - 1):
        low, high = grid.span[0, number, k], grid.span[1, number, k]
        if high <= low:
            continue
        west, east = grid.across[0, k, low:high], grid.across[1, k, low:high]
        above, below = grid.down[0, k, low:high], grid.down[1, k, low:high]
        side, down = fields.side[k].reshape(cells), fields.down[k].reshape(cells)
        upper, lower = fields.down[k - 1].reshape(cells), fields.down[k + 1].reshape(cells)
        heat, source = now[k].reshape(cells), fields.source[k].reshape(cells)
        result = other[k].reshape(cells)
        for i in range(1, rows - 1):
            front, back = grid.along[0, i], grid.along[1, i]
            start = np.uintp(i * columns + low)
            for j in range(np.uintp(high - low)):
                cell = start + j
                middle, level = side[cell], down[cell]
                gain = (
                    west[j] * (side[cell - one] - middle)
                    + east[j] * (side[cell + one] - middle)
                    + front * (side[cell - width] - middle)
                    + back * (side[cell + width] - middle)
                    + above[j] * (upper[cell] - level)
                    + below[j] * (lower[cell] - level)
                    + source[cell]
                )
                result[cell] = mu * heat[cell] + nu * result[cell] + dt * gain


@kernel
def cell_conductivity(enthalpy: float, extra: float, metal: Metal) -> float:
    """Return the conductivity [W/(m K)] of a cell, with its stirring."""
    conductivity = lookup(metal.conductivity, enthalpy, metal)
    return conductivity * (1.0 + extra) if enthalpy > metal.liquidus_enthalpy else conductivity


@kernel
def cross_joint(
    now: Array,
    other: Array,
    gate: Array,
    grid: SectionGrid,
    metals: tuple[Metal, Metal],
    extra: Array,
    dt: float,
) -> None:
    """Let heat pass between cells that meet on the joint, where its gate is open.

    The two half cells are resistances in series, so the metals may differ.
    """
    rows = now.shape[1]
    for pair in range(grid.pairs.down.size):
        za, ya = grid.pairs.z[pair, 0], grid.pairs.y[pair, 0]
        zb, yb = grid.pairs.z[pair, 1], grid.pairs.y[pair, 1]
        a, b = grid.member[za, ya], grid.member[zb, yb]
        way = grid.pairs.down[pair]
        for i in range(1, rows - 1):
            if gate[pair, i] == 0.0:
                continue
            heat_a, heat_b = now[za, i, ya], now[zb, i, yb]
            resistance = grid.pairs.half[pair, 0] / cell_conductivity(
                heat_a, extra[a, way], metals[a]
            ) + grid.pairs.half[pair, 1] / cell_conductivity(heat_b, extra[b, way], metals[b])
            difference = lookup(metals[b].temperature, heat_b, metals[b]) - lookup(
                metals[a].temperature, heat_a, metals[a]
            )
            flux = difference / resistance
            other[za, i, ya] += dt * grid.pairs.rate[pair, 0] * flux
            other[zb, i, yb] -= dt * grid.pairs.rate[pair, 1] * flux


@kernel
def open_gates(
    enthalpy: Array, gate: Array, grid: SectionGrid, metals: tuple[Metal, Metal]
) -> None:
    """Open the joint for good where the metal on both sides of it is molten."""
    rows = enthalpy.shape[1]
    for pair in range(grid.pairs.down.size):
        za, ya = grid.pairs.z[pair, 0], grid.pairs.y[pair, 0]
        zb, yb = grid.pairs.z[pair, 1], grid.pairs.y[pair, 1]
        liquid_a = metals[grid.member[za, ya]].liquidus_enthalpy
        liquid_b = metals[grid.member[zb, yb]].liquidus_enthalpy
        for i in range(1, rows - 1):
            if enthalpy[za, i, ya] > liquid_a and enthalpy[zb, i, yb] > liquid_b:
                gate[pair, i] = 1.0


@kernel
def super_step(
    a: Array,
    b: Array,
    fields: SectionFields,
    grid: SectionGrid,
    metals: tuple[Metal, Metal],
    dt: float,
    stages: int,
    alike: bool,
) -> None:
    """Advance by dt in an odd number of stages; the potentials of `a` are known, `b` results."""
    scale = 2.0 / (stages * stages + stages)
    for number in range(1, stages + 1):
        mu = (2.0 * number - 1.0) / number
        nu = (1.0 - number) / number
        now, other = (b, a) if number % 2 == 0 else (a, b)
        if number > 1:
            potentials(now, fields, grid, metals, alike)
        for own in range(2):
            spread_member(own, now, other, fields, grid, mu, nu, mu * scale * dt)
        if grid.pairs.down.size > 0:
            cross_joint(now, other, fields.gate, grid, metals, fields.extra, mu * scale * dt)


@kernel
def update_stirring(
    melts: tuple[Melt, Melt], share: float, melt_depth: float, extra: Array
) -> None:
    """Fill extra liquid conductivity [-] by (member, figure); see `stirring`."""
    for number in range(2):
        sideways, down, face = stirring(share, melt_depth, melts[number])
        extra[number, 0] = sideways
        extra[number, 1] = down
        extra[number, 2] = face


@kernel
def update_peak(
    enthalpy: Array, peak: Array, highest: Array, grid: SectionGrid, hottest: Array
) -> None:
    """Raise the peak field to the present one; fill the hottest cell's enthalpy by member."""
    layers, rows, _ = enthalpy.shape
    for number in range(2):
        for j in range(highest.size):
            highest[j] = 0.0
        for k in range(1, layers - 1):
            low, high = grid.span[0, number, k], grid.span[1, number, k]
            for i in range(1, rows - 1):
                heat, most = enthalpy[k, i, low:high], peak[k, i, low:high]
                for j in range(high - low):
                    value = heat[j]
                    most[j] = max(most[j], value)
                    highest[j] = max(highest[j], value)
        hottest[number] = 0.0
        for j in range(highest.size):
            hottest[number] = max(hottest[number], highest[j])
