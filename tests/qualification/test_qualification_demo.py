"""The demo files of qualification: invented, marked so, readable, and telling their story."""

from __future__ import annotations

import pytest

from weldcalc.qualification.acceptance import judge, read_acceptance
from weldcalc.qualification.changes import compare, read_change_limits
from weldcalc.qualification.coupons import read_coupons
from weldcalc.qualification.follow import follow, read_run_log
from weldcalc.qualification.gauge import gauge_study
from weldcalc.qualification.gauge_file import read_gauge_readings
from weldcalc.reference import data_folder
from weldcalc.schedule import Schedule, load_schedule

DEMO = data_folder() / "demo"
FILES = (
    "coupons_stem.csv",
    "coupons_calibration.csv",
    "acceptance_stem.toml",
    "change_limits_stem.toml",
    "run_log_stem.csv",
    "gauge_study.csv",
)


@pytest.fixture
def stem() -> Schedule:
    return load_schedule(DEMO / "level_gauge_stem.toml")


@pytest.mark.parametrize("name", FILES)
def test_file_says_that_it_is_invented(name: str) -> None:
    assert (DEMO / name).read_text(encoding="utf-8").startswith("# INVENTED DEMONSTRATION DATA")


def test_coupons_are_judged(stem: Schedule) -> None:
    wall = stem.joint.wall_thickness
    coupons = read_coupons(DEMO / "coupons_stem.csv", wall_thickness=wall)
    found = judge(read_acceptance(DEMO / "acceptance_stem.toml"), coupons, wall_thickness=wall)
    assert len(coupons.names) == 12
    assert found.verdict == "met"
    assert found.demonstration == "met"


def test_calibration_coupons_spread_over_the_window(stem: Schedule) -> None:
    wall = stem.joint.wall_thickness
    coupons = read_coupons(DEMO / "coupons_calibration.csv", wall_thickness=wall)
    assert {row.weld_pass for row in coupons.sections} == {"root"}
    for key in ("peak_power", "pulse_duration", "spot_diameter"):
        assert len({row.settings[key] for row in coupons.sections}) >= 3


def test_limits_of_change_cover_a_small_change_and_not_a_large_one(stem: Schedule) -> None:
    limits = read_change_limits(DEMO / "change_limits_stem.toml")
    power = stem.passes[0].peak_power
    assert not compare(stem, stem.with_pass(0, peak_power=1.05 * power), limits).requalify
    assert compare(stem, stem.with_pass(0, peak_power=1.2 * power), limits).requalify


def test_run_log_drifts_before_it_breaks(stem: Schedule) -> None:
    found = follow(stem, read_run_log(DEMO / "run_log_stem.csv"))
    codes = {finding.code for finding in found.findings}
    assert {"clean-to-weld", "drift", "control-chart", "colour-drift"} <= codes
    assert "beyond-edge" not in codes


def test_gauge_is_fit_for_its_job() -> None:
    study = read_gauge_readings(DEMO / "gauge_study.csv")
    assert study.feature == "penetration"
    assert gauge_study(study.readings).gauge_share < 0.1
