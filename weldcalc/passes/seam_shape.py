"""The shape of a seam of round pools: what is fused between pulses, how far apart they may be.

Pools are taken as round about their axis and as deep as the coldest pulse makes them. Between two
pulses the seam is as deep, and at the root as wide, as the pool is half a pitch from its axis.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_WIDEST_ROOT = 0.98  # of the width on the face


def fused_depth(outline: Floats, distance: float) -> float:
    """Return how deep a pool reaches, without a break from the surface, away from its axis.

    Parameters
    ----------
    outline : ndarray, shape (k, 2)
        Points (radius, depth) of the fused zone [m], top first.
    distance : float
        From the axis [m].

    Returns
    -------
    float
        [m]; 0 outside the pool.
    """
    radius, depth = outline[:, 0], outline[:, 1]
    inside = radius >= distance
    if inside.size == 0 or not inside[0]:
        return 0.0
    if inside.all():
        return float(depth[-1])
    out = int(np.argmin(inside))
    share = (radius[out - 1] - distance) / (radius[out - 1] - radius[out])
    return float(depth[out - 1] + share * (depth[out] - depth[out - 1]))


def fused_ligament(outline: Floats, distance: float) -> float:
    """Return how much of the thickness is fused away from a pool's axis, breaks left out.

    Parameters
    ----------
    outline : ndarray, shape (k, 2)
        Points (radius, depth) of the fused zone [m], top first.
    distance : float
        From the axis [m].

    Returns
    -------
    float
        [m]; less than `fused_depth` plus what is fused below a narrow waist.
    """
    radius, depth = outline[:, 0], outline[:, 1]
    wide, narrow = np.maximum(radius[:-1], radius[1:]), np.minimum(radius[:-1], radius[1:])
    span = np.where(wide > narrow, wide - narrow, 1.0)
    share = np.where(narrow >= distance, 1.0, np.clip((wide - distance) / span, 0.0, 1.0))
    return float(np.sum(share * np.diff(depth)))


def scallop_width(width: float, pitch: float) -> float:
    """Return the width of a row of round spots half way between two of them.

    Parameters
    ----------
    width : float
        Diameter of the spots [m].
    pitch : float
        Distance of their centres [m].

    Returns
    -------
    float
        [m]; 0 where they do not touch.
    """
    return sqrt(max(width**2 - pitch**2, 0.0))


@frozen
class PitchLimit:
    """Largest pitch that still meets the goals.

    Parameters
    ----------
    pitch : float
        [m].
    binds : str
        What limits it.
    """

    pitch: float
    binds: str


def largest_pitch(
    outline: Floats,
    *,
    depth: float | None,
    full_wall: bool,
    least_root_width: float | None,
    root_width: float,
    spot_diameter: float,
    spot_overlap: float | None,
) -> PitchLimit | None:
    """Return the largest pitch at which pools of one outline meet the goals.

    Parameters
    ----------
    outline : ndarray, shape (k, 2)
        Points (radius, depth) of the fused zone [m], top first.
    depth : float or None
        Depth to be fused everywhere along the seam [m].
    full_wall : bool
        Whether that is the whole wall, so that the root counts too.
    least_root_width : float or None
        Width to be fused everywhere on the far side [m]; only with `full_wall`.
    root_width : float
        Width of one pool on the far side, across the seam [m]; its length along the seam is in
        the outline, and the two differ where the beam is beside the joint.
    spot_diameter : float
        [m].
    spot_overlap : float or None
        Overlap of the spots asked for [-].

    Returns
    -------
    PitchLimit or None
        None where no goal is given or the pool does not meet it even at its axis.
    """
    limits = list(_limits(outline, depth))
    if full_wall and least_root_width is not None:
        pitch = _root_pitch(outline, root_width, least_root_width)
        limits.append(PitchLimit(pitch, "root width between two pulses"))
    if spot_overlap is not None:
        limits.append(PitchLimit((1 - spot_overlap) * spot_diameter, "spot overlap"))
    if not limits or min(limit.pitch for limit in limits) <= 0:
        return None
    return min(limits, key=lambda limit: limit.pitch)


def _limits(outline: Floats, depth: float | None) -> Iterator[PitchLimit]:
    if depth is not None:
        yield PitchLimit(2 * _least_radius(outline, depth), "penetration between two pulses")


def _root_pitch(outline: Floats, width: float, least: float) -> float:
    """Return the pitch at which the root is narrowed to a width [m]; 0 where it is no wider."""
    if not len(outline) or width <= 0:
        return 0.0
    return 2 * float(outline[-1, 0]) * scallop_width(width, least) / width


def _least_radius(outline: Floats, depth: float) -> float:
    """Return the least radius of a pool down to a depth [m]; 0 where it is not that deep."""
    if not len(outline) or outline[-1, 1] < depth * (1 - 1e-9):
        return 0.0
    above = outline[outline[:, 1] <= depth, 0]
    there = float(np.interp(depth, outline[:, 1], outline[:, 0]))
    return float(min(above.min(initial=there), there))


def ellipsoid_depth(depth: Floats, top: Floats, root: Floats, wall: Floats) -> Floats:
    """Return how deep a pool would be on thicker metal, as half an ellipsoid through its widths.

    Parameters
    ----------
    depth, top, root, wall : ndarray, shape (n,)
        Depth, fused width on the face and on the far side, and wall [m].

    Returns
    -------
    ndarray, shape (n,)
        [m]; the depth itself where the pool does not go through.
    """
    # a root as wide as the face says only that the pool would be many walls deep
    share = np.clip(root / np.where(top > 0, top, 1.0), 0.0, _WIDEST_ROOT)
    return np.where(root > 0, wall / np.sqrt(1 - share**2), depth)


def root_of_ellipsoid(depth: Floats, top: Floats, wall: Floats) -> Floats:
    """Return the far-side width of half an ellipsoid; the inverse of `ellipsoid_depth`.

    Parameters
    ----------
    depth, top, wall : ndarray, shape (n,)
        Depth on thicker metal, width on the face, and wall [m].

    Returns
    -------
    ndarray, shape (n,)
        [m]; 0 where the pool does not go through.
    """
    left = 1 - (wall / np.maximum(depth, wall)) ** 2
    made: Floats = top * np.sqrt(left)
    return made
