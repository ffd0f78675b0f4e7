"""Scatter in, results out: sizes, chances, shares of variance and allowed drifts."""

from __future__ import annotations

import json
import re
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from SALib.analyze import sobol
from schedules import tube
from scipy.stats import binomtest

from weldcalc.errors import InputError
from weldcalc.goals import PassGoals, all_met, chance_interval, pass_goals
from weldcalc.heatflow.outlines import last_crossings
from weldcalc.heatflow.spot import spot_pulse
from weldcalc.heatflow.spot_sizes import SIZES, spot_sizes
from weldcalc.materials import material
from weldcalc.passes.seam_shape import fused_depth
from weldcalc.schedule import schedule_from_mapping
from weldcalc.texts.answers import tolerance_text
from weldcalc.tolerance import tolerance
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.scatter import column, normal_points, pass_scatter
from weldcalc.tolerances.sensitivity import sobol_design, variance_shares

GOAL = {"penetration": "100 %", "root_width": "0.2 mm", "haz_width": "0.25 mm"}
GRID = 5e-5  # m; coarse, for speed: the same on both sides of every comparison
SCATTER = {"absorptivity": "3 %", "power": "1.5 %", "spot_diameter": "2 %"}


def _schedule(power: str = "560 W", **tables):
    typed = tube(goal=GOAL, scatter=SCATTER, **tables)
    typed["pass"][0]["peak_power"] = power
    return schedule_from_mapping(typed)


class TestSizes:
    @pytest.mark.parametrize("power", [150.0, 400.0, 560.0, 900.0])
    @pytest.mark.parametrize(
        ("spot", "wall", "time"), [(4e-4, 4e-4, 5e-3), (3e-4, 1e-3, 2e-3), (8e-4, 2.5e-4, 12e-3)]
    )
    def test_are_those_of_the_full_result(self, power, spot, wall, time):
        grade = material("Ti Grade 2")
        case = {
            "peak_power": power,
            "pulse_duration": time,
            "spot_diameter": spot,
            "thickness": wall,
            "grid": min(spot, wall) / 8,
        }
        full = spot_pulse(grade, **case)
        quick = spot_sizes({**case, "material": grade, "depth": 0.5 * wall})
        for name in ("penetration", "fusion_width", "root_width", "haz_width"):
            assert column(quick, name) == pytest.approx(getattr(full, name), rel=1e-9, abs=1e-12)
        share = full.transmitted_energy / full.incident_energy
        assert column(quick, "transmitted_share") == pytest.approx(share, abs=1e-12)
        thrown = any(finding.code == "melt-ejection" for finding in full.warnings)
        assert (column(quick, "ejection_ratio") >= 1.0) == thrown
        left = full.absorbed_energy - full.lost_energy
        assert column(quick, "heat_left") == pytest.approx(left, rel=0.02)

    def test_fused_radius_is_where_the_pool_reaches_the_depth(self):
        grade = material("Ti Grade 2")
        case = {"peak_power": 500.0, "pulse_duration": 5e-3, "spot_diameter": 4e-4}
        full = spot_pulse(grade, **case, thickness=1e-3)
        depth = 0.6 * full.penetration
        radius = column(
            spot_sizes({**case, "thickness": 1e-3, "material": grade, "depth": depth}),
            "fused_radius",
        )
        assert fused_depth(full.fusion_outline, float(radius)) == pytest.approx(depth, rel=0.02)

    def test_last_crossings_by_hand(self):
        place = np.array([0.0, 1.0, 2.0, 3.0])
        rows = np.array([[4.0, 4.0, 0.0, 0.0], [0.0] * 4, [5.0] * 4, [4.0, 0.0, 4.0, 2.0]])
        found = last_crossings(place, rows, 3.0)
        assert found == pytest.approx([1.25, 0.0, 3.0, 2.5])


