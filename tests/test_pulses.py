"""Energy, power and overlap of pulses: limits, inverses, units, and arrays like scalars."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from weldcalc import pulses
from weldcalc.errors import InputError
from weldcalc.pulses import PulseShape
from weldcalc.quantities import parse_quantity

TAIL = [[0, 1], [0.6, 1], [1, 0.3]]
STEP = [[0, 1], [0.5, 1], [0.5, 0.4], [1, 0.4]]


def test_square_pulse_holds_peak_power_times_duration() -> None:
    made = pulses.energy(peak_power=390.0, pulse_duration=5e-3)
    assert made == pytest.approx(1.95, rel=1e-15)


def test_energy_of_a_shape_is_the_area_under_it() -> None:
    # by hand: 0.6 + 0.4 * (1 + 0.3) / 2 = 0.86
    assert PulseShape.of(TAIL).mean_level == pytest.approx(0.86, rel=1e-14)
    made = pulses.energy(peak_power=390.0, pulse_duration=5e-3, pulse_shape=TAIL)
    assert made == pytest.approx(1.95 * 0.86, rel=1e-14)


@pytest.mark.parametrize("corners", [TAIL, STEP, [[0, 0], [0.2, 1], [1, 0]]])
def test_level_and_mean_level_agree_by_numerical_integration(corners: list[list[float]]) -> None:
    shape = PulseShape.of(corners)
    area, _ = quad(lambda t: float(shape.level(t)), 0, 1, points=[t for t, _ in corners[1:-1]])
    assert area == pytest.approx(shape.mean_level, rel=1e-9)


def test_level_is_zero_outside_the_pulse_and_takes_the_value_after_a_step() -> None:
    shape = PulseShape.of(STEP)
    assert shape.level(np.array([-0.1, 0.0, 0.49, 0.5, 1.0, 1.1])) == pytest.approx(
        [0, 1, 1, 0.4, 0.4, 0]
    )


def test_a_shape_that_is_one_already_is_taken_as_it_is() -> None:
    assert PulseShape.of(PulseShape.of(TAIL)) == PulseShape.of(TAIL)


@pytest.mark.parametrize(
    ("corners", "words"),
    [
        ("round", "square"),
        (5, "corners"),
        ([0, 1], "corners"),
        ([[0, 1, 2], [1, 1, 1]], "corners"),
        ([["0", 1], [1, 1]], "corners"),
        ([[0, True], [1, 1]], "corners"),
        ([], "two corners"),
        ([[0, 1]], "two corners"),
        ([[0.1, 1], [1, 1]], "at time 0"),
        ([[0, 1], [0.9, 1]], "at time 1"),
        ([[0, 1], [0.6, 1], [0.5, 1], [1, 1]], "run back"),
        ([[0, 1], [1, 2]], "0 to 1"),
        ([[0, 1], [1, -0.1]], "0 to 1"),
        ([[0, 1], [1, math.nan]], "0 to 1"),
        ([[0, 0.5], [1, 0.9]], "highest power"),
        ([[0, 1], [0, 0], [1, 0]], "no energy"),
    ],
)
def test_shapes_that_cannot_be_are_refused(corners: Any, words: str) -> None:
    with pytest.raises(InputError, match=words):
        PulseShape.of(corners)


@pytest.mark.parametrize("shape", ["square", TAIL])
def test_peak_power_is_the_inverse_of_energy(shape: Any) -> None:
    energy = pulses.energy(peak_power=480.0, pulse_duration=6e-3, pulse_shape=shape)
    back = pulses.peak_power_from_energy(
        pulse_energy=energy, pulse_duration=6e-3, pulse_shape=shape
    )
    assert back == pytest.approx(480, rel=1e-14)


def test_average_power_is_peak_power_times_duty_cycle() -> None:
    # Havrilla, Process Fundamentals of Industrial Laser Welding and Cutting, p. 81
    energy = pulses.energy(peak_power=480.0, pulse_duration=6e-3)
    duty = pulses.duty_cycle(pulse_duration=6e-3, repetition_rate=5.0)
    average = pulses.average_power(pulse_energy=energy, repetition_rate=5.0)
    assert average == pytest.approx(480 * duty, rel=1e-14)


def test_heat_input_is_average_power_over_speed() -> None:
    pitch = pulses.pitch(travel_speed=5e-4, repetition_rate=5.0)
    assert pitch == pytest.approx(1e-4, rel=1e-14)
    assert pulses.heat_input(pulse_energy=2.0, pitch=pitch) == pytest.approx(10.0 / 5e-4)


def test_published_rates_with_and_without_travel_differ_by_a_tenth() -> None:
    # Havrilla, p. 81 and example 4.10.8C: 333 Hz without, 300 Hz with travel, at 100 mm/s, 1.5 mm,
    # 80 % and a duty cycle of 0.5; quoted to whole hertz
    same = {"overlap": 0.8, "travel_speed": 0.1, "spot_diameter": 1.5e-3}
    assert pulses.repetition_for_overlap(**same) == pytest.approx(333, abs=0.5)
    with_travel = pulses.repetition_for_overlap_at_duty(**same, duty_cycle=0.5)
    assert with_travel == pytest.approx(300, abs=0.5)
    fixed = pulses.repetition_for_overlap_with_travel(**same, pulse_duration=0.5 / with_travel)
    assert fixed == pytest.approx(with_travel, rel=1e-12)


def test_overlap_falls_with_speed_and_rises_with_rate_and_spot() -> None:
    rising, one = np.linspace(0.2, 2, 7) * 1e-3, np.ones(7)
    cases: list[tuple[Callable[..., Any], dict[str, Any]]] = [
        (pulses.spot_overlap, {}),
        (pulses.spot_overlap_with_travel, {"pulse_duration": 5e-3 * one}),
    ]
    for overlap, more in cases:
        fixed = {"repetition_rate": 10.0 * one, "spot_diameter": 5e-4 * one, **more}
        assert np.all(np.diff(overlap(travel_speed=rising, **fixed)) < 0)
        fixed["travel_speed"] = 1e-3 * one
        assert np.all(np.diff(overlap(**(fixed | {"repetition_rate": rising * 1e4}))) > 0)
        assert np.all(np.diff(overlap(**(fixed | {"spot_diameter": rising}))) > 0)


def test_the_two_overlaps_meet_for_short_pulses_and_part_for_long_ones() -> None:
    same = {"travel_speed": 1e-3, "repetition_rate": 10.0, "spot_diameter": 5e-4}
    plain = pulses.spot_overlap(**same)
    assert pulses.spot_overlap_with_travel(**same, pulse_duration=1e-12) == pytest.approx(plain)
    # with the laser always on, every point between two spots is hit: 1 - p / (d + p)
    whole = pulses.spot_overlap_with_travel(**same, pulse_duration=0.1)
    assert whole == pytest.approx(1 - 0.1 / 0.6, rel=1e-12)
    assert whole > plain


def test_spots_side_by_side_do_not_overlap_and_beyond_that_it_is_negative() -> None:
    assert pulses.overlap_of_width(width=5e-4, pitch=5e-4) == 0
    assert pulses.overlap_of_width(width=5e-4, pitch=6e-4) < 0
    assert pulses.overlap_of_width(width=5e-4, pitch=0.0) == 1
    assert pulses.overlap_of_width(width=5e-4, pitch=1e-4) == pytest.approx(
        pulses.spot_overlap(travel_speed=1e-3, repetition_rate=10.0, spot_diameter=5e-4)
    )


def test_speed_and_rate_for_an_overlap_are_inverses() -> None:
    same = {"overlap": 0.72, "spot_diameter": 4e-4}
    speed = pulses.speed_for_overlap(**same, repetition_rate=8.0)
    assert pulses.repetition_for_overlap(**same, travel_speed=speed) == pytest.approx(8)
    speed = pulses.speed_for_overlap_with_travel(**same, repetition_rate=8.0, pulse_duration=6e-3)
    back = pulses.spot_overlap_with_travel(
        travel_speed=speed, repetition_rate=8.0, spot_diameter=4e-4, pulse_duration=6e-3
    )
    assert back == pytest.approx(0.72, rel=1e-12)


def test_units_typed_make_no_difference() -> None:
    metric = pulses.spot_overlap(
        travel_speed=parse_quantity("12.7 mm/s", "travel_speed"),
        repetition_rate=parse_quantity("50 Hz", "repetition_rate"),
        spot_diameter=parse_quantity("0.508 mm", "spot_diameter"),
    )
    inch = pulses.spot_overlap(
        travel_speed=parse_quantity("30 in/min", "travel_speed"),
        repetition_rate=parse_quantity("3000 1/min", "repetition_rate"),
        spot_diameter=parse_quantity("0.02 in", "spot_diameter"),
    )
    assert metric == inch == pytest.approx(0.5, rel=1e-12)
    watts = pulses.energy(
        peak_power=parse_quantity("480 W", "peak_power"),
        pulse_duration=parse_quantity("6 ms", "pulse_duration"),
    )
    kilowatts = pulses.energy(
        peak_power=parse_quantity("0.48 kW", "peak_power"),
        pulse_duration=parse_quantity("6000 us", "pulse_duration"),
    )
    assert watts == kilowatts


VALUES = {
    "overlap": 0.7,
    "travel_speed": 1e-3,
    "repetition_rate": 10.0,
    "spot_diameter": 5e-4,
    "pulse_duration": 5e-3,
    "pulse_energy": 2.0,
    "peak_power": 400.0,
    "duty_cycle": 0.05,
    "pitch": 1e-4,
    "width": 4e-4,
}


@pytest.mark.parametrize(
    ("kernel", "names"),
    [
        (pulses.energy, "peak_power pulse_duration"),
        (pulses.peak_power_from_energy, "pulse_energy pulse_duration"),
        (pulses.duty_cycle, "pulse_duration repetition_rate"),
        (pulses.average_power, "pulse_energy repetition_rate"),
        (pulses.heat_input, "pulse_energy pitch"),
        (pulses.pitch, "travel_speed repetition_rate"),
        (pulses.overlap_of_width, "width pitch"),
        (pulses.spot_overlap, "travel_speed repetition_rate spot_diameter"),
        (
            pulses.spot_overlap_with_travel,
            "travel_speed repetition_rate spot_diameter pulse_duration",
        ),
        (pulses.repetition_for_overlap, "overlap travel_speed spot_diameter"),
        (
            pulses.repetition_for_overlap_with_travel,
            "overlap travel_speed spot_diameter pulse_duration",
        ),
        (
            pulses.repetition_for_overlap_at_duty,
            "overlap travel_speed spot_diameter duty_cycle",
        ),
        (pulses.speed_for_overlap, "overlap repetition_rate spot_diameter"),
        (
            pulses.speed_for_overlap_with_travel,
            "overlap repetition_rate spot_diameter pulse_duration",
        ),
    ],
)
def test_an_array_gives_what_its_scalars_give(kernel: Callable[..., Any], names: str) -> None:
    factors = np.array([0.5, 1.0, 1.3])
    arrays = {name: VALUES[name] * factors for name in names.split()}
    together = kernel(**arrays)
    one_by_one = [kernel(**{k: float(v[i]) for k, v in arrays.items()}) for i in range(3)]
    assert isinstance(one_by_one[0], float)
    assert together.tolist() == one_by_one
