"""Pulses on a joint's own cross-section: where the axisymmetric engine does not apply."""

from __future__ import annotations

from collections.abc import Mapping
from math import cos, sqrt
from typing import Any, Final

import numpy as np
from attrs import evolve
from numpy.typing import ArrayLike, NDArray

from weldcalc.calibration_data import calibration_for
from weldcalc.heatflow.constants import ModelConstants
from weldcalc.heatflow.enthalpy import melt_levels, metal_tables
from weldcalc.heatflow.section import section_pulse
from weldcalc.heatflow.section_result import SectionResult
from weldcalc.heatflow.spot_case import spot_case
from weldcalc.heatflow.spot_sizes import SIZES, ejection_ratio
from weldcalc.materials import Material
from weldcalc.passes.joint import STANDS_STILL
from weldcalc.passes.pulse import flat_absorptance, plate_material, surface_ratio
from weldcalc.passes.seam_shape import ellipsoid_depth
from weldcalc.tolerances.scatter import PassScatter, Pulses

Floats = NDArray[np.float64]

_OWN: Final = (
    "peak_power",
    "pulse_duration",
    "spot_diameter",
    "profile",
    "pulse_shape",
    "preheat",
    "absorptivity",
    "constants",
    "grid",
    "beam_offset",
    "beam_angle",
    "travel_speed",
)


def section_pulses(
    scatter: PassScatter,
    normals: Floats,
    *,
    shifts: Mapping[str, float] | None = None,
    preheat: float | None = None,
    cells: float | None = None,
) -> Pulses:
    """Return the pulses of draws on the section that each draw makes of the joint.

    Parameters
    ----------
    scatter : PassScatter
        The pass and its scatter.
    normals : ndarray, shape (n, k)
        As for `PassScatter.pulses`.
    shifts, preheat : optional
        As for `PassScatter.pulses`.
    cells : float, optional
        Cells across the spot or the wall, whichever is less; None takes the engine's own.

    Returns
    -------
    Pulses
        Gap and beam offset are in the sections: the distance is half a pitch.
    """
    made = scatter.pulses(normals, shifts=shifts, preheat=preheat)
    moved, none = scatter.moves(normals, shifts or {}), np.zeros(len(normals))
    joint, one = scatter.schedule.joint, scatter.weld_pass
    gaps = np.maximum((joint.gap or 0.0) + moved.get("gap", none), 0.0)
    offsets = one.beam_offset + moved.get("beam_offset", none)
    metals = section_metals(scatter)
    lights = [_plate_light(scatter, metals[1], case) for case in made.cases]
    travel = one.travel_speed * one.pulse_duration
    speed = one.travel_speed if travel >= STANDS_STILL * one.spot_diameter else 0.0
    cell = min(one.spot_diameter, joint.wall_thickness) / cells if cells else None
    cases = [
        {
            **case,
            "joint": evolve(
                joint, wall_thickness=case["depth"] / scatter.goal_depth_share, gap=float(gap)
            ),
            "plate": metals[1],
            "constants": (case["constants"], light[0]),
            "absorptivity": (case["absorptivity"], light[1]),
            "grid": cell,
            "beam_offset": float(offset),
            "beam_angle": one.beam_angle,
            "travel_speed": speed,
        }
        for case, gap, offset, light in zip(made.cases, gaps, offsets, lights, strict=True)
    ]
    return Pulses(cases, made.half_pitch, made.half_pitch)


def section_metals(scatter: PassScatter) -> tuple[Material, Material]:
    """Return the grades of both members; a butt joint has one."""
    if scatter.schedule.joint.type == "butt":
        return scatter.metal, scatter.metal
    return scatter.metal, plate_material(scatter.schedule)


def _plate_light(
    scatter: PassScatter, plate: Material, case: Mapping[str, Any]
) -> tuple[ModelConstants, float]:
    """Return constants and absorptivity of the plate beside those of the tube.

    The draws of the tube's constants are not those of another family: there the plate has its
    best fit and does not scatter.
    """
    same = plate.family == scatter.metal.family
    model = scatter.calibration if same else calibration_for(plate, None)
    surface = scatter.schedule.preparation.surface
    ratio, _ = surface_ratio(plate, surface, fitted_to=model.surface)
    if same:
        return case["constants"], min(case["absorptivity"] * ratio / scatter.ratio, 0.95)
    return model.mean, flat_absorptance(model.mean, ratio)


