"""Coupons: sections measured by people, read strictly and kept with what was set as run."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from functools import cache, cached_property
from pathlib import Path
from typing import Any

from attrs import Factory, evolve, frozen

from weldcalc.errors import Problems
from weldcalc.fields import json_key, nearest, to_json
from weldcalc.qualification.table import (
    Column,
    TableRow,
    raise_by_line,
    read_file,
    read_table,
)
from weldcalc.quantities import shortest_text
from weldcalc.reference import read_csv

MEASURED = (
    "penetration",
    "fusion_width",
    "middle_width",
    "root_width",
    "haz_width",
    "undercut",
    "excess_metal",
    "root_concavity",
    "pore_diameter",
    "vickers_hardness",
    "tensile_strength",
)
"""What may be measured on a coupon; each may have a column of standard uncertainty, "_u"."""

SETTINGS = (
    "peak_power",
    "pulse_energy",
    "pulse_duration",
    "repetition_rate",
    "travel_speed",
    "rotation",
    "spot_diameter",
    "focus_offset",
    "beam_offset",
    "beam_angle",
    "preheat",
    "wall_thickness",
    "gap",
    "mismatch",
)
"""What may differ, as run, from the schedule."""

LEAK_WORDS = ("tight", "leaking")
NO_IMPERFECTION = "none"

TEXTS = ("coupon", "section", "pass", "lot", "colour", "imperfections", "leak", "note")
_NUMBER = re.compile(r"[1-9][0-9]{2,4}")
_ABOUT_ZERO = ("focus_offset", "beam_offset", "beam_angle", "gap", "mismatch")
_DEEPEST = 2.0  # walls, or plates; a deeper "penetration" has the wrong unit


@frozen
class CouponSection:
    """One row of a coupon list: one section, or a coupon looked at as a whole.

    Parameters
    ----------
    coupon, section : str
        Names; `section` is empty for a row about the whole coupon.
    weld_pass : str
        Name of the pass that the section shows; empty for the finished weld.
    measured : mapping of str to float
        Keys of `MEASURED` [SI]; what was not measured is absent.
    uncertainty : mapping of str to float
        Standard uncertainty (one sigma) of what was measured [SI].
    settings : mapping of str to float
        Keys of `SETTINGS` as run [SI]; what ran as scheduled is absent.
    colour : str or None
        Word for the colour; None where nobody looked.
    imperfections : tuple of str or None
        ISO 6520-1 numbers, one per place; empty when none was found, None where nobody looked.
    leak : str or None
        "tight" or "leaking"; None where not tested.
    lot, note : str
        Free text.
    line : int
        Line in the file.
    """

    coupon: str
    section: str = ""
    weld_pass: str = ""
    measured: Mapping[str, float] = Factory(dict)
    uncertainty: Mapping[str, float] = Factory(dict)
    settings: Mapping[str, float] = Factory(dict)
    colour: str | None = None
    imperfections: tuple[str, ...] | None = None
    leak: str | None = None
    lot: str = ""
    note: str = ""
    line: int = 0

    def to_json(self) -> dict[str, Any]:
        """Return the row with units in its keys; what is absent is left out."""
        return {
            "coupon": self.coupon,
            "section": self.section,
            "pass": self.weld_pass,
            "measured": _in_shown_units(self.measured),
            "standard_uncertainty": _in_shown_units(self.uncertainty),
            "settings": _in_shown_units(self.settings),
            "colour": self.colour,
            "imperfections": None if self.imperfections is None else list(self.imperfections),
            "leak": self.leak,
            "lot": self.lot,
            "note": self.note,
        }


def _in_shown_units(values: Mapping[str, float]) -> dict[str, float | None]:
    return {json_key(key): to_json(value, key) for key, value in values.items()}


@frozen
class Coupons:
    """A coupon list as read.

    Parameters
    ----------
    name : str
        File name.
    sha256 : str
        Digest of the file's bytes.
    sections : tuple of CouponSection
        In the order of the file.
    """

    name: str
    sha256: str
    sections: tuple[CouponSection, ...]

    @cached_property
    def _by_name(self) -> Mapping[str, tuple[CouponSection, ...]]:
        groups: dict[str, list[CouponSection]] = {}
        for row in self.sections:
            groups.setdefault(row.coupon, []).append(row)
        return {name: tuple(rows) for name, rows in groups.items()}

    @property
    def names(self) -> tuple[str, ...]:
        """Return the coupons, each once, in the order of the file."""
        return tuple(self._by_name)

    def of(self, coupon: str) -> tuple[CouponSection, ...]:
        """Return the rows of one coupon."""
        return self._by_name.get(coupon, ())

    def of_pass(self, weld_pass: str) -> Coupons:
        """Return the rows that show one pass; an empty name stands for the finished weld."""
        kept = tuple(row for row in self.sections if row.weld_pass == weld_pass)
        return evolve(self, sections=kept)

    def to_json(self) -> dict[str, Any]:
        """Return name, digest and rows."""
        return {
            "name": self.name,
            "sha256": self.sha256,
            "sections": [row.to_json() for row in self.sections],
        }


def read_coupons(
    path: Path, *, wall_thickness: float | None = None, plate_thickness: float | None = None
) -> Coupons:
    """Read a coupon list.

    Parameters
    ----------
    path : pathlib.Path
        CSV, UTF-8, cells separated by commas, units in the headings ("penetration [mm]"). Column
        "coupon" is required; further ones: `MEASURED`, each with an optional standard
        uncertainty ("penetration_u [mm]"), `SETTINGS` as run, section, pass, lot, colour,
        imperfections (ISO 6520-1 numbers separated by ";", "none" when looked for and not
        found), leak ("tight" or "leaking"), note. An empty cell means "not measured" or "as
        scheduled".
    wall_thickness : float, optional
        Of the schedule [m]; a penetration far beyond it is refused as a slip of units.
    plate_thickness : float, optional
        Plate of a tube-to-plate joint [m], along which the depth is measured there.

    Returns
    -------
    Coupons
        At least one row.

    Raises
    ------
    InputError
        With every problem of the file: where, what was given, what to do.
    """
    return coupons_from_bytes(
        read_file(path),
        name=path.name,
        wall_thickness=wall_thickness,
        plate_thickness=plate_thickness,
    )


def coupons_from_bytes(
    content: bytes,
    *,
    name: str,
    wall_thickness: float | None = None,
    plate_thickness: float | None = None,
) -> Coupons:
    """Read a coupon list from the bytes of its file; see `read_coupons`.

    Parameters
    ----------
    content : bytes
        Of the CSV file.
    name : str
        Its name, for messages.
    wall_thickness, plate_thickness : float, optional
        Of the schedule [m].

    Returns
    -------
    Coupons
        At least one row.

    Raises
    ------
    InputError
        As for `read_coupons`.
    """
    problems = Problems()
    rows = read_table(content, name=name, columns=_columns(), problems=problems)
    sections = tuple(_section(row, name, problems) for row in rows)
    _refuse_repeats(sections, name, problems)
    for section in sections:
        wall = section.settings.get("wall_thickness", wall_thickness)
        _check_depth(section, {"wall": wall, "plate": plate_thickness}, name, problems)
    if not rows and not problems.found:
        problems.add(name, "holds headings but no coupons")
    raise_by_line(problems)
    return Coupons(name=name, sha256=hashlib.sha256(content).hexdigest(), sections=sections)


@cache
def _columns() -> dict[str, Column]:
    columns = {key: Column("text", required=key == "coupon") for key in TEXTS}
    for key in MEASURED:
        columns[key] = Column("quantity", field=key)
        columns[f"{key}_u"] = Column("uncertainty", field=key)
    return columns | {
        key: Column("quantity", field=key, about_zero=key in _ABOUT_ZERO) for key in SETTINGS
    }


@cache
def colour_words() -> tuple[str, ...]:
    """Return the words for colours, in the order of rising exposure to air while hot."""
    return tuple(colour_steps())


@cache
def colour_steps() -> Mapping[str, int]:
    """Return word to step of rising exposure; words of one step tell the same exposure."""
    rows = read_csv("qualification/colours.csv")
    return {row["word"]: int(row["order"]) for row in rows}


@cache
def imperfection_names() -> Mapping[str, str]:
    """Return ISO 6520-1 number to short name, for the numbers that are listed."""
    return {row["number"]: row["name"] for row in read_csv("qualification/imperfections.csv")}


def _section(row: TableRow, name: str, problems: Problems) -> CouponSection:
    texts, where = row.texts, f"{name}, line {row.line}"
    colour = word_of(texts.get("colour"), colour_words(), f"{where}, column colour", problems)
    leak = word_of(texts.get("leak"), LEAK_WORDS, f"{where}, column leak", problems)
    uncertainty = {key: row.numbers[f"{key}_u"] for key in MEASURED if f"{key}_u" in row.numbers}
    for key in uncertainty.keys() - row.numbers.keys():
        problems.add(f"{where}, column {key}_u", f"an uncertainty without a value of {key}")
    return CouponSection(
        coupon=texts.get("coupon", ""),
        section=texts.get("section", ""),
        weld_pass=texts.get("pass", ""),
        measured={key: row.numbers[key] for key in MEASURED if key in row.numbers},
        uncertainty=uncertainty,
        settings={key: row.numbers[key] for key in SETTINGS if key in row.numbers},
        colour=colour,
        imperfections=_imperfections(texts.get("imperfections"), where, problems),
        leak=leak,
        lot=texts.get("lot", ""),
        note=texts.get("note", ""),
        line=row.line,
    )


def word_of(text: str | None, words: Sequence[str], where: str, problems: Problems) -> str | None:
    """Return a word of a list, whatever its case; note a problem for any other text.

    Parameters
    ----------
    text : str or None
        As typed.
    words : sequence of str
        Allowed.
    where : str
        For the message.
    problems : Problems
        Collects what is wrong.

    Returns
    -------
    str or None
        In lower case; None where nothing, or nothing usable, was typed.
    """
    if text is None or text.lower() in words:
        return text.lower() if text else None
    close = nearest(text.lower(), words)
    remedy = f"; nearest: {', '.join(close)}" if close else ""
    problems.add(where, f"use one of {', '.join(words)}{remedy}", text)
    return None


def _imperfections(text: str | None, where: str, problems: Problems) -> tuple[str, ...] | None:
    if text is None:
        return None
    if text.lower() == NO_IMPERFECTION:
        return ()
    numbers = tuple(part.strip() for part in text.split(";"))
    wrong = [number for number in numbers if not _NUMBER.fullmatch(number)]
    if wrong:
        why = (
            f'give ISO 6520-1 numbers separated by ";", such as "2017;5012", or '
            f'"{NO_IMPERFECTION}"; not a number: {", ".join(map(repr, wrong))}'
        )
        problems.add(f"{where}, column imperfections", why, text)
    return numbers


def _refuse_repeats(sections: Sequence[CouponSection], name: str, problems: Problems) -> None:
    first: dict[tuple[str, str, str], int] = {}
    for row in sections:
        key = (row.coupon, row.section, row.weld_pass)
        if key in first and row.coupon:
            why = f"the same coupon, section and pass stand in line {first[key]} already"
            problems.add(f"{name}, line {row.line}", why, " / ".join(filter(None, key)))
        first.setdefault(key, row.line)


def _check_depth(
    row: CouponSection, members: Mapping[str, float | None], name: str, problems: Problems
) -> None:
    thickest, part = max((size or 0.0, part) for part, size in members.items())
    depth = row.measured.get("penetration")
    if thickest and depth is not None and depth > _DEEPEST * thickest:
        size = shortest_text(thickest, f"{part}_thickness")
        why = f"more than {_DEEPEST:g} times the {part} of {size}; is it in another unit?"
        given = shortest_text(depth, "penetration")
        problems.add(f"{name}, line {row.line}, column penetration", why, given)
