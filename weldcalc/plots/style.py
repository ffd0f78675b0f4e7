"""One look for every picture: colours, line styles, type, and how a picture is saved.

The colours are told apart by people with any common colour blindness and by their lightness
alone, so that a grey print still reads; where two of them meet, a line style or a hatch says the
same a second time. All of them are named here and nowhere else.
"""

from __future__ import annotations

import base64
import html
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import Any, ParamSpec

import matplotlib as mpl
import numpy as np
from attrs import frozen
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# lightness (CIE L*) 92, 78, 47: three clearly different greys on a black-and-white printer
METAL = "#E6E8EA"
PLATE = "#D3D8DC"  # a second member of another kind
HEAT_AFFECTED = "#F2B84B"
FUSED = "#C2500F"
EDGE = "#3A3F44"  # outlines of metal, dimension lines, plain text in a drawing
GOAL = "#0B5FA5"  # always dashed, so that it is never taken for an outline
LIMIT = "#1A1A1A"  # always dash-dotted
BEAM = "#7A2E8E"
SPOT = BEAM  # the outline of the beam on the surface belongs to the beam
FIRST = "#37474F"  # two curves in one axes: dark and solid against light and dashed
SECOND = "#3FA3A3"
QUIET = "#8A9097"
INTERVAL = "#B9CFE4"
ALERT = "#B00020"

GOAL_DASHES = (0, (6, 2.5))
LIMIT_DASHES = (0, (7, 2, 1.2, 2))
HAZ_DASHES = (0, (3, 1.5))
SPOT_DASHES = (0, (2, 1))

# passes differ by line and hatch, never by colour: colour says what the metal became
PASS_LINES: tuple[Any, ...] = ("solid", (0, (5, 1.5)), (0, (1.2, 1.2)))
PASS_HATCHES = ("", "////", "....")

# lightness 89, 100, 70: hatches that a coarse printer swallows are not needed to tell them apart
REGION_COLOURS = {
    "lack of penetration": "#D3E2F0",
    "sound": "#FFFFFF",
    "excessive": "#DE9B6B",
}
REGION_HATCHES = {"lack of penetration": "////", "sound": "", "excessive": "..."}

MM = 1e3  # shown millimetres per metre
INCH = 0.0254
_LAYOUT = ConstrainedLayoutEngine(h_pad=0.07)
WIDTH = 0.160 / INCH  # a picture as wide as the text of an A4 page

_STYLE: Any = {
    "font.family": ["DejaVu Sans"],
    "font.size": 8.0,
    "figure.titlesize": 9.0,
    "axes.titlesize": 8.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 8.0,
    "axes.linewidth": 0.6,
    "axes.edgecolor": EDGE,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.formatter.useoffset": False,
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "grid.color": "#D5D8DB",
    "grid.linewidth": 0.5,
    "legend.frameon": False,
    "legend.fontsize": 7.5,
    "lines.linewidth": 1.4,
    "hatch.linewidth": 0.5,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    # names typed by users may hold "$" or "_": they are text, never formulas
    "text.parse_math": False,
    # hinted letters are wider or narrower at each resolution, and run over what was laid out
    "text.hinting": "no_hinting",
    "svg.hashsalt": "weldcalc",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
}

_Args = ParamSpec("_Args")


