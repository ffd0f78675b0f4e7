"""A drafted pair confirmed by direct runs on the engine's own grid, its powers trimmed to fit."""

from __future__ import annotations

from typing import Any

import numpy as np
from attrs import evolve, field, frozen

from weldcalc.batch import run_batch
from weldcalc.drafts.heat import TimedPass
from weldcalc.drafts.options import Combination, cover_goals, root_goals, rounded_power
from weldcalc.drafts.search import Search, least_power
from weldcalc.goals import LACK, PassGoals, all_met, chance_interval
from weldcalc.schedule import WeldPass
from weldcalc.tolerances.model_error import with_model_error
from weldcalc.tolerances.scatter import Floats, PassScatter, Pulses, normal_points, pass_scatter
from weldcalc.tolerances.section_pulses import section_pulses

DRAWS = 192
SECTION_DRAWS = 64
MODEL_DRAWS = 96
SECTION_CELLS = 10.0  # across spot or wall: fuses a joint some 5 % less deep than finer cells do
TRIMS = 4
_TRIM = 0.025  # of the power, at each attempt


@frozen(eq=False)
class Proof:
    """Chances of a drafted pair from direct runs.

    Parameters
    ----------
    root, cover : WeldPass
        As confirmed; powers may differ a little from the search.
    chances : tuple of (float, float)
        Of every goal, root and cover, over the scatter that the power was solved for [1]: cold at
        the start of the seam for what is lacking, at the warmest for what is too much.
    intervals : tuple of (float, float)
        95 % intervals of both [1].
    draws : int
        Runs behind each chance, cold and warm.
    counts_model : bool
        Whether the power was solved with the model's own spread; else for the shop's scatter alone.
    other : float
        The lesser of both chances the other way [1].
    """

    root: WeldPass
    cover: WeldPass
    chances: tuple[float, float]
    intervals: tuple[tuple[float, float], tuple[float, float]]
    draws: int
    counts_model: bool
    other: float = field(default=0.0)

    @property
    def least(self) -> float:
        """Return the lesser of both chances [1]."""
        return min(self.chances)

    @property
    def shop_alone(self) -> float:
        """Return the lesser chance of both passes under the shop's scatter alone [1]."""
        return self.other if self.counts_model else self.least

    @property
    def with_model(self) -> float:
        """Return the lesser chance of both passes with the model's own spread as well [1]."""
        return self.least if self.counts_model else self.other

    def to_json(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "root": self.chances[0],
            "cover": self.chances[1],
            "interval_95": [list(one) for one in self.intervals],
            "draws": self.draws,
            "shop_scatter_alone": self.shop_alone,
            "with_model_spread": self.with_model,
            "solved_for": "with_model_spread" if self.counts_model else "shop_scatter_alone",
        }


def chance_of(
    search: Search,
    scatter: PassScatter,
    goals: PassGoals,
    *,
    warmest: float,
    draws: int,
    seed: int,
) -> tuple[float, float, float]:
    """Return the chance of a pass from direct runs, and its two kinds of misses.

    Parameters
    ----------
    search : Search
        Executor.
    scatter : PassScatter
        The pass and what scatters.
    goals : PassGoals
        What it has to reach.
    warmest : float
        Rise above the start that the hottest pulse finds [K].
    draws, seed : int
        How many, and of which sequence.

    Returns
    -------
    tuple of (float, float, float)
        Chance of every goal, of those that more heat helps, and of those that less heat helps [1].
    """
    normals = normal_points(draws, len(scatter.causes), seed)
    cold = engine_pulses(scatter, normals)
    hot = engine_pulses(scatter, normals, preheat=scatter.settings["preheat"] + warmest)
    sizes = search.run([*cold.cases, *hot.cases])
    first, last = (
        goals.met(
            with_model_error(scatter, normals, rows, made, on_section=scatter.needs_section), made
        )
        for rows, made in ((sizes[:draws], cold), (sizes[draws:], hot))
    )
    enough = all_met(first, LACK)
    too_much = frozenset(goals.names) - LACK
    # neither may the cold end of the seam break what the warm end keeps
    harmless = all_met(last, too_much) & all_met(first, too_much)
    return float(np.mean(enough & harmless)), float(np.mean(enough)), float(np.mean(harmless))


