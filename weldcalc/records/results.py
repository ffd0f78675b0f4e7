"""Everything that weldcalc computes for a record, under keys that carry the unit."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from weldcalc.canonical import plain, sha256_of_bytes
from weldcalc.fields import plain_name, show
from weldcalc.findings import Finding
from weldcalc.materials import Material
from weldcalc.records.coupons import before_calibration, plan_against_done
from weldcalc.records.goals import goal_checks
from weldcalc.records.split import heat_splits
from weldcalc.records.studies import studies_of
from weldcalc.reference import read_bytes

_AS_SET = 0.01  # a setting read off a machine is rounded; closer than this is the same setting
CONSTANTS_FILE = "model_constants.toml"
# what the estimate says of schedule and model stands in other places of a record
_KEPT = ("passes", "findings", "whole_weld", "shielding")

if TYPE_CHECKING:
    from weldcalc.prediction import Estimate
    from weldcalc.qualification.acceptance import Acceptance
    from weldcalc.qualification.coupons import CouponSection
    from weldcalc.schedule import Schedule


def estimated(schedule: Schedule, calibration: Path | None) -> Estimate:
    """Return the estimate of a schedule, with the user's own calibration where there is one.

    Parameters
    ----------
    schedule : Schedule
        With at least one pass.
    calibration : Path or None
        JSON of a calibration.

    Returns
    -------
    Estimate
        What a record holds and its pictures show.

    Raises
    ------
    InputError
        When the calibration cannot be used, or belongs to another metal.
    """
    from weldcalc.calibrating.file import read_calibration
    from weldcalc.prediction import estimate

    own = None if calibration is None else read_calibration(calibration)
    return estimate(schedule, calibration=own)


def computed_results(
    estimate: Estimate, *, coupons: Path | None = None, acceptance: Path | None = None
) -> dict[str, Any]:
    """Return predictions, gas, estimates for the laser safety officer, and coupon verdicts.

    Parameters
    ----------
    estimate : Estimate
        From `estimated`.
    coupons : Path, optional
        CSV of measured sections.
    acceptance : Path, optional
        TOML of the limits that the user typed in; needs coupons to judge.

    Returns
    -------
    dict
        Plain values; keys goals, passes, findings and the further ones of the estimate,
        shielding, laser_safety, window of the first pass, scatter with ranked causes, heat_split
        (empty for a butt joint), before_calibration (empty without one), coupons (empty where none
        were given), plan against done, and judgement (None without coupons or limits).

    Raises
    ------
    InputError
        When a file cannot be used.
    """
    from weldcalc.safety import laser_estimates

    schedule = estimate.schedule
    studies = studies_of(estimate)
    made = {key: item for key, item in plain(estimate.to_json()).items() if key in _KEPT}
    eye, eye_findings = laser_estimates(schedule)
    measured = _read_coupons(schedule, coupons)
    more = [*eye_findings, *coupon_findings(schedule, measured)]
    return {
        "goals": goal_checks(schedule.goal, made["passes"], made["whole_weld"]["fill"]),
        **made,
        "findings": _each_once([*made["findings"], *(item.to_json() for item in more)]),
        "laser_safety": [item.to_json() for item in eye],
        "window": studies.window,
        "scatter": studies.scatter,
        "heat_split": heat_splits(estimate),
        "before_calibration": before_calibration(estimate),
        "coupons": [section.to_json() for section in measured],
        "plan": plan_against_done(measured, _limits(acceptance)),
        "judgement": _judgement(schedule, coupons, acceptance),
    }


def _each_once(findings: Sequence[dict[str, str]]) -> list[dict[str, str]]:
    return list({(f["code"], f["where"], f["text"]): f for f in findings}.values())


def _read_coupons(schedule: Schedule, coupons: Path | None) -> tuple[CouponSection, ...]:
    if coupons is None:
        return ()
    from weldcalc.qualification.coupons import read_coupons

    return read_coupons(coupons, wall_thickness=schedule.joint.wall_thickness).sections


def _limits(acceptance: Path | None) -> Acceptance | None:
    if acceptance is None:
        return None
    from weldcalc.qualification.acceptance import read_acceptance

    return read_acceptance(acceptance)


def _judgement(
    schedule: Schedule, coupons: Path | None, acceptance: Path | None
) -> dict[str, Any] | None:
    if coupons is None or acceptance is None:
        return None
    from weldcalc.qualification.acceptance import judge, read_acceptance
    from weldcalc.qualification.coupons import read_coupons

    wall = schedule.joint.wall_thickness
    measured = read_coupons(coupons, wall_thickness=wall)
    return judge(read_acceptance(acceptance), measured, wall_thickness=wall).to_json()


def coupon_findings(schedule: Schedule, sections: Sequence[CouponSection]) -> list[Finding]:
    """Return where coupons were welded with other settings than the schedule states.

    Parameters
    ----------
    schedule : Schedule
        What is recorded.
    sections : sequence of CouponSection
        Rows of the coupon list; a row without a pass may have been set as any of them.

    Returns
    -------
    list of Finding
        One for each setting; a coupon shows nothing about settings that it was not welded with.
    """
    others: dict[str, list[float]] = {}
    for section in sections:
        for key, value in section.settings.items():
            scheduled = _scheduled(schedule, section.weld_pass, key)
            if scheduled and not any(abs(value - one) <= _AS_SET * abs(one) for one in scheduled):
                others.setdefault(key, []).append(value)
    return [_other_setting(schedule, key, values) for key, values in others.items()]


def _scheduled(schedule: Schedule, name: str, key: str) -> list[float]:
    passes = [one for one in schedule.passes if name in ("", one.name)]
    found = [getattr(one, key, None) for one in passes] + [getattr(schedule.joint, key, None)]
    return [value for value in found if isinstance(value, float)]


def _other_setting(schedule: Schedule, key: str, values: Sequence[float]) -> Finding:
    words = plain_name(key)
    wanted = " or ".join(dict.fromkeys(show(one, key) for one in _scheduled(schedule, "", key)))
    low, high = show(min(values), key), show(max(values), key)
    run = low if low == high else f"{low} to {high}"
    return Finding(
        weight="caution",
        code="coupons-not-as-scheduled",
        text=f"{len(values)} sections are of coupons welded with {words} {run}, not {wanted}",
        remedy="weld coupons as scheduled, or record the settings that were proven",
        source="settings within 1 % count as scheduled: common practice, no source",
    )


def cautions_of(metals: Sequence[Material], gas: str | None) -> dict[str, Any]:
    """Return who decides, and the cautions of a job with the documents to follow, each once."""
    from weldcalc.safety import cautions, defer_to

    rows = [item.to_json() for metal in metals for item in cautions(material=metal.family, gas=gas)]
    once = {row["key"]: {k: v for k, v in row.items() if k != "defer_to"} for row in rows}
    return {"defer_to": defer_to(), "list": list(once.values())}


def model_facts(estimate: Estimate) -> dict[str, Any]:
    """Return what the predictions were computed with: constants, draws, seed, level."""
    from weldcalc.passes.spread import DRAWS, LEVEL, SEED

    return {
        "constants": estimate.calibration.origin,
        "constants_sha256": estimate.calibration.sha256
        or sha256_of_bytes(read_bytes(CONSTANTS_FILE)),
        "calibrated": not estimate.calibration.is_shipped,
        "interval_level": LEVEL,
        "draws": DRAWS,
        "seed": SEED,
    }
