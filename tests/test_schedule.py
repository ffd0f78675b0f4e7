"""Schedules: defaults and derived values, every mistake at once, and changes that stay whole."""

from __future__ import annotations

import hashlib
import json
import math
import tomllib
from pathlib import Path
from typing import Any

import attrs
import pytest
from schedules import first_pass, sheet, tube

from weldcalc import beam
from weldcalc.errors import InputError
from weldcalc.fields import FIELDS
from weldcalc.schedule import Laser, load_schedule, schedule_from_mapping
from weldcalc.schedules.table import TABLES, keys_of


def _mistakes(mapping: dict[str, Any], **more: Any) -> list[str]:
    with pytest.raises(InputError) as caught:
        schedule_from_mapping(mapping, **more)
    return [str(problem) for problem in caught.value.problems]


def test_defaults_are_those_stated_and_nothing_else_is_invented() -> None:
    made = schedule_from_mapping(tube())
    (root,) = made.passes
    assert (root.pulse_shape, root.profile, made.preparation.surface) == (
        "square",
        "top-hat",
        "as machined",
    )
    assert (root.beam_offset, root.beam_angle, root.segment_pause) == (0, 0, 0)
    assert root.preheat == 293.15
    assert (root.arc, root.segments, root.closing_overlap) == (math.tau, 1, 0)
    assert root.given == {
        "name",
        "peak_power",
        "pulse_duration",
        "repetition_rate",
        "travel_speed",
    }
    tables = (made.goal, made.shielding, made.code, made.scatter)
    for table in tables:
        assert not table.given
        assert set(attrs.astuple(table)[:-1]) == {None}
    assert (made.joint.gap, made.joint.mismatch, made.laser.wavelength) == (None, None, None)


def test_sheet_has_no_rotation_and_no_arc() -> None:
    (root,) = schedule_from_mapping(sheet()).passes
    assert (root.rotation, root.arc, root.closing_overlap) == (None, None, None)


def test_power_and_energy_follow_from_each_other() -> None:
    by_power = schedule_from_mapping(first_pass()).passes[0]
    assert by_power.pulse_energy == pytest.approx(1.95)
    by_energy = schedule_from_mapping(first_pass(peak_power=None, pulse_energy="1.95 J")).passes[0]
    assert by_energy.peak_power == pytest.approx(390)
    shaped = schedule_from_mapping(
        first_pass(peak_power=None, pulse_energy="1.95 J", pulse_shape=[[0, 1], [1, 0]])
    ).passes[0]
    assert shaped.peak_power == pytest.approx(780)


def test_speed_and_rotation_follow_from_each_other() -> None:
    by_speed = schedule_from_mapping(first_pass()).passes[0]
    assert by_speed.rotation == pytest.approx(2 * 0.5 / 8)
    by_turning = schedule_from_mapping(first_pass(travel_speed=None, rotation="1.2 rpm")).passes[0]
    assert by_turning.travel_speed == pytest.approx(1.2 * math.pi * 8e-3 / 60)


def test_own_value_of_a_pass_wins_over_the_laser() -> None:
    typed = first_pass(spot_diameter="0.7 mm", profile="gaussian")
    made = schedule_from_mapping(typed)
    assert made.passes[0].spot_diameter == pytest.approx(7e-4)
    assert made.passes[0].profile == "gaussian"
    assert made.laser.spot_diameter == pytest.approx(4e-4)


OPTICS = {
    "spot_diameter": None,
    "fibre_diameter": "200 um",
    "collimation_length": "100 mm",
    "focal_length": "200 mm",
}


def test_spot_follows_from_fibre_and_lenses() -> None:
    made = schedule_from_mapping(tube(laser=OPTICS))
    assert made.passes[0].spot_diameter == pytest.approx(4e-4)
    assert made.laser.waist_diameter == pytest.approx(4e-4)
    assert made.laser.rayleigh_length is None


def test_focus_offset_widens_the_spot() -> None:
    more = {"focus_offset": "3 mm", "beam_quality": 40, "wavelength": "1064 nm"}
    made = schedule_from_mapping(tube(laser={**OPTICS, **more}))
    reach = beam.rayleigh_length(spot_diameter=4e-4, beam_quality=40.0, wavelength=1.064e-6)
    assert made.laser.rayleigh_length == pytest.approx(reach)
    assert made.passes[0].spot_diameter == pytest.approx(4e-4 * math.hypot(1, 3e-3 / reach))


