"""Places of a process window: the pulse at each, and the region that it falls in."""

from __future__ import annotations

from concurrent.futures import Executor
from typing import Any, Final

import numpy as np
from attrs import evolve, frozen
from numpy.typing import NDArray

from weldcalc.batch import Progress
from weldcalc.goals import LACK, PassGoals, all_met
from weldcalc.heatflow.spot_sizes import SIZES, spot_sizes
from weldcalc.pulse_shape import PulseShape
from weldcalc.schedule import WeldPass
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.scatter import Floats, PassScatter, Pulses, normal_points

Ints = NDArray[np.int_]

REGIONS: Final = ("lack of penetration", "sound", "excessive")
LACKING, SOUND, EXCESSIVE = range(3)
CHANCE_NODES = 12  # along each side; the chance between them is interpolated
CHANCE_DRAWS = 20


def changed_pass(weld_pass: WeldPass, **changes: float) -> WeldPass:
    """Return a pass with other settings; power, energy and duration stay consistent.

    Parameters
    ----------
    weld_pass : WeldPass
        As in the schedule.
    **changes : float
        Settings of `VARIABLES` [SI]. Where only the duration changes, what was typed stays: peak
        power or pulse energy.
    """
    settings: dict[str, Any] = dict(changes)
    made = evolve(weld_pass, **settings)
    level = made.pulse_duration * PulseShape.of(made.pulse_shape).mean_level
    by_energy = "pulse_energy" in changes or (
        "peak_power" not in changes and "pulse_energy" in weld_pass.given
    )
    if by_energy:
        return evolve(made, peak_power=made.pulse_energy / level)
    return evolve(made, pulse_energy=made.peak_power * level)


def setting_sigma(scatter: PassScatter, key: str) -> float:
    """Return one standard deviation of a setting [SI]; 0 where nothing is known to scatter it.

    Parameters
    ----------
    scatter : PassScatter
        Of the pass.
    key : str
        Setting, of `VARIABLES`.
    """
    sigma = scatter.sigma
    shares = {
        "peak_power": sigma.get("power", 0.0),
        "pulse_energy": float(np.hypot(sigma.get("power", 0.0), sigma.get("duration", 0.0))),
        "pulse_duration": sigma.get("duration", 0.0),
        "spot_diameter": sigma.get("spot_diameter", 0.0),
        "travel_speed": sigma.get("travel_speed", 0.0),
    }
    if key == "beam_offset":
        return sigma.get("beam_offset", 0.0)
    return shares.get(key, 0.0) * float(getattr(scatter.weld_pass, key))


@frozen(eq=False)
class Sheet:
    """Runs places of the map.

    Parameters
    ----------
    scatter : PassScatter
        Of the schedule's own setting.
    goals : PassGoals
        What decides the region.
    x, y : str
        Settings that change.
    grid : float or None
        Edge of the engine's cells under the spot [m].
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.
    """

    scatter: PassScatter
    goals: PassGoals
    x: str
    y: str
    grid: float | None
    executor: Executor | None
    progress: Progress | None

    def at(self, x: float, y: float) -> PassScatter:
        """Return the scatter about a place [SI]."""
        return self.scatter.moved_to(changed_pass(self.scatter.weld_pass, **{self.x: x, self.y: y}))

    def map(self, columns: Floats, rows: Floats) -> tuple[Floats, Ints]:
        """Return the sizes, shape (n, m, 10), and the regions, shape (n, m), of all places [SI]."""
        places = [self.at(float(x), float(y)).centre(grid=self.grid) for y in rows for x in columns]
        sizes, pulses = self._run(places)
        shape = (len(rows), len(columns))
        return sizes.reshape(*shape, len(SIZES)), self._region(sizes, pulses).reshape(shape)

    def region_at(self, x: float, y: float) -> int:
        """Return the region of one place [SI]."""
        made = self.at(x, y).centre(grid=self.grid)
        return int(self._region(spot_sizes(made.cases[0])[None], made)[0])

    def chance(self, columns: Floats, rows: Floats, seed: int) -> Floats:
        """Return the chance of every goal [1], shape (n, m), from draws at fewer places."""
        x, y = (np.linspace(ends[0], ends[-1], CHANCE_NODES) for ends in (columns, rows))
        normals = normal_points(CHANCE_DRAWS, len(self.scatter.causes), seed)
        places = [self.at(float(b), float(a)).pulses(normals, grid=self.grid) for a in y for b in x]
        sizes, pulses = self._run(places)
        met = all_met(self.goals.met(sizes, pulses)).reshape(CHANCE_NODES, CHANCE_NODES, -1)
        return _interpolated(met.mean(axis=2), x, y, columns, rows)

    def _run(self, places: list[Pulses]) -> tuple[Floats, Pulses]:
        cases = [case for one in places for case in one.cases]
        sizes = run_pulses(cases, executor=self.executor, progress=self.progress)
        distances = np.concatenate([one.distance for one in places])
        halves = np.concatenate([one.half_pitch for one in places])
        return sizes, Pulses(cases, distances, halves)

    def _region(self, sizes: Floats, pulses: Pulses) -> Ints:
        met = self.goals.met(sizes, pulses)
        enough = all_met(met, LACK)
        harmless = all_met(met, frozenset(met) - LACK)
        return np.where(harmless, np.where(enough, SOUND, LACKING), EXCESSIVE)


def _interpolated(nodes: Floats, x: Floats, y: Floats, columns: Floats, rows: Floats) -> Floats:
    along = np.array([np.interp(columns, x, row) for row in nodes])
    return np.array([np.interp(rows, y, line) for line in along.T]).T
