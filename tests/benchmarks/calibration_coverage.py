"""How often the 90 % region of a calibration holds the truth: ``python THIS_FILE [TRIALS]``.

Each trial draws true constants from the prior, welds six synthetic coupons with shop scatter and
reading errors, calibrates, and asks whether the truth lies in the region. Takes some minutes.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from coupon_samples import coupons_of, prior, thick_schedule, truth

from weldcalc.calibrating.draws import posterior_draws
from weldcalc.calibrating.model import CouponModel, Unknowns
from weldcalc.calibrating.sections import coupon_cases
from weldcalc.calibrating.solve import Solution, misfit
from weldcalc.calibration import DRAWS, relative_scatter, solve_coupons
from weldcalc.calibration_data import calibration_for
from weldcalc.heatflow.constants import ModelConstants
from weldcalc.heatflow.fit_constants import encode
from weldcalc.passes.pulse import joint_material

Floats = NDArray[np.float64]
LEVEL = 0.90


def main(trials: int) -> None:
    """Run the trials and say what was seen."""
    schedule = thick_schedule()
    metal, space = joint_material(schedule), prior(schedule)
    scatter = relative_scatter(schedule)
    distances, each, kept, foretold = [], [], [], []
    for seed in range(trials):
        generator = np.random.default_rng(seed)
        true = truth(space, generator)
        coupons = coupons_of(schedule, true, generator)
        cases = coupon_cases(schedule, coupons, metal, calibration_for(metal, None))
        engine = CouponModel.of(metal, cases)
        made = solve_coupons(engine, cases, space, scatter)
        best = misfit(made, space, made.fit.values, made.sizes)
        distances.append(misfit(made, space, true, engine.sizes(true[None])[0]) - best)
        off = true - made.fit.values
        each.append(np.abs(off) <= 1.645 * made.fit.standard_errors)
        foretold.append(_foretold(made, space, engine, true, seed))
        kept.append(made.fit.standard_errors / space.prior.sd)
    inside = float(np.mean(np.array(distances) <= chi2(len(space.low)).ppf(LEVEL)))
    sys.stdout.write(
        f"{trials} trials, nominal {LEVEL:.0%}: region holds the truth in {inside:.1%}\n"
        "linear 90 % interval of each constant holds it in "
        f"{np.round(np.mean(each, axis=0), 3).tolist()}\n"
        "90 % interval of the draws at the first setting holds depth, width and heat-affected "
        f"width in {np.round(np.mean(foretold, axis=0), 3).tolist()}\n"
        f"spread over prior, median {np.round(np.median(kept, axis=0), 2).tolist()}\n"
        "rise of the sum of squares, deciles "
        f"{np.round(np.quantile(distances, np.arange(0.1, 1, 0.1)), 1).tolist()}\n"
    )


def _foretold(
    made: Solution, space: Unknowns, engine: CouponModel, true: Floats, seed: int
) -> NDArray[np.bool_]:
    """Return which true sizes at the first setting lie in the interval of the draws alone."""
    rows = posterior_draws(made, space, engine, count=DRAWS, seed=seed)
    positions = np.array([encode(ModelConstants(*map(float, row))) for row in rows])
    first = CouponModel(engine.metal, engine.pulses[:1], (0,))
    low, high = np.quantile(first.sizes(positions)[:, 0], [0.05, 0.95], axis=0)
    sizes = first.sizes(true[None])[0, 0]
    return (low <= sizes) & (sizes <= high)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