def test_typed_spot_counts_as_in_focus() -> None:
    assert Laser(spot_diameter=4e-4).waist_diameter == 4e-4
    assert Laser(spot_diameter=4e-4, beam_quality=2.0).rayleigh_length is None


def test_eight_mistakes_give_eight_messages_each_with_its_path() -> None:
    typed = tube(
        revision=3,
        joint={"wall_thickness": "0,4 mm", "material": "Ti Grad 2", "plate_thickness": "1 mm"},
        laser={"fibre_diameter": "0.4 mm"},
    )
    typed["lasr"] = {"profile": "top-hat"}
    typed["pass"][0] |= {"pulse_energy": "2 J", "repetition_rte": "5 Hz"}
    messages = _mistakes(typed)
    assert len(messages) == 8
    for start, words in [
        ("revision = 3:", 'in quotes, for example "3"'),
        ('joint.wall_thickness = "0,4 mm":', 'decimal point, for example "0.4 mm"'),
        ('joint.material = "Ti Grad 2":', "Ti Grade 2"),
        ('joint.plate_thickness = "1 mm":', "tube-to-plate"),
        ('laser.fibre_diameter = "0.4 mm":', "not both"),
        ("lasr:", "did you mean [laser]?"),
        ("pass[0] (root):", "exactly one of peak_power and pulse_energy; both are given"),
        ("pass[0] (root).repetition_rte:", "did you mean repetition_rate?"),
    ]:
        (message,) = [text for text in messages if text.startswith(start)]
        assert words in message


MISTAKES: list[tuple[dict[str, Any], list[str]]] = [
    (tube(title=None), ["title: missing"]),
    (tube(title="  "), ["title"]),
    (tube(title="two\nlines"), ["title"]),
    (tube(title="x" * 201), ["title"]),
    (tube(titel="x"), ["titel: unknown key; did you mean title?"]),
    (tube(zzz="x"), ["zzz: unknown key; known are title, number, revision"]),
    (tube(zzz={"a": 1}), ["zzz: unknown table; known are code, joint"]),
    (tube(laser="0.4 mm"), ['laser = "0.4 mm": is a table', "pass[0] (root).spot_diameter: mis"]),
    (tube(laser={"spot_diameter": None}), ["pass[0] (root).spot_diameter: missing; give it"]),
    (tube(laser={"spot_diameter": "9 foo"}), ["laser.spot_diameter"]),
    (tube(laser={"profile": "ring"}), ['laser.profile = "ring": write one of top-hat, gaussian']),
    (tube(laser={"pulse_duration_range": "5 ms"}), ["laser.pulse_duration_range"]),
    (
        tube(laser={"pulse_duration_range": ["0,5 ms", "x"]}),
        ["laser.pulse_duration_range[0]", "laser.pulse_duration_range[1]"],
    ),
    (tube(laser={"pulse_duration_range": ["9 ms", "5 ms"]}), ["laser.pulse_duration_range"]),
    (
        tube(laser={**OPTICS, "focal_length": None}),
        ["laser.focal_length: missing"],
    ),
    (
        tube(laser={**OPTICS, "focus_offset": "1 mm"}),
        ["laser.wavelength: missing", "laser.beam_quality: missing"],
    ),
    (
        tube(laser={**OPTICS, "fibre_diameter": "5 um", "collimation_length": "2000 mm"}),
        ["laser.fibre_diameter"],
    ),
    (tube(joint={"type": "lap"}), ["joint.type"]),
    (tube(joint={"form": "flush"}), ["joint.form = \"flush\": a butt joint has the form tube or"]),
    (tube(joint={"form": None}), ["joint.form: missing; write for example form = \"tube\""]),
    (tube(joint={"outside_diameter": None}), ["joint.outside_diameter: missing"]),
    (tube(joint={"seam_length": "60 mm"}), ["joint.seam_length"]),
    (tube(joint={"wall_thickness": "4 mm"}), ["joint.wall_thickness", ]),
    (tube(joint={"material": "none.toml"}), ["joint.material"]),
    (
        tube(joint={"type": "tube-to-plate", "form": "flush"}),
        ["joint.plate_material: missing", "joint.plate_thickness: missing"],
    ),
    (sheet(joint={"outside_diameter": "8 mm"}), ["joint.outside_diameter"]),
    (sheet(joint={"seam_length": None}), ["joint.seam_length: missing"]),
    (
        tube(goal={"spot_diameter": "1 mm"}),
        ["goal.spot_diameter: unknown key here; it belongs in [laser] or [pass]"],
    ),
    (
        tube(laser={"spot": "0.4 mm"}),
        ['laser.spot: unknown key; did you mean spot_diameter?'],
    ),
    (tube(scatter={"power": "2 W"}), ["scatter.power"]),
    ({**tube(), "pass": None}, ["pass: missing"]),
    ({**tube(), "pass": []}, ["pass: missing"]),
    ({**tube(), "pass": tube()["pass"][0]}, ["pass: is a list of passes"]),
    ({**tube(), "pass": ["root"]}, ['pass[0] = "root": is a table', *["pass[0]"] * 5]),
    ({**tube(), "pass": tube()["pass"] * 2}, ['pass[1] (root).name = "root": pass[0] (root) has']),
    (first_pass(name=None), ["pass[0].name: missing"]),
    (
        first_pass(peak_power=None),
        ["pass[0] (root): give exactly one of peak_power and pulse_energy; neither is given"],
    ),
    (
        first_pass(rotation="1 rpm"),
        ["pass[0] (root): give exactly one of travel_speed and rotation; both are given"],
    ),
    (first_pass(spot_diameter="0,4 mm"), ["pass[0] (root).spot_diameter"]),
    (first_pass(pulse_shape="round"), ['pass[0] (root).pulse_shape = "round"']),
    (first_pass(pulse_shape=[[0, 1], [1, 2]]), ["pass[0] (root).pulse_shape"]),
    (first_pass(segments=0), ["pass[0] (root).segments"]),
    (
        sheet(**{"pass": [{**tube()["pass"][0], "arc": "90 deg"}]}),
        ["pass[0] (root).arc = \"90 deg\": does not belong to a seam in sheet"],
    ),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "starts"), MISTAKES)
