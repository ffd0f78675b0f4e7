"""What a section shows as one cause after the other moves, all else scattering as usual."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from typing import Final

import numpy as np
from attrs import evolve, frozen

from weldcalc.batch import Progress
from weldcalc.passes.seam_shape import ellipsoid_depth
from weldcalc.section_shape import joint_section
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.scatter import Bools, Floats, PassScatter, column, normal_points
from weldcalc.tolerances.section_pulses import section_pulses

FAULT_SIGMAS = 4.0  # a fault is taken to move its cause by this many times its usual scatter
DRAWS = 24  # of everything else, at each node of each cause; the first is without scatter
NODES = 17  # of each cause, run by the engine
SECTION_NODES = 13  # the engine of cross-sections takes a hundred times as long
_STEEP = "beam_offset"  # cause beside which a joint is soon not met at all; has all nodes, evenly
_REACH = 3.0  # times the spread of a fault that is looked at, at least
# shares that every cause is looked at, whatever its spread: else one that was searched less far
# would be ruled out by that alone
_REACH_SHARE = 0.48
_CROWDING = 1.5  # power of the even places of nodes: closer where faults are likelier
# least and most that one sigma of a fault is taken to be [1]. A machine that is held to a per cent
# may still break; nothing breaks in a wall, which keeps to a multiple of its own scatter. Common
# practice, no source
_MACHINE_RANGE: Final = (0.08, 0.20)
_FAULT_RANGES: Final = {
    "power": _MACHINE_RANGE,
    "duration": _MACHINE_RANGE,
    "spot_diameter": _MACHINE_RANGE,
    "wall_thickness": (0.04, 0.20),
}
_LEAST_OFFSET = 0.05e-3  # m


@frozen(eq=False)
class Curve:
    """What sections show as one cause moves.

    Parameters
    ----------
    shifts : ndarray, shape (k,)
        Of the cause [1 or m].
    values : ndarray, shape (k, d, m)
        Sizes as sections then have them under the same d draws of usual scatter [m]; the
        first draw is without scatter.
    fault : float
        Usual size of a fault [1 or m].
    jumps : ndarray of bool, shape (m,)
        Whether a size opens and shuts with a jump, as a root does.
    """

    shifts: Floats
    values: Floats
    fault: float
    jumps: Bools

    def of(self, columns: Sequence[int]) -> Curve:
        """Return the same of some sizes only, by their places."""
        places = list(columns)
        return evolve(self, values=self.values[..., places], jumps=self.jumps[places])

    def at(self, shifts: Floats) -> Floats:
        """Return the values at shifts between those that were run, shape (n, d, m) [m]."""
        last = len(self.shifts) - 2
        left = np.clip(np.searchsorted(self.shifts, shifts, side="right") - 1, 0, last)
        low, high = self.values[left], self.values[left + 1]
        share = (shifts - self.shifts[left]) / (self.shifts[left + 1] - self.shifts[left])
        share = share[:, None, None]
        # a root does not open by halves
        opens = (((low > 0.0) != (high > 0.0)) & self.jumps).any(axis=2, keepdims=True)
        nearer = np.where(share < 0.5, low, high)
        return np.where(opens, nearer, low + share * (high - low))


def fault_spread(scatter: PassScatter) -> dict[str, float]:
    """Return how far a fault usually moves each cause [1 or m].

    Parameters
    ----------
    scatter : PassScatter
        Usual scatter of the pass.
    """
    found = {
        cause: float(np.clip(FAULT_SIGMAS * scatter.sigma.get(cause, 0.0), *ends))
        for cause, ends in _FAULT_RANGES.items()
    }
    offset = FAULT_SIGMAS * scatter.sigma.get("beam_offset", 0.0)
    return found | {"beam_offset": max(offset, _LEAST_OFFSET)}


def _shifts(scatter: PassScatter) -> dict[str, Floats]:
    """Return the shifts of each cause that the engine runs [1 or m]."""
    found = {}
    for cause, fault in fault_spread(scatter).items():
        steep = cause == _STEEP
        count = SECTION_NODES if scatter.needs_section and not steep else NODES
        even = np.linspace(-1.0, 1.0, count)
        # beside its whole spot a pulse meets no joint
        least = scatter.weld_pass.spot_diameter if steep else _REACH_SHARE
        places = even if steep else np.sign(even) * np.abs(even) ** _CROWDING
        found[cause] = max(_REACH * fault, least) * places
    return found


@frozen(eq=False)
class Bench:
    """Runs sections of a pass by the engine that an estimate of it takes.

    Parameters
    ----------
    scatter : PassScatter
        The pass and its usual scatter.
    names : tuple of str
        Of the sizes, such as "penetration".
    seed : int
        Of the draws.
    grid : float or None
        Edge of the axisymmetric engine's cells under the spot [m].
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.
    """

    scatter: PassScatter
    names: tuple[str, ...]
    seed: int
    grid: float | None
    executor: Executor | None
    progress: Progress | None

    def curves(self) -> dict[str, Curve]:
        """Run the engine along each cause; return a curve for each.

        Notes
        -----
        On a section the draws are run in the middle only, and carried along each cause as they
        are: its engine is too slow for more.
        """
        faults, shifts = fault_spread(self.scatter), _shifts(self.scatter)
        on_section = self.scatter.needs_section
        normals = np.zeros((DRAWS, len(self.scatter.causes)))
        normals[1:] = normal_points(DRAWS - 1, len(self.scatter.causes), self.seed)
        ways = [{cause: x} for cause, values in shifts.items() for x in values.tolist()]
        seen = self._seen_on_section(normals, ways) if on_section else self._seen(normals, ways)
        parts = np.split(seen, np.cumsum([len(values) for values in shifts.values()])[:-1])
        jumps = np.array([name == "root_width" for name in self.names])
        return {
            cause: Curve(shifts[cause], rows, faults[cause], jumps)
            for cause, rows in zip(shifts, parts, strict=True)
        }

    def _seen(self, normals: Floats, ways: Sequence[Mapping[str, float]]) -> Floats:
        """Return what sections show at each way under each draw, shape (w, d, m) [m]."""
        made = [self.scatter.pulses(normals, shifts=way, grid=self.grid).cases for way in ways]
        cases = [case for one in made for case in one]
        sizes = self._sizes(cases)
        wall = np.array([case["thickness"] for case in cases])
        still = np.zeros(len(normals))
        aside = [self.scatter.moves(normals, way).get("beam_offset", still) for way in ways]
        found = {name: column(sizes, name) for name in self.names}
        found["penetration"] = _beside(sizes, wall, np.abs(np.concatenate(aside)))
        rows = np.array([found[name] for name in self.names]).T
        return rows.reshape(len(ways), len(normals), len(self.names))

    def _seen_on_section(self, normals: Floats, ways: Sequence[Mapping[str, float]]) -> Floats:
        still = normals[:1]
        along = [section_pulses(self.scatter, still, shifts=way).cases[0] for way in ways]
        cases = [*along, *section_pulses(self.scatter, normals).cases]
        sizes = self._sizes(cases)
        found = {name: column(sizes, name) for name in self.names}
        ends = np.array([joint_section(case["joint"]).joint_length for case in cases])
        found["penetration"] = np.minimum(column(sizes, "joint_depth"), ends)
        rows = np.array([found[name] for name in self.names]).T
        moved, usual = rows[: len(ways)], rows[len(ways) :]
        return np.asarray(np.maximum(moved[:, None, :] + usual - usual[0], 0.0))

    def _sizes(self, cases: Sequence[Mapping[str, object]]) -> Floats:
        return run_pulses(cases, executor=self.executor, progress=self.progress)


def _beside(sizes: Floats, wall: Floats, distance: Floats) -> Floats:
    """Return how deep pools are beside their axis, each taken as half an ellipsoid [m]."""
    depth, top, root = (
        column(sizes, name) for name in ("penetration", "fusion_width", "root_width")
    )
    widest = np.maximum(top, root)
    whole = ellipsoid_depth(depth, widest, root, wall)
    aside = np.minimum(2.0 * distance / np.maximum(widest, 1e-12), 1.0)
    return np.asarray(np.minimum(whole * np.sqrt(1.0 - aside**2), depth))
