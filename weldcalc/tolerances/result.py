"""What scatter does to a schedule, as data: chances, intervals, causes, drifts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from attrs import field, frozen

from weldcalc.findings import Finding
from weldcalc.passes.focus import focus_findings
from weldcalc.quantities import json_key, to_json
from weldcalc.schedule import Schedule
from weldcalc.tolerances.drift import Drift
from weldcalc.tolerances.scatter import MODEL_ERRORS, Floats, shift_key
from weldcalc.tolerances.sensitivity import VarianceShares
from weldcalc.tolerances.surrogate import SectionSurrogate

LEVEL = 0.90  # coverage of the intervals of results
RESULTS: Final = ("penetration", "fusion_width", "root_width", "haz_width", "joint_margin")
UNITLESS: Final = frozenset({"model", *MODEL_ERRORS, "surrogate"})
"""Causes whose one sigma is no figure of the shop."""


@frozen
class Chance:
    """Chance of meeting a goal, with the interval that the sampling leaves (95 %) [1]."""

    chance: float
    interval: tuple[float, float]


@frozen(eq=False)
class PassTolerance:
    """What scatter does to one pass.

    Parameters
    ----------
    name : str
        Of the pass.
    samples, runs : int
        Sampled welds, and engine runs behind them: a cause that changes no pool takes none.
    values : mapping of str to ndarray, shape (samples,)
        Results by key of `RESULTS` [SI].
    goals : mapping of str to Chance
        By goal, keys of `weldcalc.goals.GOALS`.
    every_goal : Chance
        Of meeting all of them at once.
    shop_alone : Chance
        The same when only the shop scatters and the model is taken at its word.
    causes : tuple of str
        What scatters, keys of `weldcalc.tolerances.scatter.CAUSES`.
    sigma : mapping of str to float
        One standard deviation of each [1 or m].
    shares : mapping of str to VarianceShares
        By result: what each cause does to its variance.
    least_chance : float
        That the drifts have to keep [1].
    drifts : tuple of Drift
        Empty where the chance is missed without any, or none were asked for.
    drifts_with_model : bool
        Whether the model scatters too while an input drifts; if the chance is missed for the
        model's sake alone, the drifts are those with the model taken at its word.
    surrogate : SectionSurrogate or None
        What stood in for the engine of cross-sections; None where all runs were direct.
    computed_by : str
        Engine and what it leaves out.
    """

    name: str
    samples: int
    runs: int
    values: Mapping[str, Floats] = field(repr=False)
    goals: Mapping[str, Chance]
    every_goal: Chance
    shop_alone: Chance
    causes: tuple[str, ...]
    sigma: Mapping[str, float]
    shares: Mapping[str, VarianceShares] = field(repr=False)
    least_chance: float
    drifts: tuple[Drift, ...] = field(repr=False)
    drifts_with_model: bool
    surrogate: SectionSurrogate | None = field(repr=False)
    computed_by: str

    def interval(self, key: str) -> tuple[float, float]:
        """Return the 90 % interval of a result [SI]."""
        tail = 0.5 * (1.0 - LEVEL)
        low, high = np.quantile(self.values[key], [tail, 1.0 - tail])
        return float(low), float(high)

    @property
    def ranked_result(self) -> str:
        """Return the result whose scatter decides: where the joint is fused, or the depth."""
        return "joint_margin" if "penetration" in self.goals else "penetration"

    def ranking(self, key: str = "") -> tuple[str, ...]:
        """Return the causes of a result's scatter, the largest total share first."""
        shares = self.shares[key or self.ranked_result]
        return tuple(self.causes[int(place)] for place in np.argsort(-shares.total, kind="stable"))

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit; fractions stay 0 to 1."""
        return {
            "name": self.name,
            "computed_by": self.computed_by,
            "samples": self.samples,
            "engine_runs": self.runs,
            "results": {json_key(key): self._result_json(key) for key in self.values},
            "goals": {name: _chance_json(one) for name, one in self.goals.items()},
            "every_goal": _chance_json(self.every_goal),
            "every_goal_shop_scatter_alone": _chance_json(self.shop_alone),
            "causes": [self._cause_json(cause) for cause in self.ranking()],
            "ranked_by_scatter_of": self.ranked_result,
            "surrogate": None if self.surrogate is None else self.surrogate.to_json(),
            "chance_to_keep": self.least_chance,
            "allowed_drift": [_drift_json(drift) for drift in self.drifts],
            "allowed_drift_with_model_spread": self.drifts_with_model,
        }

    def _result_json(self, key: str) -> dict[str, Any]:
        ends = [to_json(end, key) for end in self.interval(key)]
        return {"median": to_json(float(np.median(self.values[key])), key), "interval_90": ends}

    def _cause_json(self, cause: str) -> dict[str, Any]:
        place = self.causes.index(cause)
        shares = {
            key: {
                name: float(getattr(one, name)[place])
                for name in ("first", "total", "first_error", "total_error")
            }
            for key, one in self.shares.items()
        }
        sigma = None if cause in UNITLESS else to_json(self.sigma[cause], f"scatter.{cause}")
        return {"cause": cause, "one_sigma": sigma, "shares_of_variance": shares}


def _chance_json(one: Chance) -> dict[str, Any]:
    return {"chance": one.chance, "interval_95": list(one.interval)}


def _drift_json(drift: Drift) -> dict[str, Any]:
    return {
        "cause": drift.cause,
        shift_key("allowed", drift.cause): to_json(drift.allowed, f"scatter.{drift.cause}"),
        "chance": drift.chance,
        "limit_lies_beyond": drift.is_open,
    }


@frozen(eq=False)
class Tolerance:
    """What scatter does to the passes of a schedule.

    Parameters
    ----------
    schedule : Schedule
        What was sampled.
    passes : tuple of PassTolerance
        Those that were asked for.
    seed : int
        The same seed gives the same numbers.
    """

    schedule: Schedule
    passes: tuple[PassTolerance, ...]
    seed: int

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Return what the chances leave out though the schedule asks for it."""
        return tuple(focus_findings(self.schedule))

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit."""
        return {
            "title": self.schedule.title,
            "number": self.schedule.number,
            "revision": self.schedule.revision,
            "seed": self.seed,
            "passes": [one.to_json() for one in self.passes],
            "findings": [one.to_json() for one in self.findings],
        }
