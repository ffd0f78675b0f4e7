"""Fit-up: the gap round the tube from joint to joint, and what a tighter face tolerance buys."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from weldcalc.fields import percent
from weldcalc.plots.style import (
    EDGE,
    FIRST,
    QUIET,
    SECOND,
    Floats,
    Picture,
    goal_line,
    in_house_style,
    limit_line,
    new_figure,
)
from weldcalc.plots.words import label, shown
from weldcalc.quantities import show

SUMS: Mapping[str, tuple[str, dict[str, Any]]] = {
    # the last two are often close: the light dots show on the broad dark line
    "worst_gap": ("worst case", {"color": EDGE, "linewidth": 0.9}),
    "gap_within_95": ("95 % of the joints within", {"color": FIRST, "linewidth": 2.6}),
    "root_sum_square_gap": (
        "root of the sum of squares",
        {"color": SECOND, "linestyle": (0, (1.2, 1.2))},
    ),
}
"""Sums of tolerances: their words and line."""


@in_house_style
def gap_distribution(
    largest: ArrayLike,
    *,
    sums: Mapping[str, float],
    gap: float | None = None,
    share_above: float | None = None,
    allowed: float | None = None,
    bought: Mapping[str, ArrayLike] | None = None,
    face_squareness: float | None = None,
) -> Picture:
    """Largest gap round each of many joints, and the gap over the squareness of the faces.

    Parameters
    ----------
    largest : array_like, shape (n,)
        Largest gap round each joint [m].
    sums : mapping of str to float
        Gap under each key of `SUMS` [m].
    gap : float, optional
        Largest gap that the schedule states [m].
    share_above : float, optional
        Share of joints above it [1].
    allowed : float, optional
        Largest gap that meets the limit on underfill [m].
    bought : mapping of str to array_like, shape (k,), optional
        Squareness as face_squareness, and the gaps over it under the keys of `SUMS` [m].
    face_squareness : float, optional
        Squareness that the schedule states [m].

    Returns
    -------
    Picture
        One panel, or two over one legend.
    """
    figure = new_figure(height=3.4)
    panels = figure.subplots(1, 2 if bought else 1, squeeze=False)[0]
    _draw_joints(panels[0], shown(largest, "stacked_gap"), sums)
    _draw_limits(panels[0], gap, allowed, vertical=True)
    places = [float(line.get_xdata()[0]) for line in panels[0].lines]
    panels[0].set_xlim(0.0, 1.05 * max(places))
    if bought:
        _draw_bought(panels[1], bought, face_squareness)
        _draw_limits(panels[1], gap, allowed, vertical=False)
    _legend(figure, panels)
    told = [_named_sum(key, sums) for key in SUMS]
    if gap is not None and share_above is not None:
        told.append(f"{percent(share_above, 1)} of them above the {show(gap, 'gap')} stated")
    alt = f"Largest gap round {np.size(largest)} joints drawn: {'; '.join(told)}."
    return Picture(figure=figure, alt=alt)


def _draw_joints(axes: Axes, largest: Floats, sums: Mapping[str, float]) -> None:
    # shares of all joints, so that the height does not depend on how many were drawn
    weights = np.full(largest.size, 100.0 / largest.size)
    axes.hist(largest, bins=40, weights=weights, color=QUIET, edgecolor="white", linewidth=0.3)
    for key, (_, look) in SUMS.items():
        axes.axvline(float(shown(sums[key], key)), label=_named_sum(key, sums), **look)
    axes.set_xlabel(label("stacked_gap", "largest gap round a joint"))
    axes.set_ylabel("share of the joints [%]")
    axes.set_title("Gap from joint to joint")


def _named_sum(key: str, sums: Mapping[str, float]) -> str:
    """Return the words of a sum with its number: two of them may lie on one another."""
    return f"{SUMS[key][0]} {show(sums[key], key)}"


def _legend(figure: Figure, panels: Iterable[Axes]) -> None:
    """Put one legend under the picture; it names each sum once, with its number."""
    entries: dict[str, Artist] = {}
    for axes in panels:
        handles, names = axes.get_legend_handles_labels()
        entries |= dict(zip(names, handles, strict=True))
    for words, _ in SUMS.values():
        entries.pop(words, None)  # a curve over the squareness: its line is named already
    figure.legend(entries.values(), entries.keys(), loc="outside lower center", ncols=2)


def _draw_limits(axes: Axes, gap: float | None, allowed: float | None, *, vertical: bool) -> None:
    if gap is not None:
        words = f"gap stated, {show(gap, 'gap')}"
        limit_line(axes, float(shown(gap, "gap")), words, vertical=vertical)
    if allowed is not None:
        words = f"underfill allows {show(allowed, 'largest_gap')}"
        goal_line(axes, float(shown(allowed, "largest_gap")), words, vertical=vertical)


def _draw_bought(axes: Axes, bought: Mapping[str, ArrayLike], typed: float | None) -> None:
    along = shown(bought["face_squareness"], "face_squareness")
    for key, (words, look) in SUMS.items():
        axes.plot(along, shown(bought[key], key), label=words, **look)
    if typed is not None:
        words = f"squareness stated, {show(typed, 'face_squareness')}"
        at = float(shown(typed, "face_squareness"))
        axes.axvline(at, color=EDGE, linewidth=0.7, linestyle="dotted", label=words)
    axes.set_ylim(bottom=0.0)
    axes.set_xlim(along[0], along[-1])
    axes.set_xlabel(label("face_squareness", "squareness of each face"))
    axes.set_ylabel(label("stacked_gap", "largest gap round a joint"))
    axes.set_title("What square faces buy")
