"""The line-source sum against exact answers, lumped limits and a separate solver."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.special import k0

from weldcalc.errors import InputError
from weldcalc.heatflow.seam import (
    SeamBody,
    line_source_rise,
    mean_rise,
    ring_sum,
    seam_rise,
    unit_mean_rise,
)
from weldcalc.heatflow.seam_march import MOST_GROUPS, PulseTrain, march, seam_factors

TUBE = SeamBody(
    length=np.pi * 8e-3,
    ends="closed",
    half_sheets=(0.4e-3, 0.4e-3),
    volumetric_heat=2.6e6,
    diffusivity=8e-6,
)


def open_sheet(body: SeamBody = TUBE) -> SeamBody:
    return SeamBody(
        length=body.length,
        ends="open",
        half_sheets=body.half_sheets,
        volumetric_heat=body.volumetric_heat,
        diffusivity=body.diffusivity,
    )


def one_train(place: np.ndarray, time: np.ndarray) -> PulseTrain:
    none = np.zeros(len(time), dtype=np.int64)
    return PulseTrain(place=place, time=time, run=none, stretch=none)


def preheats(
    body: SeamBody, place: np.ndarray, time: np.ndarray, energy: float, start: float
) -> np.ndarray:
    factors = seam_factors(body, one_train(place, time))
    rows = slice(0, factors.first.size)
    found, _ = march(
        factors, rows=rows, start=start, earlier=np.empty(0), heat_left=lambda _: energy
    )
    return np.interp(np.arange(len(time)), factors.first, found)


def test_line_source_holds_its_energy() -> None:
    """Carslaw and Jaeger 10.3 (from memory): the integral over the sheet is the energy."""
    age, energy = 0.3, 1.5

    def ring(radius: float) -> float:
        rise = line_source_rise(TUBE, energy=energy, distance=radius, time=age)
        return float(rise) * 2 * np.pi * radius * TUBE.sheet_thickness * TUBE.volumetric_heat

    held, _ = quad(ring, 0, 0.05, points=[2e-3])
    assert held == pytest.approx(energy, rel=1e-8)


def test_sum_round_the_tube_matches_fourier_series() -> None:
    """The images of a closed turn equal the theta-function series of a ring (exact identity)."""
    age, place = 1.7, 3.1e-3
    wave = 2 * np.pi * np.arange(1, 60) / TUBE.length
    series = 1 + 2 * np.sum(np.exp(-TUBE.diffusivity * wave**2 * age) * np.cos(wave * place))
    across = 1.2 / (
        TUBE.length
        * TUBE.sheet_thickness
        * TUBE.volumetric_heat
        * np.sqrt(4 * np.pi * TUBE.diffusivity * age)
    )
    rise = seam_rise(
        TUBE, energy=np.array([1.2]), source=np.array([0.0]), place=place, age=np.array([age])
    )
    assert rise[0] == pytest.approx(across * series, rel=1e-10)


def test_long_time_tends_to_the_mean_round_the_tube() -> None:
    energy, age = np.array([1.0, 1.0]), np.array([60.0, 61.0])
    local = seam_rise(TUBE, energy=energy, source=np.array([0.0, 5e-3]), place=10e-3, age=age)
    assert local[0] == pytest.approx(mean_rise(TUBE, energy=energy, age=age), rel=1e-9)


def test_short_seam_with_insulated_edges_is_a_bar_in_one_dimension() -> None:
    """Five pulses on a strip against the method of lines, a separate solver (scipy)."""
    length, across, cells = 4e-3, 9e-3, (40, 90)
    body = SeamBody(
        length=length,
        ends="edges",
        half_sheets=(0.4e-3, 0.4e-3),
        volumetric_heat=2.6e6,
        diffusivity=8e-6,
    )
    place = np.array([0.4e-3, 1.2e-3, 2.0e-3, 2.8e-3, 3.6e-3])
    time = 0.2 * np.arange(5)
    energy = np.full(5, 1.0)
    found = preheats(body, place, time, 1.0, 0.0)

    # cells centred on the sources: their heat starts in one column of cells on the seam
    step = (length / cells[0], across / cells[1])
    heat = np.zeros(cells)
    capacity = step[0] * step[1] * 2 * 0.4e-3 * 2.6e6 / 2 * 2  # both sides of the seam

    def spread(_: float, flat: np.ndarray) -> np.ndarray:
        field = flat.reshape(cells)
        padded = np.pad(field, 1, mode="edge")
        return (
            8e-6
            * (
                (padded[2:, 1:-1] - 2 * field + padded[:-2, 1:-1]) / step[0] ** 2
                + (padded[1:-1, 2:] - 2 * field + padded[1:-1, :-2]) / step[1] ** 2
            )
        ).ravel()

    seen = []
    for number in range(5):
        column = place[number] / step[0] - 0.5
        low = int(np.floor(column))
        if number:
            solved = solve_ivp(
                spread, (0, 0.2), heat.ravel(), method="RK45", rtol=1e-6, atol=1e-6, max_step=2e-4
            )
            heat = solved.y[:, -1].reshape(cells)
        share = column - low
        seen.append((1 - share) * heat[low, 0] + share * heat[low + 1, 0])
        heat[low, 0] += (1 - share) * energy[number] / capacity
        heat[low + 1, 0] += share * energy[number] / capacity
    assert found[0] == 0
    assert found[1:] == pytest.approx(seen[1:], rel=0.03)


def test_closed_tube_ends_hotter_and_a_long_sheet_levels_off() -> None:
    count = 252
    place = np.linspace(0, TUBE.length, count)
    time = 0.2 * np.arange(count)
    tube = preheats(TUBE, place, time, 1.0, 293.15)
    sheet = preheats(open_sheet(), place, time, 1.0, 293.15)
    assert tube[-1] > tube[count // 2] + 1
    assert sheet[-1] - sheet[count // 2] < 0.1 * (sheet[count // 2] - 293.15)


def test_symmetry_of_unequal_half_sheets() -> None:
    """Two half-sheets of one material act as their mean (see the module's text)."""
    unequal = SeamBody(
        length=0.02,
        ends="open",
        half_sheets=(0.3e-3, 0.5e-3),
        volumetric_heat=2.6e6,
        diffusivity=8e-6,
    )
    assert unequal.sheet_thickness == pytest.approx(0.4e-3)


@pytest.mark.parametrize("width", [0.02, 0.1, 0.119, 0.121, 0.3, 2.0])
@pytest.mark.parametrize("place", [0.0, 0.21, 0.5, 0.83, -3.3])
def test_ring_sum_matches_a_long_sum_of_images(width: float, place: float) -> None:
    turns = np.arange(-60, 61)
    exact = np.sum(np.exp(-((place + turns) ** 2) / width))
    made = ring_sum(distance=place * 0.03, spread=width * 0.03**2, length=0.03)
    assert float(made) == pytest.approx(exact, abs=2e-7 * np.sqrt(np.pi * width))


def test_ring_keeps_the_energy() -> None:
    """Round the ring and across it the rise holds the heat of the pulse, at any age."""
    for age in (0.05, 1.0, 30.0):
        along = np.linspace(0, TUBE.length, 4001)
        rise = seam_rise(
            TUBE, energy=np.array([2.0]), source=np.array([1e-3]), place=along, age=np.array([age])
        )
        # across the seam the rise falls as exp(-y2 / 4at): its integral is sqrt(4 pi a t)
        across = np.sqrt(4 * np.pi * TUBE.diffusivity * age)
        held = np.trapezoid(rise, along) * across * TUBE.sheet_thickness * TUBE.volumetric_heat
        assert held == pytest.approx(2.0, rel=1e-6)


def test_mean_is_the_average_along_the_seam() -> None:
    along = np.linspace(0, TUBE.length, 2001)[:-1]
    rise = seam_rise(
        TUBE, energy=np.array([1.0]), source=np.array([7e-3]), place=along, age=np.array([0.4])
    )
    assert rise.mean() == pytest.approx(float(unit_mean_rise(TUBE, age=0.4)), rel=1e-9)


def test_many_pulses_in_a_row_are_rosenthals_moving_source() -> None:
    """Thin sheet, q / (2 pi k h) exp(-v x / 2a) K0(v r / 2a), Rosenthal 1946 (from memory)."""
    body, speed, rate, energy = open_sheet(), 2e-3, 40.0, 0.1
    time = np.arange(int(25 * rate)) / rate
    behind = 3e-3
    now = float(time[-1]) + 0.5 / rate
    rise = seam_rise(
        body,
        energy=np.full(time.size, energy),
        source=speed * time,
        place=speed * now - behind,
        age=now - time,
    )
    conductivity = body.diffusivity * body.volumetric_heat
    reach = speed * behind / (2 * body.diffusivity)
    exact = (
        energy
        * rate
        / (2 * np.pi * conductivity * body.sheet_thickness)
        * np.exp(reach)
        * k0(reach)
    )
    assert rise[0] == pytest.approx(exact, rel=0.005)


def test_groups_of_pulses_find_what_single_pulses_find() -> None:
    count = 3 * MOST_GROUPS
    place, time = 1e-4 * np.arange(count), 0.02 * np.arange(count)
    factors = seam_factors(TUBE, one_train(place, time))
    assert factors.first.size <= MOST_GROUPS
    found = preheats(TUBE, place, time, 0.05, 0.0)
    for number in (3, 900, 1500, count - 3):
        at = int(factors.first[np.searchsorted(factors.first, number)])
        one_by_one = seam_rise(
            TUBE,
            energy=np.full(at, 0.05),
            source=place[:at],
            place=place[at],
            age=time[at] - time[:at],
        )
        assert found[at] == pytest.approx(one_by_one[0], rel=1e-6)


def test_pulses_of_another_run_are_not_felt() -> None:
    none = np.zeros(4, dtype=np.int64)
    train = PulseTrain(
        place=np.zeros(4), time=np.arange(4.0), run=np.array([0, 0, 1, 1]), stretch=none
    )
    factors = seam_factors(TUBE, train)
    assert factors.local[2, :2] == pytest.approx(0.0)
    assert factors.local[3, 2] == pytest.approx(factors.local[1, 0])


@pytest.mark.parametrize("name", ["length", "volumetric_heat", "diffusivity"])
def test_a_body_needs_a_size(name: str) -> None:
    values = {
        "length": 0.02,
        "ends": "open",
        "half_sheets": (4e-4,),
        "volumetric_heat": 2.6e6,
        "diffusivity": 8e-6,
    }
    with pytest.raises(InputError, match=name):
        SeamBody(**{**values, name: 0.0})
