"""Calibration: the model's constants from sections of the shop's own coupons, or why not.

The shipped constants, with their spread, are the prior; coupons narrow them. What the coupons
cannot tell stays as it was, correlations included. Where the answer would be false comfort, the
calibration is refused with the reasons.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.calibrating.draws import posterior_draws
from weldcalc.calibrating.model import ABSORPTANCE, CouponModel, Unknowns, unknowns
from weldcalc.calibrating.refusal import Refusal, contradictions, reasons_against
from weldcalc.calibrating.sections import (
    READING,
    SIZES,
    CouponCase,
    CouponList,
    coupon_cases,
    unstated,
)
from weldcalc.calibrating.solve import (
    Data,
    Model,
    Solution,
    information,
    leave_one_out,
    misfit,
    solve,
)
from weldcalc.calibration_data import Calibration, calibration_for
from weldcalc.findings import Finding, sort_findings
from weldcalc.heatflow.constants import NAMES, ModelConstants, ModelError, ValidityBox
from weldcalc.heatflow.fit_constants import decode, encode
from weldcalc.materials import Material
from weldcalc.passes.pulse import joint_material, surface_ratio
from weldcalc.passes.spread import scatter_of
from weldcalc.quantities import show
from weldcalc.schedule import Schedule

__all__ = ["CalibrationResult", "Refusal", "calibrate"]

Floats = NDArray[np.float64]

SEED = 20260103
DRAWS = 48
PRIOR_WEIGHT = 1.0
"""Coupons that the shipped model error counts for when the coupons' own errors replace it."""


@frozen(eq=False)
class CalibrationResult:
    """A calibration and everything a person needs to trust it or not.

    Parameters
    ----------
    calibration : Calibration
        For `weldcalc.prediction.estimate`; its digest is set once it is written to a file.
    schedule : Schedule
        What the coupons were welded to.
    metal : Material
        Grade of the wall.
    coupons : CouponList
        As read.
    cases : tuple of CouponCase
        One for each coupon and setting.
    space : Unknowns
        Prior and bounds.
    solution : Solution
        Best fit as positions, covariance, residuals.
    shipped : ndarray, shape (n, 3)
        Logarithms of the sizes by the shipped constants.
    left_out : ndarray, shape (n, 3)
        Error of each coupon predicted from all others: measured less predicted logarithm.
    information : ndarray, shape (9,)
        What the coupons say over what the prior says, in independent directions.
    findings : tuple of Finding
        What to know about it.
    seed : int
        Of the draws.
    """

    calibration: Calibration
    schedule: Schedule = field(repr=False)
    metal: Material = field(repr=False)
    coupons: CouponList = field(repr=False)
    cases: tuple[CouponCase, ...] = field(repr=False)
    space: Unknowns = field(repr=False)
    solution: Solution = field(repr=False)
    shipped: Floats = field(repr=False)
    left_out: Floats = field(repr=False)
    information: Floats
    findings: tuple[Finding, ...]
    seed: int

    def distance(self, constants: ModelConstants) -> float:
        """Return how much worse than the best fit some constants follow coupons and prior.

        Rise of the weighted sum of squares; chi-square with nine degrees of freedom for the true
        constants.
        """
        position = encode(constants)
        sizes = CouponModel.of(self.metal, self.cases).sizes(position[None])[0]
        best = misfit(self.solution, self.space, self.solution.fit.values, self.solution.sizes)
        return misfit(self.solution, self.space, position, sizes) - best

    @property
    def kept(self) -> Floats:
        """Return the posterior over the prior standard deviation of each constant, shape (9,)."""
        return self.solution.fit.standard_errors / self.space.prior.sd

    @property
    def leave_one_out_error(self) -> Floats:
        """Return the root mean square of `left_out` for each size, shape (3,); NaN without data."""
        return root_mean_square(self.left_out)