def test_each_mistake_gives_its_message_and_no_other(
    typed: dict[str, Any], starts: list[str]
) -> None:
    messages = _mistakes(typed)
    assert len(messages) == len(starts), messages
    for message, start in zip(messages, starts, strict=True):
        assert message.startswith(start)


def test_missing_rotation_of_sheet_is_not_asked_for() -> None:
    typed = sheet()
    del typed["pass"][0]["travel_speed"]
    typed["pass"][0]["rotation"] = "1 rpm"
    messages = _mistakes(typed)
    assert messages[0].startswith("pass[0] (root).travel_speed: missing")
    assert messages[1].startswith('pass[0] (root).rotation = "1 rpm": does not belong')


def test_passes_may_be_absent_for_drafting_only() -> None:
    typed = {**tube(), "pass": []}
    assert schedule_from_mapping(typed, require_passes=False).passes == ()
    del typed["pass"]
    assert schedule_from_mapping(typed, require_passes=False).passes == ()


def test_every_key_of_every_table_is_in_the_field_table() -> None:
    for table in ("", *TABLES):
        for key in keys_of(table):
            assert f"{table}.{key}" in FIELDS or key in FIELDS, (table, key)
    in_schedule = {key for key, made in FIELDS.items() if made.group not in ("results", "coupons")}
    reachable = {f"{table}.{key}" for table in TABLES for key in keys_of(table)}
    reachable |= {key for table in ("", *TABLES) for key in keys_of(table)}
    assert {key for key in in_schedule if FIELDS[key].group in ("schedule", *TABLES)} <= reachable


# changes ----------------------------------------------------------------------------------


def test_peak_power_takes_the_place_of_energy_and_back() -> None:
    made = schedule_from_mapping(tube())
    by_energy = made.with_pass(0, pulse_energy=3.0)
    assert by_energy.passes[0].peak_power == pytest.approx(600)
    assert "peak_power" not in by_energy.passes[0].given
    assert by_energy.with_pass(0, peak_power=390.0) == made
    turned = made.with_pass(0, rotation=0.2)
    assert turned.passes[0].travel_speed == pytest.approx(8e-4)
    assert turned.with_pass(0, travel_speed=5e-4) == made


def test_taking_a_key_out_leaves_the_one_it_excludes() -> None:
    made = schedule_from_mapping(tube())
    assert made.with_pass(0, pulse_energy=None, rotation=None) == made


def test_a_note_never_becomes_a_key() -> None:
    made = schedule_from_mapping(tube())
    text = made.to_toml(notes=('6 coupons of odd\nnumber = "WS-999"', "bell \x07"))
    assert schedule_from_mapping(tomllib.loads(text)) == made


