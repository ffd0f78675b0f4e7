"""How seam and part cool: against time, how long to wait, how long to keep the gas on."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from weldcalc.heatflow.seam import SeamBody, seam_rise, unit_mean_rise
from weldcalc.passes.seam_history import PassHistory, SeamPlan

Floats = NDArray[np.float64]

_DURING, _AFTER = 40, 20  # points of the curve for each pass, and after it
_LEAST_COOLING = 5.0  # s shown after the last pass
LONGEST = 4 * 3600.0  # s; nobody waits longer


def curve_times(histories: Sequence[PassHistory]) -> Floats:
    """Return times that show how the part warms and cools: before pulses, in pauses and after.

    Parameters
    ----------
    histories : sequence of PassHistory
        Of all passes.

    Returns
    -------
    ndarray, shape (m,)
        Since the first pulse [s], rising. Right after a pulse its heat is still in one place, so
        that nothing is said until the time of the next one.
    """
    parts = []
    for number, one in enumerate(histories):
        parts.append(one.time[one.stations(_DURING)])
        beat = float(one.time[1] - one.time[0]) if len(one.time) > 1 else 1.0
        begin = float(one.time[-1]) + beat
        if number + 1 < len(histories):
            end = float(histories[number + 1].time[0])
        else:
            end = begin + max(float(one.time[-1]), _LEAST_COOLING)
        parts.append(begin + (end - begin) * np.linspace(0, 1, _AFTER) ** 2)
    return np.unique(np.concatenate(parts))


def part_temperatures(plan: SeamPlan, histories: Sequence[PassHistory], time: Floats) -> Floats:
    """Return the temperature of the part beside the weld at any times, pauses included.

    Parameters
    ----------
    plan : SeamPlan
    histories : sequence of PassHistory
        Of all passes.
    time : ndarray, shape (m,)
        Since the first pulse of the schedule [s].

    Returns
    -------
    ndarray, shape (m,)
        Averaged along the seam [K].
    """
    heat = np.concatenate([one.heat_left for one in histories])
    started = np.array([plan.start_of(number) for number in range(len(histories))])
    found = np.empty(len(time))
    for row, now in enumerate(time):
        number = max(int(np.searchsorted(started, now, side="right")) - 1, 0)
        run = plan.train.run[plan.pulses[number]][0]
        felt = (plan.train.time < now) & (plan.train.run == run)
        rises = unit_mean_rise(plan.body, age=now - plan.train.time[felt])
        found[row] = plan.starts[number] + rises @ heat[felt]
    return found


def pause_needed(
    plan: SeamPlan, histories: Sequence[PassHistory], number: int, allowed: float
) -> float | None:
    """Return how much longer to wait before a pass so that the part stays within a temperature.

    Parameters
    ----------
    plan : SeamPlan
    histories : sequence of PassHistory
        Of all passes up to this one.
    number : int
        Which pass.
    allowed : float
        Most that the part may reach [K].

    Returns
    -------
    float or None
        More pause [s], 0 where none is needed; None where no pause up to four hours is enough.
    """
    own = histories[number]
    chosen = own.stations(60)
    later = own.time[chosen]
    pulses = plan.pulses[number]
    felt = plan.train.run[: pulses.start] == plan.train.run[pulses.start]
    before = plan.train.time[: pulses.start][felt]
    heat = np.concatenate([one.heat_left for one in histories[:number]] or [np.empty(0)])[felt]
    rise_now = _mean_rise_at(plan.body, later, before, heat, 0.0)

    def excess(pause: float) -> float:
        delayed = _mean_rise_at(plan.body, later, before, heat, pause)
        return float(np.max(own.part_temperature[chosen] - rise_now + delayed)) - allowed

    if excess(0.0) <= 0:
        return 0.0
    return _falling_root(excess, LONGEST) if before.size else None


def _mean_rise_at(
    body: SeamBody, now: Floats, before: Floats, heat: Floats, pause: float
) -> Floats:
    rise: Floats = unit_mean_rise(body, age=now[:, None] - before[None, :] + pause) @ heat
    return rise


def _falling_root(excess: Callable[[float], float], most: float) -> float | None:
    low, high = 0.0, most
    if excess(high) > 0:
        return None
    while high - low > 1e-3 * high + 1e-3:
        middle = (low + high) / 2
        low, high = (middle, high) if excess(middle) > 0 else (low, middle)
    return high


def seam_cooling(
    plan: SeamPlan, histories: Sequence[PassHistory], number: int, limit: float
) -> float | None:
    """Return how long after its last pulse the end of a pass stays above a temperature.

    Parameters
    ----------
    plan : SeamPlan
    histories : sequence of PassHistory
        Of all passes up to this one.
    number : int
        Which pass.
    limit : float
        Temperature to cool to [K].

    Returns
    -------
    float or None
        [s]; None where it takes more than four hours, or the part was as warm before welding.

    Notes
    -----
    Heat spreads through the wall at once here, so the first milliseconds after a pulse are left
    to the engine. No heat is lost to the gas: an upper bound.
    """
    pulses = plan.pulses[number]
    felt = plan.train.run[: pulses.stop] == plan.train.run[pulses.start]
    heat = np.concatenate([one.heat_left for one in histories[: number + 1]])[felt]
    source, time = plan.train.place[: pulses.stop][felt], plan.train.time[: pulses.stop][felt]
    last = float(time[-1])

    def excess(later: float) -> float:
        age = last - time + later
        rise = seam_rise(plan.body, energy=heat, source=source, place=source[-1], age=age)
        return plan.starts[number] + float(rise[0]) - limit

    return _falling_root(lambda later: excess(max(later, 1e-6)), LONGEST)
