"""Conduction in the boxes of the 3-D engine, compiled.

Fields run over (z, x, y) with a rim of unused cells, y last: a layer's cells of one member lie side
by side, so the inner loops run straight over memory. Time steps are super steps as in the
axisymmetric engine.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from weldcalc.heatflow.compiling import kernel
from weldcalc.heatflow.enthalpy import Melt, Metal, lookup, stirring
from weldcalc.heatflow.section_beam import SectionFields
from weldcalc.heatflow.section_grid import SectionGrid

Array = NDArray[np.float64]


@kernel
def member_potentials(
    number: int,
    enthalpy: Array,
    side: Array,
    down: Array,
    grid: SectionGrid,
    metal: Metal,
    extra: Array,
) -> None:
    """Fill the heat-flow potentials [W/m] of one member, sideways and along the beam."""
    layers, rows, _ = enthalpy.shape
    step, last = metal.inverse_step, np.int32(metal.last)
    table, liquidus = metal.potential, metal.liquidus_potential
    stir_r, stir_z = extra[number, 0], extra[number, 1]
    for k in range(1, layers - 1):
        low, high = grid.span[0, number, k], grid.span[1, number, k]
        for i in range(1, rows - 1):
            heat = enthalpy[k, i, low:high]
            to_side, to_down = side[k, i, low:high], down[k, i, low:high]
            for j in range(high - low):
                place = heat[j] * step
                index = min(max(np.int32(place), np.int32(0)), last)
                theta = table[index] + (place - index) * (table[index + 1] - table[index])
                molten = max(theta - liquidus, 0.0)
                to_side[j] = theta + stir_r * molten
                to_down[j] = theta + stir_z * molten


@kernel
def spread_member(
    number: int,
    now: Array,
    other: Array,
    source: Array,
    side: Array,
    down: Array,
    grid: SectionGrid,
    mu: float,
    nu: float,
    dt: float,
) -> None:
    """Write one stage of a member into `other`: mu now + nu other + dt (div(k grad T) + source)."""
    layers, rows, _ = now.shape
    for k in range(1, layers - 1):
        low, high = grid.span[0, number, k], grid.span[1, number, k]
        if high > low:
            west, east = grid.across[0, k, low:high], grid.across[1, k, low:high]
            above, below = grid.down[0, k, low:high], grid.down[1, k, low:high]
            for i in range(1, rows - 1):
                front, back = grid.along[0, i], grid.along[1, i]
                here = side[k, i, low - 1 : high + 1]
                before, after = side[k, i - 1, low:high], side[k, i + 1, low:high]
                level = down[k, i, low:high]
                upper, lower = down[k - 1, i, low:high], down[k + 1, i, low:high]
                heat, added = now[k, i, low:high], source[k, i, low:high]
                result = other[k, i, low:high]
                for j in range(high - low):
                    middle = here[j + 1]
                    gain = (
                        west[j] * (here[j] - middle)
                        + east[j] * (here[j + 2] - middle)
                        + front * (before[j] - middle)
                        + back * (after[j] - middle)
                        + above[j] * (upper[j] - level[j])
                        + below[j] * (lower[j] - level[j])
                        + added[j]
                    )
                    result[j] = mu * heat[j] + nu * result[j] + dt * gain


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
) -> None:
    """Advance by dt in an odd number of stages; the potentials of `a` are known, `b` results."""
    scale = 2.0 / (stages * stages + stages)
    side, down, extra = fields.side, fields.down, fields.extra
    for number in range(1, stages + 1):
        mu = (2.0 * number - 1.0) / number
        nu = (1.0 - number) / number
        now, other = (b, a) if number % 2 == 0 else (a, b)
        for own in range(2):
            if number > 1:
                member_potentials(own, now, side, down, grid, metals[own], extra)
        for own in range(2):
            spread_member(own, now, other, fields.source, side, down, grid, mu, nu, mu * scale * dt)
        if grid.pairs.down.size > 0:
            cross_joint(now, other, fields.gate, grid, metals, extra, mu * scale * dt)


@kernel
def update_stirring(melts: tuple[Melt, Melt], share: float, extra: Array) -> None:
    """Fill extra liquid conductivity [-] by (member, sideways or down) for a share of opening."""
    for number in range(2):
        sideways, down = stirring(share, melts[number])
        extra[number, 0] = sideways
        extra[number, 1] = down


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