def calibrate(schedule: Schedule, coupons: CouponList, *, seed: int = SEED) -> CalibrationResult:
    """Fit the constants of the melt model to sections of coupons.

    Parameters
    ----------
    schedule : Schedule
        What the coupons were welded to, apart from what their rows say was run differently.
    coupons : CouponList
        Measured sections; `weldcalc.qualification.coupons.read_coupons` reads them.
    seed : int, optional
        Of the draws from the posterior.

    Returns
    -------
    CalibrationResult

    Raises
    ------
    InputError
        When a row cannot be used.
    Refusal
        When the coupons cannot carry a calibration; with every reason.

    Notes
    -----
    Maximum of the posterior by bounded least squares over all constants, with the covariance of the
    prior; logarithms of penetration, fused width and heat-affected width. Weights: measurement, the
    shop's scatter carried through the engine, and what stays unexplained between coupons.
    """
    metal = joint_material(schedule)
    start = calibration_for(metal, None)
    cases = coupon_cases(schedule, coupons, metal, start)
    space = unknowns(metal, schedule.preparation.surface)
    scatter = relative_scatter(schedule)
    reasons = reasons_against(cases, scatter)
    if reasons:
        raise Refusal(reasons)
    engine = CouponModel.of(metal, cases)
    made = solve_coupons(engine, cases, space, scatter)
    told = information(made, space)
    error, expected = leave_one_out(made)
    unsure = _model_error(start.error, error, expected, made)
    # data that contradict the model weigh little, and would be blamed for saying little
    reasons = contradictions(unsure, start.error) or reasons_against(
        cases, scatter, solution=made, space=space, information=told
    )
    if reasons:
        raise Refusal(reasons)
    surface = schedule.preparation.surface
    walls = [case.pulse["thickness"] for case in cases]
    calibration = Calibration(
        family=metal.family,
        mean=decode(made.fit.values),
        sample=posterior_draws(made, space, engine, count=DRAWS, seed=seed),
        error=unsure,
        box=box_of(cases),
        origin=f"{len(cases)} coupons of {coupons.name} on {metal.name}, {surface}",
        surface=surface,
        material=metal.name,
        walls=(min(walls), max(walls)),
        haz_coupons=sum(bool(case.known[SIZES.index("haz_width")]) for case in cases),
    )
    return CalibrationResult(
        calibration=calibration,
        schedule=schedule,
        metal=metal,
        coupons=coupons,
        cases=cases,
        space=space,
        solution=made,
        shipped=engine.sizes(_shipped_position(start, metal, surface)[None])[0],
        left_out=error,
        information=told,
        findings=_findings(coupons, cases, made, space),
        seed=seed,
    )


def solve_coupons(
    engine: CouponModel, cases: Sequence[CouponCase], space: Unknowns, scatter: Floats
) -> Solution:
    """Fit the constants, and refuse nothing.

    Parameters
    ----------
    engine : CouponModel
        At the settings of the coupons.
    cases : sequence of CouponCase
        The coupons.
    space : Unknowns
        Prior and bounds.
    scatter : ndarray, shape (5,)
        Relative shop scatter of power, duration, spot, wall and absorptivity [-].
    """
    model = Model(
        lambda position: engine.sizes(position[None])[0],
        lambda position: engine.derivatives(position, space),
    )

    def data_at(position: Floats) -> Data:
        return Data.of(cases, engine.scatter(position, cases, scatter))

    return solve(data_at, space, model)


def relative_scatter(schedule: Schedule) -> Floats:
    """Return the shop's relative scatter of power, duration, spot, wall and absorptivity [-]."""
    scatter = scatter_of(schedule)
    keys = ("power", "duration", "spot_diameter", "wall_thickness")
    return np.array([*(scatter[key] for key in keys), schedule.scatter.absorptivity or 0.0])


def _shipped_position(start: Calibration, metal: Material, surface: str) -> Floats:
    position = encode(start.mean)
    position[ABSORPTANCE] *= surface_ratio(metal, surface)[0]
    return position


