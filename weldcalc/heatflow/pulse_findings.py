"""What a pulse's numbers warn of: blow-through, melt ejection, leaving the checked range."""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING

from weldcalc.fields import percent
from weldcalc.findings import Finding
from weldcalc.heatflow.constants import fitted_constants
from weldcalc.heatflow.enthalpy import Melt, MetalTables
from weldcalc.heatflow.spot_case import SpotCase
from weldcalc.heatflow.spot_solve import SpotSolution

if TYPE_CHECKING:
    from weldcalc.heatflow.section_case import SectionCase

NOTICED = 0.001  # share of the beam through the far face from which it is reported
HOLE = 0.1  # share from which a hole is to be expected; a convention, no source
PROFILE_PEAK = {"top-hat": 1.0, "gaussian": 2.0}  # peak over mean irradiance


def pulse_findings(case: SpotCase, solution: SpotSolution) -> tuple[Finding, ...]:
    """Return the findings on one pulse.

    Parameters
    ----------
    case : SpotCase
        The pulse.
    solution : SpotSolution
        Its run.

    Returns
    -------
    tuple of Finding
    """
    found = (
        _not_melted(solution),
        blow_through_finding(solution.totals["transmitted"] / solution.totals["incident"]),
        ejection_finding(
            case, solution.tables, solution.melt, float(solution.history.absorptance.max())
        ),
    )
    box = fitted_constants(case.material.family).box
    outside = (
        Finding(
            weight="caution",
            code="beyond-validity",
            text=text,
            remedy="weld coupons and calibrate",
            source="published pulses that the model constants were fitted to",
        )
        for text in box.outside(case)
    )
    return (*(finding for finding in found if finding is not None), *outside)


def _not_melted(solution: SpotSolution) -> Finding | None:
    if solution.history.hottest.max() >= solution.tables.metal.liquidus:
        return None
    return Finding(
        weight="stop",
        code="not-melted",
        text="the pulse does not melt the metal",
        remedy="raise the peak power, lengthen the pulse or narrow the spot",
        source="computed",
    )


def blow_through_finding(through: float) -> Finding | None:
    """Return the finding on light that leaves through the far side; None where hardly any does.

    Parameters
    ----------
    through : float
        Share of the pulse that does [1].
    """
    if through < NOTICED:
        return None
    return Finding(
        weight="stop" if through > HOLE else "caution",
        code="blow-through",
        text=f"the depression opens the far side: {percent(through, 1)} of the beam goes through",
        remedy="lower the peak power, shorten the pulse or widen the spot",
        source="computed",
    )


def ejection_speed(case: SpotCase | SectionCase, tables: MetalTables) -> float:
    """Return the speed [m/s] at which a sinking depression throws melt out.

    Parameters
    ----------
    case : SpotCase or SectionCase
        The pulse: its spot sets the size.
    tables : MetalTables
        The metal.

    Returns
    -------
    float

    Notes
    -----
    A floor that sinks at v keeps a melt layer of thickness d = kappa / v. The melt it displaces
    leaves between floor and wall at v a / (2 d). It is thrown out when its kinetic pressure passes
    what surface tension holds over the layer, 2 sigma / d, so v^3 = 16 sigma kappa / (rho a^2).
    Derived here from continuity and capillarity; no published case in the data checks it.
    """
    metal = tables.metal
    k = float(metal.conductivity[-1])
    slope = (metal.temperature[-1] - metal.liquidus) / (
        tables.enthalpy[-1] - metal.liquidus_enthalpy
    )
    a = 0.5 * case.spot_diameter
    cube = 16.0 * tables.surface_tension * k * slope / (tables.density * a * a)
    return float(cube ** (1.0 / 3.0))


def sinking_speed(case: SpotCase | SectionCase, melt: Melt, absorptance: float) -> float:
    """Return how fast a depression sinks [m/s] where all absorbed power goes into its floor.

    Parameters
    ----------
    case : SpotCase or SectionCase
        The pulse.
    melt : Melt
        Its levels under this spot.
    absorptance : float
        Highest share of the beam taken up during the pulse [-].

    Returns
    -------
    float
    """
    irradiance = 4.0 * case.peak_power / (pi * case.spot_diameter**2) * PROFILE_PEAK[case.profile]
    return absorptance * irradiance / float(melt.pass_enthalpy)


def ejection_finding(
    case: SpotCase | SectionCase, tables: MetalTables, melt: Melt, absorptance: float
) -> Finding | None:
    """Return the finding that melt may be thrown out; None where surface tension holds it.

    Parameters
    ----------
    case, melt, absorptance
        As in `sinking_speed`.
    tables : MetalTables
        The metal under the beam.

    Returns
    -------
    Finding or None
    """
    speed, limit = sinking_speed(case, melt, absorptance), ejection_speed(case, tables)
    if speed < limit:
        return None
    return Finding(
        weight="caution",
        code="melt-ejection",
        text=f"the depression may sink at up to {speed:.1f} m/s; above about {limit:.1f} m/s the "
        "displaced melt is thrown out against surface tension",
        remedy="lower the peak power or widen the spot",
        source="derived from continuity and capillarity; not checked against published cases",
    )
