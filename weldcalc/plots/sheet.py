"""A printed page in millimetres: text that wraps, lines, boxes, and a place for a drawing."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from attrs import define, field
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Rectangle
from matplotlib.textpath import text_to_path

from weldcalc.plots.style import EDGE, INCH, METAL
from weldcalc.plots.words import printable

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height of the papers that a page can be made for [mm]."""

SHADE = METAL
_POINT = INCH * 1e3 / 72  # millimetres
_LINE = 1.28  # height of a line of text in type sizes
_MEASURED_AT = 100.0
_BETWEEN_COLUMNS = 2.0  # mm


@lru_cache(maxsize=4096)
def _advance(character: str, weight: str) -> float:
    """Return the width of a character in type sizes."""
    font = FontProperties(family=["DejaVu Sans"], weight=weight, size=_MEASURED_AT)
    # measured between two letters, because blanks at the ends of a text count as nothing; between
    # capitals that are never moved closer to their neighbours
    width = text_to_path.get_text_width_height_descent(f"H{character}H", font, False)[0]
    bare = text_to_path.get_text_width_height_descent("HH", font, False)[0]
    return float(width - bare) / _MEASURED_AT


def text_width(text: str, size: float, weight: str = "normal") -> float:
    """Return the width [mm] of a line of text of a type size [pt]."""
    return sum(_advance(character, weight) for character in text) * size * _POINT


def wrapped(text: str, width: float, size: float, weight: str = "normal") -> list[str]:
    """Return text in lines that fit a width; a word too long for a line is broken.

    Parameters
    ----------
    text : str
        One paragraph.
    width : float
        Width of a line [mm].
    size : float
        Type size [pt].
    weight : {"normal", "bold"}, optional
        Weight of the type.

    Returns
    -------
    list of str
        At least one line, maybe empty.
    """
    lines = [""]
    for word in printable(text).split():
        joined = f"{lines[-1]} {word}".strip()
        if text_width(joined, size, weight) <= width:
            lines[-1] = joined
            continue
        if lines[-1]:
            lines.append("")
        for character in word:
            if lines[-1] and text_width(lines[-1] + character, size, weight) > width:
                lines.append("")
            lines[-1] += character
    return lines


