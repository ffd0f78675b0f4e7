"""Gas let out where the purge is not known: never a figure that looks complete."""

from __future__ import annotations

from typing import Any

import pytest
from schedules import GAS, first_pass

from weldcalc import shielding
from weldcalc.canonical import plain
from weldcalc.page.protection import gas_table
from weldcalc.prediction import estimate
from weldcalc.schedule import Schedule, schedule_from_mapping
from weldcalc.texts.seam import gas_lines

L_MIN = 1e-3 / 60
SEAM = shielding.HotSeam(where="root", travel_speed=0.5e-3, weld_time=50.0)
CASES: tuple[tuple[dict[str, str | None], str, str], ...] = (
    ({"oxygen_target": "5 ppm"}, "oxygen_target = 5.00 ppm", "purity"),
    ({"purge_volume": None}, "purge_volume is not given", "state shielding.purge_volume"),
    (
        {"purge_volume": None, "oxygen_target": None},
        "purge_volume and shielding.oxygen_target are not given",
        "state shielding.purge_volume and shielding.oxygen_target",
    ),
    ({"flow": None}, "flow is not given", "state shielding.flow"),
    ({"purge_flow": None}, "purge_flow is not given", "state shielding.purge_flow"),
)


def schedule(changed: dict[str, str | None]) -> Schedule:
    gas = {key: text for key, text in {**GAS, **changed}.items() if text is not None}
    return schedule_from_mapping({**first_pass(), "shielding": gas})


def plan(changed: dict[str, str | None]) -> shielding.ShieldingPlan:
    return shielding.shielding_plan(schedule(changed), seams=[SEAM])


@pytest.mark.parametrize(("changed", "why", "remedy"), CASES)
def test_a_purge_that_is_not_known_is_told_with_key_and_remedy(
    changed: dict[str, str | None], why: str, remedy: str
) -> None:
    made = plan(changed)
    (found,) = [one for one in made.findings if one.code == "gas-not-counted"]
    assert found.weight == "caution"
    assert f"shielding.{why}" in found.text
    assert "at least" in found.text
    assert remedy in found.remedy


@pytest.mark.parametrize(("changed", "_why", "_remedy"), CASES)
def test_no_room_is_named_for_part_of_the_gas(
    changed: dict[str, str | None], _why: str, _remedy: str
) -> None:
    made = plan(changed)
    assert made.smallest_room is None
    data = made.to_json()
    assert data["room_volume_m3"] is None
    assert data["gas_released_L"] is None


def test_a_known_purge_is_counted_and_nothing_is_said() -> None:
    made = plan({})
    assert "gas-not-counted" not in {one.code for one in made.findings}
    assert made.purge is not None
    assert made.purge.time is not None
    assert made.use is not None
    assert made.use.total == pytest.approx(
        50 * 12 * L_MIN + (50 + made.purge.time) * 4 * L_MIN, rel=1e-12
    )
    # a closed room of V that takes in G of inert gas is left 20.95 % (1 - G / V) oxygen
    assert made.smallest_room is not None
    assert 0.2095 * (1 - made.use.total / made.smallest_room) == pytest.approx(0.195)


def test_gas_without_any_purge_is_complete() -> None:
    none: dict[str, Any] = {"purge_volume": None, "purge_flow": None, "oxygen_target": None}
    made = plan(none)
    assert made.smallest_room is not None
    assert "gas-not-counted" not in {one.code for one in made.findings}


def test_terminal_and_page_say_so_too() -> None:
    made = estimate(schedule({"oxygen_target": "5 ppm"}))
    (line,) = gas_lines(made)
    assert line.startswith("at least ")
    assert "not known" in line
    assert "19.5 %" not in line
    assert "gas-not-counted" in {one.code for one in made.findings}
    page = str(gas_table({"computed": plain(made.to_json())}).html)
    assert "closed room" not in page
