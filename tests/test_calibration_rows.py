"""Rows of a coupon list that a calibration cannot use: what is told of them."""

from __future__ import annotations

import pytest
from coupon_samples import Coupons
from schedules import tube

from weldcalc.calibrating.sections import coupon_cases
from weldcalc.calibration_data import calibration_for
from weldcalc.errors import InputError
from weldcalc.passes.pulse import joint_material
from weldcalc.qualification.coupons import CouponSection
from weldcalc.schedule import schedule_from_mapping


def refusal(*passes: str) -> list[str]:
    """Return what is said of one row for each name of a pass, from line 5 of the file on."""
    typed = tube()
    typed["pass"].append({**typed["pass"][0], "name": "cover"})
    made = schedule_from_mapping(typed)
    rows = tuple(
        CouponSection(
            coupon=f"C{number}", weld_pass=name, measured={"penetration": 0.3e-3}, line=5 + number
        )
        for number, name in enumerate(passes)
    )
    metal = joint_material(made)
    coupons = Coupons(name="invented.csv", sha256="0" * 64, sections=rows)
    with pytest.raises(InputError) as caught:
        coupon_cases(made, coupons, metal, calibration_for(metal, None))
    return str(caught.value).splitlines()


def test_rows_without_a_pass_are_told_in_one_line_with_their_lines() -> None:
    (told,) = refusal(*[""] * 12, "root")
    assert told.startswith("invented.csv, column pass: is blank in 12 rows (lines 5, 6, 7, ")
    assert "12 and 4 more)" in told
    assert "name the pass that each section shows, root or cover" in told
    assert "empty" not in told


def test_one_row_without_a_pass_is_told_with_its_line() -> None:
    (told,) = refusal("root", "")
    assert "column pass: is blank in line 6" in told


def test_a_pass_of_another_name_is_told_beside_it_as_typed() -> None:
    other, blank = sorted(refusal("rot", ""), key=lambda line: "blank" in line)
    assert 'line 5, column pass = "rot": use one of root, cover' in other
    assert "blank in line 6" in blank
