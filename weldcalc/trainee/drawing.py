"""The trainee's picture as SVG: from above, along the seam, and the temperature between pulses.

Written by hand because it is drawn again at every move of a slider: tens of milliseconds count.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.heatflow.pulse_result import SHIELDING_TEMPERATURE
from weldcalc.page.pieces import element, text
from weldcalc.plots.style import BEAM, EDGE, FIRST, FUSED, GOAL, METAL, QUIET, SECOND
from weldcalc.quantities import show, to_shown
from weldcalc.trainee.lesson import Lesson, Outcome, centres
from weldcalc.trainee.profile import root_profile

Floats = NDArray[np.float64]

WIDTH: Final = 500.0  # of the drawing, in its own units; the browser scales it
_LEFT, _RIGHT = 46.0, 8.0
_PLAN, _SECTION, _CHART = 190.0, 150.0, 140.0  # most height of each part
_SCALES: Final = (240e3, 160e3, 110e3, 75e3, 50e3)  # drawing units for each metre of part
_MOST_OUTLINES: Final = 41
_FONT: Final = "font-family:'DejaVu Sans',Verdana,Arial,sans-serif;font-size:11.5px"


@frozen
class Frame:
    """Where metres of the part are in the drawing.

    Parameters
    ----------
    scale : float
        Drawing units for each metre.
    top : float
        Drawing units above the place that is 0 across or 0 deep.
    """

    scale: float
    top: float

    def x(self, along: float) -> float:
        """Return the place of a distance from the middle pulse [m]."""
        return _LEFT + (WIDTH - _LEFT - _RIGHT) / 2 + self.scale * along

    def y(self, down: float) -> float:
        """Return the place of a distance downwards [m]."""
        return self.top + self.scale * down

    @property
    def reach(self) -> float:
        """Half the length of seam that is drawn [m]."""
        return (WIDTH - _LEFT - _RIGHT) / 2 / self.scale


def picture(lesson: Lesson, outcome: Outcome) -> str:
    """Return the three parts of the picture as one SVG element that says what it shows.

    Parameters
    ----------
    lesson : Lesson
        Gives goal and metal.
    outcome : Outcome
        What is drawn.
    """
    scale = _scale(outcome)
    plan_height = min(scale * _widest(outcome) * 1.12, _PLAN)
    plan = Frame(scale, 24.0 + plan_height / 2)
    section = Frame(scale, plan.top + plan_height / 2 + 46.0)
    chart_top = section.y(outcome.settings.wall_thickness) + 56.0
    height = chart_top + _CHART + 38.0
    parts = [
        *_plan_view(outcome, plan, plan_height),
        *_long_section(lesson, outcome, section),
        *_temperature(lesson, outcome, chart_top),
    ]
    return element(
        "svg",
        element("title", text(alt_text(outcome))) + "".join(parts),
        viewBox=f"0 0 {WIDTH:.0f} {height:.0f}",
        role="img",
        style=f"width:100%;max-width:{WIDTH * 1.2:.0f}px;height:auto;background:#fff;{_FONT}",
    )


def alt_text(outcome: Outcome) -> str:
    """Return what the picture shows, in words."""
    pool = outcome.pool
    root = (
        f"fused {show(pool.root_width, 'root_width')} wide on the far side"
        if pool.root_width
        else "not fused through"
    )
    return (
        f"Pulses {show(outcome.pulse_pitch, 'pulse_pitch')} apart from above and in a section "
        f"along the seam: fused {show(pool.pulse.fusion_width, 'fusion_width')} wide at the top, "
        f"{show(pool.pulse.penetration, 'penetration')} deep, {root}; the pulse finds metal at "
        f"{show(pool.found, 'seam_preheat')}."
    )


def _widest(outcome: Outcome) -> float:
    return max(outcome.settings.spot_diameter, outcome.pool.pulse.fusion_width)


def _scale(outcome: Outcome) -> float:
    # a few steps only, so that a thing that grows is seen to grow
    for scale in _SCALES:
        wide, deep = scale * _widest(outcome), scale * outcome.settings.wall_thickness
        if 1.12 * wide <= _PLAN and deep <= _SECTION:
            return scale
    return _SCALES[-1]


def _plan_view(outcome: Outcome, frame: Frame, height: float) -> Iterable[str]:
    top = frame.top - height / 2
    yield _words(_LEFT, top - 9, "From above", weight="bold")
    yield from _legend(
        _LEFT + 92,
        top - 9,
        [("spot", BEAM, "4 2"), ("fused at the top", FUSED, ""), ("fused far side", EDGE, "1.5 2")],
    )
    yield _box(_LEFT, top, WIDTH - _RIGHT - _LEFT, height, METAL)
    clip = f"M{_LEFT} {top}H{WIDTH - _RIGHT}V{top + height}H{_LEFT}Z"
    yield f'<clipPath id="weldcalc-plan"><path d="{clip}"/></clipPath>'
    yield f'<g clip-path="url(#weldcalc-plan)">{"".join(_pulses_above(outcome, frame))}</g>'
    yield _line(_LEFT, frame.top, WIDTH - _RIGHT, frame.top, EDGE, dash="10 3 2 3", width=0.7)
    yield from _scale_bar(frame, top + height + 5)


def _pulses_above(outcome: Outcome, frame: Frame) -> Iterable[str]:
    pool, settings = outcome.pool, outcome.settings
    travel = settings.travel_speed * settings.pulse_duration
    places = _thinned(list(centres(outcome, frame.reach + _widest(outcome))))
    fill = 0.5 / max(_laid_over(pool.pulse.fusion_width, outcome.pulse_pitch), 2.0)
    for place in places:
        yield _circle(frame, place, pool.pulse.fusion_width, FUSED, fill=fill)
    for place in places:
        yield _circle(frame, place, pool.root_width, EDGE, dash="1.5 2", fill=fill / 2)
    for place in places:
        yield _stadium(frame, place, settings.spot_diameter, travel, width=0.7)
    # two pulses stand out, so that the overlap of one with the next is seen
    for place in (0.0, outcome.pulse_pitch):
        yield _circle(frame, place, pool.pulse.fusion_width, FUSED, width=2.4)
        yield _circle(frame, place, pool.root_width, EDGE, dash="1.5 2", width=2.2)
        yield _stadium(frame, place, settings.spot_diameter, travel, width=2.2)


def _laid_over(width: float, pitch: float) -> float:
    """Return how many fused spots lie over each other, as far as they are drawn."""
    return min(width / pitch, float(_MOST_OUTLINES))


def _thinned(places: list[float]) -> list[float]:
    step = -(-len(places) // _MOST_OUTLINES)
    middle = len(places) // 2
    return [place for number, place in enumerate(places) if (number - middle) % step == 0]


def _scale_bar(frame: Frame, y: float) -> Iterable[str]:
    length = 0.5e-3 if frame.scale > 90e3 else 1e-3
    end = WIDTH - _RIGHT
    start = end - frame.scale * length
    yield _line(start, y, end, y, EDGE, width=1.6)
    yield _words((start + end) / 2, y + 12, f"{to_shown(length, 'place'):g} mm", anchor="middle")
    yield _words(_LEFT, y + 12, "→ travel of the spot", colour=EDGE)


def _long_section(lesson: Lesson, outcome: Outcome, frame: Frame) -> Iterable[str]:
    wall = outcome.settings.wall_thickness
    yield _words(_LEFT, frame.top - 9, "Along the seam, cut through the wall [mm]", weight="bold")
    yield _box(_LEFT, frame.top, WIDTH - _RIGHT - _LEFT, frame.scale * wall, METAL)
    yield from _pools(outcome, frame)
    for depth in (0.0, wall):
        yield _line(_LEFT, frame.y(depth), WIDTH - _RIGHT, frame.y(depth), EDGE, width=1.1)
    yield _words(_LEFT - 5, frame.y(0) + 9, "0", anchor="end")
    yield _words(_LEFT - 5, frame.y(wall) + 2, f"{to_shown(wall, 'penetration'):.2f}", anchor="end")
    yield from _depth_goal(lesson, outcome, frame)


def _depth_goal(lesson: Lesson, outcome: Outcome, frame: Frame) -> Iterable[str]:
    goal = lesson.schedule.goal.penetration
    below = frame.y(outcome.settings.wall_thickness) + 15
    shown = [("lowest edge of the melt", FUSED, "")]
    if goal is not None:
        y = frame.y(goal * outcome.settings.wall_thickness)
        yield _line(_LEFT, y, WIDTH - _RIGHT, y, GOAL, dash="6 3", width=1.4)
        shown.append((f"goal: {show(goal, 'goal.penetration')} of the wall", GOAL, "6 3"))
    yield from _legend(_LEFT, below, shown)


def _pools(outcome: Outcome, frame: Frame) -> Iterable[str]:
    outline = outcome.pool.pulse.fusion_outline
    if not outcome.pool.pulse.fusion_width:
        return
    every = list(centres(outcome, frame.reach + float(outline[:, 0].max())))
    along = np.linspace(-frame.reach, frame.reach, 361)
    depth = root_profile(outline, along[:, None] - _near(every)[None, :])
    half = np.vstack([outline, outline[::-1] * [-1.0, 1.0]])
    drawn = "".join(_pool(frame, half, place) for place in _thinned(every))
    drawn += "".join(_pool(frame, half, at, width=2.2) for at in (0.0, outcome.pulse_pitch))
    clip = (
        f"M{_LEFT} {frame.top}H{WIDTH - _RIGHT}V{frame.y(outcome.settings.wall_thickness)}H{_LEFT}Z"
    )
    yield f'<clipPath id="weldcalc-section"><path d="{clip}"/></clipPath>'
    yield f'<g clip-path="url(#weldcalc-section)">{drawn}</g>'
    edge = _path((frame.x(x), frame.y(z)) for x, z in zip(along, depth, strict=True))
    yield f'<path d="{edge}" fill="none" stroke="{FUSED}" stroke-width="2.4"/>'


def _near(places: list[float]) -> Floats:
    # pools closer than a drawing unit make one edge
    step = -(-len(places) // 401)
    return np.asarray(places[::step], dtype=float)


def _pool(frame: Frame, half: Floats, place: float, *, width: float = 0.7) -> str:
    corners = _path((frame.x(place + r), frame.y(z)) for r, z in half)
    return (
        f'<path d="{corners}Z" fill="{FUSED}" fill-opacity="0.13" '
        f'stroke="{FUSED}" stroke-width="{width}"/>'
    )


def _temperature(lesson: Lesson, outcome: Outcome, top: float) -> Iterable[str]:
    axis = _Axis(lesson, outcome, top)
    name = "Metal under the spot, from one pulse to the next [°C]"
    yield _words(_LEFT, top - 9, name, weight="bold")
    yield _box(_LEFT, top, WIDTH - _RIGHT - _LEFT, _CHART, "#fff", EDGE)
    yield from axis.ticks()
    keep = axis.y(SHIELDING_TEMPERATURE)
    yield _line(_LEFT, keep, WIDTH - _RIGHT, keep, GOAL, dash="6 3", width=1.2)
    clip = f"M{_LEFT} {top}H{WIDTH - _RIGHT}V{top + _CHART}H{_LEFT}Z"
    yield f'<clipPath id="weldcalc-chart"><path d="{clip}"/></clipPath>'
    yield '<g clip-path="url(#weldcalc-chart)">'
    yield axis.curve(outcome.cooling_first, SECOND, "5 3")
    yield axis.curve(outcome.cooling_later, FIRST, "")
    yield "</g>"
    limit = f"gas needed above {show(SHIELDING_TEMPERATURE, 'part_temperature')}"
    yield from _legend(
        _LEFT,
        top + _CHART + 30,
        [
            ("half-way", FIRST, ""),
            ("first pulse", SECOND, "5 3"),
            (limit, GOAL, "6 3"),
        ],
    )


class _Axis:
    """Time over three pulses and temperature up to the solidus, in drawing units."""

    pulses: Final = 3

    def __init__(self, lesson: Lesson, outcome: Outcome, top: float) -> None:
        self.outcome, self.top = outcome, top
        self.low, self.high = lesson.start.preheat, lesson.metal.solidus
        self.period = 1.0 / outcome.settings.repetition_rate

    def x(self, time: float) -> float:
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * time / (self.pulses * self.period)

    def y(self, temperature: float) -> float:
        share = (temperature - self.low) / (self.high - self.low)
        return self.top + _CHART * (1.0 - share)

    def ticks(self) -> Iterable[str]:
        for temperature in (self.low, *self._round_levels()):
            yield _line(_LEFT - 3, self.y(temperature), _LEFT, self.y(temperature), EDGE)
            level = f"{to_shown(temperature, 'part_temperature'):.0f}"
            yield _words(_LEFT - 5, self.y(temperature) + 4, level, anchor="end")
        yield _words(_LEFT - 5, self.top + 3, "melts", anchor="end", colour=FUSED)
        for number in range(self.pulses + 1):
            at = self.x(number * self.period)
            yield _line(at, self.top + _CHART, at, self.top + _CHART + 4, EDGE)
            anchor = ("start", "middle", "middle", "end")[number]
            seconds = show(number * self.period, "time") if number else "0 s"
            yield _words(at, self.top + _CHART + 14, seconds, anchor=anchor)

    def _round_levels(self) -> list[float]:
        step, zero = 500.0, 273.15
        count = int((self.high - zero) / step)
        levels = [zero + step * number for number in range(1, count + 1)]
        # a level that close to the top would be written over the word there
        return [level for level in levels if self.y(level) > self.top + 12.0]

    def curve(self, temperature: Floats, colour: str, dash: str) -> str:
        one = [
            (float(t), max(self.y(float(value)), self.top - 9.0))
            for t, value in zip(self.outcome.time, temperature, strict=True)
        ]
        points = [
            (self.x(t + number * self.period), y) for number in range(self.pulses) for t, y in one
        ]
        return (
            f'<path d="{_path(points)}" fill="none" stroke="{colour}" stroke-width="1.8" '
            f'stroke-dasharray="{dash or "none"}"/>'
        )


def _legend(x: float, y: float, entries: Sequence[tuple[str, str, str]]) -> Iterable[str]:
    for name, colour, dash in entries:
        yield _line(x, y - 4, x + 22, y - 4, colour, dash=dash, width=1.8)
        yield _words(x + 27, y, name)
        x += 27 + 6.7 * len(name) + 18


def _circle(
    frame: Frame,
    place: float,
    diameter: float,
    colour: str,
    *,
    dash: str = "",
    fill: float = 0.0,
    width: float = 0.7,
) -> str:
    if not diameter:
        return ""
    return (
        f'<circle cx="{frame.x(place):.1f}" cy="{frame.top:.1f}" '
        f'r="{frame.scale * diameter / 2:.1f}" fill="{colour}" fill-opacity="{fill:.3f}" '
        f'stroke="{colour}" stroke-width="{width}" stroke-dasharray="{dash or "none"}"/>'
    )


def _stadium(frame: Frame, place: float, diameter: float, travel: float, *, width: float) -> str:
    size, length = frame.scale * diameter, frame.scale * (diameter + travel)
    return (
        f'<rect x="{frame.x(place) - length / 2:.1f}" y="{frame.top - size / 2:.1f}" '
        f'width="{length:.1f}" height="{size:.1f}" rx="{size / 2:.1f}" fill="none" '
        f'stroke="{BEAM}" stroke-width="{width}" stroke-dasharray="4 2"/>'
    )


def _path(points: Iterable[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _line(
    x1: float, y1: float, x2: float, y2: float, colour: str, *, dash: str = "", width: float = 1.0
) -> str:
    return (
        f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" stroke="{colour}" '
        f'stroke-width="{width}" stroke-dasharray="{dash or "none"}"/>'
    )


def _box(x: float, y: float, width: float, height: float, fill: str, edge: str = QUIET) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" '
        f'fill="{fill}" stroke="{edge}" stroke-width="0.6"/>'
    )


def _words(
    x: float, y: float, words: str, *, anchor: str = "start", weight: str = "", colour: str = EDGE
) -> str:
    return element(
        "text",
        text(words),
        x=f"{x:.1f}",
        y=f"{y:.1f}",
        fill=colour,
        **{"text-anchor": anchor, "font-weight": weight},
    )
