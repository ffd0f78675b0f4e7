"""Control charts of a run: is the process still the one that was recorded."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from attrs import frozen
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike

from weldcalc.plots.style import (
    ALERT,
    FIRST,
    LIMIT,
    LIMIT_DASHES,
    QUIET,
    Floats,
    Picture,
    in_house_style,
    new_figure,
    shared_legend,
)
from weldcalc.plots.words import label, named, printable, shown


@frozen(eq=False)
class Chart:
    """One control chart, as computed elsewhere.

    Parameters
    ----------
    title : str
        What is charted ("single values", "moving range", "weighted mean").
    values : array_like, shape (n,)
        Points [SI].
    centre : float
        Centre line [SI].
    low, high : float or array_like, shape (n,)
        Control limits [SI].
    first : int, optional
        Number of the first point: a moving range starts with the second weld.
    is_range : bool, optional
        Whether the values are differences, as in a moving range.
    """

    title: str
    values: ArrayLike
    centre: float
    low: ArrayLike
    high: ArrayLike
    first: int = 1
    is_range: bool = False


@in_house_style
def control_charts(charts: Sequence[Chart], *, key: str, counted: str = "weld") -> Picture:
    """Control charts one above the other over the same welds; points outside are ringed.

    Parameters
    ----------
    charts : sequence of Chart
        From top to bottom.
    key : str
        Key of the charted value in the field table.
    counted : str, optional
        What is numbered along the axis.

    Returns
    -------
    Picture
        Charts with centre line and control limits.
    """
    figure = new_figure(height=0.9 + 1.4 * len(charts))
    panels = figure.subplots(len(charts), 1, sharex=True, squeeze=False)[:, 0]
    figure.suptitle(printable(f"Control charts of {named(key)}"))
    outside = [_draw_chart(axes, chart, key) for axes, chart in zip(panels, charts, strict=True)]
    panels[-1].set_xlabel(f"{printable(counted)} number [1]")
    shared_legend(figure, panels, columns=4)
    figure.align_ylabels(panels)
    told = "; ".join(
        _chart_words(chart, key, beyond, counted)
        for chart, beyond in zip(charts, outside, strict=True)
    )
    return Picture(figure=figure, alt=f"Control charts of {label(key)}. {told}.")


def _draw_chart(axes: Axes, chart: Chart, key: str) -> list[int]:
    """Draw one chart and return the numbers of the points outside its limits."""
    values = _scaled(chart, chart.values, key)
    number = chart.first + np.arange(len(values))
    low, high = (
        np.broadcast_to(_scaled(chart, limit, key), values.shape)
        for limit in (chart.low, chart.high)
    )
    axes.axhline(
        float(_scaled(chart, chart.centre, key)), color=QUIET, linewidth=1.0, label="centre line"
    )
    for limit in (low, high):
        axes.step(
            number,
            limit,
            where="mid",
            color=LIMIT,
            linestyle=LIMIT_DASHES,
            linewidth=1.0,
            label="control limits",
        )
    axes.plot(number, values, "o-", color=FIRST, markersize=3.5, linewidth=0.9, label="value")
    beyond = (values < low) | (values > high)
    if beyond.any():
        axes.plot(
            number[beyond],
            values[beyond],
            "o",
            markersize=9,
            fillstyle="none",
            color=ALERT,
            markeredgewidth=1.6,
            linestyle="none",
            label="outside the limits",
        )
    axes.margins(y=0.15)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_title(printable(chart.title))
    axes.set_ylabel(label(key, "range" if chart.is_range else ""))
    return [int(one) for one in number[beyond]]


def _scaled(chart: Chart, values: ArrayLike, key: str) -> Floats:
    # a range is a difference: an offset of the unit (degrees Celsius) must not shift it
    zero = shown(0.0, key) if chart.is_range else 0.0
    return np.asarray(shown(values, key) - zero)


def _chart_words(chart: Chart, key: str, beyond: Sequence[int], counted: str) -> str:
    told = "none outside"
    if beyond:
        told = f"outside: {counted} " + ", ".join(str(one) for one in beyond)
    count = len(np.asarray(chart.values))
    centre = float(_scaled(chart, chart.centre, key))
    return f"{chart.title}: {count} points, centre line {centre:.4g}, {told}"
