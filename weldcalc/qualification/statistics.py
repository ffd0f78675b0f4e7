"""Sample sizes, tolerance factors, exact proportions and capability: what few coupons can show.

Two numbers written as "90/95" are read as reliability/confidence by some texts and the other way
round by others. Here both are always named; ``reliability_text`` spells them out.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from weldcalc.errors import InputError
from weldcalc.qualification.capability import (
    Capability,
    capability,
    capability_from_summary,
)
from weldcalc.qualification.checks import count, fraction
from weldcalc.qualification.screening import (
    Normality,
    Outliers,
    normality,
    outliers,
)

__all__ = [
    "Capability",
    "Normality",
    "Outliers",
    "capability",
    "capability_from_summary",
    "confidence_reached",
    "coupons_needed",
    "natrella_factor",
    "normality",
    "outliers",
    "proportion_interval",
    "reliability_shown",
    "reliability_text",
    "reliability_words",
    "tolerance_bounds",
    "tolerance_factor",
]

# a tie such as reliability 0.5 and confidence 0.75 must not cost a coupon through rounding
_TIE = 1e-12


def coupons_needed(reliability: float, confidence: float, failures: int = 0) -> int:
    """Return the smallest number of coupons that shows a reliability at a confidence.

    Parameters
    ----------
    reliability : float
        Share of all welds that must be good [-], between 0 and 1.
    confidence : float
        Chance that a worse process would have been caught [-], between 0 and 1.
    failures : int
        Coupons allowed to fail among those welded.

    Returns
    -------
    int
        Number of coupons, all judged pass or fail and independent of each other.

    Raises
    ------
    InputError
        When a fraction is not between 0 and 1 or `failures` is negative.

    Notes
    -----
    Smallest n for which the binomial chance of `failures` or fewer is at most 1 - confidence. For
    no failure this is the success-run formula n = ceil(ln(1 - confidence) / ln(reliability)).

    Examples
    --------
    >>> coupons_needed(0.95, 0.95)
    59
    >>> coupons_needed(0.90, 0.95, failures=1)
    46
    """
    fraction("reliability", reliability)
    fraction("confidence", confidence)
    count("failures", failures, least=0)
    short, enough = failures, failures + 1
    while confidence_reached(enough, reliability, failures) < confidence - _TIE:
        short, enough = enough, 2 * enough
    while enough - short > 1:
        middle = (short + enough) // 2
        if confidence_reached(middle, reliability, failures) < confidence - _TIE:
            short = middle
        else:
            enough = middle
    return enough


def confidence_reached(n: int, reliability: float, failures: int = 0) -> float:
    """Return the confidence that n coupons with some failures give in a reliability.

    Parameters
    ----------
    n : int
        Coupons welded and judged, more than `failures`.
    reliability : float
        Share of good welds to be shown [-], between 0 and 1.
    failures : int
        Coupons that failed.

    Returns
    -------
    float
        Confidence [-].

    Raises
    ------
    InputError
        When the numbers are impossible.

    References
    ----------
    Exact binomial demonstration (success run): 1 - sum over i <= failures of
    C(n, i) (1 - R)^i R^(n - i), written as an incomplete beta function.
    """
    from scipy.special import betainc

    fraction("reliability", reliability)
    count("n", n, least=1)
    count("failures", failures, least=0, most=n - 1)
    return float(betainc(failures + 1, n - failures, 1.0 - reliability))


def reliability_shown(n: int, confidence: float, failures: int = 0) -> float:
    """Return the reliability that n coupons with some failures show at a confidence.

    Parameters
    ----------
    n : int
        Coupons welded and judged.
    confidence : float
        Confidence wanted [-], between 0 and 1.
    failures : int
        Coupons that failed, at most n.

    Returns
    -------
    float
        One-sided lower bound on the share of good welds [-]; (1 - confidence)^(1/n) when none
        failed, 0 when all did.

    Raises
    ------
    InputError
        When the numbers are impossible.

    References
    ----------
    C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404, one-sided.
    """
    from scipy.stats import beta

    fraction("confidence", confidence)
    count("n", n, least=1)
    count("failures", failures, least=0, most=n)
    if failures == n:
        return 0.0
    return float(beta.ppf(1.0 - confidence, n - failures, failures + 1))


def proportion_interval(failures: int, n: int, confidence: float) -> tuple[float, float]:
    """Return the exact two-sided interval of a proportion.

    Parameters
    ----------
    failures : int
        Number that failed, 0 to n.
    n : int
        Number judged.
    confidence : float
        Confidence of the two-sided interval [-], between 0 and 1.

    Returns
    -------
    tuple of float
        Lower and upper limit of the share that fails [-].

    Raises
    ------
    InputError
        When the numbers are impossible.

    References
    ----------
    C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404; NIST/SEMATECH e-Handbook of
    Statistical Methods, section 7.2.4.2.
    """
    from scipy.stats import beta

    fraction("confidence", confidence)
    count("n", n, least=1)
    count("failures", failures, least=0, most=n)
    tail = (1.0 - confidence) / 2.0
    low = float(beta.ppf(tail, failures, n - failures + 1)) if failures else 0.0
    high = float(beta.ppf(1.0 - tail, failures + 1, n - failures)) if failures < n else 1.0
    return low, high


def tolerance_factor(n: int, coverage: float, confidence: float, sides: int = 1) -> float:
    """Return k such that mean -/+ k times the standard deviation bounds a share of all parts.

    Parameters
    ----------
    n : int
        Number of measured values, at least 2.
    coverage : float
        Share of all parts to be bounded [-], between 0 and 1.
    confidence : float
        Chance that the bound holds [-], between 0 and 1.
    sides : {1, 2}
        1: everything above mean - k s, or everything below mean + k s; 2: between both.

    Returns
    -------
    float
        Factor k on the sample standard deviation [-].

    Raises
    ------
    InputError
        When the numbers are impossible.

    Notes
    -----
    Holds for independent values from one normal population. One side: quantile of the noncentral
    t distribution, k = t'(confidence; n - 1, z_coverage sqrt(n)) / sqrt(n). Two sides: exact, by
    quadrature over the sample mean.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.3 (one side).
    K. Krishnamoorthy and T. Mathew, Statistical Tolerance Regions (Wiley 2009), section 2.3.1
    (two sides; from memory).

    Examples
    --------
    >>> round(tolerance_factor(10, 0.90, 0.95), 3)
    2.355
    """
    from scipy.stats import nct, norm

    count("n", n, least=2)
    fraction("coverage", coverage)
    fraction("confidence", confidence)
    if sides == 2:
        return _two_sided_factor(n, coverage, confidence)
    if sides != 1:
        raise InputError.of("sides", "1 for a one-sided bound, 2 for a two-sided interval", sides)
    return float(nct.ppf(confidence, n - 1, norm.ppf(coverage) * sqrt(n)) / sqrt(n))


def _two_sided_factor(n: int, coverage: float, confidence: float) -> float:
    from scipy.optimize import brentq
    from scipy.stats import chi2

    nodes, weights = np.polynomial.legendre.leggauss(160)
    offset = 4.5 * (nodes + 1.0) / sqrt(n)  # 0 to 9 standard errors of the mean
    density = np.exp(-n * offset**2 / 2.0) * weights * 4.5 * sqrt(2.0 / np.pi)
    half_width = _half_width_covering(offset, coverage)

    def excess(log_k: float) -> float:
        holds = chi2.sf((n - 1) * (half_width * np.exp(-log_k)) ** 2, n - 1)
        return float(holds @ density) - confidence

    return float(np.exp(brentq(excess, -30.0, 60.0, xtol=1e-12)))


def _half_width_covering(offset: NDArray[np.float64], coverage: float) -> NDArray[np.float64]:
    # r with Phi(offset + r) - Phi(offset - r) = coverage: the covered share of a normal
    # population when the sample mean is off by `offset` population standard deviations
    from scipy.special import chndtrix

    squared: NDArray[np.float64] = np.asarray(chndtrix(coverage, 1.0, offset**2), dtype=float)
    return np.sqrt(squared)


def natrella_factor(n: int, coverage: float, confidence: float) -> float:
    """Return the closed-form approximation of the one-sided tolerance factor.

    Parameters
    ----------
    n : int
        Number of measured values, at least 2.
    coverage, confidence : float
        As for `tolerance_factor` [-].

    Returns
    -------
    float
        Approximate k [-]; kept as a check on the exact value and for hand calculation.

    Raises
    ------
    InputError
        When n is too small for the approximation at this confidence.

    References
    ----------
    M. G. Natrella, Experimental Statistics, NBS Handbook 91 (1963); worked in NIST/SEMATECH
    e-Handbook of Statistical Methods, section 7.2.6.3.
    """
    from scipy.stats import norm

    count("n", n, least=2)
    z_coverage = float(norm.ppf(fraction("coverage", coverage)))
    z_confidence = float(norm.ppf(fraction("confidence", confidence)))
    a = 1.0 - z_confidence**2 / (2.0 * (n - 1))
    b = z_coverage**2 - z_confidence**2 / n
    if a <= 0.0 or z_coverage**2 < a * b:
        why = "too few values for the approximation at this confidence; use tolerance_factor"
        raise InputError.of("n", why, n)
    return (z_coverage + sqrt(z_coverage**2 - a * b)) / a


def tolerance_bounds(*, mean: float, sd: float, factor: float) -> tuple[float, float]:
    """Return mean - factor sd and mean + factor sd.

    Parameters
    ----------
    mean, sd : float
        Sample mean and standard deviation [unit of the values].
    factor : float
        From `tolerance_factor` [-].

    Returns
    -------
    tuple of float
        Lower and upper bound [unit of the values]. With a one-sided factor each holds on its own.
    """
    return mean - factor * sd, mean + factor * sd


def reliability_words(reliability: float, confidence: float) -> str:
    """Return a reliability and its confidence as one phrase.

    Parameters
    ----------
    reliability, confidence : float
        Both [-], between 0 and 1.

    Returns
    -------
    str
        Such as "at least 90 % of all welds good, with 95 % confidence".

    Raises
    ------
    InputError
        When one is not between 0 and 1.
    """
    share, sure = fraction("reliability", reliability), fraction("confidence", confidence)
    return f"at least {100 * share:.4g} % of all welds good, with {100 * sure:.4g} % confidence"


def reliability_text(reliability: float, confidence: float) -> str:
    """Return a reliability and its confidence in words, with the short notation explained.

    Parameters
    ----------
    reliability, confidence : float
        Both [-], between 0 and 1.

    Returns
    -------
    str
        One or two sentences without an ambiguous "a/b" standing alone.

    Raises
    ------
    InputError
        When one is not between 0 and 1.
    """
    text = reliability_words(reliability, confidence)
    short = f"{100 * reliability:.4g}/{100 * confidence:.4g}"
    if reliability == confidence:
        return f'{text} (short: "{short}").'
    return (
        f'{text}. Short notation is ambiguous: "{short}" means this in some texts and the '
        "reverse in others, so write both words out."
    )
