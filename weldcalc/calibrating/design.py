"""What the next coupon should be: the setting that narrows the predicted depth most."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.calibrating.model import CouponModel
from weldcalc.calibration import CalibrationResult
from weldcalc.passes.pulse import PulseSettings, pulse_settings
from weldcalc.schedule import Schedule, WeldPass

Floats = NDArray[np.float64]

CANDIDATES = 15
_REACH: Mapping[str, tuple[float, float]] = {
    "peak_power": (0.75, 1.35),
    "pulse_duration": (0.65, 1.5),
    "spot_diameter": (0.85, 1.2),
}
COLD = 293.15
"""What a single spot on cold metal finds [K]."""

_LEAST_DEPTH = 0.1  # of the wall; a shallower pool cannot be measured well


@frozen(eq=False)
class NextCoupon:
    """The coupon that would narrow a prediction most, as single spots on cold metal.

    Parameters
    ----------
    weld_pass : str
        Pass whose depth is to be narrowed.
    settings : mapping of str to float
        Power, duration and spot [SI].
    sizes : ndarray, shape (3,)
        Predicted sizes [m], in the order of `weldcalc.calibrating.sections.SIZES`.
    before, after : float
        Standard deviation of the logarithm of the depth by the constants' spread, without and with
        this coupon.
    considered : int
        Settings compared, that of the schedule among them.
    """

    weld_pass: str
    settings: Mapping[str, float]
    sizes: Floats = field(repr=False)
    before: float
    after: float
    considered: int


def next_coupon(result: CalibrationResult, *, number: int = 0) -> NextCoupon:
    """Choose the next coupon among settings around a pass that the laser can run.

    Parameters
    ----------
    result : CalibrationResult
        Calibration so far.
    number : int, optional
        Which pass of its schedule.

    Returns
    -------
    NextCoupon

    Notes
    -----
    Linear design: with J the derivatives of a candidate's sizes, R their expected covariance and C
    that of the constants, the variance v = j C j' of the wanted depth falls by
    (j C J')(J C J' + R)^-1 (J C j').
    """
    schedule = result.schedule
    item = schedule.passes[number]
    base = pulse_settings(schedule, item, result.metal, calibration=result.calibration)
    # the first is the wanted one; every candidate is a single spot on cold metal
    cold: PulseSettings = {**base, "preheat": COLD}
    pulses = (base, cold, *_candidates(schedule, item, cold))
    engine = CouponModel(result.metal, pulses, tuple(range(len(pulses))))
    position = result.solution.fit.values
    slopes = engine.derivatives(position, result.space)
    sizes = np.exp(engine.sizes(position[None])[0])
    covariance, noise = result.solution.fit.covariance, result.solution.data.covariance.mean(axis=0)
    before = float(slopes[0, 0] @ covariance @ slopes[0, 0])
    left = [before - _gain(slopes[0, 0], slope, covariance, noise) for slope in slopes]
    walls = np.array([pulse["thickness"] for pulse in pulses])
    narrowed = np.where(sizes[:, 0] > _LEAST_DEPTH * walls, left, np.inf)
    best = 1 + int(np.argmin(narrowed[1:]))
    return NextCoupon(
        weld_pass=item.name,
        settings={
            "peak_power": pulses[best]["peak_power"],
            "pulse_duration": pulses[best]["pulse_duration"],
            "spot_diameter": pulses[best]["spot_diameter"],
        },
        sizes=sizes[best],
        before=float(np.sqrt(before)),
        after=float(np.sqrt(max(left[best], 0.0))),
        considered=len(pulses) - 1,
    )


def _gain(wanted: Floats, slope: Floats, covariance: Floats, noise: Floats) -> float:
    shared = slope @ covariance @ wanted
    return float(shared @ np.linalg.solve(slope @ covariance @ slope.T + noise, shared))


def _candidates(schedule: Schedule, item: WeldPass, base: PulseSettings) -> list[PulseSettings]:
    from scipy.stats import qmc

    places = qmc.Halton(d=len(_REACH), scramble=False).random(8 * CANDIDATES)[1:]
    made = []
    for place in places:
        power, duration, spot = (
            low * (high / low) ** share
            for (low, high), share in zip(_REACH.values(), place, strict=True)
        )
        pulse = base.copy()
        pulse["peak_power"] = _round(base["peak_power"] * power)
        pulse["pulse_duration"] = _round(base["pulse_duration"] * duration)
        pulse["spot_diameter"] = _round(base["spot_diameter"] * spot)
        if can_run(schedule, item, pulse):
            made.append(pulse)
    return made[:CANDIDATES]


def _round(value: float) -> float:
    return float(f"{value:.3g}")


def spread_of_settings(item: WeldPass) -> dict[str, tuple[float, float]]:
    """Return the ranges of power, duration and spot that coupons of a pass are spread over [SI].

    Parameters
    ----------
    item : WeldPass
        The pass.
    """
    return {
        key: (low * getattr(item, key), high * getattr(item, key))
        for key, (low, high) in _REACH.items()
    }


def can_run(schedule: Schedule, item: WeldPass, pulse: Mapping[str, Any] | PulseSettings) -> bool:
    """Tell whether the laser's typed limits allow a pulse; what was not typed limits nothing.

    Parameters
    ----------
    schedule : Schedule
        Gives the laser.
    item : WeldPass
        Gives the shape of the pulse.
    pulse : PulseSettings
        Power and duration [SI].
    """
    laser = schedule.laser
    shape = item.pulse_energy / (item.peak_power * item.pulse_duration)
    energy = shape * pulse["peak_power"] * pulse["pulse_duration"]
    shortest, longest = laser.pulse_duration_range or (0.0, np.inf)
    return bool(
        pulse["peak_power"] <= (laser.peak_power_limit or np.inf)
        and energy <= (laser.pulse_energy_limit or np.inf)
        and shortest <= pulse["pulse_duration"] <= longest
    )
