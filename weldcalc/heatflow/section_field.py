"""Sizes in a cross-section: where a field of peak enthalpy passes a level, within cells."""

from __future__ import annotations

from itertools import groupby

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.heatflow.section_grid import SectionGrid

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Span = tuple[float, float]


@frozen(eq=False)
class SectionField:
    """How far each place of the section at x = 0 is above a level; below zero: not reached.

    Parameters
    ----------
    y, z : ndarray, shape (ny,), (nz,)
        Centres of the cells [m]; y with the members apart by the open gap.
    y_faces, z_faces : ndarray, shape (ny, 2), (nz, 2)
        Both faces of each cell [m].
    member : ndarray of int, shape (nz, ny)
        Member of each cell, -1 in air.
    excess : ndarray, shape (nz, ny)
        Enthalpy over the level less one, both from the preheat [-].
    """

    y: Array
    z: Array
    y_faces: Array
    z_faces: Array
    member: Whole
    excess: Array

    def rows(self, member: int | None = None) -> list[list[Span]]:
        """Return where each layer is above the level [m]: spans in y, of one member or of all."""
        return [
            _spans(self.y, self.y_faces, self.excess[k], self._own(self.member[k], member))
            for k in range(self.z.size)
        ]

    def area(self, member: int) -> float:
        """Return the area [m2] of a member above the level."""
        heights = self.z_faces[:, 1] - self.z_faces[:, 0]
        lengths = [sum(b - a for a, b in spans) for spans in self.rows(member)]
        return float(heights @ np.array(lengths))

    def depth(self, member: int) -> float:
        """Return the greatest depth [m] that the level reaches in a member, below its own face."""
        deepest = 0.0
        for j in range(self.y.size):
            own = self._own(self.member[:, j], member)
            spans = _spans(self.z, self.z_faces, self.excess[:, j], own)
            if spans:
                face = self.z_faces[int(np.argmax(own)), 0]
                deepest = max(deepest, spans[-1][1] - face)
        return deepest

    def face_extent(self, excess: Array, shown: NDArray[np.bool_]) -> Span | None:
        """Return the outermost places [m] across the joint where a face's values are above."""
        spans = _spans(self.y, self.y_faces, excess, shown)
        return (spans[0][0], spans[-1][1]) if spans else None

    def extent_at(self, z: float) -> Span | None:
        """Return the outermost places [m] above the level at a depth [m]."""
        k = min(max(int(np.searchsorted(self.z, z)), 1), self.z.size - 1)
        share = min(max((z - self.z[k - 1]) / (self.z[k] - self.z[k - 1]), 0.0), 1.0)
        row = (1.0 - share) * self.excess[k - 1] + share * self.excess[k]
        metal = (self.member[k - 1] >= 0) & (self.member[k] >= 0)
        return self.face_extent(row, metal)

    def outline(self) -> Array:
        """Return the outline as points (y, z) [m], shape (k, 2): down one side, up the other."""
        left: list[tuple[float, float]] = []
        right: list[tuple[float, float]] = []
        for z, spans in zip(self.z, self.rows(), strict=True):
            if spans:
                left.append((spans[0][0], float(z)))
                right.append((spans[-1][1], float(z)))
        return np.array([*self._ends(left, right)], dtype=float).reshape(-1, 2)

    def _ends(
        self, left: list[tuple[float, float]], right: list[tuple[float, float]]
    ) -> list[tuple[float, float]]:
        """Carry both sides to the faces of the metal, and to the deepest place between them."""
        if not left:
            return []
        first, last = (int(np.searchsorted(self.z, side[1])) for side in (left[0], left[-1]))
        top, bottom = float(self.z_faces[first, 0]), float(self.z_faces[last, 1])
        # a column inside the outline that stays above down to the cell's end goes on to its face
        left = [(left[0][0], top), *left, (left[-1][0], bottom)]
        right = [(right[0][0], top), *right, (right[-1][0], bottom)]
        if last + 1 < self.z.size and (self.member[last + 1] >= 0).any():
            middle = 0.5 * (left[-2][0] + right[-2][0])
            column = int(np.argmin(np.abs(self.y - middle)))
            below, above = self.excess[last + 1, column], self.excess[last, column]
            if above > 0.0 > below:
                share = above / (above - below)
                tip = float(self.z[last] + share * (self.z[last + 1] - self.z[last]))
                return [*left[:-1], (middle, tip), *reversed(right[:-1])]
        return [*left, *reversed(right)]

    def farthest(self, place: float) -> float:
        """Return the greatest distance [m] across the joint from a place above the level."""
        ends = [end for spans in self.rows() for span in spans for end in span]
        return max((abs(end - place) for end in ends), default=0.0)

    @staticmethod
    def _own(row: Whole, member: int | None) -> NDArray[np.bool_]:
        return row >= 0 if member is None else row == member


