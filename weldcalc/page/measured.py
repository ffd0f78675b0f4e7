"""Measured coupons on the page, and the verdicts under the limits that the user typed in."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from weldcalc.page.compared import agreement_words, measured_and_predicted
from weldcalc.page.pieces import Piece, badge, paragraph, table
from weldcalc.page.planned import calibrated, plan_and_done
from weldcalc.page.results import NOT_APPLICABLE, sentence, unit_of, words_of_result
from weldcalc.records.coupons import rows_with_a_measurement

Data = Mapping[str, Any]
_LOOKS = {"met": "calm", "not met": "stop", "not judged": "caution"}


def coupons(record: Data) -> Piece:
    """Return what was measured on coupons, and each criterion with its verdict."""
    computed = record["computed"]
    sections = computed["coupons"]
    if not rows_with_a_measurement(sections):
        return Piece(
            paragraph(
                "No coupon was measured. Everything above is a prediction, and nothing in this "
                "record shows that the procedure works.",
                "lead",
            )
        ) + calibrated(record)
    judgement = computed["judgement"]
    verdicts = _verdicts(judgement) if judgement else Piece(paragraph(_NOT_JUDGED))
    return (
        calibrated(record)
        + verdicts
        + measured_and_predicted(record)
        + _measured(sections)
        + plan_and_done(record)
    )


_NOT_JUDGED = "No acceptance limits were typed in, so that nothing is judged."


def coupon_words(record: Data) -> str:
    """Return in one phrase whether coupons were measured and what they say."""
    sections = record["computed"]["coupons"]
    judgement = record["computed"]["judgement"]
    if not sections:
        return "none measured"
    verdict = judgement["verdict"] if judgement else "not judged, no limits typed in"
    count = rows_with_a_measurement(sections)
    words = f"{count} of {len(sections)} rows hold a measurement; acceptance criteria {verdict}"
    agreement = agreement_words(record)
    return f"{words}; {agreement}" if agreement else words


def _verdicts(judgement: Data) -> Piece:
    rows = [
        [
            sentence(item["criterion"]["words"]),
            Piece(badge(item["verdict"], _LOOKS[item["verdict"]])),
            _reasons(item["coupons"]),
        ]
        for item in judgement["criteria"]
    ]
    shown = judgement["demonstration"]
    told = f" Reliability asked for: {shown}." if shown else ""
    whole = Piece(
        paragraph(f"All criteria together: {judgement['verdict']}.{told} {judgement['rule']}")
    )
    caption = "Criteria as typed in by the user, and what the coupons say"
    return whole + table(["Criterion", "Verdict", "Coupons"], rows, caption=caption, class_="words")


def _reasons(coupons: Sequence[Data]) -> str:
    """Return what was found on each coupon; once for all that are alike."""
    named: dict[str, list[str]] = {}
    for one in coupons:
        named.setdefault(one["reason"], []).append(one["coupon"])
    if len(named) == 1 and len(coupons) > 1:
        return f"all {len(coupons)}: {next(iter(named))}"
    return "; ".join(f"{', '.join(names)}: {reason}" for reason, names in named.items())


def _measured(sections: Sequence[Data]) -> Piece:
    keys = list(dict.fromkeys(key for section in sections for key in section["measured"]))
    rows = [[_name(section), *(_value(section, key) for key in keys)] for section in sections]
    columns = ["Section", *(f"{sentence(words_of_result(key))} [{unit_of(key)}]" for key in keys)]
    caption = "Measured, with one standard uncertainty where it was given"
    return table(columns, rows, caption=caption, class_="seam")


def _name(section: Data) -> str:
    parts = [section["coupon"], section["section"], section["pass"]]
    return " / ".join(part for part in parts if part)


def _value(section: Data, key: str) -> str:
    value = section["measured"].get(key)
    if value is None:
        return NOT_APPLICABLE
    spread = section["standard_uncertainty"].get(key)
    if not spread:
        return f"{value:.4g}"
    # as many decimals as the uncertainty has, so that a column lines up
    decimals = max(0, 1 - math.floor(math.log10(spread)))
    return f"{value:.{decimals}f} ± {spread:.{decimals}f}"
