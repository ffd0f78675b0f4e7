"""Beam, losses and vapour depression of the axisymmetric engine, once per super step, compiled."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from weldcalc.heatflow.compiling import kernel
from weldcalc.heatflow.enthalpy import (
    Melt,
    Metal,
    cavity_absorptance,
    depression_level,
    evaporation_flux,
    floor_place,
    lookup,
    opened_share,
    radiation_flux,
    saturation_pressure,
    surface_state,
)
from weldcalc.heatflow.spot_grid import SpotGrid

Array = NDArray[np.float64]

TOTALS = ("incident", "absorbed", "transmitted", "radiated", "evaporated", "deepest")  # J, m


class Fields(NamedTuple):
    """Working arrays of a run; the cell arrays carry a rim of one unused cell all round.

    Attributes
    ----------
    source : ndarray, shape (nz + 2, nr + 2)
        Heat put in during the step [W/m3].
    side, down : ndarray, shape (nz + 2, nr + 2)
        Heat-flow potentials sideways and along the beam [W/m].
    opened : ndarray, shape (nr,)
        Share of each column that the recoil holds open [-].
    depth : ndarray, shape (nr,)
        Depth of the depression in each column [m].
    hottest : ndarray, shape (nr + 2,)
        Highest enthalpy in each column [J/m3].
    losses : ndarray, shape (2,)
        Radiated and evaporated in this step [W].
    """

    source: Array
    side: Array
    down: Array
    opened: Array
    depth: Array
    hottest: Array
    losses: Array


@kernel
def net_inflow(fields: Fields, i: int, j: int, grid: SpotGrid) -> float:
    """Return the heat that conduction and the source bring to a cell [W/m3]."""
    side, down = fields.side, fields.down
    return float(
        grid.inner[j] * (side[i, j - 1] - side[i, j])
        + grid.outer[j] * (side[i, j + 1] - side[i, j])
        + grid.above[i] * (down[i - 1, j] - down[i, j])
        + grid.below[i] * (down[i + 1, j] - down[i, j])
        + fields.source[i, j]
    )


@kernel
def column_depth(enthalpy: Array, j: int, level: float, grid: SpotGrid, metal: Metal) -> float:
    """Return how deep [m] a column is at or above an enthalpy [J/m3], within a cell."""
    layers = grid.z.size
    i = 0
    while i < layers and enthalpy[i + 1, j] >= level:
        i += 1
    if i == layers:
        return float(grid.z[layers - 1] + 0.5 * grid.dz[layers - 1])
    below = enthalpy[i + 1, j]
    if i == 0:
        return floor_place(metal.liquidus_enthalpy, below, level, 0.0, grid.z[0])
    return floor_place(enthalpy[i, j], below, level, grid.z[i - 1], grid.z[i])


@kernel
def measure_depression(
    enthalpy: Array, fields: Fields, grid: SpotGrid, metal: Metal, melt: Melt
) -> float:
    """Fill the depth of every column; return the depression's absorptance [-]."""
    level = depression_level(metal, melt)
    depth, opened = fields.depth, fields.opened
    mouth, wall = 0.0, 0.0
    for j in range(grid.r.size):
        depth[j] = 0.0
        if opened[j] > 0.0:
            depth[j] = opened[j] * column_depth(enthalpy, j + 1, level, grid, metal)
            mouth += opened[j] * grid.area[j]
        if j > 0:
            run = grid.r[j] - grid.r[j - 1]
            drop = depth[j] - depth[j - 1]
            # cone between two rings, less the flat ring that it replaces
            wall += np.pi * (grid.r[j] + grid.r[j - 1]) * (np.sqrt(run * run + drop * drop) - run)
    return cavity_absorptance(mouth, wall, melt)


