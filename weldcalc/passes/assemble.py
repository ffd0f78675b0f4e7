"""From the seam of a pass to its estimate: settings, sizes, overlaps, intervals."""

from __future__ import annotations

from typing import Any

from weldcalc import pulses
from weldcalc.beam import mean_irradiance
from weldcalc.calibration_data import Calibration
from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.materials import Material
from weldcalc.passes.estimate import PassEstimate
from weldcalc.passes.joint import SectionPulse
from weldcalc.passes.mode import OtherMode, other_mode, other_mode_on_joint
from weldcalc.passes.pulse import pulse_settings
from weldcalc.passes.seam import PassSeam
from weldcalc.passes.seam_shape import fused_depth, fused_ligament, largest_pitch, scallop_width
from weldcalc.passes.spread import Spread, pass_spread
from weldcalc.schedule import Schedule, WeldPass


def pass_estimate(
    schedule: Schedule, item: WeldPass, metal: Material, model: Calibration, seam: PassSeam
) -> PassEstimate:
    """Gather what one pass does, without findings.

    Parameters
    ----------
    schedule : Schedule
        Gives joint and goals.
    item : WeldPass
        One of its passes.
    metal : Material
        Grade of tube or sheet.
    model : Calibration
        Constants of the model.
    seam : PassSeam
        Of this pass.
    """
    pulse, coldest = seam.coldest, float(seam.history.preheat.min())
    spread = pass_spread(
        schedule,
        item,
        metal,
        centre=pulse,
        preheat=coldest,
        calibration=model,
        ratio=seam.ratio,
    )
    other = _other_mode(schedule, item, metal, model, seam)
    pitch = item.travel_speed / item.repetition_rate
    root = pulse.root_width if pulse.full_penetration else None
    face_length, root_length = _lengths(pulse)
    return PassEstimate(
        **_settings(schedule, item, pitch),
        **_between_pulses(schedule, item, seam, pitch),
        melt_overlap=_overlap(face_length, pitch) if face_length else None,
        root_overlap=_overlap(root_length, pitch) if root and root_length else None,
        penetration=pulse.penetration,
        penetration_fraction=pulse.penetration / schedule.joint.wall_thickness,
        penetration_interval=_interval("penetration", spread, other),
        fusion_width=pulse.fusion_width,
        fusion_width_interval=_interval("fusion_width", spread, other),
        root_width=root,
        root_width_interval=_interval("root_width", spread, other) if root else None,
        haz_width=pulse.haz_width,
        haz_width_interval=_interval("haz_width", spread, other),
        widest_haz_width=float(seam.history.haz_width.max()),
        mode=pulse.mode,
        absorptance=pulse.absorptance,
        seam_preheat=(coldest, float(seam.history.preheat.max())),
        peak_part_temperature=float(seam.history.part_temperature.max()),
        cooling_rate=pulse.cooling_rate,
        solidification_time=pulse.solidification_time,
        findings=(),
        **_members(seam, coldest),
        thickness=schedule.joint.wall_thickness,
        pulse=pulse,
        other_mode=other,
        spread=spread,
        seam=seam,
    )


def _other_mode(
    schedule: Schedule, item: WeldPass, metal: Material, model: Calibration, seam: PassSeam
) -> OtherMode:
    coldest, pulse = float(seam.history.preheat.min()), seam.coldest
    if seam.ratio is not None:
        return other_mode_on_joint(seam.ratio, coldest)
    if isinstance(pulse, SectionPulse):
        return OtherMode()
    settings = pulse_settings(schedule, item, metal, preheat=coldest, calibration=model)
    return other_mode(metal, settings, pulse)


def _lengths(pulse: PulseResult | SectionPulse) -> tuple[float, float]:
    """Return how far a pool reaches along the seam on the face and on the far side [m]."""
    if not isinstance(pulse, SectionPulse):
        return pulse.fusion_width, pulse.root_width
    outline = pulse.seam_outline
    through = pulse.full_penetration and len(outline) > 0
    return pulse.section.fusion_length, 2 * float(outline[-1, 0]) if through else 0.0


