"""How deep a row of pools is along the seam."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def root_profile(outline: Floats, place: Floats) -> Floats:
    """Return the depth of a row of pools at places along the seam.

    Parameters
    ----------
    outline : ndarray, shape (k, 2)
        Fused outline of a pulse, (distance from its centre, depth) [m].
    place : ndarray, shape (m, n)
        Distance of each place from each pulse centre [m].

    Returns
    -------
    ndarray, shape (m,)
        Depth of the deepest pool there [m].
    """
    if not outline.size or not outline[:, 0].max() > 0:
        return np.zeros(len(place))
    # an undercut pool is as deep at a distance as its deepest point that far out or farther
    order = np.argsort(outline[:, 0])[::-1]
    distance, depth = outline[order, 0], np.maximum.accumulate(outline[order, 1])
    deep: Floats = np.interp(np.abs(place), distance[::-1], depth[::-1], right=0.0)
    return np.asarray(deep.max(axis=1))