@contextmanager
def house_style() -> Iterator[None]:
    """Apply the look while drawing or saving; whatever the caller had set comes back after."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_STYLE)
        yield


@frozen(eq=False)
class Picture:
    """A figure together with the words that stand for it where it cannot be seen.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The drawing.
    alt : str
        What the drawing shows, with its numbers and units.
    """

    figure: Figure
    alt: str

    def svg(self) -> bytes:
        """Return the picture as SVG: the same bytes for the same data."""
        nothing = {"Date": None, "Creator": None, "Description": self.alt}
        return self._saved("svg", metadata=nothing)

    def png(self, dpi: float = 150.0) -> bytes:
        """Return the picture as PNG with `dpi` dots per inch [1/inch]."""
        return self._saved("png", dpi=dpi, metadata={"Software": None, "Description": self.alt})

    def pdf(self, title: str = "") -> bytes:
        """Return the picture as PDF, as vectors and without a date, under `title`."""
        metadata = {"CreationDate": None, "Creator": None, "Producer": None, "Subject": self.alt}
        return self._saved("pdf", metadata={**metadata, "Title": title or None})

    def save(self, path: Path) -> Path:
        """Write the picture to `path`; the suffix .svg, .png or .pdf says how.

        Raises
        ------
        ValueError
            When the suffix is none of the three.
        """
        writers: dict[str, Callable[[], bytes]] = {
            ".svg": self.svg,
            ".png": self.png,
            ".pdf": self.pdf,
        }
        if path.suffix.lower() not in writers:
            raise ValueError(f"{path}: a picture is saved as .svg, .png or .pdf")
        path.write_bytes(writers[path.suffix.lower()]())
        return path

    def _saved(self, kind: str, **options: Any) -> bytes:
        buffer = io.BytesIO()
        with house_style():
            self.figure.savefig(buffer, format=kind, **options)
        return buffer.getvalue()

    def _repr_html_(self) -> str:
        data = base64.b64encode(self.png()).decode("ascii")
        alt = html.escape(self.alt, quote=True)
        return f'<img src="data:image/png;base64,{data}" alt="{alt}" style="max-width:100%">'


def in_house_style(draw: Callable[_Args, Picture]) -> Callable[_Args, Picture]:
    """Return `draw` so that it draws in the one look and leaves matplotlib as it found it."""

    @wraps(draw)
    def styled(*args: _Args.args, **kwargs: _Args.kwargs) -> Picture:
        with house_style():
            picture = draw(*args, **kwargs)
            _settle(picture.figure)
            return picture

    return styled


def _settle(figure: Figure) -> None:
    # the layout is run here and never again, so that a picture is the same however often it is
    # saved; panels of fixed aspect shrink in the first run, and others make use of it in the next
    is_fixed = any(axes.get_aspect() != "auto" for axes in figure.axes)
    for _ in range(2 if is_fixed else 1):
        _LAYOUT.execute(figure)
    figure.set_layout_engine("none")


def new_figure(height: float, width: float = WIDTH) -> Figure:
    """Return an empty figure of `width` x `height` [inch] that keeps its parts from colliding."""
    return Figure(figsize=(width, height), layout=_LAYOUT)


def shared_legend(figure: Figure, panels: Iterable[Axes], columns: int) -> None:
    """Put one legend under the picture, with each name of any panel once."""
    named: dict[str, Artist] = {}
    for axes in panels:
        handles, names = axes.get_legend_handles_labels()
        named |= dict(zip(names, handles, strict=True))
    figure.legend(named.values(), named.keys(), loc="outside lower center", ncols=columns)


def goal_line(axes: Axes, value: float, label: str, *, vertical: bool = False) -> None:
    """Draw the goal in its one colour and dash at `value` [unit of the axis]."""
    draw = axes.axvline if vertical else axes.axhline
    draw(value, color=GOAL, linestyle=GOAL_DASHES, linewidth=1.4, label=label)


def limit_line(axes: Axes, value: float, label: str, *, vertical: bool = False) -> None:
    """Draw a limit in its one colour and dash at `value` [unit of the axis]."""
    draw = axes.axvline if vertical else axes.axhline
    draw(value, color=LIMIT, linestyle=LIMIT_DASHES, linewidth=1.0, label=label)


def dimension(
    axes: Axes,
    start: tuple[float, float],
    end: tuple[float, float],
    text: str,
    *,
    shift: tuple[float, float] = (0.0, 3.0),
    **options: Any,
) -> None:
    """Draw a dimension arrow from `start` to `end` [data] with `text` `shift` [points] off it."""
    arrow = {"arrowstyle": "<|-|>", "color": EDGE, "linewidth": 0.7, "mutation_scale": 6}
    axes.annotate("", xy=start, xytext=end, arrowprops={**arrow, "shrinkA": 0, "shrinkB": 0})
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    axes.annotate(
        text,
        xy=middle,
        xytext=shift,
        textcoords="offset points",
        **{"ha": "center", "va": "bottom", "fontsize": 7.0, "color": EDGE, **options},
    )


def fact_table(axes: Axes, facts: Sequence[tuple[str, str]]) -> None:
    """Fill an empty axes with rows of (value, name), the values in one column on the left."""
    axes.set_axis_off()
    for row, (value, name) in enumerate(facts):
        place: dict[str, Any] = {
            "xycoords": "axes fraction",
            "textcoords": "offset points",
            "va": "top",
        }
        down = -12.0 * row
        axes.annotate(value, xy=(0.27, 1.0), xytext=(0, down), ha="right", weight="bold", **place)
        axes.annotate(name, xy=(0.27, 1.0), xytext=(6, down), ha="left", **place)
