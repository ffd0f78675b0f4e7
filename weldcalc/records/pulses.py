"""The pulse table in a record folder against the one computed anew from the record's inputs."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from pathlib import Path

from weldcalc.errors import InputError
from weldcalc.pulse_table import PulseTable, rounding
from weldcalc.qualification.table import guarded
from weldcalc.records.differences import ABSOLUTE, Difference, how_much
from weldcalc.records.files import PULSES_NAME, read_inside, text_of


def pulse_differences(folder: Path, computed: PulseTable, tolerance: float) -> list[Difference]:
    """Return every cell of the pulse table in a record folder that did not come out the same.

    Parameters
    ----------
    folder : Path
        The record folder, with a pulse table.
    computed : PulseTable
        Of the record's inputs.
    tolerance : float
        By which a number may be off besides its rounding, as a share of it [-].

    Returns
    -------
    list of Difference
        One for the whole table where it cannot be read or has other headings or another length.
    """
    try:
        headings, *rows = _rows(folder) or [[]]
    except InputError as error:
        return [Difference(PULSES_NAME, None, None, error.problems[0].why)]
    wanted = [guarded(heading) for heading in computed.headings]
    if headings != wanted:
        how = f"has to begin with {', '.join(wanted)}"
        return [Difference(PULSES_NAME, ", ".join(headings), ", ".join(wanted), how)]
    if len(rows) != len(computed.rows):
        found, made = len(rows), len(computed.rows)
        return [Difference(f"{PULSES_NAME}: pulses", found, made, how_much(found, made))]
    return list(_cells(rows, computed, tolerance))


def _rows(folder: Path) -> list[list[str]]:
    text = text_of(read_inside(folder, PULSES_NAME), PULSES_NAME)
    try:
        return list(csv.reader(io.StringIO(text)))
    except csv.Error as error:
        raise InputError.of(PULSES_NAME, f"is no table: {error}") from None


def _cells(
    rows: Sequence[Sequence[str]], computed: PulseTable, tolerance: float
) -> Iterator[Difference]:
    for row, made in zip(rows, computed.rows, strict=True):
        where = f"{PULSES_NAME}[{made[0]}, pulse {made[1]}]"
        if len(row) != len(made):
            yield Difference(where, ", ".join(row), None, f"has {len(row)} cells, not {len(made)}")
            continue
        for heading, cell, value in zip(computed.headings, row, made, strict=True):
            found = _as_written(cell, value)
            if not _is_same(found, value, tolerance):
                yield Difference(f"{where}.{heading}", found, value, _how(found, value))


def _as_written(cell: str, like: str | float) -> str | float:
    """Return the number in a cell where there has to be one; the text where there is none."""
    try:
        found = float(cell)
    except ValueError:
        return cell
    return cell if isinstance(like, str) or not math.isfinite(found) else found


def _is_same(found: str | float, value: str | float, tolerance: float) -> bool:
    if isinstance(found, str) or isinstance(value, str):
        return isinstance(value, str) and found == guarded(value)
    return abs(found - value) <= rounding(value) + tolerance * abs(value) + ABSOLUTE


def _how(found: str | float, value: str | float) -> str:
    if isinstance(found, str) or isinstance(value, str):
        return f'"{found}" in the record, "{value}" recomputed'
    return how_much(found, value)
