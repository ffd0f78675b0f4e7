"""Production after qualification: limits kept or not, charts, drift before the tolerance edge."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from attrs import frozen

from weldcalc.errors import InputError
from weldcalc.findings import Finding, sort_findings
from weldcalc.qualification.follow_findings import (
    check_findings,
    colour_findings,
    edge_findings,
    last_checks,
    number_findings,
    row_findings,
    signal_findings,
)
from weldcalc.qualification.followed import Edge, Followed, RowVerdict, charts_of
from weldcalc.qualification.run_log import POWER_METER, LogRow, RunLog, read_run_log
from weldcalc.qualification.verdicts import Verdict

if TYPE_CHECKING:
    from weldcalc.schedule import Schedule

__all__ = [
    "Edge",
    "FollowUp",
    "Followed",
    "RowVerdict",
    "edges_of",
    "follow",
    "follow_log",
    "read_run_log",
]

POWER_SIGMAS = 3.0
"""Edges of the power in multiples of the scatter typed in the schedule (common practice, no
source)."""


@frozen
class FollowUp:
    """What a run log says.

    Parameters
    ----------
    rows : tuple of RowVerdict
        One for each row.
    followed : tuple of Followed
        Values that could be charted.
    next_check : datetime.datetime or None
        When power or focus is to be checked again, whichever comes first, in the time of the log;
        None without an interval, or where one of them was never checked and is due at once.
    findings : tuple of Finding
        Gravest first.
    """

    rows: tuple[RowVerdict, ...]
    followed: tuple[Followed, ...]
    next_check: datetime | None
    findings: tuple[Finding, ...]

    @property
    def holds(self) -> bool:
        """Return True when nothing in the log breaks a limit."""
        return all(finding.weight != "stop" for finding in self.findings)

    def to_json(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "holds": self.holds,
            "rows": [_row_json(item) for item in self.rows],
            "followed": [item.to_json() for item in self.followed],
            "next_check": None if self.next_check is None else self.next_check.isoformat(),
            "findings": [item.to_json() for item in self.findings],
        }


def _row_json(item: RowVerdict) -> dict[str, Any]:
    waited = item.row.waited
    return {
        "line": item.row.line,
        "welded": item.row.welded.isoformat(),
        "lot": item.row.lot,
        "clean_to_weld": item.clean_to_weld,
        "waited_min": None if waited is None else waited / 60.0,
    }


def follow(
    schedule: Schedule,
    log: RunLog,
    *,
    check_every: float | None = None,
    now: datetime | None = None,
) -> FollowUp:
    """Follow production against a schedule.

    Parameters
    ----------
    schedule : Schedule
        The qualified one, as kept in its record.
    log : RunLog
        As read.
    check_every : float, optional
        Longest time from a check of power, and of focus, to a weld [s].
    now : datetime.datetime, optional
        To tell whether the next check is overdue; the clock is never asked.

    Returns
    -------
    FollowUp
        Verdicts, charts, findings.

    Raises
    ------
    InputError
        When of `now` and the times of the log only one has an offset from UTC.
    """
    return follow_log(
        log,
        number=schedule.number,
        edges=edges_of(schedule),
        clean_to_weld=schedule.preparation.clean_to_weld,
        check_every=check_every,
        now=now,
    )


def edges_of(schedule: Schedule) -> tuple[Edge, ...]:
    """Return the tolerance edges that a schedule states.

    Parameters
    ----------
    schedule : Schedule
        As loaded.

    Returns
    -------
    tuple of Edge
        Average power of each pass, at three times the scatter typed (none without it); goals for
        far-side width, heat-affected width, and a partial penetration.
    """
    goal, scatter = schedule.goal, schedule.scatter.power
    why = f"goal of the schedule {schedule.number}"
    edges = []
    if goal.penetration is not None and goal.penetration < 1.0:
        depth = goal.penetration * schedule.joint.wall_thickness
        edges.append(Edge("penetration", "", depth, None, why))
    if goal.root_width is not None:
        edges.append(Edge("root_width", "", goal.root_width, None, why))
    if goal.haz_width is not None:
        edges.append(Edge("haz_width", "", None, goal.haz_width, why))
    if scatter:
        words = f"{POWER_SIGMAS:g} times the scatter of the power typed in the schedule"
        edges += [
            Edge(
                POWER_METER,
                item.name,
                item.average_power * (1.0 - POWER_SIGMAS * scatter),
                item.average_power * (1.0 + POWER_SIGMAS * scatter),
                words,
            )
            for item in schedule.passes
        ]
    return tuple(edges)


def follow_log(
    log: RunLog,
    *,
    number: str = "",
    edges: Sequence[Edge] = (),
    clean_to_weld: float | None = None,
    check_every: float | None = None,
    now: datetime | None = None,
) -> FollowUp:
    """Follow production against limits.

    Parameters
    ----------
    log : RunLog
        As read.
    number : str, optional
        Of the schedule that the log is held against; empty when there is none.
    edges : sequence of Edge
        Tolerance edges.
    clean_to_weld : float, optional
        Longest time from cleaning to welding [s].
    check_every : float, optional
        Longest time from a check of power, and of focus, to a weld [s].
    now : datetime.datetime, optional
        To tell whether the next check is overdue.

    Returns
    -------
    FollowUp
        Verdicts, charts, findings.

    Raises
    ------
    InputError
        When of `now` and the times of the log only one has an offset from UTC.
    """
    if now is not None and (now.tzinfo is None) != (log.rows[0].welded.tzinfo is None):
        why = "one of it and the times of the log has an offset from UTC; give both alike"
        raise InputError.of("now", why, now.isoformat())
    rows = tuple(RowVerdict(row, _kept(row, clean_to_weld)) for row in log.rows)
    followed, findings = charts_of(log, edges)
    findings += [*row_findings(rows, clean_to_weld), *colour_findings(log.rows)]
    findings += number_findings(log.rows, number) if number else []
    for item in followed:
        findings += edge_findings(item)
        findings += signal_findings(item)
    due = None
    if check_every is not None:
        findings += check_findings(log.rows, check_every, now)
        last = last_checks(log.rows).values()
        done = [moment for moment in last if moment is not None]
        due = min(done) + timedelta(seconds=check_every) if len(done) == len(last) else None
    return FollowUp(rows, followed, due, sort_findings(findings))


def _kept(row: LogRow, limit: float | None) -> Verdict:
    if limit is None or row.waited is None:
        return "not judged"
    return "met" if row.waited <= limit else "not met"
