"""A record with coupons and a calibration: before and after, planned against done."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from coupon_samples import calibrated, thick_schedule

from weldcalc.calibrating.file import write_calibration
from weldcalc.page.compared import agreement_words, measured_and_predicted
from weldcalc.page.measured import _reasons, _value
from weldcalc.page.planned import calibrated as calibrated_piece
from weldcalc.page.planned import plan_and_done
from weldcalc.prediction import estimate
from weldcalc.qualification.coupon_writer import coupons_text
from weldcalc.record import make_record, open_record, write_record

ACCEPTANCE = """\
title = "Invented limits"
document = "none: invented"
typed_by = "nobody: invented"

[demonstration]
reliability = "90 %"
confidence = "90 %"

[[criterion]]
feature = "fusion_width"
at_least = "0.2 mm"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record of the thick pass with six coupons, typed limits and their calibration."""
    work = tmp_path_factory.mktemp("record")
    files = {name: work / name for name in ("s.toml", "c.csv", "a.toml", "own.json")}
    files["s.toml"].write_text(thick_schedule().to_toml(), encoding="utf-8")
    files["c.csv"].write_text(coupons_text(calibrated(1)[1].sections), encoding="utf-8")
    files["a.toml"].write_text(ACCEPTANCE, encoding="utf-8")
    write_calibration(calibrated(1)[2], files["own.json"])
    record = make_record(
        files["s.toml"],
        coupons=files["c.csv"],
        acceptance=files["a.toml"],
        calibration=files["own.json"],
    )
    return write_record(record, work / "record").folder


def test_predictions_before_and_after_stand_side_by_side(folder: Path) -> None:
    data, made = open_record(folder)
    (before,) = data["computed"]["before_calibration"]
    (after,) = data["computed"]["passes"]
    shipped = estimate(made.schedule).passes[0].to_json()
    assert before["penetration_interval_mm"] == pytest.approx(shipped["penetration_interval_mm"])
    widths = [one["penetration_interval_mm"] for one in (before, after)]
    assert widths[1][1] - widths[1][0] < 0.5 * (widths[0][1] - widths[0][0])
    assert data["model"]["calibrated"]
    page = str(calibrated_piece(data).html)
    assert "shipped constants" in page
    assert "constants from coupons" in page


def test_plan_stands_against_what_was_done(folder: Path) -> None:
    data, _ = open_record(folder)
    plan = data["computed"]["plan"]
    # success-run theorem: ln(1 - 0.9) / ln(0.9), rounded up
    assert (plan["coupons_needed"], plan["coupons_listed"]) == (22, 6)
    assert plan["sections_listed"] == 12
    entries = {row["name"]: row["coupons_with_an_entry"] for row in plan["tests"]}
    assert entries["Leak test"] == 0
    assert any(name.startswith("Macro section") and n == 6 for name, n in entries.items())
    shown = plan_and_done(data).html
    assert "22 coupons" in shown
    assert "6, by this or another test" in shown  # a bare 6 would read as six tests done
    assert "No test is shown to be done" in shown


def test_without_a_calibration_nothing_is_compared(folder: Path) -> None:
    data = make_record(folder / "inputs" / "schedule.toml").data
    assert data["computed"]["before_calibration"] == []
    assert calibrated_piece(data).html == ""
    assert data["computed"]["plan"]["coupons_needed"] is None


@pytest.mark.parametrize(
    ("value", "spread", "shown"),
    [(0.4, 0.005, "0.4000 ± 0.0050"), (0.40312, 0.012, "0.403 ± 0.012"), (31.0, 2.5, "31.0 ± 2.5")],
)
def test_measured_values_are_shown_to_two_figures_of_their_uncertainty(value, spread, shown):
    """Two figures of the standard uncertainty: JCGM 100:2008, 7.2.6."""
    section = {"measured": {"x": value}, "standard_uncertainty": {"x": spread}}
    assert _value(section, "x") == shown


def _with_sections(rows: list[dict[str, object]]) -> dict[str, Any]:
    """Data of a record with two passes, by hand."""
    passes = [
        {"name": "root", "root_width_mm": 0.4, "root_width_interval_mm": [0.3, 0.5]},
        {"name": "cover", "root_width_mm": None, "root_width_interval_mm": None},
    ]
    common = {"pass": "", "settings": {}, "standard_uncertainty": {}}
    return {
        "model": {"interval_level": 0.9},
        "computed": {"passes": passes, "coupons": [common | row for row in rows]},
    }


class TestMeasuredAndPredicted:
    """Mean, range and place in the interval of sections, by hand."""

    def test_sections_of_the_finished_weld_by_hand(self) -> None:
        rows: list[dict[str, object]] = [
            {"measured": {"root_width_mm": 0.44}},
            {"measured": {"root_width_mm": 0.50}},
            {"measured": {"root_width_mm": 0.53}},
        ]
        page = str(measured_and_predicted(_with_sections(rows)).html)
        for words in (
            "0.490 mm (0.440 to 0.530 mm)",
            "0.400 mm (0.300 to 0.500 mm), pass root",
            "+22 %",
            "2 of 3",
            "(finished weld)",
        ):
            assert words in page

    def test_a_section_is_inside_within_twice_its_uncertainty(self) -> None:
        sections: list[dict[str, object]] = [
            {"measured": {"root_width_mm": 0.51}, "standard_uncertainty": {"root_width_mm": u}}
            for u in (0.004, 0.006)
        ]
        assert "1 of 2" in str(measured_and_predicted(_with_sections(sections)).html)

    def test_another_pass_and_other_settings_are_kept_apart(self) -> None:
        page = str(
            measured_and_predicted(
                _with_sections(
                    [
                        {"measured": {"root_width_mm": 0.4}, "pass": "root"},
                        {"measured": {"root_width_mm": 9.0}, "settings": {"peak_power_W": 900.0}},
                    ]
                )
            ).html
        )
        assert "(root)" in page
        assert "+0 %" in page
        assert "9.00" not in page
        assert "settings of their own: 1." in page

    def test_heat_affected_width_of_the_finished_weld_counts_from_its_edge(self) -> None:
        row: dict[str, object] = {"measured": {"haz_width_mm": 0.1}}
        record = _with_sections([row])
        root, cover = record["computed"]["passes"]
        root |= {"fusion_width_mm": 0.6, "haz_width_mm": 0.15, "haz_width_interval_mm": [0.1, 0.2]}
        cover |= {"fusion_width_mm": 0.8, "haz_width_mm": 0.12, "haz_width_interval_mm": [0.1, 0.2]}
        # heat reaches 0.45 mm from the middle under the root, 0.52 mm under the cover
        assert "0.120 mm (0.100 to 0.200 mm), pass cover" in str(
            measured_and_predicted(record).html
        )
        root["haz_width_mm"] = 0.3
        # now 0.60 mm under the root, so 0.20 mm from the edge of the cover
        assert "0.200 mm, pass root" in str(measured_and_predicted(record).html)
        assert not agreement_words(record)

    def test_summary_says_whether_the_prediction_holds(self) -> None:
        rows: list[dict[str, object]] = [{"measured": {"root_width_mm": 0.4}}] * 2
        outside: list[dict[str, object]] = [{"measured": {"root_width_mm": 0.9}}] * 2
        told = agreement_words(_with_sections(rows))
        assert told == "2 of 2 measured sizes lie in their predicted 90 % intervals"
        told = agreement_words(_with_sections([*rows, *outside]))
        assert told.endswith("intervals: the prediction does not hold here")

    def test_nothing_is_said_without_a_section_as_scheduled(self) -> None:
        row: dict[str, object] = {"measured": {"root_width_mm": 0.4}, "settings": {"preheat_C": 80}}
        assert not str(measured_and_predicted(_with_sections([row])).html)


def test_coupons_that_are_alike_are_told_once() -> None:
    one, two, other = ({"coupon": name, "reason": "silver"} for name in ("Q1", "Q2", "Q3"))
    assert _reasons([one, two, other]) == "all 3: silver"
    other["reason"] = "blue"
    assert _reasons([one, two, other]) == "Q1, Q2: silver; Q3: blue"
    assert _reasons([other]) == "Q3: blue"
