"""Pictures of a pass from above and in time: overlapping pulses and the pulse train."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from weldcalc.fields import percent
from weldcalc.plots.style import (
    BEAM,
    EDGE,
    FUSED,
    METAL,
    MM,
    PASS_HATCHES,
    SPOT,
    SPOT_DASHES,
    Floats,
    Picture,
    dimension,
    fact_table,
    in_house_style,
    new_figure,
)
from weldcalc.plots.words import printable

if TYPE_CHECKING:
    from weldcalc.prediction import PassEstimate

SQUARE: tuple[tuple[float, float], ...] = ((0.0, 1.0), (1.0, 1.0))


def stretched_circle(*, diameter: float, travel: float, points: int = 91) -> Floats:
    """Outline swept by a circle that moves on by `travel` while it is on.

    Parameters
    ----------
    diameter : float
        Diameter of the circle [m].
    travel : float
        Way of the circle along x [m], half of it before and half after the middle.
    points : int, optional
        Corners of each half circle.

    Returns
    -------
    ndarray, shape (2 * points, 2)
        Corners (x along the seam, y across it) [m] about the origin.
    """
    angle = np.linspace(-np.pi / 2, np.pi / 2, points)
    front = np.column_stack([np.cos(angle), np.sin(angle)]) * diameter / 2
    ahead = np.array([travel / 2, 0.0])
    return np.vstack([front + ahead, -front - ahead])


@in_house_style
def plan_view(pass_: PassEstimate, *, pulses: int | None = None) -> Picture:
    """Overlapping pulses seen from above: on the surface and on the far side, to one scale.

    Parameters
    ----------
    pass_ : PassEstimate
        Settings and predicted widths of one pass.
    pulses : int, optional
        How many pulses are drawn; as many as fill the picture when not given.

    Returns
    -------
    Picture
        Spot and fused outline at the surface, fused outline at the root, with all overlaps.
    """
    figure = new_figure(height=3.6)
    parts = figure.subplot_mosaic(
        [["top", "top words"], ["root", "root words"]], width_ratios=[1.3, 1.0]
    )
    figure.suptitle(printable(f"Pass {pass_.name}: pulses seen from above"))
    drawn = _filling_pulses(pass_) if pulses is None else pulses
    centres: Floats = pass_.pulse_pitch * np.arange(drawn, dtype=float)
    _draw_surface(parts["top"], pass_, centres)
    _draw_root(parts["root"], pass_, centres)
    _frame_plan([parts["top"], parts["root"]], pass_, centres)
    surface, root = _surface_facts(pass_), _root_facts(pass_)
    fact_table(parts["top words"], surface)
    fact_table(parts["root words"], root)
    figure.legend(loc="outside lower center", ncols=4)
    words = "; ".join(f"{name} {value}" for value, name in surface + root)
    alt = f"Plan view of {drawn} pulses of pass {pass_.name}, to scale. {words}."
    return Picture(figure=figure, alt=alt)


def _widest(pass_: PassEstimate) -> float:
    return max(pass_.spot_diameter, pass_.fusion_width, pass_.root_width or 0.0)


def _filling_pulses(pass_: PassEstimate) -> int:
    # a picture about three times as long as it is high, but never a thicket of outlines
    return int(np.clip(1 + round(1.8 * _widest(pass_) / pass_.pulse_pitch), 4, 14))


def _draw_surface(axes: Axes, pass_: PassEstimate, centres: Floats) -> None:
    if pass_.fusion_width:
        _draw_fused(axes, pass_.fusion_width, centres, "fused at the surface")
    travel = pass_.travel_speed * pass_.pulse_duration
    spot = stretched_circle(diameter=pass_.spot_diameter, travel=travel)
    for number, centre in enumerate(centres):
        corners = MM * (spot + np.array([centre, 0.0]))
        named = "beam spot, with travel" if number == 0 else None
        axes.add_patch(
            Polygon(corners, fill=False, edgecolor=SPOT, linestyle=SPOT_DASHES, label=named)
        )
    below = -0.56 * MM * _widest(pass_)
    dimension(
        axes,
        (MM * centres[0], below),
        (MM * centres[1], below),
        f"pitch {MM * pass_.pulse_pitch:.3f} mm",
        shift=(0.0, -3.0),
        va="top",
    )
    axes.plot(MM * centres, 0 * centres, "+", color=EDGE, markersize=4, label="pulse centre")
    axes.set_title("At the surface")


def _draw_root(axes: Axes, pass_: PassEstimate, centres: Floats) -> None:
    if pass_.root_width:
        _draw_fused(axes, pass_.root_width, centres, "fused at the root", hatch=PASS_HATCHES[1])
    axes.plot(MM * centres, 0 * centres, "+", color=EDGE, markersize=4)
    axes.set_title("At the root (far side)")


def _draw_fused(axes: Axes, width: float, centres: Floats, label: str, hatch: str = "") -> None:
    outline = stretched_circle(diameter=width, travel=0.0)
    for number, centre in enumerate(centres):
        corners = MM * (outline + np.array([centre, 0.0]))
        named = label if number == 0 else None
        axes.add_patch(Polygon(corners, facecolor=FUSED, alpha=0.22, linewidth=0))
        axes.add_patch(
            Polygon(corners, fill=False, edgecolor=FUSED, linewidth=1.2, label=named, hatch=hatch)
        )


def _frame_plan(axes_list: Sequence[Axes], pass_: PassEstimate, centres: Floats) -> None:
    widest = MM * _widest(pass_)
    for axes in axes_list:
        axes.set_facecolor(METAL)
        axes.axhline(0.0, color=EDGE, linewidth=0.6, linestyle=(0, (10, 2, 2, 2)))
        axes.set_aspect("equal")
        axes.set_ylabel("across [mm]")
        axes.set_ylim(-0.8 * widest, 0.62 * widest)
        axes.set_xlim(-0.62 * widest, MM * centres[-1] + 0.62 * widest)
    axes_list[-1].set_xlabel("along the seam [mm]")


def _surface_facts(pass_: PassEstimate) -> list[tuple[str, str]]:
    return [
        (f"{MM * pass_.spot_diameter:.3f} mm", "spot diameter"),
        (f"{MM * pass_.fusion_width:.3f} mm", "fused width at the surface"),
        (f"{MM * pass_.pulse_pitch:.3f} mm", "pulse pitch"),
        (percent(pass_.spot_overlap, 1), "spot overlap, travel left out"),
        (percent(pass_.spot_overlap_with_travel, 1), "spot overlap, travel counted"),
        (_overlap(pass_.melt_overlap), "melt overlap at the surface"),
    ]


def _overlap(fraction: float | None) -> str:
    return "none" if fraction is None else percent(fraction, 1)


def _root_facts(pass_: PassEstimate) -> list[tuple[str, str]]:
    if not pass_.root_width:
        return [("none", "fused width at the root"), ("none", "root overlap")]
    facts = [
        (f"{MM * pass_.root_width:.3f} mm", "fused width at the root"),
        (_overlap(pass_.root_overlap), "root overlap"),
    ]
    if pass_.root_width < pass_.pulse_pitch:
        facts.append(("open", "the pools do not touch at the root"))
    return facts


@in_house_style
def pulse_train(
    pass_: PassEstimate,
    *,
    shape: Sequence[tuple[float, float]] = SQUARE,
    pulses: int = 3,
) -> Picture:
    """Power against time: some pulses, and one of them enlarged.

    Parameters
    ----------
    pass_ : PassEstimate
        Settings of one pass.
    shape : sequence of (float, float), optional
        Corners (fraction of the duration, fraction of the peak power) [1] of a pulse.
    pulses : int, optional
        How many pulses are drawn.

    Returns
    -------
    Picture
        Pulse train with pulse energy, duty cycle, average and peak power.
    """
    figure = new_figure(height=2.7)
    train, single = figure.subplots(1, 2, width_ratios=[1.7, 1.0])
    corners = np.asarray(shape, dtype=float)
    corners = np.vstack([[corners[0, 0], 0.0], corners, [corners[-1, 0], 0.0]])
    time, power = 1e3 * pass_.pulse_duration * corners[:, 0], pass_.peak_power * corners[:, 1]
    figure.suptitle(printable(f"Pass {pass_.name}: power against time"))
    _draw_train(train, pass_, time, power, pulses)
    _draw_pulse(single, pass_, time, power)
    alt = (
        f"Pulse train of pass {pass_.name}: {pulses} pulses of {pass_.peak_power:.0f} W peak and "
        f"{1e3 * pass_.pulse_duration:.2f} ms at {pass_.repetition_rate:.2f} Hz; pulse energy "
        f"{pass_.pulse_energy:.3f} J, duty cycle {100 * pass_.duty_cycle:.2f} %, average power "
        f"{pass_.average_power:.2f} W."
    )
    return Picture(figure=figure, alt=alt)


def _draw_train(axes: Axes, pass_: PassEstimate, time: Floats, power: Floats, pulses: int) -> None:
    period = 1e3 / pass_.repetition_rate
    starts = period * np.arange(pulses)
    all_time = np.concatenate([start + time for start in starts])
    all_power = np.tile(power, pulses)
    axes.fill_between(all_time, all_power, color=BEAM, alpha=0.25, linewidth=0)
    axes.plot(all_time, all_power, color=BEAM, label="power")
    axes.axhline(
        pass_.average_power,
        color=EDGE,
        linestyle="dotted",
        label=f"average power {pass_.average_power:.2f} W",
    )
    _frame_power(axes, pass_.peak_power)
    dimension(
        axes,
        (0.0, 1.08 * pass_.peak_power),
        (period, 1.08 * pass_.peak_power),
        f"period {period:.1f} ms ({pass_.repetition_rate:.2f} Hz)",
    )
    axes.set_title(f"{pulses} pulses, duty cycle {100 * pass_.duty_cycle:.2f} %")
    axes.legend(loc="upper right")


def _draw_pulse(axes: Axes, pass_: PassEstimate, time: Floats, power: Floats) -> None:
    axes.fill_between(time, power, color=BEAM, alpha=0.25, linewidth=0)
    axes.plot(time, power, color=BEAM)
    _frame_power(axes, pass_.peak_power)
    last = 1e3 * pass_.pulse_duration
    axes.set_xlim(-0.12 * last, 1.12 * last)
    dimension(
        axes,
        (0.0, 1.08 * pass_.peak_power),
        (last, 1.08 * pass_.peak_power),
        f"pulse duration {last:.2f} ms",
    )
    axes.text(
        last / 2,
        0.45 * pass_.peak_power,
        f"pulse energy\n{pass_.pulse_energy:.3f} J",
        ha="center",
        va="center",
    )
    axes.set_title(f"one pulse, peak {pass_.peak_power:.0f} W")


def _frame_power(axes: Axes, peak: float) -> None:
    axes.set_ylim(0.0, 1.4 * peak)
    axes.set_xlabel("time [ms]")
    axes.set_ylabel("power on the work [W]")


__all__ = ["SQUARE", "plan_view", "pulse_train", "stretched_circle"]
