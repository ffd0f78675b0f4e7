"""Control charts of single values: individuals, moving range, weighted average, rules, trend."""

from __future__ import annotations

from math import sqrt

import numpy as np
from attrs import field, frozen
from numpy.typing import ArrayLike, NDArray

from weldcalc.errors import InputError
from weldcalc.qualification.checks import count, fraction, sample

D2_OF_TWO = 1.128
"""Mean range of two normal values over their standard deviation (NIST/SEMATECH e-Handbook of
Statistical Methods, section 6.3.2.2)."""

D4_OF_TWO = 3.267
"""Upper limit of a range of two over its mean (same source)."""

BASELINE = 20
"""Values wanted before limits are firm (common practice, no source)."""

WEIGHT = 0.2
"""Weight of the newest value in the weighted average; 0.2 to 0.3 is usual (NIST/SEMATECH
e-Handbook, section 6.3.2.4)."""

_SIGMAS = 3.0
_SAME_SIDE = 8
_TREND = 6
_TREND_VALUES = 20


@frozen(eq=False)
class Individuals:
    """Individuals and moving-range chart.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In the order of time [any one unit].
    ranges : ndarray, shape (n - 1,)
        Between neighbours [same unit].
    centre, sigma, low, high : float
        Mean of the baseline, its standard deviation from the mean range, and the control limits
        [same unit].
    range_high : float
        Upper control limit of the ranges [same unit].
    baseline : int
        Number of values behind the limits.
    """

    values: NDArray[np.float64] = field(repr=False)
    ranges: NDArray[np.float64] = field(repr=False)
    centre: float
    sigma: float
    low: float
    high: float
    range_high: float
    baseline: int


def individuals(values: ArrayLike, *, baseline: int | None = None) -> Individuals:
    """Return the individuals and moving-range chart of a series.

    Parameters
    ----------
    values : array_like, shape (n,)
        In the order of time [any one unit], n at least 3.
    baseline : int, optional
        First values that the limits are computed of; all, but at most `BASELINE`, when left out.

    Returns
    -------
    Individuals
        Centre +/- 3 mean range / 1.128 (that is 2.66 mean ranges); ranges up to 3.267 mean ranges.

    Raises
    ------
    InputError
        When there are too few values, or all values of the baseline are equal.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2.
    """
    array = sample("values", values, least=3)
    number = min(array.size, BASELINE) if baseline is None else baseline
    count("baseline", number, least=3, most=int(array.size))
    ranges = np.abs(np.diff(array))
    mean_range = float(ranges[: number - 1].mean())
    if mean_range == 0.0:
        why = "all values of the baseline are equal: the gauge is too coarse for a control chart"
        raise InputError.of("values", why, float(array[0]))
    centre, sigma = float(array[:number].mean()), mean_range / D2_OF_TWO
    return Individuals(
        values=array,
        ranges=ranges,
        centre=centre,
        sigma=sigma,
        low=centre - _SIGMAS * sigma,
        high=centre + _SIGMAS * sigma,
        range_high=D4_OF_TWO * mean_range,
        baseline=number,
    )


@frozen(eq=False)
class WeightedAverage:
    """Exponentially weighted moving average with its limits; arrays of shape (n,).

    Parameters
    ----------
    average, low, high : ndarray, shape (n,)
        After each value [unit of the values].
    weight : float
        Of the newest value [-].
    """

    average: NDArray[np.float64] = field(repr=False)
    low: NDArray[np.float64] = field(repr=False)
    high: NDArray[np.float64] = field(repr=False)
    weight: float


def weighted_average(
    values: ArrayLike, *, centre: float, sigma: float, weight: float = WEIGHT
) -> WeightedAverage:
    """Return the exponentially weighted moving average of a series.

    Parameters
    ----------
    values : array_like, shape (n,)
        In the order of time [any one unit].
    centre, sigma : float
        Target, and standard deviation of single values [same unit].
    weight : float
        Of the newest value [-], between 0 and 1.

    Returns
    -------
    WeightedAverage
        z_t = weight y_t + (1 - weight) z_(t-1) from z_0 = centre; limits at three standard
        deviations of z_t, narrower for the first values.

    Raises
    ------
    InputError
        When a value is not finite or the weight is not between 0 and 1.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4 (limits for large t);
    the factor 1 - (1 - weight)^(2 t) for small t: D. C. Montgomery, Introduction to Statistical
    Quality Control (from memory).
    """
    array = sample("values", values, least=1)
    fraction("weight", weight)
    average = np.empty_like(array)
    last = centre
    for place, value in enumerate(array):
        last = weight * value + (1.0 - weight) * last
        average[place] = last
    steps = np.arange(1, array.size + 1)
    settled = sqrt(weight / (2.0 - weight))
    half = _SIGMAS * sigma * settled * np.sqrt(1.0 - (1.0 - weight) ** (2 * steps))
    return WeightedAverage(average=average, low=centre - half, high=centre + half, weight=weight)


