"""Pulses that could be the root or the cover, and their combinations with time and heat."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from attrs import evolve, field, frozen

from weldcalc.drafts.heat import HeatFrame, HeatSource, PulseTrain, TimedPass, timed_pass
from weldcalc.drafts.search import (
    COVER_SPOTS,
    HOT_RISES,
    POWERS,
    Ladder,
    PulseOption,
    Search,
    durations,
    ladders,
    solve_powers,
)
from weldcalc.drafts.shortfall import Shortfalls
from weldcalc.goals import PassGoals
from weldcalc.schedule import Goal, Laser, Schedule, WeldPass
from weldcalc.tolerances.scatter import column

LEAST_OVERLAP = 0.7  # of the spots, where no goal asks for one (common practice, no source)
PITCHES: Final = (1.0, 0.8)  # of the pitch that the overlap allows
COVER_POWERS: Final = (0.94, 1.0, 1.06)
WARM_WIDENS = 1.08  # a root on the warm end of its seam is about this much wider
_SIGMAS = 2.0  # of the beam's place in either pass that the cover has to take up


@frozen(eq=False)
class Combination:
    """A root and a cover with their rates.

    Parameters
    ----------
    root, cover : TimedPass
        Both passes.
    root_option, cover_option : PulseOption
        What the search knows of their pulses.
    """

    root: TimedPass
    cover: TimedPass
    root_option: PulseOption = field(repr=False)
    cover_option: PulseOption = field(repr=False)

    @property
    def cycle_time(self) -> float:
        """Return the time of both passes and the pause [s]."""
        return self.root.time + self.cover.time

    @property
    def heat_input(self) -> float:
        """Return the energy of both passes for each metre of seam [J/m]."""
        passes = (self.root.weld_pass, self.cover.weld_pass)
        return sum(one.pulse_energy * one.repetition_rate / one.travel_speed for one in passes)

    @property
    def room(self) -> float:
        """Return by what share the power of the root may drift with the chance kept [1]."""
        return self.root_option.room


def root_goals(schedule: Schedule) -> PassGoals:
    """Return what a drafted root has to reach."""
    goal = schedule.goal
    share = goal.penetration or 1.0
    return PassGoals(
        depth_share=share,
        root_width=goal.root_width if share >= 1.0 else None,
        haz_width=goal.haz_width,
        stays_inside=False,
    )


def cover_goals(schedule: Schedule) -> PassGoals:
    """Return what a drafted cover has to reach: it stays inside the wall."""
    return PassGoals(
        depth_share=None,
        root_width=None,
        haz_width=schedule.goal.haz_width,
        stays_inside=True,
    )


def pitch_of(goal: Goal, spot: float) -> float:
    """Return the largest pulse pitch that the overlap asked for allows [m].

    Parameters
    ----------
    goal : Goal
        Its spot overlap; 70 % if none is asked.
    spot : float
        Diameter [m].
    """
    overlap = LEAST_OVERLAP if goal.spot_overlap is None else goal.spot_overlap
    return spot * max(1.0 - overlap, 0.02)


def root_options(search: Search, shortfalls: Shortfalls) -> list[PulseOption]:
    """Return roots that keep the chance asked for.

    Parameters
    ----------
    search : Search
        Scatter and executor.
    shortfalls : Shortfalls
        Gets what the others lacked.
    """
    schedule = search.scatter.schedule
    goals, base = root_goals(schedule), search.scatter.weld_pass
    pitch = pitch_of(schedule.goal, base.spot_diameter)
    passes = [
        evolve(base, pulse_duration=time, travel_speed=pitch * share)
        for time in durations(schedule.laser.pulse_duration_range)
        for share in PITCHES
    ]
    least = solve_powers(
        search,
        passes,
        {
            "fused_radius": lambda one: _distance(search, one),
            "root_width": lambda one: _root_width(goals, one),
        },
    )
    usable = [
        (one, p)
        for one, p in zip(passes, least, strict=True)
        if _within(schedule.laser, one, p, shortfalls)
    ]
    if not usable:
        return []
    # one ladder for all pitches of a pulse: they differ in where the joint has to be fused
    most = {
        one.pulse_duration: max(p for q, p in usable if q.pulse_duration == one.pulse_duration)
        for one, _ in usable
    }
    powers = [np.array(POWERS) * most[one.pulse_duration] for one, _ in usable]
    made = ladders(search, [one for one, _ in usable], goals, powers)
    return [
        option
        for rise in HOT_RISES
        for (one, _), ladder in zip(usable, made[rise], strict=True)
        for option in _chosen(search, one, ladder, rise, shortfalls)
    ]


def _distance(search: Search, one: WeldPass) -> float:
    return float(search.scatter.moved_to(one).centre().distance[0])


def _root_width(goals: PassGoals, one: WeldPass) -> float:
    if goals.root_width is None:
        return 0.0
    return float(np.hypot(goals.root_width, one.travel_speed / one.repetition_rate))


def _within(laser: Laser, one: WeldPass, power: float, shortfalls: Shortfalls) -> bool:
    """Tell whether the laser can give a pulse."""
    if not np.isfinite(power):
        shortfalls.words_for("spot", "no power melts through with this spot: use a smaller one")
        return False
    good = True
    for name, needed in (
        ("peak_power_limit", power),
        ("pulse_energy_limit", power * one.pulse_duration),
    ):
        given = getattr(laser, name)
        if given is not None and needed > given:
            shortfalls.limit(name, needed=needed, given=given)
            good = False
    return good


def _chosen(
    search: Search, one: WeldPass, ladder: Ladder, rise: float, shortfalls: Shortfalls
) -> list[PulseOption]:
    """Return a lean and a roomy power of a ladder."""
    laser, goal = search.scatter.schedule.laser, search.scatter.schedule.goal
    ends = ladder.range_above(search.chance)
    if ends is None:
        shortfalls.chance(float(ladder.chance.max()), search.chance)
        _note_haz(goal, ladder, shortfalls)
        return []
    low, high = ends
    most = _most_power(laser, one)
    lean, roomy = low + 0.2 * (high - low), float(np.sqrt(low * high))
    options = []
    for power in {rounded_power(lean), rounded_power(roomy)}:
        made = evolve(one, peak_power=power, pulse_energy=power * one.pulse_duration)
        if power <= most and _within(laser, made, power, shortfalls):
            chance = float(np.interp(power, ladder.powers, ladder.chance))
            options.append(
                PulseOption(made, rise, chance, (low, min(high, most)), ladder.sizes_at(power))
            )
        elif power > most:
            _within(laser, made, power, shortfalls)
    return sorted(options, key=lambda option: option.weld_pass.peak_power)


def _note_haz(goal: Goal, ladder: Ladder, shortfalls: Shortfalls) -> None:
    if goal.haz_width is None:
        return
    narrowest = float(column(ladder.sizes, "haz_width").min())
    if narrowest > goal.haz_width:
        shortfalls.limit("haz_width", needed=narrowest, given=goal.haz_width)


def _most_power(laser: Laser, one: WeldPass) -> float:
    most = float("inf") if laser.peak_power_limit is None else laser.peak_power_limit
    if laser.pulse_energy_limit is not None:
        most = min(most, laser.pulse_energy_limit / one.pulse_duration)
    return most


def rounded_power(power: float) -> float:
    """Return a power with three digits [W]."""
    return float(f"{power:.3g}")


def cover_options(search: Search, remelt: float, shortfalls: Shortfalls) -> list[PulseOption]:
    """Return covers that melt a part of the wall again and stay inside it.

    Parameters
    ----------
    search : Search
        Scatter and executor.
    remelt : float
        Part of the wall [1].
    shortfalls : Shortfalls
        Gets what the others lacked.
    """
    schedule = search.scatter.schedule
    goal, base, depth = (
        schedule.goal,
        search.scatter.weld_pass,
        remelt * schedule.joint.wall_thickness,
    )
    passes = [
        evolve(
            base,
            name="cover",
            spot_diameter=spot,
            pulse_duration=time,
            travel_speed=pitch_of(goal, spot),
        )
        for spot in (round(base.spot_diameter * factor, 5) for factor in COVER_SPOTS)
        for time in durations(schedule.laser.pulse_duration_range)
    ]
    least = solve_powers(search, passes, {"penetration": lambda _: depth})
    usable = [
        (one, p)
        for one, p in zip(passes, least, strict=True)
        if _within(schedule.laser, one, p, shortfalls)
    ]
    if not usable:
        return []
    powers = [np.array(COVER_POWERS) * power for _, power in usable]
    made = ladders(search, [one for one, _ in usable], cover_goals(schedule), powers)
    return [
        option
        for rise in HOT_RISES
        for (one, power), ladder in zip(usable, made[rise], strict=True)
        for option in _cover(search, one, rounded_power(power), ladder, rise, shortfalls)
    ]


def _cover(
    search: Search,
    one: WeldPass,
    power: float,
    ladder: Ladder,
    rise: float,
    shortfalls: Shortfalls,
) -> list[PulseOption]:
    reached = float(ladder.chance[1])
    if reached < search.chance:
        shortfalls.words_for(
            "cover",
            "the cover would melt through or heat too widely in more than the chance allows: let "
            "it melt less of the wall again",
        )
        return []
    made = evolve(one, peak_power=power, pulse_energy=power * one.pulse_duration)
    ends = ladder.range_above(search.chance) or (power, power)
    return [PulseOption(made, rise, reached, ends, ladder.sizes_at(power))]


def combinations(
    frame: HeatFrame,
    roots: Sequence[PulseOption],
    covers: Sequence[PulseOption],
    shortfalls: Shortfalls,
) -> list[Combination]:
    """Return roots with a cover that is wider and softer, each at its highest rate.

    Parameters
    ----------
    frame : HeatFrame
        Joint, laser, goals and what the heat runs into.
    roots, covers : sequence of PulseOption
        From the search.
    shortfalls : Shortfalls
        Gets what the others lacked.
    """
    found: list[Combination] = []
    for root in roots:
        timed = timed_pass(frame, _train(root), HeatSource())
        if timed is None:
            shortfalls.words_for(
                "part", "even the slowest root heats the part too far: raise goal.part_temperature"
            )
            continue
        fitting = [one for one in covers if covers_root(one, root, frame)]
        if not fitting:
            shortfalls.words_for(
                "width", "no cover within 2.8 spots of the root is wide enough and stays inside"
            )
        for cover in _few(fitting):
            second = timed_pass(frame, _train(cover), timed.heat)
            if second is not None:
                found.append(Combination(timed, second, root, cover))
            else:
                shortfalls.words_for(
                    "part",
                    "even the slowest cover heats the part too far: raise goal.part_temperature",
                )
    return found


def covers_root(cover: PulseOption, root: PulseOption, frame: HeatFrame) -> bool:
    """Tell whether a cover is wider than a root, by more than both may lie askew, and softer."""
    askew = 2.0 * _SIGMAS * np.sqrt(2.0) * frame.offset_sigma
    wide = cover.size("fusion_width") >= WARM_WIDENS * root.size("fusion_width") + askew
    first, second = (
        one.weld_pass.peak_power / one.weld_pass.spot_diameter**2 for one in (root, cover)
    )
    return bool(wide and second < first)


def _few(fitting: Sequence[PulseOption]) -> list[PulseOption]:
    """Return the cover with the least heat at each warmth."""
    chosen: list[PulseOption] = []
    for rise in HOT_RISES:
        same = [one for one in fitting if one.hot_rise == rise]
        if same:
            chosen.append(min(same, key=_energy_per_length))
    return chosen


def _energy_per_length(one: PulseOption) -> float:
    made = one.weld_pass
    return made.pulse_energy * made.repetition_rate / made.travel_speed


def _train(option: PulseOption) -> PulseTrain:
    made = option.weld_pass
    return PulseTrain(
        weld_pass=made,
        pitch=made.travel_speed / made.repetition_rate,
        heat_left=option.size("heat_left"),
        hot_rise=option.hot_rise,
    )
