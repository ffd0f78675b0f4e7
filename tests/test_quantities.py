"""One strict parser: what people type becomes SI, or a message that says what to type instead."""

from __future__ import annotations

import math
import re
import subprocess
import sys

import numpy as np
import pytest
from scipy import constants

from weldcalc.errors import InputError, Problems
from weldcalc.fields import FIELDS, SCALES, Field
from weldcalc.quantities import (
    convert_column,
    example,
    field,
    json_key,
    parse,
    parse_quantity,
    shortest_text,
    show,
    to_json,
    to_shown,
)

# factors from scipy.constants (CODATA and NIST SP 811), never from our own table
GOOD = [
    ("0.4 mm", "wall_thickness", 0.4 * constants.milli),
    ("0.4mm", "wall_thickness", 0.4 * constants.milli),
    ("  400 um ", "wall_thickness", 400 * constants.micro),
    ("400 µm", "wall_thickness", 400 * constants.micro),
    ("400 \u03bcm", "wall_thickness", 400 * constants.micro),
    ("0.4\u00a0mm", "wall_thickness", 0.4 * constants.milli),
    ("4e-4 m", "wall_thickness", 4e-4),
    (".4 mm", "wall_thickness", 0.4 * constants.milli),
    ("+0.4 mm", "wall_thickness", 0.4 * constants.milli),
    ("0.02 in", "wall_thickness", 0.02 * constants.inch),
    ("15 thou", "wall_thickness", 15 * constants.mil),
    ("1064 nm", "wavelength", 1064 * constants.nano),
    ("390 W", "peak_power", 390.0),
    ("0.39 kW", "peak_power", 390.0),
    ("1950 mJ", "pulse_energy", 1.95),
    ("5 ms", "pulse_duration", 5 * constants.milli),
    ("5000 us", "pulse_duration", 5 * constants.milli),
    ("5 Hz", "repetition_rate", 5.0),
    ("5 1/s", "repetition_rate", 5.0),
    ("300 1/min", "repetition_rate", 300 / constants.minute),
    ("0.5 mm/s", "travel_speed", 0.5 * constants.milli),
    ("30 mm / min", "travel_speed", 30 * constants.milli / constants.minute),
    ("1.2 in/min", "travel_speed", 1.2 * constants.inch / constants.minute),
    ("1.2 rpm", "rotation", 1.2 * 2 * constants.pi / constants.minute),
    ("7.2 deg/s", "rotation", 7.2 * constants.degree),
    ("15 deg", "closing_overlap", 15 * constants.degree),
    ("15°", "closing_overlap", 15 * constants.degree),
    ("\u22121 mm", "beam_offset", -1 * constants.milli),
    ("20 degC", "preheat", constants.zero_Celsius + 20),
    ("20 °C", "preheat", constants.zero_Celsius + 20),
    ("-10 degC", "preheat", constants.zero_Celsius - 10),
    ("293.15 K", "preheat", 293.15),
    ("800 degF", "remove_below", (800 + 459.67) / 1.8),
    ("50 K", "temperature_rise", 50.0),
    ("50 degC/s", "cooling_rate", 50.0),
    ("70 %", "goal.spot_overlap", 0.7),
    ("20 ppm", "oxygen_target", 20e-6),
    ("0.002 %", "oxygen_target", 20e-6),
    ("12 L/min", "flow", 12 * constants.liter / constants.minute),
    ("12 l/min", "flow", 12 * constants.liter / constants.minute),
    ("40 mL", "purge_volume", 40e-3 * constants.liter),
    ("40 cm3", "purge_volume", 40 * constants.centi**3),
    ("40 cm³", "purge_volume", 40 * constants.centi**3),
    ("40 cm^3", "purge_volume", 40 * constants.centi**3),
    ("45 min", "clean_to_weld", 45 * constants.minute),
    ("2 h", "clean_to_weld", 2 * constants.hour),
    (40, "beam_quality", 40.0),
    (2, "segments", 2),
]

