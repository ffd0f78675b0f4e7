"""Calibration of the melt model on sections: statistics on a linear engine, then the real one."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from attrs import evolve
from coupon_samples import COLD, SETTINGS, Coupons, calibrated, coupons_of, prior, thick_schedule
from numpy.typing import NDArray
from schedules import tube
from scipy.stats import chi2, norm

from weldcalc.calibrating.fit import Prior, fit
from weldcalc.calibrating.model import ABSORPTANCE, Unknowns
from weldcalc.calibrating.refusal import different_settings
from weldcalc.calibrating.sections import coupon_cases, depth_by_widths, unstated
from weldcalc.calibrating.solve import Data, Model, Solution, leave_one_out, misfit, solve
from weldcalc.calibration import CalibrationResult, Refusal, calibrate
from weldcalc.calibration_data import calibration_for
from weldcalc.errors import InputError
from weldcalc.heatflow.constants import ModelConstants
from weldcalc.heatflow.fit_constants import decode, encode
from weldcalc.passes.pulse import joint_material, pulse_settings, run_pulses
from weldcalc.passes.seam_shape import ellipsoid_depth
from weldcalc.prediction import estimate
from weldcalc.qualification.coupons import CouponSection
from weldcalc.schedule import Schedule, schedule_from_mapping

Floats = NDArray[np.float64]
COUNT = 9


class Linear:
    """An engine whose sizes are linear in the constants, with known answers."""

    def __init__(self, coupons: int, seed: int) -> None:
        generator = np.random.default_rng(seed)
        self.slopes = generator.normal(size=(coupons, 3, COUNT))
        root = np.tril(generator.normal(size=(COUNT, COUNT))) / 3 + np.eye(COUNT)
        self.space = Unknowns(
            Prior(generator.normal(size=COUNT), root @ root.T),
            np.full(COUNT, -100.0),
            np.full(COUNT, 100.0),
        )
        self.noise = np.array([np.diag(generator.uniform(0.05, 0.2, 3) ** 2) + 0.01] * coupons)

    def sizes(self, position: Floats) -> Floats:
        return self.slopes @ position

    def model(self, keep: Floats | None = None) -> Model:
        rows = np.arange(len(self.slopes)) if keep is None else keep
        return Model(lambda p: self.slopes[rows] @ p, lambda _: self.slopes[rows])

    def data(self, value: Floats) -> Data:
        return Data(value, self.noise, np.full(len(value), np.nan))

    def drawn(self, seed: int) -> tuple[Floats, Data]:
        generator = np.random.default_rng(seed)
        root = np.linalg.cholesky(self.space.prior.covariance)
        true = self.space.prior.mean + root @ generator.normal(size=COUNT)
        noise = np.linalg.cholesky(self.noise) @ generator.normal(size=(len(self.noise), 3, 1))
        return true, self.data(self.sizes(true) + noise[..., 0])

    def solved(self, data: Data) -> Solution:
        return solve(lambda _: data, self.space, self.model())


def test_posterior_is_that_of_normal_theory() -> None:
    """Mean and covariance of linear Bayesian regression (any textbook), by plain matrices."""
    engine = Linear(12, seed=3)
    _, data = engine.drawn(5)
    made = engine.solved(data)
    rows = engine.slopes.reshape(-1, COUNT)
    weight = np.zeros((36, 36))
    for i, noise in enumerate(made.data.covariance):
        weight[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = np.linalg.inv(noise)
    pull = np.linalg.inv(engine.space.prior.covariance)
    covariance = np.linalg.inv(rows.T @ weight @ rows + pull)
    mean = covariance @ (rows.T @ weight @ data.value.ravel() + pull @ engine.space.prior.mean)
    assert made.fit.values == pytest.approx(mean, rel=1e-5, abs=1e-5)
    assert made.fit.covariance == pytest.approx(covariance, rel=1e-6, abs=1e-9)


def test_region_covers_the_truth_in_nine_of_ten_trials() -> None:
    engine = Linear(8, seed=1)
    inside = []
    for seed in range(200):
        true, data = engine.drawn(seed)
        made = engine.solved(data)
        best = misfit(made, engine.space, made.fit.values, made.sizes)
        rise = misfit(made, engine.space, true, engine.sizes(true)) - best
        inside.append(rise <= chi2(COUNT).ppf(0.9))
    assert 0.85 <= np.mean(inside) <= 0.95


def test_rise_of_the_misfit_is_the_covariance_distance_where_the_engine_is_straight() -> None:
    engine = Linear(8, seed=2)
    true, data = engine.drawn(7)
    made = engine.solved(data)
    off = true - made.fit.values
    distance = off @ np.linalg.solve(made.fit.covariance, off)
    best = misfit(made, engine.space, made.fit.values, made.sizes)
    rise = misfit(made, engine.space, true, engine.sizes(true)) - best
    assert rise == pytest.approx(distance, rel=1e-3)


def test_leave_one_out_is_what_fitting_without_each_coupon_gives() -> None:
    engine = Linear(7, seed=4)
    _, data = engine.drawn(11)
    data = evolve(data, value=np.where(np.eye(7, 3) > 0, np.nan, data.value))
    made = engine.solved(data)
    error, _ = leave_one_out(made)
    for number in range(7):
        keep = np.arange(7) != number
        rest = Data(data.value[keep], made.data.covariance[keep], data.wall[keep])
        again = fit(
            _weighted_rest(engine, rest, keep),
            np.zeros(COUNT),
            prior=engine.space.prior,
            unit_variance=True,
        )
        wanted = data.value[number] - engine.slopes[number] @ again.values
        assert error[number] == pytest.approx(wanted, rel=1e-4, abs=1e-5, nan_ok=True)


def _weighted_rest(engine: Linear, rest: Data, keep: Floats) -> Callable[[Floats], Floats]:
    def left(position: Floats) -> Floats:
        off = rest.value - engine.slopes[keep] @ position
        parts = []
        for row, noise in zip(off, rest.covariance, strict=True):
            known = np.isfinite(row)
            root = np.linalg.cholesky(noise[np.ix_(known, known)])
            parts.append(np.linalg.solve(root, row[known]))
        return np.concatenate(parts)

    return left


def test_scatter_beyond_measurement_is_found() -> None:
    engine = Linear(150, seed=6)
    generator = np.random.default_rng(8)
    true, data = engine.drawn(9)
    more = np.array([0.3, 0.0, 0.15])
    data = evolve(data, value=data.value + more * generator.normal(size=data.value.shape))
    made = engine.solved(data)
    # sampling error of a variance of 0.03 known from 150 values, as a scatter
    assert made.unexplained[1] < (2 * 0.03 * np.sqrt(2 / 150)) ** 0.5
    assert made.unexplained[[0, 2]] == pytest.approx(more[[0, 2]], rel=0.2)
    assert made.fit.values == pytest.approx(true, abs=0.3)


def test_scatter_that_is_told_is_what_the_weights_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where the rounds end before it has settled."""
    monkeypatch.setattr("weldcalc.calibrating.solve.ROUNDS", 2)
    engine = Linear(150, seed=6)
    _, data = engine.drawn(9)
    more = np.array([0.3, 0.0, 0.15]) * np.random.default_rng(8).normal(size=data.value.shape)
    made = engine.solved(evolve(data, value=data.value + more))
    added = np.diagonal(made.data.covariance - data.covariance, axis1=1, axis2=2)
    assert made.unexplained[0] > 0.1
    assert added == pytest.approx(np.tile(made.unexplained**2, (150, 1)), abs=1e-12)


