"""Drafted schedules meet their goals in fresh direct runs and keep every limit, or say why not."""

from __future__ import annotations

import re

import numpy as np
import pytest
from attrs import evolve
from click.testing import CliRunner
from schedules import tube

from weldcalc.cli import main
from weldcalc.drafting import draft, write_drafts
from weldcalc.drafts.heading import head_comments, named_as_draft
from weldcalc.drafts.heat import rate_limits, rounded_rate, rounded_speed
from weldcalc.drafts.options import cover_goals, root_goals
from weldcalc.drafts.proof import chance_of
from weldcalc.drafts.search import Ladder, Search, durations, least_power
from weldcalc.drafts.shortfall import Shortfalls
from weldcalc.errors import InputError, NegativeAnswer
from weldcalc.goals import chance_interval
from weldcalc.heatflow.constants import ValidityBox
from weldcalc.heatflow.spot_sizes import SIZES, spot_sizes
from weldcalc.prediction import estimate
from weldcalc.schedule import load_schedule, schedule_from_mapping
from weldcalc.texts.answers import draft_text
from weldcalc.tolerances.scatter import pass_scatter

GOAL = {
    "penetration": "100 %",
    "root_width": "0.2 mm",
    "spot_overlap": "70 %",
    "haz_width": "0.25 mm",
    "part_temperature": "250 degC",
}
LASER = {
    "spot_diameter": "0.4 mm",
    "peak_power_limit": "3 kW",
    "pulse_energy_limit": "30 J",
    "average_power_limit": "60 W",
    "pulse_duration_range": ["4 ms", "5 ms"],
    "repetition_rate_limit": "50 Hz",
}


def _wanted(**tables):
    typed = tube(goal=GOAL, laser=LASER, scatter={"power": "1.5 %"})
    typed.pop("pass")
    for name, keys in tables.items():
        typed[name] = {**typed.get(name, {}), **keys}
    return schedule_from_mapping(typed, require_passes=False)


@pytest.fixture(scope="module")
def made():
    return draft(_wanted(), keep=2)