class TestChances:
    @pytest.mark.parametrize(("met", "count"), [(0, 20), (19, 20), (20, 20), (475, 500)])
    def test_interval_is_the_exact_binomial_one(self, met, count):
        # scipy: an independent implementation of Clopper and Pearson (1934)
        exact = binomtest(met, count).proportion_ci(0.95, method="exact")
        assert chance_interval(met, count) == pytest.approx((exact.low, exact.high), abs=1e-9)

    def test_goals_by_hand(self):
        goals = PassGoals(depth_share=1.0, root_width=2e-4, haz_width=1e-4, stays_inside=False)
        scatter = pass_scatter(_schedule(), _schedule().passes[0])
        pulses = scatter.pulses(np.zeros((3, len(scatter.causes))))
        sizes = np.zeros((3, len(SIZES)))
        needed = np.hypot(1e-4, 5e-5)  # half the root width, half the pitch of 0.1 mm
        for name, values in {
            "fused_radius": [6e-5, 4e-5, 6e-5],
            "root_width": [2.001 * needed, 1.999 * needed, 2.001 * needed],
            "haz_width": [0.9e-4, 0.9e-4, 1.1e-4],
            "transmitted_share": [0.05, 0.05, 0.2],
        }.items():
            sizes[:, SIZES.index(name)] = values
        met = goals.met(sizes, pulses)
        assert {name: list(map(bool, values)) for name, values in met.items()} == {
            "penetration": [True, False, True],
            "root_width": [True, False, True],
            "haz_width": [True, True, False],
            "no_blow_through": [True, True, False],
            "no_ejection": [True, True, True],
        }
        assert list(all_met(met)) == [True, False, False]

    def test_later_passes_stay_inside_and_owe_no_depth(self):
        typed = tube(goal=GOAL)
        typed["pass"].append({**typed["pass"][0], "name": "cover"})
        schedule = schedule_from_mapping(typed)
        assert "penetration" in pass_goals(schedule, schedule.passes[0]).names
        assert pass_goals(schedule, schedule.passes[1]).names == (
            "haz_width",
            "no_blow_through",
            "no_ejection",
            "not_through",
        )


def _ishigami(normals):
    from scipy.special import ndtr

    x = np.pi * (2 * ndtr(normals) - 1)
    return np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])


class TestShares:
    def test_of_the_ishigami_function(self):
        # Ishigami and Homma 1990 with a = 7, b = 0.1: analytic shares
        # (S1 = 0.3139, S2 = 0.4424, ST1 = 0.5576, ST3 = 0.2437), worked out from their formula
        design = sobol_design(2048, 3, 5)
        made = variance_shares(
            _ishigami(design.first),
            _ishigami(design.second),
            np.array([_ishigami(design.swapped(i)) for i in range(3)]),
            seed=1,
        )
        assert made.first == pytest.approx([0.3139, 0.4424, 0.0], abs=0.03)
        assert made.total == pytest.approx([0.5576, 0.4424, 0.2437], abs=0.03)
        assert np.all(made.total_error < 0.03)

    def test_agree_with_salib_on_the_same_engine_runs(self):
        # SALib: an independent implementation of the same estimators
        schedule = _schedule()
        scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
        causes = scatter.causes
        design = sobol_design(32, len(causes), 2)
        swaps = [design.swapped(number) for number in range(len(causes))]
        rows = [
            column(run_pulses(scatter.pulses(one, grid=5e-5).cases), "fusion_width")
            for one in (design.first, design.second, *swaps)
        ]
        made = variance_shares(rows[0], rows[1], np.array(rows[2:]), seed=1)
        # SALib wants the results of a row together: first sample, every swap, second sample
        order = np.array([rows[0], *rows[2:], rows[1]]).T.ravel()
        problem = {"num_vars": len(causes), "names": list(causes), "bounds": [[0, 1]] * len(causes)}
        other = sobol.analyze(problem, order, calc_second_order=False, seed=1)
        assert made.first == pytest.approx(other["S1"], abs=1e-9)
        assert made.total == pytest.approx(other["ST"], abs=1e-9)
        assert causes[int(np.argmax(made.total))] in ("absorptivity", "spot_diameter")

    def test_nothing_that_varies_gives_nothing(self):
        same = np.full(16, 3.0)
        made = variance_shares(same, same, np.array([same]), seed=1)
        assert made.first[0] == 0.0
        assert made.total[0] == 0.0


@pytest.fixture(scope="module")
def sampled():
    return tolerance(_schedule(), samples=400, seed=7, with_model=False, grid=GRID)


