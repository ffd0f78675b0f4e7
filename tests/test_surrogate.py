"""The stand-in for the engine of cross-sections: what it learns, and whether its error is true."""

from __future__ import annotations

import numpy as np
import pytest
from schedules import tube

from weldcalc.heatflow.section import section_pulse
from weldcalc.schedule import schedule_from_mapping
from weldcalc.texts.answers import tolerance_text
from weldcalc.tolerance import tolerance
from weldcalc.tolerances import section_pulses as sections
from weldcalc.tolerances import surrogate
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.sampled_pulses import DIRECT, sampler_for
from weldcalc.tolerances.scatter import column, normal_points, pass_scatter
from weldcalc.tolerances.section_pulses import ellipsoid_reach


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
    monkeypatch.setattr(sections, "CELLS", 5.0)
    monkeypatch.setattr(surrogate, "FIT_RUNS", 64)
    monkeypatch.setattr(surrogate, "CHECK_RUNS", 24)


def test_stated_error_holds_on_fresh_direct_runs(coarse):
    schedule = _flange()
    scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
    made = surrogate.section_surrogate(scatter, seed=3)
    normals = np.clip(np.random.default_rng(8).normal(size=(40, len(scatter.causes))), -3, 3)
    pulses, offsets = scatter.pulses(normals), surrogate.section_offsets(scatter, normals)
    truth = run_pulses(sections.section_pulses(scatter, normals).cases)
    found = made.sizes(pulses, run_pulses(pulses.cases), offsets, np.zeros(40))
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
    [_, case] = sections.section_pulses(scatter, normals, grid=8e-5).cases
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


def test_a_butt_joint_needs_none():
    schedule = schedule_from_mapping(tube(goal={"penetration": "100 %"}))
    sampler = sampler_for(pass_scatter(schedule, schedule.passes[0]), seed=1)
    assert sampler.surrogate is None
    assert sampler.computed_by == DIRECT


def test_reach_of_an_ellipsoid_by_hand():
    # x^2 / 1^2 + z^2 / 0.5^2 = 1 at z = 0.3: x = 0.8
    assert float(ellipsoid_reach(2.0, 0.5, 0.3)) == pytest.approx(0.8)
    assert float(ellipsoid_reach(2.0, 0.5, 0.5)) == 0.0
