"""Calibrating, planning, comparing and following, from files to an answer for a person."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from attrs import frozen

from weldcalc.errors import InputError

if TYPE_CHECKING:
    from weldcalc.calibrating.design import NextCoupon
    from weldcalc.calibration import CalibrationResult
    from weldcalc.qualification.gauge import GaugeStudy
    from weldcalc.schedule import Schedule


@frozen
class Answer:
    """What a command says.

    Parameters
    ----------
    text : str
        For people.
    data : dict
        The same as plain values.
    exit_code : int
        0 done, 1 the answer is no.
    written : Path or None
        File that was written.
    """

    text: str
    data: dict[str, Any]
    exit_code: int = 0
    written: Path | None = None


def calibrate_files(schedule: Path, coupons: Path, output: Path) -> Answer:
    """Calibrate on a coupon list and write the calibration file, or say why not.

    Parameters
    ----------
    schedule : Path
        TOML.
    coupons : Path
        CSV of measured sections.
    output : Path
        JSON to write; must not exist yet.

    Raises
    ------
    InputError
        When an input cannot be used or the output exists.
    """
    from weldcalc.calibrating.design import next_coupon
    from weldcalc.calibrating.file import write_calibration
    from weldcalc.calibration import Refusal, calibrate
    from weldcalc.prediction import estimate
    from weldcalc.qualification.coupons import read_coupons
    from weldcalc.schedule import load_schedule
    from weldcalc.texts.qualification import calibration_text, refusal_text
    from weldcalc.whole_files import refuse_existing

    refuse_existing(output)
    loaded = load_schedule(schedule)
    wall, plate = loaded.joint.wall_thickness, loaded.joint.plate_thickness
    measured = read_coupons(coupons, wall_thickness=wall, plate_thickness=plate)
    try:
        result = calibrate(loaded, measured)
    except Refusal as refusal:
        data = {"calibrated": False, "reasons": list(refusal.reasons)}
        return Answer(refusal_text(refusal.reasons), data, refusal.exit_code)
    following = next_coupon(result)
    written = write_calibration(result, output)
    before, after = estimate(loaded), estimate(loaded, calibration=written)
    text = calibration_text(result, following=following, before=before, after=after)
    text += f"\n\nDigest of the calibration: {written.sha256}"
    return Answer(text, _calibration_data(result, following), written=output)


def _calibration_data(result: CalibrationResult, following: NextCoupon) -> dict[str, Any]:
    from weldcalc.calibrating.file import calibration_json
    from weldcalc.fields import json_key, to_json

    coming = {json_key(key): to_json(value, key) for key, value in following.settings.items()}
    content = calibration_json(result)
    content.pop("sample")
    return {
        "calibrated": True,
        **content,
        "next_coupon": {
            "pass": following.weld_pass,
            **coming,
            "depth_spread_ln_before": following.before,
            "depth_spread_ln_after": following.after,
        },
    }


def compare_files(old: Path, new: Path, limits: Path | None) -> Answer:
    """Compare two schedules, or a record with a schedule, under typed limits of change.

    Of two records it is told as well where their predictions rest on different constants.

    Parameters
    ----------
    old, new : Path
        Each a schedule file or a record folder.
    limits : Path or None
        TOML of the limits of change.

    Raises
    ------
    InputError
        When an input cannot be used.
    """
    from weldcalc.qualification.changes import compare, read_change_limits
    from weldcalc.texts.constants import constants_differ, constants_text
    from weldcalc.texts.qualification import comparison_text

    typed = None if limits is None else read_change_limits(limits)
    (before, old_model), (after, new_model) = _opened(old), _opened(new)
    made = compare(before, after, typed)
    data = made.to_json() | {"model_constants_differ": constants_differ(old_model, new_model)}
    parts = [comparison_text(made), constants_text(old_model, new_model)]
    return Answer("\n\n".join(filter(None, parts)), data, int(made.requalify))


def _opened(path: Path) -> tuple[Schedule, dict[str, Any] | None]:
    """Return a schedule; of a record also what its predictions rest on."""
    from weldcalc.recheck import refuse_unless_record
    from weldcalc.record import open_record
    from weldcalc.schedule import load_schedule

    # a record.json is refused there with the words that lead to its folder
    is_record = path.is_dir() or path.suffix.lower() == ".json"
    if not is_record:
        return load_schedule(path), None
    refuse_unless_record(path)
    data, made = open_record(path)
    return made.schedule, data["model"]


def follow_files(record: Path, log: Path, check_every: str | None) -> Answer:
    """Follow a run log against the schedule kept in a record.

    Parameters
    ----------
    record : Path
        Record folder.
    log : Path
        CSV of the run.
    check_every : str or None
        Longest time between checks of power and focus, such as "8 h".

    Raises
    ------
    InputError
        When an input cannot be used.
    """
    from weldcalc.qualification.follow import follow, read_run_log
    from weldcalc.quantities import parse_quantity
    from weldcalc.texts.qualification import follow_text

    every = None if check_every is None else parse_quantity(check_every, "clean_to_weld")
    made = follow(_opened(record)[0], read_run_log(log), check_every=every)
    return Answer(follow_text(made), made.to_json(), int(not made.holds))


def plan_files(
    schedule: Path, output: Path, *, reliability: float, confidence: float, spread: int | None
) -> Answer:
    """Plan coupons and write the blank coupon list.

    Parameters
    ----------
    schedule : Path
        TOML.
    output : Path
        CSV to write; must not exist yet.
    reliability, confidence : float
        To be shown [-].
    spread : int or None
        Number of coupons spread over settings of the first pass, for a calibration; None for as
        many as show the reliability, all as scheduled.

    Raises
    ------
    InputError
        When an input cannot be used, the output exists, or the list would be longer than is read.
    """
    from weldcalc.qualification.plan import coupon_form, coupons_to_list, qualification_plan
    from weldcalc.schedule import load_schedule
    from weldcalc.texts.qualification import plan_text
    from weldcalc.whole_files import refuse_existing, write_whole

    refuse_existing(output)
    loaded = load_schedule(schedule)
    listed = coupons_to_list(reliability, confidence) if spread is None else 0
    made = qualification_plan(reliability, confidence)
    form = coupon_form([{}] * listed) if spread is None else _spread_form(loaded, spread)
    write_whole(output, form)
    return Answer(plan_text(made), made.to_json(), written=output)


def _spread_form(schedule: Schedule, count: int) -> str:
    from weldcalc.calibrating.design import COLD, can_run, spread_of_settings
    from weldcalc.qualification.plan import calibration_settings, coupon_form

    item = schedule.passes[0]
    places = calibration_settings(
        spread_of_settings(item), count, possible=lambda setting: can_run(schedule, item, setting)
    )
    rounded = [{key: float(f"{value:.3g}") for key, value in place.items()} for place in places]
    return coupon_form([{**place, "preheat": COLD} for place in rounded], weld_pass=item.name)


def gauge_file(readings: Path) -> Answer:
    """Split the scatter of a gauge study into gauge and part, by both methods.

    Parameters
    ----------
    readings : Path
        CSV, see `weldcalc.qualification.gauge_file.read_gauge_readings`.

    Raises
    ------
    InputError
        When the file cannot be used.
    """
    from weldcalc.qualification.gauge import gauge_study, has_range_constants
    from weldcalc.qualification.gauge_file import read_gauge_readings
    from weldcalc.texts.gauge import gauge_text

    read = read_gauge_readings(readings)
    try:
        studies = [gauge_study(read.readings, "anova")]
        if has_range_constants(read.readings):
            studies.insert(0, gauge_study(read.readings, "average-range"))
    except InputError as error:
        raise error.in_file(readings.name) from None
    return Answer(gauge_text(read, studies), _gauge_data(read.feature, studies))


def _gauge_data(feature: str, studies: Sequence[GaugeStudy]) -> dict[str, Any]:
    from weldcalc.fields import field, to_shown
    from weldcalc.qualification.gauge import SPREADS

    unit = field(feature).shown_unit
    rows = []
    for study in studies:
        row = study.to_json()
        spreads = {f"{key}_{unit}": to_shown(row.pop(key), feature) for key in SPREADS}
        rows.append({**row, **spreads})
    return {"feature": feature, "studies": rows}
