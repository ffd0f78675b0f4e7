"""What a record holds of scatter: one process window, and what spreads the results most.

Both are computed small enough that a recheck stays a matter of seconds. The commands `window` and
`tolerance` compute the same with finer maps and more samples.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from attrs import frozen

from weldcalc.fields import FIELDS, json_key, show, to_json
from weldcalc.tolerance import tolerance
from weldcalc.window import window
from weldcalc.windows.runs import REGIONS

if TYPE_CHECKING:
    from weldcalc.prediction import Estimate
    from weldcalc.tolerance import Chance, PassTolerance, Tolerance
    from weldcalc.window import Window
    from weldcalc.windows.limits import Limit

X, Y = "peak_power", "pulse_duration"
CELLS: Final = 20
CHANCE_NODES: Final = 6
SAMPLES: Final = 1000
SEED: Final = 1
SECTION_RUNS: Final = (40, 12)
"""Learnt from and checked on; with twice as many the chances move within their own interval."""
LETTERS: Final[Mapping[str, str]] = dict(zip("-o+", REGIONS, strict=True))
"""Letter of each region in the rows of a recorded map."""


@frozen(eq=False)
class Studies:
    """Window and scatter of a schedule, as plain values.

    Parameters
    ----------
    window : dict
        Edges and map of the first pass, which makes the root.
    scatter : dict
        Chances and ranked causes of every pass.
    """

    window: dict[str, Any]
    scatter: dict[str, Any]


def studies_of(estimate: Estimate) -> Studies:
    """Return one process window and the ranking of causes for a record.

    Parameters
    ----------
    estimate : Estimate
        Gives the schedule and the constants.

    Returns
    -------
    Studies
        The same for the same schedule and constants: draws are seeded.
    """
    own = estimate.calibration.own
    mapped = window(
        estimate.schedule,
        x=X,
        y=Y,
        cells=(CELLS, CELLS),
        chance_nodes=CHANCE_NODES,
        seed=SEED,
        calibration=own,
        section_runs=SECTION_RUNS,
    )
    sampled = tolerance(
        estimate.schedule,
        samples=SAMPLES,
        seed=SEED,
        with_drifts=False,
        calibration=own,
        section_runs=SECTION_RUNS,
    )
    return Studies(window=_window(mapped), scatter=_scatter(sampled))


def _window(made: Window) -> dict[str, Any]:
    return {
        **made.to_json(),
        "goal_depth_mm": to_json(made.goal_depth, "penetration") if made.owes_depth else None,
        "one_sigma": {
            json_key(key): to_json(value, key)
            for key, value in zip((made.x_key, made.y_key), made.sigma, strict=True)
        },
        "limits": [_limit(one, made.x_key, made.y_key) for one in made.limits],
        "map": {
            json_key(made.x_key): _column(made.x, made.x_key),
            json_key(made.y_key): _column(made.y, made.y_key),
            "letters": dict(LETTERS),
            "region": ["".join(_letter(place) for place in row) for row in made.region],
            "penetration_mm": [_column(row, "penetration") for row in made.sizes["penetration"]],
            "chance": made.chance,
        },
    }


def _letter(place: int) -> str:
    return next(letter for letter, name in LETTERS.items() if name == REGIONS[place])


def _limit(one: Limit, x_key: str, y_key: str) -> dict[str, Any]:
    return {
        "name": one.words,
        json_key(x_key): _column(one.x, x_key),
        json_key(y_key): _column(one.y, y_key),
    }


def _column(values: np.ndarray[Any, Any], key: str) -> list[Any]:
    return [to_json(float(value), key) for value in values]


def _scatter(made: Tolerance) -> dict[str, Any]:
    return {
        "seed": made.seed,
        "passes": [_pass(one) for one in made.passes],
    }


def _pass(made: PassTolerance) -> dict[str, Any]:
    return {
        "name": made.name,
        "computed_by": made.computed_by,
        "samples": made.samples,
        "engine_runs": made.runs,
        "results": {json_key(key): _result(made, key) for key in made.values},
        "goals": {name: _chance(one) for name, one in made.goals.items()},
        "every_goal": _chance(made.every_goal),
        "every_goal_shop_scatter_alone": _chance(made.shop_alone),
        "ranked_by_scatter_of": made.ranked_result,
        "causes": [_cause(key, made) for key in made.ranking()],
    }


def _result(made: PassTolerance, key: str) -> dict[str, Any]:
    middle = to_json(float(np.median(made.values[key])), key)
    return {"median": middle, "interval_90": [to_json(end, key) for end in made.interval(key)]}


def _chance(one: Chance) -> dict[str, Any]:
    return {"chance": one.chance, "interval_95": list(one.interval)}


def _cause(key: str, made: PassTolerance) -> dict[str, Any]:
    """Return a cause with its shares of the variance of the result that decides only."""
    place, shares = made.causes.index(key), made.shares[made.ranked_result]
    field_key = f"scatter.{key}"  # the model's own spread is no figure of the shop
    return {
        "key": key,
        "one_sigma": show(made.sigma[key], field_key) if field_key in FIELDS else None,
        "share_of_variance": {
            name: float(getattr(shares, name)[place])
            for name in ("first", "total", "first_error", "total_error")
        },
    }
