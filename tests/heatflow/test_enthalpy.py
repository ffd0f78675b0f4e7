"""Shared physics: tables, losses, opening of the surface, cavity absorptance."""

from __future__ import annotations

from math import log, pi, sqrt

import numpy as np
import pytest
from scipy.constants import R as GAS_CONSTANT
from scipy.constants import Stefan_Boltzmann, atm

from weldcalc.heatflow.constants import ModelConstants
from weldcalc.heatflow.enthalpy import (
    cavity_absorptance,
    evaporation_flux,
    lookup,
    melt_levels,
    metal_tables,
    opened_share,
    opening_temperature,
    radiation_flux,
    saturation_pressure,
    stirring,
    surface_state,
)
from weldcalc.materials import material

GRADES = ["Ti Grade 2", "Ti Grade 5", "316L"]


@pytest.mark.parametrize("grade", GRADES)
def test_heat_from_room_temperature_to_liquid_is_that_of_the_material(grade):
    """Sum of the material's own sensible and latent heats; the spread melting ends 60 K later."""
    metal = material(grade)
    tables = metal_tables(metal)
    top = metal.liquidus + 100.0
    heat = metal.density_rt * (metal.enthalpy(top) - metal.enthalpy(293.15))
    found = tables.enthalpy_at(top) - tables.enthalpy_at(293.15)
    assert found == pytest.approx(float(heat), rel=2e-3)


@pytest.mark.parametrize("grade", GRADES)
def test_lookup_of_temperature_undoes_the_enthalpy(grade):
    tables = metal_tables(material(grade))
    for temperature in (300.0, 900.0, 1500.0, 2400.0, 4000.0):
        back = lookup(tables.metal.temperature, tables.enthalpy_at(temperature), tables.metal)
        assert back == pytest.approx(temperature, abs=0.5)


def test_potential_is_the_integral_of_conductivity():
    metal = material("316L")
    tables = metal_tables(metal)
    nodes = np.linspace(400.0, 1500.0, 2001)
    k = metal.thermal_conductivity(nodes)
    exact = np.sum(0.5 * (k[1:] + k[:-1]) * np.diff(nodes))
    ends = [
        lookup(tables.metal.potential, tables.enthalpy_at(T), tables.metal) for T in (400, 1500)
    ]
    assert ends[1] - ends[0] == pytest.approx(exact, rel=1e-3)


def test_vapour_pressure_is_one_atmosphere_at_the_boiling_point_and_near_measured_below():
    """Alcock, Itkin & Horrigan 1984 via the chemicals package: titanium 180 Pa at 2500 K.

    Clausius and Clapeyron from the boiling point with constant heat lies within a factor 2 there.
    """
    metal = metal_tables(material("Ti Grade 2")).metal
    assert saturation_pressure(metal.boiling_point, metal) == pytest.approx(atm, rel=1e-9)
    assert 0.5 < saturation_pressure(2500.0, metal) / 180.0 < 2.0


def test_evaporation_takes_what_the_kinetic_theory_says():
    grade = material("Ti Grade 2")
    metal = metal_tables(grade).metal
    per_area = atm * sqrt(grade.molar_mass / (2.0 * pi * GAS_CONSTANT * grade.boiling_point))
    exact = 0.82 * per_area * grade.latent_heat_vaporisation
    found = evaporation_flux(grade.boiling_point, atm, metal)
    assert found == pytest.approx(exact, rel=1e-9)


def test_radiation_is_that_of_a_grey_body():
    grade = material("Ti Grade 2")
    exact = grade.emissivity_solid * Stefan_Boltzmann * (1500.0**4 - 293.15**4)
    assert radiation_flux(1500.0, 293.15, metal_tables(grade).metal) == pytest.approx(exact)


def test_surface_opens_where_recoil_holds_against_surface_tension():
    """0.54 p_sat = f 2 sigma / a, with p_sat from Clausius and Clapeyron, solved by hand."""
    grade = material("316L")
    tables = metal_tables(grade)
    pressure = 1.5 * 2.0 * grade.surface_tension / 0.15e-3
    slope = grade.latent_heat_vaporisation * grade.molar_mass / GAS_CONSTANT
    exact = 1.0 / (1.0 / grade.boiling_point - log(pressure / 0.54 / atm) / slope)
    levels = melt_levels(tables, ModelConstants(capillary_factor=1.5), spot_diameter=0.3e-3)
    assert levels.opening_pressure == pytest.approx(pressure)
    assert opening_temperature(tables.metal, levels.opening_pressure) == pytest.approx(exact)
    liquid, long = tables.metal.liquidus_enthalpy + 1e6, 1.0
    below, above = (saturation_pressure(exact + off, tables.metal) for off in (-1.0, 20.0))
    assert opened_share(below, 0.0, liquid, long, tables.metal, levels) == 0.0
    assert 0.0 < opened_share(above, 0.0, liquid, long, tables.metal, levels) < 1.0


