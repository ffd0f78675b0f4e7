"""Gauge study: how much of the scatter of a measured feature belongs to the measuring."""

from __future__ import annotations

from math import sqrt
from typing import Any, Literal

import numpy as np
from attrs import asdict, frozen
from numpy.typing import ArrayLike, NDArray

from weldcalc.errors import InputError

Method = Literal["average-range", "anova"]

# 1 / d2: mean range of repeated readings to one standard deviation, many ranges averaged
REPEAT = {2: 0.8862, 3: 0.5908, 4: 0.4857, 5: 0.4299}
# 1 / d2*: the same for a single range, of appraiser means or of part means
SINGLE = {
    2: 0.7071,
    3: 0.5231,
    4: 0.4467,
    5: 0.4030,
    6: 0.3742,
    7: 0.3534,
    8: 0.3375,
    9: 0.3249,
    10: 0.3146,
}
# fields of a study that carry the unit of the readings
SPREADS = ("repeatability", "reproducibility", "gauge", "part", "total")
_DISTINCT = 1.41  # sqrt(2), as rounded where the number of categories was introduced
_FEW_CATEGORIES = 5


@frozen
class GaugeStudy:
    """Scatter of readings, split by cause; every figure is one standard deviation.

    Parameters
    ----------
    method : {"average-range", "anova"}
        How the split was made.
    repeatability : float
        Same appraiser, same part (equipment variation) [unit of the readings].
    reproducibility : float
        Between appraisers [unit of the readings].
    gauge : float
        Both together [unit of the readings].
    part : float
        Between parts [unit of the readings].
    total : float
        All together [unit of the readings].
    gauge_share : float
        `gauge` over `total` [-].
    categories : int
        Number of classes the gauge can tell apart.
    statements : tuple of str
        What must stand beside the figures.
    """

    method: Method
    repeatability: float
    reproducibility: float
    gauge: float
    part: float
    total: float
    gauge_share: float
    categories: int
    statements: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Return plain numbers and texts."""
        return asdict(self)


def gauge_study(readings: ArrayLike, method: Method = "anova") -> GaugeStudy:
    """Split the scatter of repeated readings into gauge, appraiser and part.

    Parameters
    ----------
    readings : array_like, shape (appraisers, trials, parts)
        Every appraiser reads every part equally often [any one unit]; at least 2 of each.
    method : {"average-range", "anova"}
        "average-range": from ranges, constants per number of trials, appraisers and parts;
        "anova": two-way analysis of variance, interaction pooled with the error.

    Returns
    -------
    GaugeStudy
        Standard deviations, share of the total, number of classes.

    Raises
    ------
    InputError
        When the array has the wrong shape, holds a value that is not finite, or is too large for
        the range constants.

    References
    ----------
    AIAG, Measurement Systems Analysis (constants as reprinted; 1 / d2 and 1 / d2* beyond 3
    trials, 3 appraisers, 10 parts from memory, recomputed in the tests).
    """
    array = _checked(readings)
    if method == "average-range":
        repeat, between, part = _by_ranges(array)
    elif method == "anova":
        repeat, between, part = _by_variances(array)
    else:
        raise InputError.of("method", 'give "average-range" or "anova"', method)
    return _study(method, repeat, between, part)


def has_range_constants(readings: ArrayLike) -> bool:
    """Return whether the study is small enough for the constants of method "average-range".

    Parameters
    ----------
    readings : array_like, shape (appraisers, trials, parts)
        As for `gauge_study`.
    """
    appraisers, trials, parts = np.shape(readings)
    return trials in REPEAT and appraisers in SINGLE and parts in SINGLE


def _checked(readings: ArrayLike) -> NDArray[np.float64]:
    array = np.asarray(readings, dtype=float)
    if array.ndim != 3 or min(array.shape) < 2:
        why = "needs at least 2 appraisers, 2 trials and 2 parts, in this order"
        raise InputError.of("readings", why, f"shape {array.shape}")
    if not np.all(np.isfinite(array)):
        raise InputError.of("readings", "every appraiser must read every part in every trial")
    return array


def _by_ranges(array: NDArray[np.float64]) -> tuple[float, float, float]:
    appraisers, trials, parts = array.shape
    mean_range = float(np.ptp(array, axis=1).mean())
    repeat = mean_range * _constant(REPEAT, trials, "trials")
    spread = float(np.ptp(array.mean(axis=(1, 2)))) * _constant(SINGLE, appraisers, "appraisers")
    # the appraiser means still carry their share of the repeatability
    between = spread**2 - repeat**2 / (parts * trials)
    part = float(np.ptp(array.mean(axis=(0, 1)))) * _constant(SINGLE, parts, "parts")
    return repeat, sqrt(max(between, 0.0)), part


def _constant(table: dict[int, float], number: int, name: str) -> float:
    if number not in table:
        why = f'the range constants end at {max(table)} {name}; use method "anova"'
        raise InputError.of("readings", why, f"{number} {name}")
    return table[number]


def _by_variances(array: NDArray[np.float64]) -> tuple[float, float, float]:
    appraisers, trials, parts = array.shape
    mean = float(array.mean())
    by_appraiser = array.mean(axis=(1, 2))
    by_part = array.mean(axis=(0, 1))
    left = array - by_appraiser[:, None, None] - by_part[None, None, :] + mean
    error = float(np.sum(left**2)) / (array.size - appraisers - parts + 1)
    appraiser_square = parts * trials * float(by_appraiser.var(ddof=1))
    part_square = appraisers * trials * float(by_part.var(ddof=1))
    between = max(appraiser_square - error, 0.0) / (parts * trials)
    part = max(part_square - error, 0.0) / (appraisers * trials)
    return sqrt(error), sqrt(between), sqrt(part)


def _study(method: Method, repeat: float, between: float, part: float) -> GaugeStudy:
    gauge = sqrt(repeat**2 + between**2)
    total = sqrt(gauge**2 + part**2)
    if gauge == 0.0:
        raise InputError.of("readings", "all repeats are equal: the resolution is too coarse")
    share = gauge / total
    categories = int(_DISTINCT * part / gauge)
    return GaugeStudy(
        method=method,
        repeatability=repeat,
        reproducibility=between,
        gauge=gauge,
        part=part,
        total=total,
        gauge_share=share,
        categories=categories,
        statements=_statements(between, share, categories),
    )


def _statements(between: float, share: float, categories: int) -> tuple[str, ...]:
    said = [
        f"Gauge {100.0 * share:.3g} % of the total scatter (up to 10 % good, above 30 % unfit: "
        "AIAG guidance, from memory)."
    ]
    if categories < _FEW_CATEGORIES:
        said.append(
            f"{categories} classes can be told apart; {_FEW_CATEGORIES} are wanted "
            "(AIAG guidance, from memory): too coarse to follow the process."
        )
    if between == 0.0:
        said.append("No difference between appraisers beyond the repeatability.")
    return tuple(said)
