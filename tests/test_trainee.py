"""The trainee's panel: numbers against formulas, the sentences, the picture, the exercises."""

from __future__ import annotations

import re

import numpy as np
import pytest
from attrs import evolve
from defusedxml import ElementTree  # comes with nbconvert
from hypothesis import given, settings
from hypothesis import strategies as st

from weldcalc import trainee
from weldcalc.errors import InputError
from weldcalc.passes.pulse import cooling_followed
from weldcalc.quantities import parse_quantity
from weldcalc.trainee.drawing import WIDTH, picture
from weldcalc.trainee.exercises import Question, Task, all_exercises
from weldcalc.trainee.lesson import compute, heat_left, run_pulse
from weldcalc.trainee.panel import SPANS, Panel
from weldcalc.trainee.profile import root_profile
from weldcalc.trainee.words import NAMES, number_rows, opening, pool_rows, story

LESSON = trainee.open_lesson()
# 600 W goes through the demo's 0.4 mm wall with a wide margin
THROUGH = evolve(
    LESSON.settings, peak_power=600.0, pulse_duration=5e-3, repetition_rate=5.0, travel_speed=5e-4
)

# little power almost all the time: nothing opens the far side, so that all heat stays
FLOOD = {
    "peak_power": 150.0,
    "wall_thickness": 1e-3,
    "repetition_rate": 20.0,
    "pulse_duration": 40e-3,
    "spot_diameter": 1e-3,
    "travel_speed": 1e-4,
}


def outcome(**changes: float):
    return compute(LESSON, evolve(THROUGH, **changes))


class TestNumbers:
    def test_overlaps_are_those_of_the_two_published_definitions(self):
        # 1 - v / (f d) and 1 - (v / f) / (d + v t): text on pulsed welding, published,
        # reference_data/worked_examples/welding.toml holds its examples
        now, v, f, d, t = outcome(), 5e-4, 5.0, THROUGH.spot_diameter, 5e-3
        assert now.spot_overlap == pytest.approx(1 - v / (f * d), rel=1e-12)
        assert now.spot_overlap_with_travel == pytest.approx(1 - (v / f) / (d + v * t), rel=1e-12)
        assert now.pulse_pitch == pytest.approx(1e-4, rel=1e-12)
        assert now.pulse_energy == pytest.approx(3.0, rel=1e-12)
        assert now.average_power == pytest.approx(15.0, rel=1e-12)
        assert now.heat_input == pytest.approx(3.0 / 1e-4, rel=1e-12)

    def test_what_a_pulse_finds_is_the_sum_of_line_sources_round_the_tube(self):
        # Carslaw and Jaeger 1959, section 10.3, from memory: Q / (4 pi a t h rho c) times
        # exp(-s2 / 4 a t) for each pulse before, and for its images whole turns away
        now, body = outcome(), LESSON.body(THROUGH.wall_thickness)
        number = np.arange(1, int(LESSON.half_way / now.pulse_pitch) + 1)
        age = number / THROUGH.repetition_rate
        spread = 4 * body.diffusivity * age
        wall = THROUGH.wall_thickness
        shape = sum(
            np.exp(-((number * now.pulse_pitch + turn * body.length) ** 2) / spread)
            for turn in range(-30, 31)
        )
        unit = shape / (np.pi * spread * wall * body.volumetric_heat)
        left = heat_left(now.warm.pulse)
        assert now.warm.found == pytest.approx(293.15 + left * unit.sum(), rel=0.02)

    def test_cooling_curve_ends_at_what_the_next_pulse_finds(self):
        now = outcome()
        # the next pulse lands one pitch on, where the last one has warmed the metal a little less
        assert now.cooling_later[-1] == pytest.approx(now.warm.found, rel=0.05)
        assert (np.diff(now.cooling_later) < 0).all()
        assert (now.cooling_later > now.cooling_first).all()

    def test_root_between_two_round_pools_lies_on_their_circle(self):
        # half-ball of radius R: depth half a pitch from the centre is sqrt(R2 - (p / 2)2)
        angle = np.linspace(0, np.pi / 2, 400)
        outline = np.column_stack([np.cos(angle), np.sin(angle)])
        place = np.array([[0.0], [0.3], [0.6], [1.2]])
        depth = root_profile(outline, place)
        assert depth == pytest.approx([1.0, np.sqrt(0.91), 0.8, 0.0], abs=1e-4)

    def test_no_pool_has_no_depth(self):
        assert (root_profile(np.zeros((0, 2)), np.zeros((3, 1))) == 0).all()
        weak = outcome(peak_power=60.0)
        assert weak.pool.pulse.penetration == 0
        assert weak.pool.melt_overlap is None
        assert "none" in {cold for _, cold, _ in pool_rows(weak)}

    def test_going_faster_spreads_pulses_and_keeps_metal_cooler(self):
        found = [outcome(travel_speed=v) for v in (3e-4, 6e-4, 1.2e-3, 2.4e-3)]
        assert (np.diff([one.pulse_pitch for one in found]) > 0).all()
        assert (np.diff([one.spot_overlap for one in found]) < 0).all()
        assert (np.diff([one.warm.found for one in found]) < 0).all()

    def test_more_power_never_cools_the_seam(self):
        found = [outcome(peak_power=p).warm.found for p in (200.0, 400.0, 600.0)]
        assert (np.diff(found) > 0).all()

    def test_too_much_heat_floods_the_seam_and_is_told_not_clipped(self):
        hot = outcome(**FLOOD)
        assert hot.warm is None
        assert hot.pool is hot.cold
        assert {later for _, _, later in pool_rows(hot)} == {"does not set"}

    # on metal a little under the temperatures at which gas is needed, a pulse's own warmth takes
    # half a minute to go: a move of a slider must not wait for its computation
    @pytest.mark.parametrize("found", [450.0, 492.3, 646.2, 680.0, 1500.0])
    def test_no_pulse_is_followed_longer_than_in_an_estimate(self, found):
        history = run_pulse(LESSON, LESSON.settings, found).history
        longest = LESSON.settings.pulse_duration + cooling_followed(LESSON.start)
        assert history.time[-1] <= 1.05 * longest

    def test_pulses_that_run_into_each_other_are_refused(self):
        with pytest.raises(InputError, match="shorten the pulse"):
            outcome(pulse_duration=60e-3, repetition_rate=20.0)


