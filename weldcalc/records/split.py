"""What a record holds of a tube in a plate: heat and melt of either over the beam's place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from weldcalc.fields import json_key, to_json

if TYPE_CHECKING:
    from weldcalc.heatflow.heat_split import HeatSplit
    from weldcalc.prediction import Estimate


def heat_splits(estimate: Estimate) -> list[dict[str, Any]]:
    """Return how each pass shares its heat between tube and plate as its beam moves.

    Parameters
    ----------
    estimate : Estimate
        Gives the schedule and the constants.

    Returns
    -------
    list of dict
        Of each pass, on a cold part: lists over beam offset, and the offset that is set; empty for
        a butt joint, whose members are alike.
    """
    schedule = estimate.schedule
    if schedule.joint.type != "tube-to-plate":
        return []
    from weldcalc.passes.split import pass_heat_split

    own = estimate.calibration.own
    return [
        {
            "pass": item.name,
            f"set_{json_key('beam_offset')}": to_json(item.beam_offset, "beam_offset"),
            **_lists(pass_heat_split(schedule, number, calibration=own)),
        }
        for number, item in enumerate(schedule.passes)
    ]


def _lists(made: HeatSplit) -> dict[str, list[float | None]]:
    lists = {
        json_key("beam_offset"): ("beam_offset", made.beam_offset),
        f"tube_{json_key('absorbed_share')}": ("absorbed_share", made.tube_share),
        f"plate_{json_key('absorbed_share')}": ("absorbed_share", made.plate_share),
        f"tube_{json_key('fused_area')}": ("fused_area", made.tube_area),
        f"plate_{json_key('fused_area')}": ("fused_area", made.plate_area),
    }
    return {name: [to_json(float(v), key) for v in values] for name, (key, values) in lists.items()}
