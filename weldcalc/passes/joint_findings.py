"""What a pass on a joint section warns of: missed joint, uneven melting, fit-up, how it came."""

from __future__ import annotations

from collections.abc import Iterator
from math import expm1
from typing import TYPE_CHECKING

from attrs import evolve

from weldcalc.fields import percent, show
from weldcalc.findings import Finding
from weldcalc.passes.joint import SectionPulse
from weldcalc.passes.ratio import CHECK_POWER, JointRatio

if TYPE_CHECKING:
    from weldcalc.passes.estimate import PassEstimate
    from weldcalc.schedule import Schedule

LEAST_SHARE = 0.25  # of the fused area in either member; a convention, no source
LARGE_ERROR = 0.10  # of the ratio method, from which it is a caution
_FROM_WORST_FIT = ("gap-not-bridged", "beam-misses-metal", "member-not-melted")


def joint_findings(schedule: Schedule, made: PassEstimate) -> Iterator[Finding]:
    """Yield the findings on a pass that was computed on the section of its joint.

    Parameters
    ----------
    schedule : Schedule
        Gives joint, fit-up and goals.
    made : PassEstimate
        Its results; nothing is yielded for one of the axisymmetric engine.
    """
    pulse, ratio = made.pulse, made.seam.ratio
    if ratio is None or not isinstance(pulse, SectionPulse):
        return
    yield from _missed(pulse)
    yield from _uneven(made, pulse)
    yield from _edge(schedule, made)
    yield from _fit(schedule, made, pulse)
    yield _method(ratio)


def _missed(pulse: SectionPulse) -> Iterator[Finding]:
    if pulse.penetration > 0.0 or sum(pulse.section.fused_area) <= 0.0:
        return
    yield Finding(
        "stop",
        "joint-missed",
        "the pulse melts metal but not the joint line: the members are not joined",
        "move the beam to the joint line, or widen the spot",
        "computed",
    )


def _uneven(made: PassEstimate, pulse: SectionPulse) -> Iterator[Finding]:
    areas = made.fused_area or {}
    whole = sum(areas.values())
    if len(areas) < 2 or whole <= 0.0:
        return
    small, large = sorted(areas, key=lambda name: areas[name])
    if areas[small] <= 0.0 or areas[small] >= LEAST_SHARE * whole:
        return
    # a beam moved aside carries its depth times the way from one member to the other
    depth = max(pulse.section.member_penetration)
    aside = 0.5 * (areas[large] - areas[small]) / depth
    yield Finding(
        "caution",
        "melting-uneven",
        f"{percent(areas[small] / whole)} of the fused area lies in the {small}, the rest in the "
        f"{large}: a small error of the beam's place leaves the {small} unfused",
        f"move the beam about {show(aside, 'beam_offset')} towards the {small} (beam_offset is "
        "positive towards the second member or plate)",
        f"less than {percent(LEAST_SHARE)} in one member: a convention, no source",
    )


def _edge(schedule: Schedule, made: PassEstimate) -> Iterator[Finding]:
    """Yield a finding where the end of a tube melts through to its bore."""
    hottest = made.seam.hottest
    outline = hottest.fusion_outline
    if schedule.joint.form != "flush" or not len(outline):
        return
    if float(outline[:, 0].min()) > -schedule.joint.wall_thickness * (1.0 - 1e-6):
        return
    yield Finding(
        "caution",
        "bore-edge-melted",
        "the whole wall melts at the end of the tube, to its bore: the edge rounds off and the "
        "bore narrows",
        "move the beam towards the plate, shorten the pulse or narrow the spot",
        "computed, hottest pulse",
    )


def _fit(schedule: Schedule, made: PassEstimate, pulse: SectionPulse) -> Iterator[Finding]:
    if made.fits is None:
        return
    nominal, worst = made.fits
    known = {finding.code for finding in pulse.warnings}
    gap = show(schedule.joint.gap or 0.0, "gap")
    step = show(schedule.joint.mismatch or 0.0, "mismatch")
    for finding in worst.warnings:
        if finding.code in _FROM_WORST_FIT and finding.code not in known:
            yield evolve(finding, text=f"at the largest gap and mismatch, {finding.text}")
    if nominal.penetration <= 0.0:
        return
    left = pulse.penetration * worst.penetration / nominal.penetration
    wanted = (schedule.goal.penetration or 0.0) * schedule.joint.wall_thickness
    asked = made.name == schedule.passes[0].name and wanted > 0.0
    short = asked and left < wanted * (1.0 - 1e-9) <= made.guaranteed_penetration
    yield Finding(
        "caution" if short else "note",
        "fit-up-is-nominal",
        f"numbers are for closed and level members; at a gap of {gap} and a mismatch of {step} "
        f"the joint fuses over {show(left, 'penetration')}, not "
        f"{show(pulse.penetration, 'penetration')}",
        "fit the members closer, or raise the peak power" if short else "",
        "computed on coarse cells, both alike",
    )


def _method(ratio: JointRatio) -> Finding:
    depth, width, heated = (
        expm1(ratio.spread(name)) for name in ("depth", "fusion_width", "haz_width")
    )
    large = max(depth, width) > LARGE_ERROR
    return Finding(
        "caution" if large else "note",
        "joint-by-ratio",
        "only the coldest and the hottest pulse are computed on the joint itself; the others are "
        f"scaled from a sheet, which adds {percent(depth)} to the spread of depth, "
        f"{percent(width)} of width, {percent(heated)} of heat-affected width (one sigma, "
        "counted in)",
        "judge by the first and the hottest pulse; section coupons across both members"
        if large
        else "",
        f"runs of the 3-D engine, one of them on this joint at {percent(CHECK_POWER)} of the power",
    )
