"""Where the sound region of a process window ends, and how many sigmas away that is."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from attrs import frozen

from weldcalc.tolerances.scatter import Floats
from weldcalc.windows.runs import REGIONS, SOUND, Ints, Sheet

_HALVINGS = 8

Region = Callable[[float], int]


@frozen
class Edge:
    """Where the sound region ends on one line through the schedule's point.

    Parameters
    ----------
    key : str
        Setting that is changed alone.
    side : int
        -1 towards lower values, 1 towards higher.
    value : float
        At which the region changes, or the end of the map [SI].
    region : str or None
        What begins there; None where the map ends first.
    sigmas : float or None
        Distance in multiples of the setting's scatter; None where it has none.
    """

    key: str
    side: int
    value: float
    region: str | None
    sigmas: float | None


def sound_edges(
    sheet: Sheet,
    columns: Floats,
    rows: Floats,
    point: tuple[float, float],
    sigma: tuple[float, float],
) -> tuple[Edge, ...]:
    """Return the four edges of the sound region round a point: left, right, down, up.

    Parameters
    ----------
    sheet : Sheet
        Runs places.
    columns, rows : ndarray, shape (m,), (n,)
        Settings of the map [SI].
    point, sigma : tuple of (float, float)
        The schedule's setting, and one standard deviation of each [SI].
    """

    def across(value: float) -> int:
        return sheet.region_at(value, point[1])

    def along(value: float) -> int:
        return sheet.region_at(point[0], value)

    return (
        _edge(across, sheet.x, -1, point[0], columns, sigma[0]),
        _edge(across, sheet.x, 1, point[0], columns, sigma[0]),
        _edge(along, sheet.y, -1, point[1], rows, sigma[1]),
        _edge(along, sheet.y, 1, point[1], rows, sigma[1]),
    )


def _edge(
    region: Region,
    key: str,
    side: int,
    start: float,
    values: Floats,
    sigma: float,
) -> Edge:
    """Walk the map's steps outwards until the region changes, then halve the last step."""
    here = region(start)
    if here != SOUND:
        return Edge(key, side, start, REGIONS[here], 0.0 if sigma else None)
    inside = start
    for value in values if side > 0 else values[::-1]:
        if (value - start) * side <= 0:
            continue
        if region(float(value)) != SOUND:
            inside, outside = _halved(region, inside, float(value))
            gap = abs(inside - start)
            return Edge(key, side, inside, REGIONS[region(outside)], gap / sigma if sigma else None)
        inside = float(value)
    return Edge(key, side, inside, None, abs(inside - start) / sigma if sigma else None)


def _halved(region: Region, inside: float, outside: float) -> tuple[float, float]:
    for _ in range(_HALVINGS):
        middle = 0.5 * (inside + outside)
        if region(middle) == SOUND:
            inside = middle
        else:
            outside = middle
    return inside, outside


def nearest_regions(
    columns: Floats,
    rows: Floats,
    region: Ints,
    point: tuple[float, float],
    sigma: tuple[float, float],
) -> dict[str, float]:
    """Return the least distance to each other region on the map, in multiples of the scatter.

    Parameters
    ----------
    columns, rows : ndarray, shape (m,), (n,)
        Settings of the map [SI].
    region : ndarray of int, shape (n, m)
        Place in `REGIONS`.
    point, sigma : tuple of (float, float)
        The schedule's setting, and one standard deviation of each [SI].

    Returns
    -------
    dict of str to float
        By region [sigmas]; empty where a setting has no known scatter.
    """
    if min(sigma) <= 0.0:
        return {}
    across, along = (columns - point[0]) / sigma[0], (rows - point[1]) / sigma[1]
    distance = np.hypot(across[None, :], along[:, None])
    return {
        name: float(distance[region == place].min())
        for place, name in enumerate(REGIONS)
        if place != SOUND and bool((region == place).any())
    }
