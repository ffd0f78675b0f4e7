"""Predictions before and after a calibration, and the plan against what was done, on the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from weldcalc.page.pieces import Piece, paragraph, table
from weldcalc.page.results import NOT_APPLICABLE, sentence, shown_result, words_of_result

Data = Mapping[str, Any]


def calibrated(record: Data) -> Piece:
    """Return the predictions with the shipped constants beside those of the calibration."""
    before = record["computed"]["before_calibration"]
    if not before:
        return Piece("")
    rows = []
    for old, new in zip(before, record["computed"]["passes"], strict=True):
        for key in old:
            if "_interval" in key or key == "name":
                continue
            name = f"{old['name']}: {words_of_result(key)}"
            rows.append([sentence(name), _with_ends(old, key), _with_ends(new, key)])
    columns = ["", "Before: shipped constants", "After: constants from coupons"]
    caption = "Predicted before and after the calibration; in brackets the interval"
    return table(columns, rows, caption=caption, class_="numbers")


def _with_ends(item: Data, key: str) -> str:
    stem = next(k for k in item if "_interval" in k and k.replace("_interval", "") == key)
    value = shown_result(key, item[key])
    return value if item[stem] is None else f"{value} ({shown_result(key, item[stem])})"


def plan_and_done(record: Data) -> Piece:
    """Return coupons and named tests, planned against listed."""
    plan = record["computed"]["plan"]
    needed = plan["coupons_needed"]
    asked = (
        "no reliability was typed in, so that no number of coupons follows from one"
        if needed is None
        else f"{needed} coupons without a failure show {100 * plan['reliability']:.6g} % "
        f"reliability at {100 * plan['confidence']:.6g} % confidence by count, as typed in"
    )
    words = (
        f"Coupons listed: {plan['coupons_listed']} with {plan['sections_listed']} rows; {asked}."
    )
    rows = [
        [test["name"], test["method"], _count(test["coupons_with_an_entry"])]
        for test in plan["tests"]
    ]
    columns = ["Test, by name", "Standard to look for", "Coupons with such an entry"]
    caption = (
        "Named tests against the coupon list. No test is shown to be done: an entry does not say "
        "by which it was found, and the code says which are needed"
    )
    return Piece(paragraph(words)) + table(columns, rows, caption=caption, class_="words")


def _count(number: int | None) -> str:
    if number is None:
        return f"{NOT_APPLICABLE} (leaves nothing in a coupon list)"
    return f"{number}, by this or another test" if number else "none"
