"""Turns an executed notebook into one page of HTML that needs nothing from outside itself."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from weldcalc import __version__
from weldcalc.errors import WeldcalcError
from weldcalc.page.pieces import bare
from weldcalc.whole_files import write_whole

LARGEST_PAGE = 3_000_000  # bytes; a record has to go through any mail server

_TEMPLATES = Path(__file__).resolve().parent / "page"
_PLAIN = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 .,-")


class PageError(WeldcalcError):
    """The page could not be made from the notebook."""


def write_page(notebook: Path, output: Path, *, title: str, footer: str) -> Path:
    """Write the page of an executed notebook: inputs hidden, pictures inside, no script.

    Parameters
    ----------
    notebook : Path
        Executed from the first cell to the last, in order.
    output : Path
        HTML file; written whole or not at all.
    title : str
        Title of the page.
    footer : str
        Printed at the foot of every sheet: number, revision, status.

    Returns
    -------
    Path
        The output.

    Raises
    ------
    PageError
        When a cell was not run, failed or was run out of order, or the page is too large to mail.
    """
    import nbformat

    content = nbformat.read(notebook, as_version=4)
    _refuse_unless_executed(content, notebook.name)
    page = _exporter().from_notebook_node(
        content, resources={"page": {"title": title, "footer": footer, "version": __version__}}
    )[0]
    data = page.encode("utf-8")
    if len(data) > LARGEST_PAGE:
        raise PageError(f"{output.name}: {len(data)} bytes, more than {LARGEST_PAGE}")
    return write_whole(output, data)


def _refuse_unless_executed(content: Any, name: str) -> None:
    cells = [cell for cell in content.cells if cell.cell_type == "code" and cell.source.strip()]
    counts = [cell.execution_count for cell in cells]
    if counts != list(range(1, len(cells) + 1)):
        raise PageError(f"{name}: its cells were not run once each and in order; run it afresh")
    kinds = {output.output_type for cell in cells for output in cell.outputs}
    if "error" in kinds:
        raise PageError(f"{name}: a cell failed; a page is only made from a notebook that ran")


def _exporter() -> Any:
    from nbconvert import HTMLExporter

    exporter = HTMLExporter(
        template_name="weldcalc_record",
        extra_template_basedirs=[str(_TEMPLATES)],
        exclude_input=True,
        exclude_anchor_links=True,
        mathjax_url="",
        require_js_url="",
        jquery_url="",
        mermaid_js_url="",
    )
    exporter.register_filter("css_text", css_text)
    exporter.register_filter("bare", bare)
    return exporter


def css_text(text: str) -> str:
    r"""Return a text safe inside a quoted CSS string: everything unusual is written as a number.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        The text with CSS escapes; control characters become blanks.

    Examples
    --------
    >>> print(css_text('WS-014 "A"'))
    WS-014 \000022 A\000022
    """
    shown = (character if character.isprintable() else " " for character in text)
    # the blank after the number belongs to the escape and is not shown
    return "".join(c if c in _PLAIN else f"\\{ord(c):06x} " for c in shown)
