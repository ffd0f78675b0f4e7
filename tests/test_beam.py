"""Spots, defocus and irradiance against other ways of working them out."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import curve_fit

from weldcalc import beam
from weldcalc.errors import InputError

WAVELENGTH = 1.064e-6


def _diameter_by_complex_parameter(waist: float, distance: float) -> float:
    # Kogelnik and Li, Appl. Opt. 5 (1966) 1550 (from memory): q = z + i zR and
    # 1 / q = 1 / R - i lambda / (pi w2), for a beam of M2 = 1
    q = distance + 1j * math.pi * (waist / 2) ** 2 / WAVELENGTH
    return 2 * math.sqrt(-WAVELENGTH / (math.pi * (1 / q).imag))


@pytest.mark.parametrize("distance", [0.0, 1e-4, -2e-3, 0.05])
def test_defocused_spot_agrees_with_the_complex_beam_parameter(distance: float) -> None:
    reach = beam.rayleigh_length(spot_diameter=4e-5, beam_quality=1.0, wavelength=WAVELENGTH)
    made = beam.defocused_diameter(
        waist_diameter=4e-5, focus_offset=distance, rayleigh_length=reach
    )
    assert made == pytest.approx(_diameter_by_complex_parameter(4e-5, distance), rel=1e-12)


def test_a_lens_makes_the_spot_that_the_ray_matrix_gives() -> None:
    # a wide collimated beam through a thin lens, its waist found by the same complex parameter
    focal_length, wide = 0.1, 0.01
    q = 1j * math.pi * (wide / 2) ** 2 / WAVELENGTH
    after = 1 / (1 / q - 1 / focal_length)
    waist = 2 * math.sqrt(WAVELENGTH * after.imag / math.pi)
    made = beam.spot_from_focus(
        beam_quality=1.0, wavelength=WAVELENGTH, focal_length=focal_length, beam_diameter=wide
    )
    # the formula is the limit of a beam much longer than the lens: z_R of 74 m against 0.1 m
    assert made == pytest.approx(waist, rel=1e-5)


def test_imaging_ratio_of_fibre_and_lenses() -> None:
    # formula: The Fabricator, "Essential considerations for laser welding"; numbers chosen here
    made = beam.spot_from_fibre(fibre_diameter=2e-4, focal_length=0.2, collimation_length=0.1)
    assert made == pytest.approx(4e-4, rel=1e-14)


def test_spot_grows_the_same_on_both_sides_and_linearly_far_away() -> None:
    spots = beam.defocused_diameter(
        waist_diameter=np.full(4, 4e-4),
        focus_offset=np.array([-3e-3, 3e-3, 1.0, 2.0]),
        rayleigh_length=np.full(4, 3e-3),
    )
    assert spots[0] == spots[1] == pytest.approx(4e-4 * math.sqrt(2))
    assert spots[3] / spots[2] == pytest.approx(2, rel=1e-4)


def test_twice_the_tolerance_at_double_area_is_the_depth_of_focus() -> None:
    # depth of focus = 2 zR at 1.41 times the diameter (relations of ISO 11146-1)
    made = beam.focus_tolerance(rayleigh_length=3e-3, growth=math.sqrt(2) - 1)
    assert 2 * made == pytest.approx(6e-3, rel=1e-12)


def test_focus_tolerance_is_the_inverse_of_defocus() -> None:
    offset = beam.focus_tolerance(rayleigh_length=3e-3, growth=0.05)
    grown = beam.defocused_diameter(waist_diameter=4e-4, focus_offset=offset, rayleigh_length=3e-3)
    assert grown == pytest.approx(4e-4 * 1.05, rel=1e-12)
    assert beam.focus_tolerance(rayleigh_length=3e-3, growth=0.0) == 0


def test_published_irradiance() -> None:
    # Macquarie University, Faculty of Science, Appendix X sample calculations: 10 W in 1 cm
    made = beam.mean_irradiance(power=10.0, diameter=0.01)
    assert made == pytest.approx(12.7e4, abs=0.05e4)


@pytest.mark.parametrize("profile", ["top-hat", "gaussian"])
def test_irradiance_adds_up_to_the_power(profile: beam.Profile) -> None:
    def ring(radius: float) -> float:
        value = beam.irradiance(radius=radius, power=390.0, diameter=4e-4, profile=profile)
        return 2 * math.pi * radius * float(value)

    total, _ = quad(ring, 0, 1.2e-3, points=[2e-4], limit=200)
    assert total == pytest.approx(390, rel=1e-6)


def test_share_of_a_gaussian_inside_its_diameter() -> None:
    def ring(radius: float) -> float:
        value = beam.irradiance(radius=radius, power=1.0, diameter=4e-4, profile="gaussian")
        return 2 * math.pi * radius * float(value)

    inside, _ = quad(ring, 0, 2e-4)
    # 86.5 % power diameter of a Gaussian = its 1/e2 diameter (relations of ISO 11146)
    assert inside == pytest.approx(0.865, abs=5e-4)


def test_middle_of_a_gaussian_is_twice_its_mean() -> None:
    same = {"power": 390.0, "diameter": 4e-4}
    mean = beam.mean_irradiance(**same)
    assert beam.peak_irradiance(**same, profile="gaussian") == pytest.approx(2 * mean)
    assert beam.peak_irradiance(**same) == mean
    with pytest.raises(InputError, match="top-hat or gaussian"):
        beam.peak_irradiance(**same, profile="ring")


def test_irradiance_falls_with_the_square_of_the_spot_and_arrays_equal_scalars() -> None:
    diameters = np.array([2e-4, 4e-4, 8e-4])
    made = beam.mean_irradiance(power=np.full(3, 390.0), diameter=diameters)
    assert made / made[0] == pytest.approx([1, 1 / 4, 1 / 16])
    singly = [beam.mean_irradiance(power=390.0, diameter=float(d)) for d in diameters]
    assert made.tolist() == singly


def _caustic(z: np.ndarray, quality: float) -> np.ndarray:
    reach = math.pi * (5e-5) ** 2 / (4 * quality * WAVELENGTH)
    return np.asarray(5e-5 * np.sqrt(1 + ((z - 0.02) / reach) ** 2))


def test_fit_finds_the_beam_that_the_points_were_made_from() -> None:
    z = 0.02 + np.array([-9, -7, -5, -1, -0.5, 0, 0.5, 1, 5, 7, 9]) * 1e-3
    made = beam.fit_caustic(position=z, diameter=_caustic(z, 1.4), wavelength=WAVELENGTH)
    assert made.beam_quality == pytest.approx(1.4, rel=1e-6)
    assert made.waist_diameter == pytest.approx(5e-5, rel=1e-6)
    assert made.waist_position == pytest.approx(0.02, abs=1e-9)
    assert made.rayleigh_length == pytest.approx(made.waist_diameter / made.divergence)
    assert made.waist_position_sd < 1e-8
    assert made.findings == ()


def test_uncertainty_of_the_fit_is_the_scatter_of_repeated_fits() -> None:
    z = 0.02 + np.linspace(-6e-3, 6e-3, 15)
    rng = np.random.default_rng(7)
    fits = [
        beam.fit_caustic(
            position=z,
            diameter=_caustic(z, 1.4) + rng.normal(0, 1e-6, z.size),
            wavelength=WAVELENGTH,
        )
        for _ in range(60)
    ]
    seen = np.std([fit.waist_position for fit in fits])
    said = np.mean([fit.waist_position_sd for fit in fits])
    # a standard deviation from 60 values is itself known to 9 %: three times that
    assert said == pytest.approx(seen, rel=0.3)


@pytest.mark.parametrize("count", [4, 5, 15])
def test_fit_and_its_deviations_are_those_of_another_routine(count: int) -> None:
    """Compared with scipy.optimize.curve_fit, on millimetres, from the numbers looked for."""
    z = 0.02 + np.linspace(-6e-3, 5e-3, count)
    d = _caustic(z, 1.4) * (1 + 0.02 * np.random.default_rng(11).standard_normal(count))

    def diameters(place: np.ndarray, waist: float, centre: float, angle: float) -> np.ndarray:
        return np.asarray(np.hypot(waist, angle * (place - centre)))

    wanted, spread = curve_fit(diameters, z * 1e3, d * 1e3, p0=(0.05, 20.0, 0.04))
    made = beam.fit_caustic(position=z, diameter=d, wavelength=WAVELENGTH)
    found = [made.waist_diameter * 1e3, made.waist_position * 1e3, made.divergence]
    assert found == pytest.approx(list(wanted), rel=1e-5)
    sds = [made.waist_diameter_sd * 1e3, made.waist_position_sd * 1e3, made.divergence_sd]
    assert sds == pytest.approx(list(np.sqrt(np.diag(spread))), rel=1e-3)


def test_positions_between_one_and_two_rayleigh_lengths_count_for_neither() -> None:
    reach = math.pi * (5e-5) ** 2 / (4 * 1.4 * WAVELENGTH)
    lengths = np.array([-0.9, 0, 0.5, -1.9, -1.7, -1.5, -1.3, 1.2, 1.4, 1.6, 1.8, 2.5, -3.0])
    z = 0.02 + lengths * reach
    made = beam.fit_caustic(position=z, diameter=_caustic(z, 1.4), wavelength=WAVELENGTH)
    (finding,) = made.findings
    assert finding.code == "caustic-spread"
    assert finding.text.startswith("3 positions lie within one Rayleigh length of the waist and 2 ")


def test_poor_measurements_are_remarked_on() -> None:
    z = 0.02 + np.linspace(-1e-3, 1e-3, 6)
    made = beam.fit_caustic(position=z, diameter=_caustic(z, 1.4), wavelength=WAVELENGTH)
    assert [finding.code for finding in made.findings] == ["caustic-positions", "caustic-spread"]
    assert "6 positions" in made.findings[0].text


@pytest.mark.parametrize(
    ("z", "d", "words"),
    [
        ([0, 1, 2], [1, 2, 3], "at least 4"),
        ([0, 1, 2, 3], [1, 2, 3], "at least 4"),
        ([0, 1, 2, 3], [1, 2, 0, 3], "positive"),
        ([0, 1, math.nan, 3], [1, 2, 2, 3], "finite"),
        ([0, 1, 2, 3], [1, 2, math.inf, 3], "finite"),
        ([0, 1, 2, 3, 4], [1, 2, 2.5, 2, 1], "no waist"),
    ],
)
def test_points_without_a_waist_are_refused(z: list[float], d: list[float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        beam.fit_caustic(position=z, diameter=d, wavelength=WAVELENGTH)