USE_DOT = "use a decimal point"
PLAIN = "write one number and one unit"
QUOTES = "number and unit in quotes"
UNKNOWN = "unknown unit"
MISFIT = "does not fit here"
RANGE = "outside the plausible range"
FINITE = "must be a finite number"
BAD = [
    ("0,6 mm", "wall_thickness", USE_DOT),
    ("1,5 mm", "wall_thickness", "1.5 mm"),
    (",5 mm", "wall_thickness", "0.5 mm"),
    ("0,4", "wall_thickness", "0.4 mm"),
    ("1,000 W", "peak_power", 'write "1000 W" or "1.000 W"'),
    ("1,000,000 W", "peak_power", PLAIN),
    ("1.000,5 W", "peak_power", PLAIN),
    ("1 000 W", "peak_power", PLAIN),
    ("1_000 W", "peak_power", UNKNOWN),
    ("390", "peak_power", 'the unit is missing; write for example "390 W"'),
    (390, "peak_power", '"390 W"'),
    (0.4, "wall_thickness", '"0.4 mm"'),
    (True, "peak_power", QUOTES),
    (None, "peak_power", QUOTES),
    (["390 W"], "peak_power", QUOTES),
    ({"value": 390}, "peak_power", QUOTES),
    (math.nan, "gap", QUOTES),
    (math.inf, "gap", QUOTES),
    ("nan mm", "gap", FINITE),
    ("NaN", "gap", FINITE),
    ("inf mm", "gap", FINITE),
    ("-Infinity mm", "gap", FINITE),
    ("", "gap", PLAIN),
    ("   ", "gap", PLAIN),
    ("mm", "gap", PLAIN),
    ("mm 0.4", "gap", PLAIN),
    ("about 0.4 mm", "gap", PLAIN),
    ("0.4-0.5 mm", "gap", PLAIN),
    ("0.4 ± 0.1 mm", "gap", PLAIN),
    ("1/2 mm", "gap", PLAIN),
    ("0.4 * 2 mm", "gap", PLAIN),
    ("0.4 mm 0.5 mm", "gap", UNKNOWN),
    ("0.4 mm;", "gap", UNKNOWN),
    ("0..4 mm", "gap", PLAIN),
    ("0x10 mm", "gap", UNKNOWN),
    ("1e999 mm", "gap", RANGE),
    ("-1e999 mm", "gap", RANGE),
    ("1e999999999 mm", "gap", PLAIN),
    ("0." + "1" * 200 + " mm", "gap", PLAIN),
    ("\u0661 mm", "gap", PLAIN),  # an Arabic-Indic one is a digit to Python, not to us
    ("3 J/", "pulse_energy", UNKNOWN),
    ("3 /J", "pulse_energy", PLAIN),
    ("3 J**", "pulse_energy", UNKNOWN),
    ("3 m**9**9**9", "gap", UNKNOWN),
    ("3 (mm)", "gap", UNKNOWN),
    ("3 foo", "gap", UNKNOWN),
    ("3 kw", "peak_power", "did you mean kW?"),
    ("3 hz", "repetition_rate", "did you mean Hz?"),
    ("3 MM", "gap", "did you mean mm?"),
    ("3 J", "peak_power", MISFIT),
    ("3 mm2", "gap", MISFIT),
    ("3 mm mm", "gap", MISFIT),
    ("20 C", "preheat", "written degC"),
    ("50 degC", "temperature_rise", MISFIT),
    ("5 Hz", "rotation", MISFIT),
    ("5 1/s", "rotation", MISFIT),
    ("1.2 rpm", "repetition_rate", MISFIT),
    ("5 Bq", "repetition_rate", MISFIT),
    ("45 %", "beam_angle", MISFIT),
    ("1 rad", "goal.spot_overlap", MISFIT),
    ("0.7 mm/mm", "goal.spot_overlap", MISFIT),
    ("0.7", "goal.spot_overlap", 'for example "70 %" or "0.7 %"'),
    (0.7, "goal.spot_overlap", 'for example "70 %" or "0.7 %"'),
    ("0.015", "scatter.power", 'for example "1.5 %" or "0.015 %"'),
    ("0.8", "goal.penetration", 'for example "80 %"'),  # 0.8 % would be refused again
    ("1", "goal.spot_overlap", 'for example "1 %"'),
    ("70", "goal.spot_overlap", 'for example "70 %"'),
    ("390 mW", "peak_power", 'did you mean "390 W"?'),
    ("390 MW", "peak_power", 'did you mean "390 W"?'),
    ("2 MJ", "pulse_energy", 'did you mean "2 J"?'),
    ("5 Ms", "pulse_duration", 'did you mean "5 ms"?'),
    ("5 s", "pulse_duration", 'did you mean "5 ms"?'),
    ("400 mm", "wall_thickness", 'did you mean "400 um"?'),
    ("0 W", "peak_power", RANGE),
    ("-390 W", "peak_power", RANGE),
    ("120 %", "goal.penetration", RANGE),
    ("-300 degC", "preheat", RANGE),
    ("40", "beam_quality", "plain number"),
    (0.5, "beam_quality", RANGE),
    (math.nan, "beam_quality", RANGE),
    (True, "beam_quality", "plain number"),
    (1.5, "segments", "whole number"),
    (0, "segments", RANGE),
    ("2", "segments", "whole number"),
]