class TestLesson:
    def test_starts_from_a_schedule_of_the_users_own(self, tmp_path):
        path = tmp_path / "mine.toml"
        path.write_text(LESSON.schedule.to_toml(), encoding="utf-8")
        cover = trainee.open_lesson(str(path), "cover")
        assert cover.start.name == "cover"
        assert cover.settings.peak_power == LESSON.schedule.passes[1].peak_power

    @pytest.mark.parametrize(("file", "name"), [("", "no such pass"), ("nowhere.toml", "")])
    def test_says_what_is_missing(self, file, name):
        with pytest.raises(InputError):
            trainee.open_lesson(file, name)


class TestStory:
    @pytest.mark.parametrize(
        ("change", "words"),
        [
            (
                {"travel_speed": 2.4e-3},
                r"root overlap fell from .* under the goal of 70.0 %.*because the travel speed "
                r"rose from 0\.500 mm/s to 2\.40 mm/s: the pulses land 0\.480 mm instead of 0",
            ),
            ({"peak_power": 200.0}, r"no longer reach the far side because the peak power fell"),
            ({"wall_thickness": 0.9e-3}, r"0\.900 mm to the far side instead of 0\.400 mm"),
            (FLOOD, r"no longer sets between two pulses"),
            ({"repetition_rate": 1.0}, r"metal has 1\.00 s to cool instead of 0\.200 s"),
            ({"spot_diameter": 0.8e-3}, r"power meets the metal with 1194 W/mm² instead of"),
            ({"pulse_duration": 5.5e-3}, r"each pulse brings 3\.30 J instead of 3\.00 J"),
        ],
    )
    def test_tells_what_changed_and_why(self, change, words):
        assert re.search(words, story(LESSON, outcome(), outcome(**change)))

    def test_way_back_is_told_too(self):
        told = story(LESSON, outcome(travel_speed=4e-3), outcome())
        assert re.search(r"touch again|reaches the goal of 70\.0 %", told)

    def test_spots_that_no_longer_touch_leak(self):
        assert "leaks" in story(LESSON, outcome(), outcome(travel_speed=4e-3))

    def test_spots_apart_have_no_overlap_to_tell_in_per_cent(self):
        near, far, apart = (outcome(travel_speed=speed) for speed in (0.5e-3, 4e-3, 8e-3))
        assert re.search(r"fell from \S+ % to none, spots apart", story(LESSON, near, far))
        assert "still no root overlap: the spots do not touch" in story(LESSON, far, apart)
        told = [story(LESSON, far, apart), *(value for _, value in number_rows(apart))]
        told += [cell for row in pool_rows(apart) for cell in row]
        assert not re.search(r"-\d+(\.\d+)? %", " ".join(told))

    def test_limit_of_the_laser_is_told_when_it_is_passed(self):
        before, now = outcome(travel_speed=4e-3), outcome(travel_speed=4e-3, repetition_rate=21.0)
        assert "above what this laser gives, 60.0 W" in story(LESSON, before, now)

    def test_beam_that_passes_through_is_told(self):
        before, now = outcome(peak_power=450.0), outcome(peak_power=1200.0)
        assert "shoots out through the far side" in story(LESSON, before, now)
        assert "no longer shoots" in story(LESSON, now, before)

    def test_without_a_change_it_says_how_things_stand(self):
        now = outcome()
        assert story(LESSON, now, now) == opening(LESSON, now)
        assert "go through the 0.400 mm wall" in opening(LESSON, now)
        assert "not through" in opening(LESSON, outcome(peak_power=200.0))

    def test_names_every_setting_and_number_with_its_unit(self):
        assert set(NAMES) == set(trainee.SETTINGS)
        assert all(re.search(r"\d.* \S+$", value) for _, value in number_rows(outcome()))


