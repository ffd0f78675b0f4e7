"""Predicted against measured: does the model, or its calibration, agree with sections."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from attrs import frozen
from matplotlib.axes import Axes
from numpy.typing import ArrayLike

from weldcalc.plots.style import EDGE, FIRST, QUIET, SECOND, Picture, in_house_style, new_figure
from weldcalc.plots.words import label, named, printable, shown

_MODES = {  # marker and colour say the mode twice
    "conduction": ("o", FIRST, "white"),
    "transition": ("D", QUIET, QUIET),
    "keyhole": ("^", SECOND, SECOND),
    "mode not known": ("x", EDGE, EDGE),
}


@frozen(eq=False)
class Compared:
    """Measured and predicted values of one result.

    Parameters
    ----------
    key : str
        Key of the result in the field table.
    measured, predicted : array_like, shape (n,)
        Values [SI].
    modes : sequence of str
        "conduction", "transition" or "keyhole" of each case; anything else is shown as not known.
    low, high : array_like, shape (n,), optional
        Interval of each prediction [SI].
    """

    key: str
    measured: ArrayLike
    predicted: ArrayLike
    modes: Sequence[str]
    low: ArrayLike | None = None
    high: ArrayLike | None = None


@in_house_style
def predicted_against_measured(
    compared: Sequence[Compared], *, title: str, level: float = 0.9
) -> Picture:
    """Parity plot of each result, with the interval of each prediction and its welding mode.

    Parameters
    ----------
    compared : sequence of Compared
        One panel each (depth, width).
    title : str
        What is compared ("published pulses", "coupons of this calibration").
    level : float, optional
        Nominal coverage of the intervals [1].

    Returns
    -------
    Picture
        On the diagonal, prediction and measurement are equal; dotted lines are 20 % either way.
    """
    figure = new_figure(height=3.9)
    panels = figure.subplots(1, len(compared), squeeze=False)[0]
    figure.suptitle(printable(f"Predicted against measured: {title}"))
    for axes, one in zip(panels, compared, strict=True):
        _draw_panel(axes, one, level)
    figure.legend(*panels[0].get_legend_handles_labels(), loc="outside lower center", ncols=3)
    told = " ".join(_panel_words(one, level) for one in compared)
    return Picture(figure=figure, alt=f"Predicted against measured, {title}. {told}")


def _draw_panel(axes: Axes, one: Compared, level: float) -> None:
    measured, predicted = shown(one.measured, one.key), shown(one.predicted, one.key)
    ends = [predicted]
    if one.low is not None and one.high is not None:
        low, high = shown(one.low, one.key), shown(one.high, one.key)
        ends += [high]
        axes.vlines(
            measured,
            low,
            high,
            color=QUIET,
            linewidth=0.9,
            zorder=1,
            label=f"{100 * level:.0f} % interval of the prediction",
        )
    for mode, (marker, colour, fill) in _MODES.items():
        chosen = np.array([_known(given) == mode for given in one.modes], dtype=bool)
        if chosen.any():
            axes.plot(
                measured[chosen],
                predicted[chosen],
                marker,
                color=colour,
                markerfacecolor=fill,
                markersize=5,
                linestyle="none",
                label=mode,
            )
    reach = 1.08 * max(float(measured.max()), *(float(end.max()) for end in ends))
    axes.plot([0, reach], [0, reach], color=EDGE, linewidth=1.0, label="equal")
    for factor, words in ((1.2, "20 % above and below"), (0.8, None)):
        axes.plot(
            [0, reach],
            [0, factor * reach],
            color=EDGE,
            linewidth=0.8,
            linestyle="dotted",
            label=words,
        )
    axes.set_xlim(0, reach)
    axes.set_ylim(0, reach)
    axes.set_aspect("equal")
    axes.set_xlabel(label(one.key, f"measured {named(one.key)}"))
    axes.set_ylabel(label(one.key, f"predicted {named(one.key)}"))


def _known(mode: str) -> str:
    return mode if mode in _MODES else "mode not known"


def _panel_words(one: Compared, level: float) -> str:
    measured, predicted = np.asarray(one.measured, float), np.asarray(one.predicted, float)
    words = f"{named(one.key)}: {len(measured)} cases"
    off = np.abs(predicted - measured)[measured > 0] / measured[measured > 0]
    if off.size:
        words += (
            f", median difference {100 * np.median(off):.1f} %, largest {100 * off.max():.1f} %"
        )
    if one.low is not None and one.high is not None:
        held = (measured >= np.asarray(one.low)) & (measured <= np.asarray(one.high))
        words += f", {int(held.sum())} inside their {100 * level:.0f} % interval"
    return words + "."