@pytest.mark.parametrize(("text", "key", "expected"), GOOD, ids=[str(row[0]) for row in GOOD])
def test_what_people_type_becomes_si(text: object, key: str, expected: float) -> None:
    assert parse_quantity(text, key) == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(("text", "key", "words"), BAD, ids=[repr(row[0])[:24] for row in BAD])
def test_bad_values_are_refused_with_a_remedy(text: object, key: str, words: str) -> None:
    problems = Problems()
    assert parse(text, key, where="here", problems=problems) is None
    (problem,) = problems.found
    assert problem.where == "here"
    assert words in problem.why
    with pytest.raises(InputError) as caught:
        parse_quantity(text, key)
    assert caught.value.problems[0].where == key


def test_message_of_a_decimal_comma_word_for_word() -> None:
    problems = Problems()
    parse("5,0 ms", "pulse_duration", where="pass[0].pulse_duration", problems=problems)
    expected = 'pass[0].pulse_duration = "5,0 ms": use a decimal point, for example "5.0 ms"'
    assert str(problems.found[0]) == expected


@pytest.mark.parametrize(
    "texts",
    [
        ("0.4 mm", "400 um", "0.0004 m", "0.04 cm", "4e5 nm"),
        ("0.02 in", "0.508 mm", "508 um"),
    ],
)
def test_unit_makes_no_difference_not_even_in_the_last_digit(texts: tuple[str, ...]) -> None:
    assert len({parse_quantity(text, "wall_thickness") for text in texts}) == 1


def test_both_ends_of_a_range_are_allowed() -> None:
    made = field("wall_thickness")
    assert parse_quantity("0.02 mm", "wall_thickness") == pytest.approx(made.low)
    assert parse_quantity("10 mm", "wall_thickness") == pytest.approx(made.high)
    with pytest.raises(InputError, match="outside"):
        parse_quantity("10.001 mm", "wall_thickness")


def test_scales_agree_with_another_library() -> None:
    degree, minute = constants.degree, constants.minute
    expected = {
        "mm": constants.milli, "um": constants.micro, "nm": constants.nano, "ms": constants.milli,
        "min": minute, "mm/s": constants.milli, "J/mm": 1 / constants.milli,
        "W/mm2": constants.milli**-2, "mm2": constants.milli**2, "deg": degree,
        "rpm": 360 * degree / minute, "%": 0.01,
        "ppm": constants.micro, "L": constants.liter, "mL": constants.milli * constants.liter,
        "L/min": constants.liter / minute, "degC": 1.0, "MPa": constants.mega,
    }  # fmt: skip
    for unit, factor in expected.items():
        assert 1 / SCALES[unit].per_si == pytest.approx(factor, rel=1e-14), unit
    assert SCALES["degC"].offset == -constants.zero_Celsius
    plain = {unit for unit, scale in SCALES.items() if scale.per_si == 1 and not scale.offset}
    assert all(SCALES[unit].si_unit == unit for unit in plain)
    assert set(SCALES) == set(expected) | plain


@pytest.mark.parametrize("made", FIELDS.values(), ids=list(FIELDS))
def test_every_field_is_complete_and_its_shown_unit_reads_back(made: Field) -> None:
    assert made.meaning[0].isupper()
    assert made.meaning.endswith(".")
    assert made.group
    assert "  " not in made.meaning
    assert made.low < made.high
    if made.kind == "quantity":
        middle = made.low + (made.high - made.low) / 3
        text = shortest_text(middle, made.key)
        assert text.endswith(made.shown_unit)
        assert parse_quantity(text, made.key) == middle
        parse_quantity(example(made).strip('"'), made.key)


