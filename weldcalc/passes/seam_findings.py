"""What the warmth along the seam means for the person who has to weld it."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from weldcalc.fields import percent, show
from weldcalc.findings import Finding
from weldcalc.heatflow.seam import SeamBody
from weldcalc.passes.pair import CoverOnRoot
from weldcalc.passes.seam_cooling import pause_needed
from weldcalc.passes.seam_history import PassHistory, SeamPlan, begins_anew

if TYPE_CHECKING:
    from weldcalc.passes.estimate import PassEstimate
    from weldcalc.passes.seam import PassSeam
    from weldcalc.schedule import Schedule

NOTICED = 0.03  # growth along the seam from which a taper is proposed
WORST_ERROR = 0.03  # of the straight lines between engine runs


def seam_findings(
    schedule: Schedule, number: int, made: PassEstimate, body: SeamBody
) -> Iterator[Finding]:
    """Yield the findings on how a pass changes along the seam.

    Parameters
    ----------
    schedule : Schedule
        Gives passes and goals.
    number : int
        Which pass.
    made : PassEstimate
        Its results.
    body : SeamBody
        What the heat of the seam runs into.
    """
    yield from _level_findings(made.seam)
    yield from _error_findings(made.seam)
    yield from _crossing_findings(made, body)
    if not number and schedule.passes[0].pause_before:
        yield Finding(
            "note",
            "pause-before-first",
            "pause_before of the first pass has no effect: nothing is warm yet",
            "give it at the pass that has to wait",
        )
    if number and begins_anew(schedule, number):
        yield Finding(
            "note",
            "heat-not-carried",
            f"the pass starts at the typed preheat of {show(made.seam_preheat[0], 'preheat')}: "
            "heat left by earlier passes is not added",
            "leave preheat out and give pause_before to have it worked out",
        )


def _level_findings(seam: PassSeam) -> Iterator[Finding]:
    if seam.too_hot:
        yield Finding(
            "stop",
            "seam-near-melting",
            "heat builds up until the seam is at "
            f"{show(float(seam.history.preheat.max()), 'preheat')} before a pulse: "
            "results along it are no longer valid",
            "lower the repetition rate, pause between segments, or lower the energy",
            "computed, no heat lost to the gas",
        )
    if seam.level is None or seam.tapered is None:
        return
    values = getattr(seam.history, seam.level.name)
    least, most = _ends(values)
    if least <= 0 or most / least - 1 < NOTICED:
        return
    words = seam.level.name.replace("_", " ")
    lowered = float(1 - seam.tapered.energy_factor.min())
    yield Finding(
        "caution",
        "seam-grows",
        f"as the seam warms from {show(_ends(seam.history.preheat), 'seam_preheat')}, the {words} "
        f"grows by {percent(most / least - 1)} at constant energy",
        f"lower the energy along the seam by up to {percent(lowered, 1)}, as in the pulse table",
        "computed, no heat lost to the gas",
    )


def _ends(values: object) -> tuple[float, float]:
    return float(np.min(np.asarray(values))), float(np.max(np.asarray(values)))


def _error_findings(seam: PassSeam) -> Iterator[Finding]:
    worst = max(seam.error, key=lambda name: abs(seam.error[name]))
    if abs(seam.error[worst]) > WORST_ERROR:
        yield Finding(
            "note",
            "seam-interpolation",
            f"along the seam the {worst.replace('_', ' ')} is interpolated between engine runs "
            f"and off by up to {percent(abs(seam.error[worst]))}",
            "judge the seam by its first and hottest pulse, which are computed",
            "measured by a run between the others",
        )


def _crossing_findings(made: PassEstimate, body: SeamBody) -> Iterator[Finding]:
    """Yield a remark where the pulse reaches the next one before its heat crosses the wall."""
    crossing = made.thickness**2 / (4 * body.diffusivity)
    if 1 / made.repetition_rate < crossing:
        yield Finding(
            "note",
            "rate-against-wall",
            f"at {show(made.repetition_rate, 'repetition_rate')} heat has not crossed the wall "
            "before the next pulse: the preheat of the face is higher than stated",
            "take the penetration along the seam as a lower bound",
            "heat takes h2 / 4a to cross a wall",
        )


def part_findings(
    schedule: Schedule, number: int, plan: SeamPlan, histories: tuple[PassHistory, ...]
) -> Iterator[Finding]:
    """Yield a finding where the part gets warmer than its goal allows, with the pause to make.

    Parameters
    ----------
    schedule : Schedule
        Gives the goal.
    number : int
        Which pass.
    plan : SeamPlan
        All pulses in their order.
    histories : tuple of PassHistory
        Of all passes.
    """
    allowed = schedule.goal.part_temperature
    hottest = float(histories[number].part_temperature.max())
    if allowed is None or hottest <= allowed:
        return
    yield Finding(
        "stop",
        "part-too-hot",
        f"beside the seam the part reaches {show(hottest, 'peak_part_temperature')}; "
        f"{show(allowed, 'goal.part_temperature')} is allowed",
        _cooling_remedy(schedule, number, plan, histories, allowed),
        "computed, no heat lost to the gas",
    )


def _cooling_remedy(
    schedule: Schedule,
    number: int,
    plan: SeamPlan,
    histories: tuple[PassHistory, ...],
    allowed: float,
) -> str:
    name = schedule.passes[number].name
    pause = pause_needed(plan, histories, number, allowed) if number else None
    if pause is not None:
        earlier = schedule.passes[number].pause_before
        return f"wait {ceil(earlier + pause)} s before the {name} pass (pause_before)"
    start = plan.starts[number]
    own = _own_rise(plan, histories, number)
    if allowed <= start:
        return "let the part cool before it is welded"
    # with all times stretched alike every rise falls with their square root
    slower = min(((allowed - start) / own) ** 2, 1.0)
    return (
        f"run the {name} pass at {percent(slower)} of its repetition rate and travel speed, or "
        "pause between segments" + (" and before it" if number else "")
    )


def _own_rise(plan: SeamPlan, histories: tuple[PassHistory, ...], number: int) -> float:
    rows = plan.groups[number]
    firsts = plan.factors.first[rows] - plan.pulses[number].start
    return float((plan.factors.mean[rows, rows] @ histories[number].heat_left[firsts]).max())


def pair_findings(cover: CoverOnRoot) -> Iterator[Finding]:
    """Yield the findings on a later pass against the first one.

    Parameters
    ----------
    cover : CoverOnRoot
        From `weldcalc.passes.pair.covers_on_root`.
    """
    if not cover.covers:
        yield Finding(
            "caution",
            "root-not-covered",
            f"the fused zone reaches {show(cover.cover_margin, 'cover_margin')} past that of the "
            f"{cover.root} pass; {show(cover.wanted_margin, 'cover_margin')} would cover the "
            "scatter of the beam's place",
            "use a larger spot or more power, or aim better",
            "2 sigma of the beam offset of either pass",
        )
    if cover.melts_through:
        yield Finding(
            "caution",
            "cover-melts-through",
            f"on warm metal the {cover.name} pass melts the far side again "
            f"(depth {show(cover.remelt_depth, 'remelt_depth')})",
            f"lower its peak power, or wait longer after the {cover.root} pass",
            "computed",
        )