class TestDraft:
    def test_goals_are_met_in_500_fresh_direct_runs(self, made):
        schedule = made.drafted[0].schedule
        result = made.drafted[0].estimate
        for weld_pass, item, goals in zip(
            schedule.passes,
            result.passes,
            (root_goals(schedule), cover_goals(schedule)),
            strict=True,
        ):
            scatter = pass_scatter(schedule, weld_pass, with_model=False)
            warmest = item.seam_preheat[1] - weld_pass.preheat
            chance, _, _ = chance_of(
                Search(scatter, 0.95, 1), scatter, goals, warmest=warmest, draws=500, seed=4711
            )
            assert chance_interval(500 * chance, 500)[1] >= 0.95

    def test_nothing_stops_it_and_every_limit_is_kept(self, made):
        for one in made.drafted:
            result = estimate(one.schedule)
            assert [f for f in result.all_findings() if f.weight == "stop"] == []
            for weld_pass, item in zip(one.schedule.passes, result.passes, strict=True):
                assert weld_pass.peak_power <= 3000.0
                assert weld_pass.pulse_energy <= 30.0
                assert weld_pass.average_power <= 60.0
                assert 4e-3 <= weld_pass.pulse_duration <= 5e-3
                assert weld_pass.repetition_rate <= 50.0
                assert item.spot_overlap >= 0.7 - 1e-9
                assert item.haz_width <= 0.25e-3
                assert item.peak_part_temperature <= 250.0 + 273.15

    def test_cover_is_wider_and_softer_and_stays_inside(self, made):
        for one in made.drafted:
            root, cover = one.schedule.passes
            assert cover.spot_diameter > root.spot_diameter
            assert cover.peak_power / cover.spot_diameter**2 < root.peak_power / 0.4e-3**2
            first, second = one.estimate.passes
            assert second.fusion_width > first.fusion_width
            assert second.penetration == pytest.approx(0.4 * 0.4e-3, rel=0.15)  # the stated part

    def test_file_reads_back_and_estimates(self, made, tmp_path):
        paths = write_drafts(made, tmp_path / "new.toml")
        assert [path.name for path in paths] == ["new.toml", "new-2.toml"][: len(paths)]
        again = load_schedule(paths[0])
        assert again.passes == made.drafted[0].schedule.passes
        text = paths[0].read_text(encoding="utf-8")
        assert "# Computed, not qualified" in text
        assert text.count('closing_overlap = "15 deg"') == 2
        assert not re.search(r"\d\.\d{6}", text)

    def test_each_has_a_name_of_its_own_and_keeps_the_warning_of_its_origin(self, tmp_path):
        origin = tmp_path / "origin.toml"
        warning = "INVENTED DATA. Do not weld from it."
        typed = _wanted().with_values("", title="Invented tube", number="D-1", revision="B")
        origin.write_text(typed.to_toml(notes=[warning, "Second line"]), encoding="utf-8")
        wanted = load_schedule(origin, require_passes=False)
        made = draft(wanted, keep=2, wish="fastest")
        names = [
            (one.number, one.revision, one.title)
            for one in map(load_schedule, write_drafts(made, tmp_path / "new.toml"))
        ]
        assert names == [
            ("D-1", "B draft 1", "Invented tube (draft 1, fastest)"),
            ("D-1", "B draft 2", "Invented tube (draft 2, fastest)"),
        ]
        # what the estimate names, a set-up card shows
        assert [one.estimate.schedule.revision for one in made.drafted] == [
            "B draft 1",
            "B draft 2",
        ]
        head = (tmp_path / "new-2.toml").read_text(encoding="utf-8").splitlines()
        assert head[:2] == [f"# {warning}", "# Second line"]
        assert head[2].startswith("# Drafted by weldcalc, place 2 of 2")
        # a draft from a draft takes its place, it does not pile names and notes up
        again = load_schedule(tmp_path / "new-2.toml")
        assert head_comments(again) == (warning, "Second line")
        renamed = named_as_draft(again, 1, "least heat")
        assert (renamed.title, renamed.revision) == (
            "Invented tube (draft 1, least heat)",
            "B draft 1",
        )
        # a file that was written anew meanwhile is not what was read
        origin.write_text("# another", encoding="utf-8")
        assert head_comments(wanted) == ()

    def test_a_name_of_any_length_still_fits(self):
        longest = _wanted().with_values("", title="t" * 200, revision="r" * 200)
        named = named_as_draft(longest, 20, "most forgiving")
        assert named.title.endswith("t (draft 20, most forgiving)")
        assert named.revision.endswith("r draft 20")

    def test_table_names_costs_and_what_binds(self, made):
        text = draft_text(made)
        for words in ("cycle time", "heat input", "may drift by", "root held by", "cover held by"):
            assert words in text
        assert max(map(len, text.splitlines())) <= 100
        held = {name for one in made.drafted for _, name in one.binding}
        assert held <= {
            "part temperature",
            "warmth of the seam",
            "average power limit",
            "repetition rate limit",
            "duty cycle",
            "travel speed",
        }

    def test_with_a_calibration_it_says_what_the_coupons_cover(self, made):
        one = made.drafted[0]
        root, cover = one.schedule.passes
        box = ValidityBox(
            spot_diameter=(0.9 * root.spot_diameter, 1.1 * root.spot_diameter),
            pulse_duration=(1e-3, 20e-3),
            irradiance=(1e8, 1e12),
        )
        own = evolve(one.estimate.calibration, sha256="0" * 64, box=box, material="Ti Grade 2")
        known = evolve(one, estimate=evolve(one.estimate, calibration=own))
        text = draft_text(evolve(made, drafted=(known,)))
        rows = dict(re.findall(r"^(\w+) in range of coupons +(\w+)$", text, re.MULTILINE))
        assert rows == {root.name: "yes", cover.name: "no"}
        assert "as your coupons left it" in " ".join(text.split())
        spelled = one.schedule.with_values("joint", material="ti_gr2")
        again = draft_text(evolve(made, drafted=(evolve(known, schedule=spelled),)))
        assert again == text
        assert "in range of coupons" not in draft_text(made)


