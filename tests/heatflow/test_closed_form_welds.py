"""Closed forms of moving sources, peak temperature, cooling, melting and the hot column.

Verification by integrals done another way (scipy, mpmath) and by limits; the handbook's worked
numbers are in test_worked_examples.
"""

from __future__ import annotations

from typing import Any

import mpmath
import numpy as np
import pytest
from scipy.integrate import quad

from weldcalc.errors import InputError
from weldcalc.heatflow import closed_form
from weldcalc.materials import material

K, A = 22.0, 8e-6  # W/(m K), m2/s: hot titanium, rounded
RHO_C = K / A
BODY = {"thermal_conductivity": K, "diffusivity": A}
PLATE = {"heat_input": 30e3, "volumetric_heat": RHO_C, "thickness": 0.4e-3, "preheat": 293.15}


# Rosenthal


@pytest.mark.parametrize("ahead", [-3e-3, -0.3e-3, 0.2e-3])
def test_thick_plate_is_point_sources_over_time(ahead: float) -> None:
    speed, across, depth = 0.02, 0.3e-3, 0.1e-3

    def past(root: Any) -> Any:
        age = root**2
        square = (ahead + speed * age) ** 2 + across**2 + depth**2
        spread = 4 * A * age
        return 2 * mpmath.exp(-square / spread) / (mpmath.pi * spread) ** 1.5 * 2 * root

    edges = [0, 0.01, 0.05, 0.2, 0.35, 0.4, 0.45, 0.7, 1.5, 4]
    expected = 60.0 / RHO_C * mpmath.quad(past, edges)
    found = closed_form.thick_plate_rise(
        absorbed_power=60.0, speed=speed, ahead=ahead, across=across, depth=depth, **BODY
    )
    assert found == pytest.approx(float(expected), rel=1e-8)


@pytest.mark.parametrize("ahead", [-3e-3, -0.3e-3, 0.2e-3])
def test_thin_plate_is_line_sources_over_time(ahead: float) -> None:
    speed, across, thickness = 0.02, 0.3e-3, 0.4e-3

    def past(root: Any) -> Any:
        age = root**2
        square = (ahead + speed * age) ** 2 + across**2
        return mpmath.exp(-square / (4 * A * age)) / (4 * mpmath.pi * A * age) * 2 * root

    edges = [0, 0.01, 0.05, 0.2, 0.35, 0.4, 0.45, 0.7, 1.5, 4]
    expected = 60.0 / (RHO_C * thickness) * mpmath.quad(past, edges)
    found = closed_form.thin_plate_rise(
        absorbed_power=60.0, thickness=thickness, speed=speed, ahead=ahead, across=across, **BODY
    )
    assert found == pytest.approx(float(expected), rel=1e-8)


def test_thick_plate_at_rest_is_the_steady_point() -> None:
    still = closed_form.thick_plate_rise(
        absorbed_power=60.0, speed=0.0, ahead=1e-3, across=0.0, depth=0.0, **BODY
    )
    assert still == pytest.approx(60.0 / (2 * np.pi * K * 1e-3), rel=1e-12)


def test_thin_plate_far_behind_stays_finite() -> None:
    """exp(-v x / 2a) alone overflows there; K0 falls as fast (large-argument form of K0)."""
    speed, behind = 0.1, 2.0
    found = closed_form.thin_plate_rise(
        absorbed_power=60.0, thickness=1e-3, speed=speed, ahead=-behind, across=0.0, **BODY
    )
    expected = 60.0 / (2 * np.pi * K * 1e-3) * np.sqrt(np.pi * A / (speed * behind))
    assert found == pytest.approx(expected, rel=1e-4)


def test_place_of_the_source_is_refused() -> None:
    with pytest.raises(InputError, match="away from the source"):
        closed_form.thick_plate_rise(
            absorbed_power=60.0, speed=0.01, ahead=0.0, across=0.0, depth=0.0, **BODY
        )


# Peak temperature and cooling


def thin_peak(across: float, speed: float) -> float:
    """Highest rise over time beside the moving line source, sought numerically."""
    when = across**2 / (2 * A)  # of a fast source; searched around
    ages = when * np.geomspace(0.3, 3, 4001)
    rise = closed_form.thin_plate_rise(
        absorbed_power=PLATE["heat_input"] * speed,
        thickness=PLATE["thickness"],
        speed=speed,
        ahead=-speed * ages,
        across=across,
        **BODY,
    )
    return float(np.max(rise))


