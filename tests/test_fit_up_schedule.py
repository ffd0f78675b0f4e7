"""Fit-up from the schedule to its answer: tolerances, underfill, findings, text and picture."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from schedules import sheet, tube

from weldcalc import plots
from weldcalc.errors import InputError
from weldcalc.findings import Finding
from weldcalc.passes.fit_up import FitUp, fit_up_findings, fit_up_of
from weldcalc.records.goals import goal_checks
from weldcalc.schedule import Schedule, schedule_from_mapping
from weldcalc.schedules.parts import Goal
from weldcalc.texts.seam import fit_up_lines

DEPTH, WIDTH = 0.4e-3, 0.6e-3
PASSES: Any = (
    SimpleNamespace(name="root", penetration=DEPTH, fusion_width=WIDTH, root_width=None),
)
FILLET = {
    "type": "tube-to-plate",
    "form": "fillet",
    "plate_material": "Ti Grade 2",
    "plate_thickness": "1.2 mm",
}


def schedule(goal: dict[str, str] | None = None, **joint: str) -> Schedule:
    return schedule_from_mapping(tube(joint=joint, goal=goal or {}))


def made_of(goal: dict[str, str] | None = None, **joint: str) -> FitUp:
    return fit_up_of(schedule(goal, **joint), PASSES)


def found_in(made: FitUp) -> dict[str, Finding]:
    return {one.code: one for one in fit_up_findings(made)}


def test_two_faces_always_at_their_limit_exceed_sqrt_3_of_it_in_a_third_of_the_joints() -> None:
    """Exact: two equal arrows at an even phase, |1 + exp(i p)| > sqrt(3) for |p| < 60 degrees."""
    made = made_of(face_squareness="0.02 mm", tolerance_spread="fixed", gap="0.0346410162 mm")
    stacked = made.to_json()["stacked"]
    assert stacked["share_above_gap"] == pytest.approx(1 / 3, abs=0.015)
    assert stacked["worst_gap_mm"] == pytest.approx(0.04)
    assert stacked["root_sum_square_gap_mm"] == pytest.approx(0.02 * np.sqrt(2))
    # the largest gap is 2 s |cos(p/2)|: 95 % lie below that at a phase of 9 degrees
    assert stacked["gap_within_95_mm"] == pytest.approx(0.04 * np.cos(np.radians(4.5)), rel=0.002)


def test_lengths_between_stops_exceed_one_tolerance_in_an_eighth_of_the_joints() -> None:
    """Exact: the sum of two even deviations is triangular; 1/8 lies above one of them."""
    made = made_of(length_tolerance="0.01 mm", set_gap="0.05 mm", gap="0.06 mm")
    assert made.share_above(60e-6) == pytest.approx(1 / 8, abs=0.01)
    assert made.to_json()["stacked"]["worst_gap_mm"] == pytest.approx(0.07)
    assert made.bought() == {}


def test_a_tube_on_a_plate_has_one_face() -> None:
    made = fit_up_of(schedule(face_squareness="0.02 mm", **FILLET), PASSES)
    assert made.sums()["worst_gap"] == pytest.approx(20e-6)
    assert made.sums()["root_sum_square_gap"] == pytest.approx(20e-6)


def test_half_the_squareness_buys_half_the_gap_of_parts_pushed_together() -> None:
    bought = made_of(face_squareness="0.02 mm").bought()
    assert bought["face_squareness"][4] == pytest.approx(20e-6)
    for key in ("worst_gap", "root_sum_square_gap", "gap_within_95"):
        assert bought[key][2] == pytest.approx(bought[key][4] / 2)


def test_the_remedy_is_just_enough() -> None:
    (finding,) = found_in(made_of(face_squareness="0.015 mm", gap="0.02 mm")).values()
    assert finding.code == "stacked-gap"
    assert finding.weight == "caution"
    (square,) = re.findall(r"square to ([\d.]+ mm)", finding.remedy)
    assert found_in(made_of(face_squareness=square, gap="0.02 mm")) == {}
    assert found_in(made_of(face_squareness="0.0101 mm", gap="0.02 mm"))


def test_stops_that_use_the_gap_up_leave_no_squareness() -> None:
    made = made_of(length_tolerance="0.03 mm", set_gap="0.01 mm", gap="0.02 mm")
    assert "set the stops closer" in found_in(made)["stacked-gap"].remedy


def test_a_rare_gap_is_only_a_note() -> None:
    made = made_of(face_squareness="0.015 mm", gap="0.0299 mm")
    assert found_in(made)["stacked-gap"].weight == "note"


@pytest.mark.parametrize("mismatch", ["0 mm", "0.03 mm"])
def test_the_largest_gap_balances_the_volume_of_a_parabola(mismatch: str) -> None:
    """By hand: gap times depth is two thirds of width times what the limit leaves of the face."""
    made = made_of({"underfill": "0.04 mm"}, gap="0.01 mm", mismatch=mismatch)
    step = 0.5 * float(mismatch.split()[0]) * 1e-3
    assert made.largest_gap is not None
    assert made.largest_gap * DEPTH == pytest.approx(2 / 3 * WIDTH * (40e-6 - step))


def test_underfill_above_the_limit_says_which_gap_is_left() -> None:
    limit = {"underfill": "0.02 mm"}
    finding = found_in(made_of(limit, gap="0.04 mm"))["underfill-above-limit"]
    # 2/3 * 0.6 mm * 0.02 mm / 0.4 mm
    assert "fit up to a gap of 0.0200 mm or less" in finding.remedy
    assert found_in(made_of(limit, gap="0.02 mm")) == {}
    stepped = made_of(limit, gap="0.01 mm", mismatch="0.05 mm")
    assert "align" in found_in(stepped)["underfill-above-limit"].remedy


def test_nothing_given_nothing_said() -> None:
    made = made_of()
    assert (made.fill, made.largest_gap, made.stack, made.sums()) == (None, None, None, {})
    assert found_in(made) == {}
    assert made.to_json() == {"largest_gap_mm": None, "stacked": None}


def test_no_melt_has_no_face() -> None:
    cold: Any = [SimpleNamespace(penetration=0.0, fusion_width=0.0, root_width=None)]
    made = fit_up_of(schedule({"underfill": "0.02 mm"}, gap="0.02 mm"), cold)
    assert (made.fill, made.largest_gap) == (None, None)


@pytest.mark.parametrize(
    ("typed", "where"),
    [
        (tube(joint={"length_tolerance": "0.01 mm"}), "joint.length_tolerance"),
        (tube(joint={"set_gap": "0.01 mm"}), "joint.set_gap"),
        (tube(joint={"tolerance_spread": "normal"}), "joint.tolerance_spread"),
        (tube(joint={"face_squareness": "0.01 mm", "tolerance_spread": "odd"}), "tolerance_spread"),
        (sheet(joint={"face_squareness": "0.01 mm"}), "joint.face_squareness"),
        (
            tube(joint=FILLET | {"form": "flush", "face_squareness": "0.01 mm"}),
            "joint.face_squareness",
        ),
        (tube(goal={"underfill": "0.02 mm"}), "goal.underfill"),
    ],
)
def test_what_does_not_belong_is_refused(typed: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError, match=re.escape(where)):
        schedule_from_mapping(typed)


def test_the_spread_is_a_stated_default_where_it_acts() -> None:
    assert schedule(face_squareness="0.01 mm").joint.tolerance_spread == "uniform"
    assert schedule().joint.tolerance_spread is None


@pytest.mark.parametrize(
    ("fill", "verdict"),
    [
        ({"below_higher_edge_mm": 0.02}, "meets"),
        ({"below_higher_edge_mm": 0.021}, "may miss"),
        (None, "misses"),
    ],
)
def test_the_goal_of_underfill_is_judged_at_the_largest_gap(
    fill: dict[str, float] | None, verdict: str
) -> None:
    (check,) = goal_checks(Goal(underfill=20e-6), [{"name": "root"}, {"name": "cover"}], fill)
    assert check["verdict"] == verdict
    assert (check["goal"], check["from_pass"]) == ("underfill", "root and cover")


def text_of(made: FitUp) -> str:
    return " ".join(fit_up_lines(SimpleNamespace(fit_up=made)))


def test_the_text_tells_underfill_and_stack() -> None:
    made = made_of({"underfill": "0.03 mm"}, gap="0.02 mm", face_squareness="0.015 mm")
    # 0.02 mm * 0.4 mm / (2/3 * 0.6 mm), and the other way round
    assert "face lies 0.0200 mm below" in text_of(made)
    assert "up to a gap of 0.0300 mm" in text_of(made)
    assert "worst case 0.0300 mm, root of squares 0.0212 mm" in text_of(made)
    assert text_of(made_of()) == ""


def picture_of(**joint: str) -> list[plots.Picture]:
    given = schedule({"underfill": "0.03 mm"}, gap="0.02 mm", **joint)
    made: Any = SimpleNamespace(fit_up=fit_up_of(given, PASSES), schedule=given)
    return plots.estimate_fit_up(made)


def test_the_picture_shows_every_joint_and_what_square_faces_buy() -> None:
    (picture,) = picture_of(face_squareness="0.015 mm")
    joints, buys = picture.figure.axes
    heights = [bar.get_height() for bar in joints.patches]
    assert sum(heights) == pytest.approx(100.0)
    lines = {line.get_label(): line for line in buys.lines}
    assert_allclose(lines["worst case"].get_ydata(), 2 * lines["worst case"].get_xdata())
    assert_allclose(lines["gap stated, 0.0200 mm"].get_ydata(), 0.02)
    assert joints.get_xlim()[1] > 0.03, "the gap that underfill allows is in view"
    assert "worst case 0.0300 mm" in picture.alt


def test_lengths_alone_have_one_panel_and_no_tolerances_no_picture() -> None:
    (picture,) = picture_of(length_tolerance="0.005 mm", set_gap="0.01 mm")
    assert len(picture.figure.axes) == 1
    assert picture_of() == []
