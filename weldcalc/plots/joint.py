"""The joint in cross-section, to scale, with what each pass is predicted to melt and to heat."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import frozen
from matplotlib.axes import Axes
from matplotlib.patches import Patch, Polygon
from matplotlib.path import Path as Border

from weldcalc.plots.members import draw_members, joint_border, joint_members
from weldcalc.plots.style import (
    BEAM,
    EDGE,
    FUSED,
    HAZ_DASHES,
    HEAT_AFFECTED,
    METAL,
    MM,
    PLATE,
    QUIET,
    Floats,
    Picture,
    dimension,
    fact_table,
    in_house_style,
    new_figure,
)
from weldcalc.plots.words import printable
from weldcalc.quantities import show

if TYPE_CHECKING:
    from weldcalc.joint import Joint


_OUTLINE: dict[str, Any] = {"edgecolor": EDGE, "linewidth": 0.9}


@frozen(eq=False)
class Pool:
    """What one pass melts and heats in the section, as computed elsewhere.

    Parameters
    ----------
    name : str
        Name of the pass.
    fused, heat_affected : ndarray, shape (k, 2)
        Outlines (across the joint, depth below the surface) [m]; one that only lies on the
        positive side of the beam is drawn on both, unless `is_whole`.
    spot_diameter : float
        Diameter of the beam on the part [m].
    beam_offset : float, optional
        Beam axis from the joint line [m].
    beam_angle : float, optional
        Tilt of the beam from upright, positive when it comes from the positive side [rad].
    penetration, fusion_width, root_width, haz_width : float, optional
        Results to write beside the drawing [m].
    is_whole : bool, optional
        Whether the outlines hold both sides of the beam and their place across the joint.
    """

    name: str
    fused: Floats
    heat_affected: Floats
    spot_diameter: float
    beam_offset: float = 0.0
    beam_angle: float = 0.0
    penetration: float | None = None
    fusion_width: float | None = None
    root_width: float | None = None
    haz_width: float | None = None
    is_whole: bool = False

    def whole(self, outline: Floats) -> Floats:
        """Return one of the outlines [m] on both sides of the beam, shape (k, 2)."""
        if self.is_whole or len(outline) < 2:
            return outline
        return whole_outline(outline, axis=self.beam_offset)

    @property
    def facts(self) -> list[tuple[str, str]]:
        """Return the results as (value with unit, name), without those that are not given."""
        names = {
            "spot_diameter": "beam spot",
            "penetration": "penetration",
            "fusion_width": "fused width at the surface",
            "root_width": "fused width at the root",
            "haz_width": "heat-affected, each side",
        }
        known = ((getattr(self, key), key, name) for key, name in names.items())
        return [(show(value, key), name) for value, key, name in known if value is not None]


@in_house_style
def joint_section(
    joint: Joint, pools: Sequence[Pool], *, haz_isotherm: str = "", title: str = ""
) -> Picture:
    """Cross-section of the joint with the predicted outlines of each pass, one drawing a pass.

    Parameters
    ----------
    joint : Joint
        Members and fit-up.
    pools : sequence of Pool
        One for each pass; all are drawn to the same scale.
    haz_isotherm : str, optional
        Name of the isotherm that bounds the heat-affected metal ("beta transus, 890 °C").
    title : str, optional
        Heading.

    Returns
    -------
    Picture
        Section to scale in millimetres, dimensions beside it.
    """
    figure = new_figure(height=1.3 + 1.75 * len(pools))
    rows = figure.subplots(len(pools), 2, squeeze=False, width_ratios=[1.55, 1.0])
    figure.suptitle(printable(title or "Section across the joint, to scale"))
    window = _window(joint, pools)
    facts = _joint_facts(joint)
    for number, ((axes, words), pool) in enumerate(zip(rows, pools, strict=True)):
        _frame(axes, window)
        draw_section(axes, joint, pool, earlier=pools[:number])
        _dimensions(axes, joint, pool, window)
        axes.set_title(printable(f"{pool.name} pass"))
        fact_table(words, [*facts, *pool.facts])
        facts = []
    rows[-1, 0].set_xlabel("across the joint [mm]")
    entries = _legend(joint, haz_isotherm, len(pools))
    figure.legend(handles=entries, loc="outside lower center", ncols=3)
    return Picture(figure=figure, alt=_section_words(joint, pools, haz_isotherm))


def draw_section(
    axes: Axes, joint: Joint, pool: Pool | None = None, *, earlier: Sequence[Pool] = ()
) -> None:
    """Draw the members of a joint and, when given, one pool with its beam.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Where to draw, in millimetres.
    joint : Joint
        Members and fit-up.
    pool : Pool, optional
        What a pass melts and heats.
    earlier : sequence of Pool, optional
        Of the passes before it: what they fused has no joint line any more, only their outline.
    """
    members = joint_members(joint)
    draw_members(axes, members)
    if pool is None:
        return
    metal = joint_border(joint)
    solid = [MM * one.whole(one.fused) for one in earlier if len(one.fused) > 1]
    for corners in solid:
        _draw_zone(axes, corners, metal, facecolor=METAL)
    _draw_zone(axes, MM * pool.whole(pool.heat_affected), metal, facecolor=HEAT_AFFECTED)
    for corners in solid:
        _draw_zone(axes, corners, metal, edgecolor=QUIET, linewidth=0.9)
    _draw_zone(axes, MM * pool.whole(pool.heat_affected), metal, **_OUTLINE, linestyle=HAZ_DASHES)
    _draw_zone(axes, MM * pool.whole(pool.fused), metal, facecolor=FUSED, **_OUTLINE)
    look: dict[str, Any] = {"edgecolor": EDGE, "linewidth": 0.7, "linestyle": "dotted"}
    for member in members:  # where the edges were before welding
        edges = Polygon(MM * member.corners, fill=False, **look)
        axes.add_patch(edges)
        if solid:
            edges.set_clip_path(_outside(solid, axes), axes.transData)
    _draw_beam(axes, pool, height=0.9 * joint.wall_thickness)


def _draw_zone(axes: Axes, corners: Floats, metal: Border, **look: Any) -> None:
    if len(corners) < 2:
        return
    patch = Polygon(corners, fill="facecolor" in look, **{"linewidth": 0.0, **look})
    axes.add_patch(patch)
    patch.set_clip_path(metal, axes.transData)


def _outside(holes: Sequence[Floats], axes: Axes) -> Border:
    """Return all of the framed axes but the holes [mm], which turn against the frame.

    A clip path replaces that of the axes in vector files, so it has to end where they do.
    """
    (left, right), (low, high) = sorted(axes.get_xlim()), sorted(axes.get_ylim())
    rings = [np.array([(left, low), (right, low), (right, high), (left, high)])]
    for hole in holes:
        x, y = hole.T
        is_against = np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) < 0.0
        rings.append(hole if is_against else hole[::-1])
    closed = [Border(np.vstack([ring, ring[:1]]), closed=True) for ring in rings]
    return Border.make_compound_path(*closed)


def whole_outline(outline: Floats, *, axis: float = 0.0) -> Floats:
    """Return an outline that is given on one side of the beam, on both sides.

    Parameters
    ----------
    outline : ndarray, shape (k, 2)
        (Across, depth) [m]; as a half outline, distances from the beam, none of them negative.
    axis : float, optional
        Place of the beam across the joint [m]; moves a half outline only.

    Returns
    -------
    ndarray, shape (k, 2) or (2 k, 2)
        Closed round the pool, without the first corner repeated.
    """
    if (outline[:, 0] < 0.0).any():
        return outline
    whole: Floats = np.vstack([outline, outline[::-1] * [-1.0, 1.0]]) + np.array([axis, 0.0])
    return whole


def _draw_beam(axes: Axes, pool: Pool, height: float) -> None:
    lean = MM * height * np.tan(pool.beam_angle)
    foot, half = MM * pool.beam_offset, MM * pool.spot_diameter / 2
    top = -MM * height
    corners = [
        (foot - half, 0),
        (foot + half, 0),
        (foot + half + lean, top),
        (foot - half + lean, top),
    ]
    axes.add_patch(Polygon(corners, facecolor=BEAM, alpha=0.18, linewidth=0, zorder=0.5))
    axes.annotate(
        "",
        xy=(foot, 0.0),
        xytext=(foot + lean, top),
        arrowprops={
            "arrowstyle": "-|>",
            "color": BEAM,
            "linewidth": 1.4,
            "shrinkA": 0,
            "shrinkB": 0,
        },
    )


def _window(joint: Joint, pools: Sequence[Pool]) -> tuple[float, float, float, float]:
    """Return left, right, top and bottom of the drawing [m], the same for every pass."""
    wall = joint.wall_thickness
    zone = np.vstack([np.zeros((1, 2)), *(pool.whole(pool.heat_affected) for pool in pools)])
    solid = wall if joint.type == "butt" else max(wall, joint.plate_thickness or wall)
    deep = max(solid + (joint.mismatch or 0.0), float(zone[:, 1].max()))
    top, bottom = -1.2 * wall, deep + 0.4 * wall
    # wide enough for the zones and their dimensions, and for the shape of its place on the page
    aside = max(1.5 * float(np.abs(zone[:, 0]).max()), 0.75 * (bottom - top))
    return -aside, aside, top, bottom


def _frame(axes: Axes, window: tuple[float, float, float, float]) -> None:
    left, right, top, bottom = (MM * edge for edge in window)
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    axes.set_aspect("equal")
    axes.set_ylabel("depth [mm]")


def _dimensions(
    axes: Axes, joint: Joint, pool: Pool, window: tuple[float, float, float, float]
) -> None:
    """Draw the wall on the right, the depth on the left and the width of the root below."""
    left, right = 0.9 * MM * window[0], 0.9 * MM * window[1]
    if joint.type == "butt":
        step = joint.mismatch or 0.0
        ends = (right, MM * step), (right, MM * (step + joint.wall_thickness))
        _upright_dimension(axes, *ends, "wall")
    if pool.penetration:
        _upright_dimension(axes, (left, 0.0), (left, MM * pool.penetration), "depth")
    if pool.root_width and joint.type == "butt":
        below, half = MM * (joint.wall_thickness * 1.15), MM * pool.root_width / 2
        foot = MM * pool.beam_offset
        dimension(axes, (foot - half, below), (foot + half, below), "root", shift=(0, -2), va="top")


def _upright_dimension(
    axes: Axes, top: tuple[float, float], bottom: tuple[float, float], words: str
) -> None:
    """Draw an upright dimension with its name over it, where no zone of the weld is in the way."""
    dimension(axes, top, bottom, "")
    side, inward = ("left", -4) if top[0] < 0.0 else ("right", 4)  # away from the frame
    look: dict[str, Any] = {"ha": side, "va": "bottom", "fontsize": 7.0, "color": EDGE}
    axes.annotate(words, xy=top, xytext=(inward, 2), textcoords="offset points", **look)


def _joint_facts(joint: Joint) -> list[tuple[str, str]]:
    keys = {
        "wall_thickness": "wall",
        "outside_diameter": "outside diameter",
        "plate_thickness": "plate",
        "gap": "gap, largest",
        "mismatch": "mismatch, largest",
    }
    plain = {key: getattr(joint, key) for key in keys}
    always = ("wall_thickness", "gap", "mismatch")
    return [
        (show(value, key), keys[key])
        for key, value in plain.items()
        if value is not None or key in always
    ]


def _legend(joint: Joint, haz_isotherm: str, passes: int) -> list[Patch]:
    heated = printable(f"heat-affected, to {haz_isotherm}" if haz_isotherm else "heat-affected")
    entries = [
        Patch(facecolor=FUSED, edgecolor=EDGE, label="fused"),
        Patch(facecolor=HEAT_AFFECTED, edgecolor=EDGE, linestyle=HAZ_DASHES, label=heated),
        Patch(facecolor=BEAM, alpha=0.3, label="laser beam"),
        Patch(facecolor=METAL, edgecolor=EDGE, label="sheet" if joint.form == "sheet" else "tube"),
    ]
    if passes > 1:
        entries.append(Patch(facecolor=METAL, edgecolor=QUIET, label="fused by a pass before"))
    if joint.type != "butt":
        entries.append(Patch(facecolor=PLATE, edgecolor=EDGE, label="plate"))
    return entries


def _section_words(joint: Joint, pools: Sequence[Pool], haz_isotherm: str) -> str:
    def phrase(facts: Sequence[tuple[str, str]]) -> str:
        return ", ".join(f"{name} {value}" for value, name in facts)

    words = f"Section across a {joint.type} joint ({joint.form}): {phrase(_joint_facts(joint))}."
    for pool in pools:
        words += f" {pool.name} pass: {phrase(pool.facts)}."
    return words + (f" The heat-affected outline is {haz_isotherm}." if haz_isotherm else "")


def draw_joint_sketch(axes: Axes, joint: Joint, *, type_size: float) -> None:
    """Draw the bare joint with its wall, gap and step named: a sketch for a printed card.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Empty axes.
    joint : Joint
        Members and fit-up; to scale, but for a gap too thin to print.
    type_size : float
        Size of the words [pt].
    """
    wall = MM * joint.wall_thickness
    draw_section(axes, joint)
    look: dict[str, Any] = {"fontsize": type_size, "color": EDGE}
    # in a corner the beam comes from the open side
    aside = 1.1 * wall if joint.form == "fillet" else 0.0
    axes.annotate(
        "laser",
        xy=(0.0, 0.0),
        xytext=(aside, -1.1 * wall),
        ha="center",
        va="bottom",
        arrowprops={"arrowstyle": "-|>", "color": BEAM, "linewidth": 1.6, "shrinkB": 0},
        **look,
    )
    if joint.type == "butt":
        _name_butt(axes, joint, wall, look)
    else:
        _name_plate(axes, joint, wall, look)
    axes.set_aspect("equal", adjustable="box")


def _name_butt(axes: Axes, joint: Joint, wall: float, look: dict[str, Any]) -> None:
    step = MM * (joint.mismatch or 0.0)
    axes.set_xlim(-2.4 * wall, 2.4 * wall)
    axes.set_ylim(wall + step + 1.0 * wall, -1.6 * wall)
    right = 1.9 * wall
    ends = (right, step), (right, step + wall)
    dimension(axes, *ends, "wall", shift=(-3, 0), ha="right", va="center", **look)
    _point_at(axes, (0.0, wall + step), (-0.8 * wall, 1.6 * wall), "gap", look)
    _point_at(axes, (0.1 * wall, step / 2), (1.0 * wall, -0.6 * wall), "mismatch", look)


def _name_plate(axes: Axes, joint: Joint, wall: float, look: dict[str, Any]) -> None:
    plate = MM * (joint.plate_thickness or joint.wall_thickness)
    high = 2.4 * wall if joint.form == "fillet" else 1.6 * wall
    axes.set_xlim(-2.6 * wall, 3.4 * wall)
    axes.set_ylim(max(1.4 * wall, 1.15 * plate), -high)
    tube_middle = -high / 2 if joint.form == "fillet" else 0.5 * plate
    axes.text(-wall / 2, tube_middle, "tube", rotation=90, ha="center", va="center", **look)
    axes.text(1.9 * wall, 0.5 * plate, "plate", ha="center", va="center", **look)


def _point_at(
    axes: Axes,
    target: tuple[float, float],
    place: tuple[float, float],
    words: str,
    look: dict[str, Any],
) -> None:
    arrow = {"arrowstyle": "-", "color": EDGE, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0}
    axes.annotate(
        words, xy=target, xytext=place, ha="center", va="center", arrowprops=arrow, **look
    )