def test_adams_is_the_peak_of_a_fast_line_source() -> None:
    """1 / rise = sqrt(2 pi e) rho c h y / H from the middle of a fast weld."""
    across, speed = 0.5e-3, 20.0
    slope = closed_form.ADAMS_CONSTANT * RHO_C * PLATE["thickness"] / PLATE["heat_input"]
    assert thin_peak(across, speed) == pytest.approx(1 / (slope * across), rel=1e-5)


def test_adams_width_agrees_with_two_isotherms_of_the_line_source() -> None:
    melting, transus = 1941.0, 1186.0
    width = closed_form.adams_haz_width(
        melting_temperature=melting, peak_temperature=transus, **PLATE
    )
    slope = closed_form.ADAMS_CONSTANT * RHO_C * PLATE["thickness"] / PLATE["heat_input"]
    fusion = 1 / (slope * (melting - 293.15))
    assert thin_peak(fusion + float(width), 20.0) == pytest.approx(transus - 293.15, rel=1e-5)


def test_adams_forms_are_inverses() -> None:
    peak = np.linspace(500.0, 1941.0, 9)
    width = closed_form.adams_haz_width(melting_temperature=1941.0, peak_temperature=peak, **PLATE)
    back = closed_form.adams_peak_temperature(melting_temperature=1941.0, distance=width, **PLATE)
    np.testing.assert_allclose(back, peak, rtol=1e-12)
    assert np.all(np.diff(width) < 0)
    assert width[-1] == 0.0


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"peak_temperature": 2000.0}, "melting_temperature"),
        ({"peak_temperature": 280.0}, "peak_temperature"),
        ({"heat_input": 0.0}, "heat_input"),
        ({"thickness": -1e-3}, "thickness"),
        ({"preheat": np.nan}, "preheat"),
    ],
)
def test_adams_refuses_what_cannot_be(changes: dict[str, float], name: str) -> None:
    given = {**PLATE, "melting_temperature": 1941.0, "peak_temperature": 1186.0, **changes}
    with pytest.raises(InputError) as refused:
        closed_form.adams_haz_width(**given)
    assert refused.value.problems[0].where == name


def test_thick_cooling_rate_is_the_slope_behind_the_point_source() -> None:
    """dT/dt = v dT/dx behind the source, where T = P / (2 pi k x)."""
    rise, speed = 1000.0, 0.01
    behind = 60.0 / (2 * np.pi * K * rise)
    places = {"across": 0.0, "depth": 0.0, "absorbed_power": 60.0, "speed": speed, **BODY}
    step = 1e-6 * behind
    ends = closed_form.thick_plate_rise(ahead=np.array([-behind, -behind - step]), **places)
    rate = closed_form.cooling_rate_thick(
        heat_input=60.0 / speed, thermal_conductivity=K, temperature=1293.15, preheat=293.15
    )
    assert rate == pytest.approx(float(ends[0] - ends[1]) / (step / speed), rel=1e-5)


def test_thin_cooling_rate_is_the_slope_behind_a_fast_line_source() -> None:
    speed, rise = 20.0, 1000.0
    power = PLATE["heat_input"] * speed
    age = (PLATE["heat_input"] / PLATE["thickness"] / rise) ** 2 / (4 * np.pi * K * RHO_C)
    ages = age * np.array([1 - 1e-6, 1 + 1e-6])
    ends = closed_form.thin_plate_rise(
        absorbed_power=power,
        thickness=PLATE["thickness"],
        speed=speed,
        ahead=-speed * ages,
        across=0.0,
        **BODY,
    )
    rate = closed_form.cooling_rate_thin(thermal_conductivity=K, temperature=rise + 293.15, **PLATE)
    assert rate == pytest.approx(float(ends[0] - ends[1]) / (2e-6 * age), rel=1e-4)


def test_plate_forms_meet_at_relative_thickness_one() -> None:
    rise = PLATE["heat_input"] / (RHO_C * PLATE["thickness"] ** 2)
    at = {"temperature": 293.15 + rise}
    relative = closed_form.relative_plate_thickness(**PLATE, **at)
    assert relative == pytest.approx(1.0, rel=1e-12)
    thick = closed_form.cooling_rate_thick(
        heat_input=PLATE["heat_input"], thermal_conductivity=K, preheat=293.15, **at
    )
    thin = closed_form.cooling_rate_thin(thermal_conductivity=K, **PLATE, **at)
    assert thick == pytest.approx(thin, rel=1e-12)


