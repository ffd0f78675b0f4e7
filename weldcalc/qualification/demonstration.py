"""What the coupons show about all the welds to come: by counting, or by measured scatter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np
from attrs import asdict, frozen

from weldcalc.fields import json_key, to_json
from weldcalc.qualification.coupons import MEASURED, Coupons, CouponSection
from weldcalc.qualification.criteria import Acceptance, Criterion, Limit
from weldcalc.qualification.statistics import (
    Capability,
    capability,
    coupons_needed,
    normality,
    reliability_shown,
    tolerance_bounds,
    tolerance_factor,
)
from weldcalc.qualification.verdicts import CouponVerdict, Verdict, room, rows_for

USUAL_CONFIDENCE = 0.95
"""Used where the acceptance file states none (common practice, no source)."""

_TIE = 1e-12
_INDICES = ("n", "cp", "cp_interval", "cpk", "cpk_interval", "confidence", "statements")


@frozen
class Demonstration:
    """What the coupons show about one criterion.

    Parameters
    ----------
    verdict : {"met", "not met", "not judged"}
        Against the reliability typed; "not judged" when none was typed or no coupon judged.
    by : {"count", "scatter", ""}
        Which route shows it: pass or fail counts, or tolerance bounds on measured sizes.
    judged, failed : int
        Coupons judged, and of those that did not meet the criterion.
    confidence : float
        Behind the two figures below [-].
    reliability : float or None
        Share of good welds shown by the count alone [-]; None when no coupon was judged.
    bounds : tuple of float or None
        Tolerance bounds of the worst section of each coupon, below and above [SI]; None where
        there is no such limit or fewer than two coupons.
    capability : Capability or None
        Of the coupon means against the limits; where walls of their own move the limits from row
        to row, of the mean room to the nearer limit. None without limits on a size that leave
        room between them, or without scatter.
    needed : int or None
        Coupons that would show the reliability by count with as many failures; None when no
        reliability was typed.
    """

    verdict: Verdict
    by: Literal["count", "scatter", ""]
    judged: int
    failed: int
    confidence: float
    reliability: float | None
    bounds: tuple[float | None, float | None]
    capability: Capability | None
    needed: int | None

    def to_json(self, feature: str) -> dict[str, Any]:
        """Return plain values; sizes of `feature` carry their unit in the key."""
        plain = asdict(self) | {"capability": None}
        low, high = plain.pop("bounds")
        if feature in MEASURED:
            plain[f"bound_below_{json_key(feature)}"] = to_json(low, feature)
            plain[f"bound_above_{json_key(feature)}"] = to_json(high, feature)
        if self.capability is not None:
            plain["capability"] = {key: getattr(self.capability, key) for key in _INDICES}
        return plain


def demonstrate(
    criterion: Criterion,
    verdicts: Sequence[CouponVerdict],
    acceptance: Acceptance,
    coupons: Coupons,
    wall: float | None,
) -> Demonstration:
    """Say what the coupons show about one criterion.

    Parameters
    ----------
    criterion : Criterion
        As typed.
    verdicts : sequence of CouponVerdict
        One per coupon.
    acceptance : Acceptance
        With the reliability and confidence typed, if any.
    coupons : Coupons
        The list.
    wall : float or None
        Wall of the schedule [m].

    Returns
    -------
    Demonstration
        By count where that is enough; else by scatter, which presumes normal values: it is not
        used when a coupon failed, was not judged, or normality is rejected.
    """
    judged = [item for item in verdicts if item.verdict != "not judged"]
    failed = sum(item.verdict == "not met" for item in judged)
    wanted, confidence = acceptance.reliability, acceptance.confidence or USUAL_CONFIDENCE
    shown = reliability_shown(len(judged), confidence, failed) if judged else None
    verdict: Verdict = "not judged"
    by: Literal["count", "scatter", ""] = ""
    if shown is not None and wanted is not None:
        clean = failed == 0 and len(judged) == len(verdicts)
        if shown >= wanted - _TIE:
            verdict, by = "met", "count"
        elif clean and _shown_by_scatter(criterion, coupons, wall, wanted, confidence):
            verdict, by = "met", "scatter"
        else:
            verdict = "not met"
    return Demonstration(
        verdict=verdict,
        by=by,
        judged=len(judged),
        failed=failed,
        confidence=confidence,
        reliability=shown,
        bounds=_bounds(criterion, coupons, wanted, confidence),
        capability=_capability(criterion, coupons, wall, confidence),
        needed=None if wanted is None else coupons_needed(wanted, confidence, failed),
    )


def _shown_by_scatter(
    criterion: Criterion, coupons: Coupons, wall: float | None, coverage: float, confidence: float
) -> bool:
    limits = ((criterion.at_least, 1), (criterion.at_most, -1))
    sides = sum(limit is not None for limit, _ in limits)
    for limit, sign in limits:
        if limit is None:
            continue
        rooms: list[float] = []
        for name in coupons.names:
            rows = rows_for(criterion, coupons, name)
            found = [
                room(limit, sign, criterion.feature, row, wall)
                for row in rows
                if criterion.feature in row.measured
            ]
            rooms.append(min(distance for distance in found if distance is not None))
        if not _clear_of_zero(rooms, coverage, confidence, sides):
            return False
    return sides > 0


def _clear_of_zero(rooms: list[float], coverage: float, confidence: float, sides: int) -> bool:
    # equal readings show a coarse gauge, not a process without scatter
    if len(rooms) < 2 or float(np.ptp(rooms)) == 0.0 or normality(rooms).doubtful:
        return False
    low, _ = _interval(rooms, coverage, confidence, sides)
    return low >= 0.0


def _interval(
    values: list[float], coverage: float, confidence: float, sides: int
) -> tuple[float, float]:
    factor = tolerance_factor(len(values), coverage, confidence, sides)
    return tolerance_bounds(
        mean=float(np.mean(values)), sd=float(np.std(values, ddof=1)), factor=factor
    )


def _measured(criterion: Criterion, coupons: Coupons) -> list[list[CouponSection]]:
    """Return the rows of each coupon where the size was measured, of those that have any."""
    groups = [
        [row for row in rows if criterion.feature in row.measured]
        for rows in (rows_for(criterion, coupons, name) for name in coupons.names)
    ]
    return [group for group in groups if group]


def _sizes(criterion: Criterion, coupons: Coupons) -> list[list[float]]:
    """Return the sizes measured on each coupon that has any."""
    groups = _measured(criterion, coupons)
    return [[row.measured[criterion.feature] for row in group] for group in groups]


def _bounds(
    criterion: Criterion, coupons: Coupons, coverage: float | None, confidence: float
) -> tuple[float | None, float | None]:
    low, high = criterion.at_least is not None, criterion.at_most is not None
    sizes = _sizes(criterion, coupons)
    if coverage is None or len(sizes) < 2 or not (low or high):
        return None, None
    least = _interval([min(group) for group in sizes], coverage, confidence, low + high)
    most = _interval([max(group) for group in sizes], coverage, confidence, low + high)
    return least[0] if low else None, most[1] if high else None


def _capability(
    criterion: Criterion, coupons: Coupons, wall: float | None, confidence: float
) -> Capability | None:
    groups = _measured(criterion, coupons)
    ends = {_ends(criterion, row, wall) for group in groups for row in group}
    if any(low is not None and high is not None and low >= high for low, high in ends):
        return None  # a share of the wall above a size
    if len(ends) == 1:
        [(low, high)] = ends
        return _index(_sizes(criterion, coupons), low, high, confidence)
    sides = [
        _index(_rooms(limit, sign, criterion, groups, wall), 0.0, None, confidence)
        for limit, sign in ((criterion.at_least, 1), (criterion.at_most, -1))
        if limit is not None
    ]
    known = [side for side in sides if side is not None]
    # the nearer limit counts; there is no one distance between two that Cp could be made of
    return min(known, key=lambda side: side.cpk) if len(known) == len(sides) > 0 else None


def _ends(
    criterion: Criterion, row: CouponSection, wall: float | None
) -> tuple[float | None, float | None]:
    """Return both limits of a row [SI], on its own wall where it states one."""
    own = row.settings.get("wall_thickness", wall)
    low, high = (
        None if limit is None else limit.size(own)
        for limit in (criterion.at_least, criterion.at_most)
    )
    return low, high


def _rooms(
    limit: Limit,
    sign: int,
    criterion: Criterion,
    groups: list[list[CouponSection]],
    wall: float | None,
) -> list[list[float]]:
    """Return the rooms to a limit on each coupon; empty where one needs a wall not known."""
    found = [[room(limit, sign, criterion.feature, row, wall) for row in one] for one in groups]
    known = [[distance for distance in one if distance is not None] for one in found]
    return known if known == found else []


def _index(
    groups: list[list[float]], low: float | None, high: float | None, confidence: float
) -> Capability | None:
    means = [float(np.mean(group)) for group in groups]
    scattered = len(means) > 1 and float(np.ptp(means)) > 0.0
    if not scattered or (low is None and high is None):
        return None
    return capability(means, low, high, confidence)
