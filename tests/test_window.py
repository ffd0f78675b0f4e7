"""Process window: regions, edges, chances, limits and files."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from attrs import evolve
from click.testing import CliRunner
from schedules import tube

from weldcalc.cli import main
from weldcalc.errors import InputError
from weldcalc.goals import all_met, pass_goals
from weldcalc.heatflow.pulse_findings import HOLE
from weldcalc.plots.maps import REGIONS as DRAWN
from weldcalc.prediction import estimate
from weldcalc.schedule import schedule_from_mapping
from weldcalc.texts.answers import window_text
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.scatter import pass_scatter
from weldcalc.window import REGIONS, window
from weldcalc.windows.files import write_window
from weldcalc.windows.limits import laser_limits
from weldcalc.windows.runs import changed_pass, setting_sigma, signed_distance

LASER = {
    "spot_diameter": "0.4 mm",
    "pulse_energy_limit": "3.5 J",
    "peak_power_limit": "800 W",
    "average_power_limit": "15 W",
}


def _schedule():
    typed = tube(
        goal={"penetration": "100 %", "root_width": "0.2 mm"},
        laser=LASER,
        scatter={"absorptivity": "3 %"},
    )
    typed["pass"][0]["peak_power"] = "560 W"
    return schedule_from_mapping(typed)


@pytest.fixture(scope="module")
def made():
    return window(_schedule(), cells=(18, 12), grid=5e-5)


class TestMap:
    def test_text_says_what_region_and_chance_are_of(self, made):
        told = " ".join(window_text(made).split())
        assert "of pulses without scatter" in told
        assert "over the shop's scatter alone" in told
        both = " ".join(window_text(evolve(made, counts_model=True)).split())
        assert "over the shop's scatter and the model's own spread" in both

    def test_regions_are_those_of_the_figure(self):
        assert REGIONS == DRAWN

    def test_places_agree_with_the_whole_estimate(self, made):
        for row, place in ((0, 0), (5, 8), (11, 17), (3, 14)):
            changed = _schedule().with_pass(
                0, peak_power=float(made.x[place]), pulse_duration=float(made.y[row])
            )
            [one] = estimate(changed).passes
            # the map's grid is coarser than the engine's own
            assert made.sizes["penetration"][row, place] == pytest.approx(
                one.pulse.penetration, rel=0.08
            )
            through = one.pulse.transmitted_energy / one.pulse.incident_energy
            if abs(through - HOLE) > 0.03:
                assert (REGIONS[made.region[row, place]] == "excessive") == (through > HOLE)

    def test_more_power_goes_from_lack_to_excess(self, made):
        # a fact of the trade (common practice, no source): too little, right, too much
        middle = made.region[6]
        assert list(middle) == sorted(middle)
        assert set(middle) == {0, 1, 2}

    def test_chance_is_high_inside_and_low_outside(self, made):
        assert made.chance[made.region != 1].min() == 0.0
        assert made.chance[6].max() > 0.95
        assert made.region[6, int(np.argmax(made.chance[6]))] == 1

    def test_a_pass_that_melts_nothing_is_no_excess(self):
        # all that is heated then counts as heat-affected
        schedule = _schedule()
        cold = window(
            schedule, cells=(4, 4), grid=6e-5, x_range=(20.0, 100.0), y_range=(1e-3, 2e-3)
        )
        assert np.all(cold.sizes["penetration"] == 0.0)
        assert np.all(cold.region == REGIONS.index("lack of penetration"))

    def test_chance_is_that_of_direct_runs_between_its_places(self):
        schedule, off = _schedule(), []
        # places of the chance far apart: read off between them it would be 0.1 off on average
        made = window(schedule, cells=(18, 12), grid=5e-5, chance_nodes=5)
        for place, power in enumerate(made.x):
            there = schedule.with_pass(0, peak_power=float(power), pulse_duration=float(made.y[6]))
            scatter = pass_scatter(there, there.passes[0], with_model=False)
            # other draws than those of the map, numpy's own
            normals = np.random.default_rng(place).normal(size=(60, len(scatter.causes)))
            pulses = scatter.pulses(np.clip(normals, -3.0, 3.0), grid=5e-5)
            goals = pass_goals(there, there.passes[0])
            met = all_met(goals.met(run_pulses(pulses.cases), pulses))
            off.append(made.chance[6, place] - met.mean())
        # 20 draws of the map and 60 here: one sigma of the difference is at most 0.13, and nearly
        # nothing away from the edges
        assert np.max(np.abs(off)) < 0.3
        assert np.mean(np.abs(off)) < 0.05

    def test_edges_are_where_the_region_changes(self, made):
        by = {(edge.key, edge.side): edge for edge in made.edges}
        left, right = by["peak_power", -1], by["peak_power", 1]
        assert left.region == "lack of penetration"
        assert right.region == "excessive"
        sigma = setting_sigma(
            pass_scatter(_schedule(), _schedule().passes[0], with_model=False), "peak_power"
        )
        assert sigma == pytest.approx(0.02 * 560.0)  # the shipped default, 2 %
        assert left.sigmas == pytest.approx((560.0 - left.value) / sigma)
        # the map says the same within one of its columns
        row = made.region[int(np.argmin(np.abs(made.y - 5e-3)))]
        sound = made.x[row == 1]
        step = made.x[1] - made.x[0]
        assert left.value == pytest.approx(sound.min(), abs=1.6 * step)
        assert right.value == pytest.approx(sound.max(), abs=1.6 * step)

    def test_nearest_region_is_no_farther_than_along_an_axis(self, made):
        for edge in made.edges:
            if edge.region and edge.sigmas:
                assert made.nearest[edge.region] <= edge.sigmas + 3.0

    def test_limits_of_the_laser_are_curves_on_their_value(self, made):
        by = {limit.key: limit for limit in made.limits}
        assert set(by) == {"peak_power", "pulse_energy", "average_power"}
        assert by["peak_power"].x == pytest.approx(800.0)
        energy = by["pulse_energy"]
        assert energy.x * energy.y == pytest.approx(3.5, rel=0.01)
        average = by["average_power"]
        assert average.x * average.y * 5.0 == pytest.approx(15.0, rel=0.01)

    def test_settings_that_move_no_pool_share_its_runs(self):
        seen: list[int] = []
        window(
            _schedule(),
            x="travel_speed",
            y="repetition_rate",
            cells=(10, 10),
            grid=6e-5,
            progress=seen.append,
        )
        # the goals are met everywhere, so that no edge has to be looked for
        assert sum(seen) == 1 + 20  # one pulse, and the draws of its chance

    @pytest.mark.parametrize(
        ("wanted", "words"),
        [
            ({"x": "peak_pwr"}, "peak_power"),
            ({"x": "pulse_duration"}, "another setting"),
            ({"pass_name": "rot"}, "root"),
            ({"cells": (2, 9)}, "at least 4"),
            ({"x_range": (500.0, 300.0)}, "x_range.*the lower first"),
            ({"y_range": (0.0, 5e-3)}, "y_range.*pulse_duration has to be above zero"),
            ({"x_range": (300.0, float("inf"))}, "x_range.*finite"),
        ],
    )
    def test_what_cannot_be_drawn_is_refused(self, wanted, words):
        with pytest.raises(InputError, match=words):
            window(_schedule(), **wanted)


class TestSignedDistance:
    def test_by_hand(self):
        # met from 2 to 5; two places of 3 are the farthest that counts
        found = signed_distance(
            np.array([0.0, 1.0, 3.0, 4.5, 20.0]),
            np.array([2.0, 5.0]),
            starts_inside=False,
            x=np.array([0.0, 3.0]),
        )
        assert found == pytest.approx([-2.0, -1.0, 1.0, 0.5, -6.0])

    def test_without_an_edge_all_is_alike(self):
        found = signed_distance(np.zeros(2), np.zeros(0), starts_inside=True, x=np.arange(2.0))
        assert found == pytest.approx([2.0, 2.0])


class TestChangedPass:
    def test_what_was_typed_stays(self):
        by_power = _schedule().passes[0]
        assert changed_pass(by_power, pulse_duration=1e-2).peak_power == 560.0
        by_energy = _schedule().with_pass(0, pulse_energy=2.8).passes[0]
        longer = changed_pass(by_energy, pulse_duration=1e-2)
        assert longer.pulse_energy == pytest.approx(2.8)
        assert longer.peak_power == pytest.approx(280.0)
        assert changed_pass(by_power, pulse_energy=5.6).peak_power == pytest.approx(1120.0)

    def test_duration_follows_power_and_energy(self):
        made = changed_pass(_schedule().passes[0], peak_power=400.0, pulse_energy=2.0)
        assert (made.peak_power, made.pulse_energy) == (400.0, 2.0)
        assert made.pulse_duration == pytest.approx(5e-3)  # a square pulse: 2 J / 400 W


class TestLimits:
    """Of a laser, over a map of peak power from 300 to 900 W by duration from 2 to 8 ms."""

    @staticmethod
    def _limits(**laser):
        x, y = np.linspace(300.0, 900.0, 5), np.linspace(2e-3, 8e-3, 4)
        one = _schedule().passes[0]
        passes = [[changed_pass(one, peak_power=a, pulse_duration=b) for a in x] for b in y]
        typed = ("peak_power_limit", "pulse_energy_limit", "average_power_limit")
        none = dict.fromkeys((*typed, "repetition_rate_limit", "pulse_duration_range"))
        return laser_limits(evolve(_schedule().laser, **(none | laser)), passes, x, y)

    def test_a_limit_that_leaves_none_of_the_map_is_told(self):
        [limit] = self._limits(peak_power_limit=100.0)
        assert limit.x.size == 0
        assert limit.words == "peak power 100 W, which all of the map is beyond"

    def test_a_limit_that_all_of_the_map_keeps_is_not(self):
        assert self._limits(peak_power_limit=3000.0) == ()
        assert self._limits(peak_power_limit=900.0) == ()
        assert self._limits(pulse_duration_range=(1e-3, 9e-3)) == ()

    def test_both_ends_of_the_duration(self):
        words = [one.words for one in self._limits(pulse_duration_range=(9e-3, 20e-3))]
        assert words == ["pulse duration 9.00 ms, which all of the map is beyond"]
        words = [one.words for one in self._limits(pulse_duration_range=(0.5e-3, 1e-3))]
        assert words == ["pulse duration 1.00 ms, which all of the map is beyond"]
        crossing = self._limits(pulse_duration_range=(3e-3, 5e-3))
        assert [one.words for one in crossing] == [
            "pulse duration 3.00 ms",
            "pulse duration 5.00 ms",
        ]


class TestFiles:
    def test_picture_table_and_answer(self, made, tmp_path):
        folder = write_window(made, tmp_path / "window")
        assert sorted(path.name for path in folder.iterdir()) == [
            "window.csv",
            "window.json",
            "window.png",
            "window.svg",
        ]
        rows = list(csv.DictReader((folder / "window.csv").read_text("utf-8").splitlines()))
        assert len(rows) == made.region.size
        assert float(rows[0]["peak_power [W]"]) == pytest.approx(made.x[0])
        assert float(rows[0]["pulse_duration [ms]"]) == pytest.approx(1e3 * made.y[0])
        assert {row["region"] for row in rows} == set(REGIONS)
        data = json.loads((folder / "window.json").read_text("utf-8"))
        assert data["share_of_map"]["sound"] == pytest.approx(float(np.mean(made.region == 1)))

    def test_command_line_refuses_an_existing_folder_before_it_computes(self, tmp_path):
        path = tmp_path / "a.toml"
        path.write_text(_schedule().to_toml(), encoding="utf-8")
        run = CliRunner().invoke(main, ["window", str(path), "-o", str(tmp_path)])
        assert run.exit_code == 2
        assert "exists already" in run.stderr


def test_a_negative_seed_is_refused_as_the_users_own():
    for command in ("window", "tolerance", "draft"):
        done = CliRunner().invoke(main, [command, "any.toml", "--seed", "-1"])
        assert done.exit_code == 2, (command, done.output)
        assert "--seed" in done.stderr