def test_fields_fall_back_from_table_to_leaf_but_not_where_the_meaning_differs() -> None:
    assert field("pass.peak_power") is FIELDS["peak_power"]
    assert field("goal.penetration").si_unit == "1"
    assert field("penetration").si_unit == "m"
    with pytest.raises(InputError, match="did you mean peak_power"):
        field("peak_powr")
    with pytest.raises(InputError, match="unknown"):
        field("zzzz")


def test_json_keys_carry_the_unit_and_fractions_stay_bare() -> None:
    # the list that programs reading the results rely on
    listed = """
        name pulse_energy_J peak_power_W pulse_duration_ms repetition_rate_Hz duty_cycle
        average_power_W mean_irradiance_W_mm2 spot_diameter_mm travel_speed_mm_s rotation_rpm
        pulse_pitch_mm spot_overlap spot_overlap_with_travel melt_overlap root_overlap pulses
        weld_time_s heat_input_J_mm penetration_mm penetration_fraction penetration_interval_mm
        fusion_width_mm root_width_mm haz_width_mm mode absorptance peak_part_temperature_degC
        findings
        """
    made = {json_key(key).removeprefix("pass_") for key in FIELDS}
    assert set(re.findall(r"\S+", listed)) <= made
    assert json_key("penetration") == "penetration_mm"
    assert json_key("goal.penetration") == "goal_penetration"


def test_json_values_match_their_keys() -> None:
    assert to_json(0.7, "spot_overlap") == 0.7
    assert to_json(4e-4, "penetration") == pytest.approx(0.4)
    assert to_json(523.15, "peak_part_temperature") == pytest.approx(250)
    assert to_json(None, "root_width") is None
    assert to_shown(0.7, "spot_overlap") == pytest.approx(70)


@pytest.mark.parametrize(
    ("value", "key", "text"),
    [
        (4e-4, "wall_thickness", "0.400 mm"),
        (390.0, "peak_power", "390 W"),
        (5e-3, "pulse_duration", "5.00 ms"),
        (1.064e-6, "wavelength", "1064 nm"),
        (523.15, "goal.part_temperature", "250 °C"),
        (3.1e9, "mean_irradiance", "3100 W/mm²"),
        (0.7, "goal.spot_overlap", "70.0 %"),
        (0.0, "gap", "0 mm"),
        (-5e-5, "beam_offset", "-0.0500 mm"),
        (2e-9, "gap", "2.00e-06 mm"),
        (262, "pulses", "262"),
        (40.0, "beam_quality", "40.0"),
        (None, "gap", "not given"),
        (math.nan, "gap", "not finite mm"),
        ((3e-4, 4.2e-4), "penetration_interval", "0.300 to 0.420 mm"),
    ],
)
def test_shown_digits_are_sensible(value: float | None, key: str, text: str) -> None:
    assert show(value, key) == text


def test_columns_are_converted_and_empty_cells_kept() -> None:
    column = convert_column([400, math.nan, 250], "um", "penetration")
    assert column[[0, 2]] == pytest.approx([4e-4, 2.5e-4])
    assert math.isnan(column[1])
    assert convert_column([20.0], "°C", "preheat") == pytest.approx([293.15])
    assert convert_column([3], "", "segments").dtype == np.float64


@pytest.mark.parametrize(
    ("unit", "key", "words"),
    [("", "gap", UNKNOWN), ("J", "gap", MISFIT), ("mm,", "gap", UNKNOWN), ("mm", "segments", "no")],
)
def test_column_units_that_do_not_fit_are_refused(unit: str, key: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        convert_column([1.0], unit, key, where="gap")


def test_every_bad_row_of_a_column_is_named() -> None:
    with pytest.raises(InputError) as caught:
        convert_column([0.1, 99, math.inf], "mm", "gap", where="gap [mm]")
    assert [problem.where for problem in caught.value.problems] == [
        "gap [mm], row 2",
        "gap [mm], row 3",
    ]


@pytest.mark.parametrize("value", [math.nan, math.inf, -1.0, 1e9])
def test_values_without_a_plausible_text_are_not_written(value: float) -> None:
    with pytest.raises(InputError, match="outside"):
        shortest_text(value, "wall_thickness")


def test_the_unit_library_is_loaded_only_when_a_unit_is_read() -> None:
    code = (
        "import sys, weldcalc.quantities as q; q.show(1e-3, 'gap'); assert 'pint' not in "
        "sys.modules; q.parse_quantity('1 mm', 'gap'); assert 'pint' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
