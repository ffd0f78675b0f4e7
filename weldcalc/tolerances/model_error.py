"""What the best constants leave unexplained, as a stretch of computed pools."""

from __future__ import annotations

import numpy as np

from weldcalc.heatflow.spot_sizes import SIZES
from weldcalc.passes.seam_shape import ellipsoid_depth, root_of_ellipsoid
from weldcalc.tolerances.scatter import MODEL_ERRORS, Floats, PassScatter, Pulses, column
from weldcalc.tolerances.section_pulses import ellipsoid_reach


def with_model_error(
    scatter: PassScatter, normals: Floats, sizes: Floats, pulses: Pulses, *, on_section: bool
) -> Floats:
    """Return sizes with each pool stretched by what the model leaves unexplained, shape (n, 10).

    Parameters
    ----------
    scatter : PassScatter
        Says how much; without `MODEL_ERRORS` among its causes the sizes come back as they are.
    normals : ndarray, shape (n, k)
        Standard normal numbers, a column for each cause.
    sizes : ndarray, shape (n, 10)
        As computed.
    pulses : Pulses
        What was run.
    on_section : bool
        Whether the joint's depth is its own; on a sheet it is that of the pool.

    Notes
    -----
    The logarithms of depth and of all widths move by their own normal numbers, as in the intervals
    of an estimate. Where a pool goes through, its depth goes on as half an ellipsoid. What leaves
    through the far side and what is thrown out stay as computed: no error of those is known.
    """
    if not set(MODEL_ERRORS) & set(scatter.causes):
        return sizes
    deeper, wider = (_factor(scatter, normals, cause) for cause in MODEL_ERRORS)
    wall = np.array([case["thickness"] for case in pulses.cases])
    wanted = np.array([case["depth"] for case in pulses.cases])
    top, root = column(sizes, "fusion_width"), column(sizes, "root_width")
    widest = np.maximum(top, root)
    before = ellipsoid_depth(column(sizes, "penetration"), widest, root, wall)
    after = deeper * before
    opened = root_of_ellipsoid(after, widest, wall) - root_of_ellipsoid(before, widest, wall)
    joint = column(sizes, "joint_depth") if on_section else before
    length = column(sizes, "fusion_length")
    reach = ellipsoid_reach(length, joint, wanted)
    radius = column(sizes, "fused_radius")
    grown = radius + ellipsoid_reach(length, deeper * joint, wanted) - reach
    # a joint that is deep enough and yet not fused is one that melt does not bridge
    unbridged = (radius <= 0.0) & (reach > 0.0)
    made = {
        "penetration": np.minimum(after, wall),
        "joint_depth": deeper * joint,
        "fusion_width": wider * top,
        "fusion_length": wider * length,
        "root_width": np.where(after > wall, np.maximum(wider * (root + opened), 0.0), 0.0),
        "haz_width": wider * column(sizes, "haz_width"),
        "fused_radius": np.where(unbridged, 0.0, np.maximum(wider * grown, 0.0)),
    }
    return np.array([made.get(name, column(sizes, name)) for name in SIZES]).T


def _factor(scatter: PassScatter, normals: Floats, cause: str) -> Floats:
    if cause not in scatter.causes:
        return np.ones(len(normals))
    number = scatter.causes.index(cause)
    return np.asarray(np.exp(scatter.sigma[cause] * normals[:, number]))
