"""Limits of the laser and the closing of the seam, before any heat flow."""

from __future__ import annotations

from typing import Any

import pytest
from schedules import first_pass, sheet, tube

from weldcalc.findings import Finding
from weldcalc.passes.setup_findings import setup_findings
from weldcalc.schedule import schedule_from_mapping

LIMITS = {
    "peak_power_limit": "390 W",
    "pulse_energy_limit": "1.95 J",
    "average_power_limit": "9.75 W",
    "pulse_duration_range": ["5 ms", "20 ms"],
    "repetition_rate_limit": "5 Hz",
}
FIT_UP = {"gap": "0.02 mm", "mismatch": "0.03 mm"}


def _found(typed: dict[str, Any]) -> dict[str, Finding]:
    found = setup_findings(schedule_from_mapping(typed))
    assert len({finding.code for finding in found}) == len(found)
    return {finding.code: finding for finding in found}


def _tube(**keys: Any) -> dict[str, Any]:
    typed = tube(laser=LIMITS, joint=FIT_UP)
    typed["pass"] = first_pass(**({"closing_overlap": "15 deg"} | keys))["pass"]
    return typed


def test_pass_on_its_limits_needs_no_words() -> None:
    assert _found(_tube()) == {}


def test_energy_equal_to_its_limit_but_for_the_last_digit_is_allowed() -> None:
    typed = _tube(peak_power="100 W", pulse_duration="7 ms")
    typed["laser"] |= {"pulse_energy_limit": "0.7 J"}
    assert schedule_from_mapping(typed).passes[0].pulse_energy > 0.7
    assert _found(typed) == {}


@pytest.mark.parametrize(
    ("keys", "codes"),
    [
        ({"peak_power": "400 W"}, "peak-power-limit pulse-energy-limit average-power-limit"),
        ({"peak_power": "300 W", "pulse_duration": "7 ms"}, "pulse-energy-limit "
         "average-power-limit"),
        ({"peak_power": "100 W", "repetition_rate": "6 Hz"}, "repetition-rate-limit"),
        ({"pulse_duration": "4 ms"}, "pulse-duration-range"),
        ({"peak_power": "20 W", "pulse_duration": "21 ms"}, "pulse-duration-range"),
        ({"peak_power": "5 W", "pulse_duration": "199 ms", "repetition_rate": "5.1 Hz"},
         "pulse-duration-range repetition-rate-limit duty-cycle"),
    ],
)  # fmt: skip
def test_each_limit_of_the_laser_stops_the_pass(keys: dict[str, Any], codes: str) -> None:
    found = _found(_tube(**keys))
    assert set(found) == set(codes.split())
    for finding in found.values():
        assert finding.weight == "stop"
        assert finding.where == "root"
        assert finding.remedy
        assert finding.source


def test_numbers_and_units_stand_in_the_text() -> None:
    finding = _found(_tube(peak_power="400 W", pulse_duration="5 ms"))["peak-power-limit"]
    assert finding.text == "the peak power of 400 W is above the 390 W that the laser can give"


def test_limits_that_are_not_given_are_named() -> None:
    found = _found(tube(joint=FIT_UP, laser={"peak_power_limit": "1 kW"}))
    note = found["laser-limits-not-given"]
    assert note.weight == "note"
    assert "average power limit" in note.text
    assert "peak power limit" not in note.text


@pytest.mark.parametrize(
    ("keys", "code"),
    [
        ({"closing_overlap": None}, "no-closing-overlap"),
        ({"arc": "350 deg"}, "seam-not-closed"),
        ({"arc": "170 deg", "segments": 2}, "seam-not-closed"),
        ({"arc": "180 deg", "segments": 2, "closing_overlap": None}, "no-closing-overlap"),
        ({"arc": "400 deg", "closing_overlap": None}, None),
        ({"arc": "180 deg", "segments": 2}, None),
    ],
)
def test_open_ends_of_a_round_seam(keys: dict[str, Any], code: str | None) -> None:
    assert set(_found(_tube(**keys))) == ({code} if code else set())


def test_angle_left_open_is_stated() -> None:
    assert "leave 20.0 deg" in _found(_tube(arc="170 deg", segments=2))["seam-not-closed"].text


def test_sheet_is_not_asked_to_close() -> None:
    assert _found(sheet(laser=LIMITS, joint=FIT_UP)) == {}


def test_gravest_first_and_fit_up_only_once() -> None:
    typed = _tube(beam_offset="0.3 mm")
    typed["joint"]["gap"] = "0.1 mm"
    typed["pass"].append({**typed["pass"][0], "name": "cover"})
    found = setup_findings(schedule_from_mapping(typed))
    assert [(finding.weight, finding.code, finding.where) for finding in found] == [
        ("stop", "spot-misses-edge", "root"),
        ("stop", "spot-misses-edge", "cover"),
        ("caution", "gap-against-wall", ""),
    ]
