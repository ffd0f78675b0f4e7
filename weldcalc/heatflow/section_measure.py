"""From a finished run of the 3-D engine to its result."""

from __future__ import annotations

from math import cos, sin
from typing import Any

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.heatflow.pulse_result import (
    SHIELDING_TEMPERATURE,
    STRICT_SHIELDING_TEMPERATURE,
    mode_of,
)
from weldcalc.heatflow.section_field import (
    SectionField,
    Span,
    at_plane,
    end_values,
    first_span,
    line_spans,
    section_field,
)
from weldcalc.heatflow.section_findings import section_findings
from weldcalc.heatflow.section_grid import turned_point
from weldcalc.heatflow.section_result import SectionResult
from weldcalc.heatflow.section_solve import Bench, SectionSolution, true_faces

Array = NDArray[np.float64]


def section_result(solution: SectionSolution) -> SectionResult:
    """Measure a finished run.

    Parameters
    ----------
    solution : SectionSolution
        The run.

    Returns
    -------
    SectionResult
    """
    sizes = _sizes(solution)
    findings = section_findings(solution, sizes["fused_area"], sizes["gap_bridged"])
    return SectionResult(
        **sizes,
        **_energies(solution),
        **_times(solution),
        history=solution.history,
        warnings=findings,
    )


@frozen(eq=False)
class _Plane:
    """The section at x = 0 with what is needed to measure it."""

    bench: Bench
    enthalpy: Array

    def field(self, level: Array) -> SectionField:
        """Return the field against enthalpies [J/m3] of both members, shape (2,)."""
        bench = self.bench
        start = bench.enthalpies(bench.case.preheat)
        level = np.maximum(level, start + 1.0)
        return section_field(bench.grid, true_faces(bench), self.enthalpy, level, start)

    def top(self, field: SectionField) -> Span | None:
        """Return the extent above the level on the irradiated faces [m]."""
        grid = self.bench.grid
        layer = np.maximum(grid.top[1:-1] - 1, 0)
        return field.face_extent(end_values(field, layer, 1), grid.top[1:-1] > 0)

    def far(self, field: SectionField) -> tuple[Array, NDArray[np.bool_]]:
        """Return values on the far faces of columns, and which columns have one."""
        grid = self.bench.grid
        metal = field.member >= 0
        first = np.maximum(grid.top[1:-1] - 1, 0)
        below = np.arange(grid.z.size)[:, None] >= first
        air = np.where(below & ~metal, np.arange(grid.z.size)[:, None], grid.z.size).min(axis=0)
        layer = np.maximum(air - 1, 0)
        ends = grid.free_far | (air < grid.z.size)
        return end_values(field, layer, -1), ends & (grid.top[1:-1] > 0)


def _sizes(solution: SectionSolution) -> dict[str, Any]:
    bench = solution.bench
    case, grid = bench.case, bench.grid
    plane = _Plane(bench, at_plane(solution.state.peak, grid))
    fused = plane.field(np.array([table.melting_enthalpy() for table in bench.tables]))
    members = range(len(case.section.members))
    depths = tuple(fused.depth(number) for number in members)
    joint = joint_profile(fused, is_sheet=case.section.kind == "sheet", broken=case.is_broken)
    depression = solution.totals["deepest"]
    mode, criterion = mode_of(depression, case.spot_diameter)
    through = _through(plane, fused, joint, case.section.joint_length)
    areas = tuple(fused.area(number) for number in members)
    bridged = case.has_gap and case.can_bridge and bool(solution.state.gate.any())
    return {
        "penetration": max(depths),
        "member_penetration": depths,
        "fused_area": areas,
        "gap_bridged": bridged,
        "depression_depth": depression,
        "mode": mode,
        "mode_criterion": criterion,
        "fusion_length": _fusion_length(solution),
        "peak_temperature": _temperatures(bench, plane.enthalpy),
        "member": fused.member,
        "y": fused.y,
        "z": fused.z,
        "fusion_outline": _upright(fused.outline(), case.beam_angle),
        **through,
        **_widths(plane, fused),
        **_surroundings(solution, plane),
    }


