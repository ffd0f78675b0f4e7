"""One coupon against one criterion: met, not met, or not judged; silence is never a pass."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from attrs import frozen

from weldcalc.qualification.coupons import Coupons, CouponSection
from weldcalc.qualification.criteria import IMPERFECTION, Criterion, Limit
from weldcalc.quantities import show

Verdict = Literal["met", "not met", "not judged"]

_TWICE = 2.0  # standard uncertainties; about 95 % of a normal error
_ROUNDING = 1e-12  # typed and measured decimals such as 0.3 mm need not be the same float


@frozen
class CouponVerdict:
    """One coupon against one criterion.

    Parameters
    ----------
    coupon : str
        Name.
    verdict : {"met", "not met", "not judged"}
        Of this coupon.
    reason : str
        Why, with the value and the section that decide.
    marginal : bool
        True when a value lies within twice its standard uncertainty of the limit.
    """

    coupon: str
    verdict: Verdict
    reason: str
    marginal: bool = False


def rows_for(criterion: Criterion, coupons: Coupons, name: str) -> tuple[CouponSection, ...]:
    """Return the rows of a coupon that a criterion speaks about.

    Parameters
    ----------
    criterion : Criterion
        Names a pass, or all.
    coupons : Coupons
        The list.
    name : str
        The coupon.

    Returns
    -------
    tuple of CouponSection
        May be empty.
    """
    return tuple(row for row in coupons.of(name) if criterion.weld_pass in ("", row.weld_pass))


def coupon_verdict(
    criterion: Criterion, name: str, rows: Sequence[CouponSection], wall: float | None
) -> CouponVerdict:
    """Judge one coupon by one criterion.

    Parameters
    ----------
    criterion : Criterion
        As typed.
    name : str
        The coupon.
    rows : sequence of CouponSection
        From `rows_for`.
    wall : float or None
        Wall of the schedule [m], for limits typed as a share of it.

    Returns
    -------
    CouponVerdict
        Sizes and imperfections need every section; colour and leak need one row.
    """
    if criterion.is_blank:
        return CouponVerdict(name, "not judged", "no limit typed")
    if not rows:
        return CouponVerdict(name, "not judged", f"no section of pass {criterion.weld_pass}")
    if criterion.feature == IMPERFECTION:
        return _imperfection_verdict(criterion, name, rows)
    if criterion.allowed:
        return _word_verdict(criterion, name, rows)
    return _size_verdict(criterion, name, rows, wall)


def _word_verdict(criterion: Criterion, name: str, rows: Sequence[CouponSection]) -> CouponVerdict:
    if criterion.feature == "colour":
        seen = [(row.colour, row) for row in rows if row.colour is not None]
    else:
        seen = [(row.leak, row) for row in rows if row.leak is not None]
    if not seen:
        return CouponVerdict(name, "not judged", f"no {criterion.feature} recorded")
    wrong = [f"{word}{_in(row)}" for word, row in seen if word not in criterion.allowed]
    if wrong:
        return CouponVerdict(name, "not met", ", ".join(wrong))
    return CouponVerdict(name, "met", ", ".join(dict.fromkeys(word for word, _ in seen)))


def _in(row: CouponSection) -> str:
    return f" (section {row.section})" if row.section else ""


def _imperfection_verdict(
    criterion: Criterion, name: str, rows: Sequence[CouponSection]
) -> CouponVerdict:
    looked = [row.imperfections for row in rows if row.imperfections is not None]
    places = sum(found.count(criterion.number) for found in looked)
    allowed = criterion.count_at_most or 0
    counted = f"imperfection {criterion.number} in {places} place{'' if places == 1 else 's'}"
    if places > allowed:
        return CouponVerdict(name, "not met", f"{counted}, allowed {allowed}")
    blind = [row for row in rows if row.imperfections is None and row.section]
    if blind or not looked:
        return CouponVerdict(name, "not judged", _missing("not examined for imperfections", blind))
    return CouponVerdict(name, "met", counted)


def _missing(what: str, rows: Sequence[CouponSection]) -> str:
    names = [row.section for row in rows if row.section]
    return f"{what}: section {', '.join(names)}" if names else what


def _size_verdict(
    criterion: Criterion, name: str, rows: Sequence[CouponSection], wall: float | None
) -> CouponVerdict:
    feature = criterion.feature
    measured = [row for row in rows if feature in row.measured]
    absent = f"{feature.replace('_', ' ')} not measured"
    if not measured:
        return CouponVerdict(name, "not judged", absent)
    known = [
        (distance, row)
        for row in measured
        if (distance := nearest_room(criterion, row, wall)) is not None
    ]
    if not known:
        why = "the limit is a share of the wall, and the wall is not known"
        return CouponVerdict(name, "not judged", why)
    room, row = min(known, key=lambda pair: pair[0])
    marginal = any(
        abs(distance) < _TWICE * near.uncertainty.get(feature, 0.0) for distance, near in known
    )
    value = f"{show(row.measured[feature], feature)}{_in(row)}"
    if room < 0.0:
        return CouponVerdict(name, "not met", value, marginal)
    blind = [row for row in rows if feature not in row.measured and row.section]
    if blind or len(known) < len(measured):
        return CouponVerdict(name, "not judged", _missing(absent, blind), marginal)
    return CouponVerdict(name, "met", f"worst {value}", marginal)


def nearest_room(criterion: Criterion, row: CouponSection, wall: float | None) -> float | None:
    """Return the distance of a measured size to its nearer limit.

    Parameters
    ----------
    criterion : Criterion
        With at least one limit on a size.
    row : CouponSection
        Where the feature was measured.
    wall : float or None
        Wall of the schedule [m]; the row's own measured wall goes first.

    Returns
    -------
    float or None
        Distance [SI], negative beyond the limit; None when a limit needs a wall that is not known.
    """
    sides = [
        room(limit, sign, criterion.feature, row, wall)
        for limit, sign in ((criterion.at_least, 1), (criterion.at_most, -1))
        if limit is not None
    ]
    known = [distance for distance in sides if distance is not None]
    return min(known) if known and len(known) == len(sides) else None


def room(
    limit: Limit, sign: int, feature: str, row: CouponSection, wall: float | None
) -> float | None:
    """Return how far a measured size lies on the good side of one limit.

    Parameters
    ----------
    limit : Limit
        As typed.
    sign : {1, -1}
        1 for a lower limit, -1 for an upper one.
    feature : str
        Which size.
    row : CouponSection
        Where it was measured.
    wall : float or None
        Wall of the schedule [m]; the row's own measured wall goes first.

    Returns
    -------
    float or None
        Distance [SI], negative on the bad side; None when the limit needs a wall that is not known.
    """
    value = row.measured[feature]
    size = limit.size(row.settings.get("wall_thickness", wall))
    if size is None:
        return None
    distance = sign * (value - size)
    return 0.0 if abs(distance) <= _ROUNDING * max(abs(size), abs(value)) else distance
