"""Process window, chances and ranked causes on the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from weldcalc.page.pieces import Piece, paragraph, table
from weldcalc.page.results import (
    NOT_APPLICABLE,
    result_field,
    sentence,
    shown_result,
    words_of,
    words_of_result,
)
from weldcalc.tolerance import cause_words

Data = Mapping[str, Any]

_GOALS = {
    "penetration": "joint fused between two pulses",
    "no_blow_through": "no beam lost through the far side",
    "no_ejection": "no melt thrown out",
}


def window_table(record: Data) -> Piece:
    """Return how far each of the two settings may go alone before the weld is sound no more."""
    made = record["computed"]["window"]
    rows = [_edge_row(made, low, high) for low, high in _pairs(made["edges"])]
    columns = ["Changed alone", "This schedule", "Sound down to", "then", "Sound up to", "then"]
    caption = (
        f"Window of pass {made['pass']}: where it stays sound; in brackets the distance in "
        "multiples of the setting's own scatter"
    )
    return table(columns, rows, caption=caption, class_="words")


def _pairs(edges: Sequence[Data]) -> list[tuple[Data, Data]]:
    return [(edges[n], edges[n + 1]) for n in range(0, len(edges), 2)]


def _edge_row(made: Data, low: Data, high: Data) -> list[object]:
    name = next(key for key in low if key.startswith(low["setting"]))
    return [
        sentence(words_of(low["setting"])),
        shown_result(name, made["point"][name]),
        *(cell for edge in (low, high) for cell in (_reach(edge, name), _then(edge))),
    ]


def _reach(edge: Data, name: str) -> str:
    away = "" if edge["sigmas"] is None else f" ({edge['sigmas']:.1f})"
    return shown_result(name, edge[name]) + away


def _then(edge: Data) -> str:
    return edge["then"] or "end of the map"


def chances(record: Data) -> Piece:
    """Return the chance of each goal under the scatter of shop and model, pass by pass."""
    passes = record["computed"]["scatter"]["passes"]
    goals = list(dict.fromkeys(goal for one in passes for goal in one["goals"]))
    rows = [[sentence(_GOALS.get(goal, words_of(goal))), *_of_goal(passes, goal)] for goal in goals]
    rows.append(["Every goal at once", *(_chance(one["every_goal"]) for one in passes)])
    alone = "Every goal, when the shop scatters and the model is taken at its word"
    rows.append([alone, *(_chance(one["every_goal_shop_scatter_alone"]) for one in passes)])
    columns = ["", *(f"Pass: {one['name']}" for one in passes)]
    caption = "Chance of meeting each goal; in brackets the 95 % interval that the sampling leaves"
    return table(columns, rows, caption=caption, class_="numbers") + _computed_by(passes)


def _computed_by(passes: Sequence[Data]) -> Piece:
    """Return how many welds were sampled by what: once where it is the same, else of each pass."""
    if len({(one["samples"], one["computed_by"]) for one in passes}) == 1:
        told = [f"{passes[0]['samples']} sampled welds of each pass: {passes[0]['computed_by']}."]
    else:
        told = [
            f"Pass {one['name']}: {one['samples']} sampled welds, computed by {one['computed_by']}."
            for one in passes
        ]
    return Piece("".join(paragraph(words, "note") for words in told))


def chance_words(record: Data) -> str:
    """Return the chance that a pulse of each pass meets its goals at once, and what that leaves."""
    passes = record["computed"]["scatter"]["passes"]
    counted = list(dict.fromkeys(goal for one in passes for goal in one["goals"]))
    named = ", ".join(_GOALS.get(goal, words_of(goal)) for goal in counted)
    told = "; ".join(f"{one['name']} {_chance(one['every_goal'])}" for one in passes)
    alone = (f"{100 * one['every_goal_shop_scatter_alone']['chance']:.1f} %" for one in passes)
    return (
        f"Chance that a pulse on metal at the preheat of its pass meets these at once: {told}. The "
        f"model's own doubt is counted; with the model taken at its word: {', '.join(alone)}. "
        f"Counted: {named}.{_not_counted(record, counted)}"
    )


def _not_counted(record: Data, counted: Sequence[str]) -> str:
    others = [check for check in record["computed"]["goals"] if check["goal"] not in counted]
    if not others:
        return ""
    told = "; ".join(f"{check['goal'].replace('_', ' ')} ({check['verdict']})" for check in others)
    return f" Not part of this chance, but judged above: {told}."


def _of_goal(passes: Sequence[Data], goal: str) -> list[str]:
    return [
        _chance(one["goals"][goal]) if goal in one["goals"] else NOT_APPLICABLE for one in passes
    ]


def _chance(one: Data) -> str:
    low, high = one["interval_95"]
    return f"{100 * one['chance']:.1f} % ({100 * low:.1f} to {100 * high:.1f} %)"


def causes(record: Data) -> Piece:
    """Return what spreads the result that decides, ranked by its share in the first pass."""
    passes = record["computed"]["scatter"]["passes"]
    shares = [{row["key"]: row for row in one["causes"]} for one in passes]
    keys = list(dict.fromkeys(key for of_pass in shares for key in of_pass))
    rows = [
        [sentence(words), *(_share(of_pass.get(key)) for of_pass in shares)]
        for key, words in zip(keys, cause_words(keys), strict=True)
    ]
    columns = ["Cause, one standard deviation", *(_ranked(one) for one in passes)]
    caption = (
        "What spreads the result that decides: share of its variance with everything a cause does "
        "together with others, and one standard error of the sampling"
    )
    return table(columns, rows, caption=caption, class_="numbers")


def _ranked(one: Data) -> str:
    of = one["ranked_by_scatter_of"]
    named = next((name for name in one["results"] if name.startswith(of)), of)
    return f"Pass: {one['name']}; {words_of_result(named) if result_field(named) else of}"


def _share(row: Data | None) -> str:
    if row is None:
        return NOT_APPLICABLE
    share = row["share_of_variance"]
    sigma = f"; {row['one_sigma']}" if row["one_sigma"] else ""
    return f"{100 * share['total']:.0f} % ± {100 * share['total_error']:.0f} %{sigma}"