@define
class Sheet:
    """A page that is filled from top to bottom; lengths in mm from the top left corner.

    Parameters
    ----------
    paper : str
        One of `PAPERS`.
    scale : float, optional
        Factor on all type sizes and gaps: a page that is too full is made again, smaller.
    margin : float, optional
        Margin on all sides [mm].
    """

    paper: str
    scale: float = 1.0
    margin: float = 11.0
    down: float = field(init=False)
    figure: Figure = field(init=False)
    axes: Axes = field(init=False)

    def __attrs_post_init__(self) -> None:
        self.down = self.margin
        self.figure = Figure(figsize=(self.width / INCH / 1e3, self.height / INCH / 1e3))
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set_xlim(0.0, self.width)
        self.axes.set_ylim(self.height, 0.0)
        self.axes.set_axis_off()

    @property
    def width(self) -> float:
        """Return the width of the page [mm]."""
        return PAPERS[self.paper][0]

    @property
    def height(self) -> float:
        """Return the height of the page [mm]."""
        return PAPERS[self.paper][1]

    @property
    def inner(self) -> float:
        """Return the width between the margins [mm]."""
        return self.width - 2 * self.margin

    def skip(self, gap: float) -> None:
        """Leave a gap [mm at full scale]."""
        self.down += gap * self.scale

    def write(
        self,
        text: str,
        *,
        size: float,
        left: float | None = None,
        width: float | None = None,
        weight: str = "normal",
        at: float | None = None,
        align: str = "left",
        colour: str = "black",
    ) -> float:
        """Write a paragraph and return the place below it [mm]; moves on unless `at` is given.

        Parameters
        ----------
        text : str
            Words; wrapped, never cut.
        size : float
            Type size [pt at full scale].
        left, width : float, optional
            Place and width of the paragraph [mm]; from margin to margin when not given.
        weight : {"normal", "bold"}, optional
            Weight of the type.
        at : float, optional
            Top of the paragraph [mm]; where the page has got to when not given.
        align : {"left", "center"}, optional
            Alignment of its lines.
        colour : str, optional
            Colour of the type.
        """
        start = self.margin if left is None else left
        room = self.margin + self.inner - start if width is None else width
        type_size = size * self.scale
        top = self.down if at is None else at
        across = start + room / 2 if align == "center" else start
        for line in wrapped(text, room, type_size, weight):
            look: dict[str, Any] = {"fontsize": type_size, "weight": weight, "color": colour}
            # placed by the base line, so that letters with tails do not lift their line
            base = top + 0.98 * type_size * _POINT
            self.axes.text(across, base, line, ha=align, va="baseline", **look)
            top += _LINE * type_size * _POINT
        if at is None:
            self.down = top
        return top

    def rule(self, *, weight: float = 0.6, colour: str = EDGE) -> None:
        """Draw a line from margin to margin, `weight` thick [pt]."""
        ends = [self.margin, self.margin + self.inner]
        self.axes.plot(ends, [self.down, self.down], color=colour, linewidth=weight)

    def box(
        self,
        *,
        top: float,
        bottom: float,
        left: float | None = None,
        width: float | None = None,
        weight: float = 1.0,
        fill: str = "none",
    ) -> None:
        """Draw a frame [mm], from margin to margin when not told otherwise."""
        corner = (self.margin if left is None else left, top)
        across = self.inner if width is None else width
        frame = Rectangle(
            corner, across, bottom - top, edgecolor=EDGE, facecolor=fill, linewidth=weight, zorder=0
        )
        self.axes.add_patch(frame)

    def heading(self, text: str) -> None:
        """Write the heading of a part under a line."""
        self.skip(1.2)
        self.rule()
        self.skip(0.8)
        self.write(text, size=8.0, weight="bold")

    def row(
        self,
        cells: Sequence[str],
        widths: Sequence[float],
        *,
        size: float,
        weights: Sequence[str],
        first_size: float | None = None,
    ) -> None:
        """Write cells side by side on one base line, each wrapped in its own width [mm].

        Parameters
        ----------
        cells : sequence of str
            Text of each cell.
        widths : sequence of float
            Width of each column [mm].
        size : float
            Type size [pt at full scale].
        weights : sequence of {"normal", "bold"}
            Weight of each cell.
        first_size : float, optional
            Type size of the first cell, where it names the row.
        """
        left, top, lowest = self.margin, self.down, self.down
        for number, (cell, width, weight) in enumerate(zip(cells, widths, weights, strict=True)):
            own = first_size if number == 0 and first_size is not None else size
            drop = 0.98 * max(0.0, size - own) * self.scale * _POINT
            below = self.write(
                cell,
                size=own,
                left=left,
                width=width - _BETWEEN_COLUMNS,
                weight=weight,
                at=top + drop,
            )
            lowest = max(lowest, below)
            left += width
        self.down = lowest

    def largest_size(self, cells: Sequence[str], width: float, most: float) -> float:
        """Return the type size [pt], `most` at most, at which bold cells of a row do not wrap."""
        widest = max(text_width(printable(cell), self.scale, "bold") for cell in cells)
        return min(most, 0.995 * (width - _BETWEEN_COLUMNS) / widest)

    def columns(self, paragraphs: Sequence[str], *, count: int, size: float) -> None:
        """Write paragraphs in columns of about equal length."""
        width = self.inner / count
        lines = [len(wrapped(one, width - 3.0, size * self.scale)) for one in paragraphs]
        start, lowest, column, used = self.down, self.down, 0, 0
        for paragraph, length in zip(paragraphs, lines, strict=True):
            if column < count - 1 and used >= sum(lines) / count:
                column, used, self.down = column + 1, 0, start
            self.down = self.write(
                paragraph,
                size=size,
                left=self.margin + column * width,
                width=width - 3.0,
                at=self.down,
            )
            used += length
            lowest = max(lowest, self.down)
        self.down = lowest

    def drawing(self, *, left: float, top: float, width: float, height: float) -> Axes:
        """Return axes without ticks for a drawing in a frame given in mm."""
        frame = (
            left / self.width,
            1.0 - (top + height) / self.height,
            width / self.width,
            height / self.height,
        )
        axes = self.figure.add_axes(frame)
        axes.set_axis_off()
        return axes
