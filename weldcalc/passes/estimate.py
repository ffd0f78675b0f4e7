"""What one pass does: every derived and predicted number under its name, and its JSON form."""

from __future__ import annotations

from typing import Any, Final, Literal

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.findings import Finding
from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.passes.joint import SectionPulse
from weldcalc.passes.mode import OtherMode
from weldcalc.passes.seam import PassSeam
from weldcalc.passes.seam_history import PassHistory
from weldcalc.passes.spread import Spread
from weldcalc.quantities import json_key, to_json

# Order of the keys of one pass in JSON: the documented ones, then further ones.
DOCUMENTED_KEYS: Final = (
    "name",
    "pulse_energy",
    "peak_power",
    "pulse_duration",
    "repetition_rate",
    "duty_cycle",
    "average_power",
    "mean_irradiance",
    "spot_diameter",
    "travel_speed",
    "rotation",
    "pulse_pitch",
    "spot_overlap",
    "spot_overlap_with_travel",
    "melt_overlap",
    "root_overlap",
    "pulses",
    "weld_time",
    "heat_input",
    "penetration",
    "penetration_fraction",
    "penetration_interval",
    "fusion_width",
    "root_width",
    "haz_width",
    "mode",
    "absorptance",
    "peak_part_temperature",
    "findings",
)
FURTHER_KEYS: Final = (
    "fusion_width_interval",
    "root_width_interval",
    "haz_width_interval",
    "widest_haz_width",
    "guaranteed_penetration",
    "least_ligament",
    "least_root_width",
    "largest_pitch",
    "largest_travel_speed",
    "seam_preheat",
    "cooling_rate",
    "solidification_time",
    "engine",
    "absorbed_share",
    "fused_area",
)
PASS_KEYS: Final = DOCUMENTED_KEYS + FURTHER_KEYS
_TEXT: Final = frozenset({"name", "mode", "engine"})


@frozen(eq=False)
class PassEstimate:
    """What one pass does; SI, fractions 0 to 1, None where something does not apply.

    Attributes are named as the JSON keys without the unit; the field table says what each means.
    Penetration and widths are those of the coldest pulse of the pass, at its centre;
    `guaranteed_penetration`, `least_ligament` and `least_root_width` are found half a pitch away
    from it. `widest_haz_width` is that of the pulse on the warmest metal. How the pulses change
    along the seam stands in `seam` and in `history`.

    `engine` is "spot" where the beam stands upright on the line of a butt joint, else "section".
    Penetration in a section is that of the joint: the length of the joint line, from the
    irradiated face, along which both members are fused. Its fraction is of the wall, so that in a
    plate thicker than the tube it may pass 1. `absorbed_share` and `fused_area` go by the name of
    the member and are None where the engine is "spot". `fits` holds the coldest pulse on coarse
    cells, on closed and level members and at the largest gap and mismatch.
    """

    name: str
    pulse_energy: float
    peak_power: float
    pulse_duration: float
    repetition_rate: float
    duty_cycle: float
    average_power: float
    mean_irradiance: float
    spot_diameter: float
    travel_speed: float
    rotation: float | None
    pulse_pitch: float
    spot_overlap: float
    spot_overlap_with_travel: float
    melt_overlap: float | None
    root_overlap: float | None
    pulses: int
    weld_time: float
    heat_input: float
    penetration: float
    penetration_fraction: float
    penetration_interval: tuple[float, float]
    fusion_width: float
    fusion_width_interval: tuple[float, float]
    root_width: float | None
    root_width_interval: tuple[float, float] | None
    haz_width: float
    haz_width_interval: tuple[float, float]
    widest_haz_width: float
    guaranteed_penetration: float
    least_ligament: float
    least_root_width: float | None
    largest_pitch: float | None
    largest_travel_speed: float | None
    pitch_binds: str
    mode: str
    absorptance: float
    seam_preheat: tuple[float, float]
    peak_part_temperature: float
    cooling_rate: float | None
    solidification_time: float | None
    findings: tuple[Finding, ...]
    engine: Literal["spot", "section"]
    absorbed_share: dict[str, float] | None
    fused_area: dict[str, float] | None
    fits: tuple[SectionPulse, SectionPulse] | None = field(repr=False)
    thickness: float
    pulse: PulseResult | SectionPulse = field(repr=False)
    other_mode: OtherMode = field(repr=False)
    spread: Spread = field(repr=False)
    seam: PassSeam = field(repr=False)

    @property
    def history(self) -> PassHistory:
        """Return what every pulse finds and does at nominal energy."""
        return self.seam.history

    @property
    def seam_outline(self) -> NDArray[np.float64]:
        """Return the fused zone in the plane of seam and beam, from the pulse's centre on.

        Points (distance along the seam, depth) [m], shape (k, 2), top first.
        """
        pulse = self.pulse
        return pulse.seam_outline if isinstance(pulse, SectionPulse) else pulse.fusion_outline

    @property
    def far_side(self) -> float:
        """Return where depth ends [m]: the wall, or the length of the joint line in a section."""
        ratio = self.seam.ratio
        return self.thickness if ratio is None else ratio.limit

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit; fractions stay 0 to 1."""
        plain = {_json_name(key): _plain(getattr(self, key), key) for key in PASS_KEYS}
        plain["haz_isotherm"] = self.pulse.haz_isotherm_name
        plain["other_mode"] = self.other_mode.to_json()
        plain["seam"] = self.seam.to_json()
        return plain


def _json_name(key: str) -> str:
    return key if key in _TEXT else json_key(key)


def _plain(value: Any, key: str) -> Any:
    if key == "findings":
        return [finding.to_json() for finding in value]
    if key in _TEXT or value is None:
        return value
    if isinstance(value, dict):
        return {name: to_json(float(part), key) for name, part in value.items()}
    if isinstance(value, tuple):
        return [to_json(end, key) for end in value]
    return value if isinstance(value, int) else to_json(float(value), key)
