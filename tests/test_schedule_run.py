"""How far and how long a pass welds, by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest
from schedules import first_pass, sheet

from weldcalc.schedule import WeldPass, schedule_from_mapping


def _run(**keys: Any) -> tuple[WeldPass, Any]:
    made = schedule_from_mapping(first_pass(**keys))
    return made.passes[0], made.pass_run(made.passes[0])


def test_run_of_a_full_turn_with_closing_overlap() -> None:
    # by hand: pi 8 mm * 375/360 at 0.5 mm/s, a pulse every 0.1 mm
    _, run = _run(closing_overlap="15 deg")
    length = math.pi * 8 * 375 / 360
    assert run.segment_length == pytest.approx(length * 1e-3)
    assert run.weld_time == pytest.approx(length / 0.5)
    assert run.pulses == math.ceil(length / 0.1)


def test_two_half_turns_weld_as_much_as_one_turn_and_pause_once() -> None:
    _, whole = _run()
    _, halves = _run(arc="180 deg", segments=2, segment_pause="3 s")
    assert 2 * halves.segment_length == pytest.approx(whole.segment_length)
    assert halves.pulses == 2 * math.ceil(math.pi * 4 / 0.1) == 252
    assert halves.weld_time == pytest.approx(whole.weld_time + 3)


def test_run_along_sheet() -> None:
    made = schedule_from_mapping(sheet())
    run = made.pass_run(made.passes[0])
    assert (run.segment_length, run.pulses) == (pytest.approx(0.06), 600)
    assert run.weld_time == pytest.approx(120)
