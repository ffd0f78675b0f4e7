"""Capability of a feature against its limits, with the interval that few values leave open."""

from __future__ import annotations

from math import sqrt

from attrs import frozen
from numpy.typing import ArrayLike

from weldcalc.errors import InputError
from weldcalc.qualification.checks import count, fraction, sample

CAPABILITY_VALUES = 50
"""Independent values asked for before an index is quoted (NIST/SEMATECH e-Handbook of Statistical
Methods, section 6.1.6)."""


@frozen
class Capability:
    """Capability of one feature against its limits.

    Parameters
    ----------
    n : int
        Number of values.
    mean, sd : float
        Of the values [unit of the values].
    low, high : float or None
        Limits [unit of the values]; None where there is none.
    confidence : float
        Confidence of both intervals [-].
    cp : float or None
        Room between the limits over six standard deviations [-]; None with only one limit.
    cp_interval : tuple of float or None
        Two-sided interval of `cp` [-], from the chi-square distribution.
    cpk : float
        Distance from the mean to the nearer limit over three standard deviations [-].
    cpk_interval : tuple of float
        Two-sided interval of `cpk` [-].
    statements : tuple of str
        What must stand beside the index.
    """

    n: int
    mean: float
    sd: float
    low: float | None
    high: float | None
    confidence: float
    cp: float | None
    cp_interval: tuple[float, float] | None
    cpk: float
    cpk_interval: tuple[float, float]
    statements: tuple[str, ...]

    @property
    def index(self) -> float:
        """Return the index that counts, Cpk [-]."""
        return self.cpk

    @property
    def interval(self) -> tuple[float, float]:
        """Return the interval of the index that counts [-]."""
        return self.cpk_interval


def capability(
    values: ArrayLike, low: float | None, high: float | None, confidence: float
) -> Capability:
    """Return the capability indices of measured values, each with its interval.

    Parameters
    ----------
    values : array_like, shape (n,)
        Independent measured values [any one unit], n at least 2.
    low, high : float or None
        Limits [unit of the values]; at least one.
    confidence : float
        Confidence of the two-sided intervals [-], between 0 and 1.

    Returns
    -------
    Capability
        Cp and Cpk with intervals.

    Raises
    ------
    InputError
        When there are fewer than two values, no limit, limits in the wrong order, or all values
        are equal.
    """
    array = sample("values", values, least=2)
    return capability_from_summary(
        n=array.size,
        mean=float(array.mean()),
        sd=float(array.std(ddof=1)),
        low=low,
        high=high,
        confidence=confidence,
    )


def capability_from_summary(
    *, n: int, mean: float, sd: float, low: float | None, high: float | None, confidence: float
) -> Capability:
    """Return the capability indices from mean and standard deviation.

    Parameters
    ----------
    n : int
        Number of values behind them, at least 2.
    mean, sd : float
        Sample mean and standard deviation [any one unit].
    low, high : float or None
        Limits [same unit]; at least one.
    confidence : float
        Confidence of the two-sided intervals [-], between 0 and 1.

    Returns
    -------
    Capability
        Cp and Cpk with intervals.

    Raises
    ------
    InputError
        As for `capability`.

    Notes
    -----
    Cpk interval: Cpk +/- z sqrt(1 / (9 n) + Cpk^2 / (2 (n - 1))). Cp interval: Cp times
    sqrt(chi2(tail; n - 1) / (n - 1)).

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6 (definitions, Cp interval).
    A. F. Bissell, Applied Statistics 39 (1990) 331 (Cpk interval; formula from memory).
    """
    count("n", n, least=2)
    fraction("confidence", confidence)
    _check_limits(low, high)
    if not sd > 0.0:
        why = "all values are equal: the index is infinite, the gauge probably too coarse"
        raise InputError.of("sd", why, sd)
    cp = None if low is None or high is None else (high - low) / (6.0 * sd)
    cpk = min(_distances(mean, low, high)) / (3.0 * sd)
    return Capability(
        n=n,
        mean=mean,
        sd=sd,
        low=low,
        high=high,
        confidence=confidence,
        cp=cp,
        cp_interval=None if cp is None else _cp_interval(cp, n, confidence),
        cpk=cpk,
        cpk_interval=_cpk_interval(cpk, n, confidence),
        statements=_statements(n),
    )


def _check_limits(low: float | None, high: float | None) -> None:
    if low is None and high is None:
        raise InputError.of("low, high", "give at least one limit")
    if low is not None and high is not None and not low < high:
        raise InputError.of("low, high", "the lower limit must lie below the upper", (low, high))


def _distances(mean: float, low: float | None, high: float | None) -> list[float]:
    below = [] if low is None else [mean - low]
    return below if high is None else [*below, high - mean]


def _cp_interval(cp: float, n: int, confidence: float) -> tuple[float, float]:
    from scipy.stats import chi2

    tail = (1.0 - confidence) / 2.0
    low, high = (float(chi2.ppf(q, n - 1)) for q in (tail, 1.0 - tail))
    return cp * sqrt(low / (n - 1)), cp * sqrt(high / (n - 1))


def _cpk_interval(cpk: float, n: int, confidence: float) -> tuple[float, float]:
    from scipy.stats import norm

    z = float(norm.ppf((1.0 + confidence) / 2.0))
    # written so that it also holds at Cpk = 0, where the usual relative form divides by zero
    half = z * sqrt(1.0 / (9.0 * n) + cpk**2 / (2.0 * (n - 1)))
    return cpk - half, cpk + half


def _statements(n: int) -> tuple[str, ...]:
    always = "An index presumes independent, normal values from a process in control."
    if n >= CAPABILITY_VALUES:
        return (always,)
    return (
        always,
        f"{n} values; about {CAPABILITY_VALUES} are asked for before an index is quoted "
        "(NIST/SEMATECH e-Handbook, 6.1.6): read the interval, not the index.",
    )
