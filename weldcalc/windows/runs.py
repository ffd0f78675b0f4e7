"""Places of a process window: the pulse at each, and the region that it falls in."""

from __future__ import annotations

from concurrent.futures import Executor
from typing import Any, Final

import numpy as np
from attrs import evolve, frozen
from numpy.typing import NDArray

from weldcalc.batch import Progress
from weldcalc.goals import LACK, PassGoals, all_met
from weldcalc.heatflow.spot_sizes import SIZES
from weldcalc.pulse_shape import PulseShape
from weldcalc.schedule import WeldPass
from weldcalc.tolerances.sampled_pulses import run_samples
from weldcalc.tolerances.scatter import Bools, Floats, PassScatter, Pulses, column, normal_points
from weldcalc.tolerances.surrogate import SectionSurrogate

Ints = NDArray[np.int_]
Axis = tuple[str, Floats, Floats]  # setting, places that are run, places that are asked [SI]

REGIONS: Final = ("lack of penetration", "sound", "excessive")
LACKING, SOUND, EXCESSIVE = range(3)
CHANCE_NODES = 12  # along each side; the chance between them is interpolated
CHANCE_DRAWS = 20
SECTION_CHANCE_NODES = 8
_EDGE_HALVINGS = 4
_SKIN = 0.2  # of the heat-affected width; a pool no deeper is hardly one
SECTION_NODES = 30  # along each side, where a stand-in serves; sizes between them are interpolated
SIZE_NUMBERS: Final = range(len(SIZES))


