"""Sections of coupons beside what was predicted for them, on the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import Any

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
_LARGEST = (
    "A section of the finished weld is held against the largest prediction of any pass, "
    "which is then named."
)


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
    sections = record["computed"]["coupons"]
    as_scheduled = [row for row in sections if not row["settings"]]
    rows = [
        _row(name, key, values, passes)
        for name, passes in _predicted(record["computed"]["passes"], as_scheduled)
        for key, values in _values(as_scheduled, name).items()
        if any(item.get(key) is not None for item in passes)
    ]
    if not rows:
        return Piece("")
    level = f"{100 * record['model']['interval_level']:.0f} %"
    caption = f"Measured against predicted; in brackets behind a prediction its {level} interval"
    return table(_COLUMNS, rows, caption=caption, class_="words") + _notes(sections, as_scheduled)


def _predicted(
    passes: Sequence[Data], sections: Sequence[Data]
) -> list[tuple[str, Sequence[Data]]]:
    """Return what the sections show (a pass, or "" for the finished weld), with its passes."""
    shown = dict.fromkeys(row["pass"] for row in sections)
    return [(name, [item for item in passes if not name or item["name"] == name]) for name in shown]


def _values(sections: Sequence[Data], name: str) -> dict[str, list[Measured]]:
    found: dict[str, list[Measured]] = {}
    for row in sections:
        if row["pass"] == name:
            for key, value in row["measured"].items():
                spread = row["standard_uncertainty"].get(key) or 0.0
                found.setdefault(key, []).append((value, spread))
    return found


def _row(name: str, key: str, found: Sequence[Measured], passes: Sequence[Data]) -> list[object]:
    values = [value for value, _ in found]
    chosen = max(
        (item for item in passes if item.get(key) is not None), key=lambda item: float(item[key])
    )
    mean, predicted, ends = fmean(values), float(chosen[key]), interval_of(key, chosen)
    by = "" if name else f", pass {chosen['name']}"
    shown = shown_result(key, predicted)
    return [
        f"{sentence(words_of_result(key))} ({name or 'finished weld'})",
        len(values),
        f"{shown_result(key, mean)} ({shown_result(key, [min(values), max(values)])})",
        f"{shown} ({shown_result(key, ends)}){by}" if ends else f"{shown}{by}",
        # rounded first: what is hardly less must not come out as minus nothing
        f"{round(100.0 * (mean / predicted - 1.0)):+d} %" if predicted > 0.0 else NOT_APPLICABLE,
        _inside(found, ends),
    ]


def _inside(found: Sequence[Measured], ends: Sequence[float] | None) -> str:
    if not ends:
        return NOT_APPLICABLE
    count = sum(ends[0] - 2.0 * u <= value <= ends[1] + 2.0 * u for value, u in found)
    return f"{count} of {len(found)}"


def _notes(sections: Sequence[Data], as_scheduled: Sequence[Data]) -> Piece:
    words = [_INSIDE]
    words += [_LARGEST] if any(not row["pass"] for row in as_scheduled) else []
    if left_out := len(sections) - len(as_scheduled):
        words.append(f"Rows left out because they have settings of their own: {left_out}.")
    return Piece(paragraph(" ".join(words)))
