"""Energy along the seam in the estimate's text, and tube and plate, against the pulse table."""

from __future__ import annotations

import math

import pytest
from schedules import first_pass, sheet

from weldcalc import plots
from weldcalc.prediction import Estimate, estimate
from weldcalc.pulse_table import pulse_table
from weldcalc.schedule import schedule_from_mapping
from weldcalc.texts.estimates import estimate_text
from weldcalc.texts.seam import energy_rows, gas_lines, member_lines, pair_lines, ramp_lines


@pytest.fixture(scope="module")
def made() -> Estimate:
    return estimate(schedule_from_mapping(first_pass(peak_power="600 W", closing_overlap="15 deg")))


def test_every_row_is_the_energy_of_the_pulse_there(made: Estimate) -> None:
    rows = pulse_table(made.schedule, True, made=made).rows
    for words, shown in energy_rows(made):
        angle = float(words.split()[1])
        energy = next(float(row[3]) for row in rows if float(row[2]) >= angle - 1e-6)
        assert float(shown.split()[0]) == pytest.approx(100 * energy / 3.0, abs=0.06)


def test_the_ramp_starts_where_the_pulse_table_lets_the_energy_drop(made: Estimate) -> None:
    rows = pulse_table(made.schedule, True, made=made).rows
    energy = [float(row[3]) for row in rows]
    drops = [n for n in range(1, len(rows)) if energy[n] < 0.95 * energy[n - 1]]
    (line,) = ramp_lines(made)
    assert f"last {len(rows) - drops[0]} pulses, from {float(rows[drops[0]][2]):.0f} deg" in line
    seam = made.passes[0].to_json()["seam"]
    assert seam["end_ramp_from_deg"] == pytest.approx(float(rows[drops[0]][2]), rel=1e-6)
    assert line in estimate_text(made).replace("\n    ", " ")


def test_a_sheet_goes_by_length_and_has_no_ramp() -> None:
    flat = estimate(schedule_from_mapping(sheet()))
    assert [row[0] for row in energy_rows(flat)][-1] == "at 60.0 mm"
    assert all(row[1].endswith("%") for row in energy_rows(flat))
    assert ramp_lines(flat) == []
    assert flat.passes[0].to_json()["seam"]["end_ramp_from_mm"] is None
    assert member_lines(flat) == []


def test_part_of_a_turn_ends_where_it_ends() -> None:
    half = estimate(schedule_from_mapping(first_pass(arc="180 deg")))
    assert [row[1] == "-" for row in energy_rows(half)] == [False] * 4 + [True] * 2


def test_nothing_melted_has_no_energy_to_keep() -> None:
    cold = estimate(schedule_from_mapping(first_pass(peak_power="20 W")))
    assert energy_rows(cold) == []


def test_a_pass_through_the_wall_draws_its_far_side(made: Estimate) -> None:
    one = made.passes[0]
    assert one.seam.level is not None
    assert one.seam.level.name == "root_width"
    (picture,) = plots.estimate_round_the_joint(made)
    below = picture.figure.axes[1]
    lines = {line.get_label(): line for line in below.lines}
    assert lines["constant energy"].get_ydata() == pytest.approx(1e3 * one.history.root_width)
    assert lines["tapered energy"].get_ydata() == pytest.approx(1e3 * one.seam.tapered.root_width)
    assert below.get_ylabel() == "far-side width [mm]"
    assert below.get_ylim()[0] < below.get_ylim()[1], "width runs up"


def test_the_cover_is_held_against_the_root() -> None:
    pair = [{**first_pass()["pass"][0], "peak_power": "600 W"}]
    pair.append({**pair[0], "name": "cover", "spot_diameter": "0.85 mm", "pause_before": "60 s"})
    whole = estimate(schedule_from_mapping({**first_pass(), "pass": pair}))
    told, sets = pair_lines(whole)
    (one,) = whole.covers
    assert told.startswith("cover: melts ")
    assert ("does not melt through" in told) is not one.melts_through
    assert (" past its edge" in told) is (one.cover_margin >= 0)
    assert f"{1e3 * one.wanted_margin:.3g}"[:4] in told
    assert sets.startswith(f"fused width is set by {whole.governs.fusion_width}, ")
    shown = estimate_text(whole).replace("\n    ", " ")
    assert told in shown
    assert sets in shown
    assert pair_lines(estimate(schedule_from_mapping(first_pass()))) == []


def test_purge_time_and_gas_are_those_of_the_plan() -> None:
    gas = {"gas": "argon", "purity": "99.999 %", "flow": "12 L/min", "purge_volume": "400 mL"}
    gas |= {"purge_flow": "4 L/min", "oxygen_target": "20 ppm"}
    whole = estimate(schedule_from_mapping({**first_pass(), "shielding": gas}))
    purge, use = gas_lines(whole)
    # perfect mixing: V / Q ln((C0 - Cin) / (C - Cin)), 20.9 % of oxygen in air and at most 10 ppm
    # in gas of 99.999 %: 6 s for each of ln(0.20949 / 1e-5) volume changes
    assert float(purge.split()[3]) == pytest.approx(6.0 * math.log(0.2094 / 1e-5), rel=0.01)
    assert "let out in all" in use
    assert gas_lines(estimate(schedule_from_mapping(first_pass()))) == []
