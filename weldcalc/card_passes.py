"""What the set-up card says of each pass: settings as typed, what is expected, the pulse table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import frozen

from weldcalc.fields import percent
from weldcalc.passes.seam_history import begins_anew
from weldcalc.passes.taper import END_RAMP
from weldcalc.quantities import field, pretty_unit, show, to_shown

if TYPE_CHECKING:
    from weldcalc.passes.seam import PassSeam
    from weldcalc.prediction import Estimate
    from weldcalc.schedule import Schedule, WeldPass

NOT_GIVEN = "not given"

# settings in the order of the machine's panel; the first group is what spoils a part when wrong
MAIN = {
    "peak_power": "Peak power",
    "pulse_energy": "Pulse energy",
    "pulse_duration": "Pulse duration",
    "repetition_rate": "Repetition rate",
    "travel_speed": "Travel speed",
    "rotation": "Rotation",
    "spot_diameter": "Spot on the part",
}
OTHER = {
    "pulse_shape": "Pulse shape",
    "beam_offset": "Beam off the joint line",
    "beam_angle": "Beam angle, from upright",
    "arc": "Arc of a segment",
    "pause_before": "Pause before the pass",
    "segments": "Segments",
    "segment_pause": "Pause between segments",
    "closing_overlap": "Closing overlap",
    "preheat": "Part temperature at start",
}
_PREDICTED = {
    "penetration": "Penetration",
    "fusion_width": "Fused width on top",
    "root_width": "Fused width at the root",
    "spot_overlap": "Spot overlap",
    "root_overlap": "Root overlap",
    "weld_time": "Weld time",
}
_TO_PLATE = ", + to the plate"
_CONSTANT = "constant as typed"
_SAME = 5e-4  # of the energy; a taper that rounds to 100.0 % is none


@frozen
class Cell:
    """One setting of one pass: its text and whether the schedule's author typed it."""

    text: str
    typed: bool


@frozen
class Setting:
    """One line of the table of settings: its name and a cell for each pass."""

    name: str
    cells: tuple[Cell, ...]


def as_typed(typed: Mapping[str, Any], key: str, value: Any) -> str:
    """Return a value as typed where it was; no setting may be rounded on its way to the machine."""
    if key in typed:
        return _plain(typed[key])
    if value is None or isinstance(value, str):
        return value or NOT_GIVEN
    if isinstance(value, int):
        return str(value)
    number = to_shown(value, key)
    digits = f"{number:.4g}" if abs(number) < 1e4 else f"{number:.0f}"
    return pretty_unit(f"{digits} {field(key).shown_unit}")


def _plain(typed: Any) -> str:
    if isinstance(typed, list):  # corners of a pulse shape
        corners = (f"{100 * power:.4g} % at {100 * time:.4g} %" for time, power in typed)
        return "power " + ", ".join(corners) + " of the time"
    return pretty_unit(str(typed))


def settings(
    schedule: Schedule, names: Mapping[str, str], estimate: Estimate | None
) -> Iterator[Setting]:
    """Yield the settings that are named by their keys; those that apply to no pass are left out.

    Parameters
    ----------
    schedule : Schedule
        With at least one pass.
    names : mapping of str to str
        `MAIN` or `OTHER`.
    estimate : Estimate or None
        Says how warm the part is that a later pass finds.
    """
    for key, name in names.items():
        cells = tuple(_cell(schedule, number, key, estimate) for number in _numbers(schedule))
        if any(cell.text for cell in cells):
            towards = key == "beam_offset" and schedule.joint.type != "butt"
            yield Setting(name=name + _TO_PLATE if towards else name, cells=cells)


def without_defaults(table: tuple[Setting, ...]) -> tuple[tuple[Setting, ...], str]:
    """Return the lines of a table that somebody typed or that differ, and the others in words.

    The words save the height that the lines with blanks need.
    """
    told = [one for one in table if _is_told(one)]
    plain = [f"{one.name.lower()} {one.cells[0].text}" for one in table if one not in told]
    words = f"By default, in every pass: {'; '.join(plain)}." if plain else ""
    return tuple(told), words


def _is_told(one: Setting) -> bool:
    differs = len({cell.text for cell in one.cells}) > 1
    return differs or any(cell.typed for cell in one.cells) or one.name.endswith(_TO_PLATE)


def _numbers(schedule: Schedule) -> range:
    return range(len(schedule.passes))


def _cell(schedule: Schedule, number: int, key: str, estimate: Estimate | None) -> Cell:
    weld_pass, typed = schedule.passes[number], schedule.typed["pass"][number]
    if key == "preheat" and not begins_anew(schedule, number):
        return Cell(text=_start(weld_pass, number, estimate), typed=False)
    value = getattr(weld_pass, key)
    source = typed if key in typed or key != "spot_diameter" else schedule.typed.get("laser", {})
    idle = (key == "segment_pause" and weld_pass.segments == 1) or (
        key == "pause_before" and value == 0.0
    )
    if value is None or idle:
        return Cell(text="", typed=False)
    return Cell(text=as_typed(source, key, value), typed=key in source)


def _start(weld_pass: WeldPass, number: int, estimate: Estimate | None) -> str:
    """Return how warm the passes before leave the part."""
    pause = f"{weld_pass.pause_before:.4g} s"
    since = f"after {pause} pause" if weld_pass.pause_before else "without a pause"
    if estimate is None:
        return f"as the pass before leaves it, {since}"
    found = float(estimate.passes[number].history.part_temperature[0])
    return f"{show(found, 'part_temperature')} (computed, {since})"


def predicted(estimate: Estimate | None) -> Iterator[Setting]:
    """Yield what is expected of the passes, with the interval where there is one."""
    if estimate is None:
        return
    for key, name in _PREDICTED.items():
        values = [getattr(one, key) for one in estimate.passes]
        if any(value is not None for value in values):
            ends = [getattr(one, f"{key}_interval", None) for one in estimate.passes]
            told = (
                Cell(_expected(key, value, end), typed=False)
                for value, end in zip(values, ends, strict=True)
            )
            yield Setting(name=name, cells=tuple(told))


def _expected(key: str, value: float | None, ends: tuple[float, float] | None) -> str:
    if value is None:
        return "none"
    return show(value, key) + (f" ({show(ends, key)})" if ends is not None else "")


def energy_lines(estimate: Estimate | None) -> Iterator[tuple[str, str]]:
    """Yield, for each pass, its name and what the pulse table would do to its energy.

    Parameters
    ----------
    estimate : Estimate or None
        Without one there is no pulse table, and nothing is yielded.
    """
    for one in () if estimate is None else estimate.passes:
        yield one.name, f"{_CONSTANT}; the pulse table {_table_words(one.seam, one.pulses)}"


def _table_words(seam: PassSeam, pulses: int) -> str:
    """Return how far the energy comes down before the run-down and by its end."""
    factors = np.ones(pulses) if seam.tapered is None else seam.tapered.energy_factor
    least = float(factors[: pulses - seam.ramp].min())
    along = "leaves it so" if least > 1 - _SAME else f"lowers it to {percent(least, 1)}"
    if not seam.ramp:
        return f"{along} along the seam, without a run-down at the end"
    last = percent(END_RAMP * float(factors[-1]))
    return f"{along} along the seam and runs it down to {last} over the last {seam.ramp} pulses"
