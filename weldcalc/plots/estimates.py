"""The usual pictures of an estimate, each drawn from what the estimate already holds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Literal

import numpy as np

from weldcalc.plots.fit_up import gap_distribution
from weldcalc.plots.heat import part_temperature, round_the_joint
from weldcalc.plots.joint import Pool, joint_section
from weldcalc.plots.long import SeamPools, long_section
from weldcalc.plots.seam import pulse_train
from weldcalc.plots.style import Floats, Picture
from weldcalc.pulse_shape import PulseShape

if TYPE_CHECKING:
    from weldcalc.prediction import Estimate, PassEstimate
    from weldcalc.schedule import WeldPass


def estimate_section(estimate: Estimate) -> Picture:
    """Cross-section of the joint with the predicted outline of every pass.

    Parameters
    ----------
    estimate : Estimate
        What a schedule does.

    Returns
    -------
    Picture
        As `joint_section`.
    """
    pools = [
        _pool(weld_pass, one)
        for weld_pass, one in zip(estimate.schedule.passes, estimate.passes, strict=True)
    ]
    names = {
        f"{one.pulse.haz_isotherm_name}, {one.pulse.haz_temperature - 273.15:.0f} °C"
        for one in estimate.passes
    }
    return joint_section(estimate.schedule.joint, pools, haz_isotherm=" or ".join(sorted(names)))


def _pool(weld_pass: WeldPass, one: PassEstimate) -> Pool:
    return Pool(
        name=one.name,
        fused=one.pulse.fusion_outline,
        heat_affected=one.pulse.haz_outline,
        spot_diameter=one.spot_diameter,
        beam_offset=weld_pass.beam_offset,
        beam_angle=weld_pass.beam_angle,
        penetration=one.penetration,
        fusion_width=one.fusion_width,
        root_width=one.root_width,
        haz_width=one.haz_width,
        is_whole=one.engine == "section",
    )


def estimate_long_section(
    estimate: Estimate, *, depths: Mapping[str, Floats] | None = None
) -> Picture:
    """Unrolled section along the seam with the pools of every pass.

    Parameters
    ----------
    estimate : Estimate
        What a schedule does.
    depths : mapping of str to ndarray, shape (n,), optional
        Depth of each pool of a pass, by its name [m]; where it is not given every pool has the
        depth at the preheat of its pass.

    Returns
    -------
    Picture
        As `long_section`.
    """
    goal = estimate.schedule.goal.penetration
    wall = estimate.schedule.joint.wall_thickness
    pools = [
        SeamPools(
            name=one.name,
            positions=one.history.place,
            depths=(depths or {}).get(one.name, np.full(len(one.history.place), one.penetration)),
            outline=one.seam_outline,
            guaranteed_depth=one.guaranteed_penetration,
        )
        for one in estimate.passes
    ]
    return long_section(
        pools,
        wall_thickness=max(one.far_side for one in estimate.passes),
        goal_depth=None if goal is None else goal * wall,
    )


def estimate_part_temperature(estimate: Estimate) -> Picture:
    """Temperature of the part over all passes, with the most that the goal allows.

    Parameters
    ----------
    estimate : Estimate
        What a schedule does.

    Returns
    -------
    Picture
        As `part_temperature`.
    """
    return part_temperature(
        time=estimate.part_time,
        temperature=estimate.part_temperature,
        most=estimate.schedule.goal.part_temperature,
        pass_starts={one.name: float(one.history.time[0]) for one in estimate.passes},
    )


def estimate_pulse_trains(estimate: Estimate) -> list[Picture]:
    """Power against time of every pass, in the pulse shape of its schedule.

    Parameters
    ----------
    estimate : Estimate
        What a schedule does.

    Returns
    -------
    list of Picture
        As `pulse_train`, one for each pass.
    """
    return [
        pulse_train(one, shape=PulseShape.of(item.pulse_shape).corners)
        for item, one in zip(estimate.schedule.passes, estimate.passes, strict=True)
    ]


def estimate_round_the_joint(estimate: Estimate) -> list[Picture]:
    """Preheat and pool size against the angle, with and without the energy taper.

    Parameters
    ----------
    estimate : Estimate
        What a schedule does.

    Returns
    -------
    list of Picture
        As `round_the_joint`, one for each pass that goes round a tube: depth of the pools, or
        their far-side width where they go through the wall.
    """
    return [
        _round(estimate, one, one.seam.angle)
        for one in estimate.passes
        if one.seam.angle is not None
    ]


def _round(estimate: Estimate, one: PassEstimate, angle: Floats) -> Picture:
    tapered, level = one.seam.tapered, one.seam.level
    key: Literal["penetration", "root_width"] = "penetration"
    if level is not None and level.name == "root_width":
        key = "root_width"
    return round_the_joint(
        angle=angle,
        preheat=one.history.preheat,
        level=getattr(one.history, key),
        key=key,
        wall_thickness=one.far_side,
        tapered_preheat=None if tapered is None else tapered.preheat,
        tapered_level=None if tapered is None else getattr(tapered, key),
        goal=_goal_of(estimate, key) if one is estimate.passes[0] else None,
        name=one.name,
    )


def _goal_of(estimate: Estimate, key: str) -> float | None:
    goal, wall = estimate.schedule.goal, estimate.schedule.joint.wall_thickness
    if key == "root_width":
        return goal.root_width
    return None if goal.penetration is None else goal.penetration * wall


def estimate_fit_up(estimate: Estimate) -> list[Picture]:
    """Gap round the tube that the tolerances of faces and lengths make.

    Parameters
    ----------
    estimate : Estimate
        What a schedule does.

    Returns
    -------
    list of Picture
        As `gap_distribution`; empty where the schedule gives no such tolerances.
    """
    made, joint = estimate.fit_up, estimate.schedule.joint
    if made.stack is None:
        return []
    return [
        gap_distribution(
            made.stack.largest,
            sums=made.sums(),
            gap=joint.gap,
            share_above=made.share_above(joint.gap),
            allowed=made.largest_gap,
            bought=made.bought(),
            face_squareness=joint.face_squareness,
        )
    ]
