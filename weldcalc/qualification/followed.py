"""Values of a run log in the order of time, charted against their tolerance edges."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from attrs import frozen

from weldcalc.errors import InputError
from weldcalc.fields import json_key, plain_name, to_json
from weldcalc.findings import Finding
from weldcalc.qualification.control_charts import (
    Forecast,
    Individuals,
    Signal,
    WeightedAverage,
    forecast,
    individuals,
    signals,
    weighted_average,
)
from weldcalc.qualification.run_log import POWER_METER, LogRow, RunLog
from weldcalc.qualification.verdicts import Verdict


@frozen
class Edge:
    """Tolerance edges of one followed value.

    Parameters
    ----------
    key : str
        "power_meter", or a measured column of the coupon list.
    weld_pass : str
        Pass it belongs to; empty for the finished weld.
    low, high : float or None
        Edges [SI]; None where there is none.
    why : str
        Where they come from.
    """

    key: str
    weld_pass: str
    low: float | None
    high: float | None
    why: str


@frozen
class RowVerdict:
    """One row of the log against the limit from cleaning to welding.

    Parameters
    ----------
    row : LogRow
        As read.
    clean_to_weld : {"met", "not met", "not judged"}
        "not judged" without a limit or without a time of cleaning.
    """

    row: LogRow
    clean_to_weld: Verdict


@frozen
class Followed:
    """One followed value in the order of time.

    Parameters
    ----------
    key, weld_pass : str
        As in `Edge`.
    labels : tuple of str
        Rows that the values come from.
    chart : Individuals
        Individuals and moving ranges [SI].
    average : WeightedAverage
        Exponentially weighted [SI].
    signals : tuple of Signal
        Signs of unrest.
    edge : Edge or None
        Tolerance edges.
    forecast : Forecast or None
        Where a drift leads.
    """

    key: str
    weld_pass: str
    labels: tuple[str, ...]
    chart: Individuals
    average: WeightedAverage
    signals: tuple[Signal, ...]
    edge: Edge | None
    forecast: Forecast | None

    @property
    def name(self) -> str:
        """Return the value in words."""
        words = plain_name(self.key)
        return f"{words}, pass {self.weld_pass}" if self.weld_pass else words

    @property
    def field(self) -> str:
        """Return the key of the field table that gives unit and scale."""
        return _field(self.key)

    def to_json(self) -> dict[str, Any]:
        """Return plain values in shown units, named in the keys."""
        unit, chart = self.field, self.chart
        suffix = json_key(unit).removeprefix(unit)
        sizes = {
            "centre": chart.centre,
            "control_low": chart.low,
            "control_high": chart.high,
            "edge_low": None if self.edge is None else self.edge.low,
            "edge_high": None if self.edge is None else self.edge.high,
        }
        return {
            "value": self.key,
            "pass": self.weld_pass,
            "labels": list(self.labels),
            f"values{suffix}": [to_json(value, unit) for value in chart.values.tolist()],
            f"average{suffix}": [to_json(value, unit) for value in self.average.average.tolist()],
            **{f"{word}{suffix}": to_json(value, unit) for word, value in sizes.items()},
            "baseline": chart.baseline,
            "signals": [f"{self.labels[item.position]}: {item.text}" for item in self.signals],
            "welds_to_edge": None if self.forecast is None else self.forecast.steps,
        }


def _field(key: str) -> str:
    return "average_power" if key == POWER_METER else key


def charts_of(log: RunLog, edges: Sequence[Edge]) -> tuple[tuple[Followed, ...], list[Finding]]:
    """Return a chart of every value noted in a log.

    Parameters
    ----------
    log : RunLog
        As read.
    edges : sequence of Edge
        Tolerance edges.

    Returns
    -------
    tuple
        Charts, and findings about values that cannot be charted.
    """
    series: dict[tuple[str, str], list[tuple[str, float]]] = {}
    for row in log.rows:
        for key, value in row.numbers.items():
            series.setdefault((key, row.weld_pass), []).append((row.label, value))
    followed, findings = [], []
    for (key, weld_pass), points in series.items():
        try:
            followed.append(_followed(key, weld_pass, points, edges))
        except InputError as error:
            name = plain_name(key)
            text = f"{name}: no control chart; {error.problems[0].why}"
            findings.append(Finding("note", "no-chart", text, where=weld_pass))
    return tuple(followed), findings


def _followed(
    key: str, weld_pass: str, points: Sequence[tuple[str, float]], edges: Sequence[Edge]
) -> Followed:
    chart = individuals([value for _, value in points])
    average = weighted_average(chart.values, centre=chart.centre, sigma=chart.sigma)
    # an edge of the finished weld holds for a section of any pass unless the pass has its own
    fitting = [item for item in edges if item.key == key and item.weld_pass in (weld_pass, "")]
    edge = max(fitting, key=lambda item: item.weld_pass == weld_pass, default=None)
    ahead = None if edge is None else forecast(chart.values, low=edge.low, high=edge.high)
    return Followed(
        key=key,
        weld_pass=weld_pass,
        labels=tuple(label for label, _ in points),
        chart=chart,
        average=average,
        signals=signals(chart, average),
        edge=edge,
        forecast=ahead,
    )
