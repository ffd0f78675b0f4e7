"""What the pulse engine says of coupons, for any constants: sizes, derivatives, shop scatter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.calibrating.fit import Prior
from weldcalc.calibrating.sections import SIZES, CouponCase, depth_by_widths
from weldcalc.heatflow.constants import NAMES, ModelConstants, fitted_constants
from weldcalc.heatflow.fit_constants import bounds, decode, encode
from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.materials import Material
from weldcalc.passes.pulse import PulseSettings, run_pulses, surface_ratio

Floats = NDArray[np.float64]

ABSORPTANCE = NAMES.index("absorptance")
STEP = 0.25
"""Step of the derivatives, in standard deviations of the prior: the engine's results are rough by
some thousandths, which a shorter step would blow up."""

# a few dozen correlated draws do not fix 45 entries of a covariance: correlations are damped
_DAMPING = 0.2
_LEAST_SIZE = 2e-6  # m; in place of zero under the logarithm
_ABSORPTANCE_REACH = 4.0  # standard deviations of the prior, either way
_RELATIVE = ("peak_power", "pulse_duration", "spot_diameter", "thickness", "absorptivity")
_COOLING = 0.05  # s; long after the last metal has melted


@frozen(eq=False)
class Unknowns:
    """The constants before any coupon: prior and bounds, as positions (factors by logarithm).

    Parameters
    ----------
    prior : Prior
        Of the shipped constants, for the surface that is welded.
    low, high : ndarray, shape (9,)
        Bounds.
    """

    prior: Prior
    low: Floats
    high: Floats


def unknowns(metal: Material, surface: str) -> Unknowns:
    """Return prior and bounds of the constants for a metal and the state of its surface.

    Parameters
    ----------
    metal : Material
        Grade.
    surface : str
        "polished", "as machined", "matt" or "oxidised".

    Raises
    ------
    InputError
        When no constants are shipped for the family.

    Notes
    -----
    Mean and covariance are those of the shipped draws. Absorptance is scaled to the surface, with
    the spread of that scale added; its bounds are four standard deviations either way.
    """
    shipped = fitted_constants(metal.family)
    ratio, spread = surface_ratio(metal, surface)
    rows = np.array([encode(ModelConstants(*map(float, row))) for row in shipped.sample])
    rows[:, ABSORPTANCE] *= ratio
    mean = rows.mean(axis=0)
    covariance = np.cov(rows.T)
    covariance = (1 - _DAMPING) * covariance + _DAMPING * np.diag(np.diag(covariance))
    covariance[ABSORPTANCE, ABSORPTANCE] += (spread * mean[ABSORPTANCE]) ** 2
    low, high = (np.array(ends) for ends in zip(*bounds(), strict=True))
    reach = _ABSORPTANCE_REACH * np.sqrt(covariance[ABSORPTANCE, ABSORPTANCE])
    low[ABSORPTANCE] = max(mean[ABSORPTANCE] - reach, 0.05)
    high[ABSORPTANCE] = min(mean[ABSORPTANCE] + reach, 0.95)
    return Unknowns(Prior(mean, covariance), low, high)


@frozen(eq=False)
class CouponModel:
    """The engine at the settings of coupons.

    Parameters
    ----------
    metal : Material
        Grade.
    pulses : tuple of PulseSettings
        Settings that differ from each other.
    place : tuple of int
        Which of them each coupon ran at.
    """

    metal: Material
    pulses: tuple[PulseSettings, ...]
    place: tuple[int, ...]

    @classmethod
    def of(cls, metal: Material, cases: Sequence[CouponCase]) -> CouponModel:
        """Return the model of some coupons."""
        keys = [tuple(sorted((k, str(v)) for k, v in case.pulse.items())) for case in cases]
        order = list(dict.fromkeys(keys))
        first = tuple(cases[keys.index(key)].pulse for key in order)
        return cls(metal=metal, pulses=first, place=tuple(order.index(key) for key in keys))

    def sizes(self, positions: Floats) -> Floats:
        """Return logarithms of the sizes of each coupon.

        Parameters
        ----------
        positions : ndarray, shape (k, 9)
            Constants.

        Returns
        -------
        ndarray, shape (k, n, 3)
            Columns as `SIZES`.
        """
        logs = self._logs(
            [_run(pulse, position) for position in positions for pulse in self.pulses]
        )
        return logs.reshape(len(positions), len(self.pulses), len(SIZES))[:, self.place]

    def _logs(self, batch: Sequence[PulseSettings]) -> Floats:
        results = run_pulses(self.metal, batch, cooling=_COOLING)
        return logs_of(results, [run["thickness"] for run in batch])

    def derivatives(self, position: Floats, space: Unknowns) -> Floats:
        """Return derivatives of the sizes, shape (n, 3, 9), by differences within the bounds."""
        step = STEP * space.prior.sd
        up = np.minimum(position + step, space.high)
        down = np.maximum(position - step, space.low)
        ends = np.repeat(position[None], 2 * position.size, axis=0)
        for i in range(position.size):
            ends[2 * i, i], ends[2 * i + 1, i] = up[i], down[i]
        made = self.sizes(ends)
        change = made[0::2] - made[1::2]
        return np.asarray(np.moveaxis(change, 0, -1) / (up - down))

    def scatter(self, position: Floats, cases: Sequence[CouponCase], sds: Floats) -> Floats:
        """Return the covariance of the sizes of each coupon by the shop's scatter.

        Parameters
        ----------
        position : ndarray, shape (9,)
            Constants.
        cases : sequence of CouponCase
            The coupons.
        sds : ndarray, shape (5,)
            Relative standard deviation of power, duration, spot, wall and absorptivity [-].

        Returns
        -------
        ndarray, shape (n, 3, 3)
        """
        warm = {self.place[i]: case.preheat_sd for i, case in enumerate(cases)}
        batch = []
        for number, pulse in enumerate(self.pulses):
            for sign in (1.0, -1.0):
                batch += _scattered(_run(pulse, position), sign * sds, sign * warm[number])
        ends = self._logs(batch).reshape(len(self.pulses), 2, len(_RELATIVE) + 1, len(SIZES))
        half = (ends[:, 0] - ends[:, 1]) / 2
        made: Floats = np.einsum("nki,nkj->nij", half, half)
        return made[list(self.place)]


def _run(pulse: PulseSettings, position: Floats) -> PulseSettings:
    constants = decode(position)
    return {**pulse, "absorptivity": constants.absorptance, "constants": constants}


def _scattered(run: PulseSettings, shares: Floats, warmer: float) -> list[PulseSettings]:
    """Return a run with one setting after the other off by its share, the preheat last."""
    made = [run.copy() for _ in range(len(_RELATIVE) + 1)]
    made[0]["peak_power"] *= 1 + shares[0]
    made[1]["pulse_duration"] *= 1 + shares[1]
    made[2]["spot_diameter"] *= 1 + shares[2]
    made[3]["thickness"] *= 1 + shares[3]
    made[4]["absorptivity"] *= 1 + shares[4]
    made[5]["preheat"] += warmer
    return made


def logs_of(results: Sequence[PulseResult], walls: Sequence[float]) -> Floats:
    """Return logarithms of the sizes of some pulses.

    Parameters
    ----------
    results : sequence of PulseResult
        From the engine.
    walls : sequence of float
        Of each [m].

    Returns
    -------
    ndarray, shape (n, 3)
        Columns as `SIZES`.
    """
    made = np.array(
        [[item.penetration, item.fusion_width, item.haz_width, item.root_width] for item in results]
    )
    beyond = depth_by_widths(made[:, 1], made[:, 3], np.asarray(walls))
    depth = np.where(made[:, 3] > 0, beyond, made[:, 0])
    sizes = np.column_stack([depth, made[:, 1], made[:, 2]])
    return np.asarray(np.log(np.maximum(sizes, _LEAST_SIZE)))