def test_depth_at_least_the_wall_only_pushes_one_way() -> None:
    """A coupon welded through says that the depth is no less, by the probability of that."""
    engine = Linear(5, seed=5)
    _, data = engine.drawn(1)
    silent = data.value.copy()
    silent[0] = np.nan
    free = engine.solved(engine.data(silent))
    depth = float(free.sizes[0, 0])
    sd = float(np.sqrt(engine.noise[0, 0, 0]))
    found = []
    for wall in (depth - 20 * sd, depth, depth + 6 * sd):
        walls = np.array([wall, *[np.nan] * 4])
        made = engine.solved(evolve(engine.data(silent), wall=walls))
        found.append(float(made.sizes[0, 0]))
    assert found[0] == pytest.approx(depth, abs=1e-3 * sd)
    assert depth < found[1] < found[2]
    made = engine.solved(evolve(engine.data(silent), wall=np.array([depth, *[np.nan] * 4])))
    with_wall = misfit(made, engine.space, made.fit.values, made.sizes)
    without = misfit(
        evolve(made, data=evolve(made.data, wall=np.full(5, np.nan))),
        engine.space,
        made.fit.values,
        made.sizes,
    )
    sd = float(np.sqrt(made.data.covariance[0, 0, 0]))
    chance = norm.logcdf((made.sizes[0, 0] - depth) / sd)
    assert with_wall - without == pytest.approx(-2 * chance, rel=1e-6)