class TestNegativeAnswers:
    def test_a_weak_laser_is_told_the_power_it_lacks(self):
        with pytest.raises(NegativeAnswer, match="peak_power_limit from 100 W to") as caught:
            draft(_wanted(laser={"peak_power_limit": "100 W"}))
        assert caught.value.exit_code == 1
        needed = float(str(caught.value).split(" to ")[1].split()[0])
        # with that much the pulse does go through
        schedule = schedule_from_mapping(tube(goal=GOAL, laser=LASER)).with_pass(
            0, peak_power=1.05 * needed, pulse_duration=5e-3, travel_speed=0.6e-3
        )
        assert estimate(schedule).passes[0].pulse.full_penetration

    def test_command_line_exits_with_one(self, tmp_path):
        path = tmp_path / "a.toml"
        path.write_text(_wanted(laser={"peak_power_limit": "100 W"}).to_toml(), encoding="utf-8")
        run = CliRunner().invoke(main, ["draft", str(path), "-o", str(tmp_path / "new.toml")])
        assert run.exit_code == 1
        assert "peak_power_limit" in run.stderr
        assert [one.name for one in tmp_path.iterdir()] == ["a.toml"]

    @pytest.mark.parametrize(
        ("tables", "asked", "words"),
        [
            ({"goal": {"penetration": None}}, {}, "goal.penetration"),
            ({}, {"wish": "cheapest"}, "fastest"),
            ({}, {"chance": 1.2}, "99.9"),
            ({}, {"remelt": 0.0}, "10 %"),
        ],
    )
    def test_what_cannot_be_drafted_is_refused(self, tables, asked, words):
        typed = _wanted()
        for table, keys in tables.items():
            typed = typed.with_values(table, **keys)
        with pytest.raises(InputError, match=words):
            draft(typed, **asked)

    def test_smallest_step_comes_first(self):
        shortfalls = Shortfalls()
        shortfalls.limit("pulse_energy_limit", needed=9.0, given=3.0)
        shortfalls.limit("peak_power_limit", needed=450.0, given=400.0)
        shortfalls.limit("peak_power_limit", needed=440.0, given=400.0)
        lines = shortfalls.text().splitlines()
        assert "from 400 W to 440 W" in lines[1]
        assert "from 3.00 J to 9.00 J" in lines[2]

    def test_an_advised_chance_can_be_asked_for_and_is_reached(self):
        shortfalls = Shortfalls()
        shortfalls.chance(0.94796, 0.95)
        assert "ask for a chance of 94.7 % instead of 95.0 %" in shortfalls.text()

    def test_a_chance_that_no_draft_takes_is_not_advised(self):
        shortfalls = Shortfalls()
        shortfalls.chance(0.12, 0.95)
        assert "ask for" not in shortfalls.text()
        assert "reaches a chance of 12.0 %, not 95.0 %" in shortfalls.text()
        with pytest.raises(InputError, match=r"has to be from 0\.5 to"):
            draft(_wanted(), chance=0.12)


class TestSteps:
    def test_least_power_is_the_edge(self):
        schedule = schedule_from_mapping(tube())
        scatter = pass_scatter(schedule, schedule.passes[0])
        case = scatter.centre(grid=5e-5).cases[0]
        task = {"case": case, "fused_radius": 1e-4, "root_width": 0.0, "penetration": 0.0}
        power = least_power(task)
        radius = SIZES.index("fused_radius")
        assert spot_sizes({**case, "peak_power": power})[radius] >= 1e-4
        assert spot_sizes({**case, "peak_power": 0.97 * power})[radius] < 1e-4

    def test_range_of_a_ladder(self):
        ladder = Ladder(
            powers=np.array([1.0, 2.0, 3.0, 4.0]),
            chance=np.array([0.5, 1.0, 1.0, 0.9]),
            sizes=np.zeros((4, len(SIZES))),
        )
        assert ladder.range_above(0.95) == pytest.approx((1.9, 3.5))
        assert ladder.range_above(1.01) is None

    def test_limits_of_the_rate(self):
        schedule = _wanted()
        weld_pass = schedule_from_mapping(tube()).passes[0]  # 390 W, 5 ms
        found = rate_limits(schedule.laser, weld_pass, 1e-4)
        assert found["average power limit"] == pytest.approx(60.0 / 1.95)
        assert found["repetition rate limit"] == 50.0
        assert found["duty cycle"] == pytest.approx(100.0)

    def test_rounding_never_goes_up(self):
        for value in np.random.default_rng(1).uniform(0.5, 60.0, 50):
            assert rounded_rate(value) <= value + 1e-9
            assert rounded_speed(1e-3 * value) <= 1e-3 * value + 1e-12
            assert rounded_speed(1e-3 * value) == pytest.approx(1e-3 * value, rel=0.011)

    def test_durations_stay_in_the_range_of_the_laser(self):
        for limits in ((0.5e-3, 20e-3), (2e-3, 6e-3), (0.1e-3, 0.4e-3), (30e-3, 60e-3)):
            found = durations(limits)
            assert found
            assert all(limits[0] <= time <= limits[1] for time in found)
