"""Which pulses could make the root and the cover: power solved for the goals, chance by draws.

A coarse grid serves the search; whatever is drafted is confirmed on the engine's own grid.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from typing import Any, Final

import numpy as np
from attrs import evolve, field, frozen

from weldcalc.batch import Progress, run_batch
from weldcalc.goals import LACK, PassGoals, all_met
from weldcalc.heatflow.spot_sizes import SIZES
from weldcalc.schedule import WeldPass
from weldcalc.tolerances.model_error import with_model_error
from weldcalc.tolerances.pulse_runs import pulse_sizes, run_pulses
from weldcalc.tolerances.scatter import Bools, Floats, PassScatter, column, normal_points

SEARCH_CELLS = 9.0  # across the spot or the wall, whichever is less
DURATIONS = 5
SENSIBLE_DURATIONS = (1e-3, 20e-3)  # s; looked at, within the laser's own range
DRAWS = 24
POWERS: Final = tuple(float(x) for x in np.geomspace(0.96, 1.7, 9))
HOT_RISES: Final = (60.0, 150.0, 300.0)  # K above the start that the hottest pulse may find
COVER_SPOTS: Final = (1.6, 2.0, 2.4, 2.8)  # of the root's spot
_FIRST_POWER = 200.0  # W
_MOST_POWER = 3e4  # W
_HALVINGS = 7


@frozen(eq=False)
class PulseOption:
    """A pulse that may serve, and what is known of it from the search.

    Parameters
    ----------
    weld_pass : WeldPass
        Pulse and pitch; rate and speed are still to be chosen.
    hot_rise : float
        Above its start, that the hottest pulse may find [K].
    chance : float
        Of its goals, cold and hot [1].
    powers : tuple of (float, float)
        Range of the peak power over which the chance asked for is kept [W].
    sizes : ndarray, shape (10,)
        Of the cold pulse without scatter, as `weldcalc.heatflow.spot_sizes.SIZES`.
    """

    weld_pass: WeldPass
    hot_rise: float
    chance: float
    powers: tuple[float, float]
    sizes: Floats = field(repr=False)

    @property
    def room(self) -> float:
        """Return by what share the power may drift to the nearer side [1]."""
        power = self.weld_pass.peak_power
        return max(min(power / self.powers[0], self.powers[1] / power) - 1.0, 0.0)

    def size(self, name: str) -> float:
        """Return a size of the cold pulse without scatter, by its name."""
        return float(column(self.sizes, name))


@frozen(eq=False)
class Search:
    """What a search needs at every step.

    Parameters
    ----------
    scatter : PassScatter
        Of the root's spot; other pulses are set into it.
    chance : float
        Asked for [1].
    seed : int
        Of the draws.
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.
    """

    scatter: PassScatter
    chance: float
    seed: int
    executor: Executor | None = None
    progress: Progress | None = None

    def run(self, cases: Sequence[Mapping[str, Any]]) -> Floats:
        """Return the sizes of pulses, shape (n, 10)."""
        return run_pulses(cases, executor=self.executor, progress=self.progress)

    def grid(self, weld_pass: WeldPass) -> float:
        """Return the coarse cell for a pulse [m]."""
        wall = self.scatter.schedule.joint.wall_thickness
        return min(weld_pass.spot_diameter, wall) / SEARCH_CELLS


def durations(limits: tuple[float, float] | None) -> list[float]:
    """Return the pulse durations to look at [s], round to a tenth of a millisecond.

    Parameters
    ----------
    limits : tuple of (float, float) or None
        Range of the laser [s].
    """
    low, high = limits or SENSIBLE_DURATIONS
    low = max(low, min(SENSIBLE_DURATIONS[0], high))
    high = min(high, max(SENSIBLE_DURATIONS[1], low))
    # closer than a quarter apart they would all but repeat each other
    count = min(DURATIONS, 2 + int(np.log(high / low) / np.log(1.25)))
    made = [round(float(x), 4) for x in np.geomspace(low, high, count)]
    return sorted({min(max(x, low), high) for x in made})


def least_power(task: Mapping[str, Any]) -> float:
    """Return the least peak power at which a pulse reaches what is asked [W].

    Parameters
    ----------
    task : mapping
        "case" of the pulse, and least "fused_radius", "root_width" and "penetration" [m].

    Returns
    -------
    float
        Within 1 %, from above; infinite where even 30 kW are not enough.
    """

    def enough(power: float) -> bool:
        sizes = pulse_sizes({**task["case"], "peak_power": power})
        return all(
            float(column(sizes, name)) >= task[name]
            for name in ("fused_radius", "root_width", "penetration")
        )

    high = _FIRST_POWER
    low = high / 2.0
    while not enough(high):
        low, high = high, 2.0 * high
        if high > _MOST_POWER:
            return float("inf")
    while low > 1.0 and enough(low):
        low, high = low / 2.0, low
    for _ in range(_HALVINGS):
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def solve_powers(
    search: Search, passes: Sequence[WeldPass], needs: Mapping[str, Callable[[WeldPass], float]]
) -> list[float]:
    """Return the least power of each pulse without scatter [W].

    Parameters
    ----------
    search : Search
        Scatter and executor.
    passes : sequence of WeldPass
        Pulses; their power is not used.
    needs : mapping of str to callable
        What each has to reach [m], by the names in `least_power`; those left out are not asked.
    """
    asked = {name: (lambda _: 0.0) for name in ("fused_radius", "root_width", "penetration")}
    tasks = []
    for one in passes:
        case = search.scatter.moved_to(one).centre(grid=search.grid(one)).cases[0]
        tasks.append({"case": case} | {name: f(one) for name, f in {**asked, **needs}.items()})
    return run_batch(least_power, tasks, executor=search.executor)


@frozen(eq=False)
class Ladder:
    """Chances of one pulse over a ladder of powers.

    Parameters
    ----------
    powers : ndarray, shape (p,)
        Peak powers [W], rising.
    chance : ndarray, shape (p,)
        Of every goal, cold and hot [1].
    sizes : ndarray, shape (p, 10)
        Without scatter, cold.
    """

    powers: Floats
    chance: Floats
    sizes: Floats

    def range_above(self, chance: float) -> tuple[float, float] | None:
        """Return the ends of the powers that keep a chance [W]; None if none does."""
        good = np.flatnonzero(self.chance >= chance)
        if not good.size:
            return None
        # the first run of powers without a break
        last = int(good[0] + np.argmax(np.append(np.diff(good) > 1, True)))
        return self._crossing(int(good[0]), -1, chance), self._crossing(last, 1, chance)

    def _crossing(self, place: int, side: int, chance: float) -> float:
        beside = place + side
        if not 0 <= beside < len(self.powers):
            return float(self.powers[place])
        high, low = self.chance[place], self.chance[beside]
        share = (high - chance) / (high - low) if high > low else 0.0
        return float(self.powers[place] + share * (self.powers[beside] - self.powers[place]))

    def sizes_at(self, power: float) -> Floats:
        """Return the sizes at a power between the rungs, shape (10,)."""
        return np.array([np.interp(power, self.powers, line) for line in self.sizes.T])


def ladders(
    search: Search, passes: Sequence[WeldPass], goals: PassGoals, powers: Sequence[Floats]
) -> dict[float, list[Ladder]]:
    """Return the chances of pulses over powers: cold for what is lacking, hot for excess.

    Parameters
    ----------
    search : Search
        Scatter and executor.
    passes : sequence of WeldPass, length n
        Pulses with their pitch; their power is not used.
    goals : PassGoals
        What they have to reach.
    powers : sequence of ndarray, length n, shape (p,)
        Powers to try for each [W].

    Returns
    -------
    dict of float to list of Ladder, length n
        By the rise that the hottest pulse finds, of `HOT_RISES`.
    """
    count = len(powers[0])
    rungs = [
        search.scatter.moved_to(with_power(one, float(power)))
        for one, ladder in zip(passes, powers, strict=True)
        for power in ladder
    ]
    normals = normal_points(DRAWS, len(search.scatter.causes), search.seed)
    lacking = LACK & frozenset(goals.names)
    centre = search.run([rung.centre(grid=search.grid(rung.weld_pass)).cases[0] for rung in rungs])
    cold = _met(search, rungs, normals, goals, lacking, 0.0) if lacking else True
    found: dict[float, list[Ladder]] = {}
    for rise in HOT_RISES:
        hot = _met(search, rungs, normals, goals, frozenset(goals.names) - LACK, rise)
        chance = (cold & hot).mean(axis=1).reshape(-1, count)
        sizes = centre.reshape(-1, count, len(SIZES))
        found[rise] = [
            Ladder(np.asarray(ladder), *rows)
            for ladder, *rows in zip(powers, chance, sizes, strict=True)
        ]
    return found


def _met(
    search: Search,
    rungs: Sequence[PassScatter],
    normals: Floats,
    goals: PassGoals,
    names: frozenset[str],
    rise: float,
) -> Bools:
    """Tell which draws of every rung meet some goals, shape (rungs, draws)."""
    pulses = [
        rung.pulses(
            normals,
            grid=search.grid(rung.weld_pass),
            preheat=rung.settings["preheat"] + rise,
        )
        for rung in rungs
    ]
    sizes = search.run([case for one in pulses for case in one.cases])
    parts = sizes.reshape(len(rungs), len(normals), -1)
    stretched = [
        with_model_error(rung, normals, rows, one, on_section=False)
        for rung, rows, one in zip(rungs, parts, pulses, strict=True)
    ]
    met = [all_met(goals.met(a, one), names) for a, one in zip(stretched, pulses, strict=True)]
    return np.array(met)


def with_power(one: WeldPass, power: float) -> WeldPass:
    """Return a square pulse with another peak power [W]."""
    return evolve(one, peak_power=power, pulse_energy=power * one.pulse_duration)
