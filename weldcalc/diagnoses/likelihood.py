"""How likely a section is under what a cause, and everything else, makes of it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from weldcalc.diagnoses.sections import Curve
from weldcalc.tolerances.scatter import Floats

# one standard deviation of reading a section: common practice, no source
READING_LEAST = 8e-6  # m
READING_SHARE = 0.02


def reading(values: Floats) -> Floats:
    """Return one standard deviation of reading sizes, of their shape [m].

    Parameters
    ----------
    values : ndarray
        The sizes [m].
    """
    return np.hypot(READING_LEAST, READING_SHARE * values)


def kernel_of(curves: Mapping[str, Curve], measured: Floats) -> Floats:
    """Return the covariance that one run stands for, shape (m, m) [m2].

    That of reading, and a share of the usual scatter of sections whose root is open or shut as
    that of the measured one.

    Parameters
    ----------
    curves : mapping of str to Curve
        By cause, of the sizes that were measured.
    measured : ndarray, shape (m,)
        The sizes [m].
    """
    runs = np.concatenate([curve.values for curve in curves.values()])
    like = ((runs > 0.0) == (measured > 0.0)).all(axis=2, keepdims=True)
    count = np.maximum(like.sum(axis=1, keepdims=True), 1)
    off = np.where(like, runs - (like * runs).sum(axis=1, keepdims=True) / count, 0.0)
    free = max(float((count - 1).sum()), 1.0)
    scatter = np.einsum("ndi,ndj->ij", off, off) / free
    draws, sizes = runs.shape[1:]
    width = (4.0 / (sizes + 2.0) / draws) ** (1.0 / (sizes + 4.0))
    return np.asarray(np.diag(reading(measured) ** 2) + width**2 * scatter)


def log_fits(sections: Floats, measured: Floats, kernel: Floats) -> Floats:
    """Return the logarithm of how well each draw makes a section, shape (n, d).

    Parameters
    ----------
    sections : ndarray, shape (n, d, m)
        What d draws show at n shifts [m].
    measured : ndarray, shape (m,)
        The section [m].
    kernel : ndarray, shape (m, m)
        From `kernel_of` [m2].
    """
    off = sections - measured
    return np.asarray(-0.5 * np.einsum("ndi,ij,ndj->nd", off, np.linalg.inv(kernel), off))


def log_likely(fits: Floats) -> Floats:
    """Return the logarithm of how likely draws make a section together, shape (n,).

    Parameters
    ----------
    fits : ndarray, shape (n, d)
        From `log_fits`.
    """
    return np.asarray(log_sum(fits, 1) - np.log(fits.shape[1]))


def log_sum(logs: Floats, axis: int) -> Floats:
    """Return the logarithm of a sum of what logarithms are given of, along an axis.

    Parameters
    ----------
    logs : ndarray
        Logarithms.
    axis : int
        That is summed.
    """
    top = logs.max(axis=axis, keepdims=True)
    found = top + np.log(np.exp(logs - top).sum(axis=axis, keepdims=True))
    return np.asarray(found.squeeze(axis))
