"""Tube in a plate: how the beam's place shares heat and melt between the two members."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike

from weldcalc.plots.style import (
    EDGE,
    FIRST,
    MM,
    SECOND,
    Floats,
    Picture,
    in_house_style,
    new_figure,
)
from weldcalc.plots.words import label, printable, shown
from weldcalc.quantities import show

_MM2 = 1e6  # shown square millimetres per square metre


@in_house_style
def heat_split(
    *,
    beam_offset: ArrayLike,
    tube_share: ArrayLike,
    plate_share: ArrayLike,
    tube_area: ArrayLike,
    plate_area: ArrayLike,
    set_offset: float | None = None,
    name: str = "",
) -> Picture:
    """Share of the absorbed energy and fused area of tube and plate against beam offset.

    Parameters
    ----------
    beam_offset : array_like, shape (n,)
        Distance of the beam from the joint, positive towards the plate [m], rising.
    tube_share, plate_share : array_like, shape (n,)
        Share of the absorbed energy that each member takes [1].
    tube_area, plate_area : array_like, shape (n,)
        Fused area of each member in the section [m2].
    set_offset : float, optional
        Beam offset of the schedule [m].
    name : str, optional
        Name of the pass.

    Returns
    -------
    Picture
        Two panels over the same offset.
    """
    figure = new_figure(height=2.9)
    left, right = figure.subplots(1, 2)
    offset = shown(beam_offset, "beam_offset")
    shares = 100 * np.asarray(tube_share, float), 100 * np.asarray(plate_share, float)
    areas = _MM2 * np.asarray(tube_area, float), _MM2 * np.asarray(plate_area, float)
    _draw_members(left, offset, shares, set_offset)
    _draw_members(right, offset, areas, set_offset)
    left.set_ylim(0.0, 100.0)
    left.set_ylabel("share of absorbed energy [%]")
    right.set_ylabel("fused area [mm²]")
    left.set_title("Absorbed energy")
    right.set_title("Fused area in the section")
    figure.legend(*left.get_legend_handles_labels(), loc="outside lower center", ncols=4)
    if name:
        figure.suptitle(printable(f"Pass {name}: tube and plate against the place of the beam"))
    words = _split_words(offset, shares, areas, set_offset)
    return Picture(figure=figure, alt=f"Pass {name}. {words}" if name else words)


def _draw_members(
    axes: Axes, offset: Floats, pair: tuple[Floats, Floats], set_offset: float | None
) -> None:
    axes.plot(offset, pair[0], "o-", color=FIRST, markersize=3.5, label="tube")
    axes.plot(
        offset,
        pair[1],
        "s",
        linestyle=(0, (4, 1.5)),
        color=SECOND,
        markersize=3.5,
        label="plate",
    )
    axes.axvline(0.0, color=EDGE, linewidth=0.7, label="joint line")
    if set_offset is not None:
        here = float(shown(set_offset, "beam_offset"))
        words = f"setting {show(set_offset, 'beam_offset')}"
        axes.axvline(here, color=EDGE, linestyle="dotted", label=words)
    axes.set_xlabel(label("beam_offset", "beam offset, + to the plate"))
    axes.set_ylim(0.0, 1.1 * max(float(one.max()) for one in pair))


def _split_words(
    offset: Floats,
    shares: tuple[Floats, Floats],
    areas: tuple[Floats, Floats],
    set_offset: float | None,
) -> str:
    words = (
        f"Tube and plate against beam offset from {offset[0]:.3f} to {offset[-1]:.3f} mm: the "
        f"tube's share of the absorbed energy runs from {shares[0][0]:.1f} % to "
        f"{shares[0][-1]:.1f} %, the plate's from {shares[1][0]:.1f} % to {shares[1][-1]:.1f} %; "
        f"fused area of the tube {areas[0][0]:.4f} to {areas[0][-1]:.4f} mm², of the plate "
        f"{areas[1][0]:.4f} to {areas[1][-1]:.4f} mm²"
    )
    return words + ("." if set_offset is None else f"; setting {show(set_offset, 'beam_offset')}.")


def recorded_heat_splits(record: Mapping[str, Any]) -> list[Picture]:
    """Return the split of heat and melt of each pass that a record holds.

    Parameters
    ----------
    record : mapping
        Record data.

    Returns
    -------
    list of Picture
        As `heat_split`; empty for a butt joint.
    """
    return [_recorded(one) for one in record["computed"]["heat_split"]]


def _recorded(one: Mapping[str, Any]) -> Picture:
    return heat_split(
        beam_offset=np.asarray(one["beam_offset_mm"]) / MM,
        tube_share=one["tube_absorbed_share"],
        plate_share=one["plate_absorbed_share"],
        tube_area=np.asarray(one["tube_fused_area_mm2"]) / _MM2,
        plate_area=np.asarray(one["plate_fused_area_mm2"]) / _MM2,
        set_offset=one["set_beam_offset_mm"] / MM,
        name=one["pass"],
    )