@kernel
def fill_column(
    enthalpy: Array, fields: Fields, j: int, energy: float, dt: float, grid: SpotGrid, melt: Melt
) -> float:
    """Bring an open column to pass enthalpy from the top down; return what is left [J/m2].

    A cell is given what it will lack at the end of the step, so that a wall that conducts heat
    away stays hot and the result does not hang on the step.
    """
    for i in range(1, grid.z.size + 1):
        losing = min(dt * net_inflow(fields, i, j, grid), 0.0)
        lack = max(melt.pass_enthalpy - enthalpy[i, j] - losing, 0.0)
        share = min(lack * grid.dz[i - 1], energy)
        fields.source[i, j] += share / (grid.dz[i - 1] * dt)
        energy -= share
        if energy <= 0.0:
            break
    return energy


@kernel
def face_losses(
    temperature: float,
    pressure: float,
    ambient: float,
    area: float,
    metal: Metal,
    melt: Melt,
    losses: Array,
) -> float:
    """Return the heat flux [W/m2] that a face loses; add its parts [W] to `losses`."""
    radiated = melt.losses * radiation_flux(temperature, ambient, metal)
    evaporated = 0.0
    if pressure > 0.0:
        evaporated = melt.losses * evaporation_flux(temperature, pressure, metal)
    losses[0] += radiated * area
    losses[1] += evaporated * area
    return radiated + evaporated


@kernel
def shine(
    enthalpy: Array,
    fields: Fields,
    beam_of: Array,
    power: float,
    ambient: float,
    dt: float,
    warmed: float,
    stirred: float,
    grid: SpotGrid,
    metal: Metal,
    melt: Melt,
    totals: Array,
    columns: int,
) -> float:
    """Set the sources of one step of length dt [s]; return the centre's face temperature [K].

    `beam_of` is the irradiance of each ring per watt [1/m2], `warmed` how deep the heat has come
    since the start [m], `stirred` the third figure of `stirring` [-]; energies are added to
    `totals`.
    """
    cavity = measure_depression(enthalpy, fields, grid, metal, melt)
    layers, losses = grid.z.size, fields.losses
    losses[0], losses[1] = 0.0, 0.0
    top_cell, far_cell = grid.dz[0], grid.dz[layers - 1]
    opened, centre = fields.opened, 0.0
    half_cell = min(0.5 * top_cell, warmed)
    fields.source[:, :] = 0.0
    for j in range(columns - 1):
        beam = power * beam_of[j]
        flat = melt.absorptance * (1.0 - opened[j]) * beam
        if beam > 0.0 or enthalpy[1, j + 1] >= metal.solidus_enthalpy:
            top, vapour = surface_state(
                enthalpy[1, j + 1], flat, half_cell, stirred, metal, melt.losses
            )
        else:
            # in the dark, solid: as warm as its cell, and no vapour
            top, vapour = lookup(metal.temperature, enthalpy[1, j + 1], metal), 0.0
        lost = face_losses(top, vapour, ambient, grid.area[j], metal, melt, losses)
        fields.source[1, j + 1] += (flat - lost) / top_cell
        far = lookup(metal.temperature, enthalpy[layers, j + 1], metal)
        far_vapour = saturation_pressure(far, metal)
        lost = face_losses(far, far_vapour, ambient, grid.area[j], metal, melt, losses)
        fields.source[layers, j + 1] -= lost / far_cell
        deep, through = cavity * opened[j] * beam, 0.0
        if deep > 0.0:
            rest = fill_column(enthalpy, fields, j + 1, deep * dt, dt, grid, melt)
            through = rest / (deep * dt)
        totals[0] += beam * grid.area[j] * dt
        totals[1] += (flat + deep * (1.0 - through)) * grid.area[j] * dt
        totals[2] += through * opened[j] * beam * grid.area[j] * dt
        if beam > 0.0:
            opened[j] = opened_share(vapour, opened[j], enthalpy[1, j + 1], dt, metal, melt)
        if j == 0:
            centre = top
    totals[3] += losses[0] * dt
    totals[4] += losses[1] * dt
    return centre
