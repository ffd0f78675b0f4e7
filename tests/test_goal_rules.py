"""Goals that a joint cannot have are refused when the schedule is read, before any is judged."""

from __future__ import annotations

from typing import Any

import pytest
from schedules import sheet, tube

from weldcalc.errors import InputError
from weldcalc.reference import read_toml
from weldcalc.schedule import schedule_from_mapping

GOAL = {"penetration": "100 %", "root_width": "0.2 mm"}
PLATE = {"type": "tube-to-plate", "plate_material": "Ti Grade 2", "plate_thickness": "1.2 mm"}


@pytest.mark.parametrize("form", ["flush", "fillet"])
def test_a_tube_in_a_plate_has_no_far_side_to_ask_a_width_of(form: str) -> None:
    with pytest.raises(InputError) as caught:
        schedule_from_mapping(tube(joint=PLATE | {"form": form}, goal=GOAL))
    (problem,) = caught.value.problems
    assert (problem.where, problem.given) == ("goal.root_width", "0.2 mm")
    assert "has no far side" in problem.why
    assert "leave it out" in problem.why


def test_a_change_cannot_bring_it_in() -> None:
    flange = schedule_from_mapping(read_toml("demo/level_gauge_flange.toml"))
    with pytest.raises(InputError, match=r"goal\.root_width"):
        flange.with_values("goal", root_width=0.2e-3)


@pytest.mark.parametrize("typed", [tube(goal=GOAL), sheet(goal=GOAL)])
def test_a_butt_has_one(typed: dict[str, Any]) -> None:
    assert schedule_from_mapping(typed).goal.root_width == pytest.approx(0.2e-3)