def changed_pass(weld_pass: WeldPass, **changes: float) -> WeldPass:
    """Return a pass with other settings; power, energy and duration stay consistent.

    Parameters
    ----------
    weld_pass : WeldPass
        As in the schedule.
    **changes : float
        Settings of `VARIABLES` [SI]. Where only the duration changes, what was typed stays: peak
        power or pulse energy. Where both of these change, the duration follows.
    """
    settings: dict[str, Any] = dict(changes)
    made = evolve(weld_pass, **settings)
    mean_level = PulseShape.of(made.pulse_shape).mean_level
    if changes.keys() >= {"peak_power", "pulse_energy"}:
        return evolve(made, pulse_duration=made.pulse_energy / (made.peak_power * mean_level))
    level = made.pulse_duration * mean_level
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
        Of the schedule's own setting, for the chance.
    still : PassScatter
        The same without the model's spread: its middle is the place without scatter.
    goals : PassGoals
        What decides the region.
    x, y : str
        Settings that change.
    surrogate : SectionSurrogate or None
        Stands in for the engine of cross-sections; None where the axisymmetric engine serves.
    grid : float or None
        Edge of the axisymmetric engine's cells under the spot [m].
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.
    """

    scatter: PassScatter
    still: PassScatter
    goals: PassGoals
    x: str
    y: str
    surrogate: SectionSurrogate | None
    grid: float | None
    executor: Executor | None
    progress: Progress | None

    def map(self, columns: Floats, rows: Floats) -> tuple[Floats, Ints]:
        """Return the sizes, shape (n, m, 10), and the regions, shape (n, m), of all places [SI]."""
        x, y = columns, rows
        if self.surrogate is not None:
            # the stand-in has an error anyway; far smaller is that of running between fewer places
            x, y = (np.linspace(v[0], v[-1], min(v.size, SECTION_NODES)) for v in (columns, rows))
        places = [
            at_place(self.still, self.x, a, self.y, b) for b in y.tolist() for a in x.tolist()
        ]
        found = self._run(places, np.zeros((1, len(self.still.causes))))[0]
        nodes = found.reshape(len(y), len(x), len(SIZES))
        sizes = np.dstack([_interpolated(nodes[..., k], x, y, columns, rows) for k in SIZE_NUMBERS])
        return sizes, self._region(sizes, self._distances(columns, rows))

    def region_at(self, x: float, y: float) -> int:
        """Return the region of one place [SI]."""
        still = np.zeros((1, len(self.still.causes)))
        place = at_place(self.still, self.x, x, self.y, y)
        # one run, here: sending it anywhere would take longer
        rows, made = run_samples([place], [still], surrogate=self.surrogate, grid=self.grid)
        return int(self._region(rows[0], made[0])[0])

    def chance(
        self, columns: Floats, rows: Floats, seed: int, *, nodes: int = CHANCE_NODES
    ) -> Floats:
        """Return the chance of every goal [1], shape (n, m), from draws at fewer places.

        Notes
        -----
        Along each row of places, or each column where the goals change more along that, where a
        draw begins or ceases to meet them is halved in on; between the rows that edge is taken to
        run straight. A chance interpolated from place to place would fade over the distance of two
        places, not over the scatter.
        """
        if self.surrogate is not None:
            nodes = min(nodes, SECTION_CHANCE_NODES)
        x, y = (np.linspace(ends[0], ends[-1], nodes) for ends in (columns, rows))
        normals = normal_points(CHANCE_DRAWS, len(self.scatter.causes), seed)
        made = self._run(self._places(self.scatter, x, y), normals)
        met = all_met(self.goals.met(*made)).reshape(nodes, nodes, len(normals))
        up, across = (int(np.sum(np.diff(met, axis=axis))) for axis in (0, 1))
        if across >= up:
            return self._chance_along((self.x, x, columns), (self.y, y, rows), met, normals)
        turned = np.swapaxes(met, 0, 1)
        return self._chance_along((self.y, y, rows), (self.x, x, columns), turned, normals).T

    def _chance_along(self, along: Axis, up: Axis, met: Bools, normals: Floats) -> Floats:
        """Return the chance, shape (n, m), from what draws meet, shape (nodes, nodes, draws)."""
        edges = self._edges(along, up, met, normals)
        _, x, columns = along
        _, y, rows = up
        inside = np.zeros((len(y), len(columns), len(normals)))
        for (row, draw), places in edges.items():
            inside[row, :, draw] = signed_distance(
                columns, places, starts_inside=bool(met[row, 0, draw]), x=x
            )
        place = np.interp(rows, y, np.arange(len(y)))
        low = np.minimum(place.astype(int), len(y) - 2)
        share = (place - low)[:, None, None]
        between = (1.0 - share) * inside[low] + share * inside[low + 1]
        return np.asarray(np.mean(between >= 0.0, axis=2))

    def _edges(
        self, along: Axis, up: Axis, met: Bools, normals: Floats
    ) -> dict[tuple[int, ...], Floats]:
        """Return where along each row each draw begins or ceases to meet the goals [SI]."""
        (x_key, x, _), (y_key, y, _) = along, up
        row, left, draw = np.nonzero(met[:, :-1] != met[:, 1:])
        low, high = x[left], x[left + 1]
        for _ in range(_EDGE_HALVINGS if len(row) else 0):
            middle = 0.5 * (low + high)
            places = [
                at_place(self.scatter, x_key, a, y_key, b)
                for a, b in zip(middle.tolist(), y[row].tolist(), strict=True)
            ]
            found = all_met(self.goals.met(*self._run_each(places, normals[draw])))
            same = found == met[row, left, draw]
            low, high = np.where(same, middle, low), np.where(same, high, middle)
        edge = 0.5 * (low + high)
        keys = np.ndindex(met.shape[0], met.shape[2])
        return {key: edge[(row == key[0]) & (draw == key[1])] for key in keys}

    def _places(self, scatter: PassScatter, x: Floats, y: Floats) -> list[PassScatter]:
        return [at_place(scatter, self.x, a, self.y, b) for b in y.tolist() for a in x.tolist()]

    def _run(self, places: list[PassScatter], normals: Floats) -> tuple[Floats, Pulses]:
        return self._run_all(places, [normals] * len(places))

    def _run_each(self, places: list[PassScatter], normals: Floats) -> tuple[Floats, Pulses]:
        return self._run_all(places, [row[None] for row in normals])

    def _run_all(self, places: list[PassScatter], samples: list[Floats]) -> tuple[Floats, Pulses]:
        sizes, pulses = run_samples(
            places,
            samples,
            surrogate=self.surrogate,
            grid=self.grid,
            executor=self.executor,
            progress=self.progress,
        )
        return np.concatenate(sizes), _joined(pulses)

    def _distances(self, columns: Floats, rows: Floats) -> Pulses:
        """Return what every place of the map is held against, shape (n, m)."""
        still, shape = np.zeros((1, len(self.still.causes))), (len(rows), len(columns))
        made = [one.held_against(still) for one in self._places(self.still, columns, rows)]
        distance, half = (np.concatenate(one).reshape(shape) for one in zip(*made, strict=True))
        return Pulses([], half if self.surrogate is not None else distance, half)

    def _region(self, sizes: Floats, pulses: Pulses) -> Ints:
        met = self.goals.met(sizes, pulses)
        enough = all_met(met, LACK)
        harmless = all_met(met, frozenset(met) - LACK)
        # where hardly a skin melts, all that is heated counts as heat-affected: that is too little
        # heat, not too much
        skin = _SKIN * column(sizes, "haz_width")
        cold = column(sizes, "penetration") <= skin
        missed = np.where(cold, LACKING, EXCESSIVE)
        return np.where(harmless, np.where(enough, SOUND, LACKING), missed)


def signed_distance(values: Floats, edges: Floats, *, starts_inside: bool, x: Floats) -> Floats:
    """Return how far values are inside of where goals are met, below zero outside.

    Parameters
    ----------
    values : ndarray, shape (m,)
        Of one setting [SI].
    edges : ndarray, shape (e,)
        Where goals begin or cease to be met [SI].
    starts_inside : bool
        Whether they are met at the first place.
    x : ndarray, shape (k,)
        Places that were run; what lies more than two of them away counts as two.

    Returns
    -------
    ndarray, shape (m,)
        [SI]
    """
    far = 2.0 * (x[1] - x[0])
    off = np.abs(values[:, None] - edges)
    distance = np.minimum(off.min(axis=1, initial=far), far)
    passed = (values[:, None] > edges).sum(axis=1)
    return np.asarray(np.where((passed % 2 == 0) == starts_inside, distance, -distance))


def at_place(scatter: PassScatter, x: str, a: float, y: str, b: float) -> PassScatter:
    """Return the scatter about a place of a map.

    Parameters
    ----------
    scatter : PassScatter
        Of the schedule's own setting.
    x, y : str
        Settings of `VARIABLES`.
    a, b : float
        Their values [SI].
    """
    return scatter.moved_to(changed_pass(scatter.weld_pass, **{x: a, y: b}))


def _joined(pulses: list[Pulses]) -> Pulses:
    return Pulses(
        [case for one in pulses for case in one.cases],
        np.concatenate([one.distance for one in pulses]),
        np.concatenate([one.half_pitch for one in pulses]),
    )


def _interpolated(nodes: Floats, x: Floats, y: Floats, columns: Floats, rows: Floats) -> Floats:
    along = np.array([np.interp(columns, x, row) for row in nodes])
    return np.array([np.interp(rows, y, line) for line in along.T]).T
