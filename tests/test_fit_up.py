"""Volume balance and tolerance stacks against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from weldcalc.errors import InputError
from weldcalc.fit_up import Fill, Law, Tolerance, fill_of_gap, gap_stack, largest_gap

WELD = {"depth": 0.4e-3, "top_width": 0.6e-3, "root_width": 0.3e-3}


def hollow_area(depth: float, width: float) -> float:
    """Area of a parabola of this depth and width, by numerical integration."""
    across = np.linspace(-width / 2, width / 2, 20001)
    return float(np.trapezoid(depth * (1 - (2 * across / width) ** 2), across))


@pytest.mark.parametrize("share", [1.0, 0.6, 0.0])
def test_hollows_hold_exactly_the_metal_that_the_gap_lacks(share: float) -> None:
    fill = fill_of_gap(gap=20e-6, top_share=share, **WELD)
    missing = hollow_area(fill.underfill, WELD["top_width"])
    missing += hollow_area(fill.root_concavity, WELD["root_width"])
    assert missing == pytest.approx(20e-6 * 0.4e-3, rel=1e-7)


def test_no_gap_leaves_the_weld_full() -> None:
    assert fill_of_gap(gap=0.0, **WELD) == Fill(0.0, 0.0, 0.0, 0.4e-3)


def test_throat_is_what_the_hollows_leave() -> None:
    fill = fill_of_gap(gap=20e-6, top_share=0.5, **WELD)
    assert fill.throat == pytest.approx(0.4e-3 - fill.underfill - fill.root_concavity)


@pytest.mark.parametrize("mismatch", [0.0, 10e-6, 30e-6])
def test_largest_gap_uses_the_limit_up(mismatch: float) -> None:
    gap = largest_gap(underfill_limit=25e-6, depth=0.4e-3, top_width=0.6e-3, mismatch=mismatch)
    fill = fill_of_gap(gap=gap, mismatch=mismatch, **WELD)
    assert fill.below_higher_edge == pytest.approx(25e-6)


def test_a_large_step_leaves_no_room_for_a_gap() -> None:
    assert largest_gap(underfill_limit=25e-6, depth=4e-4, top_width=6e-4, mismatch=60e-6) == 0.0


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"gap": -1e-6}, "gap"),
        ({"gap": 1e-5, "depth": 0.0}, "depth"),
        ({"gap": 1e-5, "mismatch": -1e-6}, "mismatch"),
        ({"gap": 1e-5, "top_share": 1.2}, "top_share"),
        ({"gap": 1e-5, "top_share": 0.5, "root_width": 0.0}, "top_share"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, float], name: str) -> None:
    with pytest.raises(InputError, match=name):
        fill_of_gap(**{**WELD, **changes})


def faces(law: Law, *sizes: float) -> list[Tolerance]:
    return [
        Tolerance(f"face {number}", "squareness", size, law) for number, size in enumerate(sizes)
    ]


def test_one_face_gaps_by_its_error_and_half_of_it_on_average() -> None:
    stack = gap_stack(faces("fixed", 20e-6))
    assert stack.largest == pytest.approx(20e-6)
    assert stack.worst == pytest.approx(20e-6)
    assert stack.anywhere.mean() == pytest.approx(10e-6, rel=0.02)
    # rounding lifts no joint above the tolerance itself
    assert stack.chance_above(20e-6) == 0.0
    assert stack.chance_above(19.99e-6) == 1.0


def test_two_equal_faces_add_like_arrows() -> None:
    """Largest gap 2 s |cos(phase/2)|: mean 4 s / pi, root mean square sqrt(2) s, most 2 s."""
    size = 20e-6
    stack = gap_stack(faces("fixed", size, size), count=40000)
    assert stack.largest.mean() == pytest.approx(4 * size / np.pi, rel=0.01)
    assert np.sqrt((stack.largest**2).mean()) == pytest.approx(stack.root_sum_square, rel=0.01)
    assert stack.root_sum_square == pytest.approx(np.sqrt(2) * size)
    assert stack.largest.max() <= stack.worst * (1 + 1e-12) == pytest.approx(2 * size)
    # the phase is even, so the gap is above sqrt(3) s in a third of the joints
    assert stack.chance_above(np.sqrt(3) * size) == pytest.approx(1 / 3, abs=0.01)
    assert stack.within(2 / 3) == pytest.approx(np.sqrt(3) * size, rel=0.01)


def test_lengths_between_stops_vary_about_the_set_gap() -> None:
    size = 30e-6
    lengths = [Tolerance(f"part {number}", "length", size) for number in range(3)]
    stack = gap_stack(lengths, set_gap=100e-6, count=40000)
    assert stack.largest.mean() == pytest.approx(100e-6, rel=0.005)
    assert stack.largest.std() == pytest.approx(size, rel=0.02)  # sqrt(3 size^2 / 3)
    assert stack.worst == pytest.approx(190e-6)
    assert stack.root_sum_square == pytest.approx(100e-6 + np.sqrt(3) * size)


def test_normal_lengths_have_a_third_of_the_tolerance_as_sigma() -> None:
    stack = gap_stack([Tolerance("part", "length", 30e-6, "normal")], set_gap=100e-6, count=40000)
    assert stack.largest.std() == pytest.approx(10e-6, rel=0.02)


def test_parts_touch_instead_of_overlapping() -> None:
    stack = gap_stack([*faces("fixed", 20e-6), Tolerance("part", "length", 100e-6)], count=2000)
    assert stack.largest.min() == pytest.approx(20e-6)
    assert stack.worst == pytest.approx(110e-6)
    assert stack.largest.max() <= stack.worst


def test_a_stack_needs_tolerances_that_make_sense() -> None:
    with pytest.raises(InputError, match="at least one"):
        gap_stack([])
    with pytest.raises(InputError, match="face"):
        Tolerance("face", "squareness", -1e-6)
    with pytest.raises(InputError, match="set_gap"):
        gap_stack(faces("fixed", 1e-5), set_gap=-1.0)
