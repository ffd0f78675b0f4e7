"""The axisymmetric engine against a finite-element solution of the same bare melting pulse."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from attrs import evolve
from scipy.sparse import diags
from scipy.sparse.linalg import splu
from skfem import Basis, BilinearForm, ElementQuad1, FacetBasis, LinearForm, MeshQuad
from skfem.helpers import dot, grad

from weldcalc.heatflow.constants import ModelConstants
from weldcalc.heatflow.spot_case import spot_case
from weldcalc.heatflow.spot_solve import solve_spot
from weldcalc.materials import material

PREHEAT = 293.15
POWER, DURATION, DIAMETER, THICKNESS, ABSORBED = 320.0, 4e-3, 0.4e-3, 0.3e-3, 0.35

UNSTIRRED = ModelConstants(
    stirring_r=1.0,
    stirring_z=1.0,
    stirring_r_open=1.0,
    stirring_z_open=1.0,
    displacement=1.0,
    capillary_factor=1e6,  # never opens
    absorptance=ABSORBED,
    cavity_gain=1.0,
    opening_range=1.0,
)


@BilinearForm
def stiffness(u, v, w):
    return w["k"] * dot(grad(u), grad(v)) * 2 * pi * w.x[0]


@LinearForm
def volume(v, w):
    return v * 2 * pi * w.x[0]


@LinearForm
def beam(v, w):
    return v * 2 * pi * w.x[0] * (w.x[0] < DIAMETER / 2)


def graded(fine, end, step, growth):
    places = list(np.arange(0.0, fine + 0.5 * step, step))
    while places[-1] < end:
        step *= growth
        places.append(places[-1] + step)
    return np.array(places)


def finite_elements(metal, *, step=10e-6, steps=90):
    """Backward Euler in nodal enthalpy, k at the quadrature points; returns peak temperatures."""
    r = graded(DIAMETER / 2 + 6 * step, 2.0e-3, step, 1.15)
    mesh = MeshQuad.init_tensor(r, np.linspace(0.0, THICKNESS, 31))
    basis = Basis(mesh, ElementQuad1())
    top = FacetBasis(mesh, ElementQuad1(), facets=mesh.facets_satisfying(lambda x: x[1] < 1e-9))
    mass = volume.assemble(basis) * metal.density_rt
    load = ABSORBED * POWER * beam.assemble(top) / (pi * DIAMETER**2 / 4)
    nodes = np.union1d(
        np.arange(250.0, 6000.0, 2.0), [metal.solidus, metal.liquidus, *metal.alpha_beta_band]
    )
    heats = metal.enthalpy(nodes)
    slopes = np.diff(nodes) / np.diff(heats)
    heat = np.full(mesh.p.shape[1], float(metal.enthalpy(PREHEAT)))
    peak, dt = heat.copy(), DURATION / steps
    for _ in range(steps):
        held, T = heat.copy(), np.interp(heat, heats, nodes)
        K = stiffness.assemble(basis, k=metal.thermal_conductivity(basis.interpolate(T)))
        for _ in range(12):
            T = np.interp(heat, heats, nodes)
            slope = slopes[np.clip(np.searchsorted(heats, heat) - 1, 0, slopes.size - 1)]
            misfit = mass * (heat - held) / dt + K @ T - load
            change = splu((diags(mass / dt) + K @ diags(slope)).tocsc()).solve(-misfit)
            heat = heat + change
            if np.abs(change).max() < 1e3:  # J/kg, about 1 K
                break
        peak = np.maximum(peak, heat)
    return mesh, np.interp(peak, heats, nodes)


def crossing(place, values, level):
    i = int(np.flatnonzero(values >= level)[-1])
    return place[i] + (values[i] - level) / (values[i] - values[i + 1]) * (place[i + 1] - place[i])


@pytest.fixture(scope="module")
def both():
    metal = material("Ti Grade 2")
    case = spot_case(
        metal,
        peak_power=POWER,
        pulse_duration=DURATION,
        spot_diameter=DIAMETER,
        thickness=THICKNESS,
        constants=UNSTIRRED,
        grid=THICKNESS / 40,
    )
    ours = solve_spot(evolve(case, with_losses=False, cooling=0.0))
    return metal, ours, finite_elements(metal)


def along(mesh, peak, axis):
    """Return places and values of the nodes on the beam axis (1) or on the top face (0)."""
    there = np.flatnonzero(mesh.p[1 - axis] < 1e-12)
    there = there[np.argsort(mesh.p[axis][there])]
    return mesh.p[axis][there], peak[there]


@pytest.mark.parametrize("axis", [1, 0], ids=["depth", "radius"])
def test_pool_agrees_with_finite_elements(both, axis):
    metal, ours, (mesh, peak) = both
    theirs = crossing(*along(mesh, peak, axis), 0.5 * (metal.solidus + metal.liquidus))
    level = ours.tables.melting_enthalpy()
    found = ours.field.depth(level) if axis == 1 else ours.field.radius_at(0.0, level)
    assert theirs > 0.1e-3
    assert found == pytest.approx(theirs, rel=0.02)
