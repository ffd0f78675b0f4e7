"""A smooth function through scattered computed points: lines, bends, and a smooth rest.

A Gaussian process (Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, section
2.7: explicit basis functions with a prior on their coefficients; section 5.4.2: its settings by
leaving out one run after the other).
"""

from __future__ import annotations

from itertools import product
from typing import Final

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_REACHES: Final = (3.0, 6.0, 12.0)
_RESTS: Final = (0.3, 3.0, 30.0)
_NOISES: Final = (0.03, 0.1, 0.3, 1.0, 3.0)
_BENDS: Final = (0.1, 0.3, 1.0)
_LEAST_SPREAD = 1e-9


@frozen
class Smoothness:
    """How far a function may bend.

    Parameters
    ----------
    reach : float
        Distance over which the smooth rest changes, in units of the scatter of a feature [1].
    rest, noise : float
        Variance of the smooth rest and of a single run, over that of a line's slope [1].
    bend : float
        Size of a bend over that of a slope [1].
    """

    reach: float
    rest: float
    noise: float
    bend: float


CHOICES: Final = tuple(Smoothness(*one) for one in product(_REACHES, _RESTS, _NOISES, _BENDS))


@frozen(eq=False)
class SmoothFit:
    """Results as a function of features.

    Parameters
    ----------
    middle, scale : ndarray, shape (m,)
        Of each feature; the scale is 0 for one that does not vary.
    points : ndarray, shape (n, m)
        Features of the runs, scaled.
    mean : ndarray, shape (t,)
        Of each result.
    weights : ndarray, shape (n, t)
        Of the runs.
    chosen : tuple of Smoothness, length t
        Of each result.
    """

    middle: Floats
    scale: Floats
    points: Floats = field(repr=False)
    mean: Floats
    weights: Floats = field(repr=False)
    chosen: tuple[Smoothness, ...]

    def __call__(self, features: Floats) -> Floats:
        """Return the results, shape (k, t), at features, shape (k, m)."""
        scaled = (features - self.middle) * self.scale
        columns = [
            _likeness(scaled, self.points, one) @ weights
            for one, weights in zip(self.chosen, self.weights.T, strict=True)
        ]
        return np.asarray(self.mean + np.column_stack(columns))


def smooth_fit(features: Floats, results: Floats) -> SmoothFit:
    """Return the function through runs.

    Parameters
    ----------
    features : ndarray, shape (n, m)
        The last two matter most.
    results : ndarray, shape (n, t)
        Of the runs.

    Notes
    -----
    For each result that smoothness is taken which foretells a run best from all others.
    """
    middle, spread = features.mean(axis=0), features.std(axis=0)
    varies = spread > _LEAST_SPREAD * np.maximum(np.abs(middle), 1.0)
    scale = np.where(varies, 1.0 / np.where(varies, spread, 1.0), 0.0)
    scaled = (features - middle) * scale
    mean = results.mean(axis=0)
    weights, misfits = zip(
        *(_solved(scaled, results - mean, choice) for choice in CHOICES), strict=True
    )
    best = np.argmin(np.array(misfits), axis=0)
    kept = np.array([weights[place][:, number] for number, place in enumerate(best)]).T
    return SmoothFit(middle, scale, scaled, mean, kept, tuple(CHOICES[place] for place in best))


def _solved(scaled: Floats, results: Floats, choice: Smoothness) -> tuple[Floats, Floats]:
    """Return the weights, shape (n, t), and the mean square misfit of runs left out, shape (t,)."""
    square = _likeness(scaled, scaled, choice) + choice.noise * np.eye(len(scaled))
    inverse = np.linalg.inv(square)
    weights = np.asarray(inverse @ results, dtype=np.float64)
    left_out = weights / np.diag(inverse)[:, None]
    return weights, np.asarray(np.mean(left_out**2, axis=0))


def _likeness(one: Floats, other: Floats, choice: Smoothness) -> Floats:
    """Return how alike the results of two sets of points are taken to be, shape (n, m)."""
    squares = np.sum(one**2, axis=1)[:, None] + np.sum(other**2, axis=1) - 2.0 * one @ other.T
    rest = choice.rest * np.exp(-np.maximum(squares, 0.0) / (2.0 * choice.reach**2))
    return np.asarray(_lines(one, choice.bend) @ _lines(other, choice.bend).T + rest)


def _lines(scaled: Floats, bend: float) -> Floats:
    """Return a constant, every feature, and the bends with the last two."""
    depth, width = scaled[:, -2], scaled[:, -1]
    mixed = [feature * depth for feature in scaled.T[:-2]]
    bends = np.column_stack([depth**2, depth**3, width**2, *mixed])
    return np.column_stack([np.ones(len(scaled)), scaled, bend * bends])