def _members(seam: PassSeam, preheat: float) -> dict[str, Any]:
    """Return which engine it was, and what each member takes of heat and melt."""
    pulse, ratio = seam.coldest, seam.ratio
    if ratio is None or not isinstance(pulse, SectionPulse):
        return {"engine": "spot", "absorbed_share": None, "fused_area": None, "fits": None}
    names = [member.name for member in ratio.setup.shape.members]
    # rounding may carry a share a hair past all of it
    shares = (min(share, 1.0) for share in pulse.section.absorbed_share)
    return {
        "engine": "section",
        "absorbed_share": dict(zip(names, shares, strict=True)),
        "fused_area": dict(zip(names, pulse.section.fused_area, strict=True)),
        "fits": ratio.setup.compare_fits(preheat),
    }


def _interval(key: str, spread: Spread, other: OtherMode) -> tuple[float, float]:
    """Return the interval of a result [SI]; near a keyhole's threshold it holds both modes."""
    low, high = spread.interval(key)
    if other.pulse is None:
        return low, high
    value = float(getattr(other.pulse, key))
    return min(low, value), max(high, value)


def _settings(schedule: Schedule, item: WeldPass, pitch: float) -> dict[str, Any]:
    run = schedule.pass_run(item)
    plain = (
        "name",
        "pulse_energy",
        "peak_power",
        "pulse_duration",
        "repetition_rate",
        "duty_cycle",
        "average_power",
        "spot_diameter",
        "travel_speed",
        "rotation",
    )
    return {
        **{key: getattr(item, key) for key in plain},
        "mean_irradiance": mean_irradiance(power=item.peak_power, diameter=item.spot_diameter),
        "pulse_pitch": pitch,
        "spot_overlap": _overlap(item.spot_diameter, pitch),
        "spot_overlap_with_travel": pulses.spot_overlap_with_travel(
            travel_speed=item.travel_speed,
            repetition_rate=item.repetition_rate,
            spot_diameter=item.spot_diameter,
            pulse_duration=item.pulse_duration,
        ),
        "pulses": run.pulses,
        "weld_time": run.weld_time,
        "heat_input": pulses.heat_input(pulse_energy=item.pulse_energy, pitch=pitch),
    }


def _between_pulses(
    schedule: Schedule, item: WeldPass, seam: PassSeam, pitch: float
) -> dict[str, Any]:
    pulse, goal = seam.coldest, schedule.goal
    outline = pulse.seam_outline if isinstance(pulse, SectionPulse) else pulse.fusion_outline
    is_first = item.name == schedule.passes[0].name
    share = goal.penetration if is_first else None
    limit = largest_pitch(
        outline,
        depth=None if share is None else share * schedule.joint.wall_thickness,
        full_wall=is_first and (share or 1.0) >= 1.0,
        least_root_width=goal.root_width,
        root_width=pulse.root_width,
        spot_diameter=item.spot_diameter,
        spot_overlap=goal.spot_overlap,
    )
    _, root_length = _lengths(pulse)
    root = None
    if pulse.full_penetration:
        narrowed = scallop_width(root_length, pitch) / root_length if root_length else 0.0
        root = pulse.root_width * narrowed
    return {
        "guaranteed_penetration": fused_depth(outline, pitch / 2),
        "least_ligament": fused_ligament(outline, pitch / 2),
        "least_root_width": root,
        "largest_pitch": None if limit is None else limit.pitch,
        "largest_travel_speed": None if limit is None else limit.pitch * item.repetition_rate,
        "pitch_binds": "" if limit is None else limit.binds,
    }


def _overlap(width: float, pitch: float) -> float:
    return float(pulses.overlap_of_width(width=width, pitch=pitch))