def span(name: str):
    low, high, _ = (parse_quantity(text, name) for text in SPANS[name])
    return st.floats(low, high)


SETTINGS = st.fixed_dictionaries({name: span(name) for name in trainee.SETTINGS})


def bold_spots(drawn: str) -> list[dict[str, str]]:
    every = ElementTree.fromstring(drawn).iter("rect")
    return [one.attrib for one in every if one.attrib.get("stroke-width") == "2.2"]


class TestPicture:
    @settings(max_examples=25, deadline=None)
    @given(SETTINGS)
    def test_is_well_formed_and_stays_in_its_frame(self, chosen):
        now = compute(LESSON, evolve(LESSON.settings, **chosen))
        drawn = picture(LESSON, now)
        root = ElementTree.fromstring(drawn)
        assert "nan" not in drawn.lower()
        _, _, width, height = (float(part) for part in root.attrib["viewBox"].split())
        assert width == WIDTH
        for text in root.iter("text"):
            assert 0 <= float(text.attrib["x"]) <= width
            assert 0 <= float(text.attrib["y"]) <= height

    def test_says_in_words_what_it_shows(self):
        root = ElementTree.fromstring(picture(LESSON, outcome()))
        assert root.attrib["role"] == "img"
        assert re.search(r"Pulses 0\.100 mm apart .* on the far side", root.find("title").text)

    def test_draws_the_pitch_to_scale(self):
        now = outcome(travel_speed=1.5e-3)
        first, second = bold_spots(picture(LESSON, now))
        travel = now.settings.travel_speed * now.settings.pulse_duration
        scale = float(first["width"]) / (now.settings.spot_diameter + travel)
        apart = float(second["x"]) - float(first["x"])
        assert apart == pytest.approx(scale * now.pulse_pitch, rel=0.01)


