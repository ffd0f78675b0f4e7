"""Oxygen of a room against published formulas, an independent integration and mass balance."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from weldcalc import safety
from weldcalc.errors import InputError
from weldcalc.hazards.room_air import air_oxygen, oxygen_limit


def test_flow_of_the_published_room_balance() -> None:
    # n = N V (1 - Cf / 0.21), N = 6 per hour, V = 50 m3, Cf = 0.195 -> 21.43 m3/h; 0.01
    room = {"room_volume": 50.0, "air_changes": 6 / 3600, "fresh_oxygen": 0.21}
    flow = safety.flow_to_limit(**room).value
    assert flow * 3600 == pytest.approx(21.43, abs=0.01)
    assert safety.room_oxygen(**room, gas_flow=flow).steady == pytest.approx(0.195)


def test_release_of_the_published_formula() -> None:
    # University of Nottingham cryogenic guidance: 6.92 % of the room brings it to 19.5 %; 0.01 %
    room = safety.smallest_room(gas_volume=1.0).value
    assert 100 / room == pytest.approx(6.92, abs=0.01)
    assert safety.instant_release(room_volume=room, gas_volume=1.0).value == pytest.approx(0.195)


@given(
    flow=st.floats(1e-5, 0.1),
    volume=st.floats(5.0, 500.0),
    changes=st.sampled_from([0.0, 1e-4, 6 / 3600]),
    time=st.floats(0.0, 1e5),
)
def test_room_never_falls_below_its_mass_balance(
    flow: float, volume: float, changes: float, time: float
) -> None:
    room = safety.room_oxygen(gas_flow=flow, room_volume=volume, air_changes=changes, time=time)
    assert room.after is not None
    # the gas cannot push out more oxygen than its own volume of fresh air held
    assert room.after >= air_oxygen() * (1 - flow * time / volume) - 1e-12
    assert room.steady - 1e-12 <= room.after <= air_oxygen() + 1e-12


@pytest.mark.parametrize("changes", [0.0, 2 / 3600, 60 / 3600])
def test_time_course_solves_the_balance(changes: float) -> None:
    # the same balance integrated by SciPy; 40 m3, 12 L/s of gas, twenty minutes
    flow, volume, time = 0.012, 40.0, 1200.0
    out = max(flow, changes * volume)

    def rate(_: float, oxygen: list[float]) -> list[float]:
        return [((out - flow) * air_oxygen() - out * oxygen[0]) / volume]

    expected = solve_ivp(rate, (0, time), [0.15], rtol=1e-10, atol=1e-12).y[0, -1]
    found = safety.room_oxygen(
        gas_flow=flow, room_volume=volume, air_changes=changes, time=time, initial=0.15
    )
    assert found.after == pytest.approx(expected, rel=1e-7)


def test_time_to_the_line_and_its_warning() -> None:
    room = {"gas_flow": 20e-3 / 60, "room_volume": 12.0, "air_changes": 0.0}
    found = safety.room_oxygen(**room)
    assert found.time_to_limit is not None
    at_line = safety.room_oxygen(**room, time=found.time_to_limit)
    assert at_line.after == pytest.approx(oxygen_limit())
    assert [finding.weight for finding in found.findings] == ["stop"]
    assert found.findings[0].remedy
    aired = safety.room_oxygen(**{**room, "air_changes": 10 / 3600})
    assert (aired.time_to_limit, aired.findings) == (None, ())
    already = safety.room_oxygen(**room, initial=0.19)
    assert already.time_to_limit == 0.0
    aired = safety.room_oxygen(**{**room, "gas_flow": 0.0, "air_changes": 6 / 3600}, initial=0.18)
    assert "is below 19.5 % from the start, at 20.9 % in the end" in aired.findings[0].text


def test_more_gas_than_extract_ends_without_oxygen_and_no_gas_changes_nothing() -> None:
    room = {"room_volume": 30.0, "air_changes": 1 / 3600}
    assert safety.room_oxygen(**room, gas_flow=0.02).steady == 0.0
    still = safety.room_oxygen(gas_flow=0.0, room_volume=30.0, air_changes=0.0, initial=0.2)
    assert still.steady == 0.2


@pytest.mark.parametrize(
    "call",
    [
        lambda: safety.room_oxygen(gas_flow=-1.0, room_volume=1.0, air_changes=0.0),
        lambda: safety.room_oxygen(gas_flow=1.0, room_volume=0.0, air_changes=0.0),
        lambda: safety.room_oxygen(gas_flow=1.0, room_volume=1.0, air_changes=0.0, time=-1.0),
        lambda: safety.room_oxygen(gas_flow=1.0, room_volume=1.0, air_changes=0.0, initial=1.5),
        lambda: safety.flow_to_limit(room_volume=1.0, air_changes=math.nan),
        lambda: safety.instant_release(room_volume=1.0, gas_volume=2.0),
        lambda: safety.smallest_room(gas_volume=-1.0),
    ],
)
def test_impossible_rooms_are_refused(call: Callable[[], object]) -> None:
    with pytest.raises(InputError):
        call()
