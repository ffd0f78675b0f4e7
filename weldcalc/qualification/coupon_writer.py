"""Coupon lists written as CSV, safe to open in a spreadsheet and exact to read back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from weldcalc.qualification.coupons import (
    LEAK_WORDS,
    MEASURED,
    NO_IMPERFECTION,
    SETTINGS,
    TEXTS,
    CouponSection,
    colour_words,
)
from weldcalc.qualification.table import table_text
from weldcalc.quantities import field, shortest_text


def coupons_text(sections: Sequence[CouponSection]) -> str:
    """Return a coupon list as CSV text that reads back as the same rows.

    Parameters
    ----------
    sections : sequence of CouponSection
        Rows to write.

    Returns
    -------
    str
        CSV with units in the headings; texts that a spreadsheet could take for a formula stand
        behind an apostrophe.

    Raises
    ------
    InputError
        When a value is outside the plausible range of its field.
    """
    return form_text(sections, ())


def form_text(sections: Sequence[CouponSection], to_fill_in: Sequence[str]) -> str:
    """Return a coupon list with empty columns for what is still to be measured.

    Parameters
    ----------
    sections : sequence of CouponSection
        Rows known so far.
    to_fill_in : sequence of str
        Keys of `MEASURED` that get a column, and one of standard uncertainty, although no row has
        a value.

    Returns
    -------
    str
        As `coupons_text`.

    Raises
    ------
    InputError
        As for `coupons_text`.
    """
    settings = [key for key in SETTINGS if any(key in row.settings for row in sections)]
    measured = [
        key for key in MEASURED if key in to_fill_in or any(key in row.measured for row in sections)
    ]
    unsure = [
        key
        for key in measured
        if key in to_fill_in or any(key in row.uncertainty for row in sections)
    ]
    headings = [*TEXTS[:4], *map(_heading, settings), *map(_heading, measured)]
    headings += [_heading(key, "_u") for key in unsure]
    return table_text(
        [*headings, *TEXTS[4:]],
        [
            [
                *(row.coupon, row.section, row.weld_pass, row.lot),
                *(_cell(row.settings, key) for key in settings),
                *(_cell(row.measured, key) for key in measured),
                *(_cell(row.uncertainty, key) for key in unsure),
                *(row.colour, _imperfection_cell(row), row.leak, row.note),
            ]
            for row in sections
        ],
    )


def how_to_fill_in() -> str:
    """Return comment lines for the head of a form: what is typed into its columns of words.

    They hold neither commas nor quotes, so that a spreadsheet gives them back as they were.
    """
    lines = (
        "Leave a cell empty where nothing was measured or looked at. Decimal points; no units.",
        "pass: the name of the pass if the section shows it alone; empty for the finished weld.",
        "penetration_u and the like: one standard uncertainty (weldcalc gauge finds it).",
        f"colour: {' / '.join(colour_words())}.",
        f"imperfections: ISO 6520-1 numbers with ; between them; {NO_IMPERFECTION} if you looked "
        "and found no imperfection.",
        f"leak: {' / '.join(LEAK_WORDS)}.",
    )
    return "".join(f"# {line}\n" for line in lines)


def _heading(key: str, suffix: str = "") -> str:
    unit = field(key).shown_unit
    return f"{key}{suffix} [{unit}]" if unit else f"{key}{suffix}"


def _cell(values: Mapping[str, float], key: str) -> float | None:
    if key not in values:
        return None
    if field(key).kind == "number":
        return values[key]
    return float(shortest_text(values[key], key).split()[0])


def _imperfection_cell(row: CouponSection) -> str | None:
    if row.imperfections is None:
        return None
    return ";".join(row.imperfections) or NO_IMPERFECTION
