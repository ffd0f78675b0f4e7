"""From a schedule to an estimate: what each pass does, how sure that is, and what to look at."""

from __future__ import annotations

from typing import Any

import numpy as np
from attrs import evolve, field, frozen
from numpy.typing import NDArray

from weldcalc import pulses
from weldcalc.beam import mean_irradiance
from weldcalc.calibration_data import Calibration, calibration_for
from weldcalc.errors import InputError
from weldcalc.findings import Finding, sort_findings
from weldcalc.fit_up import Fill, fill_of_gap
from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.materials import Material
from weldcalc.passes.estimate import PASS_KEYS, PassEstimate
from weldcalc.passes.findings import pass_findings
from weldcalc.passes.joint import JointSetup, SectionPulse, joint_setup, needs_section
from weldcalc.passes.mode import OtherMode, other_mode, other_mode_on_joint
from weldcalc.passes.pair import CoverOnRoot, Governing, covers_on_root, governing
from weldcalc.passes.pulse import (
    cooling_followed,
    joint_material,
    plate_material,
    pulse_settings,
)
from weldcalc.passes.response import pulse_runner
from weldcalc.passes.seam import HeatSoFar, PassSeam, pass_seam
from weldcalc.passes.seam_cooling import curve_times, part_temperatures
from weldcalc.passes.seam_findings import pair_findings, part_findings, seam_findings
from weldcalc.passes.seam_history import SeamPlan, seam_body, seam_plan
from weldcalc.passes.seam_shape import fused_depth, fused_ligament, largest_pitch, scallop_width
from weldcalc.passes.setup_findings import setup_findings
from weldcalc.passes.shielding import hot_seams
from weldcalc.passes.spread import Spread, pass_spread
from weldcalc.quantities import json_key, to_json
from weldcalc.schedule import Schedule, WeldPass
from weldcalc.shielding import ShieldingPlan, shielding_plan

__all__ = ["PASS_KEYS", "Estimate", "PassEstimate", "estimate"]

Floats = NDArray[np.float64]

_IN_RECORD = 40  # of them in the JSON form


@frozen(eq=False)
class Estimate:
    """What a schedule does.

    Parameters
    ----------
    schedule : Schedule
        What was computed.
    passes : tuple of PassEstimate
        In the order of welding.
    findings : tuple of Finding
        On the schedule as a whole; each pass has its own.
    covers : tuple of CoverOnRoot
        Every later pass on the first one.
    governs : Governing
        Which pass sets widths and heat.
    fill : Fill or None
        How far the faces fall in at the largest gap, all of it from the face; None where the gap is
        not given or nothing melts.
    shielding : ShieldingPlan
        Gas, purge and cover of hot metal; its findings are among `findings`.
    part_time, part_temperature : ndarray, shape (n,)
        Temperature of the part beside the weld against time [s], [K], pauses and the cooling
        after the last pass included.
    calibration : Calibration
        Constants that were used.
    """

    schedule: Schedule
    passes: tuple[PassEstimate, ...]
    findings: tuple[Finding, ...]
    covers: tuple[CoverOnRoot, ...]
    governs: Governing
    fill: Fill | None
    shielding: ShieldingPlan
    part_time: Floats = field(repr=False)
    part_temperature: Floats = field(repr=False)
    calibration: Calibration = field(repr=False)

    def all_findings(self) -> tuple[Finding, ...]:
        """Return the findings of the schedule and of every pass, the gravest first."""
        own = (finding for item in self.passes for finding in item.findings)
        return sort_findings([*self.findings, *own])

    def to_json(self) -> dict[str, Any]:
        """Return plain values: the record and `estimate --json` hold exactly this."""
        return {
            "title": self.schedule.title,
            "number": self.schedule.number,
            "revision": self.schedule.revision,
            "passes": [item.to_json() for item in self.passes],
            "findings": [finding.to_json() for finding in self.findings],
            "whole_weld": {
                **self.governs.to_json(),
                "covers": [cover.to_json() for cover in self.covers],
                "fill": None if self.fill is None else self.fill.to_json(),
                **self._curve(),
            },
            "shielding": {
                key: value for key, value in self.shielding.to_json().items() if key != "findings"
            },
            "model": {"constants": self.calibration.origin, "sha256": self.calibration.sha256},
        }

    def _curve(self) -> dict[str, list[float | None]]:
        chosen = np.round(np.linspace(0, len(self.part_time) - 1, _IN_RECORD)).astype(int)
        series = {"time": self.part_time, "part_temperature": self.part_temperature}
        return {
            json_key(key): [to_json(float(value), key) for value in values[np.unique(chosen)]]
            for key, values in series.items()
        }


