"""What coupons add to a record: predictions before their calibration, and planned against done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from weldcalc.fields import json_key, to_json

if TYPE_CHECKING:
    from weldcalc.prediction import Estimate
    from weldcalc.qualification.acceptance import Acceptance
    from weldcalc.qualification.coupons import CouponSection

_LOOKED_AT = ("colour", "imperfections", "leak")
CALIBRATED = ("penetration", "fusion_width", "root_width", "haz_width")


def before_calibration(estimate: Estimate) -> list[dict[str, Any]]:
    """Return what the shipped constants predict, beside a prediction with a calibration.

    Parameters
    ----------
    estimate : Estimate
        As recorded.

    Returns
    -------
    list of dict
        Sizes of each pass with their intervals; empty where the estimate rests on the shipped
        constants anyway.
    """
    if estimate.calibration.is_shipped:
        return []
    from weldcalc.prediction import estimate as predict

    return [
        {"name": item.name}
        | {key: value for size in CALIBRATED for key, value in _cells(item, size)}
        for item in predict(estimate.schedule).passes
    ]


def _cells(item: Any, size: str) -> list[tuple[str, Any]]:
    ends = getattr(item, f"{size}_interval")
    interval = None if ends is None else [to_json(float(end), size) for end in ends]
    return [
        (json_key(size), to_json(getattr(item, size), size)),
        (json_key(f"{size}_interval"), interval),
    ]


def rows_with_a_measurement(sections: Sequence[Mapping[str, Any]]) -> int:
    """Return how many rows of a coupon list hold anything that was measured or looked at.

    Parameters
    ----------
    sections : sequence of mapping
        From `CouponSection.to_json`; a form that nobody filled in has rows, and none counts.
    """
    return sum(
        bool(row["measured"]) or any(row[key] is not None for key in _LOOKED_AT) for row in sections
    )


def plan_against_done(
    sections: Sequence[CouponSection], acceptance: Acceptance | None
) -> dict[str, Any]:
    """Return how many coupons and which tests were planned, and what the coupon list shows.

    Parameters
    ----------
    sections : sequence of CouponSection
        Rows of the coupon list.
    acceptance : Acceptance or None
        Gives the reliability that was typed.

    Returns
    -------
    dict
        Coupons needed without a failure, for which reliability and confidence [1] (None where none
        was typed), and coupons listed;
        each named test with the coupons that have an entry which it fills (None for a test that
        leaves nothing in a coupon list). An entry does not say by which test it was found.
    """
    from weldcalc.qualification.plan import named_tests
    from weldcalc.qualification.statistics import coupons_needed

    needed = None
    if acceptance is not None and acceptance.reliability and acceptance.confidence:
        needed = coupons_needed(acceptance.reliability, acceptance.confidence)
    return {
        "coupons_needed": needed,
        "reliability": None if needed is None or acceptance is None else acceptance.reliability,
        "confidence": None if needed is None or acceptance is None else acceptance.confidence,
        "coupons_listed": len({row.coupon for row in sections}),
        "sections_listed": len(sections),
        "tests": [
            {
                "name": test.name,
                "method": test.method,
                "coupons_with_an_entry": _shown(test.shows, sections),
            }
            for test in named_tests()
        ],
    }


def _shown(columns: Sequence[str], sections: Sequence[CouponSection]) -> int | None:
    if not columns:
        return None
    return len({row.coupon for row in sections if any(_tells(row, key) for key in columns)})


def _tells(row: CouponSection, key: str) -> bool:
    return key in row.measured or getattr(row, key, None) is not None
