"""Constants from coupons: weights, unexplained scatter, leave-one-out errors."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from attrs import evolve, field, frozen
from numpy.typing import NDArray

from weldcalc.calibrating.fit import Fit, fit
from weldcalc.calibrating.model import Unknowns
from weldcalc.calibrating.sections import SIZES, CouponCase

Floats = NDArray[np.float64]
Function = Callable[[Floats], Floats]

ROUNDS = 5  # of fitting, and of weighting again by what the fit says of scatter
_SETTLED = 0.1  # standard errors
_TOLERANCE = 1e-3  # finer than the engine's own roughness would be idle


@frozen(eq=False)
class Model:
    """What predicts the coupons; every position is computed once and remembered.

    Parameters
    ----------
    size_function, slope_function : callable
        From a position, shape (9,), to logarithms of sizes, shape (n, 3), and to their
        derivatives, shape (n, 3, 9).
    """

    size_function: Function
    slope_function: Function
    _known: dict[tuple[str, bytes], Floats] = field(factory=dict, repr=False)

    def sizes(self, position: Floats) -> Floats:
        """Return logarithms of sizes, shape (n, 3)."""
        return self._once("sizes", self.size_function, position)

    def derivatives(self, position: Floats) -> Floats:
        """Return their derivatives, shape (n, 3, 9)."""
        return self._once("slopes", self.slope_function, position)

    def _once(self, kind: str, function: Function, position: Floats) -> Floats:
        key = (kind, position.tobytes())
        if key not in self._known:
            self._known[key] = function(position)
        return self._known[key]


@frozen(eq=False)
class Data:
    """Coupons as numbers.

    Parameters
    ----------
    value : ndarray, shape (n, 3)
        Logarithms of sizes, NaN where not known.
    covariance : ndarray, shape (n, 3, 3)
        By measurement and by the scatter of the shop.
    wall : ndarray, shape (n,)
        Logarithm of the wall where a coupon tells only that the depth reached it, else NaN.
    """

    value: Floats
    covariance: Floats = field(repr=False)
    wall: Floats = field(repr=False)

    @classmethod
    def of(cls, cases: Sequence[CouponCase], scatter: Floats) -> Data:
        """Return the data of coupons whose shop scatter has a covariance of (n, 3, 3)."""
        value = np.array([case.value for case in cases])
        measured = np.array([np.diag(np.nan_to_num(case.sd) ** 2) for case in cases])
        wall = [np.log(case.pulse["thickness"]) if case.at_least else np.nan for case in cases]
        return cls(value=value, covariance=measured + scatter, wall=np.array(wall))

    def with_unexplained(self, sd: Floats) -> Data:
        """Return the data with further scatter in each size, one standard deviation, shape (3,)."""
        return evolve(self, covariance=self.covariance + np.diag(sd**2))


@frozen(eq=False)
class Solution:
    """Constants that fit the coupons.

    Parameters
    ----------
    fit : Fit
        Positions of the constants with their covariance.
    data : Data
        With the scatter that stayed unexplained.
    sizes : ndarray, shape (n, 3)
        Predicted logarithms at the best fit.
    derivatives : ndarray, shape (n, 3, 9)
        Of them.
    unexplained : ndarray, shape (3,)
        Scatter between coupons beyond measurement and shop, one standard deviation of the
        logarithm.
    """

    fit: Fit
    data: Data = field(repr=False)
    sizes: Floats = field(repr=False)
    derivatives: Floats = field(repr=False)
    unexplained: Floats

    @property
    def residuals(self) -> Floats:
        """Return measured less predicted logarithms, shape (n, 3); NaN where not known."""
        return self.data.value - self.sizes


def solve(data_at: Callable[[Floats], Data], space: Unknowns, model: Model) -> Solution:
    """Fit constants to coupons.

    Parameters
    ----------
    data_at : callable
        From a position to the coupons, with the shop's scatter as the engine has it there.
    space : Unknowns
        Prior and bounds.
    model : Model
        What predicts the coupons.

    Returns
    -------
    Solution

    Raises
    ------
    WeldcalcError
        When the fit does not converge.

    Notes
    -----
    Scatter between coupons that neither the measurement nor the shop's scatter explains is found
    by equating the weighted sum of squares with its expectation (R. C. Paule, J. Mandel,
    Consensus values and weighting factors, J. Res. Natl. Bur. Stand. 87 (1982) 377-385; from
    memory), for each size on its own. A coupon that tells only "at least the wall" enters by
    the probability of that (J. Tobin, Estimation of relationships for limited dependent variables,
    Econometrica 26 (1958) 24-36; from memory).
    """
    unexplained, start = np.zeros(len(SIZES)), space.prior.mean
    for _ in range(ROUNDS):
        data = data_at(start)
        weighted = data.with_unexplained(unexplained)
        made = evolve(_solved(weighted, space, model, start), unexplained=unexplained)
        found, moved = _unexplained(data, made), made.fit.values - start
        settled = np.all(np.abs(moved) < _SETTLED * made.fit.standard_errors)
        if settled and np.allclose(found, unexplained, rtol=0.1, atol=2e-3):
            break
        unexplained, start = found, made.fit.values
    return made


def _solved(data: Data, space: Unknowns, model: Model, start: Floats) -> Solution:
    found = fit(
        lambda position: _weighted(data, model.sizes(position))[0],
        start,
        low=space.low,
        high=space.high,
        prior=space.prior,
        jacobian=lambda position: _jacobian(data, model, position),
        unit_variance=True,
        tolerance=_TOLERANCE,
    )
    return Solution(
        fit=found,
        data=data,
        sizes=model.sizes(found.values),
        derivatives=model.derivatives(found.values),
        unexplained=np.zeros(len(SIZES)),
    )


def _weighted(data: Data, sizes: Floats) -> tuple[Floats, Floats]:
    """Return independent residuals of unit variance, and how each size moves them.

    Shapes (m,) and (m, n * 3).
    """
    residuals, weights = [], []
    for number, value in enumerate(data.value):
        known = np.flatnonzero(np.isfinite(value))
        whitener = _whitener(data.covariance[number][np.ix_(known, known)])
        rows = np.zeros((known.size, sizes.size))
        rows[:, number * sizes.shape[1] + known] = -whitener
        residuals.append(whitener @ (value - sizes[number])[known])
        weights.append(rows)
    for number in np.flatnonzero(np.isfinite(data.wall)).tolist():
        sd = float(np.sqrt(data.covariance[number, 0, 0]))
        left, slope = _reached((sizes[number, 0] - data.wall[number]) / sd)
        rows = np.zeros((1, sizes.size))
        rows[0, number * sizes.shape[1]] = slope / sd
        residuals.append(np.array([left]))
        weights.append(rows)
    return np.concatenate(residuals), np.vstack(weights)


def _reached(distance: float) -> tuple[float, float]:
    """Return the residual of "at least", half its square minus a log probability, and its slope."""
    from scipy.special import log_ndtr

    log_chance = float(log_ndtr(distance))
    left = float(np.sqrt(-2 * log_chance))
    density = np.exp(-(distance**2) / 2 - log_chance) / np.sqrt(2 * np.pi)
    return left, float(-density / left) if left > 1e-9 else 0.0


def _whitener(covariance: Floats) -> Floats:
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))


def _jacobian(data: Data, model: Model, position: Floats) -> Floats:
    _, weights = _weighted(data, model.sizes(position))
    slopes = model.derivatives(position)
    return np.asarray(weights @ slopes.reshape(-1, slopes.shape[-1]))


def _unexplained(data: Data, made: Solution) -> Floats:
    covariance = made.fit.covariance
    spread = np.einsum("nki,ij,nkj->nk", made.derivatives, covariance, made.derivatives)
    variance = np.einsum("nkk->nk", data.covariance)
    used = np.einsum("nkk->nk", made.data.covariance)
    return np.array(
        [
            _paule_mandel(made.residuals[:, k], variance[:, k], spread[:, k] / used[:, k])
            for k in range(len(SIZES))
        ]
    )


def _paule_mandel(residuals: Floats, variance: Floats, leverage: Floats) -> float:
    """Return the scatter that brings the weighted sum of squares to its expectation."""
    from scipy.optimize import brentq

    known = np.isfinite(residuals)
    squares, variance = residuals[known] ** 2, variance[known]
    free = float(np.sum(1 - np.clip(leverage[known], 0.0, 1.0)))

    def excess(more: float) -> float:
        return float(np.sum(squares / (variance + more)) - free)

    if free <= 0.5 or excess(0.0) <= 0:
        return 0.0
    return float(np.sqrt(brentq(excess, 0.0, float(squares.sum()) / free)))


def misfit(made: Solution, space: Unknowns, position: Floats, sizes: Floats) -> float:
    """Return the weighted sum of squares of coupons and prior at a position.

    Parameters
    ----------
    made : Solution
        Gives the data with their weights.
    space : Unknowns
        Gives the prior.
    position : ndarray, shape (9,)
        Constants.
    sizes : ndarray, shape (n, 3)
        Logarithms of the sizes there.

    Returns
    -------
    float
        Its rise above the best fit is chi-square with nine degrees of freedom for the true
        constants, also where the engine curves (likelihood-ratio region; D. M. Bates, D. G. Watts,
        Nonlinear Regression Analysis and Its Applications, 1988, chapter 6; from memory).
    """
    left, _ = _weighted(made.data, sizes)
    pull = space.prior.whitener() @ (position - space.prior.mean)
    return float(left @ left + pull @ pull)


def leave_one_out(made: Solution) -> tuple[Floats, Floats]:
    """Return the error of each coupon predicted from all others, and the variance it should have.

    Parameters
    ----------
    made : Solution
        Of all coupons.

    Returns
    -------
    error, variance : ndarray, shape (n, 3)
        Of the logarithms, measured less predicted; NaN where not known.

    Notes
    -----
    Exact where the sizes are linear in the constants: e = R (R - J C J')^-1 r, with R the
    covariance of one coupon, J its derivatives, C the posterior covariance of the constants.
    """
    error, variance = (np.full(made.sizes.shape, np.nan) for _ in range(2))
    for number, value in enumerate(made.data.value):
        known = np.flatnonzero(np.isfinite(value))
        noise = made.data.covariance[number][np.ix_(known, known)]
        slopes = made.derivatives[number][known]
        gain = noise @ np.linalg.inv(noise - slopes @ made.fit.covariance @ slopes.T)
        error[number, known] = gain @ made.residuals[number, known]
        variance[number, known] = np.diag(gain @ noise)
    return error, variance


def information(made: Solution, space: Unknowns) -> Floats:
    """Return how much more the coupons say than the prior, along independent directions.

    Singular values of the weighted derivatives in units of the prior, shape (9,), largest first: at
    1 the coupons know as much of that combination of constants as the prior.
    """
    root = np.linalg.cholesky(space.prior.covariance)
    sizes = np.linalg.svd(made.fit.jacobian @ root, compute_uv=False)
    return np.concatenate([sizes, np.zeros(max(0, root.shape[0] - sizes.size))])[: root.shape[0]]