def _widths(plane: _Plane, fused: SectionField) -> dict[str, Any]:
    case = plane.bench.case
    pairs = zip(plane.bench.tables, case.materials, strict=True)
    affected = plane.field(
        np.array([table.enthalpy_at(metal.haz_temperature) for table, metal in pairs])
    )
    top, wide = plane.top(fused), plane.top(affected)
    haz = 0.0
    if top and wide:
        haz = max(top[0] - wide[0], wide[1] - top[1])
    elif wide:
        haz = 0.5 * (wide[1] - wide[0])
    (y0, z0), (y1, z1) = case.section.joint_line
    middle = turned_point((0.5 * (y0 + y1), 0.5 * (z0 + z1)), case.beam_angle)[1]
    return {
        "fusion_width": _length(top),
        "middle_width": _length(fused.extent_at(middle)),
        "haz_width": haz,
        "haz_temperature": case.materials[0].haz_temperature,
        "haz_isotherm_name": case.materials[0].haz_isotherm_name,
        "haz_outline": _upright(affected.outline(), case.beam_angle),
    }


def _length(span: Span | None) -> float:
    return span[1] - span[0] if span else 0.0


def _through(
    plane: _Plane, fused: SectionField, joint: tuple[Array, Array], length: float
) -> dict[str, Any]:
    values, ends = plane.far(fused)
    root = _length(fused.face_extent(values, ends))
    place, excess = joint
    spans = line_spans(place, excess)
    share = sum(b - a for a, b in spans)
    if plane.bench.case.section.kind == "sheet":
        far = float(values[ends].max())
    else:
        far = float(excess[-1])
    return {
        "joint_penetration": length * share,
        "root_width": root,
        "full_penetration": far >= 0.0 and share > 1.0 - 1e-9 if place.size else False,
        "penetration_margin": far if far < 0.0 else root / plane.bench.case.section.thinnest,
    }


def joint_profile(field: SectionField, *, is_sheet: bool, broken: bool) -> tuple[Array, Array]:
    """Return how the joint line fused, from the irradiated face on.

    Parameters
    ----------
    field : SectionField
        The section against the melting level.
    is_sheet : bool
        Whether there is no joint; then the line at y = 0 is taken.
    broken : bool
        Whether the members are apart; then the colder side counts, else their mean.

    Returns
    -------
    place : ndarray, shape (k, 2)
        Both ends of each piece of the line, as a share of its length [-].
    excess : ndarray, shape (k,)
        Above the level [-].
    """
    member, excess = field.member, field.excess
    pairs: list[tuple[float, float, float]] = []
    heights = field.z_faces[:, 1] - field.z_faces[:, 0]
    widths = field.y_faces[:, 1] - field.y_faces[:, 0]
    column = int(np.searchsorted(field.y, 0.0)) - 1
    join = min if broken else _mean
    for k in range(field.z.size):
        for j in [column] if is_sheet else range(field.y.size - 1):
            a, b = member[k, j], member[k, j + 1]
            if a >= 0 and b >= 0 and (is_sheet or a != b):
                pairs.append((field.z[k], heights[k], join(excess[k, j], excess[k, j + 1])))
        if k + 1 < field.z.size and not is_sheet:
            for j in np.flatnonzero((member[k] >= 0) & (member[k + 1] >= 0)).tolist():
                if member[k, j] != member[k + 1, j]:
                    value = join(excess[k, j], excess[k + 1, j])
                    pairs.append((field.z_faces[k, 1], widths[j], value))
    pairs.sort(key=lambda pair: pair[0])
    length = np.array([pair[1] for pair in pairs])
    ends = np.concatenate(([0.0], np.cumsum(length))) / length.sum()
    return np.column_stack((ends[:-1], ends[1:])), np.array([pair[2] for pair in pairs])


