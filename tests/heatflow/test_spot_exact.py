"""The axisymmetric engine against exact solutions of heat conduction."""

from __future__ import annotations

from math import e, pi, sqrt

import numpy as np
import pytest
from attrs import evolve
from constant_metal import ConstantMetal
from scipy.optimize import brentq
from scipy.special import erf, erfc

from weldcalc.heatflow.constants import ModelConstants
from weldcalc.heatflow.spot import run_case
from weldcalc.heatflow.spot_case import spot_case
from weldcalc.heatflow.spot_solve import solve_spot

UNSTIRRED = ModelConstants(
    stirring_r=1.0,
    stirring_z=1.0,
    stirring_r_open=1.0,
    stirring_z_open=1.0,
    displacement=1.0,
    capillary_factor=1e6,  # never opens
    absorptance=0.4,
    cavity_gain=1.0,
    opening_range=1.0,
)
PREHEAT = 293.15


def bare(metal, **changes):
    """Return a case without losses, stirring or depression."""
    return evolve(spot_case(metal, constants=UNSTIRRED, **changes), with_losses=False)


def ierfc(x):
    return np.exp(-(x**2)) / sqrt(pi) - x * erfc(x)


def disc_rise(z, t, *, flux, radius, metal):
    """Axial temperature rise under a uniform disc source on a half space.

    Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), section 10.5 (from memory).
    """
    reach = 2.0 * np.sqrt(metal.diffusivity * t)
    near, far = ierfc(z / reach), ierfc(np.hypot(z, radius) / reach)
    return flux * reach / metal.conductivity * (near - far)


@pytest.fixture(scope="module")
def disc():
    metal = ConstantMetal()
    settings = {"peak_power": 60.0, "pulse_duration": 3e-3, "spot_diameter": 0.4e-3}
    case = bare(metal, thickness=4e-3, grid=0.4e-3 / 40, **settings)
    flux = 0.4 * 60.0 / (pi * 0.2e-3**2)
    return metal, case, solve_spot(case), flux


def test_disc_source_heats_the_centre_as_in_carslaw_and_jaeger(disc):
    metal, case, solution, flux = disc
    during = (solution.history.time > 0.1 * case.pulse_duration) & (
        solution.history.time < case.pulse_duration
    )
    time = solution.history.time[during]
    exact = disc_rise(0.0, time, flux=flux, radius=0.2e-3, metal=metal)
    np.testing.assert_allclose(solution.history.centre[during] - PREHEAT, exact, rtol=0.01)


def test_disc_source_heats_the_depth_as_in_carslaw_and_jaeger(disc):
    metal, case, solution, flux = disc
    z, radius, off = solution.field.z, 0.2e-3, case.pulse_duration
    time = np.linspace(off, 12 * off, 4000)[:, None]
    exact = disc_rise(z, time, flux=flux, radius=radius, metal=metal)
    after = np.maximum(time - off, 1e-12)
    exact = (exact - disc_rise(z, after, flux=flux, radius=radius, metal=metal)).max(axis=0)
    peak = solution.tables.temperature_at(solution.field.enthalpy[:, 0]) - PREHEAT
    # further down the peak comes after the run has ended
    deep = (z > 0.05e-3) & (exact > 150.0)
    assert deep.sum() > 12
    np.testing.assert_allclose(peak[deep], exact[deep], rtol=0.01)


def neumann_root(stefan_liquid, stefan_solid, ratio):
    """Return lambda of Neumann's melting problem with equal densities.

    Carslaw & Jaeger, 2nd ed. (1959), section 11.2 (from memory); `ratio` is the square root of
    liquid over solid diffusivity, both phases with the same heat capacity.
    """

    def balance(x):
        liquid = stefan_liquid / (np.exp(x * x) * erf(x))
        solid = stefan_solid / (ratio * np.exp((x * ratio) ** 2) * erfc(x * ratio))
        return liquid - solid - x * sqrt(pi)

    return brentq(balance, 1e-3, 3.0)


def test_melting_front_moves_as_in_neumanns_problem():
    """A wide spot whose power falls as 1 / sqrt(t) holds the face at a constant temperature."""
    metal, wall, end = ConstantMetal(latent_heat_fusion=4e5), 2500.0, 2e-3
    melting = 0.5 * (metal.solidus + metal.liquidus)
    stefan_liquid = metal.heat * (wall - melting) / metal.latent_heat_fusion
    stefan_solid = metal.heat * (melting - PREHEAT) / metal.latent_heat_fusion
    root = neumann_root(stefan_liquid, stefan_solid, 1.0)
    flux_scale = metal.conductivity * (wall - melting)
    flux_scale /= erf(root) * sqrt(pi * metal.diffusivity)
    # level until 1e-4 of the pulse with the energy of the true curve, then straight pieces
    share = np.concatenate(([0.0, 4e-5], np.geomspace(4.2e-5, 1.0, 90)))
    level = np.concatenate(([1.0, 1.0], sqrt(4e-5) / 2.0 / np.sqrt(share[2:])))
    diameter = 3e-3
    power = flux_scale * 2.0 / sqrt(4e-5 * end) * pi * diameter**2 / 4.0 / 0.4
    case = bare(
        metal,
        peak_power=power,
        pulse_duration=end,
        spot_diameter=diameter,
        thickness=2e-3,
        pulse_shape=list(zip(share, level, strict=True)),
        grid=5e-6,
    )
    solution = solve_spot(evolve(case, cooling=0.0))
    front = solution.field.depth(solution.tables.melting_enthalpy())
    assert front == pytest.approx(2.0 * root * sqrt(metal.diffusivity * end), rel=0.01)


def test_sheet_cools_and_spreads_as_an_instant_line_source():
    """T - T0 = E / (4 pi k h t) exp(-r^2 / 4 kappa t); peak at r is E / (pi e rho c h r^2).

    Rosenthal, Trans. ASME 68 (1946) 849 (from memory).
    """
    metal, energy, sheet = ConstantMetal(), 0.2, 0.2e-3
    case = bare(
        metal,
        peak_power=energy / 0.4 / 0.5e-3,
        pulse_duration=0.5e-3,
        spot_diameter=0.2e-3,
        thickness=sheet,
    )
    result = run_case(case)
    assert result.absorbed_energy == pytest.approx(energy, rel=1e-9)
    line = energy / (4.0 * pi * metal.conductivity * sheet)
    time = result.history.time
    late = (result.history.centre < 800.0) & (time > 5e-3)
    assert late.sum() >= 3
    # the heat was given over the pulse, on average at its middle
    exact = line / (time[late] - 0.25e-3)
    np.testing.assert_allclose(result.history.centre[late] - PREHEAT, exact, rtol=0.02)
    rise = 533.15 - PREHEAT
    radius = sqrt(energy / (pi * e * metal.density_rt * metal.heat * sheet * rise))
    assert result.radius_above_strict == pytest.approx(radius, rel=0.02)