def box_of(cases: Sequence[CouponCase]) -> ValidityBox:
    """Return the range of settings of some coupons."""
    columns = {
        "spot_diameter": [case.pulse["spot_diameter"] for case in cases],
        "pulse_duration": [case.pulse["pulse_duration"] for case in cases],
        "irradiance": [case.irradiance for case in cases],
    }
    return ValidityBox(**{key: (min(values), max(values)) for key, values in columns.items()})


def root_mean_square(values: Floats) -> Floats:
    """Return the root mean square of each column, shape (3,); NaN where nothing is known."""
    known = np.isfinite(values)
    count = known.sum(axis=0)
    total = np.where(known, values, 0.0) ** 2
    return np.asarray(np.sqrt(np.where(count, total.sum(axis=0) / np.maximum(count, 1), np.nan)))


def _model_error(
    shipped: ModelError, error: Floats, expected: Floats, made: Solution
) -> ModelError:
    """Return the model error: that of the left-out coupons, the shipped one as one more coupon.

    What measurement, shop scatter and the constants' own spread explain is taken off: those are
    added again wherever the error is used.
    """
    explained = expected - made.unexplained**2
    depth, width, haz = (
        _pooled(error[:, k] ** 2 - explained[:, k], first)
        for k, first in enumerate((shipped.depth, shipped.width, shipped.haz))
    )
    return ModelError(depth=depth, width=width, absorptance=shipped.absorptance, haz=haz)


def _pooled(excess: Floats, first: float) -> float:
    known = excess[np.isfinite(excess)]
    total = max(float(known.sum()), 0.0) + PRIOR_WEIGHT * first**2
    return float(np.sqrt(total / (known.size + PRIOR_WEIGHT)))


def _findings(
    coupons: CouponList, cases: Sequence[CouponCase], made: Solution, space: Unknowns
) -> tuple[Finding, ...]:
    found = [*_about_data(coupons, cases), *_about_fit(made, space)]
    return sort_findings(found)


def _about_data(coupons: CouponList, cases: Sequence[CouponCase]) -> list[Finding]:
    found = []
    silent = unstated(coupons)
    if silent:
        names = ", ".join(key.replace("_", " ") for key in silent)
        text = f"no uncertainty stated for {names}: {show(READING, 'penetration')} is taken"
        remedy = "add columns such as penetration_u with one standard uncertainty"
        found.append(Finding("caution", "no-uncertainty", text, remedy, "common practice"))
    reached = [case.coupon for case in cases if case.at_least]
    if reached:
        text = f"welded through without a root width: {', '.join(reached)}; depth at least the wall"
        remedy = "measure the root width, or weld some coupons that do not go through"
        found.append(Finding("note", "depth-at-least", text, remedy))
    warm = max((case.preheat_sd for case in cases), default=0.0)
    if warm > _WARM:
        text = (
            f"along the seam of a coupon the metal warms by some {warm * np.sqrt(12):.0f} K; where "
            "its section was cut is not known, which blurs the fit"
        )
        remedy = "weld coupons as single spots on cold metal, and type their preheat"
        found.append(Finding("caution", "warm-coupons", text, remedy, "computed"))
    return found


_WARM = 15.0  # K; a few thousandths of the depth
_FAR = 2.5  # standard deviations of the prior


def _about_fit(made: Solution, space: Unknowns) -> list[Finding]:
    found = []
    away = (made.fit.values - space.prior.mean) / space.prior.sd
    far = [NAMES[i].replace("_", " ") for i in np.flatnonzero(np.abs(away) > _FAR)]
    if far:
        text = f"far from where published pulses put it: {', '.join(far)}"
        remedy = "check the power on the part, the spot and the surface before trusting it"
        found.append(Finding("caution", "far-from-prior", text, remedy))
    kept = [NAMES[i].replace("_", " ") for i in made.fit.on_bound]
    if kept:
        text = f"on its bound, but hardly told by the coupons: {', '.join(kept)}"
        found.append(Finding("note", "prior-on-bound", text))
    return found
