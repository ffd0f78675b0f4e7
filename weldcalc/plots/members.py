"""Outlines of the members of a joint in its cross-section, and how they are drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import frozen
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.path import Path as Border

from weldcalc.plots.style import EDGE, METAL, MM, PLATE, Floats

if TYPE_CHECKING:
    from weldcalc.joint import Joint

_FAR = 50.0  # members run on beyond the picture by so many wall thicknesses


@frozen(eq=False)
class Member:
    """One member of the joint in the section.

    Parameters
    ----------
    name : str
        "tube", "plate", "sheet".
    corners : ndarray, shape (4, 2)
        Corners (across the joint, depth below the surface) [m].
    is_second : bool
        Whether it is drawn in the second shade, as a member of another kind.
    """

    name: str
    corners: Floats
    is_second: bool = False


def joint_members(joint: Joint) -> tuple[Member, ...]:
    """Return the members of a joint in the section normal to the seam.

    The joint line stands at zero across; depth runs down from the surface the beam meets. A
    second member lies on the positive side: the other tube or sheet, or the plate.

    Parameters
    ----------
    joint : Joint
        Members and fit-up; a gap or mismatch that is not given is drawn as none.

    Returns
    -------
    tuple of Member
        From left to right.
    """
    if joint.type == "butt":
        return _butt(joint)
    return _fillet(joint) if joint.form == "fillet" else _flush(joint)


def _box(left: float, right: float, top: float, bottom: float) -> Floats:
    return np.array([(left, top), (right, top), (right, bottom), (left, bottom)])


def _butt(joint: Joint) -> tuple[Member, ...]:
    wall, half, step = joint.wall_thickness, (joint.gap or 0.0) / 2, joint.mismatch or 0.0
    far = _FAR * wall
    return (
        Member(joint.form, _box(-far, -half, 0.0, wall)),
        Member(joint.form, _box(half, far, step, wall + step)),
    )


def _flush(joint: Joint) -> tuple[Member, ...]:
    wall, half, step = joint.wall_thickness, (joint.gap or 0.0) / 2, joint.mismatch or 0.0
    thick = joint.plate_thickness or wall
    return (
        Member("tube", _box(-half - wall, -half, step, _FAR * wall)),
        Member("plate", _box(half, _FAR * wall, 0.0, thick), is_second=True),
    )


def _fillet(joint: Joint) -> tuple[Member, ...]:
    wall, gap = joint.wall_thickness, joint.gap or 0.0
    far = _FAR * wall
    thick = joint.plate_thickness or wall
    return (
        Member("tube", _box(-wall, 0.0, -far, -gap)),
        Member("plate", _box(-far, far, 0.0, thick), is_second=True),
    )


def draw_members(axes: Axes, members: tuple[Member, ...]) -> None:
    """Draw members in their shades [mm]."""
    for member in members:
        shade = PLATE if member.is_second else METAL
        look: dict[str, Any] = {"facecolor": shade, "edgecolor": EDGE, "linewidth": 0.9}
        axes.add_patch(Polygon(MM * member.corners, **look))


def joint_border(joint: Joint) -> Border:
    """Return what a pool may fill [mm]: the members and the gap between them."""
    boxes = [*(member.corners for member in joint_members(joint)), _gap(joint)]
    closed = [Border(MM * np.vstack([box, box[:1]]), closed=True) for box in boxes]
    return Border.make_compound_path(*closed)


def _gap(joint: Joint) -> Floats:
    wall, gap, step = joint.wall_thickness, joint.gap or 0.0, joint.mismatch or 0.0
    if joint.form == "fillet":
        return _box(-wall, 0.0, -gap, 0.0)
    bottom = wall if joint.type == "butt" else joint.plate_thickness or wall
    return _box(-gap / 2, gap / 2, step, bottom)