@pytest.mark.parametrize(
    ("relative", "regime"), [(0.59, "thin"), (0.6, "between"), (0.9, "between"), (0.91, "thick")]
)
def test_plate_regime_has_the_trade_limits(relative: float, regime: str) -> None:
    """0.6 and 0.9: Welding Handbook, from memory."""
    assert closed_form.plate_regime(relative) == regime


def test_solidification_takes_latent_heat_at_the_rate_of_the_point_source() -> None:
    latent, melting, speed = 1.3e9, 1941.0, 0.01
    behind = 60.0 / (2 * np.pi * K * (melting - 293.15))
    places = {"across": 0.0, "depth": 0.0, "absorbed_power": 60.0, "speed": speed, **BODY}
    step = 1e-6 * behind
    ends = closed_form.thick_plate_rise(ahead=np.array([-behind, -behind - step]), **places)
    time = closed_form.solidification_time(
        heat_input=60.0 / speed,
        volumetric_latent_heat=latent,
        thermal_conductivity=K,
        volumetric_heat=RHO_C,
        melting_temperature=melting,
        preheat=293.15,
    )
    slope = float(ends[0] - ends[1]) / (step / speed)
    assert time == pytest.approx(latent / (RHO_C * slope), rel=1e-5)


# Melting


def test_thin_ceiling_is_what_a_fast_line_source_melts() -> None:
    """0.48 in the theory of moving sources (from memory), 2 / sqrt(2 pi e) exactly."""
    rise = 1600.0
    slope = closed_form.ADAMS_CONSTANT * RHO_C * PLATE["thickness"] / PLATE["heat_input"]
    half_width = 1 / (slope * rise)
    assert thin_peak(half_width, 20.0) == pytest.approx(rise, rel=1e-5)
    melted = 2 * half_width * PLATE["thickness"] * RHO_C * rise
    share = closed_form.melting_efficiency(
        melting_energy=melted, absorbed_energy=PLATE["heat_input"]
    )
    assert share == pytest.approx(closed_form.MELTING_EFFICIENCY_THIN, rel=1e-12)
    assert share == pytest.approx(0.48, abs=0.005)


def test_thick_ceiling_is_what_a_fast_point_source_melts() -> None:
    """0.37 in the theory of moving sources (from memory), 1 / e exactly."""
    speed, radius, power = 50.0, 0.4e-3, 1e6
    ages = radius**2 / (4 * A) * np.geomspace(0.3, 3, 4001)
    peak = np.max(
        closed_form.thick_plate_rise(
            absorbed_power=power, speed=speed, ahead=-speed * ages, across=radius, depth=0.0, **BODY
        )
    )
    melted = np.pi / 2 * radius**2 * RHO_C * peak  # half a disc, per length
    share = closed_form.melting_efficiency(
        melting_energy=float(melted), absorbed_energy=power / speed
    )
    assert share == pytest.approx(closed_form.MELTING_EFFICIENCY_THICK, rel=1e-5)
    assert share == pytest.approx(0.37, abs=0.005)


def test_melting_more_than_was_absorbed_is_refused() -> None:
    with pytest.raises(InputError, match="cannot melt on less"):
        closed_form.melting_efficiency(melting_energy=1.1, absorbed_energy=1.0)


def test_volumes_are_stacks_of_circles() -> None:
    width, depth = 0.6e-3, 0.4e-3
    stack, _ = quad(lambda z: np.pi / 4 * width**2 * (1 - (z / depth) ** 2), 0, depth)
    assert closed_form.half_ellipsoid_volume(width=width, depth=depth) == pytest.approx(stack)
    cylinder = closed_form.cylinder_volume(diameter=width, depth=depth)
    assert cylinder == pytest.approx(1.5 * stack)  # Archimedes


def test_melting_energy_is_the_heat_balance() -> None:
    """1 mm3 heated by 1600 K at 2.5 MJ/(m3 K), then melted at 1.3 GJ/m3: 4.0 J + 1.3 J."""
    energy = closed_form.melting_energy(
        volume=1e-9,
        volumetric_heat=2.5e6,
        volumetric_latent_heat=1.3e9,
        melting_temperature=1900.0,
        preheat=300.0,
    )
    assert energy == pytest.approx(5.3, rel=1e-12)


def test_normalised_enthalpy_is_the_published_moving_form() -> None:
    power, radius, speed, heat = 60.0, 0.05e-3, 0.5, 4e9
    found = closed_form.normalised_enthalpy(
        absorbed_power=power,
        beam_radius=radius,
        dwell_time=radius / speed,
        melting_enthalpy=heat,
        diffusivity=A,
    )
    assert found == pytest.approx(power / (np.pi * heat * np.sqrt(A * speed * radius**3)))


