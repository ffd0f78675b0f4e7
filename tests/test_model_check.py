"""Predicted against measured: every published figure is there, and the words follow the results."""

from __future__ import annotations

import csv
import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from attrs import evolve

from weldcalc import model_check, reference
from weldcalc.model_check.compare import FAMILIES, KEYS, Compared, median_off
from weldcalc.model_check.statements import FAILS, FILES, HOLDS, OPEN
from weldcalc.quantities import to_shown

PULSES = reference.data_folder() / "published" / "laser_pulses.csv"
COLUMNS = {
    "width_mm": "width",
    "absorptance": "absorptance",
    "time_to_melt_ms": "time to melt",
    "time_to_keyhole_ms": "time to open",
}
VIEWS = (
    model_check.summary,
    model_check.size_picture,
    model_check.size_table,
    model_check.absorptance_table,
    model_check.onset_table,
    model_check.discussion,
    model_check.coverage_table,
    model_check.statement_table,
    model_check.gaps,
)


@cache
def result() -> model_check.ModelCheck:
    return model_check.check_model(interval_draws=6)


def rows_of_the_file() -> list[dict[str, str]]:
    # read here with nothing but the standard library, so that no row can get lost on the way
    lines = [line for line in PULSES.read_text(encoding="utf-8").splitlines() if line[:1] != "#"]
    return list(csv.DictReader(lines))


def words_of(view) -> str:
    return re.sub(r"<style>.*?</style>|<[^>]+>", " ", view(result()).html, flags=re.S)


class TestRows:
    def test_every_row_of_the_file_is_compared(self):
        assert {row.pulse.key for row in result().rows} == {row["id"] for row in rows_of_the_file()}

    def test_every_figure_of_every_row_is_compared_with_the_value_in_the_file(self):
        by_key = {row.pulse.key: row for row in result().rows}
        for row in rows_of_the_file():
            made = by_key[row["id"]]
            depth = "depression" if "vapour depression" in row["note"] else "depth"
            for column, quantity in {**COLUMNS, "depth_mm": depth}.items():
                figure = made.figure(quantity)
                if not row[column]:
                    assert figure is None, (row["id"], quantity)
                    continue
                shown = to_shown(figure.measured, figure.key)
                scale = 100 if quantity == "absorptance" else 1
                assert shown == pytest.approx(scale * float(row[column]), rel=1e-9)

    def test_predictions_are_those_of_the_engine(self):
        for row in result().rows:
            again = row.pulse.run()
            for one in row.figures:
                assert one.predicted == getattr(again, KEYS[one.quantity])

    def test_sizes_and_absorbed_share_have_intervals_and_times_have_none(self):
        for row in result().rows:
            for one in row.figures:
                is_time = one.quantity.startswith("time")
                assert (one.interval is None) == is_time
                assert (one.is_inside is None) == is_time

    def test_coverage_counts_what_has_an_interval(self):
        total = sum(result().coverage(family)[1] for family in ("titanium", "stainless steel"))
        stated = sum(
            bool(row[column])
            for row in rows_of_the_file()
            for column in ("depth_mm", "width_mm", "absorptance")
        )
        assert total == stated


class TestMet:
    @pytest.mark.parametrize(
        ("quantity", "measured", "predicted", "limit", "met"),
        [
            ("depth", 1.0, 1.19, 0.20, True),
            ("depth", 1.0, 0.79, 0.20, False),
            ("absorptance", 0.5, 0.59, 0.10, True),
            ("absorptance", 0.5, 0.61, 0.10, False),
            # a time may be half as long again or two thirds: the same factor both ways
            ("time to melt", 3.0, 4.4, 0.5, True),
            ("time to melt", 3.0, 2.1, 0.5, True),
            ("time to melt", 3.0, 1.9, 0.5, False),
            ("time to open", 3.0, None, 0.5, False),
        ],
    )
    def test_is_within_the_limit_of_its_kind(self, quantity, measured, predicted, limit, met):
        one = Compared(
            quantity=quantity,
            measured=measured,
            predicted=predicted,
            interval=None,
            limit=limit,
        )
        assert one.is_met is met


