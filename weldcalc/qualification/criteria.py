"""Acceptance criteria as typed by the user; weldcalc brings none of its own."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from attrs import asdict, evolve, frozen

from weldcalc.errors import Problems
from weldcalc.fields import plain_name, which_known
from weldcalc.qualification.coupons import (
    LEAK_WORDS,
    MEASURED,
    colour_words,
    imperfection_names,
)
from weldcalc.qualification.typed import Entry, load_typed
from weldcalc.quantities import field, parse

WORDED = ("colour", "leak")
IMPERFECTION = "imperfection"

_ALWAYS = ("feature", "clause", "note", "pass")
_UNITS = {"vickers_hardness": "HV"}  # a plain number, but nobody writes it without its scale
_OF_WALL = re.compile(r"(.*\S)\s+of\s+(?:the\s+)?wall")
_NUMBER = re.compile(r"[1-9][0-9]{2,4}")


@frozen
class Limit:
    """One limit on a size.

    Parameters
    ----------
    value : float
        Size [SI], or share of the wall [-] where `of_wall` is set.
    of_wall : bool
        True when the limit was typed as a share of the wall.
    typed : str
        As typed.
    """

    value: float
    of_wall: bool
    typed: str

    def size(self, wall_thickness: float | None) -> float | None:
        """Return the limit as a size [SI]; None when it needs a wall [m] that is not known."""
        if not self.of_wall:
            return self.value
        return None if wall_thickness is None else self.value * wall_thickness


@frozen
class Criterion:
    """One line of the acceptance file.

    Parameters
    ----------
    feature : str
        A measured column of the coupon list, "colour", "leak" or "imperfection".
    weld_pass : str
        Pass whose sections are judged; empty for all of them.
    at_least, at_most : Limit or None
        On a measured feature; None where blank.
    number : str
        ISO 6520-1 number, for an imperfection.
    count_at_most : int or None
        Places allowed per coupon, for an imperfection; None where blank.
    allowed : tuple of str
        Words accepted, for colour and leak; empty where blank.
    clause, note : str
        Where the limit stands; anything else.
    """

    feature: str
    weld_pass: str = ""
    at_least: Limit | None = None
    at_most: Limit | None = None
    number: str = ""
    count_at_most: int | None = None
    allowed: tuple[str, ...] = ()
    clause: str = ""
    note: str = ""

    @property
    def is_blank(self) -> bool:
        """Return True when no limit was typed."""
        sizes = self.at_least is None and self.at_most is None
        return sizes and self.count_at_most is None and not self.allowed

    @property
    def words(self) -> str:
        """Return the criterion as one phrase."""
        subject = self._subject()
        if self.is_blank:
            return f"{subject}: no limit typed"
        if self.feature == IMPERFECTION:
            allowed = f"at most {self.count_at_most}" if self.count_at_most else "none allowed"
            return f"{subject}: {allowed}"
        if self.allowed:
            return f"{subject}: {' or '.join(self.allowed)}"
        limits = {"at least": self.at_least, "at most": self.at_most}
        said = [f"{word} {limit.typed}" for word, limit in limits.items() if limit is not None]
        return f"{subject}: {', '.join(said)}"

    def _subject(self) -> str:
        subject = plain_name(self.feature)
        if self.feature == IMPERFECTION:
            name = imperfection_names().get(self.number, "number not in the list here")
            subject = f"{subject} {self.number} ({name})"
        return f"{subject}, pass {self.weld_pass}" if self.weld_pass else subject

    def to_json(self) -> dict[str, Any]:
        """Return the criterion as typed, with its phrase."""
        return asdict(self) | {
            "at_least": None if self.at_least is None else self.at_least.typed,
            "at_most": None if self.at_most is None else self.at_most.typed,
            "words": self.words,
        }


@frozen
class Acceptance:
    """The acceptance file.

    Parameters
    ----------
    name, sha256 : str
        Of the file.
    title, document, typed_by : str
        As typed.
    reliability, confidence : float or None
        What the coupons have to show [-]; None where blank.
    criteria : tuple of Criterion
        In the order of the file.
    """

    name: str
    sha256: str
    title: str
    document: str
    typed_by: str
    reliability: float | None
    confidence: float | None
    criteria: tuple[Criterion, ...]


def read_acceptance(path: Path) -> Acceptance:
    """Read acceptance criteria.

    Parameters
    ----------
    path : pathlib.Path
        TOML file made from ``reference_data/qualification/acceptance_template.toml``.

    Returns
    -------
    Acceptance
        At least one criterion; blank limits stay blank.

    Raises
    ------
    InputError
        With every problem of the file: unknown keys and features, wrong units, limits that leave
        nothing, keys that do not belong to the feature.
    """
    file = load_typed(path)
    problems = Problems()
    top = Entry(file.data, "", problems)
    top.only(("title", "document", "typed_by", "demonstration", "criterion"))
    shown = top.child("demonstration")
    shown.only(("reliability", "confidence"))
    criteria = tuple(_criterion(entry) for entry in top.children("criterion"))
    if not criteria and not problems.found:
        problems.add("criterion", "missing; write at least one under a heading [[criterion]]")
    acceptance = Acceptance(
        name=file.name,
        sha256=file.sha256,
        title=top.text("title"),
        document=top.text("document"),
        typed_by=top.text("typed_by"),
        reliability=shown.share("reliability"),
        confidence=shown.share("confidence"),
        criteria=criteria,
    )
    if acceptance.reliability is not None and acceptance.confidence is None:
        shown.note("reliability", "a reliability needs a confidence beside it")
    problems.raise_if_any(str(path))
    return acceptance


def _criterion(entry: Entry) -> Criterion:
    feature = entry.text("feature")
    known = (*MEASURED, *WORDED, IMPERFECTION)
    if feature not in known:
        entry.note("feature", f"unknown feature; {which_known(feature, known)}")
        return Criterion(feature=feature)
    entry.only((*_ALWAYS, *_keys(feature)))
    plain = Criterion(
        feature=feature,
        weld_pass=entry.text("pass"),
        clause=entry.text("clause"),
        note=entry.text("note"),
    )
    if feature in WORDED:
        return evolve(plain, allowed=_allowed(entry, feature))
    if feature == IMPERFECTION:
        number = _imperfection_number(entry)
        return evolve(plain, number=number, count_at_most=entry.whole("count_at_most"))
    low, high = _limit(entry, "at_least", feature), _limit(entry, "at_most", feature)
    if low and high and low.of_wall == high.of_wall and low.value > high.value:
        entry.note("at_least", f"lies above at_most ({high.typed}); nothing could be met")
    return evolve(plain, at_least=low, at_most=high)


def _keys(feature: str) -> tuple[str, ...]:
    if feature in WORDED:
        return ("allowed",)
    return ("number", "count_at_most") if feature == IMPERFECTION else ("at_least", "at_most")


def _allowed(entry: Entry, feature: str) -> tuple[str, ...]:
    words = tuple(word.lower() for word in entry.words("allowed"))
    known = LEAK_WORDS if feature == "leak" else colour_words()
    for word in words:
        if word not in known:
            entry.note("allowed", f'"{word}" is no {feature} word; use {", ".join(known)}')
    return words


def _imperfection_number(entry: Entry) -> str:
    number = entry.text("number")
    if not _NUMBER.fullmatch(number):
        entry.note("number", 'give one ISO 6520-1 number as text, such as "2017"')
    return number


def _limit(entry: Entry, key: str, feature: str) -> Limit | None:
    given = entry.table.get(key, "")
    share = _OF_WALL.fullmatch(given.strip()) if isinstance(given, str) else None
    if share and field(feature).si_unit == "m":
        value = parse(
            share[1], "penetration_fraction", where=entry.path(key), problems=entry.problems
        )
        return None if value is None else Limit(value, True, given.strip())
    value = entry.size(key, feature)
    return (
        None if value is None else Limit(value, False, f"{given} {_UNITS.get(feature, '')}".strip())
    )
