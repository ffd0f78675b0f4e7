"""The set-up card: one printed page for the person at the machine, drawn from the schedule."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from weldcalc.card_content import BLANK, CardContent, card_content
from weldcalc.card_passes import NOT_GIVEN, Setting
from weldcalc.errors import InputError, WeldcalcError
from weldcalc.plots.joint import draw_joint_sketch
from weldcalc.plots.sheet import PAPERS, SHADE, Sheet
from weldcalc.plots.style import QUIET, Picture, house_style
from weldcalc.plots.words import printable
from weldcalc.records.sign_off import ROLES
from weldcalc.whole_files import write_whole

if TYPE_CHECKING:
    from weldcalc.joint import Joint
    from weldcalc.prediction import Estimate
    from weldcalc.schedule import Schedule

_SCALES = tuple(1.08 - 0.02 * step for step in range(24))
"""Factors on the type sizes, largest first; smaller type is not read at a machine."""

_MAIN_SIZE = 13.0  # pt, read at arm's length
_SMALLEST_MAIN_SIZE = 8.0  # pt, no smaller than the words around
_BY_HAND = 3.4  # mm over a line with blanks: with the line itself room for a hand's writing
_EXPECTED = "Expected: computed, not measured; in brackets the 90 % interval"
_ENERGY = (
    "Energy along the seam (pulse table: pulses.csv of the record; not used unless the machine is "
    "programmed with it)"
)
_NOT_IN_THE_FONT = "A box □ stands for a character that the printing font lacks: see the schedule."


class CardError(WeldcalcError):
    """The card could not be made to fit its page."""


def setup_card(
    schedule: Schedule, *, paper: str = "A4", estimate: Estimate | None = None
) -> Picture:
    """Draw the set-up card of a schedule on one page.

    Parameters
    ----------
    schedule : Schedule
        With at least one pass.
    paper : {"A4", "Letter"}, optional
        Size of the page.
    estimate : Estimate, optional
        Predictions to print beside the settings, and findings that forbid welding.

    Returns
    -------
    Picture
        The page; its `pdf` is the same bytes for the same schedule.

    Raises
    ------
    InputError
        When the paper is unknown, the schedule has no passes or the estimate is of another one.
    CardError
        When the page cannot hold the card in readable type.
    """
    if paper not in PAPERS:
        raise InputError.of("paper", f"has to be one of {', '.join(PAPERS)}", paper)
    if not schedule.passes:
        raise InputError.of("pass", "a card needs at least one pass: draft the schedule first")
    if estimate is not None and estimate.schedule != schedule:
        raise InputError.of("estimate", "is of another schedule: compute it from this one")
    picture = _largest_that_fits(card_content(schedule, estimate), schedule.joint, paper)
    if picture is None:
        raise CardError(
            f"{schedule.number}: too much for one page of {paper}; shorten the title, cleaning or "
            "code, or make a schedule of fewer passes"
        )
    return picture


def write_setup_card(
    schedule: Schedule, output: Path, *, paper: str = "A4", estimate: Estimate | None = None
) -> Path:
    """Write the set-up card as PDF: vectors, no date, whole or not at all.

    Parameters
    ----------
    schedule : Schedule
        With at least one pass.
    output : Path
        PDF file; one that is there is replaced.
    paper, estimate
        As for `setup_card`.

    Returns
    -------
    Path
        The output.

    Raises
    ------
    InputError, CardError
        As for `setup_card`.
    """
    picture = setup_card(schedule, paper=paper, estimate=estimate)
    title = f"Set-up card {schedule.number}, revision {schedule.revision}"
    return write_whole(output, picture.pdf(title=title))


def _largest_that_fits(content: CardContent, joint: Joint, paper: str) -> Picture | None:
    best, low, high = None, 0, len(_SCALES)
    while low < high:
        middle = (low + high) // 2
        picture, fits = _page(content, joint, paper, _SCALES[middle])
        if fits:
            best, high = picture, middle
        else:
            low = middle + 1
    return best


def _page(content: CardContent, joint: Joint, paper: str, scale: float) -> tuple[Picture, bool]:
    """Draw the card at one scale; also tell whether it stays on the page."""
    with house_style():
        sheet = Sheet(paper=paper, scale=scale)
        _head(sheet, content)
        _stops(sheet, content)
        _joint(sheet, content, joint)
        _before(sheet, content)
        unbroken = _settings(sheet, content)
        _lines(sheet, "Check weld", content.check)
        _colours_and_cautions(sheet, content)
        fits = _foot(sheet, content) and unbroken
    alt = (
        f"Set-up card {content.number}, revision {content.revision}: {content.title}. "
        f"{content.status}."
    )
    return Picture(figure=sheet.figure, alt=alt), fits


def _head(sheet: Sheet, content: CardContent) -> None:
    room = 52.0
    top = sheet.down
    sheet.write("Laser weld set-up card", size=8.5, width=sheet.inner - room - 3)
    sheet.write(content.title, size=14, weight="bold", width=sheet.inner - room - 3)
    sheet.skip(_BY_HAND if BLANK in content.code else 0.0)
    sheet.write(content.code, size=8, width=sheet.inner - room - 3)
    left = sheet.margin + sheet.inner - room
    beside = sheet.write(
        content.number, size=14, weight="bold", left=left + 2, width=room - 4, at=top + 1
    )
    revision = f"Revision {content.revision}"
    beside = sheet.write(revision, size=10, left=left + 2, width=room - 4, at=beside)
    sheet.box(top=top, bottom=beside + 1, left=left, width=room)
    sheet.down = max(sheet.down, beside + 1)
    sheet.skip(1.5)
    top = sheet.down
    sheet.skip(0.8)
    sheet.write(content.status, size=11, weight="bold", align="center")
    sheet.skip(0.8)
    sheet.box(top=top, bottom=sheet.down, weight=1.6, fill=SHADE)
    sheet.skip(1.2)


def _joint(sheet: Sheet, content: CardContent, joint: Joint) -> None:
    """Draw the sketch, write the facts beside it and the optics beside these."""
    sheet.heading("Joint and optics")
    top = sheet.down
    sketch, facts = 0.3 * sheet.inner, 0.36 * sheet.inner
    left = sheet.margin + sketch + 2
    lowest = max(
        _facts(sheet, content, left=left, width=facts),
        _optics(sheet, content, left=left + facts + 2),
    )
    height = max(29.0 * sheet.scale, lowest - top)
    sheet.down = top + height
    frame = sheet.drawing(left=sheet.margin, top=top, width=sketch, height=height)
    draw_joint_sketch(frame, joint, type_size=7.5 * sheet.scale)


def _facts(sheet: Sheet, content: CardContent, *, left: float, width: float) -> float:
    """Write name and value in two columns; return the place below them [mm]."""
    names, down = 0.4 * width, sheet.down
    for name, value in content.joint_facts:
        weight = "normal" if value == NOT_GIVEN else "bold"
        look: dict[str, Any] = {"left": left + names, "width": width - names, "weight": weight}
        below = sheet.write(name, size=8, left=left, width=names, at=down)
        down = max(below, sheet.write(value, size=8.5, at=down, **look))
    return down


def _optics(sheet: Sheet, content: CardContent, *, left: float) -> float:
    """Write what is set or read at the welding head; return the place below it [mm]."""
    width, down = sheet.margin + sheet.inner - left, sheet.down - _BY_HAND * sheet.scale
    for line in content.optics:
        down += _BY_HAND * sheet.scale
        weight = "normal" if BLANK in line else "bold"
        down = sheet.write(line, size=8, left=left, width=width, at=down, weight=weight)
    return down


def _before(sheet: Sheet, content: CardContent) -> None:
    _lines(sheet, "Before welding", content.before)
    sheet.skip(1.0)
    top = sheet.down
    for line in content.clock:
        sheet.skip(_BY_HAND)
        sheet.write(line, size=9.5, left=sheet.margin + 2, width=sheet.inner - 4, weight="bold")
    sheet.skip(0.8)
    sheet.box(top=top, bottom=sheet.down, weight=1.6)
    sheet.skip(0.6)


def _lines(sheet: Sheet, heading: str, lines: Sequence[str]) -> None:
    sheet.heading(heading)
    for line in lines:
        sheet.skip(_BY_HAND if BLANK in line else 0.6)
        sheet.write(line, size=8)


def _settings(sheet: Sheet, content: CardContent) -> bool:
    """Write all settings, each on one line; tell whether the main ones are large enough."""
    names = 0.3 * sheet.inner
    widths = [names, *[(sheet.inner - names) / len(content.pass_names)] * len(content.pass_names)]
    sheet.heading("Settings")
    heads = ["Pass", *content.pass_names]
    sheet.row(heads, widths, size=11, first_size=8, weights=["normal"] + ["bold"] * len(heads[1:]))
    size = sheet.largest_size(
        [cell.text for setting in content.main for cell in setting.cells], widths[-1], _MAIN_SIZE
    )
    _rows(sheet, content.main, widths, size=size)
    sheet.skip(0.8)
    _rows(sheet, content.other, widths, size=8)
    if content.defaults:
        sheet.skip(0.4)
        sheet.write(content.defaults, size=8)
    if content.energy:
        sheet.skip(0.8)
        sheet.write(_ENERGY, size=8, weight="bold")
        for name, told in content.energy:
            sheet.write(f"{name}: {told}.", size=8)
    if content.predicted:
        sheet.skip(0.8)
        sheet.write(_EXPECTED, size=8, weight="bold")
        _rows(sheet, content.predicted, widths, size=8)
    return size >= _SMALLEST_MAIN_SIZE


def _rows(sheet: Sheet, settings: Sequence[Setting], widths: Sequence[float], size: float) -> None:
    for number, setting in enumerate(settings):
        if number:
            sheet.rule(weight=0.3, colour=QUIET)
            sheet.skip(0.3)
        cells = [setting.name, *[cell.text for cell in setting.cells]]
        weights = ["normal", *["bold" if cell.typed else "normal" for cell in setting.cells]]
        sheet.row(cells, widths, size=size, first_size=8, weights=weights)


def _stops(sheet: Sheet, content: CardContent) -> None:
    if not content.stops_heading:
        return
    top = sheet.down
    sheet.skip(0.8)
    left, width = sheet.margin + 2, sheet.inner - 4
    sheet.write(content.stops_heading, size=10, weight="bold", left=left, width=width)
    for stop in content.stops:
        sheet.write(f"■ {stop}", size=8.5, weight="bold", left=left, width=width)
    sheet.skip(0.8)
    sheet.box(top=top, bottom=sheet.down, weight=2.4)
    sheet.skip(1.2)


def _colours_and_cautions(sheet: Sheet, content: CardContent) -> None:
    if content.colours:
        _lines(sheet, "Weld colour", content.colours)
    sheet.heading("Cautions")
    sheet.columns([f"{title}: {text}" for title, text in content.cautions], count=2, size=7.6)
    sheet.write(content.defer_to, size=8, weight="bold")


def _foot(sheet: Sheet, content: CardContent) -> bool:
    """Write signatures and origin at the foot; tell whether the rest left room for them."""
    height = 25.0 * sheet.scale
    top = sheet.height - sheet.margin - height
    fits = sheet.down <= top
    sheet.down = max(top, sheet.down)
    sheet.heading("Names and dates: a card without them is not released")
    sheet.skip(_BY_HAND)
    width = sheet.inner / len(ROLES)
    lines = [f"{role.capitalize()} by {BLANK * 2}" for role in ROLES]
    sheet.row(lines, [width] * len(ROLES), size=8, weights=["normal"] * len(ROLES))
    sheet.skip(_BY_HAND)
    dates = [f"Date {BLANK * 2}"] * len(ROLES)
    sheet.row(dates, [width] * len(ROLES), size=8, weights=["normal"] * len(ROLES))
    sheet.skip(1.0)
    boxed = "□" in "".join(printable(text) for text in content.texts())
    sheet.write(content.foot + (f" {_NOT_IN_THE_FONT}" if boxed else ""), size=6)
    return fits and sheet.down <= sheet.height - sheet.margin / 2
