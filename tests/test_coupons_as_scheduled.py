"""Settings in the rows of a coupon list against the schedule: what is told and what is the same."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from schedules import tube

from weldcalc.errors import InputError
from weldcalc.qualification.coupons import CouponSection
from weldcalc.record import _refuse_unusable
from weldcalc.records.results import _read_coupons, coupon_findings
from weldcalc.schedule import Schedule, schedule_from_mapping

MM = 1e-3


def schedule(**tables: Any) -> Schedule:
    joint = {"gap": "0.02 mm", "mismatch": "0.03 mm"}
    return schedule_from_mapping(tube(joint=joint, **tables))


def told(key: str, *values: float, of: Schedule | None = None) -> list[str]:
    """Return what is said of coupons welded with one setting each [SI]."""
    rows = [
        CouponSection(coupon=f"C{number}", settings={key: value})
        for number, value in enumerate(values, 1)
    ]
    return [finding.text for finding in coupon_findings(of or schedule(), rows)]


@pytest.mark.parametrize(("key", "limit"), [("gap", 0.02), ("mismatch", 0.03)])
def test_a_fit_up_within_the_largest_allowed_is_as_scheduled(key: str, limit: float) -> None:
    assert told(key, 0.0, 0.25 * limit * MM, limit * MM) == []


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("gap", 0.025, "gap 0.0250 mm, more than the 0.0200 mm allowed"),
        ("mismatch", 0.05, "mismatch 0.0500 mm, more than the 0.0300 mm allowed"),
    ],
)
def test_a_fit_up_beyond_the_largest_allowed_is_told(key: str, value: float, words: str) -> None:
    assert told(key, 0.01 * MM, value * MM) == [f"1 section is of coupons welded with {words}"]


@pytest.mark.parametrize(
    ("key", "same", "other"),
    [
        ("beam_offset", 0.001 * MM, 0.03 * MM),
        ("beam_angle", 0.005, 0.05),
        ("focus_offset", 0.02 * MM, 3 * MM),
        ("preheat", 293.15 + 4, 293.15 + 8),
    ],
)
def test_offsets_angles_and_temperatures_have_an_absolute_slack(
    key: str, same: float, other: float
) -> None:
    assert told(key, same) == []
    (found,) = told(key, other)
    assert found.startswith("1 section is of coupons welded with")


def test_a_preheat_that_is_high_has_no_more_slack_than_a_low_one() -> None:
    made = tube()
    made["pass"][0]["preheat"] = "500 degC"
    assert len(told("preheat", 773.15 + 7, of=schedule_from_mapping(made))) == 1  # 1 % is 7.7 K


def test_focus_offset_is_that_of_the_optics() -> None:
    optics = {"spot_diameter": None, "fibre_diameter": "0.4 mm"}
    optics |= {"collimation_length": "150 mm", "focal_length": "150 mm", "wavelength": "1064 nm"}
    made = schedule(laser={**optics, "beam_quality": 40, "focus_offset": "1 mm"})
    assert told("focus_offset", 1.0 * MM, of=made) == []
    (found,) = told("focus_offset", 0.0, 3 * MM, of=made)
    assert found == (
        "2 sections are of coupons welded with focus offset 0 mm to 3.00 mm, not 1.00 mm"
    )


def test_any_other_setting_is_the_same_within_one_per_cent() -> None:
    assert told("peak_power", 387.0, 393.0) == []
    assert told("peak_power", 450.0) == [
        "1 section is of coupons welded with peak power 450 W, not 390 W"
    ]


@pytest.mark.parametrize("read", [_refuse_unusable, _read_coupons], ids=["first", "computed"])
def test_a_record_takes_depths_along_the_plate_of_its_schedule(
    tmp_path: Path, read: Callable[..., object]
) -> None:
    file = tmp_path / "list.csv"
    file.write_text("coupon,penetration [mm]\nA,0.9\n", encoding="utf-8")
    given = {"coupons": file} if read is _refuse_unusable else file
    plate = {"plate_material": "Ti Grade 2", "plate_thickness": "1.2 mm", "gap": "0.02 mm"}
    joint = {"type": "tube-to-plate", "form": "flush", **plate}
    read(schedule_from_mapping(tube(joint=joint)), given)  # 2.25 walls, 0.75 plates
    with pytest.raises(InputError, match=r"times the wall of 0\.4 mm"):
        read(schedule(), given)


def test_a_pass_that_the_schedule_does_not_have_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    file.write_text("coupon,pass,penetration [mm]\nA,root,0.3\nB,rot,0.3\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"line 3, column pass = \"rot\": is no pass .* root"):
        _read_coupons(schedule(), file)
