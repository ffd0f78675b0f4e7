"""The process window: what two settings do together, where they are sound and what limits them."""

from __future__ import annotations

from collections.abc import Sequence
from string import ascii_uppercase
from typing import Any

import numpy as np
from attrs import frozen
from matplotlib.axes import Axes
from matplotlib.contour import QuadContourSet
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse, Patch
from matplotlib.path import Path
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike, NDArray

from weldcalc.fields import percent
from weldcalc.plots.style import (
    EDGE,
    FIRST,
    GOAL,
    GOAL_DASHES,
    LIMIT,
    LIMIT_DASHES,
    QUIET,
    REGION_COLOURS,
    REGION_HATCHES,
    Floats,
    Picture,
    in_house_style,
    new_figure,
)
from weldcalc.plots.words import label, named, printable, shown
from weldcalc.quantities import show

REGIONS = tuple(REGION_COLOURS)
"""Names of the regions; a map of regions holds the places of these names in this tuple."""

_SCATTER = {
    None: "the shop's scatter",
    False: "the shop's scatter alone",
    True: "the shop's scatter and the model's own spread",
}
_ROOM_FOR_NAME = ((0.11, 0.07), (0.89, 0.93))  # of the axes, for the middle of a region's name
_COVERED = 0.08  # of the axes: a name moved less than this still lies on its region
_JUST_MET = 1e-6  # far less than one draw counts
_SPECK = 1 / 12  # of the axes: the chance is drawn at no more than 12 places along a side


@frozen(eq=False)
class LimitCurve:
    """A limit of the machine drawn in the window: its words and its points.

    Parameters
    ----------
    words : str
        What is limited, with the number ("pulse energy 30 J").
    x, y : ndarray, shape (k,)
        Points of the curve [SI], in the variables of the window; none where the map has none.
    """

    words: str
    x: Floats
    y: Floats


@frozen
class WindowPoint:
    """The schedule's place in the window and how far it scatters.

    Parameters
    ----------
    x, y : float
        Setting [SI].
    spread_x, spread_y : float, optional
        One sigma of each [SI]; the ellipse is drawn at two sigma.
    """

    x: float
    y: float
    spread_x: float = 0.0
    spread_y: float = 0.0


@in_house_style
def window_map(
    *,
    x_key: str,
    x: ArrayLike,
    y_key: str,
    y: ArrayLike,
    region: ArrayLike,
    penetration: ArrayLike,
    goal_depth: float | None = None,
    chance: ArrayLike | None = None,
    point: WindowPoint | None = None,
    limits: Sequence[LimitCurve] = (),
    pass_name: str = "",
    counts_model: bool | None = None,
) -> Picture:
    """Map of two settings: regions, penetration, chance of meeting every goal, limits, setting.

    Parameters
    ----------
    x_key, y_key : str
        Keys of the two settings in the field table.
    x : array_like, shape (m,)
        Values of the first setting [SI], rising.
    y : array_like, shape (n,)
        Values of the second setting [SI], rising.
    region : array_like of int, shape (n, m)
        Place in `REGIONS` of what each pair of settings gives.
    penetration : array_like, shape (n, m)
        Penetration [m]; NaN where it was not computed.
    goal_depth : float, optional
        Penetration asked for [m].
    chance : array_like, shape (n, m), optional
        Chance of meeting every goal [1]; NaN where it was not computed.
    point : WindowPoint, optional
        Setting of the schedule.
    limits : sequence of LimitCurve, optional
        Limits of the machine.
    pass_name : str, optional
        Pass that the settings are of, for the heading.
    counts_model : bool, optional
        Whether the chance counts the model's own spread beside the shop's scatter; None where
        that is not known here.

    Returns
    -------
    Picture
        Regions told apart by colour, hatch and a word inside each.
    """
    figure = new_figure(height=4.2)
    axes = figure.subplots()
    columns, rows = shown(x, x_key), shown(y, y_key)
    kinds = np.asarray(region, dtype=int)
    axes.set_xlim(columns[0], columns[-1])
    axes.set_ylim(rows[0], rows[-1])
    # the mark first, so that no word is written over it
    mark = _draw_point(axes, point, x_key, y_key) if point is not None else []
    handles = _draw_regions(axes, columns, rows, kinds)
    handles += _draw_depth(axes, columns, rows, shown(penetration, "penetration"), goal_depth)
    if chance is not None:
        handles += _draw_chance(axes, columns, rows, np.asarray(chance, dtype=float))
    handles += _draw_limits(axes, limits, x_key, y_key)
    handles += mark
    axes.set_xlabel(label(x_key))
    axes.set_ylabel(label(y_key))
    of_pass = f"{pass_name} pass: window" if pass_name else "Window"
    axes.set_title(printable(f"{of_pass} of {named(x_key)} and {named(y_key)}"))
    conditions = _conditions(None if chance is None else _SCATTER[counts_model])
    figure.supxlabel(conditions, x=0.01, ha="left", fontsize=7.0, color=EDGE)
    figure.legend(handles=handles, loc="outside right upper")
    alt = _window_words(x_key, y_key, columns, rows, kinds, point, limits)
    return Picture(figure=figure, alt=f"{alt} {conditions}".replace("\n", " "))


