"""The weld as a whole in few lines of text: energy along the seam, fit-up, tube and plate."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from weldcalc.passes.taper import END_RAMP
from weldcalc.quantities import show

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from weldcalc.passes.pair import CoverOnRoot
    from weldcalc.prediction import Estimate, PassEstimate

_ANGLES = np.radians([0.0, 45.0, 90.0, 180.0, 270.0, 360.0])
_SHARES = np.array([0.0, 0.25, 0.5, 0.75, 1.0])  # of a straight seam
_SAME = 1e-9


def energy_rows(result: Estimate) -> list[list[str]]:
    """Return the energy that keeps the weld level, in per cent of that typed.

    Parameters
    ----------
    result : Estimate
        What a schedule does.

    Returns
    -------
    list of list of str
        One row for each of a few places along the seam: the place, then one cell for each pass.
        Empty where no pass melts anything.
    """
    if all(one.seam.tapered is None for one in result.passes):
        return []
    joint = result.schedule.joint
    places = _ANGLES if joint.is_round else _SHARES * joint.weld_length
    return [
        [f"at {_shown(place, result)}", *(_energy_at(one, place) for one in result.passes)]
        for place in places.tolist()
    ]


def _shown(place: float, result: Estimate) -> str:
    is_round = result.schedule.joint.is_round
    return f"{np.degrees(place):.0f} deg" if is_round else f"{1e3 * place:.1f} mm"


def _along(one: PassEstimate) -> NDArray[np.float64]:
    return one.history.place if one.seam.angle is None else one.seam.angle


def _energy_at(one: PassEstimate, place: float) -> str:
    # the last pulse of a seam comes up to one pitch before its end
    along = _along(one)
    step = float(along[1] - along[0]) if len(along) > 1 else 0.0
    reach = float(along.max())
    if one.seam.tapered is None or place > (reach + step) * (1 + _SAME):
        return "-"
    there = np.flatnonzero(along >= min(place, reach) * (1 - _SAME))
    return f"{100 * float(one.seam.tapered.energy_factor[there[0]]):.1f} %"


def ramp_lines(result: Estimate) -> list[str]:
    """Return how the energy runs down where a turn closes, one line for each pass that has a ramp.

    Parameters
    ----------
    result : Estimate
        What a schedule does.
    """
    return [
        f"{one.name}: the last {one.seam.ramp} pulses, from "
        f"{_shown(float(_along(one)[-one.seam.ramp]), result)} on, run down evenly to "
        f"{100 * END_RAMP:.0f} %"
        for one in result.passes
        if one.seam.ramp
    ]


def pair_lines(result: Estimate) -> list[str]:
    """Return what each later pass does to the first one, and which pass sets what.

    Parameters
    ----------
    result : Estimate
        What a schedule does.
    """
    lines = [_pair(one) for one in result.covers]
    if lines:
        made = result.governs
        lines.append(
            f"fused width is set by {made.fusion_width}, the reach of the heat-affected metal by "
            f"{made.haz_width}, heat by {made.heat}; {show(made.heat_taken_up, 'heat_taken_up')} "
            "taken up in all"
        )
    return lines


def _pair(one: CoverOnRoot) -> str:
    past = show(abs(one.cover_margin), "cover_margin")
    reach = (
        f"reaches {past} past its edge"
        if one.cover_margin >= 0.0
        else f"stays {past} inside its edge"
    )
    through = "melts through again" if one.melts_through else "does not melt through"
    return (
        f"{one.name}: melts {show(one.remelt_depth, 'remelt_depth')} of {one.root} again and "
        f"{through}; {reach} on the narrower side, where the beam's scatter asks for "
        f"{show(one.wanted_margin, 'cover_margin')}"
    )


def gas_lines(result: Estimate) -> list[str]:
    """Return purge time and gas of the weld, one line each; empty where nothing was given.

    Parameters
    ----------
    result : Estimate
        What a schedule does.
    """
    made, lines = result.shielding, []
    if made.purge is not None and made.purge.time is not None:
        lines.append(
            f"purge at least {show(made.purge.time, 'purge_time')} "
            f"({show(made.purge.volume_changes, 'volume_changes')} volume changes) before the "
            "first pulse"
        )
    if made.use is not None:
        total = show(made.use.total, "gas_released")
        if made.smallest_room is None:
            lines.append(f"at least {total} let out; the smallest closed room is not known")
        else:
            room = show(made.smallest_room, "room_volume")
            words = f"it brings a closed room of {room} down to 19.5 % oxygen"
            lines.append(f"{total} let out in all; {words}")
    return lines


def fit_up_lines(result: Estimate) -> list[str]:
    """Return underfill and the gap of the tolerances, one line each; empty where neither is known.

    Parameters
    ----------
    result : Estimate
        What a schedule does.
    """
    made, lines = result.fit_up, []
    if made.fill is not None:
        depth = show(made.fill.below_higher_edge, "below_higher_edge")
        words = f"at the largest gap and mismatch the face lies {depth} below its higher edge"
        if made.underfill_limit is not None:
            words += (
                f"; the {show(made.underfill_limit, 'goal.underfill')} allowed holds up to a gap "
                f"of {show(made.largest_gap, 'largest_gap')}"
            )
        lines.append(words)
    if made.stack is not None:
        sums = {key: show(value, key) for key, value in made.sums().items()}
        lines.append(
            f"gap from the tolerances: 95 % of joints within {sums['gap_within_95']}, worst case "
            f"{sums['worst_gap']}, root of squares {sums['root_sum_square_gap']}"
        )
    return lines


def member_lines(result: Estimate) -> list[str]:
    """Return what either member takes of heat and melt, one line for each pass on a joint.

    Parameters
    ----------
    result : Estimate
        What a schedule does.
    """
    return [_members(one) for one in result.passes if one.absorbed_share and one.fused_area]


def _members(one: PassEstimate) -> str:
    shares, areas = one.absorbed_share or {}, one.fused_area or {}
    parts = [
        f"{name} {100 * share:.0f} % of the heat, {show(areas[name], 'fused_area')} fused"
        for name, share in shares.items()
    ]
    return f"{one.name}: {'; '.join(parts)}"
