"""Bounded least squares with a prior: the one fitting function behind every calibration."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from attrs import field, frozen
from numpy.typing import ArrayLike, NDArray

from weldcalc.errors import InputError, WeldcalcError

Floats = NDArray[np.float64]
Residuals = Callable[[Floats], Floats]

# a value this close to a bound, as a share of the span between the bounds, sits on it
ON_BOUND = 0.005


@frozen(eq=False)
class Prior:
    """What is known of the unknowns before the data: a normal distribution.

    Parameters
    ----------
    mean : ndarray, shape (n,)
        Centre.
    covariance : ndarray, shape (n, n)
        Positive definite.
    """

    mean: Floats
    covariance: Floats = field(repr=False)

    @property
    def sd(self) -> Floats:
        """Return one standard deviation of each unknown, shape (n,)."""
        return np.sqrt(np.diag(self.covariance))

    def whitener(self) -> Floats:
        """Return W, shape (n, n), with W (x - mean) independent and of unit variance."""
        try:
            root = np.linalg.cholesky(self.covariance)
        except np.linalg.LinAlgError:
            raise InputError.of("prior", "its covariance has to be positive definite") from None
        return np.asarray(np.linalg.inv(root))


@frozen(eq=False)
class Fit:
    """Outcome of a least-squares fit.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Best fit.
    covariance : ndarray, shape (n, n)
        Of the best fit, from the Jacobian there and the prior.
    residuals : ndarray, shape (m,)
        Of the data at the best fit, the prior left out.
    jacobian : ndarray, shape (m, n)
        Derivatives of those residuals.
    on_bound : tuple of int
        Unknowns that sit on a bound.
    """

    values: Floats
    covariance: Floats = field(repr=False)
    residuals: Floats = field(repr=False)
    jacobian: Floats = field(repr=False)
    on_bound: tuple[int, ...]

    @property
    def standard_errors(self) -> Floats:
        """Return one standard deviation of each unknown, shape (n,)."""
        return np.sqrt(np.diag(self.covariance))


def fit(
    residuals: Residuals,
    start: ArrayLike,
    *,
    low: ArrayLike | None = None,
    high: ArrayLike | None = None,
    prior: Prior | None = None,
    jacobian: Callable[[Floats], Floats] | None = None,
    unit_variance: bool = False,
    tolerance: float = 1e-13,
) -> Fit:
    """Fit unknowns to data by bounded least squares, with or without a prior.

    Parameters
    ----------
    residuals : callable
        Takes the unknowns, shape (n,), and returns the residuals of the data, shape (m,).
    start : array_like, shape (n,)
        Where to begin; moved inside the bounds.
    low, high : array_like, shape (n,), optional
        Bounds; None for none.
    prior : Prior, optional
        Normal prior of the unknowns.
    jacobian : callable, optional
        Derivatives of the residuals, shape (m, n); None takes central differences.
    unit_variance : bool, optional
        True where the residuals are in units of their own standard deviation; else their variance
        is estimated from the fit.
    tolerance : float, optional
        Relative change of cost and unknowns at which to stop.

    Returns
    -------
    Fit

    Raises
    ------
    InputError
        When there are fewer data than unknowns without a prior, or the data leave a combination
        of unknowns free.
    WeldcalcError
        When the search does not come to an end.

    Notes
    -----
    The prior enters as n further residuals. Covariance is s2 (J'J)^-1 with s2 = 1 or RSS / (m - n).
    """
    from scipy.optimize import least_squares

    first = np.asarray(start, dtype=float)
    lower = np.full(first.size, -np.inf) if low is None else np.asarray(low, dtype=float)
    upper = np.full(first.size, np.inf) if high is None else np.asarray(high, dtype=float)
    system = _System(residuals, jacobian, prior)
    found = least_squares(
        system.residuals,
        _inside(first, lower, upper),
        jac=system.jacobian if jacobian else "3-point",
        bounds=(lower, upper),
        x_scale="jac" if prior is None else prior.sd,
        ftol=tolerance,
        xtol=tolerance,
        gtol=tolerance,
        max_nfev=2000,
    )
    if found.status < 1:
        raise WeldcalcError(f"the fit did not converge: {found.message}")
    rows = found.fun.size - (0 if prior is None else first.size)
    scale = 1.0 if unit_variance else _variance(found.fun[:rows], first.size, prior)
    return Fit(
        values=found.x,
        covariance=scale * _inverse(np.asarray(found.jac)),
        residuals=found.fun[:rows],
        jacobian=np.asarray(found.jac)[:rows],
        on_bound=on_bound(found.x, lower, upper),
    )


@frozen(eq=False)
class _System:
    """Residuals of data and prior in one stack."""

    data: Residuals
    derivatives: Callable[[Floats], Floats] | None
    prior: Prior | None

    def residuals(self, values: Floats) -> Floats:
        made = self.data(values)
        if self.prior is None:
            return made
        return np.concatenate([made, self.prior.whitener() @ (values - self.prior.mean)])

    def jacobian(self, values: Floats) -> Floats:
        if self.derivatives is None:
            raise WeldcalcError("no derivatives were given")
        made = self.derivatives(values)
        return made if self.prior is None else np.vstack([made, self.prior.whitener()])


def _inside(start: Floats, low: Floats, high: Floats) -> Floats:
    """Return a start well inside the bounds, from where the search can move either way."""
    bounded = np.isfinite(low) & np.isfinite(high)
    room = np.where(bounded, 0.02 * (np.where(bounded, high - low, 0.0)), 0.0)
    return np.asarray(np.clip(start, low + room, high - room))


def _variance(residuals: Floats, unknowns: int, prior: Prior | None) -> float:
    free = residuals.size - (unknowns if prior is None else 0)
    if free <= 0:
        why = f"{residuals.size} data cannot fix {unknowns} unknowns and their spread"
        raise InputError.of("data", why)
    return float(residuals @ residuals) / free


def _inverse(jacobian: Floats) -> Floats:
    # by singular values of the scaled columns: the normal equations would square the condition
    columns = np.linalg.norm(jacobian, axis=0)
    if not columns.all():
        raise InputError.of("data", "say nothing about one of the unknowns")
    _, sizes, right = np.linalg.svd(jacobian / columns, full_matrices=False)
    if sizes[-1] < np.finfo(float).eps * jacobian.shape[0] * sizes[0]:
        raise InputError.of("data", "leave a combination of the unknowns free")
    half = (right.T / sizes) / columns[:, None]
    return np.asarray(half @ half.T)


def on_bound(values: Floats, low: Floats, high: Floats) -> tuple[int, ...]:
    """Return which unknowns sit on a bound.

    Parameters
    ----------
    values, low, high : ndarray, shape (n,)
        Unknowns and their bounds; infinite where there is none.
    """
    span = high - low
    near = np.minimum(values - low, high - values)
    return tuple(int(i) for i in np.flatnonzero(np.isfinite(span) & (near <= ON_BOUND * span)))
