"""Coupon lists, gauge studies and run logs of any kind: taken or refused, never a crash."""

from __future__ import annotations

from pathlib import Path

from harmless import DEMO, cases, check_numbers, refused, with_file
from hypothesis import given
from written import broken_table

from weldcalc.errors import InputError
from weldcalc.qualification.acceptance import judge, read_acceptance
from weldcalc.qualification.coupon_writer import coupons_text
from weldcalc.qualification.coupons import coupons_from_bytes, read_coupons
from weldcalc.qualification.feature_statistics import feature_statistics
from weldcalc.qualification.follow import follow
from weldcalc.qualification.run_log import read_run_log
from weldcalc.schedule import load_schedule
from weldcalc.texts.qualification import follow_text
from weldcalc.workflow_qualification import gauge_file

LIMITS = read_acceptance(DEMO / "acceptance_stem.toml")
SCHEDULE = load_schedule(DEMO / "level_gauge_stem.toml")


def text_of(name: str) -> str:
    return (DEMO / name).read_text(encoding="utf-8")


def check_named(error: InputError, path: Path) -> None:
    for line in str(error).splitlines():
        assert path.name in line, line


@cases(25)
@given(broken_table(text_of("coupons_stem.csv")))
def test_any_coupon_list_is_taken_or_refused(content: bytes) -> None:
    def use(path: Path) -> None:
        error = refused(lambda: read_coupons(path, wall_thickness=4e-4))
        if error is not None:
            check_named(error, path)
            return
        coupons = read_coupons(path)
        check_numbers(coupons.to_json())
        check_numbers(judge(LIMITS, coupons, wall_thickness=4e-4).to_json())
        check_numbers([item.to_json() for item in feature_statistics(coupons)])
        again = coupons_from_bytes(coupons_text(coupons.sections).encode(), name="again.csv")
        assert [row.to_json() for row in again.sections] == coupons.to_json()["sections"]

    with_file(content, "any coupons.csv", use)


@cases(25)
@given(broken_table(text_of("coupons_calibration.csv")))
def test_any_calibration_list_is_taken_or_refused(content: bytes) -> None:
    def use(path: Path) -> None:
        error = refused(lambda: read_coupons(path, wall_thickness=4e-4))
        if error is not None:
            check_named(error, path)

    with_file(content, "any coupons.csv", use)


@cases(25)
@given(broken_table(text_of("gauge_study.csv"), most=72))
def test_any_gauge_study_is_taken_or_refused(content: bytes) -> None:
    def use(path: Path) -> None:
        error = refused(lambda: check_numbers(gauge_file(path).data))
        if error is not None:
            check_named(error, path)

    with_file(content, "any gauge.csv", use)


@cases(25)
@given(broken_table(text_of("run_log_stem.csv"), most=40))
def test_any_run_log_is_taken_or_refused(content: bytes) -> None:
    def use(path: Path) -> None:
        error = refused(lambda: read_run_log(path))
        if error is not None:
            check_named(error, path)
            return
        made = follow(SCHEDULE, read_run_log(path), check_every=8 * 3600.0)
        check_numbers(made.to_json())
        assert follow_text(made).strip()

    with_file(content, "any log.csv", use)
