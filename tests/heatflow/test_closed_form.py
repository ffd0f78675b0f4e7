"""Closed forms against integrals done by other means, and against their own limits.

Verification only: each form is rebuilt here from the point source (or from its Laplace
transform) with scipy or mpmath, so nothing rests on a formula being quoted correctly.
"""

from __future__ import annotations

from typing import Any

import mpmath
import numpy as np
import pytest
from scipy.integrate import dblquad, quad
from scipy.special import erfc, i0e

from weldcalc.errors import InputError
from weldcalc.heatflow import closed_form

K, A = 22.0, 8e-6  # W/(m K), m2/s: hot titanium, rounded
RHO_C = K / A
BODY = {"thermal_conductivity": K, "diffusivity": A}
DISC = {"heat_flux": 1e9, "radius": 0.2e-3, **BODY}
BEAM = {"absorbed_power": 80.0, "beam_radius": 0.15e-3, **BODY}


# Released at once


def test_point_source_holds_its_energy() -> None:
    """Integral of rho c T over the half space is the energy released."""

    def shell(distance: float) -> float:
        rise = closed_form.point_source_rise(
            energy=2.5, distance=distance, time=0.01, volumetric_heat=RHO_C, diffusivity=A
        )
        return float(rise) * 2 * np.pi * distance**2 * RHO_C

    assert quad(shell, 0, 5e-3, epsabs=0)[0] == pytest.approx(2.5, rel=1e-10)


def test_line_source_is_a_row_of_point_sources() -> None:
    """A line through the whole body is half the sum of surface points along it."""

    def one(along: float) -> float:
        rise = closed_form.point_source_rise(
            energy=1.0,
            distance=np.hypot(along, 0.4e-3),
            time=0.01,
            volumetric_heat=RHO_C,
            diffusivity=A,
        )
        return float(rise) / 2

    line = closed_form.line_source_rise(
        energy_per_length=1.0, distance=0.4e-3, time=0.01, volumetric_heat=RHO_C, diffusivity=A
    )
    assert line == pytest.approx(2 * quad(one, 0, 6e-3, epsabs=0)[0], rel=1e-9)


def test_continuous_point_is_point_sources_over_time() -> None:
    def one(age: float) -> float:
        rise = closed_form.point_source_rise(
            energy=40.0, distance=0.3e-3, time=age, volumetric_heat=RHO_C, diffusivity=A
        )
        return float(rise)

    steady = closed_form.continuous_point_rise(power=40.0, distance=0.3e-3, time=5e-3, **BODY)
    assert steady == pytest.approx(quad(one, 0, 5e-3, epsabs=0, limit=200)[0], rel=1e-9)


# Heated disc


@pytest.mark.parametrize(
    ("radial", "depth", "time"),
    [
        (0.0, 0.1e-3, 1e-3),
        (0.1e-3, 0.05e-3, 1e-3),
        (0.19e-3, 0.05e-3, 1e-4),
        (0.2e-3, 0.1e-3, 5e-3),
        (0.205e-3, 0.03e-3, 1e-4),
        (0.4e-3, 0.1e-3, 5e-3),
    ],
)
def test_disc_is_the_sum_of_point_sources(radial: float, depth: float, time: float) -> None:
    """Continuous point sources over the disc, summed by scipy."""
    reach = 2 * np.sqrt(A * time)

    def source(angle: float, rho: float) -> float:
        distance = np.sqrt(rho**2 + radial**2 - 2 * rho * radial * np.cos(angle) + depth**2)
        return float(erfc(distance / reach) / distance * rho)

    half, _ = dblquad(source, 0, DISC["radius"], 0, np.pi, epsabs=1e-14, epsrel=1e-10)
    expected = DISC["heat_flux"] / (np.pi * K) * half
    found = closed_form.disc_rise(radial_position=radial, depth=depth, time=time, **DISC)
    assert found == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("radial", [0.05e-3, 0.3e-3])
def test_disc_surface_is_the_bessel_integral(radial: float) -> None:
    """Carslaw and Jaeger's other form, with J0 J1 erf (from memory), integrated by mpmath."""
    time, radius = 1e-3, DISC["radius"]
    root = mpmath.sqrt(A * time)

    def late(u: Any) -> Any:
        return mpmath.besselj(0, u * radial) * mpmath.besselj(1, u * radius) / u

    def dying(u: Any) -> Any:
        return late(u) * mpmath.erfc(u * root)

    steps = mpmath.linspace(0, 8 / root, 60)
    transient = mpmath.quad(dying, steps)
    # int J0(u r) J1(u a) / u du: a complete elliptic integral inside, a Gauss series outside
    if radial < radius:
        steady = 2 / mpmath.pi * mpmath.ellipe((radial / radius) ** 2)
    else:
        series = mpmath.hyp2f1(0.5, 0.5, 2, (radius / radial) ** 2)
        steady = radius / (2 * radial) * series
    expected = DISC["heat_flux"] * radius / K * (steady - transient)
    found = closed_form.disc_rise(radial_position=radial, time=time, **DISC)
    assert found == pytest.approx(float(expected), rel=1e-8)


