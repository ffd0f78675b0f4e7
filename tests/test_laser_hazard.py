"""Optical density, hazard distances and eyewear numbers against examples and identities."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldcalc import safety
from weldcalc.errors import InputError

NM = 1e-9


@pytest.mark.parametrize(
    ("exposure", "limit", "expected", "tolerance"),
    [
        # Macquarie University, appendix X, 2015: 3800 against 2.55 mW/cm2 -> 3.2
        (3800.0, 2.55, 3.173, 1e-3),
        # public laser-safety worksheet: 2 P / (pi w^2), w = 0.35 cm, limit 1e-3 W/cm2
        (2 * 10 / (math.pi * 0.35**2), 1e-3, 4.715744, 1e-6),
        (2 * 3 / (math.pi * 0.35**2), 1e-3, 4.192865, 1e-6),
    ],
)
def test_optical_density_of_published_examples(
    exposure: float, limit: float, expected: float, tolerance: float
) -> None:
    found = safety.optical_density(exposure=exposure, limit=limit)
    assert found.value == pytest.approx(expected, abs=tolerance)


@given(low=st.floats(1e-6, 1e6), factor=st.floats(1.0, 1e6), limit=st.floats(1e-6, 1e3))
def test_optical_density_grows_with_exposure_and_is_enough(
    low: float, factor: float, limit: float
) -> None:
    first = safety.optical_density(exposure=low, limit=limit).value
    second = safety.optical_density(exposure=low * factor, limit=limit).value
    assert 0 <= first <= second
    assert low * factor * 10**-second <= limit * (1 + 1e-9)


@pytest.mark.parametrize(
    ("limit", "beam", "lens", "diffuse"),
    [
        # OSHA Technical Manual III:6, nominal hazard zones of a 100 W Nd:YAG beam, 2 mrad, 25.4 mm
        # lens with a 6.3 mm beam (from memory): 10 s and 8 h limits; 1 %
        (51.0, 790.0, 6.3, 0.8),
        (16.0, 1410.0, 11.3, 1.4),
    ],
)
def test_hazard_distances_of_a_public_table(
    limit: float, beam: float, lens: float, diffuse: float
) -> None:
    light = {"output": 100.0, "limit": limit}
    along = safety.beam_hazard_distance(**light, divergence=2e-3)
    behind = safety.lens_hazard_distance(**light, focal_length=25.4e-3, beam_diameter=6.3e-3)
    scattered = safety.diffuse_hazard_distance(**light)
    assert along.value == pytest.approx(beam, rel=0.01)
    assert behind.value == pytest.approx(lens, rel=0.015)
    assert scattered.value == pytest.approx(diffuse, rel=0.02)


def test_beam_distance_of_a_published_example() -> None:
    # laser-safety text, p. 110: 1 W, 1 mrad, 25.4 W/m2 -> 225 m; 1 %
    found = safety.beam_hazard_distance(output=1.0, limit=25.4, divergence=1e-3)
    assert found.value == pytest.approx(225.0, rel=0.01)


@given(aperture=st.floats(0.0, 0.5), limit=st.floats(1.0, 1e4))
def test_a_wide_beam_reaches_less_far_and_linear_is_the_shorter(
    aperture: float, limit: float
) -> None:
    light = {"output": 100.0, "limit": limit, "divergence": 2e-3}
    start = safety.beam_hazard_distance(**light)
    linear = safety.beam_hazard_distance(**light, aperture=aperture)
    squared = safety.beam_hazard_distance(**light, aperture=aperture, combine="quadrature")
    assert 0 <= linear.value <= squared.value * (1 + 1e-12) <= start.value * (1 + 1e-9)


def test_at_each_distance_the_exposure_is_the_limit() -> None:
    output, limit, aperture = 2.0, 0.5, 0.01
    cone = safety.beam_hazard_distance(
        output=output, limit=limit, divergence=0.1, aperture=aperture
    ).value
    assert output / (math.pi / 4 * (aperture + 0.1 * cone) ** 2) == pytest.approx(limit)
    seen = safety.diffuse_hazard_distance(output=output, limit=limit, reflectance=0.4, angle=1.0)
    # Lambert: rho Q cos(angle) / (pi r^2)
    assert 0.4 * output * math.cos(1.0) / (math.pi * seen.value**2) == pytest.approx(limit)
    # a Gaussian fibre beam falls to 5 % at the numerical aperture: r = 1.7 / NA * sqrt(...) is the
    # distance at which the peak 2 Q / (pi w^2) with w = NA r / 1.7 * sqrt(2) meets the limit
    end = safety.fibre_hazard_distance(output=output, limit=limit, numerical_aperture=0.2).value
    w = 0.2 * end / 1.7 * math.sqrt(2)
    assert 2 * output / (math.pi * w**2) == pytest.approx(limit)


def test_lens_and_cone_behind_the_focus_say_the_same() -> None:
    light = {"output": 2.0, "limit": 0.5}
    cone = safety.exit_cone(wavelength=1064 * NM, beam_quality=20.0, spot_diameter=2e-4).value
    behind = safety.beam_hazard_distance(**light, divergence=cone)
    lens = safety.lens_hazard_distance(**light, focal_length=0.1, beam_diameter=0.1 * cone)
    assert behind.value == pytest.approx(lens.value)


def test_scale_number_of_a_published_example() -> None:
    # laser-safety text, p. 114, with the EN 207 table: 50 W in 5 mm at 1064 nm -> D 1064 LB6
    level = 50 / (math.pi / 4 * 5e-3**2)
    found = safety.scale_number(wavelength=1064 * NM, level=level)
    assert found.marking == "D 1064 LB6"
    assert found.exact == pytest.approx(5.41, abs=0.005)


@pytest.mark.parametrize(
    ("duration", "mode", "level", "number"),
    [
        # EN 207 table as reprinted: I and R 5e(n-3) J/m2, M 1.5e(n-4) J/m2, D 1e(n+1) W/m2
        (5e-3, "I", 5e2, 5),
        (5e-3, "I", 5.01e2, 6),
        (1e-8, "R", 5e1, 4),
        (1e-12, "M", 1.5e-1, 3),
        # a long pulse is held against the power per area: 3e6 J/m2 over 0.3 s is 1e7 W/m2
        (0.3, "D", 3e6, 6),
        (0.3, "D", 3.01e6, 7),
        (2.0, "D", 2e7, 6),
        (None, "D", 1e-3, 1),
    ],
)
def test_scale_numbers_of_each_mode(
    duration: float | None, mode: str, level: float, number: int
) -> None:
    found = safety.scale_number(wavelength=1064 * NM, level=level, pulse_duration=duration)
    assert (found.mode, found.number) == (mode, number)


def test_a_pulse_train_raises_the_scale_number() -> None:
    pulse = {"wavelength": 1064 * NM, "level": 400.0, "pulse_duration": 5e-3}
    one = safety.scale_number(**pulse)
    many = safety.scale_number(**pulse, pulses=10_000)
    assert many.exact == pytest.approx(one.exact + 1.0)
    assert not safety.scale_number(wavelength=1064 * NM, level=1e13).within_scale


@pytest.mark.parametrize(
    "call",
    [
        lambda: safety.optical_density(exposure=1.0, limit=0.0),
        lambda: safety.pupil_exposure(pulse_energy=-1.0, beam_diameter=1e-3),
        lambda: safety.beam_hazard_distance(output=1.0, limit=1.0, divergence=0.0),
        lambda: safety.beam_hazard_distance(output=1.0, limit=1.0, divergence=1.0, aperture=-1.0),
        lambda: safety.beam_hazard_distance(output=1.0, limit=1.0, divergence=1.0, combine="sum"),
        lambda: safety.diffuse_hazard_distance(output=1.0, limit=1.0, reflectance=1.1),
        lambda: safety.diffuse_hazard_distance(output=1.0, limit=1.0, angle=2.0),
        lambda: safety.fibre_hazard_distance(output=1.0, limit=1.0, numerical_aperture=1.5),
        lambda: safety.exit_cone(wavelength=1e-6, beam_quality=0.5, spot_diameter=1e-4),
        lambda: safety.scale_number(wavelength=10.6e-6, level=1.0),
        lambda: safety.scale_number(wavelength=1e-6, level=1.0, pulse_duration=0.0),
    ],
)
def test_unphysical_values_are_refused(call: Callable[[], object]) -> None:
    with pytest.raises(InputError):
        call()


def test_narrow_beam_is_averaged_over_the_pupil() -> None:
    wide = safety.pupil_exposure(pulse_energy=1.0, beam_diameter=0.02)
    assert wide.value == pytest.approx(1 / (math.pi * 0.01**2))
    narrow = safety.pupil_exposure(pulse_energy=1.0, beam_diameter=1e-4)
    assert narrow.value == pytest.approx(1 / (math.pi * 0.0035**2))