def section_sizes(case: Mapping[str, Any]) -> Floats:
    """Compute one pulse on a section and return its sizes.

    Parameters
    ----------
    case : mapping
        From `section_pulses`.

    Returns
    -------
    ndarray, shape (10,)
        In the order of `weldcalc.heatflow.spot_sizes.SIZES`. "joint_depth" is the length of
        the joint line along which both members are fused; where that is all of it, how far it
        would go on, the pool taken as half an ellipsoid. "fused_radius" is how far along the
        seam it is fused to the depth asked for, on half an ellipsoid of the pool's own length;
        "root_width" is zero while the far side of the section is solid.

    Raises
    ------
    InputError
        When a value is outside what it can be.
    """
    made = section_pulse(
        case["joint"],
        material=(case["material"], case["plate"]),
        **{key: case[key] for key in _OWN},
    )
    depth = _endless_depth(case, made)
    sizes = {
        "penetration": made.penetration,
        "joint_depth": depth,
        "fusion_width": made.fusion_width,
        "fusion_length": made.fusion_length,
        "root_width": made.root_width,
        "haz_width": made.haz_width,
        "fused_radius": float(ellipsoid_reach(made.fusion_length, depth, case["depth"])),
        "transmitted_share": made.transmitted_energy / made.incident_energy,
        "ejection_ratio": _ejection(case, made),
        "heat_left": made.absorbed_energy - made.lost_energy,
    }
    return np.array([sizes[name] for name in SIZES])


def _endless_depth(case: Mapping[str, Any], made: SectionResult) -> float:
    """Return how far the joint is fused, or would be if the joint line had no end [m]."""
    if not made.full_penetration or made.fusion_width <= 0.0:
        return made.joint_penetration
    end = made.joint_penetration
    top, root, wall = (np.array([x]) for x in (made.fusion_width, made.root_width, end))
    place = case["beam_offset"] * cos(case["beam_angle"])
    aside = min(abs(2.0 * place) / made.fusion_width, 1.0)
    deep = float(ellipsoid_depth(wall, top, root, wall)[0])
    return max(end, deep * sqrt(1.0 - aside**2))


def ellipsoid_reach(length: ArrayLike, depth: ArrayLike, wanted: ArrayLike) -> Floats:
    """Return how far from its middle half an ellipsoid reaches a depth.

    Parameters
    ----------
    length, depth : array_like, shape (n,)
        Of the half ellipsoid [m].
    wanted : array_like, shape (n,)
        Depth to be reached [m].

    Returns
    -------
    ndarray, shape (n,)
        [m]; 0 where the depth is not reached at all.

    Examples
    --------
    >>> ellipsoid_reach([2.0, 2.0], [1.0, 0.5], 0.6).tolist()
    [0.8, 0.0]
    """
    deep = np.maximum(np.asarray(depth, dtype=float), 1e-12)
    share = np.clip(1.0 - (np.asarray(wanted, dtype=float) / deep) ** 2, 0.0, 1.0)
    reach: Floats = 0.5 * np.asarray(length, dtype=float) * np.sqrt(share)
    return reach


def _ejection(case: Mapping[str, Any], made: SectionResult) -> float:
    keys = ("peak_power", "pulse_duration", "spot_diameter", "profile", "constants", "absorptivity")
    spot = spot_case(
        case["material"],
        thickness=case["joint"].wall_thickness,
        **{key: _of_tube(case[key]) for key in keys},
    )
    tables = metal_tables(spot.material)
    melt = melt_levels(
        tables, spot.constants, spot_diameter=spot.spot_diameter, absorptivity=spot.absorptivity
    )
    return ejection_ratio(spot, tables, melt, float(made.history.absorptance.max()))


def _of_tube(value: Any) -> Any:
    return value[0] if isinstance(value, tuple) else value
