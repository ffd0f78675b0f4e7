"""How long and how far the metal of a pass stays too hot to leave the gas."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from weldcalc.gas.hot_metal import shielding_temperatures
from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.materials import Material
from weldcalc.passes.joint import SectionPulse
from weldcalc.passes.seam_cooling import seam_cooling
from weldcalc.passes.seam_history import PassHistory, SeamPlan
from weldcalc.shielding import HotSeam

if TYPE_CHECKING:
    from weldcalc.prediction import PassEstimate
    from weldcalc.schedule import Schedule

Floats = NDArray[np.float64]


def hot_seams(
    schedule: Schedule, passes: Sequence[PassEstimate], metal: Material, plan: SeamPlan
) -> tuple[HotSeam, ...]:
    """Return what the gas has to know of each pass.

    Parameters
    ----------
    schedule : Schedule
        Gives the temperature below which the shield may leave.
    passes : sequence of PassEstimate
        In the order of welding.
    metal : Material
        Grade of the wall.
    plan : SeamPlan
        All pulses in their order.

    Returns
    -------
    tuple of HotSeam
        The longer of what the hottest pulse takes to cool and what the end of the seam takes on
        the part as warm as all passes so far made it; None where the part stays too warm to leave
        the gas.
    """
    limit = leaving_temperature(schedule, metal)
    histories = [one.history for one in passes]
    return tuple(
        HotSeam(
            where=one.name,
            travel_speed=one.travel_speed,
            weld_time=one.weld_time,
            time_above=None if limit is None else _time_above(one, plan, histories, number, limit),
            radius_above=None if limit is None else radius_above(one.seam.hottest, limit),
        )
        for number, one in enumerate(passes)
    )


def leaving_temperature(schedule: Schedule, metal: Material) -> float | None:
    """Return the temperature below which the shield may leave the metal [K]; None if unknown."""
    given = schedule.shielding.remove_below
    if given is None and metal.family == "titanium":
        return shielding_temperatures()["usual"].value
    return given


def _time_above(
    one: PassEstimate,
    plan: SeamPlan,
    histories: Sequence[PassHistory],
    number: int,
    limit: float,
) -> float | None:
    along = seam_cooling(plan, histories, number, limit)
    pulse = one.seam.hottest.history.time_above(limit)
    return None if along is None else max(along, pulse or 0.0)


def radius_above(pulse: PulseResult | SectionPulse, limit: float) -> float:
    """Return how far from the axis a pulse heats the metal above a temperature [K]; [m].

    Parameters
    ----------
    pulse : PulseResult or SectionPulse
        With its field of peak temperatures; on a joint the farther side counts.
    limit : float
        [K].
    """
    if isinstance(pulse, PulseResult):
        return _last_above(pulse.r, pulse.peak_temperature.max(axis=0), limit)
    hottest = pulse.section.peak_temperature.max(axis=0)
    away = pulse.section.y - pulse.beam_place
    sides = (away >= 0.0, away <= 0.0)
    return max(
        _last_above(
            np.sort(np.abs(away[side])), hottest[side][np.argsort(np.abs(away[side]))], limit
        )
        for side in sides
        if side.any()
    )


def _last_above(place: Floats, hottest: Floats, limit: float) -> float:
    above = np.flatnonzero(hottest >= limit)
    if above.size == 0:
        return 0.0
    last = int(above[-1])
    if last == hottest.size - 1:
        return float(place[-1])
    share = (hottest[last] - limit) / (hottest[last] - hottest[last + 1])
    return float(place[last] + share * (place[last + 1] - place[last]))
