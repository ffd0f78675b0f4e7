"""Any pulse within the range of the published ones: conserved, finite, deeper with more power."""

from __future__ import annotations

from math import isfinite, pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weldcalc.heatflow.constants import fitted_constants
from weldcalc.heatflow.section import section_pulse
from weldcalc.heatflow.spot import spot_pulse
from weldcalc.materials import material
from weldcalc.section_shape import butt_section, flush_section

GRADES = ("Ti Grade 2", "Ti Grade 5", "316L")
SHAPES = st.one_of(
    st.just("square"),
    st.tuples(st.floats(0.1, 0.9), st.floats(0.0, 1.0)).map(
        lambda pair: [[0.0, 1.0], [pair[0], 1.0], [1.0, pair[1]]]
    ),
)
SIZES = (
    "penetration",
    "fusion_width",
    "root_width",
    "haz_width",
    "absorptance",
    "depression_depth",
    "lost_energy",
    "transmitted_energy",
    "radius_above_strict",
)


@st.composite
def pulses(draw):
    """Return a grade and the arguments of a pulse inside the validity box of its constants."""
    metal = material(draw(st.sampled_from(GRADES)))
    box = fitted_constants(metal.family).box
    spot = draw(st.floats(*box.spot_diameter))
    return metal, {
        "peak_power": draw(st.floats(*box.irradiance)) * 0.25 * pi * spot**2,
        "pulse_duration": draw(st.floats(*box.pulse_duration)),
        "spot_diameter": spot,
        "profile": draw(st.sampled_from(("top-hat", "gaussian"))),
        "pulse_shape": draw(SHAPES),
        "preheat": draw(st.floats(280.0, 600.0)),
    }


def check(result):
    assert abs(result.energy_balance) < 1e-3
    assert all(isfinite(getattr(result, name)) for name in SIZES)
    assert all(getattr(result, name) >= 0.0 for name in SIZES)
    assert np.isfinite(result.peak_temperature).all()
    assert result.absorbed_energy + result.transmitted_energy <= result.incident_energy * (1 + 1e-9)


@settings(max_examples=60, deadline=None)
@given(pulses(), st.floats(0.1e-3, 3e-3))
def test_a_pulse_on_a_sheet_is_conserved_and_finite(pulse, thickness):
    metal, arguments = pulse
    check(spot_pulse(metal, thickness=thickness, **arguments))


@settings(max_examples=40, deadline=None)
@given(pulses(), st.floats(0.2e-3, 3e-3), st.floats(1.1, 1.6))
def test_a_tenth_more_power_in_one_mode_fuses_deeper(pulse, thickness, factor):
    """Steps of a few hundredths may not: a deep depression flickers by up to 3 % of its depth."""
    metal, arguments = pulse
    stronger = arguments | {"peak_power": factor * arguments["peak_power"]}
    weak, strong = (spot_pulse(metal, thickness=thickness, **a) for a in (arguments, stronger))
    if weak.mode == strong.mode:
        deeper = strong.penetration > weak.penetration
        assert deeper or strong.penetration in (0.0, pytest.approx(thickness))


@settings(max_examples=12, deadline=None)
@given(pulses(), st.floats(0.3e-3, 1e-3), st.floats(-0.1e-3, 0.1e-3), st.sampled_from((0.0, 20e-6)))
@pytest.mark.parametrize("form", ["butt", "flush"])
def test_a_pulse_on_a_joint_is_conserved_and_finite(form, pulse, wall, offset, gap):
    metal, arguments = pulse
    section = (
        butt_section(thickness=wall, material=metal.name, gap=gap)
        if form == "butt"
        else flush_section(
            wall_thickness=wall, plate_thickness=1.2e-3, tube_material=metal.name, gap=gap
        )
    )
    grid = arguments["spot_diameter"] / 5.0
    check(section_pulse(section, beam_offset=offset, grid=grid, **arguments))
