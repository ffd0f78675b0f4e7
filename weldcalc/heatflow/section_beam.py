"""Beam, losses and vapour depression of the 3-D engine, once per super step, compiled."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from weldcalc.heatflow.compiling import kernel
from weldcalc.heatflow.enthalpy import (
    Melt,
    Metal,
    cavity_absorptance,
    depression_level,
    floor_place,
    lookup,
    opened_share,
    saturation_pressure,
    surface_state,
)
from weldcalc.heatflow.section_grid import SectionGrid
from weldcalc.heatflow.spot_beam import face_losses

Array = NDArray[np.float64]


class SectionFields(NamedTuple):
    """Working arrays of a run; all carry a rim of one unused cell.

    Attributes
    ----------
    source, side, down : ndarray, shape (nz + 2, nx + 2, ny + 2)
        Heat put in during the step [W/m3]; potentials sideways and along the beam [W/m].
    opened, depth, beam : ndarray, shape (nx + 2, ny + 2)
        Of each column: share held open [-], depth of the depression [m], irradiance per watt of
        beam [1/m2].
    gate : ndarray, shape (k, nx + 2)
        1 where a pair of cells on the joint conducts, else 0.
    absorbed : ndarray, shape (2,)
        Energy absorbed by each member [J].
    losses : ndarray, shape (2,)
        Radiated and evaporated in this step [W].
    extra : ndarray, shape (2, 3)
        Extra conductivity of liquid by member, sideways and along the beam [-].
    hottest : ndarray, shape (2,)
        Highest enthalpy of each member [J/m3].
    highest : ndarray, shape (ny + 2,)
        Work space.
    interval : ndarray of int32, shape ((nx + 2) * (ny + 2),)
        Table interval of the cells of a layer: work space.
    still : ndarray, shape (2,)
        Enthalpy of each member below which faces in the dark lose nothing worth counting [J/m3].
    """

    source: Array
    side: Array
    down: Array
    opened: Array
    depth: Array
    beam: Array
    gate: Array
    absorbed: Array
    losses: Array
    extra: Array
    hottest: Array
    highest: Array
    interval: NDArray[np.int32]
    still: Array


class Spot(NamedTuple):
    """The beam on the cells.

    Attributes
    ----------
    x, y : float
        Axis at the start of the pulse, and across the joint [m].
    speed : float
        Along x [m/s].
    radius : float
        1/e2 radius for a gaussian [m].
    gaussian : bool
        Otherwise a top-hat.
    x_faces, west, east : ndarray
        Faces of the cells in x; true places of both faces of each cell in y, gap counted [m].
    """

    x: float
    y: float
    speed: float
    radius: float
    gaussian: bool
    x_faces: Array
    west: Array
    east: Array


@kernel
def disc_corner(x: float, y: float) -> float:
    """Return the area of the unit disc between the axes and a corner, odd in both [-]."""
    sign = 1.0
    if x < 0.0:
        x, sign = -x, -sign
    if y < 0.0:
        y, sign = -y, -sign
    x, y = min(x, 1.0), min(y, 1.0)
    turn = math.sqrt(1.0 - y * y)
    if x <= turn:
        return sign * x * y
    curved = x * math.sqrt(1.0 - x * x) + math.asin(x) - turn * y - math.asin(turn)
    return sign * (turn * y + 0.5 * curved)


@kernel
def share_within(x0: float, x1: float, y0: float, y1: float, gaussian: bool) -> float:
    """Return the share of a beam of radius 1 that falls on a rectangle, exact [-]."""
    if gaussian:
        root = math.sqrt(2.0)
        along = math.erf(root * x1) - math.erf(root * x0)
        return 0.25 * along * (math.erf(root * y1) - math.erf(root * y0))
    area = disc_corner(x1, y1) - disc_corner(x0, y1) - disc_corner(x1, y0) + disc_corner(x0, y0)
    return area / math.pi


@kernel
def light_columns(beam: Array, spot: Spot, time: float, grid: SectionGrid) -> None:
    """Fill the irradiance of each column per watt of beam [1/m2] at a time [s]."""
    axis = spot.x + spot.speed * time
    for i in range(grid.x.size):
        x0, x1 = (spot.x_faces[i] - axis) / spot.radius, (spot.x_faces[i + 1] - axis) / spot.radius
        for j in range(grid.y.size):
            if grid.top[j + 1] == 0:
                continue
            y0, y1 = (spot.west[j] - spot.y) / spot.radius, (spot.east[j] - spot.y) / spot.radius
            share = share_within(x0, x1, y0, y1, spot.gaussian)
            beam[i + 1, j + 1] = max(share, 0.0) / (grid.dx[i] * grid.dy[j])


@kernel
def column_depth(
    enthalpy: Array, i: int, j: int, level: float, liquid: float, grid: SectionGrid
) -> float:
    """Return how deep [m] a column is at or above an enthalpy [J/m3], from its own face down."""
    first, last = grid.top[j], grid.bottom[j]
    face = grid.z[first - 1] - 0.5 * grid.dz[first - 1]
    k = first
    while k <= last and grid.member[k, j] >= 0 and enthalpy[k, i, j] >= level:
        k += 1
    if k > last or grid.member[k, j] < 0:
        return float(grid.z[k - 2] + 0.5 * grid.dz[k - 2] - face)
    below = enthalpy[k, i, j]
    if k == first:
        return floor_place(liquid, below, level, 0.0, grid.z[k - 1] - face)
    return floor_place(
        enthalpy[k - 1, i, j], below, level, grid.z[k - 2] - face, grid.z[k - 1] - face
    )


@kernel
def deepest_melt(
    enthalpy: Array, beam: Array, grid: SectionGrid, metals: tuple[Metal, Metal]
) -> float:
    """Return the greatest depth of melt [m] below a lit face."""
    most = 0.0
    for j in range(1, grid.y.size + 1):
        k = grid.top[j]
        if k == 0:
            continue
        level = metals[grid.member[k, j]].liquidus_enthalpy
        for i in range(1, grid.x.size + 1):
            if beam[i, j] > 0.0 and enthalpy[k, i, j] >= level:
                most = max(most, column_depth(enthalpy, i, j, level, level, grid))
    return most


@kernel
def fill_depths(
    enthalpy: Array,
    fields: SectionFields,
    grid: SectionGrid,
    metals: tuple[Metal, Metal],
    melts: tuple[Melt, Melt],
) -> float:
    """Fill the depth of the depression in every column [m]; return the area of its mouth [m2]."""
    depth, opened, mouth = fields.depth, fields.opened, 0.0
    for i in range(1, grid.x.size + 1):
        for j in range(1, grid.y.size + 1):
            depth[i, j] = 0.0
            if opened[i, j] > 0.0:
                own = grid.member[grid.top[j], j]
                level = depression_level(metals[own], melts[own])
                liquid = metals[own].liquidus_enthalpy
                depth[i, j] = opened[i, j] * column_depth(enthalpy, i, j, level, liquid, grid)
                mouth += opened[i, j] * grid.dx[i - 1] * grid.dy[j - 1]
    if grid.mirrored:
        for j in range(1, grid.y.size + 1):
            depth[0, j] = depth[1, j]
    return mouth


@kernel
def facet(steep_x: float, steep_y: float) -> float:
    """Return the surface of a slope over its base area, less one [-]."""
    return math.sqrt(1.0 + steep_x * steep_x + steep_y * steep_y) - 1.0


@kernel
def wall_area(depth: Array, grid: SectionGrid) -> float:
    """Return the area [m2] by which the depression's surface exceeds its mouth.

    Four columns span two facets. Of the two ways to lay them the one with less area is taken:
    then a steep wall made of square columns keeps its perimeter along both axes and both diagonals.
    """
    wall = 0.0
    for i in range(grid.x.size):
        run = grid.dx[i] if i == 0 else 0.5 * (grid.dx[i] + grid.dx[i - 1])
        half = 0.5 if i == 0 else 1.0  # of the strip round x = 0 only one side is computed
        for j in range(1, grid.y.size):
            a, b, c, d = depth[i, j], depth[i, j + 1], depth[i + 1, j], depth[i + 1, j + 1]
            if a > 0.0 or b > 0.0 or c > 0.0 or d > 0.0:
                across = 0.5 * (grid.dy[j] + grid.dy[j - 1])
                near_x, far_x = (c - a) / run, (d - b) / run
                near_y, far_y = (b - a) / across, (d - c) / across
                one_way = facet(near_x, near_y) + facet(far_x, far_y)
                other_way = facet(far_x, near_y) + facet(near_x, far_y)
                wall += 0.5 * min(one_way, other_way) * half * run * across
    return wall


@kernel
def net_inflow(fields: SectionFields, k: int, i: int, j: int, grid: SectionGrid) -> float:
    """Return the heat that conduction and the source bring to a cell [W/m3]."""
    side, down = fields.side, fields.down
    middle, level = side[k, i, j], down[k, i, j]
    return float(
        grid.across[0, k, j] * (side[k, i, j - 1] - middle)
        + grid.across[1, k, j] * (side[k, i, j + 1] - middle)
        + grid.along[0, i] * (side[k, i - 1, j] - middle)
        + grid.along[1, i] * (side[k, i + 1, j] - middle)
        + grid.down[0, k, j] * (down[k - 1, i, j] - level)
        + grid.down[1, k, j] * (down[k + 1, i, j] - level)
        + fields.source[k, i, j]
    )


@kernel
def fill_column(
    enthalpy: Array,
    fields: SectionFields,
    i: int,
    j: int,
    energy: float,
    dt: float,
    grid: SectionGrid,
    melts: tuple[Melt, Melt],
) -> float:
    """Bring an open column to pass enthalpy from the top down; return what is left [J/m2].

    The rest goes through air below one member to the next; what is left at the end leaves.
    """
    area = grid.dx[i - 1] * grid.dy[j - 1]
    for k in range(grid.top[j], grid.bottom[j] + 1):
        own = grid.member[k, j]
        if own >= 0:
            losing = min(dt * net_inflow(fields, k, i, j, grid), 0.0)
            lack = max(melts[own].pass_enthalpy - enthalpy[k, i, j] - losing, 0.0)
            share = min(lack * grid.dz[k - 1], energy)
            fields.source[k, i, j] += share / (grid.dz[k - 1] * dt)
            fields.absorbed[own] += share * area
            energy -= share
            if energy <= 0.0:
                break
    return energy


@kernel
def clear(fields: SectionFields) -> None:
    """Forget the sources and losses of the step before."""
    fields.losses[0], fields.losses[1] = 0.0, 0.0
    source = fields.source
    for k in range(source.shape[0]):
        for i in range(source.shape[1]):
            for j in range(source.shape[2]):
                source[k, i, j] = 0.0


@kernel
def lose_heat(
    enthalpy: Array,
    fields: SectionFields,
    ambient: float,
    grid: SectionGrid,
    metals: tuple[Metal, Metal],
    melts: tuple[Melt, Melt],
    losses: Array,
) -> None:
    """Take away what free faces lose, apart from those that the beam meets."""
    for place in range(grid.free.rate.size):
        k, j, rate = grid.free.z[place], grid.free.y[place], grid.free.rate[place]
        own = grid.member[k, j]
        volume = grid.dy[j - 1] * grid.dz[k - 1]
        for i in range(1, grid.x.size + 1):
            if enthalpy[k, i, j] < fields.still[own]:
                continue
            warmth = lookup(metals[own].temperature, enthalpy[k, i, j], metals[own])
            area = rate * volume * grid.dx[i - 1]
            vapour = saturation_pressure(warmth, metals[own])
            lost = face_losses(warmth, vapour, ambient, area, metals[own], melts[own], losses)
            fields.source[k, i, j] -= rate * lost


@kernel
def shine(
    enthalpy: Array,
    fields: SectionFields,
    power: float,
    ambient: float,
    dt: float,
    warmed: float,
    grid: SectionGrid,
    metals: tuple[Metal, Metal],
    melts: tuple[Melt, Melt],
    centre_row: int,
    centre_column: int,
    totals: Array,
) -> float:
    """Set the sources of one step of length dt [s]; return the centre's face temperature [K].

    `power` is that of the beam [W], `warmed` how deep the heat has come since the start [m];
    energies are added to `totals`.
    """
    mouth = fill_depths(enthalpy, fields, grid, metals, melts)
    wall = wall_area(fields.depth, grid) if mouth > 0.0 else 0.0
    losses, opened, centre = fields.losses, fields.opened, ambient
    clear(fields)
    lose_heat(enthalpy, fields, ambient, grid, metals, melts, losses)
    for j in range(1, grid.y.size + 1):
        k = grid.top[j]
        if k == 0:
            continue
        own = grid.member[k, j]
        metal, melt, cell = metals[own], melts[own], grid.dz[k - 1]
        cavity, half_cell = cavity_absorptance(mouth, wall, melt), min(0.5 * cell, warmed)
        for i in range(1, grid.x.size + 1):
            beam = power * fields.beam[i, j]
            if beam == 0.0 and enthalpy[k, i, j] < fields.still[own]:
                continue
            area = grid.dx[i - 1] * grid.dy[j - 1]
            flat = melt.absorptance * (1.0 - opened[i, j]) * beam
            top, vapour = surface_state(
                enthalpy[k, i, j], flat, half_cell, fields.extra[own, 2], metal, melt.losses
            )
            lost = 0.0
            if grid.exposed[j]:
                lost = face_losses(top, vapour, ambient, area, metal, melt, losses)
            fields.source[k, i, j] += (flat - lost) / cell
            deep, through = cavity * opened[i, j] * beam, 0.0
            if deep > 0.0:
                rest = fill_column(enthalpy, fields, i, j, deep * dt, dt, grid, melts)
                through = rest / (deep * dt)
            totals[1] += (flat + deep * (1.0 - through)) * area * dt
            totals[2] += through * opened[i, j] * beam * area * dt
            fields.absorbed[own] += flat * area * dt
            if beam > 0.0:
                opened[i, j] = opened_share(
                    vapour, opened[i, j], enthalpy[k, i, j], dt, metal, melt
                )
            if i == centre_row and j == centre_column:
                centre = top
    totals[3] += losses[0] * dt
    totals[4] += losses[1] * dt
    return centre
