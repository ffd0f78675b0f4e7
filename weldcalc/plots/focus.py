"""The spot on the part against the height of the focus."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike

from weldcalc.plots.style import (
    BEAM,
    EDGE,
    INTERVAL,
    QUIET,
    Picture,
    in_house_style,
    new_figure,
)
from weldcalc.plots.words import label, shown
from weldcalc.quantities import show


@in_house_style
def focus_curve(
    *,
    focus_offset: ArrayLike,
    spot_diameter: ArrayLike,
    rayleigh_length: float,
    tolerance: tuple[float, float] | None = None,
    tolerance_words: str = "",
    set_offset: float = 0.0,
) -> Picture:
    """Spot diameter against focus offset, with the Rayleigh length and the tolerance of focus.

    Parameters
    ----------
    focus_offset : array_like, shape (n,)
        Distance from the focus to the part surface [m], rising.
    spot_diameter : array_like, shape (n,)
        Spot diameter on the part [m].
    rayleigh_length : float
        Distance from the focus at which the spot area has doubled [m].
    tolerance : (float, float), optional
        Lowest and highest focus offset that still serve [m].
    tolerance_words : str, optional
        What the tolerance keeps ("spot within 5 %").
    set_offset : float, optional
        Focus offset of the schedule [m].

    Returns
    -------
    Picture
        The curve with a point at the setting.
    """
    figure = new_figure(height=2.7)
    axes = figure.subplots()
    height, width = shown(focus_offset, "focus_offset"), shown(spot_diameter, "spot_diameter")
    axes.plot(height, width, color=BEAM, label="spot on the part")
    if tolerance is not None:
        low, high = (float(shown(end, "focus_offset")) for end in tolerance)
        words = f"focus tolerance\n{low:.2f} to {high:.2f} mm\n{tolerance_words}".rstrip()
        axes.axvspan(low, high, color=INTERVAL, alpha=0.6, zorder=0, label=words)
    here = float(shown(set_offset, "focus_offset"))
    spot = float(np.interp(here, height, width))
    axes.plot(here, spot, "o", color=EDGE, markersize=5, label=f"setting, spot {spot:.3f} mm")
    _mark_rayleigh(axes, float(shown(rayleigh_length, "focus_offset")))
    axes.set_ylim(0.0, 1.12 * float(width.max()))
    axes.set_xlim(height[0], height[-1])
    axes.set_xlabel(label("focus_offset"))
    axes.set_ylabel(label("spot_diameter"))
    axes.set_title("Spot against focus")
    figure.legend(loc="outside right upper")
    alt = (
        f"Spot diameter against focus offset: smallest {width.min():.3f} mm, Rayleigh length "
        f"{show(rayleigh_length, 'focus_offset')}, {spot:.3f} mm at the setting of {here:.2f} mm"
    )
    if tolerance is not None:
        alt += f", focus tolerance {show(tolerance, 'focus_offset')} {tolerance_words}".rstrip()
    return Picture(figure=figure, alt=alt + ".")


def _mark_rayleigh(axes: Axes, length: float) -> None:
    for end, words in ((-length, None), (length, f"Rayleigh length {length:.2f} mm")):
        axes.axvline(end, color=QUIET, linewidth=1.0, linestyle="dotted", label=words)