def test_an_open_column_stays_open_until_its_surface_freezes():
    tables = metal_tables(material("316L"))
    levels = melt_levels(tables, ModelConstants(), spot_diameter=0.3e-3)
    liquid, solid = tables.enthalpy_at(2500.0), tables.enthalpy_at(1500.0)
    assert opened_share(0.0, 0.7, liquid, 1e-3, tables.metal, levels) == 0.7
    assert opened_share(0.0, 0.7, solid, 1e-3, tables.metal, levels) == 0.0


def test_surface_opens_in_the_time_that_surface_tension_needs():
    """sqrt(rho a^3 / sigma), the capillary time of a drop of the spot's radius."""
    grade = material("316L")
    tables = metal_tables(grade)
    levels = melt_levels(tables, ModelConstants(), spot_diameter=0.3e-3)
    exact = sqrt(grade.density_rt * 0.15e-3**3 / grade.surface_tension)
    liquid, strong = tables.enthalpy_at(2500.0), 10.0 * atm
    share = opened_share(strong, 0.0, liquid, 0.25 * exact, tables.metal, levels)
    assert share == pytest.approx(0.25)
    assert opened_share(strong, 0.0, liquid, 3.0 * exact, tables.metal, levels) == 1.0


@pytest.mark.parametrize("aspect", [0.0, 0.5, 2.0, 8.0])
def test_cavity_absorptance_is_the_sum_of_all_reflections(aspect):
    """Cylinder of radius 1 and depth `aspect`: a share g = r / (r + 2 h) leaves at each bounce."""
    levels = melt_levels(
        metal_tables(material("316L")),
        ModelConstants(cavity_gain=1.0),
        spot_diameter=0.3e-3,
        absorptivity=0.3,
    )
    leaving = 1.0 / (1.0 + 2.0 * aspect)
    absorbed, light = 0.0, 1.0
    for _ in range(2000):
        absorbed += 0.3 * light
        light *= 0.7 * (1.0 - leaving)
    assert cavity_absorptance(pi, 2.0 * pi * aspect, levels) == pytest.approx(absorbed, rel=1e-9)


def test_face_of_a_cell_balances_inflow_evaporation_and_conduction():
    tables = metal_tables(material("Ti Grade 2"))
    levels = melt_levels(tables, ModelConstants(), spot_diameter=0.3e-3)
    enthalpy, flux, half = tables.enthalpy_at(3000.0), 4e9, 10e-6
    face, pressure = surface_state(enthalpy, flux, half, levels.stir_z, tables.metal, 1.0)
    conductivity = lookup(tables.metal.conductivity, enthalpy, tables.metal)
    inward = conductivity * (1.0 + levels.stir_z) * (face - 3000.0) / half
    vapour = evaporation_flux(face, saturation_pressure(face, tables.metal), tables.metal)
    assert vapour > 0.02 * flux
    assert inward + vapour == pytest.approx(flux, rel=0.01)
    assert pressure == pytest.approx(saturation_pressure(face, tables.metal), rel=0.01)


def test_stirring_goes_from_flat_to_open():
    constants = ModelConstants(
        stirring_r=2.0, stirring_z=4.0, stirring_r_open=3.0, stirring_z_open=2.0
    )
    levels = melt_levels(metal_tables(material("316L")), constants, spot_diameter=0.3e-3)
    deep = levels.full_stirring
    assert deep == pytest.approx(2.0 * 0.15e-3)
    assert stirring(0.0, deep, levels) == pytest.approx((1.0, 3.0, 3.0))
    assert stirring(0.5, deep, levels) == pytest.approx((1.5, 2.0, 3.0))
    assert stirring(7.0, 2.0 * deep, levels) == pytest.approx((2.0, 1.0, 3.0))


def test_stirring_of_steel_needs_a_pool_and_that_of_titanium_none():
    constants = ModelConstants(stirring_r=2.0, stirring_z=4.0)
    steel, titanium = (
        melt_levels(metal_tables(material(name)), constants, spot_diameter=0.3e-3)
        for name in ("316L", "Ti Grade 2")
    )
    assert stirring(0.0, 0.0, steel) == pytest.approx((0.0, 0.0, 0.0))
    assert stirring(0.0, 0.25 * steel.full_stirring, steel) == pytest.approx((0.25, 0.75, 0.75))
    assert stirring(0.0, 0.0, titanium) == pytest.approx((1.0, 3.0, 3.0))
