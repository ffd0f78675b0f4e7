"""All coupons against all typed criteria, with what they show about the welds to come."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from attrs import asdict, frozen

from weldcalc.findings import Finding, sort_findings
from weldcalc.qualification.coupons import Coupons
from weldcalc.qualification.criteria import Acceptance, Criterion, read_acceptance
from weldcalc.qualification.demonstration import Demonstration, demonstrate
from weldcalc.qualification.feature_statistics import FeatureStatistics, feature_statistics
from weldcalc.qualification.statistics import reliability_words
from weldcalc.qualification.verdicts import CouponVerdict, Verdict, coupon_verdict, rows_for
from weldcalc.qualification.wording import first_few

__all__ = [
    "Acceptance",
    "CouponVerdict",
    "Criterion",
    "CriterionVerdict",
    "Judgement",
    "judge",
    "read_acceptance",
]

_ORDER: tuple[Verdict, ...] = ("not met", "not judged", "met")
RULE = "Decided by the value as measured; twice its standard uncertainty gives a caution only."


@frozen
class CriterionVerdict:
    """One criterion over all coupons.

    Parameters
    ----------
    criterion : Criterion
        As typed.
    verdict : {"met", "not met", "not judged"}
        "met" only when every coupon was judged and met it.
    coupons : tuple of CouponVerdict
        One each.
    demonstration : Demonstration
        What they show about the welds to come.
    """

    criterion: Criterion
    verdict: Verdict
    coupons: tuple[CouponVerdict, ...]
    demonstration: Demonstration

    def to_json(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "criterion": self.criterion.to_json(),
            "verdict": self.verdict,
            "coupons": [asdict(item) for item in self.coupons],
            "demonstration": self.demonstration.to_json(self.criterion.feature),
        }


@frozen
class Judgement:
    """All criteria over all coupons.

    Parameters
    ----------
    verdict : {"met", "not met", "not judged"}
        "met" only when every criterion is met and, where a reliability was typed, shown.
    criteria : tuple of CriterionVerdict
        In the order of the acceptance file.
    demonstration : {"met", "not met", "not judged"}
        Whether the coupons show the reliability that was typed, for every criterion.
    features : tuple of FeatureStatistics
        Of everything measured.
    findings : tuple of Finding
        Gravest first.
    """

    verdict: Verdict
    criteria: tuple[CriterionVerdict, ...]
    demonstration: Verdict
    features: tuple[FeatureStatistics, ...]
    findings: tuple[Finding, ...]

    def to_json(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "verdict": self.verdict,
            "criteria": [item.to_json() for item in self.criteria],
            "demonstration": self.demonstration,
            "features": [item.to_json() for item in self.features],
            "findings": [item.to_json() for item in self.findings],
            "rule": RULE,
        }


def judge(
    acceptance: Acceptance, coupons: Coupons, *, wall_thickness: float | None = None
) -> Judgement:
    """Judge every coupon by every criterion.

    Parameters
    ----------
    acceptance : Acceptance
        Typed criteria.
    coupons : Coupons
        Measured sections.
    wall_thickness : float, optional
        Of the schedule [m], for limits typed as a share of the wall; a section's own measured wall
        goes first.

    Returns
    -------
    Judgement
        A blank limit and a missing measurement are "not judged", never a pass.
    """
    verdicts = tuple(
        _criterion_verdict(criterion, acceptance, coupons, wall_thickness)
        for criterion in acceptance.criteria
    )
    shown = worst([item.demonstration.verdict for item in verdicts])
    parts = [item.verdict for item in verdicts]
    if acceptance.reliability is not None:
        parts.append(shown)
    features = feature_statistics(coupons)
    findings = [finding for item in verdicts for finding in _findings(item, acceptance)]
    findings += [finding for item in features for finding in item.findings]
    return Judgement(
        verdict=worst(parts),
        criteria=verdicts,
        demonstration=shown,
        features=features,
        findings=sort_findings(findings),
    )


def worst(verdicts: Sequence[Verdict]) -> Verdict:
    """Return "not met" before "not judged" before "met"; "not judged" when there is none.

    Parameters
    ----------
    verdicts : sequence of {"met", "not met", "not judged"}
        Of the parts.
    """
    return next((word for word in _ORDER if word in verdicts), "not judged")


def _criterion_verdict(
    criterion: Criterion, acceptance: Acceptance, coupons: Coupons, wall: float | None
) -> CriterionVerdict:
    verdicts = tuple(
        coupon_verdict(criterion, name, rows_for(criterion, coupons, name), wall)
        for name in coupons.names
    )
    return CriterionVerdict(
        criterion=criterion,
        verdict=worst([item.verdict for item in verdicts]),
        coupons=verdicts,
        demonstration=demonstrate(criterion, verdicts, acceptance, coupons, wall),
    )


def _findings(item: CriterionVerdict, acceptance: Acceptance) -> list[Finding]:
    words = item.criterion.words
    failed = [coupon for coupon in item.coupons if coupon.verdict == "not met"]
    close = [coupon for coupon in item.coupons if coupon.marginal]
    found = []
    if failed:
        found.append(Finding("stop", "criterion-not-met", f"{words}: {_named(failed)}"))
    found += _silence(item)
    if close:
        remedy = "Measure again with less uncertainty, or agree on a decision rule."
        text = f"{words}; within twice the standard uncertainty of the limit: {_named(close)}"
        found.append(Finding("caution", "within-uncertainty", text, remedy))
    if item.demonstration.verdict == "not met":
        found.append(_shortage(item, acceptance))
    if item.demonstration.by == "scatter":
        found.append(_by_scatter(item))
    return found


def _by_scatter(item: CriterionVerdict) -> Finding:
    shown = item.demonstration
    return Finding(
        weight="note",
        code="shown-by-scatter",
        text=(
            f"{item.criterion.words}: the reliability is shown by the scatter of {shown.judged} "
            "measured coupons, which presumes independent values from one normal population"
        ),
        remedy=f"By count alone it would take {shown.needed} coupons.",
        source="normal tolerance bounds, NIST/SEMATECH e-Handbook, 7.2.6.3, published",
    )


def _silence(item: CriterionVerdict) -> list[Finding]:
    words = item.criterion.words
    if item.criterion.is_blank:
        remedy = "Type the limit in from the code that governs, or strike the criterion."
        return [Finding("caution", "no-limit-typed", f"{words}; not judged", remedy)]
    silent = [coupon for coupon in item.coupons if coupon.verdict == "not judged"]
    if not silent:
        return []
    remedy = "Measure what is missing; a criterion that was not judged is not met."
    text = f"{words}; not judged: {_named(silent)}"
    return [Finding("caution", "criterion-not-judged", text, remedy)]


def _shortage(item: CriterionVerdict, acceptance: Acceptance) -> Finding:
    shown = item.demonstration
    wanted = reliability_words(acceptance.reliability or 0.0, shown.confidence)
    return Finding(
        weight="stop",
        code="reliability-not-shown",
        text=(
            f"{item.criterion.words}; {shown.judged} coupons judged, {shown.failed} failed: that "
            f"shows {100.0 * (shown.reliability or 0.0):.3g} %. Asked for: {wanted}"
        ),
        remedy=(
            f"{shown.needed} coupons with {shown.failed} failed would show it by count"
            + ("; find the cause of the failures first." if shown.failed else ".")
        ),
        source="exact binomial demonstration (success run), published",
    )


def _named(items: Sequence[CouponVerdict]) -> str:
    return first_few([f"{item.coupon}: {item.reason}" for item in items])
