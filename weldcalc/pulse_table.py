"""Every pulse of a schedule as a table: for a programmable laser, or for a look at the taper."""

from __future__ import annotations

import errno
import math
import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen

from weldcalc.passes.estimate import PassEstimate
from weldcalc.passes.taper import end_ramp
from weldcalc.prediction import Estimate, estimate
from weldcalc.qualification.table import table_text
from weldcalc.whole_files import write_whole

if TYPE_CHECKING:
    from weldcalc.schedule import Schedule

_DIGITS = 7  # significant; finer than any laser can be set
_ROUND = "angle [deg]"
_STRAIGHT = "distance [mm]"


@frozen
class PulseTable:
    """Pulses of all passes in the order of welding.

    Parameters
    ----------
    headings : tuple of str
        With units.
    rows : tuple of tuple
        Pass name, number of the pulse in its pass from 1, angle or distance, energy, peak power,
        time since the first pulse of the schedule; to every digit.
    """

    headings: tuple[str, ...]
    rows: tuple[tuple[str | float, ...], ...]

    def to_csv(self) -> str:
        """Return the table as CSV, rounded; a pass name cannot act as a spreadsheet formula."""
        return table_text(self.headings, ([_short(cell) for cell in row] for row in self.rows))


def pulse_table(
    schedule: Schedule, taper: bool = True, *, made: Estimate | None = None
) -> PulseTable:
    """Return every pulse of a schedule.

    Parameters
    ----------
    schedule : Schedule
        With at least one pass.
    taper : bool, optional
        Whether the energy is lowered so that penetration holds as the seam warms up, and runs
        down over the last pulses of a closed turn.
    made : Estimate, optional
        Estimate of this schedule, where there is one already.

    Returns
    -------
    PulseTable

    Raises
    ------
    InputError
        When the schedule cannot be computed.
    """
    result = estimate(schedule) if made is None else made
    along = _ROUND if schedule.joint.is_round else _STRAIGHT
    headings = ("pass", "pulse", along, "energy [J]", "peak power [W]", "time [s]")
    rows = [row for one in result.passes for row in _rows(one, taper)]
    return PulseTable(headings=headings, rows=tuple(rows))


def write_pulse_table(
    schedule: Schedule, output: Path, taper: bool = True, *, made: Estimate | None = None
) -> Path:
    """Write every pulse of a schedule as CSV.

    Parameters
    ----------
    schedule : Schedule
        With at least one pass.
    output : pathlib.Path
        File to write; one that exists is not overwritten.
    taper : bool, optional
        As for `pulse_table`.
    made : Estimate, optional
        Estimate of this schedule, where there is one already.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    InputError
        When the schedule cannot be computed.
    FileExistsError
        When the file exists.
    """
    if os.path.lexists(output):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(output))
    return write_whole(output, pulse_table(schedule, taper, made=made).to_csv())


def _rows(one: PassEstimate, taper: bool) -> list[tuple[str | float, ...]]:
    history = one.seam.tapered if taper and one.seam.tapered is not None else one.history
    factors = history.energy_factor
    if taper:
        factors = factors * end_ramp(pulses=len(factors), overlap=one.seam.ramp)
    angle = one.seam.angle
    along = 1e3 * history.place if angle is None else np.degrees(angle)
    return [
        (one.name, number + 1, *map(float, row))
        for number, row in enumerate(
            zip(
                along,
                one.pulse_energy * factors,
                one.peak_power * factors,
                history.time,
                strict=True,
            )
        )
    ]


def _short(value: str | float) -> str | float:
    return float(f"{value:.{_DIGITS}g}") if isinstance(value, float) else value


def rounding(value: float) -> float:
    """Return the most by which a number of the table may be off in its CSV: half its last digit."""
    return 0.5 * 10.0 ** (math.floor(math.log10(abs(value))) + 1 - _DIGITS) if value else 0.0