def test_normalised_enthalpy_is_the_plane_rise() -> None:
    """While heat flows straight down: surface rise times sqrt(pi) / 2 over the melting rise."""
    flux, time, rise = 2e9, 1e-4, 1600.0
    radius = 1e-3
    found = closed_form.normalised_enthalpy(
        absorbed_power=flux * np.pi * radius**2,
        beam_radius=radius,
        dwell_time=time,
        melting_enthalpy=RHO_C * rise,
        diffusivity=A,
    )
    plane = closed_form.plane_source_rise(heat_flux=flux, time=time, **BODY)
    assert found == pytest.approx(plane * np.sqrt(np.pi) / 2 / rise, rel=1e-12)


@pytest.mark.parametrize(
    ("grade", "published"),
    [
        ("304", closed_form.HANN_BOILING_304),
        ("Ti-6Al-4V", closed_form.HANN_BOILING_TI64),
    ],
)
def test_published_boiling_enthalpies_fit_the_property_data(grade: str, published: float) -> None:
    """Hann 2011: enthalpy of the vapour over that of the solid at melting, within 15 %."""
    metal = material(grade)
    vapour = float(metal.enthalpy(metal.boiling_point)) + metal.latent_heat_vaporisation
    assert vapour / float(metal.enthalpy(metal.solidus)) == pytest.approx(published, rel=0.15)


# Hot column


@pytest.mark.parametrize("fourier", [1e-4, 0.2, 1.0, 10.0, 1e4])
def test_cylinder_flow_is_its_laplace_transform_inverted(fourier: float) -> None:
    """K1(sqrt p) / (sqrt p K0(sqrt p)), inverted by mpmath (Talbot)."""

    def transform(p: Any) -> Any:
        root = mpmath.sqrt(p)
        return mpmath.besselk(1, root) / (root * mpmath.besselk(0, root))

    with mpmath.workdps(25):
        expected = mpmath.invertlaplace(transform, fourier, method="talbot")
    found = closed_form.cylinder_heat_flow(
        radius=0.2e-3, wall_rise=3000.0, time=fourier * 0.2e-3**2 / A, **BODY
    )
    assert found == pytest.approx(2 * np.pi * K * 3000.0 * float(expected), rel=1e-8)


def test_hemisphere_flow_is_its_laplace_transform_inverted() -> None:
    """Half a sphere: (1 / r + sqrt(p / a)) / p, inverted by mpmath (Talbot)."""
    radius, time = 0.2e-3, 3e-3
    with mpmath.workdps(25):
        slope = mpmath.invertlaplace(
            lambda p: (1 / radius + mpmath.sqrt(p / A)) / p, time, method="talbot"
        )
    found = closed_form.hemisphere_heat_flow(radius=radius, wall_rise=3000.0, time=time, **BODY)
    assert found == pytest.approx(2 * np.pi * radius**2 * K * 3000.0 * float(slope), rel=1e-8)


def test_column_takes_exactly_the_power_it_is_given() -> None:
    column = {"radius": 0.2e-3, "wall_rise": 3000.0, "time": 5e-3, **BODY}
    bottom = closed_form.hemisphere_heat_flow(**column)
    wall = closed_form.cylinder_heat_flow(**column)
    power = float(bottom) * np.array([0.99, 1.0, 3.0])
    depth = closed_form.column_depth(absorbed_power=power, **column)
    assert depth[0] == 0.0
    assert depth[1] == pytest.approx(column["radius"])
    assert bottom + wall * (depth[2] - column["radius"]) == pytest.approx(power[2], rel=1e-12)


def test_cavity_absorbs_the_sum_of_its_reflections() -> None:
    """Share that meets the wall n times, each absorbing A and losing g through the mouth."""
    flat, depth, radius = 0.35, 0.5e-3, 0.2e-3
    mouth = radius / (radius + 2 * depth)
    reflections = flat * np.sum(((1 - flat) * (1 - mouth)) ** np.arange(200))
    found = closed_form.cavity_absorptance(absorptivity=flat, depth=depth, radius=radius)
    assert found == pytest.approx(reflections, rel=1e-12)
    shallow_deep = closed_form.cavity_absorptance(
        absorptivity=flat, depth=np.array([0.0, 1e3]), radius=radius
    )
    np.testing.assert_allclose(shallow_deep, [flat, 1.0], rtol=1e-6)
    with pytest.raises(InputError, match="at most 1"):
        closed_form.cavity_absorptance(absorptivity=1.2, depth=depth, radius=radius)
