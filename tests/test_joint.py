"""Seam length, rotation, pulses and time of a joint, and what its fit-up means."""

from __future__ import annotations

import math

import attrs
import numpy as np
import pytest

from weldcalc import joint as joints
from weldcalc.joint import Joint
from weldcalc.quantities import parse_quantity

TUBE = Joint(
    type="butt",
    form="tube",
    material="Ti Grade 2",
    wall_thickness=4e-4,
    outside_diameter=8e-3,
    gap=2e-5,
    mismatch=3e-5,
)
SHEET = Joint(
    type="butt",
    form="sheet",
    material="Ti Grade 2",
    wall_thickness=4e-4,
    seam_length=0.06,
)


def test_seam_runs_once_round_a_tube_or_along_the_sheet() -> None:
    # 355/113 is pi to 3e-7 (Zu Chongzhi), so this does not lean on our own pi
    assert TUBE.weld_length == pytest.approx(8e-3 * 355 / 113, rel=1e-6)
    assert SHEET.weld_length == 0.06
    assert TUBE.is_round
    assert not SHEET.is_round


def test_rotation_in_rpm_and_speed_in_mm_a_second_by_hand() -> None:
    # 1.2 turns a minute of 25.13 mm: 0.5027 mm/s
    rotation = parse_quantity("1.2 rpm", "rotation")
    speed = joints.travel_speed(rotation=rotation, outside_diameter=8e-3)
    assert speed == pytest.approx(1.2 * math.pi * 8e-3 / 60, rel=1e-14)
    assert joints.rotation(travel_speed=speed, outside_diameter=8e-3) == pytest.approx(rotation)


def test_one_turn_takes_one_over_the_turning_speed() -> None:
    rotation = parse_quantity("1.2 rpm", "rotation")
    length = joints.segment_length(outside_diameter=8e-3, arc=math.tau, closing_overlap=0.0)
    speed = joints.travel_speed(rotation=rotation, outside_diameter=8e-3)
    assert length == pytest.approx(joints.circumference(outside_diameter=8e-3))
    assert joints.weld_time(length=length, travel_speed=speed) == pytest.approx(50)


def test_pauses_stand_between_segments_only() -> None:
    run = {"length": 0.01, "travel_speed": 1e-3, "segment_pause": 4.0}
    assert joints.weld_time(**run, segments=1) == pytest.approx(10)
    assert joints.weld_time(**run, segments=2) == pytest.approx(24)


@pytest.mark.parametrize(
    ("length", "speed", "rate", "count"),
    [
        (10e-3, 1e-3, 10.0, 100),  # closed turn: pulse 101 would hit the first one again
        (10.05e-3, 1e-3, 10.0, 101),
        (1e-4, 7e-4, 7.0, 1),  # a hair above 1 in floats
        (1e-6, 1e-3, 10.0, 1),
    ],
)
def test_pulses_on_a_length(length: float, speed: float, rate: float, count: int) -> None:
    made = joints.pulses_along(length=length, travel_speed=speed, repetition_rate=rate)
    assert made == count
    assert made * speed / rate >= length * (1 - 1e-9)


def test_arrays_give_what_scalars_give() -> None:
    outside = np.array([6e-3, 8e-3, 12e-3])
    speed = np.full(3, 5e-4)
    turning = joints.rotation(travel_speed=speed, outside_diameter=outside)
    assert turning.tolist() == [
        joints.rotation(travel_speed=5e-4, outside_diameter=float(d)) for d in outside
    ]
    back = joints.travel_speed(rotation=turning, outside_diameter=outside)
    assert back == pytest.approx(speed, rel=1e-14)
    assert joints.weld_time(length=outside, travel_speed=speed).tolist() == [
        joints.weld_time(length=float(d), travel_speed=5e-4) for d in outside
    ]


def test_good_fit_up_needs_no_words() -> None:
    assert joints.fit_up_findings(TUBE) == ()
    assert joints.reach_finding(TUBE, spot_diameter=4e-4) is None


@pytest.mark.parametrize(
    ("key", "share", "weight"),
    [
        ("gap", 0.09, None),
        ("gap", 0.11, "caution"),
        ("mismatch", 0.09, None),
        ("mismatch", 0.11, "caution"),
        ("mismatch", 0.49, "caution"),
        ("mismatch", 0.51, "stop"),
    ],
)
def test_gap_and_mismatch_are_judged_against_the_wall(
    key: str, share: float, weight: str | None
) -> None:
    joint = attrs.evolve(TUBE, **{key: share * TUBE.wall_thickness})
    found = joints.fit_up_findings(joint)
    assert [finding.weight for finding in found] == ([weight] if weight else [])
    for finding in found:
        assert finding.code == f"{key}-against-wall"
        assert finding.remedy
        assert "common practice" in finding.source


def test_fit_up_that_was_not_given_is_said_to_be_unjudged() -> None:
    assert {finding.code for finding in joints.fit_up_findings(SHEET)} == {
        "gap-not-given",
        "mismatch-not-given",
    }


@pytest.mark.parametrize(
    ("gap", "offset", "reaches"),
    [
        (None, 0.0, True),
        (None, 1.9e-4, True),
        (None, -2.1e-4, False),
        (3.9e-4, 0.0, True),
        (4.1e-4, 0.0, False),
        (1e-4, 1.6e-4, False),
    ],
)
def test_spot_has_to_reach_both_edges(gap: float | None, offset: float, reaches: bool) -> None:
    joint = attrs.evolve(TUBE, gap=gap)
    found = joints.reach_finding(joint, spot_diameter=4e-4, beam_offset=offset, where="root")
    assert (found is None) == reaches
    if found:
        assert (found.weight, found.where) == ("stop", "root")
