"""The instant answer of every pass as text: closed forms alone, with their wide intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldcalc.heatflow.instant import Answer, instant_estimate
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
    metal = joint_material(schedule)
    absorptivity, _ = metal.absorptivity(schedule.preparation.surface)
    rows = []
    for item in schedule.passes:
        made = instant_estimate(
            metal,
            peak_power=item.peak_power,
            pulse_duration=item.pulse_duration,
            spot_diameter=item.spot_diameter,
            thickness=schedule.joint.wall_thickness,
            profile=item.profile,
            preheat=item.preheat,
            absorptivity=absorptivity,
        )
        rows += [_row(item.name, key, getattr(made, key)) for key in _SIZES]
        rows.append([item.name, "mode", made.mode.value, f"{made.mode.low} to {made.mode.high}"])
    return table_text(["Pass", "Closed forms only", "value", "90 % interval"], rows)


def _row(name: str, key: str, answer: Answer[float]) -> list[str]:
    span = show((answer.low, answer.high), key)
    return [name, key.replace("_", " "), show(answer.value, key), span]