class TestPanel:
    def test_slider_and_number_field_move_together_and_change_everything(self):
        panel = Panel(LESSON)
        number, slider, _ = panel.fields["peak_power"]
        before = (panel.says.value, panel.drawn.value, panel.numbers.value)
        slider.value = 600.0
        assert number.value == 600.0
        assert panel.now.settings.peak_power == pytest.approx(600.0)
        after = (panel.says.value, panel.drawn.value, panel.numbers.value)
        assert all(old != new for old, new in zip(before, after, strict=True))

    def test_moves_of_one_slider_in_a_row_are_told_as_one(self):
        panel = Panel(LESSON)
        start = LESSON.settings.travel_speed
        for factor in (1.2, 1.4, 1.6):
            panel.move("travel_speed", factor * start)
        assert "from 0.350 mm/s to 0.560 mm/s" in panel.says.value
        panel.move("peak_power", 420.0)
        assert "from 580 W to 420 W" in panel.says.value
        assert "mm/s" not in panel.says.value

    def test_impossible_settings_keep_the_picture_and_say_why(self):
        panel = Panel(LESSON)
        drawn = panel.drawn.value
        panel.move("pulse_duration", 0.4)
        assert panel.drawn.value == drawn
        assert "trouble" in panel.says.value
        assert "lower the rate" in panel.says.value

    def test_start_outside_the_usual_span_widens_it(self):
        far = evolve(LESSON, start=evolve(LESSON.start, peak_power=2500.0))
        number, slider, _ = Panel(far).fields["peak_power"]
        assert number.value == slider.value == number.max == 2500.0


class TestExercises:
    def test_are_five_and_name_their_units(self):
        made = all_exercises(LESSON)
        assert len(made) == 5
        assert [one.unit for one in made if isinstance(one, Question)] == ["%", "Hz", "W/mm²"]

    @pytest.mark.parametrize(
        ("number", "right", "wrong", "hint"),
        [
            # by hand: 0.7 mm/s over 3 Hz is 0.233 mm of 0.4 mm
            (0, 41.67, 70.83, "old speed"),
            # by hand: 1.05 mm/s over 30 % of 0.4 mm
            (1, 8.75, 1.05 / (0.7 * 0.4), "not the share that is not"),
            # by hand: 580 W over pi 0.4^2 mm2
            (2, 580 / (np.pi * 0.16), 580 / (np.pi * 0.04), "narrow spot"),
            # by hand: the wide spot of 0.8 mm taken for the radius, 580 W over pi 0.8^2 mm2
            (2, 580 / (np.pi * 0.16), 580 / (np.pi * 0.64), "the diameter for the radius"),
            # by hand: its radius taken for the diameter, 580 W over pi 0.4^2 / 4 mm2
            (2, 580 / (np.pi * 0.16), 580 / (np.pi * 0.04), "the radius for the diameter"),
        ],
    )
    def test_know_the_answer_and_the_usual_slip(self, number, right, wrong, hint):
        asked = all_exercises(LESSON)[number]
        assert asked.check(right)[0]
        assert asked.check(right * 1.015)[0]
        assert not asked.check(wrong)[0]
        assert hint in asked.check(wrong)[1]
        assert "too high" in asked.check(10 * right)[1]
        assert "too low" in asked.check(0.0)[1]

    def test_slider_tasks_can_be_done_and_say_what_is_still_open(self):
        through, cool = (one for one in all_exercises(LESSON) if isinstance(one, Task))
        thick = {"wall_thickness": 1.5 * LESSON.settings.wall_thickness}
        assert through.check(outcome(**thick, peak_power=700.0)) == (True, through.done)
        assert "the wall is under 0.600 mm" in through.check(outcome())[1]
        cold = through.check(outcome(**thick, peak_power=200.0, travel_speed=4e-3))[1]
        assert "do not go through" in cold
        assert "root" not in cold  # there is none yet
        fast = through.check(outcome(**thick, peak_power=700.0, travel_speed=1e-3))[1]
        assert "root overlap is under 70.0 %" in fast
        assert "do not go through" not in fast
        fierce = through.check(outcome(**thick, peak_power=1200.0))[1]
        assert "more than 10 % of the light leaves by the far side" in fierce
        quick = {"travel_speed": 1e-3, "repetition_rate": 10.0, "pulse_duration": 2e-3}
        assert cool.check(outcome(**quick)) == (True, cool.done)
        assert "travel speed is under" in cool.check(outcome())[1]

    def test_button_writes_the_verdict(self):
        panel = Panel(LESSON)
        box = trainee.exercises(panel)
        first = box.children[1]
        typed, button = first.children[1].children
        typed.value = 41.7
        button.click()
        assert "Right" in first.children[2].value
        fourth = box.children[4]
        fourth.children[1].children[0].click()
        assert "Not yet" in fourth.children[2].value
