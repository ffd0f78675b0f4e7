"""What a drafted schedule is called, and what its file keeps of the one it came from."""

from __future__ import annotations

import hashlib
import re

from weldcalc.schedule import Schedule

_OURS = "Drafted by weldcalc"  # begins the notes of a draft, which a draft from it does not repeat
_MOST_LINES = 20  # of comment that are kept
_LONGEST = 150  # letters of a name that are kept, so that the whole still fits a schedule
_DRAFT = re.compile(r" ?\bdraft \d+$")
_TITLE = re.compile(r" \(draft \d+, [a-z ]+\)$")


def named_as_draft(schedule: Schedule, place: int, wish: str) -> Schedule:
    """Return a drafted schedule with a revision and a title of its own.

    Parameters
    ----------
    schedule : Schedule
        Named as the one that it was drafted from, which may be a draft itself.
    place : int
        In the ranking, from 1.
    wish : str
        What the drafts are ranked by.
    """
    revision = _DRAFT.sub("", schedule.revision)[:_LONGEST]
    title = _TITLE.sub("", schedule.title)[:_LONGEST]
    return schedule.with_values(
        "",
        title=f"{title} (draft {place}, {wish})",
        revision=f"{revision} draft {place}".strip(),
    )


def head_comments(schedule: Schedule) -> tuple[str, ...]:
    """Return the comment lines at the head of a schedule's file, without their signs.

    Parameters
    ----------
    schedule : Schedule
        Nothing is kept where it came from no file, or the file is no longer what was read.
    """
    if schedule.source_path is None:
        return ()
    try:
        content = schedule.source_path.read_bytes()
    except OSError:
        return ()
    if hashlib.sha256(content).hexdigest() != schedule.sha256:
        return ()
    kept: list[str] = []
    for line in content.decode("utf-8-sig").splitlines():
        text = line.strip().removeprefix("#").strip()
        if not line.lstrip().startswith("#") or text.startswith(_OURS):
            break
        kept.append(text)
    return tuple(kept[:_MOST_LINES])
