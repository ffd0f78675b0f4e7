"""The stand-in for the engine of cross-sections: what it learns, and whether its error is true."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from schedules import tube

from weldcalc.diagnoses import sections as diagnosed
from weldcalc.diagnosis import explain
from weldcalc.heatflow.section import section_pulse
from weldcalc.passes.joint import needs_section
from weldcalc.schedule import schedule_from_mapping
from weldcalc.texts.answers import diagnosis_text, tolerance_text, window_text
from weldcalc.tolerance import tolerance
from weldcalc.tolerances import section_pulses as sections
from weldcalc.tolerances import surrogate
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.sampled_pulses import DIRECT, STAND_IN, sampler_for
from weldcalc.tolerances.scatter import column, normal_points, pass_scatter
from weldcalc.tolerances.section_pulses import ellipsoid_reach
from weldcalc.window import window


def _butt():
    typed = tube(goal={"penetration": "100 %"}, scatter={"power": "1.5 %", "absorptivity": "3 %"})
    typed["pass"][0]["peak_power"] = "480 W"
    return schedule_from_mapping(typed)


def _flange():
    typed = tube(
        joint={
            "type": "tube-to-plate",
            "form": "flush",
            "plate_material": "Ti Grade 2",
            "plate_thickness": "1.2 mm",
            "gap": "0.01 mm",
        },
        goal={"penetration": "100 %"},
        scatter={"power": "1.5 %", "absorptivity": "3 %", "gap": "0.005 mm"},
    )
    typed["pass"][0]["peak_power"] = "620 W"
    return schedule_from_mapping(typed)


@pytest.fixture
def coarse(monkeypatch):
    """Make the section engine and the learning quick; the real sizes are for the benchmark."""
    quick = partial(sections.section_pulses, cells=5.0)
    monkeypatch.setattr(surrogate, "section_pulses", quick)
    monkeypatch.setattr(surrogate, "RUNS", (64, 24))
    monkeypatch.setattr(surrogate, "MAP_RUNS", (64, 24))
    return quick


def test_stated_error_holds_on_fresh_direct_runs(coarse):
    schedule = _flange()
    scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
    made = surrogate.section_surrogate(scatter, seed=3)
    normals = np.clip(np.random.default_rng(8).normal(size=(40, len(scatter.causes))), -3, 3)
    pulses, offsets = scatter.pulses(normals), surrogate.section_offsets(scatter, normals)
    truth = run_pulses(coarse(scatter, normals).cases)
    found = made.sizes(pulses.cases, run_pulses(pulses.cases), offsets, np.zeros(40))
    off = surrogate.relative_misfit(
        *(np.array([column(rows, name) for name in surrogate.LEARNT]).T for rows in (found, truth))
    )
    for name, values in zip(surrogate.LEARNT[:3], off.T, strict=False):
        assert np.mean(values <= made.error[name]) >= 0.95, name
    assert np.median(off[:, 0]) < 0.02  # of the penetration


def test_a_section_run_is_that_of_the_engine():
    schedule = _flange()
    scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
    normals = normal_points(2, len(scatter.causes), 1)
    [_, case] = sections.section_pulses(scatter, normals, cells=5.0).cases
    sizes = sections.section_sizes(case)
    made = section_pulse(
        case["joint"],
        material=(case["material"], case["plate"]),
        peak_power=case["peak_power"],
        pulse_duration=5e-3,
        spot_diameter=case["spot_diameter"],
        absorptivity=case["absorptivity"],
        constants=scatter.calibration.mean,
        beam_offset=case["beam_offset"],
        travel_speed=0.5e-3,
        grid=8e-5,
    )
    # the duration scatters by 1 % at most here
    assert column(sizes, "penetration") == pytest.approx(made.penetration, rel=0.03)
    assert column(sizes, "fusion_width") == pytest.approx(made.fusion_width, rel=0.03)
    assert case["joint"].wall_thickness != schedule.joint.wall_thickness


def test_a_gap_too_wide_fuses_nothing(coarse):
    schedule = _flange()
    scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
    sampler = sampler_for(scatter, seed=3)
    still = np.zeros((1, len(sampler.scatter.causes)))
    [narrow, wide], _ = sampler([still, still], [{}, {"gap": 60e-6}])
    assert column(narrow, "fused_radius")[0] > 0.0
    assert column(wide, "fused_radius")[0] == 0.0


def test_its_error_is_one_more_cause_and_is_told(coarse):
    made = tolerance(_flange(), samples=240, with_model=False, grid=8e-5, with_drifts=False)
    [one] = made.passes
    assert "surrogate" in one.causes
    assert one.surrogate is not None
    assert one.shares["fusion_width"].total[one.causes.index("surrogate")] > 0.0
    assert "Stand-in" in tolerance_text(made)


def test_each_pass_tells_what_computed_it(coarse):
    root = _butt().typed["pass"][0]
    cover = {**root, "name": "cover", "beam_offset": "0.05 mm"}
    schedule = schedule_from_mapping({**_butt().typed, "pass": [root, cover]})
    made = tolerance(schedule, samples=200, with_model=False, grid=8e-5, with_drifts=False)
    assert [one.computed_by for one in made.passes] == [DIRECT, STAND_IN]
    assert [one["computed_by"] for one in made.to_json()["passes"]] == [DIRECT, STAND_IN]
    told = " ".join(tolerance_text(made).split())
    assert f"Pass root computed by {DIRECT}." in told
    assert f"Pass cover computed by {STAND_IN}." in told


def test_what_computed_all_passes_is_told_once():
    typed = _butt().typed
    passes = [{**typed["pass"][0], "name": name} for name in ("root", "cover")]
    schedule = schedule_from_mapping({**typed, "pass": passes})
    made = tolerance(schedule, samples=200, with_model=False, grid=8e-5, with_drifts=False)
    told = " ".join(tolerance_text(made).split())
    assert told.count(DIRECT) == 1
    assert f"Computed by {DIRECT}." in told


def test_a_symmetric_butt_joint_needs_none():
    schedule = schedule_from_mapping(tube(goal={"penetration": "100 %"}))
    sampler = sampler_for(pass_scatter(schedule, schedule.passes[0]), seed=1)
    assert sampler.surrogate is None
    assert sampler.computed_by == DIRECT


@pytest.mark.parametrize(
    "changes",
    [{}, {"beam_offset": 0.05e-3}, {"beam_angle": np.radians(10.0)}],
    ids=["upright", "aside", "tilted"],
)
@pytest.mark.parametrize("joint", ["butt", "flush"])
def test_every_answer_takes_the_engine_that_an_estimate_takes(joint, changes):
    schedule = _butt() if joint == "butt" else _flange()
    schedule = schedule.with_pass(0, **changes)
    scatter = pass_scatter(schedule, schedule.passes[0])
    assert scatter.needs_section == needs_section(schedule, schedule.passes[0])
    assert scatter.needs_section == (joint == "flush" or bool(changes))


def test_a_butt_with_the_beam_aside_is_learnt_through_the_wall(coarse):
    schedule = _butt().with_pass(0, beam_offset=0.06e-3)
    scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
    made = surrogate.section_surrogate(scatter, seed=3)
    normals = np.clip(np.random.default_rng(8).normal(size=(40, len(scatter.causes))), -3, 3)
    pulses, offsets = scatter.pulses(normals), surrogate.section_offsets(scatter, normals)
    truth = run_pulses(coarse(scatter, normals).cases)
    found = made.sizes(pulses.cases, run_pulses(pulses.cases), offsets, np.zeros(40))
    through = [column(rows, "root_width") > 0.0 for rows in (truth, found)]
    assert np.mean(through[0]) > 0.5
    assert np.mean(through[0] == through[1]) >= 0.95
    for name, width in (("fusion_width", 0.03), ("penetration", 0.02)):
        off = np.abs(column(found, name) / column(truth, name) - 1.0)
        assert np.median(off) < width, name


def test_a_window_of_a_tube_in_a_plate_agrees_with_section_runs(coarse):
    schedule = _flange()
    made = window(schedule, cells=(7, 7), chance_nodes=2)
    assert made.surrogate is not None
    assert made.to_json()["surrogate"]["section_runs"] == 88
    off = []
    # places where the pool is no deeper than the plate
    for row, place in ((1, 1), (1, 3), (1, 5), (3, 1), (3, 3), (5, 1), (5, 3), (6, 2)):
        there = schedule.with_pass(
            0, peak_power=float(made.x[place]), pulse_duration=float(made.y[row])
        )
        # the middle of the shop's scatter, with the best constants
        scatter = pass_scatter(there, there.passes[0], with_model=False)
        [case] = coarse(scatter, np.zeros((1, len(scatter.causes)))).cases
        truth = float(column(sections.section_sizes(case), "penetration"))
        assert truth < schedule.joint.plate_thickness
        off.append(abs(made.sizes["penetration"][row, place] / truth - 1.0))
    assert np.median(off) < 0.03
    assert max(off) < made.surrogate.error["penetration"]
    assert "Stand-in" in window_text(made)


def test_a_section_of_a_tube_in_a_plate_is_explained_by_its_own_engine(monkeypatch):
    quick = partial(sections.section_pulses, cells=5.0)
    monkeypatch.setattr(diagnosed, "section_pulses", quick)
    schedule = _flange()
    scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
    still = np.zeros((1, len(scatter.causes)))
    [case] = quick(scatter, still, shifts={"beam_offset": -0.15e-3}).cases
    sizes = sections.section_sizes(case)
    made = explain(
        schedule,
        penetration=float(column(sizes, "joint_depth")),
        fusion_width=float(column(sizes, "fusion_width")),
    )
    first = [(one.cause, one.side) for one in made.groups[0]]
    assert ("beam_offset", -1) in first
    assert "beam off its place, towards the tube" in [one.words for one in made.groups[0]]
    assert "beam off its place, towards" in diagnosis_text(made)


def test_reach_of_an_ellipsoid_by_hand():
    # x^2 / 1^2 + z^2 / 0.5^2 = 1 at z = 0.3: x = 0.8
    assert float(ellipsoid_reach(2.0, 0.5, 0.3)) == pytest.approx(0.8)
    assert float(ellipsoid_reach(2.0, 0.5, 0.5)) == 0.0