def estimate(schedule: Schedule, *, calibration: Calibration | None = None) -> Estimate:
    """Compute what every pass of a schedule does.

    Parameters
    ----------
    schedule : Schedule
        With at least one pass.
    calibration : Calibration, optional
        Constants from the user's own coupons, in place of the shipped ones.

    Returns
    -------
    Estimate

    Raises
    ------
    InputError
        When there is no pass, a material is unknown, a pulse cannot be computed, or the
        calibration belongs to another family of metals.
    """
    if not schedule.passes:
        raise InputError.of("pass", "the schedule has no passes; describe or draft at least one")
    metal = joint_material(schedule)
    model = calibration_for(metal, calibration)
    plan = seam_plan(schedule, seam_body(schedule.joint, metal, plate_material(schedule)))
    seams = _seams(schedule, metal, model, plan)
    bare = tuple(
        _pass_estimate(schedule, item, metal, model, seam)
        for item, seam in zip(schedule.passes, seams, strict=True)
    )
    made = _whole(schedule, metal, model, plan, bare)
    return evolve(made, passes=tuple(_with_findings(made, plan, n) for n in range(len(bare))))


def _seams(
    schedule: Schedule, metal: Material, model: Calibration, plan: SeamPlan
) -> tuple[PassSeam, ...]:
    seams, heat = [], HeatSoFar()
    for number, item in enumerate(schedule.passes):
        settings = pulse_settings(schedule, item, metal, calibration=model)
        run = pulse_runner(metal, settings, cooling=cooling_followed(item))
        joint = _joint_of(schedule, item, model)
        metals = (metal,) if joint is None else joint.metals
        seam, heat = pass_seam(
            schedule,
            number,
            plan=plan,
            run=run,
            metal=min(metals, key=lambda one: one.solidus),
            before=heat,
            joint=joint,
        )
        seams.append(seam)
    return tuple(seams)


def _joint_of(schedule: Schedule, item: WeldPass, model: Calibration) -> JointSetup | None:
    if not needs_section(schedule, item):
        return None
    return joint_setup(schedule, item, calibration=model)


def _whole(
    schedule: Schedule,
    metal: Material,
    model: Calibration,
    plan: SeamPlan,
    passes: tuple[PassEstimate, ...],
) -> Estimate:
    histories = tuple(item.history for item in passes)
    time = curve_times(histories)
    gas = shielding_plan(schedule, seams=hot_seams(schedule, passes, metal, plan))
    names = {item.name for item in schedule.passes}
    found = [finding for finding in setup_findings(schedule) if finding.where not in names]
    covers = covers_on_root(schedule, passes)
    return Estimate(
        schedule=schedule,
        passes=passes,
        findings=sort_findings([*found, *gas.findings]),
        covers=covers,
        governs=governing(passes),
        fill=_fill(schedule, passes),
        shielding=gas,
        part_time=time,
        part_temperature=part_temperatures(plan, histories, time),
        calibration=model,
    )


def _fill(schedule: Schedule, passes: tuple[PassEstimate, ...]) -> Fill | None:
    joint, first = schedule.joint, passes[0]
    widest = max(item.fusion_width for item in passes)
    if joint.gap is None or not widest or not first.penetration:
        return None
    return fill_of_gap(
        gap=joint.gap,
        depth=first.penetration,
        top_width=widest,
        root_width=first.root_width or 0.0,
        mismatch=joint.mismatch or 0.0,
    )


def _with_findings(made: Estimate, plan: SeamPlan, number: int) -> PassEstimate:
    one = made.passes[number]
    histories = tuple(item.history for item in made.passes)
    found = [
        *(item for item in setup_findings(made.schedule) if item.where == one.name),
        *pass_findings(made.schedule, one, made.calibration),
        *seam_findings(made.schedule, number, one, plan.body),
        *part_findings(made.schedule, number, plan, histories),
        *(item for cover in made.covers if cover.name == one.name for item in pair_findings(cover)),
    ]
    return evolve(one, findings=sort_findings(evolve(item, where=one.name) for item in found))


def _pass_estimate(
    schedule: Schedule, item: WeldPass, metal: Material, model: Calibration, seam: PassSeam
) -> PassEstimate:
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
