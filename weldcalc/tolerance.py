"""Scatter in, distribution of the results out: how sure each goal is, and what matters most."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor

import numpy as np
from attrs import frozen

from weldcalc.batch import Progress
from weldcalc.calibration_data import Calibration
from weldcalc.errors import InputError
from weldcalc.goals import PassGoals, all_met, chance_interval, pass_goals
from weldcalc.passes.spread import as_drawn
from weldcalc.schedule import Schedule
from weldcalc.tolerances.drift import Drift, allowed_drifts
from weldcalc.tolerances.result import RESULTS, Chance, PassTolerance, Tolerance
from weldcalc.tolerances.sampled_pulses import Sampler, same_stand_in, sampler_for
from weldcalc.tolerances.scatter import (
    CAUSES,
    WITHOUT_RUNS,
    Bools,
    Floats,
    PassScatter,
    Pulses,
    column,
    normal_points,
    pass_scatter,
)
from weldcalc.tolerances.sensitivity import sobol_design, variance_shares

__all__ = ["Chance", "PassTolerance", "Tolerance", "cause_words", "tolerance"]

CONFIDENCE = 0.95  # of the intervals of chances
LEAST_CHANCE = 0.95
SAMPLES = 4000
FEWEST_ROWS = 16
SHOP_DRAWS = 256


def tolerance(
    schedule: Schedule,
    *,
    passes: Sequence[str] = (),
    samples: int = SAMPLES,
    seed: int = 1,
    least_chance: float = LEAST_CHANCE,
    with_model: bool = True,
    with_drifts: bool = True,
    calibration: Calibration | None = None,
    grid: float | None = None,
    section_runs: tuple[int, int] | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Tolerance:
    """Sample the scatter of shop and model and run the engine on every sample.

    Parameters
    ----------
    schedule : Schedule
        With at least one pass.
    passes : sequence of str, optional
        Names of the passes to sample; none takes all.
    samples : int, optional
        Sampled welds for each pass, rounded down to a whole design.
    seed : int, optional
        Of the quasi-random sequence.
    least_chance : float, optional
        Chance of meeting every goal that an allowed drift has to keep [1].
    with_model : bool, optional
        Whether the model's own spread counts as scatter: its constants with their covariance,
        what they leave unexplained, and the light that an unmeasured surface takes up.
    with_drifts : bool, optional
        Whether allowed drifts are looked for.
    calibration : Calibration, optional
        In place of the shipped constants.
    grid : float, optional
        Edge of the cells under the spot [m]; None takes the engine's own.
    section_runs : tuple of (int, int), optional
        Runs of the engine of cross-sections, where it is needed: learnt from, and checked on. Fewer
        are quicker, and their larger error counts as scatter.
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.

    Returns
    -------
    Tolerance
        The same for the same seed, whatever the executor.

    Raises
    ------
    InputError
        When there is no such pass, or too few samples for the number of causes.
    """
    chosen = [schedule.passes[schedule.pass_index(name)] for name in passes] or schedule.passes
    found = tuple(
        _pass_tolerance(
            pass_scatter(schedule, one, calibration=calibration, with_model=with_model),
            pass_scatter(schedule, one, calibration=calibration, with_model=False),
            pass_goals(schedule, one),
            plan=_Plan(
                samples, seed, least_chance, with_drifts, grid, section_runs, executor, progress
            ),
        )
        for one in chosen
    )
    return Tolerance(schedule=schedule, passes=found, seed=seed)


@frozen(eq=False)
class _Plan:
    samples: int
    seed: int
    least_chance: float
    with_drifts: bool
    grid: float | None
    section_runs: tuple[int, int] | None
    executor: Executor | None
    progress: Progress | None

    def sampler(self, scatter: PassScatter) -> Sampler:
        return sampler_for(
            scatter,
            seed=self.seed,
            grid=self.grid,
            section_runs=self.section_runs,
            executor=self.executor,
            progress=self.progress,
        )


def _pass_tolerance(
    scatter: PassScatter, shop: PassScatter, goals: PassGoals, plan: _Plan
) -> PassTolerance:
    """Return what scatter does to a pass."""
    rows = _rows(scatter, plan)
    sampler = plan.sampler(scatter)
    alone = same_stand_in(sampler, shop)
    causes = sampler.scatter.causes
    design = sobol_design(rows, len(causes), plan.seed)
    swaps = [design.swapped(number) for number in range(len(causes))]
    sizes, pulses = sampler([design.first, design.second, *swaps])
    met = [goals.met(one, made) for one, made in zip(sizes, pulses, strict=True)]
    every = _chance(np.array([all_met(one) for one in met]))
    [still] = scatter.centre().cases
    values = _values(sizes, pulses, still["thickness"], asked="penetration" in goals.names)
    drifting = sampler if every.chance >= plan.least_chance else alone
    return PassTolerance(
        name=scatter.weld_pass.name,
        samples=rows * len(sizes),
        runs=rows * (2 + len(set(causes) - WITHOUT_RUNS)),
        values={key: found.ravel() for key, found in values.items()},
        goals={name: _chance(np.array([one[name] for one in met])) for name in goals.names},
        every_goal=every,
        shop_alone=_shop_chance(alone, goals, plan),
        causes=causes,
        sigma=sampler.scatter.sigma,
        shares={
            key: variance_shares(found[0], found[1], found[2:], seed=plan.seed)
            for key, found in values.items()
        },
        least_chance=plan.least_chance,
        drifts=_drifts(drifting, goals, plan) if plan.with_drifts else (),
        drifts_with_model="model" in drifting.scatter.causes,
        surrogate=sampler.surrogate,
        computed_by=sampler.computed_by,
    )


def _rows(scatter: PassScatter, plan: _Plan) -> int:
    """Return how many rows of a design the samples are enough for."""
    columns = len(scatter.causes) + scatter.needs_section
    rows = plan.samples // (columns + 2)
    if not scatter.causes:
        raise InputError.of("scatter", "nothing scatters: every sigma is zero")
    if rows < FEWEST_ROWS:
        why = f"too few for {columns} causes; take {FEWEST_ROWS * (columns + 2)} or more"
        raise InputError.of("samples", why, plan.samples)
    return rows


def _shop_chance(sampler: Sampler, goals: PassGoals, plan: _Plan) -> Chance:
    normals = normal_points(SHOP_DRAWS, len(sampler.scatter.causes), plan.seed)
    [sizes], [pulses] = sampler([normals])
    met = int(all_met(goals.met(sizes, pulses)).sum())
    return Chance(met / SHOP_DRAWS, chance_interval(met, SHOP_DRAWS, confidence=CONFIDENCE))


def _drifts(sampler: Sampler, goals: PassGoals, plan: _Plan) -> tuple[Drift, ...]:
    return allowed_drifts(sampler, goals, least_chance=plan.least_chance, seed=plan.seed)


def _values(
    sizes: Sequence[Floats], pulses: Sequence[Pulses], wall: float, *, asked: bool
) -> dict[str, Floats]:
    rows = np.array(sizes)
    found = {key: column(rows, key) for key in RESULTS if key != "joint_margin"}
    walls = np.array([[case["thickness"] for case in one.cases] for one in pulses])
    found["penetration"] = as_drawn(found["penetration"], walls, wall)
    if not asked:
        return found
    distances = np.array([one.distance for one in pulses])
    return found | {"joint_margin": column(rows, "fused_radius") - distances}


def _chance(met: Bools) -> Chance:
    """Return a chance from samples that share rows of a design, shape (k + 2, n).

    Samples of one row are alike, so that they count for less than as many independent ones: the
    spread of the means of rows says for how many.
    """
    groups, rows = met.shape
    means = met.mean(axis=0)
    chance = float(means.mean())
    variance = float(means.var(ddof=1)) / rows
    independent = chance * (1.0 - chance) / variance if variance > 0.0 else 0.0
    count = float(np.clip(independent, 2 * rows, groups * rows))
    return Chance(chance, chance_interval(chance * count, count, confidence=CONFIDENCE))


def cause_words(causes: Sequence[str]) -> list[str]:
    """Return the words of causes, for tables and pictures.

    Parameters
    ----------
    causes : sequence of str
        Keys of `weldcalc.tolerances.scatter.CAUSES`.
    """
    return [CAUSES[cause] for cause in causes]
