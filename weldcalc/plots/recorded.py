"""Pictures of what a record holds as plain values: its process window and its ranked causes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from weldcalc.fields import json_key
from weldcalc.plots.maps import REGIONS, LimitCurve, WindowPoint, window_map
from weldcalc.plots.spread import cause_ranking
from weldcalc.plots.style import Floats, Picture
from weldcalc.quantities import to_shown
from weldcalc.tolerance import cause_words

Data = Mapping[str, Any]


def recorded_window(record: Data) -> Picture:
    """Return the map of the window that a record holds.

    Parameters
    ----------
    record : mapping
        Record data.
    """
    made = record["computed"]["window"]
    x_key, y_key, told = made["x"], made["y"], made["map"]
    x_name, y_name = json_key(x_key), json_key(y_key)
    places = {letter: REGIONS.index(name) for letter, name in told["letters"].items()}
    point, sigma, goal = made["point"], made["one_sigma"], made["goal_depth_mm"]
    return window_map(
        x_key=x_key,
        x=_si(told[x_name], x_key),
        y_key=y_key,
        y=_si(told[y_name], y_key),
        region=[[places[letter] for letter in row] for row in told["region"]],
        penetration=_si(told["penetration_mm"], "penetration"),
        goal_depth=None if goal is None else float(_si(goal, "penetration")),
        chance=told["chance"],
        point=WindowPoint(
            float(_si(point[x_name], x_key)),
            float(_si(point[y_name], y_key)),
            float(_si(sigma[x_name], x_key)),
            float(_si(sigma[y_name], y_key)),
        ),
        limits=[
            LimitCurve(one["name"], _si(one[x_name], x_key), _si(one[y_name], y_key))
            for one in made["limits"]
        ],
        pass_name=made.get("pass", ""),
        counts_model=False,  # as the studies of a record are run
    )


def recorded_causes(record: Data) -> list[Picture]:
    """Return the ranked causes of each pass that a record holds.

    Parameters
    ----------
    record : mapping
        Record data.
    """
    return [_causes(one) for one in record["computed"]["scatter"]["passes"]]


def _causes(one: Data) -> Picture:
    rows: Sequence[Data] = one["causes"]
    return cause_ranking(
        [f"{words}" for words in cause_words([row["key"] for row in rows])],
        first_order=[row["share_of_variance"]["first"] for row in rows],
        total=[row["share_of_variance"]["total"] for row in rows],
        of=one["ranked_by_scatter_of"],
    )


def _si(values: ArrayLike, key: str) -> Floats:
    """Return shown values in SI."""
    zero, one = to_shown(0.0, key), to_shown(1.0, key)
    return (np.asarray(values, dtype=float) - zero) / (one - zero)