def _mean(a: float, b: float) -> float:
    return 0.5 * (a + b)


def _fusion_length(solution: SectionSolution) -> float:
    """Return the longest fused line along x on the irradiated faces [m]."""
    bench = solution.bench
    grid, start = bench.grid, bench.enthalpies(bench.case.preheat)
    levels = np.array([table.melting_enthalpy() for table in bench.tables])
    x_faces = np.column_stack((grid.x - 0.5 * grid.dx, grid.x + 0.5 * grid.dx))
    longest = 0.0
    for j in range(grid.y.size):
        k = int(grid.top[j + 1])
        if k == 0:
            continue
        own = int(grid.member[k, j + 1])
        column = solution.state.peak[:, 1:-1, j + 1]
        below = column[k + 1] if grid.member[k + 1, j + 1] == own else column[k]
        value = (1.125 * column[k] - 0.125 * below - levels[own]) / (levels - start)[own]
        longest = max(longest, _length(first_span(grid.x, x_faces, value)))
    return (2.0 if grid.mirrored else 1.0) * longest


def _temperatures(bench: Bench, enthalpy: Array) -> Array:
    member = bench.grid.member[1:-1, 1:-1]
    warmth = np.where(
        member == 1,
        bench.tables[1].temperature_at(enthalpy),
        bench.tables[0].temperature_at(enthalpy),
    )
    return np.where(member < 0, bench.case.preheat, warmth)


def _upright(outline: Array, angle: float) -> Array:
    """Turn points from the beam's frame back to that of the section."""
    y, z = outline[:, 0], outline[:, 1]
    return np.column_stack((y * cos(angle) - z * sin(angle), z * cos(angle) + y * sin(angle)))


def _surroundings(solution: SectionSolution, plane: _Plane) -> dict[str, Any]:
    found: dict[str, Any] = {}
    case = solution.bench.case
    for name, limit in (
        ("shielding", SHIELDING_TEMPERATURE),
        ("strict", STRICT_SHIELDING_TEMPERATURE),
    ):
        warm = case.preheat >= limit
        found[f"time_above_{name}"] = None if warm else solution.history.time_above(limit)
        found[f"radius_above_{name}"] = plane.field(solution.bench.enthalpies(limit)).farthest(
            case.beam_place
        )
    return found


def _energies(solution: SectionSolution) -> dict[str, Any]:
    totals, absorbed = solution.totals, solution.totals["absorbed"]
    lost = totals["radiated"] + totals["evaporated"]
    shares = solution.absorbed / max(absorbed, 1e-300)
    return {
        "absorptance": absorbed / totals["incident"],
        "absorbed_share": tuple(shares[: len(solution.bench.case.section.members)].tolist()),
        "incident_energy": totals["incident"],
        "absorbed_energy": absorbed,
        "transmitted_energy": totals["transmitted"],
        "missed_energy": totals["missed"],
        "lost_energy": lost,
        "evaporated_energy": totals["evaporated"],
        "radiated_energy": totals["radiated"],
        "energy_balance": (absorbed - lost - totals["gained"]) / max(absorbed, 1e-300),
    }


def _times(solution: SectionSolution) -> dict[str, Any]:
    history, metals = solution.history, solution.bench.metals
    centre = metals[solution.bench.centre_member]
    solidus = min(metal.solidus for metal in metals)
    all_solid = history.last_above(solidus)
    duration = solution.bench.case.pulse_duration
    molten = bool(history.hottest.max() >= solidus)
    return {
        "time_to_melt": history.first_above(centre.liquidus),
        "time_to_keyhole": history.first_open(),
        "cooling_rate": history.cooling_rate(solidus) if molten else None,
        "solidification_time": None if all_solid is None else max(all_solid - duration, 0.0),
    }
