"""Which inputs spread a result: first-order and total shares of its variance, from samples."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.tolerances.scatter import normal_points

Floats = NDArray[np.float64]

_RESAMPLES = 200


@frozen(eq=False)
class SobolDesign:
    """Two independent samples, and the first with one column after the other from the second.

    Parameters
    ----------
    first, second : ndarray, shape (n, k)
        Standard normal numbers.
    """

    first: Floats
    second: Floats

    def swapped(self, number: int) -> Floats:
        """Return the first sample with one column taken from the second, shape (n, k)."""
        made = self.first.copy()
        made[:, number] = self.second[:, number]
        return made


def sobol_design(count: int, columns: int, seed: int) -> SobolDesign:
    """Return a design for `variance_shares`.

    Parameters
    ----------
    count : int
        Rows of each sample; (columns + 2) times as many results are needed.
    columns : int
        Number of inputs.
    seed : int
        Of the scrambling.
    """
    both = normal_points(count, 2 * columns, seed)
    return SobolDesign(first=both[:, :columns], second=both[:, columns:])


@frozen
class VarianceShares:
    """Shares of a result's variance by cause, each with its sampling error (one sigma) [1].

    Parameters
    ----------
    first, total : ndarray, shape (k,)
        Alone, and with everything it does together with others.
    first_error, total_error : ndarray, shape (k,)
        One standard deviation by resampling.
    """

    first: Floats
    total: Floats
    first_error: Floats
    total_error: Floats


def variance_shares(first: Floats, second: Floats, swapped: Floats, *, seed: int) -> VarianceShares:
    """Return first-order and total shares of the variance.

    Parameters
    ----------
    first, second : ndarray, shape (n,)
        Results on the two samples of a `SobolDesign`.
    swapped : ndarray, shape (k, n)
        Results on the first sample with one column from the second.
    seed : int
        Of the resampling.

    Notes
    -----
    With f_A, f_B and f_i those results: first order mean(f_B (f_i - f_A)) / V, total
    mean((f_A - f_i)^2) / 2 V. A result that does not vary gives zeros.

    References
    ----------
    Saltelli et al., Comput. Phys. Commun. 181, 259 (2010), table 2, rows b and f.
    """
    generator = np.random.default_rng(seed)
    rows = generator.integers(0, first.size, size=(_RESAMPLES, first.size))
    alone, whole = _shares(first, second, swapped)
    again = [_shares(first[row], second[row], swapped[:, row]) for row in rows]
    spread = np.std(np.array(again), axis=0)
    return VarianceShares(alone, whole, spread[0], spread[1])


def _shares(first: Floats, second: Floats, swapped: Floats) -> tuple[Floats, Floats]:
    both = np.concatenate([first, second])
    variance = float(both.var())
    if variance <= np.finfo(float).eps * float(np.mean(both**2)):
        return np.zeros(len(swapped)), np.zeros(len(swapped))
    # subtracting the mean changes nothing but the noise
    middle = float(np.concatenate([both, swapped.ravel()]).mean())
    alone = np.mean((second - middle) * (swapped - first), axis=1) / variance
    whole = 0.5 * np.mean((first - swapped) ** 2, axis=1) / variance
    return alone, whole
