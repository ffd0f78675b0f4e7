"""weldcalc: pulsed-laser autogenous weld schedules, computed, tested and recorded.

Everything a script needs hangs here and is loaded on first use, so that importing the package
costs nothing: ``weldcalc.estimate(weldcalc.load_schedule("stem.toml"))``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldcalc.lazy import loader

if TYPE_CHECKING:
    from weldcalc.calibration import calibrate as calibrate
    from weldcalc.diagnosis import explain as explain
    from weldcalc.drafting import draft as draft
    from weldcalc.heatflow.section import section_pulse as section_pulse
    from weldcalc.heatflow.spot import spot_pulse as spot_pulse
    from weldcalc.heatflow.spot import spot_pulses as spot_pulses
    from weldcalc.materials import material as material
    from weldcalc.prediction import estimate as estimate
    from weldcalc.qualification.changes import compare as compare
    from weldcalc.qualification.follow import follow as follow
    from weldcalc.schedule import load_schedule as load_schedule

__version__ = "0.1.0"

_HOMES = {
    "calibrate": "weldcalc.calibration",
    "compare": "weldcalc.qualification.changes",
    "draft": "weldcalc.drafting",
    "estimate": "weldcalc.prediction",
    "explain": "weldcalc.diagnosis",
    "follow": "weldcalc.qualification.follow",
    "load_schedule": "weldcalc.schedule",
    "material": "weldcalc.materials",
    "section_pulse": "weldcalc.heatflow.section",
    "spot_pulse": "weldcalc.heatflow.spot",
    "spot_pulses": "weldcalc.heatflow.spot",
}


__getattr__ = loader(__name__, _HOMES)


def __dir__() -> list[str]:
    """List the public functions for completion."""
    return sorted([*_HOMES, "__version__"])
