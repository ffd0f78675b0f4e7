"""How far one input may drift while all others only scatter: found by direct runs of the engine."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
from attrs import frozen

from weldcalc.goals import PassGoals, all_met
from weldcalc.tolerances.sampled_pulses import Sampler
from weldcalc.tolerances.scatter import MODEL_ERRORS, Floats, PassScatter, normal_points

DRAWS = 64  # of a quasi-random sequence, the same for every drift
LADDER: Final = (1.0, 3.0, 9.0, 27.0)  # sigmas tried first, while the chance holds
REFINED = 3  # more shifts tried between the last that held and the first that did not
LARGEST_SHARE = 0.5
_KEPT_STILL: Final = frozenset({"model", *MODEL_ERRORS, "surrogate"})  # no person lets them drift
_LENGTHS: Final = frozenset({"focus", "gap", "beam_offset"})

Key = tuple[str, float]
Way = tuple[str, int]  # cause, and -1 or 1


@frozen
class Drift:
    """How far one input may move from its middle, one way, with the chance of every goal kept.

    Parameters
    ----------
    cause : str
        Input, a key of `weldcalc.tolerances.scatter.CAUSES`.
    allowed : float
        Farthest shift that was run and kept the chance [1 or m], with its sign; 0 where not
        even a small one does.
    chance : float
        Chance of every goal at that shift [1].
    is_open : bool
        Whether the chance still held at the farthest shift tried: the true limit lies beyond.
    is_closed_gap : bool
        Whether the shift is that of a gap until it is closed: it can go no farther.
    """

    cause: str
    allowed: float
    chance: float
    is_open: bool
    is_closed_gap: bool = False


def allowed_drifts(
    sampler: Sampler, goals: PassGoals, *, least_chance: float, seed: int, draws: int = DRAWS
) -> tuple[Drift, ...]:
    """Return for every input how far it may drift to either side.

    Parameters
    ----------
    sampler : Sampler
        Computes draws of the pass.
    goals : PassGoals
        What it has to reach.
    least_chance : float
        Chance of meeting every goal that has to be kept [1].
    seed : int
        Of the draws.
    draws : int, optional
        Draws behind every chance.

    Returns
    -------
    tuple of Drift
        Two for each input, the shift to the low side first; empty where the chance is missed
        without any drift.
    """
    scatter = sampler.scatter
    run = _Runner(sampler, goals, normal_points(draws, len(scatter.causes), seed))
    still = run.chances([("power", 0.0)])["power", 0.0]
    if still < least_chance:
        return ()
    tried = {
        (cause, sign): {0.0: still}
        for cause in scatter.causes
        if cause not in _KEPT_STILL
        for sign in (-1, 1)
    }
    # a stand-in is asked no farther than it was learnt
    for step in LADDER if sampler.surrogate is None else LADDER[:2]:
        steady = [way for way, found in tried.items() if min(found.values()) >= least_chance]
        _add(tried, {way: _next_step(scatter, way, step) for way in steady}, run)
    for _ in range(REFINED):
        asked = {way: _between(found, least_chance) for way, found in tried.items()}
        _add(tried, {way: x for way, x in asked.items() if x is not None}, run)
    gap = scatter.schedule.joint.gap or 0.0
    return tuple(_drift(way, found, least_chance, gap) for way, found in tried.items())


def _add(
    tried: dict[Way, dict[float, float]],
    asked: Mapping[Way, float],
    run: _Runner,
) -> None:
    found = run.chances([(way[0], shift) for way, shift in asked.items()])
    for way, shift in asked.items():
        tried[way][shift] = found[way[0], shift]


def _next_step(scatter: PassScatter, way: Way, step: float) -> float:
    cause, sign = way
    # half of a value is farther than anything drifts, and less than half makes no weld
    most = np.inf if cause in _LENGTHS else LARGEST_SHARE
    if way == ("gap", -1):
        most = scatter.schedule.joint.gap or 0.0
    return float(sign * min(step * scatter.sigma[cause], most))


def _between(tried: Mapping[float, float], least: float) -> float | None:
    """Return a shift between the last that held and the first that did not; None if all held."""
    inner, outer = _bracket(tried, least)
    if outer is None:
        return None
    high, low = tried[inner], tried[outer]
    # chances fall ever faster, so a line through two of them is on the safe side
    share = min(max((high - least) / (high - low), 0.25), 0.75)
    return inner + share * (outer - inner)


def _bracket(tried: Mapping[float, float], least: float) -> tuple[float, float | None]:
    """Return the last shift that holds before the first that does not, and that one."""
    inner = 0.0
    for shift in sorted(tried, key=abs):
        if tried[shift] < least:
            return inner, shift
        inner = shift
    return inner, None


def _drift(way: Way, tried: Mapping[float, float], least: float, gap: float) -> Drift:
    inner, outer = _bracket(tried, least)
    closed = outer is None and way == ("gap", -1) and inner <= -gap
    return Drift(
        cause=way[0],
        allowed=inner,
        chance=tried[inner],
        is_open=outer is None and not closed,
        is_closed_gap=closed,
    )


class _Runner:
    """Runs the same draws at any shift; the same pulse is run once in each call."""

    def __init__(self, sampler: Sampler, goals: PassGoals, normals: Floats) -> None:
        self._sampler, self._goals, self._normals = sampler, goals, normals

    def chances(self, keys: list[Key]) -> dict[Key, float]:
        unique = list(dict.fromkeys(keys))
        if not unique:
            return {}
        shifts: list[Mapping[str, float]] = [{cause: shift} for cause, shift in unique]
        sizes, pulses = self._sampler([self._normals] * len(unique), shifts)
        return {
            key: float(np.mean(all_met(self._goals.met(rows, made))))
            for key, rows, made in zip(unique, sizes, pulses, strict=True)
        }