def test_change_is_exact_and_leaves_the_first_schedule_alone() -> None:
    made = schedule_from_mapping(tube())
    third = made.with_pass(0, peak_power=1000 / 3, pulse_shape=((0.0, 1.0), (1.0, 0.2)), segments=2)
    assert third.passes[0].peak_power == 1000 / 3
    assert third.passes[0].pulse_shape == ((0.0, 1.0), (1.0, 0.2))
    assert made.passes[0].peak_power == 390
    assert made.typed == tube()
    assert third.sha256 != made.sha256
    assert third.with_pass(0, pulse_shape=None, segments=None, peak_power=390.0) == made


def test_values_of_tables_can_be_changed_and_taken_out() -> None:
    made = schedule_from_mapping(tube(laser=OPTICS))
    typed_spot = made.with_values("laser", spot_diameter=3e-4)
    assert typed_spot.laser.given == {"spot_diameter"}
    assert typed_spot.passes[0].spot_diameter == 3e-4
    ranged = made.with_values("laser", pulse_duration_range=(5e-4, 0.02))
    assert ranged.typed["laser"]["pulse_duration_range"] == ["0.5 ms", "20 ms"]
    assert ranged.with_values("laser", pulse_duration_range=None) == made
    assert made.with_values("goal", penetration=0.8).typed["goal"] == {"penetration": "80 %"}
    assert made.with_values("", revision="B").revision == "B"


def test_passes_can_be_replaced() -> None:
    made = schedule_from_mapping({**tube(), "pass": []}, require_passes=False)
    one = {
        "name": "root",
        "peak_power": 390.0,
        "pulse_duration": 5e-3,
        "repetition_rate": 5.0,
        "travel_speed": 5e-4,
    }
    assert made.with_passes([one]) == schedule_from_mapping(tube())


@pytest.mark.parametrize("value", [math.nan, -1.0, 1e9])
def test_change_to_the_impossible_is_refused(value: float) -> None:
    with pytest.raises(InputError, match="outside"):
        schedule_from_mapping(tube()).with_pass(0, peak_power=value)


def test_pass_is_found_by_name() -> None:
    made = schedule_from_mapping(tube())
    assert made.pass_index("root") == 0
    first = tube()["pass"][0]
    two = schedule_from_mapping({**tube(), "pass": [first, {**first, "name": "cover"}]})
    with pytest.raises(InputError, match="did you mean root\\? Known are root, cover"):
        two.pass_index("Root")
    with pytest.raises(InputError, match="known are root, cover"):
        two.pass_index("third")
    empty = schedule_from_mapping({**tube(), "pass": []}, require_passes=False)
    with pytest.raises(InputError, match="no passes"):
        empty.pass_index("root")


def test_equal_however_the_units_were_typed() -> None:
    metric = schedule_from_mapping(tube(joint={"wall_thickness": "0.508 mm"}))
    inch = schedule_from_mapping(tube(joint={"wall_thickness": "0.02 in"}))
    assert metric == inch
    assert hash(metric) == hash(inch)
    assert metric != schedule_from_mapping(tube(joint={"wall_thickness": "0.509 mm"}))


def test_typed_text_is_kept_and_serves_as_json() -> None:
    made = schedule_from_mapping(tube(joint={"wall_thickness": "400 um"}))
    assert made.typed["joint"]["wall_thickness"] == "400 um"
    assert json.loads(json.dumps(made.typed)) == made.typed


# files ------------------------------------------------------------------------------------


def test_written_file_reads_back_equal_and_is_hashed_by_its_bytes(tmp_path: Path) -> None:
    made = schedule_from_mapping(tube(title='8 mm "tube" \\ µ'))
    path = tmp_path / "a.toml"
    text = made.to_toml(notes=["a note"])
    path.write_bytes(text.encode())
    again = load_schedule(path)
    assert again == made
    assert again.typed == made.typed
    assert again.source_path == path.resolve()
    assert again.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert text.startswith("# a note\n")


def test_material_path_starts_from_the_schedule_file(tmp_path: Path) -> None:
    from weldcalc.reference import read_bytes

    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "mine.toml").write_bytes(read_bytes("materials/ti_gr2.toml"))
    path = folder / "a.toml"
    typed = schedule_from_mapping(tube(joint={"material": "mine.toml"}), folder=folder)
    path.write_text(typed.to_toml(), encoding="utf-8")
    made = load_schedule(path)
    assert Path(made.joint.material) == (folder / "mine.toml").resolve()
    other = tmp_path / "elsewhere" / "b.toml"
    other.parent.mkdir()
    other.write_text(made.to_toml(folder=other.parent), encoding="utf-8")
    assert 'material = "../job/mine.toml"' in other.read_text(encoding="utf-8")
    assert load_schedule(other) == made
