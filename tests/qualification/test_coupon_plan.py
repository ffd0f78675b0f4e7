"""How many coupons, which tests, and where in the window: counts, spread, determinism."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from itertools import product

import numpy as np
import pytest

from weldcalc.errors import InputError
from weldcalc.qualification.coupons import coupons_from_bytes
from weldcalc.qualification.plan import (
    calibration_settings,
    coupon_form,
    coupons_for_scatter,
    named_tests,
    qualification_plan,
)
from weldcalc.qualification.statistics import coupons_needed, tolerance_factor
from weldcalc.qualification.table import MOST_ROWS

RANGES = {
    "peak_power": (300.0, 500.0),
    "pulse_duration": (3e-3, 8e-3),
    "spot_diameter": (0.3e-3, 0.6e-3),
}


def unit(settings: list[dict[str, float]]) -> np.ndarray:
    ends = np.array([RANGES[key] for key in RANGES])
    values = np.array([[setting[key] for key in RANGES] for setting in settings])
    return (values - ends[:, 0]) / (ends[:, 1] - ends[:, 0])


def test_plan_counts_what_the_statistics_say() -> None:
    plan = qualification_plan(0.90, 0.95, failures=(0, 1), distances=(1.0, 3.0))
    # binomial demonstration table (from memory): 29 and 46
    assert plan.by_count == {0: 29, 1: 46}
    assert plan.by_scatter[1.0] is None  # a mean one sigma from the limit never holds 90 %
    assert plan.by_scatter[3.0] == coupons_for_scatter(3.0, 0.90, 0.95)
    assert plan.to_json()["by_count"] == {"0": 29, "1": 46}
    assert any("larger one counts" in text for text in plan.statements)


@pytest.mark.parametrize("sides", [1, 2])
@pytest.mark.parametrize("distance", [2.0, 3.407, 6.0])
def test_scatter_route_gives_the_smallest_number(distance: float, sides: int) -> None:
    n = coupons_for_scatter(distance, 0.90, 0.95, sides)
    assert n is not None
    assert tolerance_factor(n, 0.90, 0.95, sides) <= distance
    assert n == 2 or tolerance_factor(n - 1, 0.90, 0.95, sides) > distance


def test_the_longest_list_that_is_written_is_read() -> None:
    coupons = MOST_ROWS // 2
    form = coupon_form([{}] * coupons, sections_per_coupon=2)
    assert len(coupons_from_bytes(form.encode(), name="form.csv").sections) == MOST_ROWS
    with pytest.raises(InputError, match=f"at most {MOST_ROWS}"):
        coupon_form([{}] * (coupons + 1), sections_per_coupon=2)


def test_measuring_needs_fewer_coupons_than_counting() -> None:
    measured = coupons_for_scatter(3.0, 0.95, 0.95)
    assert measured is not None
    assert measured < coupons_needed(0.95, 0.95)


def test_tests_have_names_but_neither_extent_nor_limit() -> None:
    tests = {test.key: test for test in named_tests()}
    wanted = {"visual", "dimensional", "leak", "macro section", "hardness", "tensile", "bend"}
    assert wanted <= set(tests)
    assert tests["macro section"].destroys
    assert not tests["visual"].destroys
    assert all(test.standing for test in tests.values())


def test_settings_hold_corners_and_centre() -> None:
    settings = calibration_settings(RANGES, 14, centre_repeats=3)
    places = [tuple(place) for place in unit(settings).round(9)]
    assert len(places) == 14
    assert set(product((0.0, 1.0), repeat=3)) <= set(places)
    assert [number for number, place in enumerate(places) if place == (0.5,) * 3] == [0, 6, 13]


def test_settings_are_the_same_every_time_and_inside() -> None:
    settings = calibration_settings(RANGES, 40)
    assert settings == calibration_settings(RANGES, 40)
    places = unit(settings)
    assert places.min() >= -1e-9
    assert places.max() <= 1 + 1e-9
    assert len({tuple(place) for place in places.round(9)}) == 38


def test_few_settings_are_spread_as_far_as_possible() -> None:
    places = unit(calibration_settings(RANGES, 3, centre_repeats=1))
    assert np.linalg.norm(places[1] - places[2]) == pytest.approx(np.sqrt(3))


def test_repeats_of_the_centre_alone() -> None:
    assert (
        len({tuple(place) for place in unit(calibration_settings(RANGES, 4, centre_repeats=4))})
        == 1
    )


def test_settings_the_laser_cannot_run_are_left_out() -> None:
    def possible(setting: Mapping[str, float]) -> bool:
        return setting["peak_power"] * setting["pulse_duration"] <= 3.0

    settings = calibration_settings(RANGES, 12, possible=possible)
    assert all(possible(setting) for setting in settings)
    assert any(setting["peak_power"] == 500.0 for setting in settings)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: calibration_settings({}, 5), "number of variables"),
        (lambda: calibration_settings({"colour": (0.0, 1.0)}, 5), "is no setting"),
        (lambda: calibration_settings({"gap": (1e-5, 1e-5)}, 5), "lower end"),
        (lambda: calibration_settings(RANGES, 5, centre_repeats=0), "centre_repeats"),
        (lambda: calibration_settings(RANGES, 2, centre_repeats=3), "^coupons = 2: .* at least 3$"),
        (lambda: calibration_settings(RANGES, 900), "^coupons = 900: at most .* can be told apart"),
        (lambda: calibration_settings(RANGES, 5, possible=lambda _: False), "middle"),
        (lambda: coupon_form([{}], sections_per_coupon=0), "sections_per_coupon"),
        (lambda: coupon_form([{"peak_power": 1e9}]), "plausible range"),
        (lambda: qualification_plan(90, 0.95), "probably 0.9"),
    ],
)
def test_refusals(call: Callable[[], object], match: str) -> None:
    with pytest.raises(InputError, match=match):
        call()


def test_form_is_a_coupon_list_that_waits_for_numbers() -> None:
    settings = calibration_settings(RANGES, 4, centre_repeats=1)
    name = "root"
    form = coupon_form(settings, sections_per_coupon=2, weld_pass=name)
    rows = coupons_from_bytes(form.encode(), name="form.csv").sections
    assert [row.coupon for row in rows[:3]] == ["C01", "C01", "C02"]
    assert {row.weld_pass for row in rows} == {name}
    assert [row.settings for row in rows[::2]] == [pytest.approx(setting) for setting in settings]
    assert all(row.measured == {} for row in rows)
    assert "penetration [mm],fusion_width [mm],root_width [mm],haz_width [mm]" in form


def test_form_asks_for_uncertainties_and_tells_what_to_type() -> None:
    form = coupon_form([{}], sections_per_coupon=2)
    assert "silver" in form
    filled = form.replace("C01,1,,,,,,,,,,,,,,", "C01,1,,,0.31,,,,0.004,,,,silver,2017;5012,tight,")
    assert filled != form
    for text in (filled, _as_a_spreadsheet_saves(filled)):
        first, second = coupons_from_bytes(text.encode(), name="form.csv").sections
        assert first.uncertainty == pytest.approx({"penetration": 4e-6})
        assert first.imperfections == ("2017", "5012")
        assert second.measured == {}


def _as_a_spreadsheet_saves(text: str) -> str:
    """Return the table with every line as wide as the widest, as spreadsheets write it."""
    rows = list(csv.reader(io.StringIO(text)))
    wide = max(map(len, rows))
    out = io.StringIO()
    csv.writer(out).writerows([*row, *[""] * (wide - len(row))] for row in rows)
    return out.getvalue()
