"""How deep the joint fuses along the seam, on either side of a pulse's centre."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from weldcalc.heatflow.section_field import at_plane, line_spans, section_field
from weldcalc.heatflow.section_measure import joint_profile
from weldcalc.heatflow.section_solve import SectionSolution, true_faces

Array = NDArray[np.float64]

_WHOLE = 1.0 - 1e-9


def joint_along(solution: SectionSolution) -> Array:
    """Return the outline of the fused joint in the plane of seam and beam.

    Parameters
    ----------
    solution : SectionSolution
        A finished run.

    Returns
    -------
    ndarray, shape (k, 2)
        Points (distance along the seam from the pulse's centre, length of the joint line that is
        fused there) [m], top first; empty where the joint does not fuse. With a beam that travels
        the lesser of both sides counts.
    """
    grid = solution.bench.grid
    ahead = np.flatnonzero(grid.x > 0.0)
    depths = [_fused(solution, at_plane(solution.state.peak, grid))]
    places = [0.0]
    for number in ahead:
        depth = _fused(solution, solution.state.peak[1:-1, 1 + number, 1:-1])
        if not grid.mirrored:
            depth = min(depth, _behind(solution, float(grid.x[number])))
        places.append(float(grid.x[number]))
        depths.append(depth)
        if depth <= 0.0:
            break
    return _outline(np.array(places), np.array(depths), solution.bench.case.section.joint_length)


def _behind(solution: SectionSolution, distance: float) -> float:
    grid = solution.bench.grid
    other = int(np.argmin(np.abs(grid.x + distance)))
    return _fused(solution, solution.state.peak[1:-1, 1 + other, 1:-1])


def _fused(solution: SectionSolution, enthalpy: Array) -> float:
    """Return the length of the joint line that is fused in one plane [m]."""
    bench = solution.bench
    level = np.array([table.melting_enthalpy() for table in bench.tables])
    start = bench.enthalpies(bench.case.preheat)
    field = section_field(bench.grid, true_faces(bench), enthalpy, level, start)
    is_sheet = bench.case.section.kind == "sheet"
    place, excess = joint_profile(field, is_sheet=is_sheet, broken=bench.case.is_broken)
    share = sum(b - a for a, b in line_spans(place, excess))
    return float(share * bench.case.section.joint_length)


def _outline(place: Array, depth: Array, length: float) -> Array:
    """Turn depths over distance into an outline from the face down to the deepest point."""
    if depth[0] <= 0.0:
        return np.empty((0, 2))
    # a pool does not get deeper away from its centre; what looks so is the width of a cell
    depth = np.minimum.accumulate(depth)
    last = int(np.flatnonzero(depth > 0.0)[-1])
    through = np.flatnonzero(depth[: last + 1] >= _WHOLE * length)
    first = int(through[-1]) if through.size else 0
    edge = _edge(place, depth, last)
    kept = slice(first, last + 1)
    return np.column_stack((np.append(edge, place[kept][::-1]), np.append(0.0, depth[kept][::-1])))


def _edge(place: Array, depth: Array, last: int) -> float:
    """Return where the depth runs out [m]: half way into the next cell, or sooner on a slope."""
    if last + 1 >= place.size:
        return float(place[last])
    step = float(place[last + 1] - place[last])
    if last == 0 or depth[last] >= depth[last - 1]:
        return float(place[last] + 0.5 * step)
    slope = (depth[last - 1] - depth[last]) / (place[last] - place[last - 1])
    return float(place[last] + min(0.5 * step, depth[last] / slope))