def test_depth_by_widths_is_an_ellipsoid_to_first_order() -> None:
    top, wall = np.full(3, 0.6e-3), np.full(3, 0.4e-3)
    root = np.array([0.06e-3, 0.12e-3, 0.18e-3])
    ellipsoid = ellipsoid_depth(wall, top, root, wall)
    assert depth_by_widths(top, root, wall) == pytest.approx(ellipsoid, rel=3e-3)
    assert depth_by_widths(top, 3 * top, wall) == pytest.approx(wall * np.exp(0.5))


# ---- the real engine


def schedule() -> Schedule:
    return thick_schedule()


def six(seed: int = 1) -> tuple[Floats, Coupons, CalibrationResult]:
    return calibrated(seed)


@pytest.mark.parametrize("seed", [1, 2])
def test_six_coupons_halve_the_interval_of_the_depth_and_still_cover(seed: int) -> None:
    true, _, result = six(seed)
    before = estimate(schedule()).passes[0].penetration_interval
    own = evolve(result.calibration, sha256="0" * 64)
    low, high = estimate(schedule(), calibration=own).passes[0].penetration_interval
    assert high - low <= 0.5 * (before[1] - before[0])
    metal = joint_material(schedule())
    pulse = pulse_settings(schedule(), schedule().passes[0], metal)
    constants = decode(true)
    pulse |= {"constants": constants, "absorptivity": constants.absorptance}
    (made,) = run_pulses(metal, [pulse], cooling=0.05)
    assert low <= made.penetration <= high


@pytest.mark.parametrize("seed", [1, 2])
def test_true_constants_lie_in_the_region(seed: int) -> None:
    true, _, result = six(seed)
    assert result.distance(result.calibration.mean) == pytest.approx(0.0, abs=1e-9)
    assert 0 < result.distance(decode(true)) <= chi2(COUNT).ppf(0.99)


def test_draws_follow_the_coupons_as_closely_as_the_coupons_allow() -> None:
    _, _, result = six()
    rows = result.calibration.sample
    constants = [ModelConstants(*map(float, row)) for row in rows]
    for one in constants[:6]:
        assert result.distance(one) < chi2(COUNT).ppf(0.9999)
    spread = np.array([encode(one) for one in constants]).std(axis=0)
    assert spread[ABSORPTANCE] < 0.5 * result.space.prior.sd[ABSORPTANCE]


def test_the_same_coupons_give_the_same_calibration() -> None:
    _, coupons, result = six()
    again = calibrate(schedule(), coupons)
    assert np.array_equal(again.calibration.sample, result.calibration.sample)
    assert again.calibration.mean == result.calibration.mean


def test_box_is_that_of_the_coupons() -> None:
    _, _, result = six()
    spots = [setting["spot_diameter"] for setting in SETTINGS]
    assert result.calibration.box.spot_diameter == pytest.approx((min(spots), max(spots)))
    assert not result.calibration.box.outside(schedule().passes[0])


# ---- refusals


def refused(coupons: Coupons, on: Schedule | None = None) -> str:
    with pytest.raises(Refusal) as caught:
        calibrate(on or schedule(), coupons)
    assert caught.value.exit_code == 1
    return " ".join(caught.value.reasons)


def only(coupons: Coupons, names: tuple[str, ...]) -> Coupons:
    return evolve(coupons, sections=tuple(s for s in coupons.sections if s.coupon in names))


def test_two_coupons_are_refused() -> None:
    reasons = refused(only(six()[1], ("S1", "S2")))
    assert "too few coupons: 2" in reasons


def test_many_sections_of_two_coupons_are_still_two_coupons() -> None:
    generator = np.random.default_rng(0)
    true = prior(schedule()).prior.mean
    coupons = coupons_of(schedule(), true, generator, settings=SETTINGS[:2], sections=9)
    assert "too few coupons: 2" in refused(coupons)


def test_identical_coupons_are_refused() -> None:
    generator = np.random.default_rng(0)
    true = prior(schedule()).prior.mean
    coupons = coupons_of(schedule(), true, generator, settings=SETTINGS[:1] * 6)
    reasons = refused(coupons)
    assert "too alike: 1 different settings" in reasons
    assert "too few coupons" not in reasons


def test_settings_within_the_scatter_of_the_shop_are_the_same() -> None:
    settings = [{**SETTINGS[0], "peak_power": 390.0 * (1 + 0.004 * i)} for i in range(5)]
    generator = np.random.default_rng(0)
    coupons = coupons_of(schedule(), prior(schedule()).prior.mean, generator, settings=settings)
    metal = joint_material(schedule())
    cases = coupon_cases(schedule(), coupons, metal, calibration_for(metal, None))
    scatter = np.array([0.01, 0.005, 0.015, 0.015, 0.0])
    assert different_settings(cases, scatter) == 1
    assert different_settings(cases, scatter / 2) == 2
    assert different_settings(cases, scatter / 10) == 5


