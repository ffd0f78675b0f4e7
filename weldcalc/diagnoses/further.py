"""Which size that was not measured yet would tell the causes of a section apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import Any

import numpy as np
from attrs import frozen

from weldcalc.diagnoses.likelihood import log_sum, reading
from weldcalc.quantities import json_key, to_json
from weldcalc.tolerances.scatter import Floats

APART = 2.0  # standard deviations between what two causes show, so that a person sees it
LEAST_PLAUSIBLE = 0.05  # causes below it are not worth a measurement
LEAST_TOLD = 0.2  # share of pairs that a measurement has to tell apart to be worth it


@frozen
class Forecast:
    """What sizes a section would show, were one cause what made it.

    Parameters
    ----------
    words : str
        The cause.
    plausibility : float
        Of the cause [1].
    sizes : mapping of str to pair of float
        By size that was not measured: its middle and one standard deviation [m].
    """

    words: str
    plausibility: float
    sizes: Mapping[str, tuple[float, float]]


@frozen
class Further:
    """A size that is worth measuring next.

    Parameters
    ----------
    size : str
        Such as "root_width".
    tells_apart : float
        Share of the pairs of causes, each weighed by its plausibility, that it tells apart [1].
    shows : tuple of (str, float, float)
        For each cause in question: its words, the size to be expected and one standard deviation
        of it, reading included [m].
    """

    size: str
    tells_apart: float
    shows: tuple[tuple[str, float, float], ...]

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit."""
        key = json_key(self.size)
        return {
            "size": self.size,
            "tells_apart": self.tells_apart,
            "expected": [
                {
                    "means": words,
                    key: to_json(middle, self.size),
                    f"one_sigma_{key}": to_json(sigma, self.size),
                }
                for words, middle, sigma in self.shows
            ],
        }


def forecast_sizes(
    logs: Floats, sections: Floats, names: Sequence[str]
) -> dict[str, tuple[float, float]]:
    """Return what sections show where draws are weighed by how well they make the measured one.

    Parameters
    ----------
    logs : ndarray, shape (n, d)
        Logarithm of the weight of each draw at each shift.
    sections : ndarray, shape (n, d, k)
        What they show [m].
    names : sequence of str, length k
        Of the sizes.

    Returns
    -------
    dict of str to pair of float
        Middle and one standard deviation of each, reading included [m].
    """
    weights = np.exp(logs - log_sum(logs.ravel(), 0))[..., None]
    middle = (weights * sections).sum(axis=(0, 1))
    spread = np.sqrt((weights * (sections - middle) ** 2).sum(axis=(0, 1)))
    sigma = np.hypot(spread, reading(middle))
    return {name: (float(at), float(by)) for name, at, by in zip(names, middle, sigma, strict=True)}


def further_sizes(forecasts: Sequence[Forecast]) -> tuple[Further, ...]:
    """Return the sizes that are worth measuring next, the one that tells most apart first.

    Parameters
    ----------
    forecasts : sequence of Forecast
        Of every cause in question, all with the same sizes.
    """
    asked = [one for one in forecasts if one.plausibility >= LEAST_PLAUSIBLE]
    if len(asked) < 2:
        return ()
    found = [
        Further(
            size=size,
            tells_apart=_told_apart(asked, size),
            shows=tuple((one.words, *one.sizes[size]) for one in asked),
        )
        for size in asked[0].sizes
    ]
    kept = [one for one in found if one.tells_apart >= LEAST_TOLD]
    return tuple(sorted(kept, key=lambda one: -one.tells_apart))


def _told_apart(asked: Sequence[Forecast], size: str) -> float:
    told = every = 0.0
    for one, other in combinations(asked, 2):
        (low, low_sigma), (high, high_sigma) = one.sizes[size], other.sizes[size]
        weight = one.plausibility * other.plausibility
        every += weight
        told += weight * (abs(high - low) > APART * np.hypot(low_sigma, high_sigma))
    return float(told / every)