class TestTolerance:
    def test_same_seed_same_result_on_one_worker_and_two(self, sampled):
        found = []
        for workers in (1, 2):
            with ThreadPoolExecutor(workers) as pool:
                made = tolerance(
                    _schedule(), samples=240, seed=3, grid=6e-5, with_drifts=False, executor=pool
                )
                found.append(json.dumps(made.to_json(), sort_keys=True))
        assert found[0] == found[1]
        other = tolerance(_schedule(), samples=240, seed=4, grid=6e-5, with_drifts=False)
        assert json.dumps(other.to_json(), sort_keys=True) != found[0]

    def test_spread_agrees_with_plain_independent_draws(self, sampled):
        # an independent route: numpy's normal numbers straight into the engine
        [one] = sampled.passes
        rng = np.random.default_rng(11)
        schedule = _schedule()
        scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
        grade, sigma, cases = material("Ti Grade 2"), scatter.sigma, []
        middle = scatter.centre(grid=GRID).cases[0]
        for _ in range(150):
            a, b, c, d, e = rng.normal(size=5)
            cases.append(
                {
                    **middle,
                    "material": grade,
                    "peak_power": 560.0 * (1 + sigma["power"] * a),
                    "pulse_duration": 5e-3 * (1 + sigma["duration"] * b),
                    "spot_diameter": 4e-4 * (1 + sigma["spot_diameter"] * c),
                    "thickness": 4e-4 * (1 + sigma["wall_thickness"] * d),
                    "absorptivity": middle["absorptivity"] * (1 + sigma["absorptivity"] * e),
                }
            )
        width = column(run_pulses(cases), "fusion_width")
        low, high = np.quantile(width, [0.05, 0.95])
        assert one.interval("fusion_width")[0] == pytest.approx(low, rel=0.015)
        assert one.interval("fusion_width")[1] == pytest.approx(high, rel=0.015)
        # no deeper than the wall as drawn, though half of the walls drawn are thicker
        assert one.interval("penetration")[1] <= 4e-4 * (1 + 1e-9)

    def test_allowed_drift_is_the_edge_in_direct_runs(self, sampled):
        [one] = sampled.passes
        assert one.every_goal.chance > 0.99
        schedule = _schedule()
        scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
        goals = pass_goals(schedule, schedule.passes[0])
        normals = normal_points(128, len(scatter.causes), 99)
        checked = [d for d in one.drifts if not d.is_open and d.cause in ("power", "spot_diameter")]
        assert len(checked) == 4
        for drift in checked:
            kept, lost = (
                _direct_chance(scatter, goals, normals, {drift.cause: share * drift.allowed})
                for share in (0.95, 1.35)
            )
            assert kept >= 0.93, drift
            assert lost < 0.95, drift

    def test_drift_of_what_moves_no_pool_takes_no_runs_and_is_seen(self, sampled):
        [one] = sampled.passes
        assert one.runs < one.samples
        offsets = [drift.allowed for drift in one.drifts if drift.cause == "beam_offset"]
        assert offsets[0] == pytest.approx(-offsets[1], rel=0.2)

    def test_a_gap_drifts_down_until_it_is_closed(self):
        schedule = _schedule("580 W", joint={"gap": "0.02 mm"})
        made = tolerance(schedule, samples=240, with_model=False, grid=6e-5)
        [down] = [d for d in made.passes[0].drifts if d.cause == "gap" and d.allowed <= 0.0]
        assert down.allowed == pytest.approx(-0.02e-3)
        assert not down.is_open
        assert re.search(r"gap +-0\.0200 mm, closed +\S", tolerance_text(made))

    def test_it_says_what_its_chances_count(self, sampled):
        alone = " ".join(tolerance_text(sampled).split())
        assert "over the shop's scatter alone." in alone
        both = tolerance(_schedule(), samples=240, grid=6e-5, with_drifts=False)
        cell = " ".join(tolerance_text(both).split())
        assert "scatter and the model's own spread; that of the last line is without" in cell

    def test_text_and_json_tell_the_same(self, sampled):
        text, data = tolerance_text(sampled), sampled.to_json()
        [one] = data["passes"]
        assert f"{100 * one['every_goal']['chance']:.1f} %" in text
        assert one["causes"][0]["cause"] == sampled.passes[0].ranking()[0]
        assert {drift["cause"] for drift in one["allowed_drift"]} >= {"power", "gap"}
        assert max(map(len, text.splitlines())) <= 100

    @pytest.mark.parametrize(
        ("wanted", "words"),
        [({"samples": 20}, "too few"), ({"passes": ["coverr"]}, "no pass of this name")],
    )
    def test_what_cannot_be_sampled_is_refused(self, wanted, words):
        with pytest.raises(InputError, match=words):
            tolerance(_schedule(), **wanted)

    def test_no_drift_is_allowed_where_the_goal_is_missed_anyway(self):
        made = tolerance(_schedule("390 W"), samples=200, with_model=False, grid=6e-5)
        assert made.passes[0].drifts == ()
        assert "No input may drift" in tolerance_text(made)


def _direct_chance(scatter, goals, normals, shifts) -> float:
    pulses = scatter.pulses(normals, shifts=shifts, grid=GRID)
    return float(np.mean(all_met(goals.met(run_pulses(pulses.cases), pulses))))
