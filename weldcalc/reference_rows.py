"""Rows of reference tables in CSV, each with the source it came from."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping

from attrs import field, frozen

from weldcalc.errors import ReferenceDataError


@frozen
class Row(Mapping[str, str]):
    """One row of a reference table; reads like a mapping from column name to text.

    Parameters
    ----------
    cells : mapping of str to str
        Column name to cell, stripped of surrounding blanks.
    where : str
        File and line, as in "validation/pulses.csv:12".
    """

    cells: Mapping[str, str] = field(factory=dict)
    where: str = ""

    def __getitem__(self, column: str) -> str:
        return self.cells[column]

    def __iter__(self) -> Iterator[str]:
        return iter(self.cells)

    def __len__(self) -> int:
        return len(self.cells)

    @property
    def source(self) -> str:
        """Where the row comes from, in words."""
        return self.cells["source"]

    def number(self, column: str) -> float | None:
        """Return a cell as a number in the unit that the column names; None where it is empty.

        Parameters
        ----------
        column : str
            Name of the column.

        Raises
        ------
        ReferenceDataError
            When the cell holds something else than a number.
        """
        text = self.cells[column]
        if not text:
            return None
        try:
            return float(text)
        except ValueError:
            raise ReferenceDataError.of(
                f"{self.where}: {column}", "has to be a number or empty", text
            ) from None


def rows_with_source(text: str, where: str) -> Iterator[Row]:
    """Yield the rows of a CSV text, each with its source.

    Parameters
    ----------
    text : str
        CSV with a header line; lines that start with ``#`` are remarks.
    where : str
        Name of the file, for messages.

    Raises
    ------
    ReferenceDataError
        When a row has no source or the wrong number of cells.
    """
    header: list[str] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line or line.startswith("#"):
            continue
        cells = _cells(line, f"{where}:{number}")
        if not header:
            header = cells
            continue
        yield _row(header, cells, f"{where}:{number}")


def _cells(line: str, where: str) -> list[str]:
    try:
        (cells,) = csv.reader([line], strict=True)
    except csv.Error as error:
        raise ReferenceDataError.of(where, f"cannot be read as CSV: {error}", line) from error
    return [cell.strip() for cell in cells]


def _row(header: list[str], cells: list[str], where: str) -> Row:
    if len(cells) != len(header):
        why = f"has {len(cells)} cells where the header has {len(header)}"
        raise ReferenceDataError.of(where, why)
    row = Row(cells=dict(zip(header, cells, strict=True)), where=where)
    if not row.get("source"):
        raise ReferenceDataError.of(where, "has no source; fill in the column 'source'")
    return row
