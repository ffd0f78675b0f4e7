"""Pulses on a joint's own cross-section: where the axisymmetric engine does not apply."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from attrs import evolve
from numpy.typing import ArrayLike, NDArray

from weldcalc.heatflow.enthalpy import melt_levels, metal_tables
from weldcalc.heatflow.section import section_pulse
from weldcalc.heatflow.section_result import SectionResult
from weldcalc.heatflow.spot_case import spot_case
from weldcalc.heatflow.spot_sizes import SIZES, ejection_ratio
from weldcalc.passes.pulse import plate_material
from weldcalc.tolerances.scatter import PassScatter, Pulses

Floats = NDArray[np.float64]

CELLS = 10.0  # across the spot or the wall, whichever is less: a third of the engine's own cost
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


def needs_section(scatter: PassScatter) -> bool:
    """Tell whether a pass needs the engine for cross-sections: a tube in a plate does."""
    return scatter.schedule.joint.type == "tube-to-plate"


def section_pulses(
    scatter: PassScatter,
    normals: Floats,
    *,
    shifts: Mapping[str, float] | None = None,
    preheat: float | None = None,
    grid: float | None = None,
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
    grid : float, optional
        Edge of the cells under the spot [m]; None takes a tenth of the spot or the wall.

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
    plate = plate_material(scatter.schedule)
    cell = grid or min(one.spot_diameter, joint.wall_thickness) / CELLS
    cases = [
        {
            **{key: value for key, value in case.items() if key != "thickness"},
            "joint": evolve(
                joint, wall_thickness=case["depth"] / scatter.goal_depth_share, gap=float(gap)
            ),
            "plate": plate,
            "grid": cell,
            "beam_offset": float(offset),
            "beam_angle": one.beam_angle,
            "travel_speed": one.travel_speed,
        }
        for case, gap, offset in zip(made.cases, gaps, offsets, strict=True)
    ]
    return Pulses(cases, made.half_pitch, made.half_pitch)


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
        the joint line along which both members are fused; "fused_radius" is how far along the
        seam it is fused to the depth asked for, the pool taken as half an ellipsoid of its own
        length;
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
    sizes = {
        "penetration": made.penetration,
        "joint_depth": made.joint_penetration,
        "fusion_width": made.fusion_width,
        "fusion_length": made.fusion_length,
        "root_width": made.root_width,
        "haz_width": made.haz_width,
        "fused_radius": float(
            ellipsoid_reach(made.fusion_length, made.joint_penetration, case["depth"])
        ),
        "transmitted_share": made.transmitted_energy / made.incident_energy,
        "ejection_ratio": _ejection(case, made),
        "heat_left": made.absorbed_energy - made.lost_energy,
    }
    return np.array([sizes[name] for name in SIZES])


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
        **{key: case[key] for key in keys},
    )
    tables = metal_tables(spot.material)
    melt = melt_levels(
        tables, spot.constants, spot_diameter=spot.spot_diameter, absorptivity=spot.absorptivity
    )
    return ejection_ratio(spot, tables, melt, float(made.history.absorptance.max()))
