"""Close to the opening of a keyhole both outcomes are possible: the other one is computed too.

Whether the surface opens turns on a few percent of power, absorptance or focus. Where the peak
power is within a quarter of the threshold, the same pulse is computed once more as if the surface
had decided the other way.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from attrs import evolve, frozen

from weldcalc.beam import mean_irradiance
from weldcalc.heatflow.constants import ModelConstants
from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.materials import Material
from weldcalc.passes.pulse import PulseSettings, run_pulse
from weldcalc.passes.ratio import JointRatio, sheet_pulse
from weldcalc.passes.response import Pulse
from weldcalc.quantities import json_key, to_json

NEAR = 0.25  # share of the threshold within which both modes are shown
_HALVINGS = 5  # of the range of powers: the threshold is then known to about 2 %
_COOLING = 0.1  # s; sizes are settled long before
_NEVER = 1e4  # factor on the opening pressure at which no surface opens
_KEYS = ("penetration", "fusion_width", "root_width")


@frozen(eq=False)
class OtherMode:
    """The threshold of the keyhole near a pulse, and what the other mode would give.

    Parameters
    ----------
    threshold : float or None
        Mean irradiance from which the depression opens [W/m2]; None when it is further than a
        quarter away.
    pulse : PulseResult, JointPulse or None
        The same pulse in the other mode; None with the threshold.
    """

    threshold: float | None = None
    pulse: Pulse | None = None

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit; None where it does not apply."""
        near = self.pulse
        values = {key: None if near is None else getattr(near, key) for key in _KEYS}
        return {
            "near_threshold": near is not None,
            json_key("keyhole_irradiance"): to_json(self.threshold, "keyhole_irradiance"),
            "mode": None if near is None else near.mode,
            **{json_key(key): to_json(value, key) for key, value in values.items()},
        }


def other_mode(metal: Material, settings: PulseSettings, pulse: PulseResult) -> OtherMode:
    """Look for the keyhole threshold within a quarter of a pulse's irradiance.

    Parameters
    ----------
    metal : Material
        Grade of the wall.
    settings : PulseSettings
        Of the pulse.
    pulse : PulseResult
        What the engine made of it.

    Returns
    -------
    OtherMode
    """
    is_open = _opened(pulse)

    def opens_at(factor: float) -> bool:
        changed: PulseSettings = {**settings, "peak_power": settings["peak_power"] * factor}
        return _opened(run_pulse(metal, changed, cooling=_COOLING))

    far = 1 / (1 + NEAR) if is_open else 1 / (1 - NEAR)
    if opens_at(far) == is_open:
        return OtherMode()
    factor = _threshold_factor(opens_at, *sorted((far, 1.0)))
    power = settings["peak_power"] * factor
    return OtherMode(
        threshold=mean_irradiance(power=power, diameter=settings["spot_diameter"]),
        pulse=_other_way(metal, settings, is_open, factor),
    )


def other_mode_on_joint(ratio: JointRatio, preheat: float) -> OtherMode:
    """Look for the threshold on the sheet that stands for a joint, and carry it over to the joint.

    Parameters
    ----------
    ratio : JointRatio
        From sheet to joint.
    preheat : float
        Of the pulse [K].

    Returns
    -------
    OtherMode
    """
    settings: PulseSettings = {**ratio.setup.sheet, "preheat": preheat}
    found = other_mode(ratio.setup.metals[0], settings, sheet_pulse(ratio.setup, preheat))
    if not isinstance(found.pulse, PulseResult):
        return found
    return evolve(found, pulse=ratio.joint_pulse(found.pulse, preheat))


def _opened(pulse: PulseResult) -> bool:
    return pulse.time_to_keyhole is not None


def _threshold_factor(opens_at: Callable[[float], bool], low: float, high: float) -> float:
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if opens_at(middle) else (middle, high)
    return (low + high) / 2


def _other_way(
    metal: Material, settings: PulseSettings, is_open: bool, factor: float
) -> PulseResult:
    """Return the pulse with the opening pressure moved so far that the surface decides otherwise.

    Recoil rises so steeply with irradiance that the pressure has to move by powers of ten.
    """
    step = _NEVER if is_open else factor**-_STEEPNESS
    for _ in range(4):
        pulse = _with_opening(metal, settings, step)
        if _opened(pulse) != is_open:
            break
        step = step**2
    return pulse


# recoil goes with about this power of the irradiance where surfaces open: p rises as
# exp(-Lv M / R T), some 14 powers of T for titanium near its boiling point
_STEEPNESS = 14.0


def _with_opening(metal: Material, settings: PulseSettings, factor: float) -> PulseResult:
    before: ModelConstants = settings["constants"]
    moved = evolve(before, capillary_factor=before.capillary_factor * factor)
    changed: PulseSettings = {**settings, "constants": moved}
    return run_pulse(metal, changed, cooling=_COOLING)
