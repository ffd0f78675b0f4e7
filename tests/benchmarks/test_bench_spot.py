"""How long the axisymmetric engine takes, beside other ways to solve the same pulse.

Not part of the test run: ``pytest tests/benchmarks/test_bench_spot.py``. Ratios are taken in one
process, one thread each, and kept in the extra information of each benchmark.
"""

from __future__ import annotations

import sys
import time
from math import pi
from pathlib import Path

import numpy as np
import pytest
from attrs import evolve

sys.path.insert(0, str(Path(__file__).parents[1] / "heatflow"))

import test_spot_independent as reference_pulse
from spot_scheme import axis_column, scheme, super_steps

from weldcalc.heatflow.enthalpy import metal_tables
from weldcalc.heatflow.spot import spot_pulse, spot_pulses
from weldcalc.heatflow.spot_case import spot_case
from weldcalc.heatflow.spot_solve import solve_spot
from weldcalc.materials import material

TI = material("Ti Grade 2")
WALL = {"pulse_duration": 5e-3, "spot_diameter": 0.4e-3, "thickness": 0.4e-3}


def bare_case(cells=12):
    """0.3 mm sheet, 4 ms, no losses, no stirring, no depression."""
    case = spot_case(
        TI,
        peak_power=reference_pulse.POWER,
        pulse_duration=reference_pulse.DURATION,
        spot_diameter=reference_pulse.DIAMETER,
        thickness=reference_pulse.THICKNESS,
        constants=reference_pulse.UNSTIRRED,
        grid=reference_pulse.THICKNESS / cells,
    )
    return evolve(case, with_losses=False, cooling=0.0)


def engine(case=None):
    solution = solve_spot(case or bare_case())
    return solution.field.depth(solution.tables.melting_enthalpy())


ENGINE = solve_spot(bare_case()).history  # for the lengths of its steps


def best_time(call, rounds):
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        depth = call()
        times.append(time.perf_counter() - start)
    return min(times), depth


def array_engine():
    """Same cells, tables, super steps and stages with array expressions for compiled loops."""
    tables, cells = metal_tables(TI), scheme(bare_case())
    heat = cells.start
    peak = heat.copy()

    def gain(field):
        theta = np.interp(field, tables.enthalpy, tables.metal.potential)
        total = cells.source.copy()
        across, along = np.diff(theta, axis=1), np.diff(theta, axis=0)
        total[:, 1:] -= cells.inner[1:] * across
        total[:, :-1] += cells.outer[:-1] * across
        total[1:] -= cells.above[1:] * along
        total[:-1] += cells.below[:-1] * along
        return total

    for dt, stages in super_steps(cells, TI, ENGINE):
        scale = 2.0 / (stages**2 + stages)
        old, new = heat, heat + scale * dt * gain(heat)
        for stage in range(2, stages + 1):
            mu, nu = (2.0 * stage - 1.0) / stage, (1.0 - stage) / stage
            old, new = new, mu * new + nu * old + mu * scale * dt * gain(new)
        heat = new
        peak = np.maximum(peak, heat)
    return reference_pulse.crossing(cells.z, axis_column(peak), tables.melting_enthalpy())


def finite_elements():
    mesh, peak = reference_pulse.finite_elements(TI)
    melting = 0.5 * (TI.solidus + TI.liquidus)
    return reference_pulse.crossing(*reference_pulse.along(mesh, peak, 1), melting)


def finite_volumes():
    """FiPy, implicit, apparent heat capacity over the engine's melting range."""
    fipy = pytest.importorskip("fipy")
    tables, case = metal_tables(TI), bare_case()
    widths = np.diff(reference_pulse.graded(0.26e-3, 2.0e-3, 12e-6, 1.15))
    mesh = fipy.CylindricalGrid2D(dx=widths, dy=case.thickness / 30, nx=widths.size, ny=30)
    r, z = mesh.cellCenters.value
    T = fipy.CellVariable(mesh=mesh, value=case.preheat, hasOld=True)
    k, c = (fipy.CellVariable(mesh=mesh, value=1.0) for _ in range(2))
    lit = (r < case.spot_diameter / 2) & (z < case.thickness / 30)
    density = 0.35 * case.peak_power / (pi * case.spot_diameter**2 / 4) / (case.thickness / 30)
    source = fipy.CellVariable(mesh=mesh, value=np.where(lit, density, 0.0))
    equation = fipy.TransientTerm(coeff=c) == fipy.DiffusionTerm(coeff=k) + source
    heats, nodes = tables.enthalpy, tables.metal.temperature
    peak, steps = T.value.copy(), 130
    for _ in range(steps):
        T.updateOld()
        for _ in range(4):
            rise = np.where(np.abs(T.value - T.old.value) < 1.0, 1.0, T.value - T.old.value)
            held = np.interp(T.old.value, nodes, heats)
            c.setValue((np.interp(T.old.value + rise, nodes, heats) - held) / rise)
            k.setValue(TI.thermal_conductivity(T.value))
            equation.sweep(var=T, dt=case.pulse_duration / steps)
        peak = np.maximum(peak, T.value)
    axis = np.flatnonzero(np.isclose(r, r.min()))
    return reference_pulse.crossing(z[axis], peak[axis], 0.5 * (TI.solidus + TI.liquidus))


@pytest.mark.parametrize("power", [300.0, 400.0, 500.0, 600.0])
def test_one_pulse_with_all_physics(benchmark, power):
    benchmark(spot_pulse, TI, peak_power=power, **WALL)


def test_bare_melting_pulse(benchmark):
    depth = benchmark(engine)
    assert depth == pytest.approx(engine(bare_case(48)), rel=0.02)


@pytest.mark.parametrize("other", [array_engine, finite_elements, finite_volumes])
def test_engine_beside_another_solver(benchmark, other):
    ours, depth = best_time(engine, 30)
    theirs, other_depth = best_time(other, 3)
    benchmark.extra_info.update(
        ratio=theirs / ours, engine_ms=1e3 * ours, other_ms=1e3 * theirs, depth=other_depth / depth
    )
    benchmark.pedantic(engine, rounds=5)
    assert other_depth == pytest.approx(depth, rel=0.05)


def test_batch_of_64_on_two_threads(benchmark):
    batch = [{"material": TI, "peak_power": 300.0 + 5.0 * i, **WALL} for i in range(64)]
    one, _ = best_time(lambda: spot_pulses(batch, threads=1), 3)
    two, _ = best_time(lambda: spot_pulses(batch, threads=2), 3)
    benchmark.extra_info.update(efficiency=one / two / 2.0, one_thread_ms=1e3 * one)
    benchmark.pedantic(spot_pulses, args=(batch,), kwargs={"threads": 2}, rounds=3)


@pytest.mark.parametrize(
    "changes",
    [{"cells": 12}, {"cells": 24}, {"thickness": 1.6e-3}, {"pulse_duration": 20e-3}],
    ids=["base", "half cells", "four times the thickness", "four times the duration"],
)
def test_cost_of_resolution_thickness_and_duration(benchmark, changes):
    settings = WALL | changes
    cells = settings.pop("cells", 12)
    benchmark(spot_pulse, TI, peak_power=400.0, grid=0.4e-3 / cells, **settings)
