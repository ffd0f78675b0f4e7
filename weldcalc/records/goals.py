"""Goals against results: what was asked for, what the passes are expected to do, and the answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from attrs import frozen

from weldcalc.fields import show, to_json

Verdict = Literal["meets", "may miss", "misses"]
Result = Mapping[str, Any]

_ROUNDING = 1e-9  # a wall typed in inches must not fail on the last bit of a float


@frozen
class GoalRule:
    """How one goal is judged from the results of the passes.

    Parameters
    ----------
    goal, result : str
        Field of the goal and JSON key of the result of each pass.
    is_least : bool
        True where the goal is a least value, False where it is a most.
    of_first : bool
        Whether it is asked of the first pass only, which makes the root; the others smooth.
    words : str
        What is compared, for the page.
    """

    goal: str
    result: str
    is_least: bool
    of_first: bool
    words: str


RULES = (
    GoalRule("penetration", "penetration_fraction", True, True, "least depth between two pulses"),
    GoalRule("root_width", "root_width_mm", True, True, "fused width on the far side"),
    GoalRule("spot_overlap", "spot_overlap", True, False, "least overlap of any pass"),
    GoalRule("haz_width", "widest_haz_width_mm", False, False, "widest along any pass, each side"),
    GoalRule("part_temperature", "peak_part_temperature_degC", False, False, "hottest of all"),
)


def goal_checks(
    goal: Any, passes: Sequence[Result], fill: Result | None = None
) -> list[dict[str, Any]]:
    """Return each goal that was given, beside what the passes are expected to do.

    Parameters
    ----------
    goal : Goal
        SI values; None where not given.
    passes : sequence of mapping
        Results of each pass under their JSON keys.
    fill : mapping, optional
        Faces of the weld at the largest gap, under their JSON keys; None where nothing melts.

    Returns
    -------
    list of dict
        Keys: goal, bound ("at least", "at most"), wanted and predicted (numbers in the unit of
        the result), wanted_shown, result, compared, from_pass and verdict: "meets", "misses", or
        "may miss" where the predicted value meets the goal and its interval reaches past it.
    """
    checks = [
        _check(rule, getattr(goal, rule.goal), passes)
        for rule in RULES
        if getattr(goal, rule.goal) is not None
    ]
    is_partial = goal.penetration is not None and goal.penetration < 1.0
    kept = [check for check in checks if not (is_partial and check["goal"] == "root_width")]
    return kept if goal.underfill is None else [*kept, _underfill(goal.underfill, passes, fill)]


def _underfill(goal: float, passes: Sequence[Result], fill: Result | None) -> dict[str, Any]:
    """Return the check of the face: its worst case decides, for the gap is a largest one."""
    wanted = float(to_json(goal, "goal.underfill") or 0.0)
    found = None if fill is None else float(fill["below_higher_edge_mm"])
    verdict: Verdict = "misses"
    if found is not None:
        verdict = "meets" if found <= wanted * (1 + _ROUNDING) else "may miss"
    return {
        "goal": "underfill",
        "bound": "at most",
        "wanted": wanted,
        "wanted_shown": show(goal, "goal.underfill"),
        "predicted": found,
        "result": "below_higher_edge_mm",
        "compared": "at the largest gap and mismatch",
        "from_pass": " and ".join(item["name"] for item in passes),
        "verdict": verdict,
    }


def _check(rule: GoalRule, goal: float, passes: Sequence[Result]) -> dict[str, Any]:
    wanted = float(to_json(goal, f"goal.{rule.goal}") or 0.0)
    judged = passes[:1] if rule.of_first else passes
    sign = 1.0 if rule.is_least else -1.0
    worst = min(judged, key=lambda item: sign * _value(rule, item))
    return {
        "goal": rule.goal,
        "bound": "at least" if rule.is_least else "at most",
        "wanted": wanted,
        "wanted_shown": show(goal, f"goal.{rule.goal}"),
        "predicted": _value(rule, worst),
        "result": rule.result,
        "compared": rule.words,
        "from_pass": worst["name"],
        "verdict": _verdict(sign, wanted, _value(rule, worst), _ends(rule, judged)),
    }


def _value(rule: GoalRule, item: Result) -> float:
    """Return the result that counts; a far side that does not melt is 0 wide."""
    if rule.goal == "penetration":
        return float(item["guaranteed_penetration_mm"]) * _share_per_mm(item)
    return float(item[rule.result] or 0.0)


def _share_per_mm(item: Result) -> float:
    depth = item["penetration_mm"]
    return float(item["penetration_fraction"] / depth) if depth else 0.0


def _ends(rule: GoalRule, judged: Sequence[Result]) -> list[float]:
    """Return how far a result of the passes judged may go: ends of intervals, scallops."""
    if rule.goal == "penetration":
        return [
            end * _share_per_mm(item) for item in judged for end in item["penetration_interval_mm"]
        ]
    if rule.goal == "haz_width":
        # the interval is that of the first pulse; where the metal is warmer both ends grow with it
        return [
            end * item["widest_haz_width_mm"] / item["haz_width_mm"]
            for item in judged
            if item["haz_width_mm"]
            for end in item["haz_width_interval_mm"]
        ]
    name, _, unit = rule.result.rpartition("_")
    ends = [end for item in judged for end in item.get(f"{name}_interval_{unit}") or []]
    if rule.goal == "root_width":
        ends += [item.get("least_root_width_mm") or 0.0 for item in judged]
    return ends


def _verdict(sign: float, wanted: float, predicted: float, ends: Sequence[float]) -> Verdict:
    slack = _ROUNDING * abs(wanted)
    if sign * (predicted - wanted) < -slack:
        return "misses"
    return "meets" if all(sign * (end - wanted) >= -slack for end in ends) else "may miss"