def test_disc_on_its_axis_is_the_axis_form() -> None:
    depth, time = np.array([0.0, 0.1e-3, 1e-3]), np.array([1e-6, 1e-3, 1.0])[:, None]
    anywhere = closed_form.disc_rise(depth=depth, time=time, **DISC)
    on_axis = closed_form.disc_axis_rise(depth=depth, time=time, **DISC)
    np.testing.assert_allclose(anywhere, on_axis, rtol=1e-11, atol=1e-12)


def test_disc_starts_as_a_plane() -> None:
    """Before heat comes in from the rim the flow is one-dimensional: 2 q sqrt(a t) ierfc / k."""
    depth = np.array([0.0, 2e-6, 5e-6])
    plane = closed_form.plane_source_rise(heat_flux=1e9, time=2e-6, depth=depth, **BODY)
    disc = closed_form.disc_axis_rise(depth=depth, time=2e-6, **DISC)
    np.testing.assert_allclose(disc, plane, rtol=1e-12)
    first, _ = quad(erfc, 0.5, np.inf)
    assert closed_form.ierfc(0.5) == pytest.approx(first, rel=1e-12)


def test_disc_ends_steady() -> None:
    """q a / k at the centre and 2 q a / (pi k) at the rim (int J0 J1 / u = 2 / pi)."""
    late = 1e15 * DISC["radius"] ** 2 / A
    steady = DISC["heat_flux"] * DISC["radius"] / K
    assert closed_form.disc_axis_rise(time=late * 1e4, **DISC) == pytest.approx(steady, rel=1e-8)
    rim = closed_form.disc_rise(time=late, radial_position=DISC["radius"], **DISC)
    assert rim == pytest.approx(2 / np.pi * steady, rel=1e-6)
    still = {name: DISC[name] for name in ("heat_flux", "radius", "thermal_conductivity")}
    depth = np.array([0.0, 0.1e-3, 2e-3])
    np.testing.assert_allclose(
        closed_form.disc_axis_rise(time=late * 1e4, depth=depth, **DISC),
        closed_form.disc_steady_rise(depth=depth, **still),
        rtol=1e-7,
    )


def test_disc_far_away_is_a_point() -> None:
    power = DISC["heat_flux"] * np.pi * DISC["radius"] ** 2
    far = 400 * DISC["radius"]
    point = closed_form.continuous_point_rise(power=power, distance=far, time=200.0, **BODY)
    for place in ({"radial_position": far}, {"depth": far}):
        assert closed_form.disc_rise(time=200.0, **place, **DISC) == pytest.approx(point, rel=1e-5)


def test_disc_pulse_leaves_its_energy() -> None:
    """Long after a pulse the metal shows the point source of the pulse's energy."""
    pulse, age = 1e-3, 2.0
    energy = DISC["heat_flux"] * np.pi * DISC["radius"] ** 2 * pulse
    left = closed_form.disc_rise(time=age, **DISC) - closed_form.disc_rise(time=age - pulse, **DISC)
    point = closed_form.point_source_rise(
        energy=energy, distance=0.0, time=age, volumetric_heat=RHO_C, diffusivity=A
    )
    assert left == pytest.approx(point, rel=2e-3)


@pytest.mark.parametrize("share", [0.02, 0.5, 0.97])
def test_disc_time_is_the_inverse(share: float) -> None:
    wanted = share * DISC["heat_flux"] * DISC["radius"] / K
    time = closed_form.disc_time_to_rise(rise=wanted, **DISC)
    assert closed_form.disc_axis_rise(time=time, **DISC) == pytest.approx(wanted, rel=1e-10)


def test_time_is_infinite_where_the_rise_is_never_reached() -> None:
    steady = DISC["heat_flux"] * DISC["radius"] / K
    assert closed_form.disc_time_to_rise(rise=steady, **DISC) == np.inf
    assert closed_form.gaussian_time_to_rise(rise=1e6, **BEAM) == np.inf


# Gaussian beam


@pytest.mark.parametrize(
    ("radial", "depth", "time"),
    [(0.0, 0.0, 1e-3), (0.1e-3, 0.05e-3, 5e-4), (0.5e-3, 0.0, 5e-3)],
)
def test_gaussian_is_the_sum_of_point_sources(radial: float, depth: float, time: float) -> None:
    """Continuous point sources over the beam, in polar coordinates round the place (scipy)."""
    width, reach = BEAM["beam_radius"], 2 * np.sqrt(A * time)
    peak = 2 * BEAM["absorbed_power"] / (np.pi * width**2)

    def ring(rho: float) -> float:
        distance = np.hypot(rho, depth)
        flux = i0e(4 * radial * rho / width**2) * np.exp(-2 * (radial - rho) ** 2 / width**2)
        return float(rho * flux * erfc(distance / reach) / distance)

    total, _ = quad(ring, 1e-18, 2e-3, epsabs=0, epsrel=1e-11, limit=400, points=[radial + 1e-5])
    found = closed_form.gaussian_rise(radial_position=radial, depth=depth, time=time, **BEAM)
    assert found == pytest.approx(peak / K * total, rel=1e-8)


