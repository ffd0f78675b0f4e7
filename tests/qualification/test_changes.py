"""Two schedules compared: what is found, and within, outside or no limit stated."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from schedules import sheet, tube

from weldcalc.errors import InputError
from weldcalc.qualification.change_limits import COMPARED, ChangeLimits, read_change_limits
from weldcalc.qualification.changes import Change, Comparison, compare, compare_flat, flatten
from weldcalc.qualification.flat import FlatValue, grade_name
from weldcalc.reference import data_folder
from weldcalc.schedule import Schedule, schedule_from_mapping
from weldcalc.schedules.table import keys_of
from weldcalc.texts.qualification import comparison_text

Typed = Callable[[str], ChangeLimits]


@pytest.fixture
def typed(tmp_path: Path) -> Typed:
    def read(text: str) -> ChangeLimits:
        file = tmp_path / "limits.toml"
        file.write_text(text, encoding="utf-8")
        return read_change_limits(file)

    return read


def variable(path: str, **limits: Any) -> str:
    lines = [f"{key} = {json.dumps(value)}" for key, value in limits.items()]
    return "\n".join(["[[variable]]", f'path = "{path}"', *lines]) + "\n"


def schedule(**tables: Any) -> Schedule:
    return schedule_from_mapping(tube(**tables))


def one(comparison: Comparison, path: str) -> Change:
    (change,) = [item for item in comparison.changes if item.path == path]
    return change


def test_nothing_changed() -> None:
    found = compare(schedule(), schedule(title="Another name", revision="B"))
    assert found.changes == ()
    assert not found.requalify


def test_the_same_in_other_units_and_spellings_is_no_change() -> None:
    other = schedule(joint={"wall_thickness": "400 um", "material": "ti_gr2"})
    assert compare(schedule(), other).changes == ()


def test_every_value_of_a_schedule_is_compared() -> None:
    flat = flatten(schedule())
    tables = [name for name in COMPARED if name != "pass"]
    wanted = {f"{name}.{key}" for name in tables for key in keys_of(name)}
    wanted |= {f"pass.root.{key}" for key in keys_of("pass") if key != "name"}
    assert set(flat) == wanted | {"passes.count", "passes.order"}
    assert flat["pass.root.peak_power"] == FlatValue(390.0, "390 W")
    assert flat["pass.root.pulse_energy"] == FlatValue(pytest.approx(1.95), "1.95 J")
    assert flat["joint.gap"] == FlatValue(None, "not given")


def test_a_change_has_its_size_both_ways() -> None:
    new = schedule().with_pass(0, peak_power=429.0)
    change = one(compare(schedule(), new), "pass.root.peak_power")
    assert (change.old, change.new) == ("390 W", "429 W")
    assert change.difference == pytest.approx(39.0)
    assert change.relative == pytest.approx(0.1)
    assert (change.standing, change.changed) == ("no limit stated", True)
    told = compare(schedule(), new).to_json()["changes"][0]
    assert told["difference"] == "+39 W"


def test_a_temperature_has_no_relative_change() -> None:
    new = schedule().with_pass(0, preheat=333.15)
    comparison = compare(schedule(), new)
    change = one(comparison, "pass.root.preheat")
    assert change.difference == pytest.approx(40.0)
    assert change.relative is None
    assert comparison.to_json()["changes"][0]["difference"] == "+40 K"


MOVES = [
    ("change_at_most", 1.10, "within"),
    ("change_at_most", 0.90, "within"),
    ("change_at_most", 1.1001, "outside"),
    ("change_at_most", 0.8999, "outside"),
    ("increase_at_most", 1.11, "outside"),
    ("increase_at_most", 0.5, "within"),
    ("decrease_at_most", 0.89, "outside"),
    ("decrease_at_most", 2.0, "within"),
]


@pytest.mark.parametrize(("kind", "factor", "standing"), MOVES)
@pytest.mark.parametrize("size", ["10 %", "39 W", "0.039 kW"])
def test_limits_of_change(typed: Typed, kind: str, factor: float, standing: str, size: str) -> None:
    limits = typed(variable("pass.peak_power", **{kind: size}))
    new = schedule().with_pass(0, peak_power=390.0 * factor)
    comparison = compare(schedule(), new, limits)
    change = one(comparison, "pass.root.peak_power")
    assert change.standing == standing
    assert size in change.reason
    assert comparison.requalify == (standing == "outside")
    assert one(comparison, "pass.root.pulse_energy").standing == "no limit stated"


def test_two_limits_both_hold(typed: Typed) -> None:
    limits = typed(variable("joint.gap", increase_at_most="0.01 mm", to="0.05 mm"))
    before = schedule(joint={"gap": "0.045 mm"})
    assert one(
        compare(before, schedule(joint={"gap": "0.05 mm"}), limits), "joint.gap"
    ).standing == ("within")
    assert compare(before, schedule(joint={"gap": "0.052 mm"}), limits).requalify
    small = schedule(joint={"gap": "0.01 mm"})
    assert compare(small, schedule(joint={"gap": "0.04 mm"}), limits).requalify


@pytest.mark.parametrize(
    ("new", "standing"),
    [("0.3 mm", "within"), ("0.5 mm", "within"), ("0.29 mm", "outside"), ("0.51 mm", "outside")],
)
def test_qualified_range(typed: Typed, new: str, standing: str) -> None:
    limits = typed(variable("joint.wall_thickness", **{"from": "0.3 mm", "to": "500 um"}))
    found = compare(schedule(), schedule(joint={"wall_thickness": new}), limits)
    assert one(found, "joint.wall_thickness").standing == standing


def test_a_range_is_checked_even_without_change(typed: Typed) -> None:
    limits = typed(variable("joint.outside_diameter", **{"from": "10 mm"}))
    found = compare(schedule(), schedule(), limits)
    change = one(found, "joint.outside_diameter")
    assert (change.changed, change.standing) == (False, "outside")
    assert change.reason == "qualified: from 10.0 mm"
    assert found.requalify


def test_qualified_materials(typed: Typed) -> None:
    limits = typed(variable("joint.material", allowed=["ti_gr2", "Ti Grade 1"]))
    assert not compare(schedule(), schedule(), limits).requalify
    other = schedule(joint={"material": "Ti Grade 5"})
    assert one(compare(schedule(), other, limits), "joint.material").standing == "outside"


@pytest.mark.parametrize(("word", "standing"), [("yes", "within"), ("no", "outside")])
def test_words_that_may_or_must_not_change(typed: Typed, word: str, standing: str) -> None:
    limits = typed(variable("shielding.gas", may_change=word))
    old, new = (schedule(shielding={"gas": gas}) for gas in ("argon", "helium"))
    assert one(compare(old, new, limits), "shielding.gas").standing == standing


def test_a_value_that_was_not_given_before_cannot_be_within(typed: Typed) -> None:
    limits = typed(variable("joint.gap", increase_at_most="0.1 mm"))
    found = compare(schedule(), schedule(joint={"gap": "0.01 mm"}), limits)
    assert one(found, "joint.gap").standing == "outside"


def test_a_value_taken_away_leaves_its_qualified_range(typed: Typed) -> None:
    limits = typed(variable("joint.gap", to="0.1 mm"))
    found = compare(schedule(joint={"gap": "0.01 mm"}), schedule(), limits)
    assert one(found, "joint.gap").reason == "has a qualified range, but is not given"
    assert found.requalify


def test_a_pass_more_without_a_word_on_passes_has_no_limit(typed: Typed) -> None:
    cover = {**tube()["pass"][0], "name": "cover"}
    new = schedule(**{"pass": [*tube()["pass"], cover]})
    limits = typed(variable("passes.count", may_change=""))
    assert one(compare(schedule(), new, limits), "pass.cover").standing == "no limit stated"


@pytest.mark.parametrize(
    ("goal", "told"),
    [
        ({"spot_overlap": "60 %"}, "1 change has no limit stated: decide"),
        ({"spot_overlap": "60 %", "haz_width": "0.3 mm"}, "2 changes have no limit stated: decide"),
    ],
)
def test_changes_without_a_limit_are_counted_in_words(goal: dict[str, str], told: str) -> None:
    lines = comparison_text(compare(schedule(), schedule(goal=goal))).splitlines()
    assert lines[1].startswith(told)


def test_a_pass_more_is_one_change(typed: Typed) -> None:
    cover = {**tube()["pass"][0], "name": "cover"}
    new = schedule(**{"pass": [*tube()["pass"], cover]})
    found = compare(schedule(), new, typed(variable("passes.count", may_change="no")))
    assert [item.path for item in found.changes] == ["passes.count", "passes.order", "pass.cover"]
    assert one(found, "pass.cover").standing == "outside"
    assert (one(found, "pass.cover").old, one(found, "pass.cover").new) == ("absent", "present")
    assert one(compare(new, schedule()), "pass.cover").new == "absent"


def test_passes_in_another_order_are_a_change() -> None:
    cover = {**tube()["pass"][0], "name": "cover"}
    passes = [*tube()["pass"], cover]
    found = compare(schedule(**{"pass": passes}), schedule(**{"pass": passes[::-1]}))
    assert [item.path for item in found.changes] == ["passes.order"]


def test_tube_and_sheet_can_be_compared() -> None:
    found = compare(schedule(), schedule_from_mapping(sheet()))
    assert {"joint.form", "joint.outside_diameter", "joint.seam_length"} <= {
        item.path for item in found.changes
    }


def test_comparison_needs_no_schedule_at_all() -> None:
    old = {"joint.gap": FlatValue(1e-5, "0.01 mm")}
    new = {"joint.gap": FlatValue(2e-5, "0.02 mm")}
    assert one(compare_flat(old, new), "joint.gap").relative == pytest.approx(1.0)


def test_the_template_states_no_limit(typed: Typed) -> None:
    template = data_folder() / "qualification" / "essential_variables_template.toml"
    limits = read_change_limits(template)
    assert all(item.is_blank for item in limits.variables)
    new = schedule(joint={"wall_thickness": "0.5 mm"}).with_pass(0, peak_power=900.0)
    found = compare(schedule(), new, limits)
    assert {item.standing for item in found.changes} == {"no limit stated"}
    assert found.open == found.changes
    assert any(text.startswith("Backing (QW-402.2, from memory)") for text in found.by_hand)


def test_grade_names() -> None:
    assert grade_name("ti_gr2") == "Ti Grade 2"
    assert grade_name("our own.toml") == "our own.toml"
    assert grade_name("unobtainium") == "unobtainium"


BAD = {
    variable("pass.peak_pwr"): "nearest: pass.peak_power",
    variable("joint.peak_power"): "no value of the schedule file",
    variable("joint.material", **{"from": "1 mm"}): "is no quantity",
    variable("joint.gap", change_at_most="0,1 mm"): "decimal point",
    variable("joint.gap", change_at_most="0.1 W"): "does not fit",
    variable("pass.preheat", change_at_most="10 %"): "a share of a temperature",
    variable("joint.gap", may_change="perhaps"): 'write "yes" or "no"',
    variable("joint.gap", **{"from": "2 mm", "to": "1 mm"}): "nothing would be qualified",
    variable("joint.gap", increase="1 mm"): "nearest: increase_at_most",
    variable("joint.gap") * 2: "stands more than once",
    variable("", change_at_most="10 %"): "needs the path",
    variable("pass.segments", change_at_most="one"): "a number without quotes",
    variable("pass.segments", change_at_most=-1): "a number without quotes",
    variable("pass.segments", to="2"): "without quotes",
    'titel = "x"\n': "nearest: title",
}


@pytest.mark.parametrize("text", BAD)
def test_bad_limits(typed: Typed, text: str) -> None:
    with pytest.raises(InputError) as caught:
        typed(text)
    assert BAD[text] in str(caught.value)


def test_a_percentage_of_a_percentage_is_meant_in_points(typed: Typed) -> None:
    limits = typed(variable("goal.penetration", change_at_most="5 %"))
    old, new = (schedule(goal={"penetration": text}) for text in ("50 %", "54 %"))
    assert one(compare(old, new, limits), "goal.penetration").standing == "within"
    far = schedule(goal={"penetration": "56 %"})
    assert one(compare(old, far, limits), "goal.penetration").standing == "outside"


@pytest.mark.parametrize(
    ("limit", "standing"), [(1, "within"), (0, "outside"), ("40 %", "outside")]
)
def test_counts_have_plain_limits(typed: Typed, limit: object, standing: str) -> None:
    limits = typed(variable("pass.segments", change_at_most=limit))
    found = compare(schedule(), schedule().with_pass(0, segments=2), limits)
    assert one(found, "pass.root.segments").standing == standing


def test_json_is_plain(typed: Typed) -> None:
    limits = typed(variable("pass.peak_power", change_at_most="1 %", clause="4.2"))
    new = schedule().with_pass(0, peak_power=500.0)
    told = json.loads(json.dumps(compare(schedule(), new, limits).to_json(), allow_nan=False))
    assert told["requalification_needed"] is True
    assert told["changes"][0]["clause"] == "4.2"
