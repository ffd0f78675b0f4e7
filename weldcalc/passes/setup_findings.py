"""What a schedule's own numbers already tell: limits of the laser, fit-up, closing of the seam."""

from __future__ import annotations

import math
from collections.abc import Iterator

from weldcalc.findings import Finding, sort_findings
from weldcalc.joint import COMMON_PRACTICE, Joint, fit_up_findings, reach_finding
from weldcalc.passes.focus import focus_findings
from weldcalc.quantities import show
from weldcalc.schedule import Laser, Schedule, WeldPass

_LIMITED = (
    ("peak_power", "peak_power_limit", "lower the peak power, or use a smaller spot"),
    ("pulse_energy", "pulse_energy_limit", "lower the peak power or shorten the pulse"),
    ("average_power", "average_power_limit", "lower the repetition rate and the travel speed"),
    ("repetition_rate", "repetition_rate_limit", "lower the repetition rate and the travel speed"),
)


def setup_findings(schedule: Schedule) -> tuple[Finding, ...]:
    """Return everything that can be said before any heat flow is computed.

    Parameters
    ----------
    schedule : Schedule
        Schedule with or without passes.

    Returns
    -------
    tuple of Finding
        The gravest first; `where` is the name of the pass, empty for the whole schedule.
    """
    found = [*fit_up_findings(schedule.joint), *_unknown_limits(schedule.laser)]
    found += focus_findings(schedule)
    for one in schedule.passes:
        found += laser_limit_findings(schedule.laser, one)
        found += closing_findings(schedule.joint, one)
        reach = reach_finding(
            schedule.joint,
            spot_diameter=one.spot_diameter,
            beam_offset=one.beam_offset,
            where=one.name,
        )
        found += [reach] if reach else []
    return sort_findings(found)


def laser_limit_findings(laser: Laser, weld_pass: WeldPass) -> tuple[Finding, ...]:
    """Return where a pass asks more of the laser than it can give.

    Parameters
    ----------
    laser : Laser
        Limits; what was not given is not judged.
    weld_pass : WeldPass
        Pass to check.

    Returns
    -------
    tuple of Finding
        The gravest first.
    """
    found = [
        *_over_limits(laser, weld_pass),
        *_duration_findings(laser, weld_pass),
        *_duty_findings(weld_pass),
    ]
    return sort_findings(found)


def _over_limits(laser: Laser, weld_pass: WeldPass) -> Iterator[Finding]:
    for key, limit_key, remedy in _LIMITED:
        value, limit = getattr(weld_pass, key), getattr(laser, limit_key)
        # a value typed as the limit itself may differ from it in the last digit
        if limit is not None and value > limit * (1 + 1e-12):
            words = key.replace("_", " ")
            yield Finding(
                "stop",
                limit_key.replace("_", "-"),
                f"the {words} of {show(value, key)} is above the {show(limit, limit_key)} that "
                "the laser can give",
                remedy,
                "limit as typed in [laser]",
                weld_pass.name,
            )


def _duration_findings(laser: Laser, weld_pass: WeldPass) -> Iterator[Finding]:
    if laser.pulse_duration_range is None:
        return
    low, high = laser.pulse_duration_range
    if not low * (1 - 1e-12) <= weld_pass.pulse_duration <= high * (1 + 1e-12):
        yield Finding(
            "stop",
            "pulse-duration-range",
            f"the pulse duration of {show(weld_pass.pulse_duration, 'pulse_duration')} is outside "
            f"{show((low, high), 'pulse_duration_range')}, the range of the laser",
            "choose a duration in that range",
            "range as typed in [laser]",
            weld_pass.name,
        )


def _duty_findings(weld_pass: WeldPass) -> Iterator[Finding]:
    duty = weld_pass.duty_cycle
    if duty > 1 + 1e-12:
        yield Finding(
            "stop",
            "duty-cycle",
            f"a pulse of {show(weld_pass.pulse_duration, 'pulse_duration')} is longer than the "
            f"time to the next one at {show(weld_pass.repetition_rate, 'repetition_rate')}: no "
            "such pulses exist",
            "shorten the pulse or lower the repetition rate",
            "arithmetic",
            weld_pass.name,
        )


def _unknown_limits(laser: Laser) -> Iterator[Finding]:
    keys = [limit_key for _, limit_key, _ in _LIMITED] + ["pulse_duration_range"]
    missing = [key.replace("_", " ") for key in keys if getattr(laser, key) is None]
    if missing:
        text = f"not checked against the laser, because not given: {', '.join(missing)}"
        yield Finding("note", "laser-limits-not-given", text, "give them in [laser]")


def closing_findings(joint: Joint, weld_pass: WeldPass) -> tuple[Finding, ...]:
    """Return whether a round seam is closed, and runs on over its start.

    Parameters
    ----------
    joint : Joint
        Joint; nothing is said about sheet.
    weld_pass : WeldPass
        Pass to check.

    Returns
    -------
    tuple of Finding
        At most one.
    """
    if not joint.is_round or weld_pass.arc is None:
        return ()
    welded = weld_pass.arc * weld_pass.segments
    if welded < math.tau * (1 - 1e-9):
        return (
            Finding(
                "caution",
                "seam-not-closed",
                f"{weld_pass.segments} x {show(weld_pass.arc, 'arc')} leave "
                f"{show(math.tau - welded, 'arc')} of the turn unwelded",
                "weld the whole turn if the seam has to be tight",
                "geometry",
                weld_pass.name,
            ),
        )
    if not weld_pass.closing_overlap and welded < math.tau * (1 + 1e-9):
        return (
            Finding(
                "caution",
                "no-closing-overlap",
                "the seam stops where it began: its end may leave a leak",
                "give closing_overlap, and prove it on coupons",
                f"{COMMON_PRACTICE}; no published figure for the overlap is known",
                weld_pass.name,
            ),
        )
    return ()
