"""Cells of the 3-D engine: boxes in x, y and z, fine under the spot, wider with distance.

The beam runs along z. A tilted beam turns the section instead; its faces are then stepped. An
upright section has its faces on cell faces, so its thickness is exact.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.heatflow.section_faces import Size, graded, line_faces
from weldcalc.section_shape import FAR, Section

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

GROWTH_ACROSS = 0.14  # rise of the cell size with distance from the spot, in x and y
GROWTH_DOWN = 0.06  # the same in z, down to the far face
GROWTH_BEYOND = 0.25  # the same in z, in a tube wall below the plate
TILTED_CELL = 0.25  # largest cell of a tilted section, over the thickness of its thinner member
MEMBERS = 2


class FreeFaces(NamedTuple):
    """Cells with free faces besides the one that the beam meets.

    Attributes
    ----------
    z, y : ndarray of int, shape (m,)
        Where they are, counted with the rim.
    rate : ndarray, shape (m,)
        Area of those faces over the volume of the cell [1/m].
    """

    z: Whole
    y: Whole
    rate: Array


class JointPairs(NamedTuple):
    """Pairs of cells that meet on a joint which conducts by its own rule.

    Attributes
    ----------
    z, y : ndarray of int, shape (k, 2)
        Where both cells are, counted with the rim.
    rate, half : ndarray, shape (k, 2)
        Area over volume [1/m], and distance from centre to joint [m], of both.
    down : ndarray of int, shape (k,)
        1 where the pair lies one above the other.
    """

    z: Whole
    y: Whole
    rate: Array
    half: Array
    down: Whole


class SectionGrid(NamedTuple):
    """Cells with a rim of unused cells all round (SI); arrays over (z, y) and over x.

    Attributes
    ----------
    x, dx, y, dy, z, dz : ndarray
        Centres and sizes of the cells, without the rim [m].
    member : ndarray of int, shape (nz + 2, ny + 2)
        Member that a cell belongs to, -1 in air and on the rim.
    span : ndarray of int, shape (2, 2, nz + 2)
        First cell, and the one after the last, that each member has in a layer.
    along : ndarray, shape (2, nx + 2)
        Coupling to the cell before and after in x: 1 / (size distance) [1/m2].
    across, down : ndarray, shape (2, nz + 2, ny + 2)
        The same in y and z; 0 at free faces, at the end of the domain and on the joint.
    top, bottom : ndarray of int, shape (ny + 2,)
        First and last layer of metal in a column; 0 and -1 where there is none.
    exposed : ndarray of bool, shape (ny + 2,)
        Whether the first layer's upper face is free, not the end of the domain.
    free_far : ndarray of bool, shape (ny,)
        Whether metal in the last layer of the domain has a free face below.
    free : FreeFaces
        Faces that lose heat without seeing the beam.
    pairs : JointPairs
        The joint, where it conducts by its own rule.
    mirrored : bool
        Whether x = 0 is a plane of symmetry and only x > 0 is computed.
    """

    x: Array
    dx: Array
    y: Array
    dy: Array
    z: Array
    dz: Array
    member: Whole
    span: Whole
    along: Array
    across: Array
    down: Array
    top: Whole
    bottom: Whole
    exposed: NDArray[np.bool_]
    free_far: NDArray[np.bool_]
    free: FreeFaces
    pairs: JointPairs
    mirrored: bool


@frozen
class Layout:
    """What the cells have to cover.

    Parameters
    ----------
    spot_radius : float
        [m]
    cells : tuple of three float
        Edges of the cells under the spot, in x, y and z [m].
    reach : float
        Distance from the beam that the heat does not notice [m].
    offset, angle : float
        Beam axis from the joint line on the face [m]; tilt, from the positive side [rad].
    start, end : float
        Where the beam axis is in x first and last [m].
    broken : bool
        Whether the joint conducts by its own rule: a gap, or two metals.
    """

    spot_radius: float
    cells: tuple[float, float, float]
    reach: float
    offset: float
    angle: float
    start: float
    end: float
    broken: bool


def section_grid(section: Section, layout: Layout) -> SectionGrid:
    """Lay out cells for one spot on a section.

    Parameters
    ----------
    section : Section
        Members in cross-section.
    layout : Layout
        What to cover.

    Returns
    -------
    SectionGrid
    """
    outlines = [_turned(member.outline, layout.angle) for member in section.members]
    x_faces = _along_faces(layout)
    y_faces = _across_faces(section, layout, outlines)
    z_faces = _down_faces(section, layout, outlines)
    wide = _members_of(outlines, _with_ends(y_faces), _with_ends(z_faces))
    inside = np.full_like(wide, -1)
    inside[1:-1, 1:-1] = wide[1:-1, 1:-1]
    dy, dz = np.diff(y_faces), np.diff(z_faces)
    across, down = _couplings(inside, dy, dz, broken=layout.broken)
    top, bottom = _columns(inside)
    return SectionGrid(
        x=_centres(x_faces),
        dx=np.diff(x_faces),
        y=_centres(y_faces),
        dy=dy,
        z=_centres(z_faces),
        dz=dz,
        member=inside,
        span=_spans(inside),
        along=_line_couplings(np.diff(x_faces)),
        across=across,
        down=down,
        top=top,
        bottom=bottom,
        exposed=wide[np.maximum(top - 1, 0), np.arange(top.size)] < 0,
        free_far=wide[-1, 1:-1] < 0,
        free=_free_faces(wide, top, dy, dz),
        pairs=_joint_pairs(inside, dy, dz, broken=layout.broken),
        mirrored=layout.start == layout.end == 0.0,
    )


def turned_point(point: tuple[float, float], angle: float) -> tuple[float, float]:
    """Return (y, z) [m] of a point with z along a beam that comes tilted from the positive side."""
    y, z = point
    return y * math.cos(angle) + z * math.sin(angle), z * math.cos(angle) - y * math.sin(angle)


def _turned(outline: tuple[tuple[float, float], ...], angle: float) -> Array:
    return np.array([turned_point(point, angle) for point in outline])


def _along_faces(layout: Layout) -> Array:
    cell = layout.cells[0]
    margin = layout.spot_radius + 2.0 * cell
    first = 0.0 if layout.start == layout.end == 0.0 else -math.inf
    fine = (layout.start - margin, layout.end + margin)
    size = graded(fine, cell, GROWTH_ACROSS)
    reach = (layout.start - layout.reach, layout.end + layout.reach)
    return line_faces(reach, (first, math.inf), np.array([0.0]), size)


def _across_faces(section: Section, layout: Layout, outlines: list[Array]) -> Array:
    axis = layout.offset * math.cos(layout.angle)
    cell = layout.cells[1]
    margin = layout.spot_radius + 2.0 * cell
    fine = (axis - margin, axis + margin)
    places = np.concatenate([outline[:, 0] for outline in outlines])
    size = graded(fine, cell, GROWTH_ACROSS)
    reach, ends = (axis - layout.reach, axis + layout.reach), (places.min(), places.max())
    return line_faces(reach, ends, *_fitted(section, layout, places, size))


def _down_faces(section: Section, layout: Layout, outlines: list[Array]) -> Array:
    places = np.concatenate([outline[:, 1] for outline in outlines])
    high = min(layout.reach, places.max())
    ends = places[np.abs(places) < 0.5 * FAR]
    solid = float(ends.max()) if ends.size else high
    first = float(ends.min()) if ends.size else 0.0
    fine_from = min(first, 0.0) if layout.angle == 0.0 else -layout.spot_radius
    down = graded((fine_from, layout.spot_radius), layout.cells[2], GROWTH_DOWN)

    def size(place: Array) -> Array:
        return np.asarray(
            down(place) + (GROWTH_BEYOND - GROWTH_DOWN) * np.maximum(place - solid, 0.0)
        )

    reach = (-layout.reach, layout.reach)
    return line_faces(reach, (places.min(), places.max()), *_fitted(section, layout, places, size))


def _fitted(section: Section, layout: Layout, places: Array, size: Size) -> tuple[Array, Size]:
    """Return places that have to be cell faces, and the cell size there."""
    if layout.angle == 0.0:
        return np.append(places, 0.0), size
    most = max(TILTED_CELL * section.thinnest, min(layout.cells))
    # the corner of the joint stays on a face
    return np.zeros(1), lambda place: np.minimum(size(place), most)


def _centres(faces: Array) -> Array:
    return np.asarray(0.5 * (faces[1:] + faces[:-1]))


def _with_ends(faces: Array) -> Array:
    # a place just outside either end tells a free face from the end of the domain
    hair = 1e-9
    return np.concatenate(([faces[0] - hair], _centres(faces), [faces[-1] + hair]))


def _members_of(outlines: list[Array], y: Array, z: Array) -> Whole:
    member = np.full((z.size, y.size), -1, dtype=np.int64)
    for number in reversed(range(len(outlines))):
        member[_within(outlines[number], y[None, :], z[:, None])] = number
    return member


def _within(outline: Array, y: Array, z: Array) -> NDArray[np.bool_]:
    inside = np.ones(np.broadcast_shapes(y.shape, z.shape), dtype=bool)
    for (y0, z0), (y1, z1) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        inside &= (y1 - y0) * (z - z0) - (z1 - z0) * (y - y0) >= 0.0
    return inside


def _spans(member: Whole) -> Whole:
    span = np.zeros((2, MEMBERS, member.shape[0]), dtype=np.int64)
    for number in range(MEMBERS):
        for layer, row in enumerate(member):
            own = np.flatnonzero(row == number)
            if own.size:
                span[:, number, layer] = own[0], own[-1] + 1
    return span


def _line_couplings(size: Array) -> Array:
    distance = 0.5 * (size[1:] + size[:-1])
    couplings = np.zeros((2, size.size + 2))
    couplings[0, 2:-1] = 1.0 / (size[1:] * distance)
    couplings[1, 1:-2] = 1.0 / (size[:-1] * distance)
    return couplings


def _met(here: Whole, there: Whole, broken: bool) -> NDArray[np.bool_]:
    both = (here >= 0) & (there >= 0)
    return both & (here == there) if broken else both


def _couplings(member: Whole, dy: Array, dz: Array, *, broken: bool) -> tuple[Array, Array]:
    across, down = (np.zeros((2, *member.shape)) for _ in range(2))
    before, after = _line_couplings(dy)
    met = _met(member[:, :-1], member[:, 1:], broken)
    across[0, :, 1:] = np.where(met, before[1:], 0.0)
    across[1, :, :-1] = np.where(met, after[:-1], 0.0)
    before, after = _line_couplings(dz)
    met = _met(member[:-1], member[1:], broken)
    down[0, 1:] = np.where(met, before[1:, None], 0.0)
    down[1, :-1] = np.where(met, after[:-1, None], 0.0)
    return across, down


def _columns(member: Whole) -> tuple[Whole, Whole]:
    metal = member >= 0
    some = metal.any(axis=0)
    top = np.where(some, metal.argmax(axis=0), 0)
    bottom = np.where(some, metal.shape[0] - 1 - metal[::-1].argmax(axis=0), -1)
    return top.astype(np.int64), bottom.astype(np.int64)


def _free_faces(wide: Whole, top: Whole, dy: Array, dz: Array) -> FreeFaces:
    """Return the free faces of cells, without the first one that the beam meets in a column."""
    metal = wide >= 0
    here = metal[1:-1, 1:-1]
    sides = (~metal[1:-1, :-2]).astype(float) + ~metal[1:-1, 2:]
    upper, lower = ~metal[:-2, 1:-1], ~metal[2:, 1:-1]
    layers = np.arange(1, here.shape[0] + 1)[:, None]
    met = layers == top[None, 1:-1]
    across = sides * dz[:, None]
    along = (upper.astype(float) + lower) * dy[None, :]
    beam = np.where(met & upper, dy[None, :], 0.0)
    # a step of a tilted face stands for its slope: legs a and b have the slope sqrt(a2 + b2)
    area = np.maximum(np.hypot(across, along) - beam, 0.0)
    area = np.where(here, area, 0.0)
    place_z, place_y = np.nonzero(area > 0.0)
    rate = area[place_z, place_y] / (dy[place_y] * dz[place_z])
    return FreeFaces(z=place_z + 1, y=place_y + 1, rate=rate)


def _joint_pairs(member: Whole, dy: Array, dz: Array, *, broken: bool) -> JointPairs:
    parts = [np.zeros((0, 5), dtype=np.int64)]
    for down in (0, 1) if broken else ():
        here = member[:-1] if down else member[:, :-1]
        there = member[1:] if down else member[:, 1:]
        z, y = np.nonzero((here >= 0) & (there >= 0) & (here != there))
        parts.append(np.column_stack((z, y, z + down, y + 1 - down, np.full(z.size, down))))
    table = np.concatenate(parts)
    z, y, down_flag = table[:, [0, 2]], table[:, [1, 3]], table[:, 4]
    size = np.where(down_flag[:, None] == 1, dz[z - 1], dy[y - 1])
    return JointPairs(
        z=np.ascontiguousarray(z),
        y=np.ascontiguousarray(y),
        rate=np.ascontiguousarray(1.0 / size),
        half=np.ascontiguousarray(0.5 * size),
        down=np.ascontiguousarray(down_flag),
    )
