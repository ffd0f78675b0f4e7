"""The seam unrolled: how deep each pulse melts along it, and where it is shallowest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from attrs import frozen
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from weldcalc.plots.style import (
    EDGE,
    FUSED,
    METAL,
    MM,
    PASS_LINES,
    Floats,
    Picture,
    goal_line,
    in_house_style,
    new_figure,
    shared_legend,
)
from weldcalc.plots.words import printable

_SAME = 0.01  # of the wall: lines as close as this are one line in the drawing
_CLOSE_UP = 2.2  # length of the enlarged part in wall thicknesses: fills its half of the picture


@frozen(eq=False)
class SeamPools:
    """The pools that one pass leaves along the seam, as computed elsewhere.

    Parameters
    ----------
    name : str
        Name of the pass.
    positions : ndarray, shape (n,)
        Pulse centres along the seam [m], in the order of welding.
    depths : ndarray, shape (n,)
        Depth of each pool below the surface at its centre [m].
    outline : ndarray, shape (k, 2)
        Half outline of one pool: (distance from its centre along the seam, depth) [m], rising in
        depth; drawn stretched to the depth of each pool.
    guaranteed_depth : float
        Depth that no place between two pulses falls short of [m]: half a pitch from a centre.
    """

    name: str
    positions: Floats
    depths: Floats
    outline: Floats
    guaranteed_depth: float


@in_house_style
def long_section(
    pools: Sequence[SeamPools],
    *,
    wall_thickness: float,
    goal_depth: float | None = None,
    at: float | None = None,
) -> Picture:
    """Unrolled section along the seam, whole and enlarged, with the scalloped root of each pass.

    Parameters
    ----------
    pools : sequence of SeamPools
        One for each pass, in welding order.
    wall_thickness : float
        Thickness of the wall [m].
    goal_depth : float, optional
        Penetration asked for [m]: of the first pass, which later ones only cover.
    at : float, optional
        Place along the seam that is shown enlarged [m]; its middle when not given.

    Returns
    -------
    Picture
        One row per pass: pool depth over the whole seam, and some pools to scale.
    """
    figure = new_figure(height=1.1 + 1.65 * len(pools))
    rows = figure.subplots(len(pools), 2, squeeze=False, width_ratios=[1.25, 1.0])
    figure.suptitle("Unrolled section along the seam")
    for number, (pass_pools, (whole, near)) in enumerate(zip(pools, rows, strict=True)):
        _draw_whole(whole, pass_pools)
        place = float(np.median(pass_pools.positions)) if at is None else at
        _draw_close_up(near, pass_pools, number, place, wall_thickness)
        goal = None if number else goal_depth
        _frame(whole, near, wall_thickness, goal)
        _name_shared_depth(whole, pass_pools.guaranteed_depth, wall_thickness, goal)
        whole.set_title(printable(f"{pass_pools.name}: depth of each pool"))
        near.set_title(f"around {MM * place:.1f} mm, to scale")
    rows[-1, 0].set_xlabel("along the seam [mm]")
    rows[-1, 1].set_xlabel("along the seam [mm]")
    shared_legend(figure, rows.flat, columns=3)
    return Picture(figure=figure, alt=_long_words(pools, wall_thickness, goal_depth))


def _draw_whole(axes: Axes, pools: SeamPools) -> None:
    # segments may be welded in any order and run over each other where the seam closes
    order = np.argsort(pools.positions, kind="stable")
    along, depth = MM * pools.positions[order], MM * pools.depths[order]
    axes.fill_between(along, depth, color=FUSED, alpha=0.35, linewidth=0)
    axes.plot(
        along,
        depth,
        color=FUSED,
        label="pool depth at the pulse centre",
    )
    axes.axhline(
        MM * pools.guaranteed_depth,
        color=EDGE,
        linestyle=(0, (1.2, 1.2)),
        label="guaranteed depth, half a pitch from a centre",
    )


def _draw_close_up(axes: Axes, pools: SeamPools, number: int, at: float, wall: float) -> None:
    if not len(pools.outline) or not pools.depths.max() > 0:
        axes.text(0.5, 0.5, "nothing melts", transform=axes.transAxes, ha="center", va="center")
        return
    reach = float(pools.outline[:, 0].max())
    seen = np.abs(pools.positions - at) < _CLOSE_UP * wall / 2 + reach
    centres, depths = pools.positions[seen], pools.depths[seen]
    look = {
        "edgecolor": FUSED,
        "linewidth": 0.8,
        "linestyle": PASS_LINES[number % len(PASS_LINES)],
    }
    for centre, depth in zip(centres, depths, strict=True):
        corners = MM * _pool_corners(pools.outline, centre=centre, depth=depth)
        axes.add_patch(Polygon(corners, facecolor=FUSED, alpha=0.22, linewidth=0))
        axes.add_patch(Polygon(corners, fill=False, **look))
    along = np.linspace(at - _CLOSE_UP * wall / 2, at + _CLOSE_UP * wall / 2, 801)
    deepest = _lower_edge(pools.outline, along, centres, depths)
    axes.plot(MM * along, MM * deepest, color=FUSED, linewidth=2.0, label="scalloped lower edge")
    axes.axhline(MM * pools.guaranteed_depth, color=EDGE, linestyle=(0, (1.2, 1.2)))
    axes.set_xlim(MM * along[0], MM * along[-1])
    axes.set_aspect("equal")


def _lower_edge(outline: Floats, along: Floats, centres: Floats, depths: Floats) -> Floats:
    """Return the deepest fused place at each point of `along` [m], shape (m,)."""
    fine = np.linspace(0.0, 1.0, 400)
    part = np.linspace(0.0, 1.0, len(outline))
    radius = np.interp(fine, part, outline[:, 0])
    depth = np.interp(fine, part, outline[:, 1]) / outline[:, 1].max()
    # a pool may be widest below the surface, so ask how deep it still is as wide as needed
    deep_enough = np.abs(along[:, None, None] - centres[:, None]) <= radius
    # pulses may lie so far apart that none reaches the close-up
    deepest: Floats = ((deep_enough * depth).max(axis=2) * depths).max(axis=1, initial=0.0)
    return deepest


def _pool_corners(outline: Floats, *, centre: float, depth: float) -> Floats:
    deepest = float(outline[:, 1].max())
    half = np.column_stack([outline[:, 0], outline[:, 1] * depth / deepest])
    left = half[::-1] * [-1.0, 1.0]
    corners: Floats = np.vstack([half, left]) + np.array([centre, 0.0])
    return corners


def _frame(whole: Axes, near: Axes, wall: float, goal: float | None) -> None:
    for axes in (whole, near):
        axes.axhspan(0.0, MM * wall, color=METAL, zorder=0)
        axes.axhline(0.0, color=EDGE, linewidth=0.9)
        axes.axhline(MM * wall, color=EDGE, linewidth=0.9, label=f"far side, {MM * wall:.3f} mm")
        if goal is not None:
            goal_line(axes, MM * goal, f"goal {MM * goal:.3f} mm")
        axes.set_ylim(1.12 * MM * wall, -0.12 * MM * wall)
        axes.set_ylabel("depth [mm]")


def _name_shared_depth(axes: Axes, guaranteed: float, wall: float, goal: float | None) -> None:
    """Say in the drawing which depths are the same, where one line hides another."""
    depths = {"far side": wall, "goal": goal, "guaranteed depth": guaranteed}
    shared = [
        name for name, at in depths.items() if at is not None and abs(at - wall) < _SAME * wall
    ]
    if len(shared) > 1:
        told = f"{' = '.join(shared)}, {MM * wall:.3f} mm"
        box = {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.5}
        place: dict[str, Any] = {"xy": (0.5, MM * wall), "xycoords": ("axes fraction", "data")}
        look: dict[str, Any] = {
            "ha": "center",
            "va": "bottom",
            "fontsize": 7.0,
            "color": EDGE,
            "bbox": box,
        }
        axes.annotate(told, xytext=(0, 4), textcoords="offset points", **place, **look)


def _long_words(pools: Sequence[SeamPools], wall: float, goal: float | None) -> str:
    told = [
        f"pass {one.name}: {len(one.depths)} pulses, pool depth at the centre "
        f"{MM * one.depths.min():.3f} to {MM * one.depths.max():.3f} mm, guaranteed depth half a "
        f"pitch away {MM * one.guaranteed_depth:.3f} mm"
        for one in pools
    ]
    wanted = "" if goal is None else f" Goal of the first pass {MM * goal:.3f} mm."
    return (
        f"Section along the unrolled seam, wall {MM * wall:.3f} mm. " + "; ".join(told) + "."
    ) + wanted
