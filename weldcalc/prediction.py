"""From a schedule to an estimate: what each pass does, how sure that is, and what to look at."""

from __future__ import annotations

from typing import Any

import numpy as np
from attrs import evolve, field, frozen
from numpy.typing import NDArray

from weldcalc.calibration_data import Calibration, calibration_for
from weldcalc.errors import InputError
from weldcalc.findings import Finding, sort_findings
from weldcalc.materials import Material
from weldcalc.passes.assemble import pass_estimate
from weldcalc.passes.estimate import PASS_KEYS, PassEstimate
from weldcalc.passes.findings import pass_findings
from weldcalc.passes.fit_up import FitUp, fit_up_findings, fit_up_of
from weldcalc.passes.joint import JointSetup, joint_setup, needs_section
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
from weldcalc.passes.setup_findings import setup_findings
from weldcalc.passes.shielding import hot_seams
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
    fit_up : FitUp
        How far the faces fall in at the largest gap, and the gap that tolerances make; its
        findings are among `findings`.
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
    fit_up: FitUp
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
                "fill": None if self.fit_up.fill is None else self.fit_up.fill.to_json(),
                "fit_up": self.fit_up.to_json(),
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
        pass_estimate(schedule, item, metal, model, seam)
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
    fit_up = fit_up_of(schedule, passes)
    return Estimate(
        schedule=schedule,
        passes=passes,
        findings=sort_findings([*found, *fit_up_findings(fit_up), *gas.findings]),
        covers=covers,
        governs=governing(passes),
        fit_up=fit_up,
        shielding=gas,
        part_time=time,
        part_temperature=part_temperatures(plan, histories, time),
        calibration=model,
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
