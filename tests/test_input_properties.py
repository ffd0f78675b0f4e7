"""What must hold for any input at all: nothing crashes, nothing is lost, inverses undo."""

from __future__ import annotations

import math
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import Any

from any_schedule import schedules_as_typed
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from schedules import tube

from weldcalc import beam, joint, pulses
from weldcalc.errors import InputError, Problems
from weldcalc.fields import FIELDS, Field
from weldcalc.quantities import parse, parse_quantity, shortest_text, show
from weldcalc.schedule import Schedule, load_schedule, schedule_from_mapping
from weldcalc.schedules.table import TABLES, keys_of
from weldcalc.schedules.toml_file import read_toml_file

# loading the unit library falls into the first example, so no time limit for single ones
unhurried = settings(deadline=None, max_examples=60)

QUANTITIES = [made for made in FIELDS.values() if made.kind == "quantity"]
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner),
    max_leaves=6,
)


def _inside(made: Field) -> st.SearchStrategy[float]:
    return st.floats(made.low, made.high, allow_nan=False)


@st.composite
def field_and_value(draw: st.DrawFn) -> tuple[Field, float]:
    made = draw(st.sampled_from(QUANTITIES))
    return made, draw(_inside(made))


@unhurried
@given(field_and_value())
def test_any_value_is_written_so_that_it_reads_back_exactly(drawn: tuple[Field, float]) -> None:
    made, value = drawn
    assert parse_quantity(shortest_text(value, made.key), made.key) == value


@unhurried
@given(field_and_value())
def test_any_value_is_shown_with_three_digits_or_more(drawn: tuple[Field, float]) -> None:
    made, value = drawn
    number = float(show(value, made.key).split()[0])
    shown = value * made.scale.per_si + made.scale.offset
    assert number == 0 or math.isclose(number, shown, rel_tol=5.1e-3)


@unhurried
@given(ANYTHING | st.from_regex(r"[-+0-9.,eE]{1,8} ?[A-Za-zµ°%/^*0-9 ]{0,8}", fullmatch=True))
def test_nothing_typed_can_crash_the_parser(typed: object) -> None:
    for key in ("peak_power", "preheat", "rotation", "purity", "segments", "beam_quality"):
        problems = Problems()
        value = parse(typed, key, where="here", problems=problems)
        assert (value is None) == (len(problems.found) == 1)
        if value is not None:
            assert FIELDS[key].low * 0.999 - 1e-9 <= value <= FIELDS[key].high * 1.001


def _made_or_refused(typed: dict[str, Any]) -> Schedule | None:
    with suppress(InputError):
        return schedule_from_mapping(typed)
    return None


@unhurried
@given(st.dictionaries(st.sampled_from(["title", "joint", "laser", "pass", "x"]), ANYTHING))
def test_no_tables_at_all_can_crash_the_reader(tables: dict[str, Any]) -> None:
    for typed in (tables, {**tube(), **tables}):
        made = _made_or_refused(typed)
        assert made is None or made.title == typed["title"].strip()


@unhurried
@given(st.sampled_from(TABLES), st.data())
def test_no_value_at_all_of_a_key_can_crash_the_reader(table: str, data: st.DataObject) -> None:
    key = data.draw(st.sampled_from(keys_of(table)))
    typed, value = tube(), data.draw(ANYTHING)
    place = typed["pass"][0] if table == "pass" else typed.setdefault(table, {})
    place[key] = value
    made = _made_or_refused(typed)
    assert made is None or schedule_from_mapping(made.typed) == made