def prove(search: Search, one: Combination) -> Proof:
    """Confirm a pair, trimming either power by a few percent where that helps.

    Parameters
    ----------
    search : Search
        Scatter, chance and executor.
    one : Combination
        Root and cover with their rates.

    Returns
    -------
    Proof
        Its chances may still be less than asked.
    """
    schedule, draws = search.scatter.schedule, draws_for(search.scatter)
    root, first = _trimmed(search, one.root, root_goals(schedule))
    cover, second = _trimmed(search, one.cover, cover_goals(schedule))
    intervals = [chance_interval(chance * draws, draws) for chance in (first, second)]
    counts_model = "model" in search.scatter.causes
    proof = Proof(root, cover, (first, second), (intervals[0], intervals[1]), draws, counts_model)
    if proof.least < search.chance:
        return proof
    return evolve(proof, other=_other_chance(search, proof, one))


def draws_for(scatter: PassScatter) -> int:
    """Return how many draws prove a pass: fewer where each run takes a hundred times as long."""
    return SECTION_DRAWS if scatter.needs_section else DRAWS


def engine_pulses(scatter: PassScatter, normals: Floats, *, preheat: float | None = None) -> Pulses:
    """Return draws as pulses of the engine that the joint needs.

    The axisymmetric engine has its own grid; that of cross-sections a coarser one, which errs to
    the side of more power for the depth.

    Parameters
    ----------
    scatter : PassScatter
        The pass and what scatters.
    normals : ndarray, shape (n, k)
        Standard normal numbers.
    preheat : float, optional
        Temperature that the pulse finds [K].
    """
    if scatter.needs_section:
        return section_pulses(scatter, normals, preheat=preheat, cells=SECTION_CELLS)
    return scatter.pulses(normals, preheat=preheat)


def section_factor(search: Search, weld_pass: WeldPass, goals: PassGoals) -> float:
    """Return the power that the joint's own section needs over that of the search's sheet [1].

    Parameters
    ----------
    search : Search
        Scatter and executor.
    weld_pass : WeldPass
        The pass.
    goals : PassGoals
        What it has to reach; 1 where no depth is asked.
    """
    scatter = search.scatter.moved_to(weld_pass)
    if not scatter.needs_section or goals.depth_share is None:
        return 1.0
    still = np.zeros((1, len(scatter.causes)))
    own, sheet = section_pulses(scatter, still, cells=SECTION_CELLS), scatter.pulses(still)
    tasks = [
        {
            "case": one.cases[0],
            "fused_radius": float(one.distance[0]),
            "root_width": 0.0,
            "penetration": 0.0,
        }
        for one in (own, sheet)
    ]
    powers = run_batch(least_power, tasks, executor=search.executor)
    return powers[0] / powers[1]


def _trimmed(search: Search, timed: TimedPass, goals: PassGoals) -> tuple[WeldPass, float]:
    power = timed.weld_pass.peak_power * section_factor(search, timed.weld_pass, goals)
    best, reached, power = timed.weld_pass, -1.0, rounded_power(power)
    for _ in range(TRIMS):
        made = _with_power(timed.weld_pass, power)
        chance, enough, harmless = chance_of(
            search,
            search.scatter.moved_to(made),
            goals,
            warmest=timed.hottest_rise,
            draws=draws_for(search.scatter),
            seed=search.seed + 1,
        )
        if chance > reached:
            best, reached = made, chance
        if chance >= search.chance or enough == harmless:
            break
        power = rounded_power(power * (1.0 + _TRIM if enough < harmless else 1.0 - _TRIM))
    return best, reached


def _with_power(one: WeldPass, power: float) -> WeldPass:
    return evolve(one, peak_power=power, pulse_energy=power * one.pulse_duration)


def _other_chance(search: Search, proof: Proof, one: Combination) -> float:
    schedule, calibration = search.scatter.schedule, search.scatter.calibration
    chances = []
    for made, timed, goals in (
        (proof.root, one.root, root_goals(schedule)),
        (proof.cover, one.cover, cover_goals(schedule)),
    ):
        counted = not proof.counts_model
        other = pass_scatter(schedule, made, calibration=calibration, with_model=counted)
        found = chance_of(
            search,
            other,
            goals,
            warmest=timed.hottest_rise,
            draws=min(MODEL_DRAWS, draws_for(other)),
            seed=search.seed + 2,
        )
        chances.append(found[0])
    return min(chances)
