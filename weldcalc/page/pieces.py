"""Small pieces of HTML; everything that comes from a user is escaped here and nowhere else."""

from __future__ import annotations

import base64
import html
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import Final, Protocol

from attrs import frozen

# beyond this a drawing holds a whole field of values and is smaller, and as sharp, as dots
_LARGEST_DRAWING = 400_000
_DOTS_PER_INCH = 220.0
_NOTEBOOK_STYLE: Final = Path(__file__).resolve().with_name("notebook.css")
_FRAME_END: Final = "</div>"


class Drawn(Protocol):
    """What `figure` needs of a picture."""

    @property
    def alt(self) -> str:
        """What the picture shows."""

    def svg(self) -> bytes:
        """Return the picture as vectors."""

    def png(self, dpi: float) -> bytes:
        """Return the picture as dots."""


@frozen
class Piece:
    """A piece of a page; notebooks show it as HTML.

    Parameters
    ----------
    html : str
        Escaped and closed.
    """

    html: str

    def __add__(self, other: Piece) -> Piece:
        """Return both, one under the other."""
        return Piece(self.html + other.html)

    def _repr_html_(self) -> str:
        return _frame_start() + self.html + _FRAME_END

    def __repr__(self) -> str:
        return f"Piece of {len(self.html)} characters"


def bare(shown: str) -> str:
    """Return the HTML of a piece without the frame that it has in a notebook.

    Parameters
    ----------
    shown : str
        HTML that a cell of a notebook shows; anything else comes back as it is.
    """
    start = _frame_start()
    if not (shown.startswith(start) and shown.endswith(_FRAME_END)):
        return shown
    return shown.removeprefix(start).removesuffix(_FRAME_END)


@cache
def _frame_start() -> str:
    style = _NOTEBOOK_STYLE.read_text(encoding="utf-8")
    return f'<style>{style}</style><div class="weldcalc-piece">'


def text(value: object) -> str:
    """Return a value as HTML text, safe between tags and inside quoted attributes."""
    return html.escape(str(value), quote=True)


def element(tag: str, content: str = "", **attributes: str) -> str:
    """Return one element; content is HTML already, attributes are plain text.

    Parameters
    ----------
    tag : str
        Name of the element.
    content : str, optional
        HTML inside it.
    **attributes : str
        Attributes; `class_` becomes class, empty ones are left out.

    Returns
    -------
    str
        HTML.
    """
    given = "".join(
        f' {name.rstrip("_")}="{text(value)}"' for name, value in attributes.items() if value
    )
    return f"<{tag}{given}>{content}</{tag}>"


def paragraph(words: object, class_: str = "") -> str:
    """Return plain words as a paragraph."""
    return element("p", text(words), class_=class_)


def bullets(items: Iterable[str], class_: str = "") -> str:
    """Return plain texts as a list."""
    return element("ul", "".join(element("li", text(item)) for item in items), class_=class_)


def badge(words: str, kind: str) -> str:
    """Return a short framed word; its meaning is in the word, the look only underlines it."""
    return element("span", text(words), class_=f"badge {kind}")


def table(
    columns: Sequence[str],
    rows: Iterable[Sequence[object]],
    *,
    caption: str,
    class_: str = "",
    first_is_head: bool = True,
) -> Piece:
    """Return a table with headed columns and rows.

    Parameters
    ----------
    columns : sequence of str
        Column headings.
    rows : iterable of sequence
        Cells; a `Piece` stands as it is, anything else is escaped.
    caption : str
        What the table shows.
    class_ : str, optional
        Look of the table.
    first_is_head : bool, optional
        Whether the first cell names its row.

    Returns
    -------
    Piece
        The table.
    """
    head = "".join(element("th", text(column), scope="col") for column in columns)
    body = "".join(element("tr", _cells(row, first_is_head)) for row in rows)
    content = (
        element("caption", text(caption))
        + element("thead", element("tr", head))
        + element("tbody", body)
    )
    return Piece(element("table", content, class_=class_))


def _cells(row: Sequence[object], first_is_head: bool) -> str:
    cells = []
    for index, cell in enumerate(row):
        content = cell.html if isinstance(cell, Piece) else text(cell)
        is_head = first_is_head and index == 0
        cells.append(element("th", content, scope="row") if is_head else element("td", content))
    return "".join(cells)


def stack(pieces: Iterable[Piece]) -> Piece:
    """Return pieces one under the other."""
    return Piece("".join(piece.html for piece in pieces))


def figures(pictures: Iterable[Drawn]) -> Piece:
    """Return pictures one under the other; each says itself what it shows."""
    return stack(figure(picture) for picture in pictures)


def figure(picture: Drawn, caption: str = "") -> Piece:
    """Return a picture embedded in the page, with the words that stand for it.

    Parameters
    ----------
    picture : Drawn
        From the plots package.
    caption : str, optional
        Line under the picture.

    Returns
    -------
    Piece
        The figure.
    """
    content, kind = picture.svg(), "svg+xml"
    if len(content) > _LARGEST_DRAWING:
        content, kind = picture.png(dpi=_DOTS_PER_INCH), "png"
    data = base64.b64encode(content).decode("ascii")
    image = f'<img src="data:image/{kind};base64,{data}" alt="{text(picture.alt)}">'
    return Piece(
        element("figure", image + (element("figcaption", text(caption)) if caption else ""))
    )