@frozen
class Signal:
    """One sign that the series is not at rest.

    Parameters
    ----------
    position : int
        Place of the value that completes it, counted from 0.
    rule : str
        Short name.
    text : str
        In words.
    """

    position: int
    rule: str
    text: str


def signals(chart: Individuals, average: WeightedAverage) -> tuple[Signal, ...]:
    """Return the signs of unrest in a series, in the order of time.

    Parameters
    ----------
    chart : Individuals
        The chart of the series.
    average : WeightedAverage
        Of the same series.

    Returns
    -------
    tuple of Signal
        Value or range beyond its limit, 2 of 3 beyond two sigma, 4 of 5 beyond one sigma, 8 on one
        side, 6 rising or falling, weighted average beyond its limit. Of a lasting sign only the
        first place is given.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2 (run and trend rules).
    """
    z = (chart.values - chart.centre) / chart.sigma
    steps = np.sign(np.diff(chart.values))
    beyond = (average.average < average.low) | (average.average > average.high)
    ranges = np.concatenate(([False], chart.ranges > chart.range_high))
    rules = {
        ("value", "beyond its control limit"): np.abs(z) > _SIGMAS,
        ("range", "step from the one before beyond its control limit"): ranges,
        ("2 of 3", "2 of 3 beyond two sigma on one side"): _either(z, 2.0, 2, 3),
        ("4 of 5", "4 of 5 beyond one sigma on one side"): _either(z, 1.0, 4, 5),
        ("side", f"{_SAME_SIDE} in a row on one side"): _either(z, 0.0, _SAME_SIDE, _SAME_SIDE),
        ("trend", f"{_TREND} in a row rising or falling"): np.concatenate(
            ([False], _either(steps, 0.0, _TREND - 1, _TREND - 1))
        ),
        ("average", "weighted average beyond its control limit"): beyond,
    }
    found = [
        Signal(position, rule, text)
        for (rule, text), hits in rules.items()
        for position in np.flatnonzero(hits & ~np.concatenate(([False], hits[:-1]))).tolist()
    ]
    return tuple(sorted(found, key=lambda signal: signal.position))


def _either(values: NDArray[np.float64], beyond: float, least: int, of: int) -> NDArray[np.bool_]:
    return _at_least(values > beyond, least, of) | _at_least(values < -beyond, least, of)


def _at_least(hits: NDArray[np.bool_], least: int, of: int) -> NDArray[np.bool_]:
    """Return where a hit completes `least` hits among the last `of` values."""
    total = np.cumsum(np.concatenate((np.zeros(of, dtype=int), hits.astype(int))))
    enough: NDArray[np.bool_] = (total[of:] - total[:-of]) >= least
    return hits & enough


@frozen
class Forecast:
    """Where a drift leads.

    Parameters
    ----------
    slope : float
        Change from one value to the next [unit of the values].
    steps : float
        Values still to come before the line crosses the edge [-]; 0 when it has crossed.
    edge : float
        Edge that it heads for [unit of the values].
    """

    slope: float
    steps: float
    edge: float


def forecast(values: ArrayLike, *, low: float | None, high: float | None) -> Forecast | None:
    """Return when a steady drift of the last values reaches a tolerance edge.

    Parameters
    ----------
    values : array_like, shape (n,)
        In the order of time [any one unit]; the last 20 are used.
    low, high : float or None
        Tolerance edges [same unit].

    Returns
    -------
    Forecast or None
        None when no drift is shown at the 5 % level, there are fewer than 5 values, or no edge
        lies ahead.

    Raises
    ------
    InputError
        When a value is not finite.

    Notes
    -----
    Straight line by least squares. It warns; it does not predict.
    """
    from scipy.stats import linregress

    array = sample("values", values, least=1)[-_TREND_VALUES:]
    if array.size < 5 or float(np.ptp(array)) == 0.0:
        return None
    line = linregress(np.arange(array.size), array)
    slope, edge = float(line.slope), high if line.slope > 0.0 else low
    if edge is None or not float(line.pvalue) < 0.05:
        return None
    now = float(line.intercept) + slope * (array.size - 1)
    return Forecast(slope=slope, steps=max((edge - now) / slope, 0.0), edge=edge)
