"""Is a handful of values normal, and does one stand apart? Outliers are named and kept."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import Any

import numpy as np
from attrs import asdict, frozen
from numpy.typing import ArrayLike, NDArray

from weldcalc.qualification.checks import count, fraction, sample

NORMALITY_LEAST = 8
"""Below this many values a normality test rejects almost nothing (common practice, no source)."""

GRUBBS_LEAST = 7
"""Values needed before an outlier test is worth stating (common practice, no source)."""

_SHAPIRO_MOST = 5000  # beyond this scipy's p-value is not accurate
_SIGNIFICANCE = 0.05


@frozen
class Normality:
    """Result of a normality check.

    Parameters
    ----------
    n : int
        Number of values.
    statistic : float or None
        Shapiro-Wilk W [-]; None when it cannot be computed.
    p_value : float or None
        Chance of so small a W from a normal population [-].
    doubtful : bool
        True when normality is rejected at the 5 % level.
    statement : str
        What this does and does not show.
    """

    n: int
    statistic: float | None
    p_value: float | None
    doubtful: bool
    statement: str

    def to_json(self) -> dict[str, Any]:
        """Return plain numbers and texts."""
        return asdict(self)


def normality(values: ArrayLike) -> Normality:
    """Check values against a normal population (Shapiro-Wilk).

    Parameters
    ----------
    values : array_like, shape (n,)
        Independent values [any one unit], n at least 1.

    Returns
    -------
    Normality
        Statistic, p-value and a statement; nothing is rejected on fewer than three values.

    Raises
    ------
    InputError
        When a value is not finite.

    References
    ----------
    S. S. Shapiro and M. B. Wilk, Biometrika 52 (1965) 591.
    """
    from scipy.stats import shapiro

    array = sample("values", values, least=1)
    n = int(array.size)
    if n < 3 or n > _SHAPIRO_MOST or float(np.ptp(array)) == 0.0:
        return Normality(n, None, None, False, _untested_statement(n))
    statistic, p_value = (float(number) for number in shapiro(array))
    doubtful = p_value < _SIGNIFICANCE
    return Normality(n, statistic, p_value, doubtful, _normality_statement(n, p_value))


def _untested_statement(n: int) -> str:
    if n < 3:
        return f"{n} value{'' if n == 1 else 's'}: normality cannot be tested."
    if n > _SHAPIRO_MOST:
        return f"{n} values: too many for this test; look at the plot."
    return f"{n} equal values: the gauge is too coarse to test normality."


def _normality_statement(n: int, p_value: float) -> str:
    if p_value < _SIGNIFICANCE:
        return (
            f"{n} values, p = {p_value:.2g}: not from one normal population; tolerance bounds "
            "and capability do not hold, use pass or fail counts."
        )
    if n < NORMALITY_LEAST:
        return f"{n} values, p = {p_value:.2g}: too few to tell; normality is assumed, not shown."
    return f"{n} values, p = {p_value:.2g}: no evidence against a normal population."


@frozen
class Outliers:
    """Values that stand apart, most extreme first.

    Parameters
    ----------
    positions : tuple of int
        Their places in the values given, counted from 0.
    names : tuple of str
        Their labels.
    statistics, critical : tuple of float
        Test statistic and critical value of each step tried [-].
    statement : str
        What was found; the values stay in every other figure.
    """

    positions: tuple[int, ...]
    names: tuple[str, ...]
    statistics: tuple[float, ...]
    critical: tuple[float, ...]
    statement: str

    def to_json(self) -> dict[str, Any]:
        """Return plain numbers and texts."""
        return asdict(self)


def outliers(
    values: ArrayLike,
    labels: Sequence[str] | None = None,
    *,
    significance: float = _SIGNIFICANCE,
    most: int | None = None,
) -> Outliers:
    """Name the values that stand apart, and drop none.

    Parameters
    ----------
    values : array_like, shape (n,)
        Independent values [any one unit].
    labels : sequence of str, optional
        One name per value; "value 1" and so on when left out.
    significance : float
        Chance of naming a value although all are normal [-], between 0 and 1.
    most : int, optional
        Most outliers looked for; a tenth of n and at least one when left out. With one this is
        the Grubbs test.

    Returns
    -------
    Outliers
        Empty when none stands apart, or when there are too few values to tell.

    Raises
    ------
    InputError
        When a value is not finite or the labels do not match.

    References
    ----------
    B. Rosner, Technometrics 25 (1983) 165 (generalised extreme studentised deviate), as worked in
    NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.17.3; Grubbs test: 1.3.5.17.1.
    """
    array = sample("values", values, least=1)
    fraction("significance", significance)
    names = _labels(array.size, labels)
    n = int(array.size)
    if n < GRUBBS_LEAST or float(np.ptp(array)) == 0.0:
        return Outliers((), (), (), (), "Too few values, or too equal, to name an outlier.")
    steps = max(1, n // 10) if most is None else count("most", most, least=1, most=n - 3)
    order, statistics = _extremes(array, steps)
    critical = [_critical(n - step, significance) for step in range(len(statistics))]
    found = max(
        (step + 1 for step, value in enumerate(statistics) if value > critical[step]), default=0
    )
    positions = tuple(order[:found])
    chosen = tuple(names[position] for position in positions)
    statement = _outlier_statement(n, chosen)
    return Outliers(positions, chosen, tuple(statistics), tuple(critical), statement)


def _labels(n: int, labels: Sequence[str] | None) -> list[str]:
    if labels is None:
        return [f"value {number + 1}" for number in range(n)]
    count("number of labels", len(labels), least=n, most=n)
    return list(labels)


def _extremes(array: NDArray[np.float64], steps: int) -> tuple[list[int], list[float]]:
    order: list[int] = []
    statistics: list[float] = []
    left = np.arange(array.size)
    for _ in range(steps):
        rest = array[left]
        sd = float(rest.std(ddof=1))
        if sd == 0.0:
            break
        far = np.abs(rest - rest.mean())
        place = int(np.argmax(far))
        statistics.append(float(far[place]) / sd)
        order.append(int(left[place]))
        left = np.delete(left, place)
    return order, statistics


def _critical(n: int, significance: float) -> float:
    from scipy.stats import t

    quantile = float(t.ppf(1.0 - significance / (2.0 * n), n - 2))
    return (n - 1) * quantile / sqrt((n - 2 + quantile**2) * n)


def _outlier_statement(n: int, names: tuple[str, ...]) -> str:
    if not names:
        return f"{n} values: none stands apart."
    return (
        f"{n} values: {', '.join(names)} stand{'s' if len(names) == 1 else ''} apart. Kept in all "
        "figures; find the cause before leaving a coupon out."
    )
