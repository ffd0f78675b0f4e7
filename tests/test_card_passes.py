"""What the card says of each pass agrees with the schedule, the estimate and the pulse table."""

from __future__ import annotations

import re

import pytest
from matplotlib.text import Text
from schedules import tube

from weldcalc.card import setup_card
from weldcalc.card_content import card_content
from weldcalc.prediction import estimate
from weldcalc.pulse_table import pulse_table
from weldcalc.quantities import show
from weldcalc.reference import read_toml
from weldcalc.schedule import schedule_from_mapping

COVER = {
    "name": "cover",
    "peak_power": "500 W",
    "pulse_duration": "4 ms",
    "repetition_rate": "5 Hz",
    "travel_speed": "0.6 mm/s",
    "spot_diameter": "0.8 mm",
    "pause_before": "60 s",
}


def two_passes(**cover):
    typed = tube(goal={"penetration": "90 %"})
    typed["pass"][0]["closing_overlap"] = "15 deg"
    typed["pass"].append(COVER | cover)
    return schedule_from_mapping(typed)


@pytest.fixture(name="made", scope="module")
def _made():
    return estimate(two_passes())


def text_of(picture):
    return " ".join(t.get_text() for t in picture.figure.findobj(Text) if t.get_text())


def cells(content, name):
    [line] = [one for one in content.other if one.name == name]
    return line.cells


def test_the_energy_lines_say_what_the_pulse_table_does(made):
    content = card_content(made.schedule, made)
    rows = pulse_table(made.schedule, made=made).rows
    for one, (name, told) in zip(made.passes, content.energy, strict=True):
        shares = [row[3] / one.pulse_energy for row in rows if row[0] == name]
        along = shares[: len(shares) - one.seam.ramp]
        assert told.startswith("constant as typed; the pulse table lowers it to ")
        [lowest] = re.findall(r"lowers it to ([\d.]+) %", told)
        assert float(lowest) == pytest.approx(100 * min(along), abs=0.051)
    root, cover = (told for _, told in content.energy)
    assert made.passes[0].seam.ramp > 0
    [last] = re.findall(
        rf"runs it down to ([\d.]+) % over the last {made.passes[0].seam.ramp} pulses", root
    )
    ends = [row[3] for row in rows if row[0] == "root"]
    assert float(last) == pytest.approx(100 * ends[-1] / made.passes[0].pulse_energy, abs=0.51)
    assert made.passes[1].seam.ramp == 0
    assert "without a run-down" in cover


def test_the_card_says_that_the_pulse_table_is_not_used_by_itself(made):
    picture = setup_card(made.schedule, estimate=made)
    drawn = text_of(picture)
    assert "pulses.csv of the record; not used unless the machine is programmed with it" in drawn
    assert "root: constant as typed; the pulse table lowers it" in drawn
    assert card_content(made.schedule).energy == ()


def test_a_later_pass_starts_as_warm_as_computed(made):
    first, later = cells(card_content(made.schedule, made), "Part temperature at start")
    warm = float(made.passes[1].history.part_temperature[0])
    assert warm > 273.15 + 40, "a minute after the root the tube is still warm"
    assert first.text == "20 °C"
    assert later.text == f"{show(warm, 'part_temperature')} (computed, after 60 s pause)"
    assert not later.typed


def test_a_typed_preheat_stands_as_typed_in_a_later_pass():
    schedule = two_passes(preheat="35 degC")
    first, later = cells(card_content(schedule), "Part temperature at start")
    assert (later.text, later.typed) == ("35 °C", True)
    assert not first.typed


@pytest.mark.parametrize(
    ("pause", "words"), [("60 s", "after 60 s pause"), ("0 s", "without a pause")]
)
def test_without_an_estimate_no_temperature_is_invented(pause, words):
    _, later = cells(card_content(two_passes(pause_before=pause)), "Part temperature at start")
    assert later.text == f"as the pass before leaves it, {words}"


def test_expected_sizes_have_their_interval(made):
    content = card_content(made.schedule, made)
    lines = {one.name: [cell.text for cell in one.cells] for one in content.predicted}
    for told, one in zip(lines["Penetration"], made.passes, strict=True):
        low, high = one.penetration_interval
        value, ends = told.split(" (")
        assert value == show(one.penetration, "penetration")
        assert [float(end) for end in re.findall(r"[\d.]+", ends)] == pytest.approx(
            [1e3 * low, 1e3 * high], rel=5e-3
        )
    assert all("(" not in told for told in lines["Spot overlap"])


def test_what_nobody_typed_and_all_passes_share_stands_in_one_line(made):
    content = card_content(made.schedule, made)
    assert "pulse shape square" in content.defaults
    assert "Pulse shape" not in [one.name for one in content.other]
    shaped = card_content(two_passes(pulse_shape=[[0, 1], [1, 0.5]]))
    assert "pulse shape" not in shaped.defaults
    assert [cell.typed for cell in cells(shaped, "Pulse shape")] == [False, True]


def test_what_the_schedule_does_not_hold_of_the_head_is_left_blank(made):
    drawn = text_of(setup_card(made.schedule))
    for name in ("Lens", "Fibre", "Focus position", "Nozzle", "Stand-off", "Protective window"):
        assert re.search(rf"{name} _{{8,}}", drawn), name


# --- cautions

ACTIONS = {
    "fume": "Extract",
    "gas-room": "Ventilate; measure oxygen",
    "titanium-fire": "Never water",
    "high-voltage": "Only trained people",
    "stainless-fume": "Extract",
    "beam": "interlocked enclosure",
    "eyes-skin": "Wear only eyewear marked",
}


def test_every_caution_says_what_to_do_in_few_words():
    table = {raw["key"]: raw for raw in read_toml("safety/cautions.toml")["caution"]}
    for key, raw in table.items():
        assert raw["action"].endswith("."), key
        assert len(raw["action"]) < 0.8 * len(raw["text"]), key
    for key, words in ACTIONS.items():
        assert words in table[key]["action"]


def test_the_card_prints_the_whole_action_and_not_a_first_sentence(made):
    told = dict(card_content(made.schedule, made).cautions)
    assert "Only trained people open it" in told["Laser supply"]
    assert "call the fire service" in told["Titanium fines and fire"]
    assert "Chromium and nickel in the fume" not in told


# --- room for a hand


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_lines_to_fill_in_have_room_above_them(made, paper):
    picture = setup_card(made.schedule, paper=paper, estimate=made)
    (page, *_) = picture.figure.axes
    picture.figure.set_dpi(300)
    renderer = picture.figure._get_renderer()
    boxes = [(t, t.get_window_extent(renderer).get_points() * 25.4 / 300) for t in page.texts]
    blanks = [(t.get_text(), box) for t, box in boxes if "____" in t.get_text()]
    assert len(blanks) > 12
    for told, ((left, down), (right, top)) in blanks:
        over = [
            below - top
            for _, ((start, below), (end, _)) in boxes
            if start < right and end > left and below > down + 0.5
        ]
        # letters by hand reach above the line: at least as much again as print is high
        assert min(over) > 2.0, (told, min(over))
