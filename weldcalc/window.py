"""Process window: what two settings of a pass do together, and how far the schedule is inside."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from typing import Any, Final

import numpy as np
from attrs import field, frozen

from weldcalc.batch import Progress
from weldcalc.calibration_data import Calibration
from weldcalc.errors import InputError
from weldcalc.fields import field as field_of
from weldcalc.fields import which_known
from weldcalc.goals import pass_goals
from weldcalc.quantities import json_key, to_json, to_shown
from weldcalc.schedule import Laser, Schedule, WeldPass
from weldcalc.tolerances.sampled_pulses import with_surrogate
from weldcalc.tolerances.scatter import Floats, PassScatter, column, pass_scatter
from weldcalc.tolerances.surrogate import SectionSurrogate, section_surrogate
from weldcalc.windows.edges import Edge, nearest_regions, sound_edges
from weldcalc.windows.limits import Limit, laser_limits
from weldcalc.windows.runs import (
    CHANCE_NODES,
    REGIONS,
    Ints,
    Sheet,
    at_place,
    changed_pass,
    setting_sigma,
)

VARIABLES: Final = (
    "peak_power",
    "pulse_energy",
    "pulse_duration",
    "repetition_rate",
    "travel_speed",
    "spot_diameter",
    "beam_offset",
    "preheat",
)
"""Settings of a pass that a window can be drawn over."""

CELLS = 60
_SPAN = (0.6, 1.6)  # of the schedule's own value, if no range is given
_MAPPED: Final = ("penetration", "fusion_width", "root_width", "haz_width", "transmitted_share")


@frozen(eq=False)
class Window:
    """Map over two settings of a pass.

    Parameters
    ----------
    pass_name : str
        The pass.
    x_key, y_key : str
        Settings, of `VARIABLES`.
    x, y : ndarray, shape (m,), (n,)
        Their values [SI].
    region : ndarray of int, shape (n, m)
        Place in `REGIONS`.
    sizes : mapping of str to ndarray, shape (n, m)
        Results without scatter [SI].
    chance : ndarray, shape (n, m)
        Chance of meeting every goal under the scatter [1].
    goal_depth : float
        Depth asked for [m].
    owes_depth : bool
        Whether this pass has to reach it.
    point, sigma : tuple of (float, float)
        The schedule's setting, and one standard deviation of each [SI].
    edges : tuple of Edge
        Four: left, right, down, up.
    nearest : mapping of str to float
        Least distance from the point to each other region on the map, in multiples of the scatter
        of both settings together; empty where one of them has none.
    limits : tuple of Limit
        Of the laser, as curves over the map.
    surrogate : SectionSurrogate or None
        What stood in for the engine of cross-sections; None where all runs were direct.
    counts_model : bool
        Whether the chance counts the model's own spread as well as the shop's scatter.
    """

    pass_name: str
    x_key: str
    y_key: str
    x: Floats
    y: Floats
    region: Ints = field(repr=False)
    sizes: Mapping[str, Floats] = field(repr=False)
    chance: Floats = field(repr=False)
    goal_depth: float
    owes_depth: bool
    point: tuple[float, float]
    sigma: tuple[float, float]
    edges: tuple[Edge, ...]
    nearest: Mapping[str, float]
    limits: tuple[Limit, ...]
    surrogate: SectionSurrogate | None = field(repr=False)
    counts_model: bool

    def to_json(self) -> dict[str, Any]:
        """Return the answer without the map itself, as plain values; keys carry the unit."""
        shares = {name: float(np.mean(self.region == place)) for place, name in enumerate(REGIONS)}
        keys = (self.x_key, self.y_key)
        return {
            "pass": self.pass_name,
            "x": self.x_key,
            "y": self.y_key,
            "point": {json_key(k): to_json(v, k) for k, v in zip(keys, self.point, strict=True)},
            "share_of_map": shares,
            "edges": [
                {
                    "setting": edge.key,
                    "side": "lower" if edge.side < 0 else "higher",
                    json_key(edge.key): to_json(edge.value, edge.key),
                    "then": edge.region,
                    "sigmas": edge.sigmas,
                }
                for edge in self.edges
            ],
            "sigmas_to_region": dict(self.nearest),
            "surrogate": None if self.surrogate is None else self.surrogate.to_json(),
        }

    def to_csv(self) -> str:
        """Return the map as a table, one line for each place, units in the headings."""
        keys = (self.x_key, self.y_key, *(key for key in _MAPPED if key != "transmitted_share"))
        names = [f"{key} [{field_of(key).shown_unit}]" for key in keys]
        lines = [",".join([*names, "transmitted_share [1]", "chance [1]", "region"])]
        for row, y in enumerate(self.y):
            for place, x in enumerate(self.x):
                values = [x, y, *(float(self.sizes[key][row, place]) for key in keys[2:])]
                cells = [f"{to_shown(v, k):.6g}" for v, k in zip(values, keys, strict=True)]
                cells.append(f"{self.sizes['transmitted_share'][row, place]:.4g}")
                cells.append(f"{self.chance[row, place]:.3f}")
                lines.append(",".join([*cells, REGIONS[self.region[row, place]]]))
        return "\n".join(lines) + "\n"


def window(
    schedule: Schedule,
    *,
    pass_name: str = "",
    x: str = "peak_power",
    y: str = "pulse_duration",
    x_range: tuple[float, float] | None = None,
    y_range: tuple[float, float] | None = None,
    cells: tuple[int, int] = (CELLS, CELLS),
    chance_nodes: int = CHANCE_NODES,
    with_model: bool = False,
    seed: int = 1,
    calibration: Calibration | None = None,
    grid: float | None = None,
    section_runs: tuple[int, int] | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Window:
    """Compute the window of two settings of a pass.

    Parameters
    ----------
    schedule : Schedule
        With at least one pass; what it asks for decides what is sound.
    pass_name : str, optional
        The pass; the first one if not given.
    x, y : str, optional
        Two different settings of `VARIABLES`.
    x_range, y_range : tuple of (float, float), optional
        Ends of the map [SI]; None takes from 0.6 to 1.6 times the schedule's own value.
    cells : tuple of (int, int), optional
        Columns and rows of the map, at least 4 each.
    chance_nodes : int, optional
        Places along each side at which the chance is drawn, at least 2.
    with_model : bool, optional
        Whether the chance counts the model's own spread; False: only what the shop scatters.
    seed : int, optional
        Of the draws behind the chance.
    calibration : Calibration, optional
        In place of the shipped constants.
    grid : float, optional
        Edge of the engine's cells under the spot [m].
    section_runs : tuple of (int, int), optional
        As for `weldcalc.tolerance.tolerance`.
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.

    Returns
    -------
    Window

    Raises
    ------
    InputError
        When a setting, the pass or a range cannot be used.

    Notes
    -----
    The map itself is run place by place; the chance with the same 20 draws at 12 x 12 places, or as
    many as asked for, and interpolated between them. Where an estimate takes the engine of
    cross-sections, a stand-in learnt over the whole map serves: at 30 x 30 places, the chance at
    8 x 8 at most.
    """
    weld_pass = schedule.passes[schedule.pass_index(pass_name) if pass_name else 0]
    _check(x, y, cells, {"x_range": x_range, "y_range": y_range})
    columns = np.linspace(*(x_range or _span(weld_pass, x)), cells[0])
    rows = np.linspace(*(y_range or _span(weld_pass, y)), cells[1])
    scatter, still = (
        pass_scatter(schedule, weld_pass, calibration=calibration, with_model=counted)
        for counted in (with_model, False)
    )
    surrogate = None
    if scatter.needs_section or "beam_offset" in (x, y):
        surrogate = section_surrogate(
            scatter,
            seed=seed,
            places=_over(scatter, x, columns, y, rows),
            runs=section_runs,
            executor=executor,
            progress=progress,
        )
        scatter, still = with_surrogate(scatter), with_surrogate(still)
    goals = pass_goals(schedule, weld_pass)
    sheet = Sheet(scatter, still, goals, x, y, surrogate, grid, executor, progress)
    sizes, region = sheet.map(columns, rows)
    point = (float(getattr(weld_pass, x)), float(getattr(weld_pass, y)))
    sigma = (setting_sigma(scatter, x), setting_sigma(scatter, y))
    return Window(
        pass_name=weld_pass.name,
        x_key=x,
        y_key=y,
        x=columns,
        y=rows,
        region=region,
        sizes={key: column(sizes, key) for key in _MAPPED},
        chance=sheet.chance(columns, rows, seed, nodes=chance_nodes),
        goal_depth=scatter.goal_depth_share * schedule.joint.wall_thickness,
        owes_depth="penetration" in goals.names,
        point=point,
        sigma=sigma,
        edges=sound_edges(sheet, columns, rows, point, sigma),
        nearest=nearest_regions(columns, rows, region, point, sigma),
        limits=_limits(schedule.laser, weld_pass, x, y, columns, rows),
        surrogate=surrogate,
        counts_model=with_model,
    )


def _over(
    scatter: PassScatter, x: str, columns: Floats, y: str, rows: Floats
) -> Callable[[Floats], list[PassScatter]]:
    """Return what spreads points of the unit square, shape (n, 2), over the map."""

    def places(shares: Floats) -> list[PassScatter]:
        across = columns[0] + shares[:, 0] * (columns[-1] - columns[0])
        along = rows[0] + shares[:, 1] * (rows[-1] - rows[0])
        return [
            at_place(scatter, x, a, y, b)
            for a, b in zip(across.tolist(), along.tolist(), strict=True)
        ]

    return places


def _check(
    x: str, y: str, cells: tuple[int, int], ranges: Mapping[str, tuple[float, float] | None]
) -> None:
    for where, key in (("x", x), ("y", y)):
        if key not in VARIABLES:
            raise InputError.of(
                where, f"no setting of a window; {which_known(key, VARIABLES)}", key
            )
    if x == y:
        raise InputError.of("y", "has to be another setting than x", y)
    if min(cells) < 4:
        raise InputError.of("cells", "at least 4 columns and 4 rows", str(cells))
    for (where, ends), key in zip(ranges.items(), (x, y), strict=True):
        if ends is None:
            continue
        if not (np.isfinite(ends).all() and ends[0] < ends[1]):
            raise InputError.of(where, "has to be two finite ends, the lower first", str(ends))
        if key != "beam_offset" and ends[0] <= 0.0:
            raise InputError.of(where, f"{key} has to be above zero", str(ends))


def _span(weld_pass: WeldPass, key: str) -> tuple[float, float]:
    middle = float(getattr(weld_pass, key))
    if key == "beam_offset":
        reach = 0.5 * weld_pass.spot_diameter
        return middle - reach, middle + reach
    if key == "preheat":
        return middle, middle + 400.0
    return _SPAN[0] * middle, _SPAN[1] * middle


def _limits(
    laser: Laser, weld_pass: WeldPass, x: str, y: str, columns: Floats, rows: Floats
) -> tuple[Limit, ...]:
    passes = [
        [changed_pass(weld_pass, **{x: float(a), y: float(b)}) for a in columns] for b in rows
    ]
    return laser_limits(laser, passes, columns, rows)
