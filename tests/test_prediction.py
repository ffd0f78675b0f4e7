"""A whole schedule: documented keys, units, findings at their limits, whole weld."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from attrs import evolve
from schedules import first_pass, sheet, tube, two_passes

from weldcalc.calibration_data import calibration_for
from weldcalc.errors import InputError
from weldcalc.findings import Finding
from weldcalc.materials import material
from weldcalc.passes.findings import pass_findings
from weldcalc.passes.seam_findings import seam_findings
from weldcalc.passes.seam_history import seam_body
from weldcalc.prediction import Estimate, estimate
from weldcalc.schedule import Schedule, schedule_from_mapping

DOCUMENTED = [
    "name",
    "pulse_energy_J",
    "peak_power_W",
    "pulse_duration_ms",
    "repetition_rate_Hz",
    "duty_cycle",
    "average_power_W",
    "mean_irradiance_W_mm2",
    "spot_diameter_mm",
    "travel_speed_mm_s",
    "rotation_rpm",
    "pulse_pitch_mm",
    "spot_overlap",
    "spot_overlap_with_travel",
    "melt_overlap",
    "root_overlap",
    "pulses",
    "weld_time_s",
    "heat_input_J_mm",
    "penetration_mm",
    "penetration_fraction",
    "penetration_interval_mm",
    "fusion_width_mm",
    "root_width_mm",
    "haz_width_mm",
    "mode",
    "absorptance",
    "peak_part_temperature_degC",
    "findings",
]


@pytest.fixture(scope="module")
def whole() -> Estimate:
    return estimate(schedule_from_mapping(two_passes()))


@pytest.fixture(scope="module")
def plain(whole: Estimate) -> dict[str, Any]:
    return whole.to_json()


def numbers(value: Any) -> Iterator[float]:
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, (list, tuple)):
        for one in value:
            yield from numbers(one)
    elif isinstance(value, float):
        yield value


def codes(found: tuple[Finding, ...]) -> set[str]:
    return {finding.code for finding in found}


def test_keys_of_a_pass_begin_exactly_as_documented(plain: dict[str, Any]) -> None:
    for one in plain["passes"]:
        assert list(one)[: len(DOCUMENTED)] == DOCUMENTED


def test_everything_is_plain_json_without_nan(plain: dict[str, Any]) -> None:
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert all(math.isfinite(number) for number in numbers(plain))


def test_fractions_lie_between_zero_and_one(plain: dict[str, Any]) -> None:
    for one in plain["passes"]:
        for key in ("duty_cycle", "spot_overlap", "penetration_fraction", "absorptance"):
            assert 0 <= one[key] <= 1


def test_what_does_not_apply_is_null() -> None:
    made = estimate(schedule_from_mapping(sheet())).to_json()["passes"][0]
    assert made["rotation_rpm"] is None
    assert made["root_width_mm"] is None
    assert made["root_overlap"] is None
    assert "angle_deg" not in made["seam"]["stations"][0]


def test_other_units_give_the_same_json() -> None:
    one = tube(joint={"wall_thickness": "0.508 mm", "outside_diameter": "7.62 mm"})
    one["pass"][0]["peak_power"] = "600 W"
    two = tube(joint={"wall_thickness": "0.02 in", "outside_diameter": "0.3 in"})
    two["laser"] = {"spot_diameter": "400 um"}
    two["pass"][0] |= {
        "peak_power": "0.6 kW",
        "pulse_duration": "0.005 s",
        "travel_speed": "30 mm/min",
    }
    first, second = (estimate(schedule_from_mapping(made)).to_json() for made in (one, two))
    assert first == second


def test_the_same_twice(whole: Estimate, plain: dict[str, Any]) -> None:
    assert estimate(whole.schedule).to_json() == plain


def test_intervals_hold_the_central_value(whole: Estimate) -> None:
    for one in whole.passes:
        for key in ("penetration", "fusion_width", "haz_width"):
            low, high = getattr(one, f"{key}_interval")
            assert 0 <= low <= getattr(one, key) <= high


def test_each_pass_stands_on_the_heat_of_the_ones_before(whole: Estimate) -> None:
    root, cover = whole.passes
    assert root.seam_preheat[0] == pytest.approx(293.15)
    assert cover.seam_preheat[0] > 400
    assert cover.history.time[0] == pytest.approx(root.history.time[-1] + 1 / 5)
    cold = estimate(schedule_from_mapping(two_passes(preheat="20 degC"))).passes[1]
    assert cold.seam_preheat[0] == pytest.approx(293.15)
    assert cold.penetration < cover.penetration
    assert "heat-not-carried" in codes(cold.findings)


def test_a_pause_cools_the_part_between_the_passes(whole: Estimate) -> None:
    later = estimate(schedule_from_mapping(two_passes(pause_before="120 s")))
    assert later.passes[1].seam_preheat[0] < whole.passes[1].seam_preheat[0] - 50
    assert later.passes[0].seam_preheat == whole.passes[0].seam_preheat
    between = (later.part_time > 60) & (later.part_time < 160)
    assert np.all(np.diff(later.part_temperature[between]) < 0)


def test_curve_of_the_part_passes_through_the_pulses(whole: Estimate) -> None:
    for one in whole.passes:
        inside = (whole.part_time > one.history.time[5]) & (whole.part_time < one.history.time[-1])
        curve = whole.part_temperature[inside]
        pulses = np.interp(whole.part_time[inside], one.history.time, one.history.part_temperature)
        assert curve == pytest.approx(pulses, abs=1.0)


def test_whole_weld_names_what_governs(plain: dict[str, Any], whole: Estimate) -> None:
    said = plain["whole_weld"]
    taken_up = [one.heat_input * one.absorptance for one in whole.passes]
    assert said["heat_taken_up_J_mm"] == pytest.approx(sum(taken_up) * 1e-3)
    assert said["heat_set_by"] == whole.passes[int(np.argmax(taken_up))].name
    cover = said["covers"][0]
    assert (cover["name"], cover["on"]) == ("cover", "root")
    assert cover["remelt_depth_mm"][0] <= cover["remelt_depth_mm"][1]


def test_a_wide_cover_covers_the_root(whole: Estimate) -> None:
    margin = whole.covers[0].cover_margin
    wide = estimate(
        schedule_from_mapping(two_passes(spot_diameter="1.3 mm", peak_power="1.4 kW"))
    ).covers[0]
    assert wide.cover_margin > margin
    off = estimate(schedule_from_mapping(two_passes(beam_offset="0.1 mm"))).covers[0]
    assert off.cover_margin == pytest.approx(margin - 1e-4, abs=2e-5)


def test_fill_is_that_of_the_gap(whole: Estimate) -> None:
    assert whole.fit_up.fill is not None
    widest = max(one.fusion_width for one in whole.passes)
    assert whole.fit_up.fill.underfill == pytest.approx(1.5 * 0.02e-3 * 0.4e-3 / widest)
    assert estimate(schedule_from_mapping(first_pass())).fit_up.fill is None


def test_shielding_is_carried(plain: dict[str, Any], whole: Estimate) -> None:
    assert [one["name"] for one in plain["shielding"]["passes"]] == ["root", "cover"]
    assert "clean_to_weld_min" in plain["shielding"]
    assert "purge-not-given" in codes(whole.findings)
    assert whole.shielding.remove_below == pytest.approx(427 + 273.15)


def test_beyond_validity_is_one_finding_a_pass(whole: Estimate) -> None:
    for one in whole.passes:
        assert [f.code for f in one.findings].count("beyond-validity") == 1


def with_goal(whole: Estimate, **goal: float) -> Schedule:
    return whole.schedule.with_values("goal", **goal)


@pytest.mark.parametrize(
    ("goal", "code", "result", "least"),
    [
        ("spot_overlap", "overlap-below-goal", lambda one: one.spot_overlap, True),
        ("root_width", "root-too-narrow", lambda one: one.root_width, True),
        ("root_width", "root-scalloped", lambda one: one.least_root_width, True),
        ("haz_width", "haz-too-wide", lambda one: one.history.haz_width.max(), False),
    ],
)
def test_goal_findings_fire_and_clear_at_their_limits(
    whole: Estimate, goal: str, code: str, result: Any, least: bool
) -> None:
    one = whole.passes[0]
    reached = float(result(one))
    harder = 1.001 if least else 0.999
    for factor, fires in ((harder, True), (1 / harder, False)):
        schedule = with_goal(whole, **{goal: reached * factor})
        assert (code in codes(pass_findings(schedule, one, whole.calibration))) is fires


def test_penetration_between_pulses_is_judged(whole: Estimate) -> None:
    shallow = evolve(whole.passes[0], guaranteed_penetration=0.399e-3)
    found = codes(pass_findings(whole.schedule, shallow, whole.calibration))
    assert "lack-of-penetration" in found
    through = evolve(whole.passes[0], guaranteed_penetration=0.4e-3)
    found = codes(pass_findings(whole.schedule, through, whole.calibration))
    assert "lack-of-penetration" not in found


def test_largest_speed_meets_the_goals_and_a_higher_one_does_not() -> None:
    made = two_passes()
    made["pass"] = made["pass"][:1]
    made["goal"]["root_width"] = "0.35 mm"
    schedule = schedule_from_mapping(made)
    fastest = estimate(schedule).passes[0].largest_travel_speed
    assert fastest is not None
    for factor, fires in ((0.999, False), (1.02, True)):
        one = estimate(schedule.with_pass(0, travel_speed=fastest * factor)).passes[0]
        wrong = codes(one.findings) & {"root-scalloped", "lack-of-penetration", "root-not-closed"}
        assert bool(wrong) is fires


def test_part_too_hot_fires_at_its_limit_and_its_pause_cures_it(whole: Estimate) -> None:
    hottest = whole.passes[0].peak_part_temperature
    for allowed, fires in ((hottest - 0.5, True), (hottest + 0.5, False)):
        again = estimate(with_goal(whole, part_temperature=allowed))
        assert ("part-too-hot" in codes(again.passes[0].findings)) is fires
    # the cover alone stays well below what it reaches on the warm part: a pause is enough
    for less in (18.0, 19.0, 20.0):
        allowed = whole.passes[1].peak_part_temperature - less
        hot = estimate(with_goal(whole, part_temperature=allowed)).passes[1]
        (finding,) = [f for f in hot.findings if f.code == "part-too-hot"]
        assert finding.remedy.startswith("wait ")
        pause = float(finding.remedy.split()[1])
        cured, rushed = (
            estimate(whole.schedule.with_pass(1, pause_before=wait)).passes[1]
            for wait in (pause, pause - 1.0)
        )
        assert cured.peak_part_temperature <= allowed < rushed.peak_part_temperature


def test_slower_welding_cures_a_pass_that_is_too_hot_alone(whole: Estimate) -> None:
    allowed = whole.passes[0].peak_part_temperature - 60.0
    hot = estimate(with_goal(whole, part_temperature=allowed)).passes[0]
    (finding,) = [f for f in hot.findings if f.code == "part-too-hot"]
    share = float(finding.remedy.split(" at ")[1].split("%")[0]) / 100
    item = whole.schedule.passes[0]
    slower = whole.schedule.with_pass(
        0,
        repetition_rate=item.repetition_rate * share,
        travel_speed=item.travel_speed * share,
    )
    assert estimate(slower).passes[0].peak_part_temperature == pytest.approx(allowed, abs=12.0)


def test_pulses_faster_than_heat_crosses_the_wall_are_noted(whole: Estimate) -> None:
    metal = material("Ti Grade 2")
    body = seam_body(whole.schedule.joint, metal, metal)
    crossing = whole.schedule.joint.wall_thickness**2 / (4 * body.diffusivity)
    for rate, fires in ((1.01 / crossing, True), (0.99 / crossing, False)):
        one = evolve(whole.passes[0], repetition_rate=rate)
        found = codes(tuple(seam_findings(whole.schedule, 0, one, body)))
        assert ("rate-against-wall" in found) is fires


def test_a_pause_before_the_first_pass_is_noted() -> None:
    made = estimate(schedule_from_mapping(first_pass(pause_before="5 s")))
    assert "pause-before-first" in codes(made.passes[0].findings)
    assert made.passes[0].history.time[0] == 0.0


def test_a_schedule_without_passes_is_refused() -> None:
    made = tube()
    del made["pass"]
    with pytest.raises(InputError, match="no passes"):
        estimate(schedule_from_mapping(made, require_passes=False))


def test_every_finding_says_what_to_do(whole: Estimate) -> None:
    for finding in whole.all_findings():
        assert finding.text
        assert finding.remedy or finding.weight == "note"


def test_nothing_melted_is_said_and_still_json() -> None:
    made = estimate(schedule_from_mapping(first_pass(peak_power="20 W")))
    one = made.passes[0]
    assert "not-melted" in codes(one.findings)
    assert one.seam.tapered is None
    assert one.melt_overlap is None
    json.dumps(made.to_json(), allow_nan=False)


def test_a_seam_near_melting_is_stopped() -> None:
    made = first_pass(peak_power="900 W", repetition_rate="30 Hz", travel_speed="1.5 mm/s")
    assert "seam-near-melting" in codes(estimate(schedule_from_mapping(made)).passes[0].findings)


def test_both_modes_are_shown_near_the_threshold_only() -> None:
    powers = (0.2, 0.35, 0.42, 0.5, 1.2)
    near = []
    for power in powers:
        one = estimate(schedule_from_mapping(first_pass(peak_power=f"{power} kW"))).passes[0]
        other = one.other_mode
        near.append(other.pulse is not None)
        assert ("near-keyhole-threshold" in codes(one.findings)) is near[-1]
        if other.threshold is not None and other.pulse is not None:
            assert abs(one.mean_irradiance / other.threshold - 1) < 0.27
            opened = one.pulse.time_to_keyhole is not None
            assert (other.pulse.time_to_keyhole is not None) is not opened
            low, high = one.penetration_interval
            assert low <= other.pulse.penetration <= high
    assert not near[0]
    assert not near[-1]
    assert any(near)


def _remedies(made: Estimate) -> dict[str, str]:
    return {one.code: one.remedy for one in made.passes[0].findings}


def _through(power: str, **keys: Any) -> Estimate:
    typed = first_pass(peak_power=power) | {"goal": {"penetration": "100 %"}}
    return estimate(schedule_from_mapping(typed), **keys)


def test_another_mode_that_gives_the_same_is_not_told_as_another_size() -> None:
    said = []
    for power, time in (("440 W", "2 ms"), ("440 W", "5 ms")):
        typed = schedule_from_mapping(first_pass(peak_power=power, pulse_duration=time))
        one = estimate(typed).passes[0]
        [text] = [f.text for f in one.findings if f.code == "near-keyhole-threshold"]
        near = one.other_mode.pulse
        assert near is not None
        same = near.penetration == pytest.approx(one.penetration, rel=0.01)
        said.append(("may also give" in text, "come out alike" in text, same))
    assert said == [(False, True, True), (True, False, False)]


def test_more_and_less_power_are_not_advised_side_by_side() -> None:
    found = _remedies(_through("520 W"))
    both = [found[code] for code in ("blow-through", "penetration-uncertain")]
    assert both[0] == both[1]
    assert "scatter down" in both[0]
    assert not re.search("raise|lower", both[0])
    # what stops the pass goes first
    found = _remedies(_through("600 W"))
    assert "lower the peak power" in found["blow-through"]
    assert "see to the stop" in found["penetration-uncertain"]


def test_units_in_words_are_written_as_in_tables(whole: Estimate) -> None:
    told = " ".join(one.text for one in whole.all_findings())
    assert "W/mm²" in told
    assert "mm2" not in told


def test_who_has_a_calibration_is_not_sent_to_calibrate() -> None:
    assert "calibrate" in _remedies(_through("520 W"))["penetration-uncertain"]
    shipped = calibration_for(material("Ti Grade 2"), None)
    mine = evolve(shipped, origin="test", sha256="0" * 64)
    own = _remedies(_through("520 W", calibration=mine))
    assert "calibrate" not in own["penetration-uncertain"]