def test_gaussian_centre_and_its_inverse() -> None:
    """Closed at the centre: q0 w / (k sqrt(2 pi)) arctan(sqrt(8 a t) / w)."""
    width, time = BEAM["beam_radius"], 2e-3
    peak = 2 * BEAM["absorbed_power"] / (np.pi * width**2)
    expected = peak * width / (K * np.sqrt(2 * np.pi)) * np.arctan(np.sqrt(8 * A * time) / width)
    assert closed_form.gaussian_rise(time=time, **BEAM) == pytest.approx(expected, rel=1e-12)
    assert closed_form.gaussian_time_to_rise(rise=expected, **BEAM) == pytest.approx(time)


def test_moving_gaussian_at_rest_is_the_still_one() -> None:
    across, depth = np.array([0.0, 0.1e-3, 0.4e-3]), np.array([0.0, 0.1e-3, 0.0])
    moving = closed_form.moving_gaussian_rise(
        speed=0.0, ahead=0.0, across=across, depth=depth, time=3e-3, **BEAM
    )
    still = closed_form.gaussian_rise(radial_position=across, depth=depth, time=3e-3, **BEAM)
    np.testing.assert_allclose(moving, still, rtol=1e-9)


@pytest.mark.parametrize("ahead", [-4e-3, -0.2e-3, 0.1e-3])
def test_moving_gaussian_is_the_sum_of_past_beams(ahead: float) -> None:
    """Each past instant has spread to w^2 + 8 a s and lies v s behind: by mpmath over s."""
    speed, across, depth = 0.01, 0.1e-3, 0.05e-3
    width = BEAM["beam_radius"]

    def past(root: Any) -> Any:
        age = root**2
        spread = width**2 + 8 * A * age
        plane = 2 * ((ahead + speed * age) ** 2 + across**2) / spread
        below = depth**2 / (4 * A * age)
        height = 2 / (mpmath.pi * spread) / mpmath.sqrt(mpmath.pi * A)
        return 2 * height * mpmath.exp(-plane - below)

    edges = [0, 1e-3, 0.01, 0.05, 0.1, 0.3, 0.55, 0.6, 0.65, 0.8, 1.2, 3, 10]
    expected = BEAM["absorbed_power"] / RHO_C * mpmath.quad(past, edges)
    found = closed_form.moving_gaussian_rise(
        speed=speed, ahead=ahead, across=across, depth=depth, **BEAM
    )
    assert found == pytest.approx(float(expected), rel=1e-8)


def test_moving_gaussian_far_away_is_the_point_source() -> None:
    place = {"ahead": -20e-3, "across": 1e-3, "depth": 2e-3}
    spot = closed_form.moving_gaussian_rise(speed=5e-3, **place, **BEAM)
    point = closed_form.thick_plate_rise(
        absorbed_power=BEAM["absorbed_power"], speed=5e-3, **place, **BODY
    )
    assert spot == pytest.approx(point, rel=1e-4)


# Refusals


@pytest.mark.parametrize(
    ("call", "changes", "names"),
    [
        (closed_form.disc_axis_rise, {"radius": 0.0}, ["radius"]),
        (closed_form.disc_rise, {"radial_position": -1e-3}, ["radial_position"]),
        (closed_form.disc_rise, {"heat_flux": -1.0, "depth": np.nan}, ["heat_flux", "depth"]),
        (closed_form.disc_axis_rise, {"diffusivity": np.inf}, ["diffusivity"]),
        (closed_form.disc_axis_rise, {"depth": np.array([0.0, -1e-3])}, ["depth"]),
    ],
)
def test_unphysical_disc_is_refused_by_name(
    call: Any, changes: dict[str, Any], names: list[str]
) -> None:
    with pytest.raises(InputError) as refused:
        call(**{**DISC, "time": 1e-3, **changes})
    assert [problem.where for problem in refused.value.problems] == names


def test_rise_is_zero_before_heating() -> None:
    times = np.array([-1.0, 0.0])
    assert not np.any(closed_form.disc_rise(time=times, **DISC))
    assert not np.any(closed_form.gaussian_rise(time=times, **BEAM))
    assert not np.any(closed_form.plane_source_rise(heat_flux=1e9, time=times, **BODY))
    assert closed_form.continuous_point_rise(power=1.0, distance=1e-3, time=0.0, **BODY) == 0.0
