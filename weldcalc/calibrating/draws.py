"""Draws of constants after the coupons, each fitting a perturbed copy of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from weldcalc.calibrating.model import CouponModel, Unknowns
from weldcalc.calibrating.solve import Solution
from weldcalc.heatflow.constants import NAMES
from weldcalc.heatflow.fit_constants import LINEAR

Floats = NDArray[np.float64]

_STEPS = 3  # the first is exact for a linear engine, the others bring its curvature in


def posterior_draws(
    made: Solution, space: Unknowns, engine: CouponModel, *, count: int, seed: int
) -> Floats:
    """Return draws of the constants given the coupons.

    Parameters
    ----------
    made : Solution
        Best fit.
    space : Unknowns
        Prior and bounds.
    engine : CouponModel
        At the settings of the coupons.
    count : int
        How many.
    seed : int
        Of the random generator.

    Returns
    -------
    ndarray, shape (count, 9)
        Constants, columns as `weldcalc.heatflow.constants.NAMES`, moved onto their bounds where
        they would lie beyond.

    Notes
    -----
    Randomised maximum likelihood (D. S. Oliver, N. He, A. C. Reynolds, Conditioning permeability
    fields to pressure data, 1996; from memory): every draw minimises the misfit to coupons and
    prior that were both moved by their own scatter. Exact for a linear model; a plain normal draw
    would leave the narrow valley of good fits where the engine curves. Coupons that tell only "at
    least the wall" are left out here.
    """
    generator = np.random.default_rng(seed)
    slopes = made.derivatives.reshape(made.sizes.size, -1)
    weight, root = _weight_and_noise(made)
    value = np.nan_to_num(made.data.value).ravel()
    target = value + generator.normal(size=(count, value.size)) @ root.T
    spread = np.linalg.cholesky(space.prior.covariance)
    centre = space.prior.mean + generator.normal(size=(count, spread.shape[0])) @ spread.T
    pull = np.linalg.inv(space.prior.covariance)
    rows = np.tile(made.fit.values, (count, 1))
    sizes = np.tile(made.sizes.ravel(), (count, 1))
    for _ in range(_STEPS):
        uphill = (target - sizes) @ weight @ slopes - (rows - centre) @ pull
        rows = np.clip(rows + uphill @ made.fit.covariance, space.low, space.high)
        sizes = engine.sizes(rows).reshape(count, -1)
    linear = np.isin(NAMES, LINEAR)
    return np.where(linear, rows, np.exp(np.where(linear, 0.0, rows)))


def _weight_and_noise(made: Solution) -> tuple[Floats, Floats]:
    """Return inverse covariance and a root of the covariance of all sizes; zero where unknown."""
    width = made.data.value.shape[1]
    weight, root = np.zeros((2, made.data.value.size, made.data.value.size))
    for number, value in enumerate(made.data.value):
        known = np.flatnonzero(np.isfinite(value))
        noise = made.data.covariance[number][np.ix_(known, known)]
        place = np.ix_(number * width + known, number * width + known)
        weight[place] = np.linalg.inv(noise)
        root[place] = np.linalg.cholesky(noise)
    return weight, root
