"""What the computed pulse of a pass means for the goals, and how far it can be trusted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from attrs import evolve

from weldcalc.calibration_data import Calibration
from weldcalc.findings import Finding
from weldcalc.passes.joint_findings import joint_findings
from weldcalc.passes.pulse import joint_material
from weldcalc.quantities import show

if TYPE_CHECKING:
    from weldcalc.passes.estimate import PassEstimate
    from weldcalc.schedule import Schedule, WeldPass

SURE = 0.95  # chance below which a goal that is met is still called uncertain
ENOUGH_HAZ = 3  # coupons with a measured heat-affected width that count as a check of it
_MORE_POWER = frozenset(
    {
        "lack-of-penetration",
        "penetration-uncertain",
        "root-too-narrow",
        "root-scalloped",
        "root-not-closed",
    }
)
_LESS_POWER = frozenset({"blow-through", "melt-ejection"})
_LESS_SCATTER = "bring the scatter down (weldcalc tolerance ranks it)"
_COUPONS = "weld and section coupons to calibrate the prediction"
_SLOWER = "lower the travel speed to"
_OF_THE_COLDEST = ("not-melted", "member-not-melted")
_NO_HAZ_DATA = (
    "nothing published measured it on titanium seams; take it as a guess until coupons do"
)


def pass_findings(
    schedule: Schedule, made: PassEstimate, calibration: Calibration
) -> tuple[Finding, ...]:
    """Return the findings on the pulse of one pass and on its goals.

    Parameters
    ----------
    schedule : Schedule
        Gives the goals. Penetration and root width are asked of the first pass only; the
        others smooth.
    made : PassEstimate
        Its results, without findings.
    calibration : Calibration
        Says where its constants were fitted.
    """
    item = schedule.passes[schedule.pass_index(made.name)]
    found = [
        *_pulse_findings(made),
        *_validity_findings(schedule, item, calibration),
        *joint_findings(schedule, made),
        *_mode_findings(made),
        *_overlap_findings(schedule, made),
    ]
    if made.name == schedule.passes[0].name:
        found += [
            *_depth_findings(schedule, made, calibration),
            *_root_findings(schedule, made),
        ]
    found += _haz_findings(schedule, made)
    if calibration.haz_coupons < ENOUGH_HAZ:
        found.append(Finding("note", "haz-not-validated", f"heat-affected width: {_NO_HAZ_DATA}"))
    return tuple(_weighed(found, calibration))


def _weighed(found: Sequence[Finding], calibration: Calibration) -> Iterator[Finding]:
    """Yield findings of which none asks for more power where another asks for less."""
    pulls = (_MORE_POWER, _LESS_POWER)
    pulling = [[one for one in found if one.code in codes] for codes in pulls]
    stops = [any(one.weight == "stop" for one in side) for side in pulling]
    both = f"depth asks for more power, the depression for less: {_LESS_SCATTER}"
    both += f", {_COUPONS}," if calibration.is_shipped else ""
    both += " or choose another pulse (weldcalc draft)"
    for finding in found:
        side = next((n for n, codes in enumerate(pulls) if finding.code in codes), None)
        if side is None or not all(pulling) or stops[side] > stops[1 - side]:
            yield finding
        elif _SLOWER in finding.remedy:
            yield evolve(finding, remedy=finding.remedy[finding.remedy.index(_SLOWER) :])
        elif stops[1 - side] > stops[side]:
            yield evolve(finding, remedy="see to the stop first: it asks for the opposite")
        else:
            yield evolve(finding, remedy=both)


def _pulse_findings(made: PassEstimate) -> Iterator[Finding]:
    """Yield what the engine says: of the coldest pulse whether it melts, else of the hottest."""
    for finding in made.pulse.warnings:
        if finding.code in _OF_THE_COLDEST:
            yield finding
    known = {finding.code for finding in made.pulse.warnings}
    for finding in made.seam.hottest.warnings:
        if finding.code not in ("beyond-validity", *_OF_THE_COLDEST):
            warm = show(made.seam_preheat[1], "seam_preheat")
            only = "" if finding.code in known else f" (only once the seam is warm, at {warm})"
            yield evolve(finding, text=finding.text + only)


def _validity_findings(
    schedule: Schedule, item: WeldPass, calibration: Calibration
) -> Iterator[Finding]:
    name, wall = joint_material(schedule).name, schedule.joint.wall_thickness
    outside = calibration.outside(item, material=name, wall=wall)
    if outside:
        yield Finding(
            "caution",
            "beyond-validity",
            f"{'; '.join(outside)}: nothing measured backs the prediction, intervals are widened",
            "weld coupons, section them and calibrate",
            f"range of the pulses behind the model constants ({calibration.origin})",
        )


def _mode_findings(made: PassEstimate) -> Iterator[Finding]:
    near, threshold = made.other_mode.pulse, made.other_mode.threshold
    if near is None or threshold is None:
        return
    other = (
        f"{show(near.penetration, 'penetration')} depth and "
        f"{show(near.fusion_width, 'fusion_width')} width"
    )
    told = f"the pulse may also give {other}"
    if _alike(near.penetration, made.penetration) and _alike(near.fusion_width, made.fusion_width):
        told = "open or shut, depth and width come out alike"
    yield Finding(
        "caution",
        "near-keyhole-threshold",
        f"the keyhole opens at about {show(threshold, 'keyhole_irradiance')}, within a quarter of "
        f"the {show(made.mean_irradiance, 'mean_irradiance')} used: {told}",
        "move the irradiance at least a quarter away from the threshold, or section many coupons",
        "computed in both modes",
    )


def _alike(one: float, other: float) -> bool:
    """Tell whether two sizes are the same but for rounding."""
    return abs(one - other) <= 0.01 * max(one, other)


def _depth_findings(
    schedule: Schedule, made: PassEstimate, calibration: Calibration
) -> Iterator[Finding]:
    share = schedule.goal.penetration
    if share is None:
        return
    wanted = share * schedule.joint.wall_thickness
    if made.guaranteed_penetration < wanted * (1 - 1e-9):
        yield Finding(
            "stop",
            "lack-of-penetration",
            "between two pulses the weld reaches "
            f"{show(made.guaranteed_penetration, 'penetration')} of the "
            f"{show(wanted, 'penetration')} asked for",
            _slower_or(made, "raise the peak power"),
            "computed",
        )
        return
    chance = made.spread.chance_of_share(share)
    if chance < SURE:
        yield Finding(
            "caution",
            "penetration-uncertain",
            f"penetration is met in {100 * chance:.0f} % of the pulses drawn over model and shop "
            "scatter at the coldest place (this goal alone, in the middle of a pulse)",
            f"raise the peak power, or {_COUPONS if calibration.is_shipped else _LESS_SCATTER}",
            "computed",
        )


def _slower_or(made: PassEstimate, other: str) -> str:
    """Return a remedy: a speed where a smaller pitch is enough, else something else."""
    speed = made.largest_travel_speed
    if speed is None or speed >= made.travel_speed:
        return other
    return f"{other}, or {_SLOWER} {show(speed, 'travel_speed')} or less"


def _root_findings(schedule: Schedule, made: PassEstimate) -> Iterator[Finding]:
    wanted = schedule.goal.root_width
    if wanted is None or (schedule.goal.penetration or 1.0) < 1.0:
        return
    root, least = made.root_width or 0.0, made.least_root_width or 0.0
    if root < wanted * (1 - 1e-9):
        yield Finding(
            "stop",
            "root-too-narrow",
            f"the far side melts {show(root, 'root_width')} wide; "
            f"{show(wanted, 'root_width')} was asked for",
            "raise the peak power or the pulse duration",
            "computed",
        )
    elif least < wanted * (1 - 1e-9):
        yield Finding(
            "caution",
            "root-scalloped",
            f"between two pulses the root is {show(least, 'root_width')} wide; "
            f"{show(wanted, 'root_width')} was asked for",
            _slower_or(made, "raise the peak power"),
            "computed, round pools",
        )
    if made.root_overlap is not None and made.root_overlap < 0.0:
        yield Finding(
            "stop",
            "root-not-closed",
            "the melted spots on the far side do not touch each other: the root has gaps",
            _slower_or(made, "raise the peak power"),
            "computed",
        )


def _overlap_findings(schedule: Schedule, made: PassEstimate) -> Iterator[Finding]:
    wanted = schedule.goal.spot_overlap
    if wanted is not None and made.spot_overlap < wanted - 1e-9:
        speed = (1 - wanted) * made.spot_diameter * made.repetition_rate
        yield Finding(
            "stop",
            "overlap-below-goal",
            f"the spot overlap of {show(made.spot_overlap, 'spot_overlap')} is below the "
            f"{show(wanted, 'spot_overlap')} asked for",
            f"lower the travel speed to {show(speed, 'travel_speed')}, or raise the rate",
        )


def _haz_findings(schedule: Schedule, made: PassEstimate) -> Iterator[Finding]:
    wanted, widest = schedule.goal.haz_width, made.widest_haz_width
    if wanted is not None and widest > wanted * (1 + 1e-9):
        yield Finding(
            "stop",
            "haz-too-wide",
            f"the heat-affected width reaches {show(widest, 'haz_width')} each side "
            f"({made.pulse.haz_isotherm_name}), above the {show(wanted, 'haz_width')} allowed",
            "shorten the pulse and raise its power, or let the part cool between passes",
            "computed",
        )
