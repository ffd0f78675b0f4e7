"""Sample sizes, bounds and indices against scipy's own distributions, and their refusals."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from weldcalc.errors import InputError
from weldcalc.qualification.statistics import (
    capability,
    capability_from_summary,
    confidence_reached,
    coupons_needed,
    natrella_factor,
    normality,
    outliers,
    proportion_interval,
    reliability_shown,
    reliability_text,
    tolerance_bounds,
    tolerance_factor,
)

SHARES = st.floats(0.5, 0.999)


@given(SHARES, SHARES, st.integers(0, 6))
def test_coupons_needed_is_the_smallest_number(
    reliability: float, confidence: float, failures: int
) -> None:
    n = coupons_needed(reliability, confidence, failures)
    missed = stats.binom.cdf(failures, n, 1 - reliability)
    assert missed <= (1 - confidence) * (1 + 1e-9) + 1e-11
    if n > failures + 1:
        assert stats.binom.cdf(failures, n - 1, 1 - reliability) > 1 - confidence


@given(SHARES, SHARES)
def test_without_failure_it_is_the_success_run(reliability: float, confidence: float) -> None:
    exact = math.log(1 - confidence) / math.log(reliability)
    n = coupons_needed(reliability, confidence)
    assert exact - 1e-9 <= n <= exact + 1 + 1e-9


def test_a_tie_costs_no_coupon() -> None:
    assert coupons_needed(0.5, 0.75) == 2
    assert coupons_needed(0.9, 1 - 0.9**22) == 22


def test_very_high_reliability_is_still_found() -> None:
    assert coupons_needed(0.999999, 0.95) == math.ceil(math.log(0.05) / math.log(0.999999))


@given(st.integers(1, 200), SHARES, st.data())
def test_reliability_shown_and_confidence_reached_are_inverse(
    n: int, confidence: float, data: st.DataObject
) -> None:
    failures = data.draw(st.integers(0, n - 1))
    shown = reliability_shown(n, confidence, failures)
    assert confidence_reached(n, shown, failures) == pytest.approx(confidence, rel=1e-9)
    assert stats.binom.cdf(failures, n, 1 - shown) == pytest.approx(1 - confidence, rel=1e-7)


def test_reliability_shown_by_failures_only_is_none() -> None:
    assert reliability_shown(5, 0.95, 5) == 0.0


@pytest.mark.parametrize(("failures", "n"), [(0, 12), (3, 12), (12, 12), (4, 20)])
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_interval_of_a_proportion(failures: int, n: int, confidence: float) -> None:
    exact = stats.binomtest(failures, n).proportion_ci(confidence, method="exact")
    assert proportion_interval(failures, n, confidence) == pytest.approx((exact.low, exact.high))


def slow_two_sided(n: int, coverage: float, confidence: float) -> float:
    """The defining integral, by adaptive quadrature and root finding at every point."""

    def half_width(z: float) -> float:
        def excess(r: float) -> float:
            return stats.norm.cdf(z + r) - stats.norm.cdf(z - r) - coverage

        return optimize.brentq(excess, 0, z + 9)

    def holds(k: float) -> float:
        def density(z: float) -> float:
            tail = stats.chi2.sf((n - 1) * (half_width(z) / k) ** 2, n - 1)
            return tail * math.exp(-n * z * z / 2)

        area = integrate.quad(density, 0, 9 / math.sqrt(n), epsabs=1e-10)[0]
        return math.sqrt(2 * n / math.pi) * area - confidence

    return optimize.brentq(holds, 0.5, 400, xtol=1e-9)


@pytest.mark.parametrize(
    ("n", "coverage", "confidence"), [(2, 0.9, 0.9), (12, 0.99, 0.95), (60, 0.9, 0.99)]
)
def test_two_sided_factor_is_the_defining_integral(
    n: int, coverage: float, confidence: float
) -> None:
    exact = slow_two_sided(n, coverage, confidence)
    assert tolerance_factor(n, coverage, confidence, sides=2) == pytest.approx(exact, rel=1e-6)


@pytest.mark.parametrize("sides", [1, 2])
def test_tolerance_bounds_hold_as_often_as_they_say(sides: int) -> None:
    n, coverage, confidence, trials = 8, 0.9, 0.9, 20_000
    sample = np.random.default_rng(7).standard_normal((trials, n))
    factor = tolerance_factor(n, coverage, confidence, sides)
    mean, sd = sample.mean(axis=1), sample.std(axis=1, ddof=1)
    below = stats.norm.cdf(mean - factor * sd) if sides == 2 else 0.0
    covered = stats.norm.cdf(mean + factor * sd) - below
    held = np.mean(covered >= coverage)
    # four standard errors of a share of 20 000
    assert held == pytest.approx(confidence, abs=4 * math.sqrt(0.09 / trials))


@given(st.integers(2, 400), SHARES, SHARES)
def test_more_coupons_need_no_larger_factor(n: int, coverage: float, confidence: float) -> None:
    if confidence > 0.55:
        more = tolerance_factor(n + 1, coverage, confidence)
        assert more < tolerance_factor(n, coverage, confidence)


@pytest.mark.parametrize("sides", [1, 2])
def test_factor_tends_to_the_normal_quantile(sides: int) -> None:
    quantile = stats.norm.ppf(0.95) if sides == 1 else stats.norm.ppf(0.975)
    assert tolerance_factor(1_000_000, 0.95, 0.95, sides) == pytest.approx(quantile, rel=3e-3)


def test_natrella_is_close_for_many_and_refuses_few() -> None:
    errors = [
        abs(natrella_factor(n, 0.9, 0.95) / tolerance_factor(n, 0.9, 0.95) - 1)
        for n in (10, 60, 400, 3000)
    ]
    assert errors == sorted(errors, reverse=True)
    assert errors[-1] < 1e-3
    with pytest.raises(InputError, match="too few values"):
        natrella_factor(2, 0.9, 0.95)


def test_bounds_lie_about_the_mean() -> None:
    assert tolerance_bounds(mean=10.0, sd=2.0, factor=1.5) == (7.0, 13.0)


def test_capability_of_values_is_that_of_their_summary() -> None:
    values = np.array([9.7, 10.1, 10.4, 9.9, 10.0, 10.3])
    found = capability(values, 9.0, 11.5, 0.9)
    same = capability_from_summary(
        n=6,
        mean=float(values.mean()),
        sd=float(values.std(ddof=1)),
        low=9.0,
        high=11.5,
        confidence=0.9,
    )
    assert found == same
    # by hand: mean 10 + 1/15, sum of squares 1/3
    assert found.index == found.cpk == pytest.approx((1 + 1 / 15) / (3 * math.sqrt(1 / 15)))
    assert found.interval[0] < found.index < found.interval[1]
    assert found.cp is not None
    assert found.cp > found.cpk
    assert any("50" in statement for statement in found.statements)


def test_capability_against_one_limit_has_no_cp() -> None:
    found = capability_from_summary(n=60, mean=5.0, sd=1.0, low=2.0, high=None, confidence=0.95)
    assert (found.cp, found.cp_interval) == (None, None)
    assert found.cpk == pytest.approx(1.0)
    assert len(found.statements) == 1


def test_capability_of_a_mean_on_the_limit_still_has_an_interval() -> None:
    found = capability_from_summary(n=25, mean=2.0, sd=1.0, low=2.0, high=None, confidence=0.95)
    half = stats.norm.ppf(0.975) / math.sqrt(9 * 25)
    assert found.interval == pytest.approx((-half, half))


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: coupons_needed(95, 0.95), "here probably 0.95"),
        (lambda: coupons_needed(1.0, 0.95), "between 0 and 1"),
        (lambda: coupons_needed(0.9, float("nan")), "between 0 and 1"),
        (lambda: coupons_needed(0.9, 0.9, -1), "at least 0"),
        (lambda: coupons_needed(0.9, 0.9, 1.5), "whole number"),
        (lambda: proportion_interval(21, 20, 0.9), "at most 20"),
        (lambda: reliability_shown(0, 0.9), "at least 1"),
        (lambda: confidence_reached(3, 0.9, 3), "at most 2"),
        (lambda: tolerance_factor(1, 0.9, 0.9), "at least 2"),
        (lambda: tolerance_factor(9, 0.9, 0.9, 3), "sides"),
        (lambda: capability([1.0, 2.0], None, None, 0.9), "at least one limit"),
        (lambda: capability([1.0, 2.0], 3.0, 2.0, 0.9), "below the upper"),
        (lambda: capability([1.0, 1.0], 0.0, 2.0, 0.9), "too coarse"),
        (lambda: capability([1.0, float("nan")], 0.0, 2.0, 0.9), r"values\[1\]"),
        (lambda: capability([[1.0], [2.0]], 0.0, 2.0, 0.9), "one plain row"),
        (lambda: outliers([1.0] * 9, ["a"]), "labels"),
    ],
)
def test_refusals_say_what_to_do(call: Callable[[], object], match: str) -> None:
    with pytest.raises(InputError, match=match):
        call()


@pytest.mark.parametrize("n", [1, 2])
def test_normality_of_one_or_two_values_cannot_be_tested(n: int) -> None:
    found = normality([1.0, 2.0][:n])
    assert found.statistic is None
    assert not found.doubtful
    assert "cannot be tested" in found.statement


def test_normality_of_few_values_is_assumed_not_shown() -> None:
    assert "assumed, not shown" in normality([1.0, 2.0, 2.5, 3.1]).statement


def test_normality_of_equal_values_blames_the_gauge() -> None:
    assert "coarse" in normality([0.4, 0.4, 0.4, 0.4]).statement


def test_normality_of_many_normal_values_is_not_doubted() -> None:
    quantiles = stats.norm.ppf((np.arange(40) + 0.5) / 40)
    assert not normality(quantiles).doubtful


def test_outlier_is_named_and_values_are_untouched() -> None:
    values = np.array([1.0, 1.1, 0.9, 1.05, 0.95, 1.02, 0.98, 3.0])
    kept = values.copy()
    found = outliers(values, [f"K{number}" for number in range(8)])
    assert found.names == ("K7",)
    assert "Kept in all figures" in found.statement
    assert np.array_equal(values, kept)


@pytest.mark.parametrize("values", [[1.0, 2.0, 9.0], [2.0] * 9])
def test_too_few_or_equal_values_hold_no_outlier(values: list[float]) -> None:
    assert outliers(values).positions == ()


def test_the_short_notation_is_explained_where_it_is_ambiguous() -> None:
    text = reliability_text(0.90, 0.95)
    assert "at least 90 % of all welds good, with 95 % confidence" in text
    assert "the reverse" in text
    assert "reverse" not in reliability_text(0.95, 0.95)
