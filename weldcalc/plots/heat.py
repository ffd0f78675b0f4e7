"""The part growing warm: temperature against time, and what it does round the joint."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from weldcalc.plots.style import (
    EDGE,
    FIRST,
    METAL,
    QUIET,
    SECOND,
    Floats,
    Picture,
    goal_line,
    in_house_style,
    limit_line,
    new_figure,
    shared_legend,
)
from weldcalc.plots.words import label, printable, shown
from weldcalc.quantities import show

_FAR_SIDE = "far-side width"
_NEAR = 1.5  # times the deepest pool


@in_house_style
def part_temperature(
    *,
    time: ArrayLike,
    temperature: ArrayLike,
    most: float | None = None,
    pass_starts: Mapping[str, float] | None = None,
) -> Picture:
    """Temperature of the part as a whole against time, with the most it may reach.

    Parameters
    ----------
    time : array_like, shape (n,)
        Time from the first pulse [s].
    temperature : array_like, shape (n,)
        Temperature of the part, away from the weld [K].
    most : float, optional
        Goal: highest temperature allowed [K].
    pass_starts : mapping of str to float, optional
        Name of each pass and the time it starts [s].

    Returns
    -------
    Picture
        One curve with its peak marked.
    """
    figure = new_figure(height=2.7)
    axes = figure.subplots()
    seconds = np.asarray(time, dtype=float)
    warm = shown(temperature, "peak_part_temperature")
    axes.plot(seconds, warm, color=FIRST, label="part, away from the weld")
    hottest = int(np.argmax(warm))
    told = f"{warm[hottest]:.0f} °C after {seconds[hottest]:.0f} s"
    # named in the legend: words beside the point would lie on a goal line close above it
    axes.plot(
        seconds[hottest],
        warm[hottest],
        "o",
        color=FIRST,
        markersize=4,
        clip_on=False,
        label=f"highest, {told}",
    )
    top = float(warm.max())
    if most is not None:
        allowed = float(shown(most, "peak_part_temperature"))
        goal_line(axes, allowed, f"most allowed {show(most, 'goal.part_temperature')}")
        top = max(top, allowed)
    _mark_starts(axes, pass_starts or {})
    axes.set_ylim(min(0.0, float(warm.min())), 1.25 * top)
    axes.set_xlim(seconds[0], max(seconds[-1], seconds[0] + 1.0))
    axes.set_xlabel("time [s]")
    axes.set_ylabel(label("peak_part_temperature", "part temperature"))
    axes.set_title("Part temperature")
    figure.legend(loc="outside right upper")
    allowed_words = "" if most is None else f"; most allowed {show(most, 'goal.part_temperature')}"
    return Picture(
        figure=figure, alt=f"Part temperature against time: highest {told}{allowed_words}."
    )


def _mark_starts(axes: Axes, starts: Mapping[str, float]) -> None:
    for name, start in starts.items():
        axes.axvline(start, color=QUIET, linewidth=0.8, linestyle="dotted")
        axes.annotate(
            printable(f"{name} starts"),
            xy=(start, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(3, -2),
            textcoords="offset points",
            va="top",
            fontsize=7,
            color=EDGE,
        )


@in_house_style
def round_the_joint(
    *,
    angle: ArrayLike,
    preheat: ArrayLike,
    level: ArrayLike,
    key: Literal["penetration", "root_width"] = "penetration",
    wall_thickness: float,
    tapered_preheat: ArrayLike | None = None,
    tapered_level: ArrayLike | None = None,
    goal: float | None = None,
    closes_at: float | None = None,
    name: str = "",
) -> Picture:
    """Local preheat and pool size round the joint, at constant energy and with energy taper.

    Parameters
    ----------
    angle : array_like, shape (n,)
        Angle welded so far [rad].
    preheat : array_like, shape (n,)
        Temperature at the spot just before each pulse [K].
    level : array_like, shape (n,)
        Pool depth of each pulse at constant energy, or its width on the far side [m].
    key : {"penetration", "root_width"}, optional
        Which of the two; where the pool goes through the wall, its depth says nothing more.
    wall_thickness : float
        Thickness of the wall [m].
    tapered_preheat, tapered_level : array_like, shape (n,), optional
        The same with the energy lowered along the way [K], [m].
    goal : float, optional
        Depth or far-side width asked for [m].
    closes_at : float, optional
        Angle at which the seam runs onto its own start [rad].
    name : str, optional
        Name of the pass.

    Returns
    -------
    Picture
        Preheat above, depth or far-side width below, over the same angle.
    """
    figure = new_figure(height=3.9)
    above, below = figure.subplots(2, 1, sharex=True)
    turned = shown(angle, "arc")
    _draw_pair(above, turned, shown(preheat, "seam_preheat"), tapered_preheat, "seam_preheat")
    _draw_pair(below, turned, shown(level, key), tapered_level, key)
    _draw_goal(below, key, goal)
    _frame_level(below, key, wall_thickness)
    _frame_round(figure, above, below)
    if name:
        above.set_title(printable(f"Pass {name}: temperature at the spot before each pulse"))
    if closes_at is not None:
        limit_line(above, float(shown(closes_at, "arc")), "seam closes", vertical=True)
        limit_line(below, float(shown(closes_at, "arc")), "seam closes", vertical=True)
    shared_legend(figure, (above, below), columns=3)
    alt = _round_words(turned, preheat, level, tapered_level, goal, key)
    return Picture(figure=figure, alt=f"Pass {name}. {alt}" if name else alt)


def _draw_pair(
    axes: Axes, turned: Floats, level: Floats, tapered: ArrayLike | None, key: str
) -> None:
    axes.plot(turned, level, color=FIRST, label="constant energy")
    if tapered is not None:
        axes.plot(
            turned,
            shown(tapered, key),
            color=SECOND,
            linestyle=(0, (4, 1.5)),
            label="tapered energy",
        )


def _draw_goal(axes: Axes, key: str, goal: float | None) -> None:
    if goal is not None:
        goal_line(axes, float(shown(goal, key)), f"goal {show(goal, key)}")


def _frame_level(axes: Axes, key: str, wall: float) -> None:
    drawn = np.concatenate([np.asarray(line.get_ydata(), dtype=float) for line in axes.lines])
    low, high, far = float(drawn.min()), float(drawn.max()), float(shown(wall, key))
    if key == "penetration":
        axes.set_title(f"Pool depth of each pulse (far side at {show(wall, key)})")
        # a far side far off would press the curves into one
        if far <= _NEAR * high:
            axes.axhline(far, color=EDGE, linewidth=0.9, label=f"far side, {show(wall, key)}")
            high = max(high, far)
        axes.axhspan(0.0, far, color=METAL, zorder=0)
    else:
        axes.set_title(f"Far-side width of each pulse (the wall of {show(wall, key)} is melted)")
    low, high = max(0.0, low - 0.1 * high), 1.1 * high
    axes.set_ylim(*((high, low) if key == "penetration" else (low, high)))
    axes.set_ylabel(label(key, "" if key == "penetration" else _FAR_SIDE))


def _frame_round(figure: Figure, above: Axes, below: Axes) -> None:
    above.set_title("Temperature at the spot before each pulse")
    above.set_ylabel(label("seam_preheat", "local preheat"))
    above.margins(x=0.0)
    below.margins(x=0.0)
    below.set_xlabel(label("arc", "angle welded"))
    figure.align_ylabels([above, below])


def _round_words(
    turned: Floats,
    preheat: ArrayLike,
    level: ArrayLike,
    tapered: ArrayLike | None,
    goal: float | None,
    key: str,
) -> str:
    def ends(values: ArrayLike, of: str) -> str:
        low_high = float(np.min(values)), float(np.max(values))
        return show(low_high, of)

    words = (
        f"Over {turned[0]:.0f} to {turned[-1]:.0f} degrees the preheat at the spot runs from "
        f"{ends(preheat, 'seam_preheat')} and the "
        f"{'penetration' if key == 'penetration' else _FAR_SIDE} at constant energy from "
        f"{ends(level, key)}"
    )
    if tapered is not None:
        words += f", with energy taper from {ends(tapered, key)}"
    return words + ("." if goal is None else f"; goal {show(goal, key)}.")
