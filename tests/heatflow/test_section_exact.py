"""The 3-D engine against exact solutions of heat conduction."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest
from attrs import evolve
from constant_metal import ConstantMetal
from scipy.special import erfc

from weldcalc.heatflow.closed_form import disc_axis_rise, moving_gaussian_rise
from weldcalc.heatflow.constants import ModelConstants
from weldcalc.heatflow.seam import SeamBody, seam_rise
from weldcalc.heatflow.section import section_pulses_in_row
from weldcalc.heatflow.section_case import section_case
from weldcalc.heatflow.section_measure import section_result
from weldcalc.heatflow.section_solve import SectionState, cold_state, run_pulse, set_up
from weldcalc.section_shape import butt_section, sheet

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
METAL = ConstantMetal()


def bare(section, **changes):
    """Return cells and case without losses, stirring or depression."""
    settings = {"constants": UNSTIRRED, "material": METAL} | changes
    return set_up(evolve(section_case(section, **settings), with_losses=False))


def test_disc_source_heats_the_centre_as_in_carslaw_and_jaeger():
    """Carslaw & Jaeger, 2nd ed. (1959), section 10.5, by `closed_form.disc_axis_rise`."""
    bench = bare(
        sheet(4e-3), peak_power=60.0, pulse_duration=3e-3, spot_diameter=0.4e-3, grid=0.4e-3 / 24
    )
    history = run_pulse(bench, cold_state(bench), period=3e-3 * (1 + 1e-9)).history
    during = (history.time > 0.3e-3) & (history.time < 3e-3)
    exact = disc_axis_rise(
        heat_flux=0.4 * 60.0 / (pi * 0.2e-3**2),
        radius=0.2e-3,
        time=history.time[during],
        thermal_conductivity=METAL.conductivity,
        diffusivity=METAL.diffusivity,
    )
    np.testing.assert_allclose(history.centre[during] - PREHEAT, exact, rtol=0.02)


def test_moving_gaussian_beam_heats_as_in_eagar_and_tsai():
    """Eagar & Tsai, Welding Journal 62 (1983) 346s, by `closed_form.moving_gaussian_rise`."""
    power, duration, speed = 40.0, 5e-3, 0.2
    bench = bare(
        sheet(3e-3),
        peak_power=power,
        pulse_duration=duration,
        spot_diameter=0.4e-3,
        profile="gaussian",
        travel_speed=speed,
        grid=0.02e-3,
    )
    state = run_pulse(bench, cold_state(bench), period=duration * (1 + 1e-9)).state
    grid = bench.grid
    column = int(np.argmin(np.abs(grid.y))) + 1
    for layer in (1, 6):
        found = bench.tables[0].temperature_at(state.enthalpy[layer, 1:-1, column]) - PREHEAT
        exact = moving_gaussian_rise(
            absorbed_power=0.4 * power,
            beam_radius=0.2e-3,
            speed=speed,
            ahead=grid.x - 0.5 * speed * duration,
            across=np.full(grid.x.size, grid.y[column - 1]),
            depth=np.full(grid.x.size, grid.z[layer - 1]),
            thermal_conductivity=METAL.conductivity,
            diffusivity=METAL.diffusivity,
            time=duration,
        )
        warm = exact > 0.1 * exact.max()
        assert warm.sum() > 30
        np.testing.assert_allclose(found[warm], exact[warm], rtol=0.02)


def test_sheet_cools_as_after_an_instant_line_source():
    """T - T0 = E / (4 pi k h t): Rosenthal, Trans. ASME 68 (1946) 849 (from memory)."""
    energy, thickness = 0.2, 0.2e-3
    bench = bare(
        sheet(thickness),
        peak_power=energy / 0.4 / 0.5e-3,
        pulse_duration=0.5e-3,
        spot_diameter=0.2e-3,
    )
    solution = run_pulse(bench, cold_state(bench))
    history, result = solution.history, section_result(solution)
    assert result.absorbed_energy == pytest.approx(energy, rel=1e-9)
    late = (history.centre < 800.0) & (history.time > 5e-3)
    assert late.sum() >= 3
    line = energy / (4.0 * pi * METAL.conductivity * thickness)
    # the heat was given over the pulse, on average at its middle
    exact = line / (history.time[late] - 0.25e-3)
    np.testing.assert_allclose(history.centre[late] - PREHEAT, exact, rtol=0.02)
    rise = 533.15 - PREHEAT
    volumetric = METAL.density_rt * METAL.heat
    radius = sqrt(energy / (pi * np.e * volumetric * thickness * rise))
    assert result.radius_above_strict == pytest.approx(radius, rel=0.02)


def test_two_metals_in_contact_meet_at_the_temperature_of_their_effusivities():
    """Carslaw & Jaeger, 2nd ed. (1959), section 2.15 (section from memory)."""
    cold = ConstantMetal(conductivity=90.0, heat=500.0)
    joint = butt_section(thickness=1e-3, material="warm")
    bench = bare(
        joint,
        material=(METAL, cold),
        peak_power=1e-6,
        pulse_duration=1e-3,
        spot_diameter=0.4e-3,
        grid=0.02e-3,
    )
    start = np.array([bench.tables[0].enthalpy_at(900.0), bench.tables[1].enthalpy_at(PREHEAT)])
    warm = np.repeat(bench.by_cell(start)[:, None, :], bench.grid.x.size + 2, axis=1)
    state = cold_state(bench)
    end = run_pulse(bench, SectionState(warm, warm.copy(), state.gate), period=1e-3 * (1 + 1e-9))
    y, row = bench.grid.y, end.state.enthalpy[3, 1, 1:-1]
    effusivity = [sqrt(m.conductivity * m.density_rt * m.heat) for m in (METAL, cold)]
    contact = (effusivity[0] * 900.0 + effusivity[1] * PREHEAT) / sum(effusivity)
    for metal, tables, side, far in (
        (METAL, bench.tables[0], y < 0, 900.0),
        (cold, bench.tables[1], y > 0, PREHEAT),
    ):
        near = side & (np.abs(y) < 0.25e-3)
        reach = 2.0 * sqrt(metal.diffusivity * 1e-3)
        exact = far + (contact - far) * erfc(np.abs(y[near]) / reach)
        found = tables.temperature_at(row[near])
        np.testing.assert_allclose(found, exact, atol=0.01 * (900.0 - PREHEAT))


def test_preheat_after_five_pulses_is_the_sum_of_line_sources():
    """`seam.seam_rise` adds exact line sources; here each pulse is computed on warm metal."""
    thickness, duration = 0.4e-3, 4e-3
    row = section_pulses_in_row(
        sheet(thickness),
        pulses=5,
        pitch=0.15e-3,
        repetition_rate=10.0,
        peak_power=250.0,
        pulse_duration=duration,
        spot_diameter=0.4e-3,
        grid=0.08e-3,
        material=METAL,
        constants=UNSTIRRED,
    )
    assert abs(row.energy_balance) < 1e-3
    body = SeamBody(
        length=1.0,
        ends="open",
        half_sheets=(thickness, thickness),
        volumetric_heat=METAL.density_rt * METAL.heat,
        diffusivity=METAL.diffusivity,
    )
    for number in range(1, 6):
        earlier = slice(0, number)
        rise = seam_rise(
            body,
            energy=row.energy_left[earlier],
            source=row.place[earlier],
            place=row.place[number],
            age=row.time[number] - row.time[earlier] - 0.5 * duration,
        )
        assert row.preheat[number] - PREHEAT == pytest.approx(rise[0], rel=0.05)
    assert np.all(np.diff(row.preheat) > 0.0)