def section_field(
    grid: SectionGrid, faces: tuple[Array, Array], enthalpy: Array, level: Array, start: Array
) -> SectionField:
    """Measure a section's enthalpy against a level of each member.

    Parameters
    ----------
    grid : SectionGrid
        The cells.
    faces : tuple of two ndarray, shape (ny,)
        Both true faces of each cell in y [m].
    enthalpy : ndarray, shape (nz, ny)
        [J/m3]
    level, start : ndarray, shape (2,)
        Level and cold metal of both members [J/m3].

    Returns
    -------
    SectionField
    """
    member = grid.member[1:-1, 1:-1]
    own = np.maximum(member, 0)
    excess = (enthalpy - start[own]) / (level - start)[own] - 1.0
    half = 0.5 * grid.dz
    return SectionField(
        y=0.5 * (faces[0] + faces[1]),
        z=grid.z,
        y_faces=np.column_stack(faces),
        z_faces=np.column_stack((grid.z - half, grid.z + half)),
        member=member,
        excess=np.where(member >= 0, excess, -1.0),
    )


def at_plane(peak: Array, grid: SectionGrid) -> Array:
    """Return a field [J/m3] of cells at x = 0, shape (nz, ny).

    No heat crosses a plane of symmetry, so the value on it is (9 a - b) / 8 of the two cells
    beside it; without symmetry it is the cubic through two cells on either side.
    """
    cells = peak[1:-1, 1:-1, 1:-1]
    if grid.mirrored:
        return np.asarray(1.125 * cells[:, 0] - 0.125 * cells[:, 1])
    i = int(np.searchsorted(grid.x, 0.0))
    near, far = cells[:, i - 1] + cells[:, i], cells[:, i - 2] + cells[:, i + 1]
    return np.asarray((9.0 * near - far) / 16.0)


def end_values(field: SectionField, layer: Whole, inward: int) -> Array:
    """Return values on the faces of columns, shape (ny,), from the cell there and the one inward.

    Parameters
    ----------
    field : SectionField
        The section.
    layer : ndarray of int, shape (ny,)
        Layer at the face, in numbers of the field.
    inward : {1, -1}
        Where the next cell inside lies.

    Returns
    -------
    ndarray, shape (ny,)
        No heat crosses a free face but what it loses, so the field is taken as even there.
    """
    columns = np.arange(field.y.size)
    near = field.excess[layer, columns]
    beyond = np.clip(layer + inward, 0, field.z.size - 1)
    same = field.member[beyond, columns] == field.member[layer, columns]
    next_one = np.where(same, field.excess[beyond, columns], near)
    return np.asarray(1.125 * near - 0.125 * next_one)


def first_span(place: Array, faces: Array, value: Array) -> Span | None:
    """Return the first interval above zero along a line of cells [m]."""
    spans = _spans(place, faces, value, np.ones(place.size, dtype=bool))
    return spans[0] if spans else None


def line_spans(faces: Array, value: Array) -> list[Span]:
    """Return intervals above zero along a line of pieces with both ends given."""
    return _spans(faces.mean(axis=1), faces, value, np.ones(value.size, dtype=bool))


def _spans(place: Array, faces: Array, value: Array, shown: NDArray[np.bool_]) -> list[Span]:
    """Return intervals above zero along a line of cells, joined where they touch."""
    found: list[Span] = []
    for is_shown, group in groupby(range(place.size), key=lambda n: bool(shown[n])):
        cells = list(group)
        if not is_shown or value[cells].max() < 0.0:
            continue
        found += _crossings(
            np.concatenate(([faces[cells[0], 0]], place[cells], [faces[cells[-1], 1]])),
            np.concatenate(([value[cells[0]]], value[cells], [value[cells[-1]]])),
        )
    return found


def _crossings(place: Array, value: Array) -> list[Span]:
    found: list[Span] = []
    start: float | None = float(place[0]) if value[0] >= 0.0 else None
    for n in range(place.size - 1):
        a, b = float(value[n]), float(value[n + 1])
        if (a >= 0.0) == (b >= 0.0):
            continue
        cross = float(place[n] + a / (a - b) * (place[n + 1] - place[n]))
        if start is None:
            start = cross
        else:
            found.append((start, cross))
            start = None
    if start is not None:
        found.append((start, float(place[-1])))
    return found
