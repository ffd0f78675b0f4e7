"""Strict reading of comma-separated tables typed by people, and safe writing of them.

Every problem of a file is reported at once, with line, column, value and remedy. Nothing is
guessed: an empty cell is "not measured", anything else has to be what its column asks for.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from statistics import median
from typing import Literal, TypeVar

from attrs import frozen

from weldcalc.errors import InputError, Problems
from weldcalc.fields import nearest
from weldcalc.quantities import convert_column, field, parse

_Value = TypeVar("_Value", str, float)

LARGEST_FILE = 2_000_000  # bytes; a hand-typed table is a few kilobytes
MOST_ROWS = 10_000  # under the headings

_HEADING = re.compile(r"\s*(?P<key>[^\[\]]*?)\s*(?:\[(?P<unit>[^\[\]]*)\])?\s*")
_LINE = re.compile(r", line (\d+)")
_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
_SLIP = 50.0  # further than this from the middle of its column, a value has the wrong unit
_ABSENT = frozenset({"nan", "n/a", "na", "-", "--", "none", "null", "?"})
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@frozen
class Column:
    """What a column may hold.

    Parameters
    ----------
    kind : {"text", "quantity", "uncertainty"}
        "quantity" and "uncertainty" need a unit in the heading; an uncertainty is a non-negative
        size in the unit of its quantity.
    field : str
        Key in the field table, for quantities and uncertainties.
    required : bool
        True when the column has to be there and every row has to fill it.
    about_zero : bool
        True for a quantity that is set to nothing, or close to it: its values may differ by any
        factor, so that a slip of units cannot be told from them.
    """

    kind: Literal["text", "quantity", "uncertainty"] = "text"
    field: str = ""
    required: bool = False
    about_zero: bool = False


@frozen
class TableRow:
    """One row of a table.

    Parameters
    ----------
    line : int
        Line in the file, counted from 1.
    texts : mapping of str to str
        Text cells that are not empty, by column.
    numbers : mapping of str to float
        Quantities given, by column [SI].
    """

    line: int
    texts: Mapping[str, str]
    numbers: Mapping[str, float]


def read_file(path: Path) -> bytes:
    """Return the bytes of an input file of reasonable size.

    Parameters
    ----------
    path : pathlib.Path
        A plain file.

    Returns
    -------
    bytes
        Its content.

    Raises
    ------
    InputError
        When it is missing, no plain file, or larger than `LARGEST_FILE`.
    """
    if not path.is_file():
        raise InputError.of(str(path), "no such file")
    size = path.stat().st_size
    if size > LARGEST_FILE:
        why = f"{size} bytes; at most {LARGEST_FILE} are read. Is this the right file?"
        raise InputError.of(str(path), why)
    return path.read_bytes()


def read_table(
    content: bytes, *, name: str, columns: Mapping[str, Column], problems: Problems
) -> tuple[TableRow, ...]:
    """Return the rows of a comma-separated table, in SI, and note every problem.

    Parameters
    ----------
    content : bytes
        UTF-8 text, with or without a byte-order mark; lines before the headings that start with
        "#" are comments.
    name : str
        Name of the file, for messages.
    columns : mapping of str to Column
        Columns known, by heading without unit.
    problems : Problems
        Collects what is wrong with headings and cells.

    Returns
    -------
    tuple of TableRow
        Rows that have as many cells as there are headings; blank rows are left out.

    Raises
    ------
    InputError
        When the file as a whole cannot be read: not UTF-8, other separators, no headings, too
        many rows.
    """
    lines = _lines(content, name)
    first = next((place for place, (_, cells) in enumerate(lines) if not _comment(cells)), None)
    if first is None:
        raise InputError.of(name, "holds no headings; the first row names the columns")
    _refuse_other_separators(lines[first][1], name)
    if len(lines) - first - 1 > MOST_ROWS:
        why = f"{len(lines) - first - 1} rows; at most {MOST_ROWS} are read"
        raise InputError.of(name, why)
    headings = _headings(lines[first], name, columns, problems)
    rows = _matching(lines[first + 1 :], len(headings), name, problems)
    return tuple(_rows(rows, headings, name, columns, problems))


def _lines(content: bytes, name: str) -> list[tuple[int, list[str]]]:
    if len(content) > LARGEST_FILE:
        raise InputError.of(name, f"larger than {LARGEST_FILE} bytes")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        why = f"byte {error.start} is not UTF-8; save the file again as 'CSV UTF-8'"
        raise InputError.of(name, why) from None
    if "\0" in text:
        raise InputError.of(name, "holds zero bytes: a spreadsheet file or UTF-16, not a CSV")
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        lines = [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise InputError.of(f"{name}, line {reader.line_num}", f"broken quoting: {error}") from None
    return lines


def _comment(cells: Sequence[str]) -> bool:
    return cells[0].lstrip().startswith("#")


def _refuse_other_separators(cells: Sequence[str], name: str) -> None:
    for separator, word in ((";", "semicolons"), ("\t", "tabs")):
        if sum(cell.count(separator) for cell in cells) >= len(cells):
            why = f"is separated by {word}; separate cells by commas and use decimal points"
            raise InputError.of(name, why, separator.join(cells)[:60])


def _headings(
    line: tuple[int, list[str]], name: str, columns: Mapping[str, Column], problems: Problems
) -> list[tuple[str, str]]:
    """Return key and unit of every column; the key is empty where the heading cannot be used."""
    where = f"{name}, line {line[0]}"
    split = [_split_heading(cell) for cell in line[1]]
    keys = [key for key, _ in split]
    found: list[tuple[str, str]] = []
    for place, (key, unit) in enumerate(split):
        why = _heading_problem(key, unit, columns)
        if not why and key in keys[:place]:
            why = "this column stands twice; keep one"
        if why:
            problems.add(where, why, line[1][place].strip())
        found.append(("" if why else key, unit or ""))
    for key, column in columns.items():
        if column.required and key not in keys:
            problems.add(where, f"the column {key} is missing")
    return found


def _split_heading(cell: str) -> tuple[str, str | None]:
    match = _HEADING.fullmatch(cell)
    return (match["key"], match["unit"]) if match else (cell.strip(), None)


def _heading_problem(key: str, unit: str | None, columns: Mapping[str, Column]) -> str:
    if not key:
        return "a column without a heading; name it or delete it"
    column = columns.get(key)
    if column is None:
        close = nearest(key.lower().replace(" ", "_"), columns)
        return "unknown column" + (f"; nearest: {', '.join(close)}" if close else "")
    if column.kind == "text":
        return "this column holds text and takes no unit" if unit is not None else ""
    return _unit_problem(key, unit, column.field)


def _unit_problem(key: str, unit: str | None, name: str) -> str:
    shown = field(name).shown_unit
    if not shown:
        return "this column holds plain numbers and takes no unit" if unit is not None else ""
    if not (unit and unit.strip()):
        return f'give the unit in the heading, as "{key} [{shown}]"'
    try:
        convert_column((), unit, name)
    except InputError as error:
        return error.problems[0].why
    return ""


def _matching(
    lines: Iterable[tuple[int, list[str]]], width: int, name: str, problems: Problems
) -> list[tuple[int, list[str]]]:
    kept = []
    for number, cells in lines:
        if len(cells) == width:
            kept.append((number, cells))
            continue
        why = f"{len(cells)} cell{'s' * (len(cells) != 1)} under {width} headings"
        if len(cells) > width:
            why += '; a decimal comma splits a number ("0,41": write 0.41), text with a comma '
            why += "needs double quotes; every row alike: a comma is missing in the headings"
        problems.add(f"{name}, line {number}", why)
    return kept


def _rows(
    lines: Sequence[tuple[int, list[str]]],
    headings: Sequence[tuple[str, str]],
    name: str,
    columns: Mapping[str, Column],
    problems: Problems,
) -> list[TableRow]:
    texts: list[dict[str, str]] = [{} for _ in lines]
    numbers: list[dict[str, float]] = [{} for _ in lines]
    for place, (key, unit) in enumerate(headings):
        if not key:
            continue
        cells = [(number, row[place].strip()) for number, row in lines]
        _require(cells, key, columns[key], name, problems)
        if columns[key].kind == "text":
            _fill(texts, key, [_unguarded(cell) or None for _, cell in cells])
        else:
            _fill(numbers, key, _quantities(cells, key, unit, columns[key], name, problems))
    return [
        TableRow(line=number, texts=text, numbers=given)
        for (number, _), text, given in zip(lines, texts, numbers, strict=True)
    ]


def _require(
    cells: Sequence[tuple[int, str]], key: str, column: Column, name: str, problems: Problems
) -> None:
    for number, cell in cells:
        if column.required and not cell:
            problems.add(f"{name}, line {number}, column {key}", "has to be filled in")


def _fill(rows: Sequence[dict[str, _Value]], key: str, values: Sequence[_Value | None]) -> None:
    for row, value in zip(rows, values, strict=True):
        if value is not None:
            row[key] = value


def _quantities(
    cells: Sequence[tuple[int, str]],
    key: str,
    unit: str,
    column: Column,
    name: str,
    problems: Problems,
) -> list[float | None]:
    values: list[float | None] = []
    for number, cell in cells:
        where = f"{name}, line {number}, column {key}"
        if cell.lower() in _ABSENT:
            problems.add(where, "leave the cell empty where nothing was measured", cell)
            values.append(None)
        else:
            values.append(_number(cell, unit, column, where, problems) if cell else None)
    if not column.about_zero:
        _note_slips(cells, values, f"column {key}", name, problems)
    return values


def _number(cell: str, unit: str, column: Column, where: str, problems: Problems) -> float | None:
    if unit:
        return parse(f"{cell} {unit}", column.field, where=where, problems=problems)
    if not _PLAIN.fullmatch(cell):
        problems.add(where, "give a plain number with a decimal point", cell)
        return None
    if column.kind == "uncertainty" and float(cell) >= 0.0:
        return float(cell)  # the range of the field is that of the value, not of its uncertainty
    return parse(float(cell), column.field, where=where, problems=problems)


def _note_slips(
    cells: Sequence[tuple[int, str]],
    values: Sequence[float | None],
    column: str,
    name: str,
    problems: Problems,
) -> None:
    sizes = [abs(value) for value in values if value]
    if len(sizes) < 3:
        return
    middle = median(sizes)
    for (number, cell), value in zip(cells, values, strict=True):
        if value and not middle / _SLIP <= abs(value) <= middle * _SLIP:
            why = f"more than {_SLIP:g} times off the middle of its column; is it in another unit?"
            problems.add(f"{name}, line {number}, {column}", why, cell)


def raise_by_line(problems: Problems) -> None:
    """Raise what was noted, in the order of the lines of the file.

    Parameters
    ----------
    problems : Problems
        From `read_table` and checks on its rows.

    Raises
    ------
    InputError
        When there is at least one problem.
    """
    problems.found.sort(key=lambda problem: int((_LINE.findall(problem.where) or ["0"])[0]))
    problems.raise_if_any()


def guarded(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula.

    Parameters
    ----------
    text : str
        Text from outside.

    Returns
    -------
    str
        The text, behind an apostrophe when it starts with = + - @ tab or carriage return.
        `read_table` takes the apostrophe off again.
    """
    return f"'{text}" if text.startswith(_FORMULA) else text


def _unguarded(text: str) -> str:
    return text[1:] if text.startswith("'") and text[1:].startswith(_FORMULA) else text


def table_text(headings: Sequence[str], rows: Iterable[Sequence[str | float | None]]) -> str:
    """Return a comma-separated table whose texts are safe to open in a spreadsheet.

    Parameters
    ----------
    headings : sequence of str, length n
        With units where the column holds quantities.
    rows : iterable of sequences of length n
        Numbers in the unit of their heading; None for an empty cell.

    Returns
    -------
    str
        UTF-8 text with newline line ends.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([guarded(heading) for heading in headings])
    writer.writerows([_written(cell) for cell in row] for row in rows)
    return out.getvalue()


def _written(cell: str | float | None) -> str:
    if cell is None:
        return ""
    # a negative number stays a number; only texts can be formulas
    return guarded(cell) if isinstance(cell, str) else repr(cell).removesuffix(".0")
