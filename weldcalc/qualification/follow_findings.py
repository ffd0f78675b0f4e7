"""What a followed production has to be told: limits broken, drifts, checks that are due."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from weldcalc.findings import Finding, Weight
from weldcalc.qualification.control_charts import BASELINE
from weldcalc.qualification.coupons import colour_steps
from weldcalc.qualification.followed import Followed, RowVerdict
from weldcalc.qualification.run_log import POWER_METER, LogRow
from weldcalc.qualification.wording import first_few
from weldcalc.quantities import show

HORIZON = 50
"""Welds ahead within which a drift that reaches its edge is reported (default of this program)."""

_NIST = "NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2"
_GAS = "Look at gas, purge, cleaning and the time under gas before the next weld."


_ROUNDING = 1e-12  # an edge worked out from shares need not be the float that was typed
_CHECKS: Mapping[str, Callable[[LogRow], bool]] = {
    "power": lambda row: POWER_METER in row.numbers,
    "focus": lambda row: row.focus_check is not None,
}


def row_findings(rows: Sequence[RowVerdict], limit: float | None) -> list[Finding]:
    """Return what has to be said about single rows.

    Parameters
    ----------
    rows : sequence of RowVerdict
        Of the log.
    limit : float or None
        Longest time from cleaning to welding [s].
    """
    found = []
    for item in rows:
        row = item.row
        if item.clean_to_weld == "not met":
            text = (
                f"{row.label}: welded {show(row.waited, 'clean_to_weld')} after cleaning; the "
                f"limit is {show(limit, 'clean_to_weld')}"
            )
            remedy = "Clean again before welding; judge the part welded late."
            found.append(Finding("stop", "clean-to-weld", text, remedy))
        if row.focus_check == "not ok":
            text = f"{row.label}: focus check not ok"
            remedy = "Set the focus and judge what was welded since the last good check."
            found.append(Finding("stop", "focus-check", text, remedy))
    silent = [item.row.label for item in rows if item.row.cleaned is None]
    if limit is not None and silent:
        text = "No time of cleaning noted, clean-to-weld not judged: "
        text += first_few(silent, between=", ")
        found.append(Finding("caution", "clean-to-weld-not-judged", text, "Note it."))
    return found


def number_findings(rows: Sequence[LogRow], number: str) -> list[Finding]:
    """Return what has to be said where the log names another schedule than the one followed.

    Parameters
    ----------
    rows : sequence of LogRow
        Of the log.
    number : str
        Of the schedule that the log is held against.
    """
    others = list(dict.fromkeys(row.number for row in rows if row.number not in ("", number)))
    if not others:
        return []
    text = f"The log names the number {first_few(others, between=', ')}, the schedule is {number}"
    remedy = "Follow each log against its own record: limits and edges here are of another weld."
    return [Finding("caution", "another-number", text, remedy)]


def colour_findings(rows: Sequence[LogRow]) -> list[Finding]:
    """Return where the colour of a pass moved towards more exposure to air.

    Parameters
    ----------
    rows : sequence of LogRow
        In the order of time.
    """
    found, steps, last = [], colour_steps(), dict[str, str]()
    for row in rows:
        if not row.colour:
            continue
        before = last.get(row.weld_pass, row.colour)
        if steps[row.colour] > steps[before]:
            text = f"{row.label}: colour went from {before} to {row.colour}"
            found.append(Finding("caution", "colour-drift", text, _GAS, where=row.weld_pass))
        last[row.weld_pass] = row.colour
    return found


def edge_findings(item: Followed) -> list[Finding]:
    """Return values beyond their tolerance edge, and drifts that head for it.

    Parameters
    ----------
    item : Followed
        One followed value.
    """
    edge, found = item.edge, []
    if edge is None:
        return []
    for label, value in zip(item.labels, item.chart.values.tolist(), strict=True):
        slack = _ROUNDING * abs(value)
        below = edge.low is not None and value < edge.low - slack
        above = edge.high is not None and value > edge.high + slack
        if below or above:
            limit = show(edge.low if below else edge.high, item.field)
            text = f"{label}: {show(value, item.field)} is beyond the edge of {limit}"
            remedy = "Stop and find the cause; judge what was welded since the last good value."
            found.append(_about(item, "stop", "beyond-edge", text, remedy, edge.why))
    ahead = item.forecast
    if ahead is not None and ahead.steps <= HORIZON:
        text = (
            f"drifting towards its edge of {show(ahead.edge, item.field)}: at this rate in about "
            f"{ahead.steps:.0f} welds"
        )
        remedy = "Find the cause before the edge is reached."
        found.append(_about(item, "caution", "drift", text, remedy, "straight line, least squares"))
    return found


def signal_findings(item: Followed) -> list[Finding]:
    """Return signs of unrest inside the tolerance.

    Parameters
    ----------
    item : Followed
        One followed value.
    """
    found = []
    if item.signals:
        words = first_few([f"{item.labels[sign.position]}: {sign.text}" for sign in item.signals])
        remedy = "Not yet out of tolerance, but not at rest: look for what changed."
        found.append(_about(item, "caution", "control-chart", words, remedy, _NIST))
    if item.chart.baseline < BASELINE:
        text = f"control limits from {item.chart.baseline} values are provisional"
        source = "common practice, no source"
        found.append(_about(item, "note", "few-values", text, f"Wait for {BASELINE}.", source))
    return found


def _about(
    item: Followed, weight: Weight, code: str, text: str, remedy: str, source: str
) -> Finding:
    return Finding(weight, code, f"{item.name}: {text}", remedy, source, where=item.weld_pass)


def last_checks(rows: Sequence[LogRow]) -> dict[str, datetime | None]:
    """Return when power and focus were last checked; None where never.

    Parameters
    ----------
    rows : sequence of LogRow
        In the order of time.
    """
    return {
        kind: max((row.welded for row in rows if done(row)), default=None)
        for kind, done in _CHECKS.items()
    }


def check_findings(
    rows: Sequence[LogRow], check_every: float, now: datetime | None
) -> list[Finding]:
    """Return where welds were made, or are about to be, too long after a check.

    Parameters
    ----------
    rows : sequence of LogRow
        In the order of time.
    check_every : float
        Longest time from a check to a weld [s].
    now : datetime.datetime or None
        Time of the next weld, in the time of the log; None when it is not known.
    """
    found = []
    for kind, done in _CHECKS.items():
        late = _unchecked(rows, done, check_every)
        if late:
            text = f"{kind} not checked within {check_every / 3600.0:.3g} h before: "
            text += first_few([row.label for row in late], between=", ")
            remedy = f"Check the {kind}; judge what was welded since the last good check."
            found.append(Finding("caution", "check-overdue", text, remedy))
        last = last_checks(rows)[kind]
        if now is not None and (last is None or (now - last).total_seconds() > check_every):
            text = f"{kind} is due to be checked now"
            found.append(Finding("stop", "check-due", text, "Check it before the next weld."))
    return found


def _unchecked(
    rows: Sequence[LogRow], done: Callable[[LogRow], bool], check_every: float
) -> list[LogRow]:
    """Return the first weld of every stretch without a recent check."""
    last: datetime | None = None
    late: list[LogRow] = []
    covered = True
    for row in rows:
        if done(row):
            last = row.welded
        fresh = last is not None and (row.welded - last).total_seconds() <= check_every
        if covered and not fresh:
            late.append(row)
        covered = fresh
    return late
