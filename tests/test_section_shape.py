"""Outlines of joint sections: sizes, places, and what is refused."""

from __future__ import annotations

import pytest

from weldcalc import joint as joint_module
from weldcalc.errors import InputError
from weldcalc.joint import Joint
from weldcalc.section_shape import (
    butt_section,
    fillet_section,
    flush_section,
    joint_section,
    sheet,
)

TUBE = {"wall_thickness": 0.4e-3, "plate_thickness": 1.2e-3, "tube_material": "Ti Grade 2"}


def depth_of(member):
    depths = [z for _, z in member.outline]
    return min(depths), max(depths)


def test_sheet_is_one_member_of_the_given_thickness():
    section = joint_module.sheet(0.4e-3)
    assert section.kind == "sheet"
    assert depth_of(section.members[0]) == (0.0, 0.4e-3)
    assert section.joint_length == section.thinnest == 0.4e-3
    assert sheet(1e-3, material="316L").members[0].material == "316L"


def test_butt_members_meet_where_both_have_metal():
    section = butt_section(
        thickness=0.4e-3, material="Ti Grade 2", second_thickness=0.6e-3, mismatch=0.1e-3
    )
    first, second = section.members
    assert depth_of(first) == (0.0, 0.4e-3)
    assert depth_of(second) == pytest.approx((0.1e-3, 0.7e-3))
    assert section.joint_line == ((0.0, 0.1e-3), (0.0, 0.4e-3))
    assert section.joint_length == pytest.approx(0.3e-3)
    assert second.material == "Ti Grade 2"


def test_flush_tube_goes_on_below_the_plate():
    section = flush_section(**TUBE)
    tube, plate = section.members
    assert depth_of(tube)[1] > 100 * depth_of(plate)[1]
    assert {y for y, _ in tube.outline} == {-0.4e-3, 0.0}
    assert section.joint_length == pytest.approx(1.2e-3)


def test_fillet_tube_stands_above_the_plate():
    section = fillet_section(gap=0.02e-3, **TUBE)
    tube, plate = section.members
    assert depth_of(tube)[1] == 0.0
    assert depth_of(plate) == (0.0, 1.2e-3)
    assert section.joint_length == pytest.approx(0.4e-3)
    assert section.gap == 0.02e-3


@pytest.mark.parametrize(
    ("kind", "form", "plate"),
    [("butt", "tube", None), ("tube-to-plate", "flush", 1.2e-3), ("tube-to-plate", "fillet", 1e-3)],
)
def test_section_of_a_schedules_joint(kind, form, plate):
    joint = Joint(
        type=kind,
        form=form,
        material="Ti Grade 2",
        wall_thickness=0.4e-3,
        outside_diameter=8e-3,
        gap=0.02e-3,
        plate_thickness=plate,
        plate_material="Ti Grade 5" if plate else None,
    )
    section = joint_section(joint)
    assert section.kind == ("butt" if kind == "butt" else form)
    assert section.gap == 0.02e-3
    assert section.thinnest == 0.4e-3
    assert section.members[1].material == ("Ti Grade 5" if plate else "Ti Grade 2")


@pytest.mark.parametrize(
    ("build", "where"),
    [
        (lambda: sheet(0.0), "thickness"),
        (lambda: sheet(float("nan")), "thickness"),
        (lambda: butt_section(thickness=1e-3, material="316L", gap=-1e-6), "gap"),
        (lambda: butt_section(thickness=1e-3, material="316L", mismatch=1e-3), "mismatch"),
        (lambda: flush_section(mismatch=1.3e-3, **TUBE), "mismatch"),
        (lambda: fillet_section(**(TUBE | {"wall_thickness": -1.0})), "wall_thickness"),
    ],
)
def test_impossible_sections_are_refused(build, where):
    with pytest.raises(InputError, match=where):
        build()
