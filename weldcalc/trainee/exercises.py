"""Five short exercises; the right answers are computed, never written down."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from attrs import frozen

from weldcalc import pulses
from weldcalc.beam import mean_irradiance
from weldcalc.fields import percent
from weldcalc.heatflow.pulse_result import SHIELDING_TEMPERATURE
from weldcalc.quantities import field, pretty_unit, show, to_shown
from weldcalc.trainee.lesson import Lesson, Outcome
from weldcalc.trainee.words import PASSING, passing_share

NEAR: Final = 0.02  # of the right value: reading and rounding by hand
THICKER: Final = 1.5  # wall to weld through, over that of the lesson
Checked = tuple[bool, str]


@frozen(eq=False)
class Question:
    """An exercise whose answer is one number.

    Parameters
    ----------
    text : str
        What is asked.
    key : str
        Field of the answer: gives its unit.
    right : float
        Answer [SI].
    slips : tuple of (float, str)
        Wrong answers that people reach [SI], and what they forgot.
    way : str
        How the answer is found.
    """

    text: str
    key: str
    right: float
    slips: tuple[tuple[float, str], ...]
    way: str

    @property
    def unit(self) -> str:
        """Unit that the answer is typed in."""
        return pretty_unit(field(self.key).shown_unit)

    def check(self, typed: float) -> Checked:
        """Say whether a number typed in the shown unit is right, and what to think of if not."""
        if _is_near(typed, to_shown(self.right, self.key)):
            return True, f"Right: {show(self.right, self.key)}. {self.way}"
        for value, hint in self.slips:
            if _is_near(typed, to_shown(value, self.key)):
                return False, f"Not yet: {hint}"
        way = "too low" if typed < to_shown(self.right, self.key) else "too high"
        return False, f"Not yet: {typed:g} {self.unit} is {way}. {self.way}"


@frozen(eq=False)
class Task:
    """An exercise that is solved with the sliders.

    Parameters
    ----------
    text : str
        What is asked.
    conditions : tuple of (str, callable)
        Each: what is missing and what helps, and a test of an outcome.
    done : str
        What it teaches.
    """

    text: str
    conditions: tuple[tuple[str, Callable[[Outcome], bool]], ...]
    done: str

    def check(self, now: Outcome) -> Checked:
        """Say whether the sliders meet all conditions, and which they do not meet."""
        open_ = [words for words, holds in self.conditions if not holds(now)]
        return (False, "Not yet: " + "; ".join(open_) + ".") if open_ else (True, self.done)


def _is_near(typed: float, right: float) -> bool:
    return abs(typed - right) <= NEAR * abs(right)


def all_exercises(lesson: Lesson) -> tuple[Question | Task, ...]:
    """Return the five exercises of a lesson.

    Parameters
    ----------
    lesson : Lesson
        Its start gives the numbers of the questions.
    """
    return (
        _overlap_question(lesson),
        _rate_question(lesson),
        _irradiance_question(lesson),
        _through_task(lesson),
        _cool_task(lesson),
    )


def _overlap_question(lesson: Lesson) -> Question:
    start = lesson.settings
    speed = 2 * start.travel_speed
    pitch = pulses.pitch(travel_speed=speed, repetition_rate=start.repetition_rate)
    right = pulses.overlap_of_width(width=start.spot_diameter, pitch=pitch)
    return Question(
        text=(
            f"The spot is {show(start.spot_diameter, 'spot_diameter')} wide, the rate is "
            f"{show(start.repetition_rate, 'repetition_rate')}, and the speed is doubled to "
            f"{show(speed, 'travel_speed')}. What is the spot overlap, with the travel during the "
            "pulse left out?"
        ),
        key="spot_overlap",
        right=right,
        slips=(
            (1 - right, "that is the share which the next pulse does not hit; take it from 100 %."),
            ((1 + right) / 2, "that is the overlap at the old speed."),
        ),
        way=(
            f"The pitch is speed over rate, {show(pitch, 'pulse_pitch')}; the overlap is what is "
            "left of the spot after one pitch, over the spot."
        ),
    )


def _rate_question(lesson: Lesson) -> Question:
    start = lesson.settings
    wanted = lesson.schedule.goal.spot_overlap or 0.7
    speed = 3 * start.travel_speed
    right = pulses.repetition_for_overlap(
        overlap=wanted, travel_speed=speed, spot_diameter=start.spot_diameter
    )
    swapped = pulses.repetition_for_overlap(
        overlap=1 - wanted, travel_speed=speed, spot_diameter=start.spot_diameter
    )
    return Question(
        text=(
            f"You want to weld at {show(speed, 'travel_speed')} with the "
            f"{show(start.spot_diameter, 'spot_diameter')} spot. Which pulse rate gives a spot "
            f"overlap of {show(wanted, 'spot_overlap')} (travel left out)?"
        ),
        key="repetition_rate",
        right=right,
        slips=(
            (swapped, "the overlap is the share that is hit again, not the share that is not."),
        ),
        way="Speed over rate has to be the share of the spot that is not hit again.",
    )


def _irradiance_question(lesson: Lesson) -> Question:
    start = lesson.settings
    right = mean_irradiance(power=start.peak_power, diameter=2 * start.spot_diameter)
    before = mean_irradiance(power=start.peak_power, diameter=start.spot_diameter)
    return Question(
        text=(
            f"At {show(start.peak_power, 'peak_power')} the spot is widened from "
            f"{show(start.spot_diameter, 'spot_diameter')} to "
            f"{show(2 * start.spot_diameter, 'spot_diameter')}. What is the mean irradiance then?"
        ),
        key="mean_irradiance",
        right=right,
        slips=(
            (before / 2, "the area grows with the square of the diameter."),
            # the area of half the wide spot, and that of twice the wide spot
            (before, "that is the narrow spot, or takes the radius for the diameter."),
            (right / 4, "that takes the diameter for the radius: halve it before squaring."),
        ),
        way=(
            "Power over the area of the spot: twice the diameter is four times the area, so a "
            "wide spot heats gently and a narrow one drills."
        ),
    )


def _through_task(lesson: Lesson) -> Task:
    wanted = lesson.schedule.goal.spot_overlap or 0.7
    least = lesson.schedule.goal.root_width or 0.0
    # the pass that the lesson starts from may go through its own wall already
    wall = THICKER * lesson.settings.wall_thickness
    energy = lesson.schedule.laser.pulse_energy_limit
    conditions: list[tuple[str, Callable[[Outcome], bool]]] = [
        (
            f"the wall is under {show(wall, 'wall_thickness')}: move its slider first",
            lambda now: now.settings.wall_thickness >= wall * (1 - 1e-9),
        ),
        (
            "the pools do not go through: more peak power takes them deeper, longer pulses too",
            lambda now: now.pool.root_width > 0,
        ),
        # the next two say nothing new while the pools do not go through
        (
            f"the fused width on the far side is under {show(least, 'root_width')}: a little more "
            "peak power or duration widens it",
            lambda now: not now.pool.root_width or now.pool.root_width >= least,
        ),
        (
            f"the root overlap is under {show(wanted, 'root_overlap')}: bring the pulses closer "
            "(slower travel, higher rate) or widen the root",
            lambda now: not now.pool.root_width or (now.pool.root_overlap or -1.0) >= wanted,
        ),
        (
            f"more than {percent(PASSING, 0)} of the light leaves by the far side, "
            "and the pool may fall through: take peak power back",
            lambda now: passing_share(now) <= PASSING,
        ),
        (
            "the seam does not set between pulses: lower the rate or the energy of a pulse",
            lambda now: now.warm is not None,
        ),
    ]
    if energy is not None:
        limit = f"the pulse energy is above the {show(energy, 'pulse_energy')} of this laser"
        conditions.append((limit, lambda now: now.pulse_energy <= energy))
    return Task(
        text=(
            f"A thicker wall: set it to {show(wall, 'wall_thickness')} and weld it through with "
            f"the other sliders, at least {show(least, 'root_width')} fused on the far side and a "
            "root overlap of at least "
            f"{show(wanted, 'root_overlap')}, half-way along the seam, without the beam shooting "
            "out through the far side."
        ),
        conditions=tuple(conditions),
        done="Done. A pool that goes through is narrower below than above, so the root overlap is "
        "the one that decides whether the seam is tight.",
    )


def _cool_task(lesson: Lesson) -> Task:
    wanted = lesson.schedule.goal.spot_overlap or 0.7
    speed = 2 * lesson.settings.travel_speed
    limit = SHIELDING_TEMPERATURE
    return Task(
        text=(
            f"Be quick and stay cool: travel at {show(speed, 'travel_speed')} or more, melt at "
            f"least half the wall, keep the spot overlap at {show(wanted, 'spot_overlap')} or "
            f"more, and let the metal half-way along the seam cool under "
            f"{show(limit, 'part_temperature')} before a pulse comes."
        ),
        conditions=(
            (
                f"the travel speed is under {show(speed, 'travel_speed')}",
                lambda now: now.settings.travel_speed >= speed * (1 - 1e-9),
            ),
            (
                f"the spot overlap is under {show(wanted, 'spot_overlap')}: a higher rate brings "
                "the pulses closer",
                lambda now: now.spot_overlap >= wanted,
            ),
            (
                "less than half the wall melts: more peak power drives the pool deeper",
                lambda now: now.pool.pulse.penetration >= now.settings.wall_thickness / 2,
            ),
            (
                f"the metal is above {show(limit, 'part_temperature')} when a pulse comes: "
                "shorter pulses bring less heat",
                lambda now: now.warm is not None and now.warm.found < limit,
            ),
        ),
        done="Done. Short pulses of high peak power melt with little energy; what warms the seam "
        "is energy per length, not peak power.",
    )
