"""The sizes of one pulse and nothing else: for batches of thousands, where each microsecond counts.

The same engine and the same numbers as `weldcalc.heatflow.spot.spot_pulse`, read from its field
in one go instead of outline by outline; a test holds the two against each other.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from attrs import evolve
from numpy.typing import NDArray

from weldcalc.heatflow.enthalpy import Melt, MetalTables
from weldcalc.heatflow.outlines import last_crossings
from weldcalc.heatflow.pulse_findings import ejection_speed, sinking_speed
from weldcalc.heatflow.spot_case import SpotCase, spot_case
from weldcalc.heatflow.spot_solve import solve_spot

Floats = NDArray[np.float64]

SHORTEST_COOLING = 3e-3  # s; the heat-affected outline is then complete for spots up to 1 mm
SIZES: Final = (
    "penetration",
    "joint_depth",
    "fusion_width",
    "fusion_length",
    "root_width",
    "haz_width",
    "fused_radius",
    "transmitted_share",
    "ejection_ratio",
    "heat_left",
)
"""Names of the sizes, in the order of `spot_sizes`."""


def spot_sizes(case: Mapping[str, Any]) -> Floats:
    """Compute one pulse on a sheet and return its sizes.

    Parameters
    ----------
    case : mapping
        Arguments of `spot_pulse` by name, with "material" and with "depth": how deep the joint
        has to be fused [m].

    Returns
    -------
    ndarray, shape (10,)
        In the order of `SIZES` (SI). "joint_depth" is how deep the joint is fused, here the
        penetration; "fusion_length" is that along the seam, here the width again;
        "fused_radius" the distance from the beam axis up to which
        the metal is fused from the face down to that depth [m]; "transmitted_share" the share of
        the beam that leaves through the far face [1]; "ejection_ratio" the speed at which
        the depression sinks over that at which melt is thrown out [1]; "heat_left" what the pulse
        leaves in the metal [J].

    Raises
    ------
    InputError
        When a value is outside what it can be.
    """
    settings = dict(case)
    depth = float(settings.pop("depth"))
    made = spot_case(**settings)
    # no size grows any more once the pulse has been over for as long as it lasted
    made = evolve(made, cooling=max(made.pulse_duration, SHORTEST_COOLING))
    solution = solve_spot(made)
    tables, field, totals = solution.tables, solution.field, solution.totals
    fused = tables.melting_enthalpy()
    radii = last_crossings(field.r, field.enthalpy, fused)
    depths = last_crossings(field.z, field.enthalpy[:, : _reached(radii, field.r)].T, fused)
    affected = last_crossings(
        field.r, field.enthalpy[:1], tables.enthalpy_at(made.material.haz_temperature)
    )
    deepest = float(depths.max(initial=0.0))
    return np.array(
        [
            deepest,
            deepest,
            2.0 * radii[0],
            2.0 * radii[0],
            2.0 * radii[-1],
            affected[0] - radii[0],
            _fused_radius(radii, field.z, depth),
            totals["transmitted"] / totals["incident"],
            ejection_ratio(made, tables, solution.melt, float(solution.history.absorptance.max())),
            totals["absorbed"] - totals["radiated"] - totals["evaporated"],
        ]
    )


def _reached(radii: Floats, r: Floats) -> int:
    """Return how many columns from the axis on may hold fused metal."""
    return int(np.searchsorted(r, radii.max(), side="right"))


def _fused_radius(radii: Floats, z: Floats, depth: float) -> float:
    # a share of a float's last digits must not make the far face seem deeper than it is
    wanted = min(depth, float(z[-1]))
    above = radii[z < wanted]
    return float(min(above.min(initial=np.inf), np.interp(wanted, z, radii)))


def ejection_ratio(case: SpotCase, tables: MetalTables, melt: Melt, absorptance: float) -> float:
    """Return the speed at which a depression sinks over that at which melt is thrown out [1].

    Parameters
    ----------
    case : SpotCase
        The pulse.
    tables : MetalTables
        The metal.
    melt : Melt
        Its levels for this pulse.
    absorptance : float
        Highest share of the beam taken up during the pulse [1].

    Notes
    -----
    See `weldcalc.heatflow.pulse_findings.ejection_speed`.
    """
    return sinking_speed(case, melt, absorptance) / ejection_speed(case, tables)