def _conditions(scatter: str | None) -> str:
    """Return what the map holds for, and what its regions mean."""
    chance = "" if scatter is None else f"; chance over {scatter}"
    return (
        f"On metal without earlier heat; regions without scatter{chance}.\n"
        "Excessive: blow-through, ejection, heat-affected width over its goal, or a later pass "
        "that melts the far side."
    )


def _draw_regions(axes: Axes, x: Floats, y: Floats, kinds: NDArray[np.int_]) -> list[Any]:
    handles: list[Any] = []
    for place, name in enumerate(REGIONS):
        inside = (kinds == place).astype(float)
        if not inside.any():
            continue
        look: dict[str, Any] = {"colors": [REGION_COLOURS[name]], "hatches": [REGION_HATCHES[name]]}
        filled = axes.contourf(x, y, inside, levels=[0.5, 1.5], zorder=0, **look)
        filled.set(edgecolor=QUIET, linewidth=0.0)  # the colour of the hatch
        if not inside.all():
            axes.contour(x, y, inside, levels=[0.5], colors=[EDGE], linewidths=0.8, zorder=1)
        _name_region(axes, x, y, inside > 0.5, name)
        handles.append(
            Patch(
                facecolor=REGION_COLOURS[name],
                hatch=REGION_HATCHES[name],
                edgecolor=QUIET,
                label=name,
            )
        )
    return handles


def _name_region(axes: Axes, x: Floats, y: Floats, inside: NDArray[np.bool_], name: str) -> None:
    """Write a region's name where it is widest."""
    rows, columns = np.nonzero(inside)
    outer_rows, outer_columns = np.nonzero(~np.pad(inside, 1))
    # the frame of the map counts as a border too, so that the word stays inside the axes
    down = np.subtract.outer(rows, outer_rows - 1) / len(y)
    along = np.subtract.outer(columns, outer_columns - 1) / len(x)
    best = int(np.argmax(np.hypot(down, along / 2.5).min(axis=1)))
    target = np.array([x[columns[best]], y[rows[best]]])
    to_axes = axes.transData + axes.transAxes.inverted()
    place = to_axes.transform(target)
    # a region in a corner may be smaller than its name, which then stands beside it
    inside_axes = np.clip(place, *_ROOM_FOR_NAME)
    off = np.abs(place - inside_axes).max() > _COVERED
    line = {"arrowstyle": "-", "color": EDGE, "linewidth": 0.8, "shrinkA": 0, "shrinkB": 0}
    axes.annotate(
        name.replace("lack of ", "lack of\n"),
        xy=(target[0], target[1]),
        xytext=tuple(to_axes.inverted().transform(inside_axes)),
        arrowprops=line if off else None,
        ha="center",
        va="center",
        weight="bold",
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.5},
        zorder=5,
    )


def _draw_depth(axes: Axes, x: Floats, y: Floats, depth: Floats, goal: float | None) -> list[Any]:
    known = depth[np.isfinite(depth)]
    shallowest, deepest = (known.min(), known.max()) if known.size else (0.0, 0.0)
    if deepest > shallowest:
        levels = np.asarray(MaxNLocator(7).tick_values(shallowest, deepest))
        levels = levels[(levels > 0.0) & (levels > shallowest) & (levels < deepest)]
        drawn = axes.contour(x, y, depth, levels=levels, colors=[FIRST], linewidths=0.9, zorder=2)
        _name_contours(axes, drawn, "{:.2f}")
    handles: list[Any] = [Line2D([], [], color=FIRST, linewidth=0.9, label="penetration [mm]")]
    if goal is None:
        return handles
    level = float(shown(goal, "penetration"))
    look: dict[str, Any] = {"colors": [GOAL], "linestyles": [GOAL_DASHES], "linewidths": 2.0}
    if shallowest < level <= deepest:
        # where the whole wall is asked for, depth rises to it and stays
        axes.contour(x, y, depth, levels=[min(level, 0.999 * deepest)], zorder=3, **look)
    words = f"goal {show(goal, 'penetration')}"
    return [*handles, Line2D([], [], color=GOAL, linestyle=GOAL_DASHES, linewidth=2, label=words)]


def _draw_chance(axes: Axes, x: Floats, y: Floats, chance: Floats) -> list[Any]:
    known = chance[np.isfinite(chance)]
    levels = [
        level for level in (0.5, 0.9, 0.99) if (known < level).any() and (known > level).any()
    ]
    if not levels:
        return []
    look: dict[str, Any] = {"colors": [EDGE], "linestyles": "dotted", "linewidths": 1.3}
    # a chance from few draws has steps: one that is just met belongs inside its line
    drawn = axes.contour(x, y, chance + _JUST_MET, levels=levels, zorder=3, **look)
    words = "chance of every goal [%]"
    if _drop_specks(drawn, speck=_SPECK * np.array([np.ptp(x), np.ptp(y)])):
        words += ",\nspecks of the sampling left out"
    _name_contours(axes, drawn, "{:.0%}")
    return [Line2D([], [], color=EDGE, linestyle="dotted", linewidth=1.3, label=words)]