def through(root: bool) -> tuple[Schedule, Coupons]:
    thin = schedule_from_mapping(tube(joint={"wall_thickness": "0.1 mm"}))
    rows = []
    for number, setting in enumerate(SETTINGS, 1):
        sizes = {"penetration": 0.1e-3, "fusion_width": 0.5e-3, "haz_width": 0.08e-3}
        if root:
            sizes["root_width"] = (0.30 + 0.01 * number) * 1e-3
        rows.append(CouponSection(coupon=f"T{number}", measured=sizes, settings=setting))
    return thin, Coupons(name="through.csv", sha256="0" * 64, sections=tuple(rows))


def test_full_penetration_without_root_width_tells_no_depth() -> None:
    thin, coupons = through(root=False)
    reasons = refused(coupons, thin)
    assert "6 went through the wall without a measured root width" in reasons
    metal = joint_material(thin)
    cases = coupon_cases(thin, coupons, metal, calibration_for(metal, None))
    assert all(case.at_least and not case.known[0] for case in cases)


def test_root_width_tells_how_far_beyond_the_wall() -> None:
    thin, coupons = through(root=True)
    metal = joint_material(thin)
    cases = coupon_cases(thin, coupons, metal, calibration_for(metal, None))
    depths = [float(np.exp(case.value[0])) for case in cases]
    assert all(0.1e-3 < a < b < 0.2e-3 for a, b in pairwise(depths))
    assert not any(case.at_least for case in cases)


def test_a_constant_on_its_bound_is_refused_by_name() -> None:
    space = prior(schedule())
    true = space.prior.mean.copy()
    true[ABSORPTANCE] = 0.93
    settings = [{**setting, "peak_power": 0.6 * setting["peak_power"]} for setting in SETTINGS]
    coupons = coupons_of(schedule(), true, np.random.default_rng(0), settings=settings)
    assert "absorptance sits on its upper bound" in refused(coupons)


def test_coupons_that_contradict_the_model_are_refused() -> None:
    """Half of the coupons written down in another unit: no constants can follow that."""

    def slipped(row: CouponSection) -> CouponSection:
        factor = 0.4 if row.coupon in ("S1", "S3", "S5") else 1.0
        return evolve(row, measured={key: factor * size for key, size in row.measured.items()})

    rows = tuple(slipped(row) for row in six()[1].sections)
    assert "contradict each other" in refused(evolve(six()[1], sections=rows))


def test_a_finished_weld_of_two_passes_cannot_be_used() -> None:
    two = tube()
    two["pass"].append({**two["pass"][0], "name": "cover"})
    rows = [evolve(row, weld_pass="") for row in six()[1].sections]
    with pytest.raises(InputError, match="finished weld"):
        calibrate(schedule_from_mapping(two), evolve(six()[1], sections=tuple(rows)))


def test_a_tilted_beam_cannot_be_used() -> None:
    rows = [evolve(row, settings={**row.settings, "beam_angle": 0.2}) for row in six()[1].sections]
    with pytest.raises(InputError, match="upright beam"):
        calibrate(schedule(), evolve(six()[1], sections=tuple(rows)))


# ---- what a coupon was run at


def test_an_untyped_preheat_is_that_of_the_seam_and_its_spread_blurs() -> None:
    rows = [
        evolve(row, settings={key: v for key, v in row.settings.items() if key != "preheat"})
        for row in six()[1].sections
    ]
    metal = joint_material(schedule())
    shipped = calibration_for(metal, None)
    warm = coupon_cases(schedule(), evolve(six()[1], sections=tuple(rows[:2])), metal, shipped)
    cold = coupon_cases(schedule(), only(six()[1], ("S1",)), metal, shipped)
    assert warm[0].pulse["preheat"] > COLD + 5
    assert warm[0].preheat_sd > 1
    assert (cold[0].pulse["preheat"], cold[0].preheat_sd) == (pytest.approx(COLD), 0.0)


def test_missing_uncertainty_is_told() -> None:
    _, coupons, result = six()
    assert "no-uncertainty" not in {finding.code for finding in result.findings}
    rows = tuple(evolve(row, uncertainty={}) for row in coupons.sections)
    assert unstated(coupons) == ()
    assert unstated(evolve(coupons, sections=rows)) == ("penetration", "fusion_width", "haz_width")
