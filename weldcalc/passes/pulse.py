"""One pulse of a pass, as the engine takes it: settings, metal, surface, wall, constants."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypedDict

from attrs import evolve

from weldcalc.calibration_data import Calibration, calibration_for
from weldcalc.heatflow.constants import ModelConstants
from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.heatflow.spot import run_case
from weldcalc.heatflow.spot_case import spot_case
from weldcalc.materials import Material, material
from weldcalc.pulse_shape import ShapeSpec
from weldcalc.schedule import Schedule, WeldPass

# by then every pool is solid, and the seam's own heat flow takes over from the pulse's
_COOLING = (0.1, 1.0)  # s, least and most


class PulseSettings(TypedDict):
    """Keywords of `weldcalc.heatflow.spot.spot_pulse` (SI)."""

    peak_power: float
    pulse_duration: float
    spot_diameter: float
    thickness: float
    profile: str
    pulse_shape: ShapeSpec
    preheat: float
    absorptivity: float
    constants: ModelConstants


def joint_material(schedule: Schedule) -> Material:
    """Return the material of the tube or sheet.

    Raises
    ------
    InputError
        When the grade is unknown or its file cannot be used.
    """
    return _named(schedule, schedule.joint.material)


def plate_material(schedule: Schedule) -> Material:
    """Return the material of the plate; that of the tube where none is given."""
    return _named(schedule, schedule.joint.plate_material or schedule.joint.material)


def _named(schedule: Schedule, name: str) -> Material:
    return material(schedule.folder / name if name.endswith(".toml") else name)


def surface_ratio(metal: Material, surface: str, *, fitted_to: str = "") -> tuple[float, float]:
    """Return what a surface takes up relative to the one the model was fitted to, and its spread.

    The shipped constants are fitted to polished metal. The state of the surface scales their
    flat absorptance by the ratio of the two measured at room temperature, for the whole pulse: a
    melt forgets its surface, so the spread of the surface is carried along. A calibration made
    on the same surface needs no ratio and holds the spread of its coupons already.

    Parameters
    ----------
    metal : Material
        Grade.
    surface : str
        State of the surface that is welded.
    fitted_to : str, optional
        State of the surface of the shop's own coupons; empty for the shipped constants, whose
        published pulses were on polished metal.

    Returns
    -------
    tuple of (float, float)
        Ratio of the means [-], one standard deviation of the ratio relative to it [-].
    """
    mean, spread = metal.absorptivity(surface)
    if surface == fitted_to:
        return 1.0, 0.0
    fitted, _ = metal.absorptivity(fitted_to or "polished")
    return mean / fitted, spread / mean


def flat_absorptance(constants: ModelConstants, ratio: float) -> float:
    """Return the absorptance of the flat surface [-]; no surface takes up more than 0.95."""
    return min(constants.absorptance * ratio, 0.95)


def pulse_settings(
    schedule: Schedule,
    weld_pass: WeldPass,
    metal: Material,
    *,
    preheat: float | None = None,
    calibration: Calibration | None = None,
) -> PulseSettings:
    """Return the settings of a pulse of a pass with the best-fit constants.

    Parameters
    ----------
    schedule : Schedule
        Gives wall and surface.
    weld_pass : WeldPass
        Gives the pulse.
    metal : Material
        Grade of the wall.
    preheat : float, optional
        Temperature that the pulse finds [K]; None takes the preheat of the pass.
    calibration : Calibration, optional
        In place of the shipped constants.

    Raises
    ------
    InputError
        When the calibration does not belong to the metal.
    """
    model = calibration_for(metal, calibration)
    ratio, _ = surface_ratio(metal, schedule.preparation.surface, fitted_to=model.surface)
    return PulseSettings(
        peak_power=weld_pass.peak_power,
        pulse_duration=weld_pass.pulse_duration,
        spot_diameter=weld_pass.spot_diameter,
        thickness=schedule.joint.wall_thickness,
        profile=weld_pass.profile,
        pulse_shape=weld_pass.pulse_shape,
        preheat=weld_pass.preheat if preheat is None else preheat,
        absorptivity=flat_absorptance(model.mean, ratio),
        constants=model.mean,
    )


def cooling_followed(weld_pass: WeldPass) -> float:
    """Return how long after a pulse its cooling is followed: to the next pulse, within limits [s].

    What the faces lose later is left out of the heat that stays in the seam, as the whole seam's
    heat flow leaves such losses out.
    """
    least, most = _COOLING
    return min(max(1 / weld_pass.repetition_rate, least), most)


def run_pulse(metal: Material, settings: PulseSettings, *, cooling: float) -> PulseResult:
    """Run the engine on one pulse.

    Parameters
    ----------
    metal : Material
        Grade of the wall.
    settings : PulseSettings
        Of the pulse.
    cooling : float
        Longest time that is followed after the pulse [s].

    Raises
    ------
    InputError
        When a setting is outside what it can be.
    """
    return run_case(evolve(spot_case(metal, **settings), cooling=cooling))


def run_pulses(
    metal: Material, batch: Sequence[PulseSettings], *, cooling: float
) -> list[PulseResult]:
    """Run the engine on many pulses on all processors; the same results as one by one.

    Parameters
    ----------
    metal : Material
        Grade of the wall.
    batch : sequence of PulseSettings
        Of each pulse.
    cooling : float
        Longest time that is followed after a pulse [s].

    Raises
    ------
    InputError
        As `run_pulse`, for the first pulse that cannot be computed.
    """
    workers = os.cpu_count() or 1
    if workers == 1:
        return [run_pulse(metal, one, cooling=cooling) for one in batch]
    with ThreadPoolExecutor(max_workers=workers) as pool:
        return list(pool.map(lambda one: run_pulse(metal, one, cooling=cooling), batch))
