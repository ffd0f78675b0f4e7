"""The comparison as tables, a picture and sentences; every sentence is made from the results."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from weldcalc import plots
from weldcalc.fields import percent
from weldcalc.heatflow.constants import fitted_constants
from weldcalc.model_check.compare import (
    FAMILIES,
    NOMINAL,
    Compared,
    ModelCheck,
    RowCheck,
    median_off,
)
from weldcalc.model_check.statements import FAILS, HOLDS, OPEN
from weldcalc.page.pieces import Piece, bullets, element, figure, paragraph, table, text
from weldcalc.quantities import show

_NO_BREAK: Final = "\N{NO-BREAK SPACE}"
_SHOWN: Final = {"met": "yes", "missed": "MISSED"}


def summary(result: ModelCheck) -> Piece:
    """Return a few sentences: how close, how often inside, what fails.

    Parameters
    ----------
    result : ModelCheck
        From `check_model`.
    """
    words = [line for family in FAMILIES for line in _family_words(result, family)]
    failed = [one for one in result.statements if one.verdict == FAILS]
    held = sum(one.verdict == HOLDS for one in result.statements)
    words.append(
        f"Of {held + len(failed)} published limits and trends that could be checked, {held} hold"
        + (f" and {len(failed)} do not: " if failed else ".")
        + "; ".join(one.words.partition(" (")[0] for one in failed)
        + ("." if failed else "")
    )
    return Piece(bullets(words))


def _family_words(result: ModelCheck, family: str) -> Iterator[str]:
    told = []
    for quantity in ("depth", "width"):
        pairs = result.figures(quantity, family)
        told.append(f"{quantity} {percent(median_off(pairs))} ({_pulses(pairs)})")
    light = result.figures("absorptance", family)
    inside, of = result.coverage(family)
    rows = [row for row in result.rows if row.pulse.material.family == family]
    missed = [row.pulse.key for row in rows if not all(one.is_met for one in row.figures)]
    yield (
        f"{family.capitalize()}, {len(rows)} pulses: median difference of {' and '.join(told)}; "
        f"absorbed share off by {median_off(light):.2f} ({_pulses(light)}). {inside} of {of} "
        f"figures lie in their {percent(NOMINAL)} interval. "
        + (f"Something is missed in {', '.join(missed)}." if missed else "Nothing is missed.")
    )
    yield f"Constants of {family}: {fitted_constants(family).origin}"


def size_picture(result: ModelCheck) -> Piece:
    """Return the picture of predicted against measured depth and width with intervals."""
    return figure(size_figure(result))


def size_figure(result: ModelCheck) -> plots.Picture:
    """Return the same as a drawing."""
    panels = []
    for quantity in ("depth", "width"):
        pairs = result.figures(quantity)
        ends = [one.interval or (one.measured, one.measured) for _, one in pairs]
        panels.append(
            plots.Compared(
                key=pairs[0][1].key,
                measured=[one.measured for _, one in pairs],
                predicted=[one.predicted or 0.0 for _, one in pairs],
                modes=[row.run.mode for row, _ in pairs],
                low=[low for low, _ in ends],
                high=[high for _, high in ends],
            )
        )
    return plots.predicted_against_measured(panels, title="published pulses", level=NOMINAL)


def size_table(result: ModelCheck) -> Piece:
    """Return measured and predicted depth, width and depression of every row."""
    columns = (
        "pulse",
        "setting",
        "mode",
        "what",
        "measured",
        "predicted",
        "interval",
        "off",
        "met",
    )
    return _figure_table(result, ("depth", "width", "depression"), columns, "Sizes")


def absorptance_table(result: ModelCheck) -> Piece:
    """Return measured and predicted absorbed share of every row."""
    columns = (
        "pulse",
        "setting",
        "mode",
        "what",
        "measured",
        "predicted",
        "interval",
        "off",
        "met",
    )
    return _figure_table(result, ("absorptance",), columns, "Absorbed share of the whole pulse")


def onset_table(result: ModelCheck) -> Piece:
    """Return measured and predicted times to melt and to open of every row."""
    columns = ("pulse", "setting", "mode", "what", "measured", "predicted", "", "off", "met")
    return _figure_table(result, ("time to melt", "time to open"), columns, "Times")


def _figure_table(
    result: ModelCheck, quantities: tuple[str, ...], columns: tuple[str, ...], caption: str
) -> Piece:
    rows = [
        _figure_cells(row, one)
        for row in result.rows
        for one in row.figures
        if one.quantity in quantities
    ]
    return table(columns, rows, caption=caption)


def _figure_cells(row: RowCheck, one: Compared) -> tuple[object, ...]:
    pulse = row.pulse
    setting = ", ".join(
        (
            _whole(pulse.peak_power, "peak_power"),
            _whole(pulse.pulse_duration, "pulse_duration"),
            _whole(pulse.spot_diameter, "spot_diameter"),
        )
    )
    return (
        pulse.key,
        setting,
        row.run.mode,
        one.quantity,
        _whole(one.measured, one.key),
        "never" if one.predicted is None else _whole(one.predicted, one.key),
        "" if one.interval is None else _whole(one.interval, one.key),
        _off_words(one).replace(" ", _NO_BREAK),
        _SHOWN["met" if one.is_met else "missed"],
    )


def _whole(value: float | tuple[float, float], key: str) -> str:
    """Return a value with its unit so that a narrow cell does not break it."""
    return show(value, key).replace(" ", _NO_BREAK)


def _off_words(one: Compared) -> str:
    if one.predicted is None:
        return "never"
    if one.quantity.startswith("time"):
        return f"× {1 + one.off:.2f}"
    if one.quantity == "absorptance":
        return f"{round(one.off, 2) + 0.0:+.2f}"
    return f"{100 * one.off:+.0f} %"


def discussion(result: ModelCheck) -> Piece:
    """Return, row by row, what is missed and what the figures together say about why."""
    told = "".join(element("li", _row_words(row)) for row in result.rows)
    notes: dict[str, list[str]] = {}
    for row in result.rows:
        notes.setdefault(f"{row.pulse.source}: {row.pulse.note}", []).append(row.pulse.key)
    remarks = [f"{', '.join(keys)}. {note}." for note, keys in notes.items()]
    return Piece(
        element("ul", told)
        + paragraph("Where the rows come from, and what is to be known about them:")
        + bullets(remarks)
    )


def _row_words(row: RowCheck) -> str:
    missed = [one for one in row.figures if not one.is_met]
    head = element("b", text(row.pulse.key))
    if not missed:
        worst = max(row.figures, key=lambda one: abs(one.off) / one.limit)
        return head + text(f": all met; farthest off is the {worst.quantity}, {_off_words(worst)}.")
    told = ", ".join(f"{one.quantity} {_off_words(one)}" for one in missed)
    return head + text(" ".join((f": missed {told}.", *_reasons(row, missed))))


def _reasons(row: RowCheck, missed: list[Compared]) -> Iterator[str]:
    names = {one.quantity for one in missed}
    light = row.figure("absorptance")
    if light is not None and light.is_met and names & {"depth", "width"}:
        yield (
            "The absorbed share is right, so the heat is spread differently in the melt: stirring."
        )
    elif light is not None and not light.is_met:
        way = "too much" if light.off > 0 else "too little"
        yield f"The model lets {way} light in, which carries over to the sizes."
    if "width" in names and row.pulse.edge_limited:
        yield "The coupon was about 0.3 mm narrow one way; the model's sheet has no edge."
    if "depression" in names:
        yield "The depth measured is that of the depression, read off radiographs."
    if row.run.mode == "transition":
        yield "Between conduction and keyhole a little power decides, in the model as in the metal."
    if names & {"time to melt", "time to open"}:
        yield "Times depend steeply on the flux, and an opening on when it is seen."


def coverage_table(result: ModelCheck) -> Piece:
    """Return how many figures of each family lie in their interval, and which do not."""
    rows = []
    for family in FAMILIES:
        inside, of = result.coverage(family)
        outside = [
            f"{row.pulse.key} {one.quantity}"
            for row in result.rows
            for one in row.figures
            if row.pulse.material.family == family and one.is_inside is False
        ]
        rows.append((family, of, inside, percent(inside / of), ", ".join(outside) or "none"))
    columns = ("metal", "figures", "inside", "share", "outside")
    caption = (
        f"Nominal {percent(NOMINAL)} intervals against what was measured (85 to 95 % is wanted)"
    )
    return table(columns, rows, caption=caption)


def statement_table(result: ModelCheck) -> Piece:
    """Return every published limit and trend with the model's answer; unchecked ones apart."""
    columns = ("stated", "model", "found", "source", "standing")
    checked = [
        (one.words, one.verdict, one.found, one.source, one.standing)
        for one in result.statements
        if one.verdict != OPEN
    ]
    left = [
        (one.words, one.found, one.source, one.standing)
        for one in result.statements
        if one.verdict == OPEN
    ]
    return table(columns, checked, caption="Checked") + table(
        ("stated", "why not", "source", "standing"), left, caption="Not checked, and why"
    )