def _drop_specks(drawn: QuadContourSet, speck: Floats) -> bool:
    """Take away loops narrower and ends shorter than `speck` [data]; tell whether there were any.

    Between the places at which a chance was drawn, nothing is known: what is smaller than the
    way from one to the next comes from counting few draws.
    """
    kept, dropped = [], False
    for pieces in drawn.allsegs:
        large = [one for one in pieces if _is_resolved(one, speck)]
        dropped |= len(large) < len(pieces)
        kept.append(Path.make_compound_path(*map(Path, large)))
    drawn.set_paths(kept)
    return dropped


def _is_resolved(piece: Floats, speck: Floats) -> bool:
    large = np.ptp(piece, axis=0) >= speck
    is_loop = bool((piece[0] == piece[-1]).all())
    return bool(large.all() if is_loop else large.any())


def _name_contours(axes: Axes, drawn: QuadContourSet, form: str) -> None:
    for level, path in zip(drawn.levels, drawn.get_paths(), strict=True):
        _write_on(
            axes, np.asarray(path.vertices, dtype=float), form.format(level).replace("%", " %")
        )


def _draw_limits(axes: Axes, limits: Sequence[LimitCurve], x_key: str, y_key: str) -> list[Any]:
    """Draw limits with a letter on each curve and its words in the legend."""
    handles: list[Any] = []
    look: dict[str, Any] = {"color": LIMIT, "linestyle": LIMIT_DASHES, "linewidth": 1.2}
    for letter, limit in zip(ascii_uppercase, limits, strict=False):
        x, y = shown(limit.x, x_key), shown(limit.y, y_key)
        if not x.size:  # all of the map is beyond it: nothing to draw, but much to say
            told = printable(limit.words).replace(", ", ",\n")
            handles.append(Line2D([], [], linestyle="none", label=told))
            continue
        axes.plot(x, y, zorder=4, **look)
        _write_on(axes, np.column_stack([x, y]), letter, weight="bold")
        handles.append(Line2D([], [], label=printable(f"limit {letter}: {limit.words}"), **look))
    return handles


def _write_on(axes: Axes, curve: Floats, words: str, weight: str = "normal") -> None:
    """Write a short word on a curve, well inside the axes and far from the words already there."""
    to_axes = axes.transData + axes.transAxes.inverted()
    places = to_axes.transform(curve) if len(curve) else np.empty((0, 2))
    free = ((places > 0.06) & (places < 0.94)).all(axis=1)
    if not free.any():
        return
    marks = [np.column_stack(line.get_data()) for line in axes.lines]
    points = [text.get_position() for text in axes.texts]
    points += [(one[0, 0], one[0, 1]) for one in marks if len(one) == 1]
    taken = to_axes.transform(points)
    # words are wider than high, so that a neighbour beside is closer than one below
    steps = (places[free, None, :] - taken[None, :, :]) * [0.5, 1.0]
    x, y = curve[free][np.argmax(np.hypot(*np.moveaxis(steps, 2, 0)).min(axis=1))]
    box = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.6}
    look: dict[str, Any] = {"fontsize": 7, "weight": weight, "bbox": box, "zorder": 4.5}
    axes.text(x, y, words, ha="center", va="center", **look)


def _draw_point(axes: Axes, point: WindowPoint, x_key: str, y_key: str) -> list[Any]:
    centre = float(shown(point.x, x_key)), float(shown(point.y, y_key))
    [mark] = axes.plot(
        *centre,
        "o",
        color="white",
        markeredgecolor="black",
        markersize=7,
        markeredgewidth=1.6,
        linestyle="none",
        label="this schedule",
        zorder=7,
    )
    if not (point.spread_x and point.spread_y):
        return [mark]
    span = [
        4 * float(shown(spread, key) - shown(0.0, key))
        for spread, key in ((point.spread_x, x_key), (point.spread_y, y_key))
    ]
    scatter = Ellipse(
        centre,
        *span,
        fill=False,
        edgecolor="black",
        linewidth=1.2,
        label="its scatter, 2 sigma",
        zorder=6,
    )
    axes.add_patch(scatter)
    return [mark, scatter]


def _window_words(
    x_key: str,
    y_key: str,
    x: Floats,
    y: Floats,
    kinds: NDArray[np.int_],
    point: WindowPoint | None,
    limits: Sequence[LimitCurve],
) -> str:
    shares = "; ".join(
        f"{name} {percent(float(np.mean(kinds == place)), 1)}" for place, name in enumerate(REGIONS)
    )
    words = (
        f"Map of {label(x_key)} from {x[0]:.4g} to {x[-1]:.4g} and {label(y_key)} from "
        f"{y[0]:.4g} to {y[-1]:.4g}. Share of the map: {shares}."
    )
    if point is not None:
        words += f" This schedule lies at {show(point.x, x_key)}, {show(point.y, y_key)}."
    if limits:
        words += " Limits of the laser: " + "; ".join(limit.words for limit in limits) + "."
    return words
