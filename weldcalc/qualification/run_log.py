"""The run log of production: what was cleaned, welded and checked when, read strictly."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from functools import cache
from itertools import pairwise
from pathlib import Path

from attrs import frozen

from weldcalc.errors import Problems
from weldcalc.qualification.coupons import MEASURED, colour_words, word_of
from weldcalc.qualification.table import Column, TableRow, raise_by_line, read_file, read_table

FOCUS_WORDS = ("ok", "not ok")
POWER_METER = "power_meter"

_TEXTS = (
    "number",
    "date",
    "cleaned",
    "welded",
    "lot",
    "pass",
    "focus_check",
    "colour",
    "coupon",
    "note",
)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_TIME = re.compile(r"\d{2}:\d{2}(:\d{2})?")


@frozen
class LogRow:
    """One weld, or one lot of welds, in the run log.

    Parameters
    ----------
    welded : datetime.datetime
        When; local time as typed unless an offset from UTC was typed.
    cleaned : datetime.datetime or None
        When the edges were cleaned; None where not noted.
    lot, weld_pass, coupon, note : str
        Free text; `coupon` names the section taken from this lot.
    number : str
        Number of the schedule that it was welded by; empty where not noted.
    numbers : mapping of str to float
        Power-meter reading "power_meter" [W] and measured sizes of the section [SI].
    focus_check : str or None
        "ok" or "not ok"; None where not checked.
    colour : str or None
        Word for the colour; None where nobody looked.
    line : int
        Line in the file.
    """

    welded: datetime
    cleaned: datetime | None
    lot: str
    weld_pass: str
    coupon: str
    note: str
    number: str
    numbers: Mapping[str, float]
    focus_check: str | None
    colour: str | None
    line: int

    @property
    def label(self) -> str:
        """Return the row in words for people: time, and lot where given."""
        stamp = self.welded.strftime("%Y-%m-%d %H:%M")
        return f"{stamp} lot {self.lot}" if self.lot else stamp

    @property
    def waited(self) -> float | None:
        """Return the time from cleaning to welding [s]; None where not noted."""
        return None if self.cleaned is None else (self.welded - self.cleaned).total_seconds()


@frozen
class RunLog:
    """A run log as read.

    Parameters
    ----------
    name, sha256 : str
        Of the file.
    rows : tuple of LogRow
        In the order of time.
    """

    name: str
    sha256: str
    rows: tuple[LogRow, ...]


def read_run_log(path: Path) -> RunLog:
    """Read a run log.

    Parameters
    ----------
    path : pathlib.Path
        CSV, UTF-8, cells separated by commas. Columns: date ("2026-03-31") and welded ("14:05")
        are required, or welded with date and time in one ("2026-03-31T14:05"); cleaned likewise;
        number (of the schedule), lot, pass, "power_meter [W]", focus_check ("ok" or "not ok"),
        colour, coupon, measured sizes as in a coupon list, note. An empty cell means "not noted".

    Returns
    -------
    RunLog
        At least one row.

    Raises
    ------
    InputError
        With every problem of the file: times that cannot be read, cleaning after welding, rows
        out of the order of time, and all that a coupon list is checked for.
    """
    return run_log_from_bytes(read_file(path), name=path.name)


def run_log_from_bytes(content: bytes, *, name: str) -> RunLog:
    """Read a run log from the bytes of its file; see `read_run_log`.

    Parameters
    ----------
    content : bytes
        Of the CSV file.
    name : str
        Its name, for messages.

    Returns
    -------
    RunLog
        At least one row.

    Raises
    ------
    InputError
        As for `read_run_log`.
    """
    problems = Problems()
    table = read_table(content, name=name, columns=_columns(), problems=problems)
    rows = [row for item in table if (row := _row(item, name, problems)) is not None]
    _check_order(rows, name, problems)
    if not table and not problems.found:
        problems.add(name, "holds headings but no welds")
    raise_by_line(problems)
    return RunLog(name=name, sha256=hashlib.sha256(content).hexdigest(), rows=tuple(rows))


@cache
def _columns() -> dict[str, Column]:
    columns = {key: Column("text", required=key == "welded") for key in _TEXTS}
    columns[POWER_METER] = Column("quantity", field="average_power")
    return columns | {key: Column("quantity", field=key) for key in MEASURED}


def _row(row: TableRow, name: str, problems: Problems) -> LogRow | None:
    where, texts = f"{name}, line {row.line}", row.texts
    day = _day(texts.get("date", ""), where, problems)
    welded = _moment(texts.get("welded", ""), day, f"{where}, column welded", problems)
    cleaned = _moment(texts.get("cleaned", ""), day, f"{where}, column cleaned", problems)
    colour = word_of(texts.get("colour"), colour_words(), f"{where}, column colour", problems)
    focus = word_of(texts.get("focus_check"), FOCUS_WORDS, f"{where}, column focus_check", problems)
    if welded is None:
        return None
    _check_cleaned(cleaned, welded, texts.get("cleaned", ""), where, problems)
    return LogRow(
        welded=welded,
        cleaned=cleaned,
        lot=texts.get("lot", ""),
        weld_pass=texts.get("pass", ""),
        coupon=texts.get("coupon", ""),
        note=texts.get("note", ""),
        number=texts.get("number", ""),
        numbers=row.numbers,
        focus_check=focus,
        colour=colour,
        line=row.line,
    )


def _day(text: str, where: str, problems: Problems) -> date | None:
    if not text:
        return None
    try:
        if _DATE.fullmatch(text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    problems.add(f"{where}, column date", 'write the date as year-month-day, "2026-03-31"', text)
    return None


def _moment(text: str, day: date | None, where: str, problems: Problems) -> datetime | None:
    if not text:
        return None
    try:
        if not _TIME.fullmatch(text):
            if not _DATE.match(text) or len(text) <= len("2026-03-31"):
                raise ValueError(text)
            return datetime.fromisoformat(text)
        if day is not None:
            return datetime.combine(day, time.fromisoformat(text))
        why = "a time without a date; fill the column date, or write 2026-03-31T14:05"
    except ValueError:
        why = 'write hours and minutes, "14:05", or date and time, "2026-03-31T14:05"'
    problems.add(where, why, text)
    return None


def _check_cleaned(
    cleaned: datetime | None, welded: datetime, typed: str, where: str, problems: Problems
) -> None:
    if cleaned is None:
        return
    if (cleaned.tzinfo is None) != (welded.tzinfo is None):
        why = "one time has an offset from UTC and the other has none; write both alike"
        problems.add(f"{where}, column cleaned", why, typed)
    elif cleaned > welded:
        why = "cleaned after it was welded; if it was the day before, write date and time"
        problems.add(f"{where}, column cleaned", why, typed)


def _check_order(rows: Sequence[LogRow], name: str, problems: Problems) -> None:
    for before, row in pairwise(rows):
        where = f"{name}, line {row.line}, column welded"
        if (before.welded.tzinfo is None) != (row.welded.tzinfo is None):
            problems.add(where, "has an offset from UTC where others have none, or the reverse")
            return
        if row.welded < before.welded:
            why = f"stands after line {before.line}, which is later; sort the log by time"
            problems.add(where, why, row.welded.isoformat(sep=" "))
