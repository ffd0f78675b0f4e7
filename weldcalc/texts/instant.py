"""The instant answer of every pass as text: closed forms alone, with their wide intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from weldcalc.fields import json_key, plain_name, to_json
from weldcalc.heatflow.instant import Answer, InstantEstimate, instant_estimate
from weldcalc.passes.pulse import joint_material
from weldcalc.quantities import show
from weldcalc.texts.estimates import table_text

if TYPE_CHECKING:
    from weldcalc.schedule import Schedule

_SIZES = ("penetration", "fusion_width", "haz_width")


def instant_text(schedule: Schedule) -> str:
    """Return a first look at every pass from closed forms, on a sheet of the wall's thickness.

    Parameters
    ----------
    schedule : Schedule
        With at least one pass.

    Raises
    ------
    InputError
        When the material is unknown or a value is outside what it can be.
    """
    rows = []
    for name, made in _answers(schedule):
        rows += [_row(name, key, getattr(made, key)) for key in _SIZES]
        rows.append([name, "mode", made.mode.value, f"{made.mode.low} to {made.mode.high}"])
    return table_text(["Pass", "Closed forms only", "value", "interval"], rows)


def instant_data(schedule: Schedule) -> dict[str, Any]:
    """Return the same as plain values whose keys carry the shown unit."""
    return {"engine": "closed forms", "passes": [_plain(*one) for one in _answers(schedule)]}


def _answers(schedule: Schedule) -> list[tuple[str, InstantEstimate]]:
    metal = joint_material(schedule)
    absorptivity, _ = metal.absorptivity(schedule.preparation.surface)
    return [
        (
            item.name,
            instant_estimate(
                metal,
                peak_power=item.peak_power,
                pulse_duration=item.pulse_duration,
                spot_diameter=item.spot_diameter,
                thickness=schedule.joint.wall_thickness,
                profile=item.profile,
                preheat=item.preheat,
                absorptivity=absorptivity,
            ),
        )
        for item in schedule.passes
    ]


def _plain(name: str, made: InstantEstimate) -> dict[str, Any]:
    found: dict[str, Any] = {"name": name}
    for key in _SIZES:
        answer = getattr(made, key)
        found[json_key(key)] = to_json(answer.value, key)
        found[json_key(f"{key}_interval")] = [
            to_json(end, key) for end in (answer.low, answer.high)
        ]
    return {**found, "mode": made.mode.value, "mode_interval": [made.mode.low, made.mode.high]}


def _row(name: str, key: str, answer: Answer[float]) -> list[str]:
    span = show((answer.low, answer.high), key)
    return [name, plain_name(key), show(answer.value, key), span]