@unhurried
@given(st.binary(max_size=60))
def test_no_file_at_all_can_crash_the_reader(content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.toml"
        path.write_bytes(content)
        with suppress(InputError):
            assert read_toml_file(path)[0] == content


@unhurried
@given(schedules_as_typed())
def test_any_schedule_is_written_and_read_back_equal(typed: dict[str, Any]) -> None:
    made = schedule_from_mapping(typed)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.toml"
        path.write_text(made.to_toml(notes=["any"]), encoding="utf-8")
        assert load_schedule(path) == made


@unhurried
@given(schedules_as_typed(), st.data())
def test_any_change_keeps_power_and_energy_in_step(
    typed: dict[str, Any], data: st.DataObject
) -> None:
    made = schedule_from_mapping(typed)
    energy = data.draw(st.floats(0.1, 50))
    (changed, *_) = made.with_pass(0, pulse_energy=energy).passes
    assert changed.pulse_energy == energy
    again = pulses.energy(
        peak_power=changed.peak_power,
        pulse_duration=changed.pulse_duration,
        pulse_shape=changed.pulse_shape,
    )
    assert math.isclose(again, energy, rel_tol=1e-12)


SPEED, RATE = st.floats(1e-5, 0.2), st.floats(0.5, 500)
SPOT, DURATION = st.floats(2e-5, 2e-3), st.floats(5e-5, 0.05)


@unhurried
@given(SPEED, SPOT, st.floats(0.05, 0.98), DURATION)
def test_rate_for_an_overlap_gives_that_overlap(
    speed: float, spot: float, overlap: float, duration: float
) -> None:
    same = {"travel_speed": speed, "spot_diameter": spot}
    rate = pulses.repetition_for_overlap(**same, overlap=overlap)
    assert math.isclose(pulses.spot_overlap(**same, repetition_rate=rate), overlap, abs_tol=1e-12)
    rate = pulses.repetition_for_overlap_with_travel(
        **same, overlap=overlap, pulse_duration=duration
    )
    back = pulses.spot_overlap_with_travel(**same, repetition_rate=rate, pulse_duration=duration)
    assert math.isclose(back, overlap, abs_tol=1e-12)
    at_duty = pulses.repetition_for_overlap_at_duty(
        **same, overlap=overlap, duty_cycle=rate * duration
    )
    assert math.isclose(at_duty, rate, rel_tol=1e-9)


@unhurried
@given(SPEED, RATE, SPOT, DURATION)
def test_travel_during_the_pulse_never_lowers_the_overlap(
    speed: float, rate: float, spot: float, duration: float
) -> None:
    same = {"travel_speed": speed, "repetition_rate": rate, "spot_diameter": spot}
    plain = pulses.spot_overlap(**same)
    drawn_out = pulses.spot_overlap_with_travel(**same, pulse_duration=duration)
    assert drawn_out >= plain - 1e-12 * abs(plain)


@unhurried
@given(SPEED, st.floats(3e-4, 0.5))
def test_speed_and_rotation_undo_each_other(speed: float, outside: float) -> None:
    turning = joint.rotation(travel_speed=speed, outside_diameter=outside)
    back = joint.travel_speed(rotation=turning, outside_diameter=outside)
    assert math.isclose(back, speed, rel_tol=1e-14)


@unhurried
@given(st.floats(1e-4, 10), SPEED, RATE)
def test_pulses_cover_the_length_and_none_is_to_spare(
    length: float, speed: float, rate: float
) -> None:
    assume(length / speed * rate < 1e9)
    count = joint.pulses_along(length=length, travel_speed=speed, repetition_rate=rate)
    pitch = pulses.pitch(travel_speed=speed, repetition_rate=rate)
    assert count * pitch >= length * (1 - 1e-9)
    assert (count - 1) * pitch < length or count == 1


@unhurried
@given(SPOT, st.floats(1, 200), st.floats(3e-7, 1.1e-5), st.floats(0.001, 5))
def test_focus_tolerance_undoes_defocus(
    spot: float, quality: float, wavelength: float, growth: float
) -> None:
    reach = beam.rayleigh_length(spot_diameter=spot, beam_quality=quality, wavelength=wavelength)
    offset = beam.focus_tolerance(rayleigh_length=reach, growth=growth)
    grown = beam.defocused_diameter(
        waist_diameter=spot, focus_offset=-offset, rayleigh_length=reach
    )
    assert math.isclose(grown, spot * (1 + growth), rel_tol=1e-12)