class TestStatements:
    def test_every_row_of_both_files_has_an_answer(self):
        rows = [row for file in FILES for row in reference.read_csv(file)]
        assert [one.source for one in result().statements] == [row.source for row in rows]
        assert {one.verdict for one in result().statements} <= {HOLDS, FAILS, OPEN}
        assert all(one.found for one in result().statements)

    def test_those_that_are_open_say_why_and_the_limits_on_pulses_are_not_open(self):
        checked = [one.words for one in result().statements if one.verdict != OPEN]
        for wanted in (
            "depth: at least 2",
            "depth: at least 0.5",
            "keyhole onset",
            "keyhole threshold",
            "trend",
        ):
            assert any(wanted in words for words in checked), wanted

    def test_orders_that_several_sources_agree_on_hold(self):
        # validation: power and duration, finish and energy, published trends of pulsed titanium
        by_words = {one.words: one.verdict for one in result().statements}
        trends = {w: v for w, v in by_words.items() if "trend" in w or "surface finish" in w}
        assert HOLDS in trends.values()
        assert FAILS not in trends.values()


class _Balance(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag not in ("img", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


class TestViews:
    @pytest.mark.parametrize("view", VIEWS)
    def test_are_closed_html_without_empty_values(self, view):
        parser = _Balance()
        parser.feed(view(result()).html)
        assert parser.open == []
        assert not re.search(r"\bnan\b|\bNone\b|not given", words_of(view))

    def test_what_is_missed_is_named_and_follows_from_the_results(self):
        row = result().rows[0]
        bad = evolve(row, figures=tuple(evolve(f, predicted=f.measured * 3) for f in row.figures))
        good = evolve(row, figures=tuple(evolve(f, predicted=f.measured) for f in row.figures))
        told = {}
        for name, one in (("bad", bad), ("good", good)):
            changed = evolve(result(), rows=(one,))
            told[name] = model_check.discussion(changed).html
        assert "missed" in told["bad"]
        assert "missed" not in told["good"]
        assert "all met" in told["good"]

    def test_discussion_speaks_of_every_row_and_its_source(self):
        words = words_of(model_check.discussion)
        for row in result().rows:
            assert row.pulse.key in words
        assert "Simonds et al. 2018" in words

    def test_gaps_are_told(self):
        words = words_of(model_check.gaps)
        assert "No titanium seam" in words
        assert "No heat-affected width" in words

    def test_sizes_are_shown_with_unit_and_verdict(self):
        words = words_of(model_check.size_table)
        sizes = ("depth", "width", "depression")
        wanted = sum(one.quantity in sizes for row in result().rows for one in row.figures)
        assert len(re.findall(r"\bmm\b\s+[+-]\d+\s%\s+(?:yes|MISSED)", words)) == wanted


class TestReadme:
    """The README states what is computed here; a refit has to go there too."""

    TEXT = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")

    @pytest.mark.parametrize("family", FAMILIES)
    def test_medians_and_counts_are_those_computed(self, family):
        (line,) = (line for line in self.TEXT.splitlines() if line.startswith(f"| {family} ("))
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        rows = [row for row in result().rows if row.pulse.material.family == family]
        off = [median_off(result().figures(quantity, family)) for quantity in ("depth", "width")]
        assert cells[1:4] == [str(len(rows)), *(f"{100 * each:.0f} %" for each in off)]
        told = [int(number) for number in re.findall(r"\d+", cells[4])]
        inside, of = result().coverage(family)
        assert told[1] == of
        assert abs(told[0] - inside) <= 2, "few draws here, so that ends move a little"

    def test_times_and_trends_are_those_computed(self):
        ratios = [1 + one.off for _, one in result().figures("time to open", "stainless steel")]
        assert f"{min(ratios):.1f} to {max(ratios):.1f} times the measured in\n  steel" in self.TEXT
        (titanium,) = result().figures("time to open", "titanium")
        told = re.search(r"in\s+steel, ([0-9.]+) times in titanium", self.TEXT)
        assert told
        assert float(told[1]) == pytest.approx(1 + titanium[1].off, abs=0.01)
        checked = [one.verdict for one in result().statements if one.verdict != OPEN]
        assert f"- {checked.count(HOLDS)} of {len(checked)} published limits" in self.TEXT
