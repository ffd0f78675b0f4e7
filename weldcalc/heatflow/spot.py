"""One pulse on a sheet, computed in r and z around the beam axis."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

from weldcalc.heatflow.constants import ModelConstants
from weldcalc.heatflow.pulse_findings import pulse_findings
from weldcalc.heatflow.pulse_result import (
    SHIELDING_TEMPERATURE,
    STRICT_SHIELDING_TEMPERATURE,
    PulseResult,
    mode_of,
)
from weldcalc.heatflow.spot_case import SpotCase, spot_case
from weldcalc.heatflow.spot_solve import SpotSolution, solve_spot
from weldcalc.pulse_shape import ShapeSpec

if TYPE_CHECKING:
    from weldcalc.materials import Material


def spot_pulse(
    material: Material,
    *,
    peak_power: float,
    pulse_duration: float,
    spot_diameter: float,
    thickness: float,
    profile: str = "top-hat",
    pulse_shape: ShapeSpec = "square",
    preheat: float = 293.15,
    absorptivity: float | None = None,
    grid: float | None = None,
    constants: ModelConstants | None = None,
) -> PulseResult:
    """Compute one pulse on a sheet and the cooling after it.

    Parameters
    ----------
    material : Material
        Grade of the sheet.
    peak_power : float
        Highest power during the pulse [W], > 0
    pulse_duration : float
        [s], > 0
    spot_diameter : float
        Of the spot on the face; 1/e2 diameter for a gaussian [m], > 0
    thickness : float
        Of the sheet [m], > 0
    profile : {"top-hat", "gaussian"}, optional
        Irradiance over the spot.
    pulse_shape : "square" or sequence of (time, level), optional
        Corners of the power over the pulse, both from 0 to 1.
    preheat : float, optional
        Temperature of the sheet before the pulse and of the surroundings [K].
    absorptivity : float, optional
        Of the flat surface, above 0 to 1 [-]; None takes the one fitted to polished metal.
    grid : float, optional
        Edge of the cells under the spot [m]; None takes a twelfth of the spot diameter or
        of the thickness, whichever is less, but rings no narrower than half the former.
    constants : ModelConstants, optional
        Model constants; None takes those fitted to the material's family.

    Returns
    -------
    PulseResult

    Raises
    ------
    InputError
        When a value is outside what it can be; all are reported at once.

    Notes
    -----
    Axisymmetric finite volumes in enthalpy; see `weldcalc.heatflow.enthalpy` for the physics and
    `weldcalc.heatflow.spot_kernel` for the time loop. Half the cell size takes three times as
    long, four to five times with a deep keyhole; four times the duration nearly three times; four
    times the thickness under one and a half times.
    """
    case = spot_case(
        material,
        peak_power=peak_power,
        pulse_duration=pulse_duration,
        spot_diameter=spot_diameter,
        thickness=thickness,
        profile=profile,
        pulse_shape=pulse_shape,
        preheat=preheat,
        absorptivity=absorptivity,
        grid=grid,
        constants=constants,
    )
    return run_case(case)


def spot_pulses(
    batch: Iterable[Mapping[str, Any]], *, threads: int | None = None
) -> list[PulseResult]:
    """Compute many pulses on all processors; results in the order given, the same as one by one.

    Parameters
    ----------
    batch : iterable of mapping
        Arguments of `spot_pulse` by name, with "material".
    threads : int, optional
        None takes one per processor.

    Returns
    -------
    list of PulseResult

    Raises
    ------
    InputError
        As `spot_pulse`, for the first pulse that cannot be computed.
    """
    workers = threads or os.cpu_count() or 1
    with ThreadPoolExecutor(max_workers=workers) as pool:
        return list(pool.map(lambda case: spot_pulse(**case), batch))


def run_case(case: SpotCase) -> PulseResult:
    """Compute a checked case.

    Parameters
    ----------
    case : SpotCase
        What to compute.

    Returns
    -------
    PulseResult
    """
    solution = solve_spot(case)
    return PulseResult(
        **_sizes(case, solution),
        **_energies(solution.totals),
        **_times(case, solution),
        **_surroundings(case, solution),
        history=solution.history,
        warnings=pulse_findings(case, solution),
    )


def _sizes(case: SpotCase, solution: SpotSolution) -> dict[str, Any]:
    field, tables = solution.field, solution.tables
    fused, affected = tables.melting_enthalpy(), tables.enthalpy_at(case.material.haz_temperature)
    start = tables.enthalpy_at(case.preheat)
    top, root = (field.radius_at(z, fused) for z in (0.0, case.thickness))
    far = float((field.enthalpy[-1, 0] - start) / (fused - start)) - 1.0
    depression = solution.totals["deepest"]
    mode, criterion = mode_of(depression, case.spot_diameter)
    return {
        "penetration": field.depth(fused),
        "fusion_width": 2.0 * top,
        "middle_width": 2.0 * field.radius_at(0.5 * case.thickness, fused),
        "root_width": 2.0 * root,
        "haz_width": field.radius_at(0.0, affected) - top,
        "haz_temperature": case.material.haz_temperature,
        "haz_isotherm_name": case.material.haz_isotherm_name,
        "full_penetration": far >= 0.0,
        "penetration_margin": far if far < 0.0 else 2.0 * root / case.thickness,
        "depression_depth": depression,
        "mode": mode,
        "mode_criterion": criterion,
        "peak_temperature": tables.temperature_at(field.enthalpy),
        "r": field.r,
        "z": field.z,
        "fusion_outline": field.outline(fused),
        "haz_outline": field.outline(affected),
    }


def _energies(totals: dict[str, float]) -> dict[str, Any]:
    lost = totals["radiated"] + totals["evaporated"]
    absorbed = totals["absorbed"]
    return {
        "absorptance": absorbed / totals["incident"],
        "incident_energy": totals["incident"],
        "absorbed_energy": absorbed,
        "transmitted_energy": totals["transmitted"],
        "lost_energy": lost,
        "evaporated_energy": totals["evaporated"],
        "radiated_energy": totals["radiated"],
        "energy_balance": (absorbed - lost - totals["gained"]) / absorbed,
    }


def _times(case: SpotCase, solution: SpotSolution) -> dict[str, Any]:
    history, metal = solution.history, solution.tables.metal
    all_solid = history.last_above(metal.solidus)
    molten = bool(history.hottest.max() >= metal.solidus)
    return {
        "time_to_melt": history.first_above(metal.liquidus),
        "time_to_keyhole": history.first_open(),
        "cooling_rate": history.cooling_rate(metal.solidus) if molten else None,
        "solidification_time": None
        if all_solid is None
        else max(all_solid - case.pulse_duration, 0.0),
    }


def _surroundings(case: SpotCase, solution: SpotSolution) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, limit in (
        ("shielding", SHIELDING_TEMPERATURE),
        ("strict", STRICT_SHIELDING_TEMPERATURE),
    ):
        above = None if case.preheat >= limit else solution.history.time_above(limit)
        found[f"time_above_{name}"] = above
        found[f"radius_above_{name}"] = solution.field.widest(solution.tables.enthalpy_at(limit))
    return found
