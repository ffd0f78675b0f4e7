"""Sections of coupons beside what was predicted for them, on the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import Any

from attrs import frozen

from weldcalc.page.pieces import Piece, paragraph, table
from weldcalc.page.results import (
    NOT_APPLICABLE,
    interval_of,
    sentence,
    shown_result,
    words_of_result,
)

Data = Mapping[str, Any]
Measured = tuple[float, float]
"""Value and one standard uncertainty, 0 where none was given, in the unit of the JSON key."""

_COLUMNS = (
    "Result",
    "Sections",
    "Measured: mean (least to greatest)",
    "Predicted",
    "Measured mean against predicted",
    "Sections inside",
)
_INSIDE = (
    "A section counts as inside when it lies in the interval of the prediction, give or take twice "
    "its own standard uncertainty."
)
_FINISHED = (
    "A section of the finished weld is held against the pass that reaches farthest, which is then "
    "named; its heat-affected width counts from the edge of the widest pass."
)
_WIDTH, _HAZ = "fusion_width_mm", "haz_width_mm"
_HOLDS = 2.0 / 3.0  # share of sizes inside from which a prediction is taken to hold; a convention


@frozen
class _Prediction:
    """What is predicted of one size, in the unit of its key: value, ends and whose it is."""

    value: float
    ends: Sequence[float] | None
    by: str


@frozen
class _Pair:
    """One size of one pass ("" for the finished weld): its sections and its prediction."""

    weld_pass: str
    key: str
    found: Sequence[Measured]
    told: _Prediction

    @property
    def inside(self) -> int | None:
        """How many sections lie where they were predicted; None where no interval is known."""
        if not self.told.ends:
            return None
        low, high = self.told.ends
        return sum(low - 2.0 * u <= value <= high + 2.0 * u for value, u in self.found)


def measured_and_predicted(record: Data) -> Piece:
    """Return mean and range of each measured size beside its prediction.

    Parameters
    ----------
    record : mapping
        Data of a record.

    Returns
    -------
    Piece
        Empty where no section was measured at the settings of the schedule. Rows with settings of
        their own show another weld than the predicted one: they are counted and left out.
    """
    pairs = _pairs(record)
    if not pairs:
        return Piece("")
    caption = f"Measured against predicted; in brackets behind a prediction its {_level(record)} "
    caption += "interval"
    rows = [_row(pair) for pair in pairs]
    return table(_COLUMNS, rows, caption=caption, class_="words") + _notes(record, pairs)


def agreement_words(record: Data) -> str:
    """Return in one phrase how many measured sizes lie where they were predicted; "" for none."""
    judged = [(pair.inside, len(pair.found)) for pair in _pairs(record)]
    inside = sum(count for count, _ in judged if count is not None)
    total = sum(of for count, of in judged if count is not None)
    if not total:
        return ""
    words = f"{inside} of {total} measured sizes lie in their predicted {_level(record)} intervals"
    return words if inside >= _HOLDS * total else f"{words}: the prediction does not hold here"


def _level(record: Data) -> str:
    return f"{100 * record['model']['interval_level']:.0f} %"


def _as_scheduled(record: Data) -> list[Data]:
    return [row for row in record["computed"]["coupons"] if not row["settings"]]


def _pairs(record: Data) -> list[_Pair]:
    sections, made = _as_scheduled(record), []
    for name in dict.fromkeys(row["pass"] for row in sections):
        passes = [one for one in record["computed"]["passes"] if not name or one["name"] == name]
        for key, found in _values(sections, name).items():
            known = [one for one in passes if one.get(key) is not None]
            if known:
                made.append(_Pair(name, key, found, _predicted(key, known)))
    return made


def _values(sections: Sequence[Data], name: str) -> dict[str, list[Measured]]:
    found: dict[str, list[Measured]] = {}
    for row in sections:
        if row["pass"] == name:
            for key, value in row["measured"].items():
                spread = row["standard_uncertainty"].get(key) or 0.0
                found.setdefault(key, []).append((value, spread))
    return found


def _predicted(key: str, passes: Sequence[Data]) -> _Prediction:
    chosen = max(passes, key=lambda one: _reach(key, one))
    value, ends = float(chosen[key]), interval_of(key, chosen)
    if key == _HAZ and len(passes) > 1:
        widest = max(float(one[_WIDTH]) for one in passes)
        if widest > float(chosen[_WIDTH]):  # then its interval counts from another edge
            value, ends = _reach(key, chosen) - 0.5 * widest, None
    return _Prediction(value, ends, str(chosen["name"]))


def _reach(key: str, one: Data) -> float:
    return float(one[key]) + (0.5 * float(one[_WIDTH]) if key == _HAZ else 0.0)


def _row(pair: _Pair) -> list[object]:
    values = [value for value, _ in pair.found]
    key, told, mean = pair.key, pair.told, fmean(values)
    by = "" if pair.weld_pass else f", pass {told.by}"
    ends = f" ({shown_result(key, told.ends)})" if told.ends else ""
    inside = pair.inside
    return [
        f"{sentence(words_of_result(key))} ({pair.weld_pass or 'finished weld'})",
        len(values),
        f"{shown_result(key, mean)} ({shown_result(key, [min(values), max(values)])})",
        f"{shown_result(key, told.value)}{ends}{by}",
        # rounded first: what is hardly less must not come out as minus nothing
        f"{round(100.0 * (mean / told.value - 1.0)):+d} %" if told.value > 0.0 else NOT_APPLICABLE,
        NOT_APPLICABLE if inside is None else f"{inside} of {len(values)}",
    ]


def _notes(record: Data, pairs: Sequence[_Pair]) -> Piece:
    words = [_INSIDE]
    words += [_FINISHED] if any(not pair.weld_pass for pair in pairs) else []
    if left_out := len(record["computed"]["coupons"]) - len(_as_scheduled(record)):
        words.append(f"Rows left out because they have settings of their own: {left_out}.")
    return Piece(paragraph(" ".join(words), "note"))
