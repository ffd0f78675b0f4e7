"""Everything that weldcalc computes for a record, under keys that carry the unit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from weldcalc.canonical import plain, sha256_of_bytes
from weldcalc.errors import Problems
from weldcalc.fields import plain_name, show
from weldcalc.findings import Finding
from weldcalc.materials import Material
from weldcalc.records.coupons import before_calibration, plan_against_done
from weldcalc.records.goals import goal_checks
from weldcalc.records.split import heat_splits
from weldcalc.records.studies import studies_of
from weldcalc.reference import read_bytes

_AS_SET = 0.01  # a setting read off a machine is rounded; closer than this is the same setting
# What is set about zero, and temperatures, have no share to be compared by: they are the same
# within what a workshop sets and reads (common practice, no source). Offsets and angle: a small
# part of the usual scatter of aiming (0.03 mm) and of focusing by a scale (0.2 mm), and what a
# protractor tells. Temperature: a room from one day to the next.
_SLACK: Mapping[str, float] = MappingProxyType(
    {"beam_offset": 0.01e-3, "focus_offset": 0.05e-3, "beam_angle": math.radians(1), "preheat": 5.0}
)
_LARGEST = ("gap", "mismatch")  # the schedule states the largest allowed, not what is set
CONSTANTS_FILE = "model_constants.toml"
# what the estimate says of schedule and model stands in other places of a record
_KEPT = ("passes", "findings", "whole_weld", "shielding")

if TYPE_CHECKING:
    from weldcalc.prediction import Estimate
    from weldcalc.qualification.acceptance import Acceptance
    from weldcalc.qualification.coupons import Coupons, CouponSection
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
    listed = _read_coupons(schedule, coupons)
    measured = () if listed is None else listed.sections
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
        "judgement": _judgement(schedule, listed, acceptance),
    }


def _each_once(findings: Sequence[dict[str, str]]) -> list[dict[str, str]]:
    return list({(f["code"], f["where"], f["text"]): f for f in findings}.values())


def _read_coupons(schedule: Schedule, coupons: Path | None) -> Coupons | None:
    if coupons is None:
        return None
    from weldcalc.qualification.coupons import read_coupons

    wall, plate = schedule.joint.wall_thickness, schedule.joint.plate_thickness
    listed = read_coupons(coupons, wall_thickness=wall, plate_thickness=plate)
    _check_passes(schedule, listed)
    return listed


def _check_passes(schedule: Schedule, listed: Coupons) -> None:
    """Refuse rows of a pass that the schedule does not have: they would be held against nothing."""
    names, problems = [item.name for item in schedule.passes], Problems()
    for row in listed.sections:
        if row.weld_pass and row.weld_pass not in names:
            why = f"is no pass of the schedule; use one of {', '.join(names)}, or leave it empty "
            where = f"{listed.name}, line {row.line}, column pass"
            problems.add(where, f"{why}for the finished weld", row.weld_pass)
    problems.raise_if_any()


def _limits(acceptance: Path | None) -> Acceptance | None:
    if acceptance is None:
        return None
    from weldcalc.qualification.acceptance import read_acceptance

    return read_acceptance(acceptance)


def _judgement(
    schedule: Schedule, coupons: Coupons | None, acceptance: Path | None
) -> dict[str, Any] | None:
    if coupons is None or acceptance is None:
        return None
    from weldcalc.qualification.acceptance import judge, read_acceptance

    wall = schedule.joint.wall_thickness
    return judge(read_acceptance(acceptance), coupons, wall_thickness=wall).to_json()


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
            if scheduled and not any(_is_as_set(key, value, one) for one in scheduled):
                others.setdefault(key, []).append(value)
    return [_other_setting(schedule, key, values) for key, values in others.items()]


def _is_as_set(key: str, value: float, scheduled: float) -> bool:
    if key in _LARGEST:
        return value <= scheduled * (1 + _AS_SET)
    return abs(value - scheduled) <= _SLACK.get(key, _AS_SET * abs(scheduled))


def _scheduled(schedule: Schedule, name: str, key: str) -> list[float]:
    if key == "focus_offset":
        return [schedule.laser.focus_offset or 0.0]  # in focus where nothing else is stated
    passes = [one for one in schedule.passes if name in ("", one.name)]
    found = [getattr(one, key, None) for one in passes] + [getattr(schedule.joint, key, None)]
    return [value for value in found if isinstance(value, float)]


def _other_setting(schedule: Schedule, key: str, values: Sequence[float]) -> Finding:
    words = plain_name(key)
    sections = "1 section is" if len(values) == 1 else f"{len(values)} sections are"
    wanted = " or ".join(dict.fromkeys(show(one, key) for one in _scheduled(schedule, "", key)))
    low, high = show(min(values), key), show(max(values), key)
    run = low if low == high else f"{low} to {high}"
    against = f"more than the {wanted} allowed" if key in _LARGEST else f"not {wanted}"
    return Finding(
        weight="caution",
        code="coupons-not-as-scheduled",
        text=f"{sections} of coupons welded with {words} {run}, {against}",
        remedy="weld coupons as scheduled, or record the settings that were proven",
        source=f"{_same_words(key)}: common practice, no source",
    )


def _same_words(key: str) -> str:
    if key in _LARGEST:
        return "up to 1 % above the largest allowed counts as scheduled"
    if key not in _SLACK:
        return "settings within 1 % count as scheduled"
    slack = f"{_SLACK[key]:g} K" if key == "preheat" else show(_SLACK[key], key)
    return f"settings within {slack} count as scheduled"


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
