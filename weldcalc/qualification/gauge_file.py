"""A gauge study typed at the bench: the same sections read several times by several people."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.errors import Problems
from weldcalc.qualification.coupons import MEASURED
from weldcalc.qualification.table import Column, TableRow, raise_by_line, read_file, read_table

_TEXTS = ("appraiser", "part", "trial")


@frozen(eq=False)
class GaugeReadings:
    """Readings of one feature.

    Parameters
    ----------
    feature : str
        Key of the field table.
    readings : ndarray, shape (appraisers, trials, parts)
        As `weldcalc.qualification.gauge.gauge_study` takes them [SI].
    appraisers, parts : tuple of str
        In the order of the file.
    """

    feature: str
    readings: NDArray[np.float64]
    appraisers: tuple[str, ...]
    parts: tuple[str, ...]


def read_gauge_readings(path: Path) -> GaugeReadings:
    """Read a gauge study.

    Parameters
    ----------
    path : pathlib.Path
        CSV, UTF-8, cells separated by commas: appraiser, part, trial, and one measured column of
        the coupon list with its unit, such as "penetration [mm]". Every appraiser reads every part
        equally often.

    Returns
    -------
    GaugeReadings
        In SI.

    Raises
    ------
    InputError
        With every problem of the file, readings that are missing or stand twice included.
    """
    problems, name = Problems(), path.name
    columns = {key: Column("text", required=True) for key in _TEXTS}
    columns |= {key: Column("quantity", field=key) for key in MEASURED}
    rows = read_table(read_file(path), name=name, columns=columns, problems=problems)
    features = sorted({key for row in rows for key in row.numbers})
    if len(features) != 1 and not problems.found:
        why = "give exactly one measured column, such as penetration [mm]"
        problems.add(name, why, ", ".join(features) or None)
    raise_by_line(problems)
    people, trials, parts = (
        tuple(dict.fromkeys(row.texts[key] for row in rows))
        for key in ("appraiser", "trial", "part")
    )
    sizes = (len(people), len(trials), len(parts))
    readings = np.full(sizes, np.nan)
    _fill_in(readings, rows, features[0], (people, trials, parts), name, problems)
    if min(sizes) < 2:
        why = (
            f"appraisers: {sizes[0]}, trials: {sizes[1]}, parts: {sizes[2]}; at least two of each "
            "are needed to tell their scatter apart"
        )
        problems.add(name, why)
    problems.raise_if_any()
    return GaugeReadings(feature=features[0], readings=readings, appraisers=people, parts=parts)


def _fill_in(
    readings: NDArray[np.float64],
    rows: Sequence[TableRow],
    feature: str,
    names: tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]],
    name: str,
    problems: Problems,
) -> None:
    people, trials, parts = names
    for row in rows:
        place = (
            people.index(row.texts["appraiser"]),
            trials.index(row.texts["trial"]),
            parts.index(row.texts["part"]),
        )
        if not np.isnan(readings[place]):
            problems.add(f"{name}, line {row.line}", "this reading stands twice; keep one")
        if feature in row.numbers:
            readings[place] = row.numbers[feature]
    for person, trial, part in np.argwhere(np.isnan(readings)).tolist():
        why = f"appraiser {people[person]}, trial {trials[trial]}, part {parts[part]}: no reading"
        problems.add(name, why)
