"""Scatter: how widely a result spreads against its goal, and which causes spread it."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from weldcalc.fields import percent
from weldcalc.plots.style import (
    EDGE,
    FIRST,
    INTERVAL,
    QUIET,
    SECOND,
    Picture,
    goal_line,
    in_house_style,
    new_figure,
)
from weldcalc.plots.words import label, named, printable, shown
from weldcalc.quantities import show

_LABEL_WIDTH = 24  # characters


@in_house_style
def cause_ranking(
    causes: Sequence[str],
    *,
    first_order: ArrayLike,
    total: ArrayLike,
    of: str = "penetration",
) -> Picture:
    """Causes of scatter ranked: each one's share of the variance alone and with its interactions.

    Parameters
    ----------
    causes : sequence of str
        Names of the causes.
    first_order : array_like, shape (n,)
        Share of the variance that a cause makes by itself [1].
    total : array_like, shape (n,)
        Share with everything it does together with others [1].
    of : str, optional
        Key of the result that scatters.

    Returns
    -------
    Picture
        Horizontal bars, the largest total on top.
    """
    # no share of a variance is below zero: where an estimate is, the true one is small
    alone = np.maximum(np.asarray(first_order, dtype=float), 0.0)
    whole = np.maximum(np.asarray(total, dtype=float), 0.0)
    order = np.argsort(whole, kind="stable")
    figure = new_figure(height=1.2 + 0.34 * len(causes))
    axes = figure.subplots()
    place = np.arange(len(causes), dtype=float)
    axes.barh(
        place + 0.19,
        whole[order],
        0.36,
        color=SECOND,
        hatch="////",
        edgecolor="white",
        label="total, with interactions",
    )
    axes.barh(
        place - 0.19,
        alone[order],
        0.36,
        color=FIRST,
        edgecolor="white",
        label="alone (first order)",
    )
    for row, number in enumerate(order):
        axes.annotate(
            percent(whole[number], 1),
            (whole[number], row + 0.19),
            (3, 0),
            textcoords="offset points",
            va="center",
            fontsize=7,
        )
    axes.set_yticks(place, [_on_lines(causes[number]) for number in order])
    axes.set_xlim(0.0, 1.12 * max(1e-9, float(whole.max()), float(alone.max())))
    axes.xaxis.set_major_formatter(lambda value, _: f"{100 * value:.0f}")
    axes.set_xlabel(f"share of the variance of {named(of)} [%]")
    axes.set_title(f"What spreads the {named(of)}")
    figure.legend(loc="outside lower center", ncols=2)
    told = "; ".join(
        f"{causes[n]} {percent(whole[n], 1)} in total, {percent(alone[n], 1)} alone"
        for n in order[::-1]
    )
    return Picture(figure=figure, alt=f"Causes of scatter in {named(of)}, largest first: {told}.")


def _on_lines(name: str) -> str:
    """Return a name broken into lines that leave room for the bars."""
    return "\n".join(wrap(printable(name), _LABEL_WIDTH))


@in_house_style
def result_spread(
    samples: ArrayLike,
    *,
    key: str = "penetration",
    interval: tuple[float, float],
    level: float = 0.9,
    goal: float | None = None,
    goal_is: Literal["least", "most"] = "least",
    chance: float | None = None,
) -> Picture:
    """Histogram of a sampled result with its interval and the goal.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Sampled values of the result [SI].
    key : str, optional
        Key of the result in the field table.
    interval : (float, float)
        Interval of the result [SI].
    level : float, optional
        Share of the samples that the interval holds [1].
    goal : float, optional
        Value asked for [SI].
    goal_is : {"least", "most"}, optional
        Whether the goal is a least or a most.
    chance : float, optional
        Chance of meeting the goal [1].

    Returns
    -------
    Picture
        Histogram with the interval as a band under it.
    """
    values = shown(samples, key)
    low, high = (float(shown(end, key)) for end in interval)
    figure = new_figure(height=2.6)
    axes = figure.subplots()
    held = f"{100 * level:.0f} % interval\n{show(interval, key)}"
    axes.axvspan(low, high, color=INTERVAL, alpha=0.6, zorder=0, label=held)
    axes.hist(
        values,
        bins=min(40, max(8, len(values) // 40)),
        color=QUIET,
        edgecolor="white",
        linewidth=0.4,
        label=f"{len(values)} samples",
    )
    middle = float(np.median(values))
    axes.axvline(
        middle,
        color=EDGE,
        linewidth=1.2,
        label=f"median {show(float(np.median(np.asarray(samples, dtype=float))), key)}",
    )
    alt = (
        f"Histogram of {len(values)} samples of {label(key)}: median {middle:.4g}, "
        f"{100 * level:.0f} % interval {low:.4g} to {high:.4g}"
    )
    if goal is not None:
        goal_line(
            axes, float(shown(goal, key)), f"goal, {goal_is} {show(goal, key)}", vertical=True
        )
        alt += f"; goal, {goal_is} {show(goal, key)}"
    if chance is not None:
        alt += f"; chance of meeting it {percent(chance, 1)}"
    axes.set_xlabel(label(key))
    axes.set_ylabel("samples [1]")
    axes.set_title(
        f"Scatter of {named(key)}"
        + ("" if chance is None else f": chance of meeting the goal {percent(chance, 1)}")
    )
    figure.legend(loc="outside right upper")
    return Picture(figure=figure, alt=alt + ".")