def gaps(result: ModelCheck) -> Piece:
    """Return what no published row covers, from the rows themselves.

    Parameters
    ----------
    result : ModelCheck
        From `check_model`.
    """
    titanium = [row for row in result.rows if row.pulse.material.family == "titanium"]
    sizes = sum(row.figure("depth") is not None for row in titanium)
    modes = sorted({row.run.mode for row in titanium})
    grades = sorted({row.pulse.material.name for row in titanium})
    spots = [row.pulse.spot_diameter for row in titanium]
    times = [row.pulse.pulse_duration for row in titanium]
    words = [
        "No titanium seam: no published pulsed titanium weld of this kind was found with its "
        "settings, depth and width together. Every row is one pulse on metal that stands still.",
        "No heat-affected width at all. The width shown elsewhere is where the computed peak "
        "temperature crosses a named isotherm; nobody has measured it for these pulses.",
        "No thin wall: the coupons were thick. How a pool opens a far side is computed only.",
        f"Titanium rests on {len(titanium)} rows ({sizes} with a depth), all "
        f"{', '.join(grades)} and {' or '.join(modes)} mode, spots of "
        f"{_span(spots, 'spot_diameter')}, pulses of {_span(times, 'pulse_duration')}.",
        "No gap, no mismatch, no beam beside the joint line, no gas other than argon.",
    ]
    return Piece(
        bullets(words) + paragraph("Coupons of your own close these gaps: weldcalc calibrate.")
    )


def _span(values: list[float], key: str) -> str:
    low, high = min(values), max(values)
    return show(low if low == high else (low, high), key)


def _pulses(pairs: list[tuple[RowCheck, Compared]]) -> str:
    return "1 pulse" if len(pairs) == 1 else f"{len(pairs)} pulses"
