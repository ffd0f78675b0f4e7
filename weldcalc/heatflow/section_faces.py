"""Faces of the cells of the 3-D engine along one line: fine where the beam is, wider beyond."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Size: TypeAlias = Callable[[Array], Array]
Span: TypeAlias = tuple[float, float]

LEAST_CELL = 0.35  # a step of the section smaller than this share of a cell is left out


def graded(fine: Span, cell: float, growth: float) -> Size:
    """Return the wanted cell size by place [m]: even between two places, growing beyond.

    Parameters
    ----------
    fine : tuple of (float, float)
        Where it is even [m].
    cell : float
        Size there [m].
    growth : float
        Of the size with the distance from there [-].

    Returns
    -------
    callable
        Takes places [m], any shape, and returns sizes [m].
    """

    def size(place: Array) -> Array:
        beyond = np.maximum(np.maximum(fine[0] - place, place - fine[1]), 0.0)
        return np.asarray(cell + growth * beyond)

    return size


def line_faces(reach: Span, ends: Span, marks: Array, size: Size) -> Array:
    """Return faces over the reach, with every mark a face that leaves room for a cell.

    Parameters
    ----------
    reach, ends : tuple of (float, float)
        What is to be covered, and where the metal ends [m].
    marks : ndarray, shape (n,)
        Places wanted as faces [m].
    size : callable
        Wanted cell size by place, see `graded`.

    Returns
    -------
    ndarray, shape (m,)
        Rising [m].

    Notes
    -----
    Where the metal goes on to its `ends`, so do the faces, as far as whole cells of the wanted size
    take: a reach that grows with the power must not stretch the cells under the spot.
    """
    low, high = max(reach[0], ends[0]), min(reach[1], ends[1])
    stops = [low]
    for mark in np.unique(marks):
        room = LEAST_CELL * float(size(mark))
        if mark - stops[-1] > room and high - mark > room:
            stops.append(float(mark))
    stops.append(high)
    stops[0] = -_whole_cells(-stops[1], -low, lambda place: size(-place), -ends[0])
    stops[-1] = _whole_cells(stops[-2], high, size, ends[1])
    parts = [_even_steps(a, b, size)[:-1] for a, b in pairwise(stops)]
    return np.concatenate([*parts, [stops[-1]]])


def _whole_cells(start: float, wanted: float, size: Size, end: float) -> float:
    """Return the place from `wanted` on, `end` at most, that whole cells reach from the start."""
    limit = min(end, wanted + 2.0 * float(size(np.array(wanted))))
    places, count = _counted(start, limit, size)
    number = math.ceil(float(np.interp(wanted, places, count)) - 1e-6)
    return limit if number > count[-1] else float(np.interp(number, count, places))


def _counted(low: float, high: float, size: Size) -> tuple[Array, Array]:
    """Return places from low to high and how many cells of the wanted size lie before each."""
    places = np.linspace(low, high, 2001)
    density = 1.0 / size(places)
    steps = 0.5 * (density[1:] + density[:-1]) * np.diff(places)
    return places, np.concatenate(([0.0], np.cumsum(steps)))


def _even_steps(low: float, high: float, size: Size) -> Array:
    places, count = _counted(low, high, size)
    number = max(1, math.ceil(count[-1] - 1e-3))
    faces = np.interp(np.linspace(0.0, count[-1], number + 1), count, places)
    faces[0], faces[-1] = low, high
    return np.asarray(faces)
