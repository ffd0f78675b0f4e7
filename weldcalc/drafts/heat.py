"""How fast a drafted pass may run: rate and pause held by laser, seam warmth and part."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Final

import numpy as np
from attrs import evolve, field, frozen
from numpy.typing import NDArray

from weldcalc.heatflow.seam import SeamBody, mean_rise, seam_rise
from weldcalc.joint import Joint
from weldcalc.schedule import Goal, Laser, WeldPass

Floats = NDArray[np.float64]

MOST_DUTY = 0.5  # of the time; a longer share is no pulsed weld any more (a choice of this program)
MOST_SPEED = 0.02  # m/s; beyond, the beam moves on during the pulse and the pool is drawn out
SLOWEST_RATE = 0.5  # Hz
LONGEST_PAUSE = 300.0  # s
PART_SHARE = 0.9  # of the allowed rise that a draft uses: the full estimate counts a little more
PAUSES: Final = (0.0, 5.0, 15.0, 30.0, 60.0, 120.0, LONGEST_PAUSE)
_STEP = 0.88  # each rate tried is this share of the one before


@frozen(eq=False)
class HeatSource:
    """Pulses already welded.

    Parameters
    ----------
    place, time, energy : ndarray, shape (n,)
        Along the seam [m], since the first pulse [s], and heat left [J].
    end : float
        When the next pass could begin [s].
    """

    place: Floats = field(factory=lambda: np.empty(0), repr=False)
    time: Floats = field(factory=lambda: np.empty(0), repr=False)
    energy: Floats = field(factory=lambda: np.empty(0), repr=False)
    end: float = 0.0


@frozen(eq=False)
class TimedPass:
    """A pass with its rate, and what its heat does.

    Parameters
    ----------
    weld_pass : WeldPass
        Complete.
    held_by : str
        What keeps it from running faster.
    hottest_rise, part_rise : float
        Of the hottest place that a pulse finds, and of the part beside the seam [K].
    time : float
        Of the pass, with the pause before it [s].
    heat : HeatSource
        All pulses up to its end.
    """

    weld_pass: WeldPass
    held_by: str
    hottest_rise: float
    part_rise: float
    time: float
    heat: HeatSource = field(repr=False)


def rate_limits(laser: Laser, weld_pass: WeldPass, pitch: float) -> dict[str, float]:
    """Return the highest rate that each limit allows [Hz].

    Parameters
    ----------
    laser : Laser
        Its limits; those not given do not hold.
    weld_pass : WeldPass
        Gives the pulse.
    pitch : float
        From pulse to pulse [m].
    """
    found = {
        "duty cycle": MOST_DUTY / weld_pass.pulse_duration,
        "travel speed": MOST_SPEED / pitch,
    }
    if laser.repetition_rate_limit is not None:
        found["repetition rate limit"] = laser.repetition_rate_limit
    if laser.average_power_limit is not None:
        found["average power limit"] = laser.average_power_limit / weld_pass.pulse_energy
    return found


@frozen(eq=False)
class HeatFrame:
    """What holds for every pass of a draft.

    Parameters
    ----------
    joint, laser, goal
        Of the schedule.
    body : SeamBody
        What the heat runs into.
    offset_sigma : float
        One standard deviation of the beam's place across the joint [m].
    """

    joint: Joint
    laser: Laser
    goal: Goal
    body: SeamBody
    offset_sigma: float


@frozen(eq=False)
class PulseTrain:
    """Pulses of one pass before their rate is chosen.

    Parameters
    ----------
    weld_pass : WeldPass
        The pulse; its rate and speed are replaced.
    pitch : float
        From pulse to pulse [m].
    heat_left : float
        Heat that one pulse leaves [J].
    hot_rise : float
        Most that a pulse may find above the start [K].
    """

    weld_pass: WeldPass
    pitch: float
    heat_left: float
    hot_rise: float


def timed_pass(frame: HeatFrame, train: PulseTrain, before: HeatSource) -> TimedPass | None:
    """Return a pass at the highest rate that every limit allows, after the best pause.

    Parameters
    ----------
    frame : HeatFrame
        Joint, laser and goals.
    train : PulseTrain
        The pulses.
    before : HeatSource
        Passes welded before.

    Returns
    -------
    TimedPass or None
        None where even the slowest rate is too hot.
    """
    pauses = PAUSES if before.time.size else (0.0,)
    tried = [_fastest(frame, train, before, pause) for pause in pauses]
    return min((one for one in tried if one), key=lambda one: one.time, default=None)


def _fastest(
    frame: HeatFrame, train: PulseTrain, before: HeatSource, pause: float
) -> TimedPass | None:
    limits = rate_limits(frame.laser, train.weld_pass, train.pitch)
    held_by = min(limits, key=lambda name: limits[name])
    most, start = frame.goal.part_temperature, train.weld_pass.preheat
    held = [held_by]

    def cool_enough(rate: float) -> TimedPass | None:
        made = _at_rate(frame, train, before, pause, rate, held[0])
        if most is not None and made.part_rise > PART_SHARE * (most - start):
            held[0] = "part temperature"
        elif made.hottest_rise > train.hot_rise:
            held[0] = "warmth of the seam"
        else:
            return made
        return None

    best = _first(cool_enough, list(_rates(limits[held_by])))
    return None if best is None else evolve(best, held_by=held[0])


def _first(
    attempt: Callable[[float], TimedPass | None], rates: Sequence[float]
) -> TimedPass | None:
    """Return the attempt at the highest rate that succeeds; slower ones do if a faster one does."""
    low, high = 0, len(rates)
    best: TimedPass | None = None
    while low < high:
        middle = 0 if best is None and low == 0 and high == len(rates) else (low + high) // 2
        made = attempt(rates[middle])
        if made is None:
            low = middle + 1
        else:
            best, high = made, middle
    return best


def _rates(most: float) -> Iterator[float]:
    rate = most
    while rate >= SLOWEST_RATE:
        yield rounded_rate(rate)
        rate *= _STEP


def rounded_rate(rate: float) -> float:
    """Return a rate that a machine can be set to, not above the one given [Hz]."""
    step = 0.1 if rate < 10.0 else 1.0
    return round(float(np.floor(rate / step + 1e-9)) * step, 1)


def _at_rate(
    frame: HeatFrame,
    train: PulseTrain,
    before: HeatSource,
    pause: float,
    rate: float,
    held_by: str,
) -> TimedPass:
    speed = rounded_speed(train.pitch * rate)
    count = max(2, int(np.ceil(_length(frame.joint, train.weld_pass) / speed * rate)))
    number = np.arange(count)
    start = before.end + (pause if before.time.size else 0.0)
    heat = HeatSource(
        place=np.concatenate([before.place, number * speed / rate]),
        time=np.concatenate([before.time, start + number / rate]),
        energy=np.concatenate([before.energy, np.full(count, train.heat_left)]),
        end=start + count / rate,
    )
    seam, part = _rises(frame.body, heat, before.time.size)
    made = evolve(
        train.weld_pass, repetition_rate=rate, travel_speed=speed, pause_before=pause, rotation=None
    )
    return TimedPass(made, held_by, seam, part, time=heat.end - before.end, heat=heat)


def rounded_speed(speed: float) -> float:
    """Return a speed with three digits, not above the one given [m/s]."""
    digits = 2 - int(np.floor(np.log10(speed)))
    return float(f"{np.floor(speed * 10.0**digits + 1e-9) / 10.0**digits:.3g}")


def _length(joint: Joint, weld_pass: WeldPass) -> float:
    if joint.outside_diameter is None:
        return joint.weld_length
    return joint.weld_length + 0.5 * joint.outside_diameter * (weld_pass.closing_overlap or 0.0)


def _rises(body: SeamBody, heat: HeatSource, first: int) -> tuple[float, float]:
    """Return the rise that the hottest pulse of a pass finds, and that of the part at its end."""
    count = heat.time.size
    # the end of a closed seam runs onto its own heat; before that the warmth creeps up
    asked = sorted({first, first + (count - first) // 2, count - 1})
    seam = 0.0
    for last in asked:
        if last == 0:
            continue
        rise = seam_rise(
            body,
            energy=heat.energy[:last],
            source=heat.place[:last],
            place=heat.place[last],
            age=heat.time[last] - heat.time[:last],
        )
        seam = max(seam, float(rise[0]))
    return seam, mean_rise(body, energy=heat.energy, age=heat.end - heat.time)
