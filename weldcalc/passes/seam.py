"""The seam of one pass: its pulses on the warmth of all earlier ones, with and without taper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.materials import Material
from weldcalc.passes.joint import JointSetup, SectionPulse
from weldcalc.passes.ratio import JointRatio, joint_ratio
from weldcalc.passes.response import (
    PassResponse,
    PulseAt,
    hottest_start,
    interpolation_error,
    pass_response,
)
from weldcalc.passes.seam_history import (
    PassHistory,
    SeamPlan,
    march_pass,
    pass_history,
    steady_march,
)
from weldcalc.passes.taper import END_RAMP, LEAST_RAMP, Level, level_of, tapered_response
from weldcalc.quantities import json_key, to_json
from weldcalc.schedule import Schedule, WeldPass

Floats = NDArray[np.float64]

_SAME = 0.01  # K; pulses on preheats this close are the same pulse


@frozen(eq=False)
class PassSeam:
    """What the pulses of one pass find and do along the seam.

    Parameters
    ----------
    history : PassHistory
        At the nominal energy.
    tapered : PassHistory or None
        With the energy lowered so that the level holds, the ramp at the end left out; None where
        nothing melts.
    level : Level or None
        What the taper holds.
    ramp : int
        Pulses at the end, on metal welded before, over which the energy may run down.
    coldest, hottest : PulseResult or SectionPulse
        Pulses at the lowest and the highest preheat of the pass, at nominal energy; on a joint the
        highest is that with the same heat left by every pulse, a little above what is found.
    error : mapping of str to float
        How far interpolated results are off [-].
    too_hot : bool
        Whether the seam gets so hot that the engine was asked for less than the real preheat.
    closed : bool
        Whether the seam runs round a tube of this radius, in `radius`.
    radius : float
        Of the tube's outside [m]; 0 for sheet.
    ratio : JointRatio or None
        How pulses on a joint follow from few runs of the 3-D engine; None where the axisymmetric
        engine computes each.
    """

    history: PassHistory
    tapered: PassHistory | None
    level: Level | None
    ramp: int
    coldest: PulseResult | SectionPulse = field(repr=False)
    hottest: PulseResult | SectionPulse = field(repr=False)
    error: Mapping[str, float]
    too_hot: bool
    closed: bool
    radius: float
    ratio: JointRatio | None = field(default=None, repr=False)

    @property
    def angle(self) -> Floats | None:
        """Return the angle welded at each pulse [rad], shape (n,); None for sheet."""
        return self.history.place / self.radius if self.closed else None

    def taper_slope(self) -> float | None:
        """Return the mean taper from the first pulse to the ramp, per radian or metre [1/rad, 1/m].

        None where there is no taper.
        """
        if self.tapered is None:
            return None
        along = self.history.place if self.angle is None else self.angle
        last = len(along) - 1 - self.ramp
        if along[last] <= along[0]:
            return None
        factors = self.tapered.energy_factor
        return float((factors[0] - factors[last]) / (along[last] - along[0]))

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit; some 25 stations."""
        slope = self.taper_slope()
        name, per = self._slope_name()
        return {
            "stations": [self._station(int(index)) for index in self.history.stations()],
            "held_level": None if self.level is None else self.level.name,
            name: None if slope is None else 100 * slope * per,
            "end_ramp_pulses": self.ramp,
            **_named("end_ramp_from_", self._ramp_start()),
            json_key("end_ramp"): END_RAMP if self.ramp else None,
            "interpolation_error": dict(self.error),
        }

    def _ramp_start(self) -> dict[str, float | None]:
        """Return where the first pulse of the end ramp falls; None without one."""
        along, key = (self.history.place, "place") if self.angle is None else (self.angle, "angle")
        return _cell(key, float(along[-self.ramp]) if self.ramp else None)

    def _slope_name(self) -> tuple[str, float]:
        if self.closed:
            return "energy_taper_percent_per_deg", np.pi / 180
        return "energy_taper_percent_per_mm", 1e-3

    def _station(self, index: int) -> dict[str, float | None]:
        angle = self.angle
        row: dict[str, float | None] = {}
        if angle is not None:
            row |= _cell("angle", float(angle[index]))
        row |= _cell("place", float(self.history.place[index]))
        row |= _cell("time", float(self.history.time[index]))
        row |= _cell("seam_preheat", float(self.history.preheat[index]))
        row |= _cell("part_temperature", float(self.history.part_temperature[index]))
        for key in ("penetration", "fusion_width", "root_width"):
            row |= _cell(key, float(getattr(self.history, key)[index]))
        return row | self._tapered_cells(index)

    def _tapered_cells(self, index: int) -> dict[str, float | None]:
        made = self.tapered
        lowered = None if made is None else 1 - float(made.energy_factor[index])
        row = _cell("energy_taper", lowered)
        for key in ("penetration", "root_width"):
            value = None if made is None else float(getattr(made, key)[index])
            row |= {f"tapered_{json_key(key)}": to_json(value, key)}
        return row


def _cell(key: str, value: float | None) -> dict[str, float | None]:
    return {json_key(key): to_json(value, key)}


def _named(start: str, cells: dict[str, float | None]) -> dict[str, float | None]:
    """Return cells under names without their key: only the unit of place or angle stays."""
    return {start + name.rpartition("_")[2]: value for name, value in cells.items()}


@frozen(eq=False)
class HeatSoFar:
    """Heat that each pulse of every group so far left [J], at nominal and at tapered energy."""

    nominal: Floats = field(factory=lambda: np.empty(0), repr=False)
    tapered: Floats = field(factory=lambda: np.empty(0), repr=False)


def pass_seam(
    schedule: Schedule,
    number: int,
    *,
    plan: SeamPlan,
    run: PulseAt,
    metal: Material,
    before: HeatSoFar,
    joint: JointSetup | None = None,
) -> tuple[PassSeam, HeatSoFar]:
    """Work out one pass on the heat of those before it.

    Parameters
    ----------
    schedule : Schedule
        Gives the pass and the joint.
    number : int
        Which pass.
    plan : SeamPlan
        All pulses in their order.
    run : callable
        Engine for a pulse of this pass, from `weldcalc.passes.response.pulse_runner`.
    metal : Material
        Grade of the wall.
    before : HeatSoFar
        Of the passes before.
    joint : JointSetup, optional
        Where the pass needs the section of the joint; `run` is then not used.

    Returns
    -------
    PassSeam, HeatSoFar
        The seam of this pass, and the heat of all passes up to it.
    """
    made = _responses(plan, number, run, metal, before, schedule.joint.wall_thickness, joint)
    response, run = made.response, made.run
    found, left = march_pass(plan, number, response, before.nominal)
    heat = np.concatenate([before.nominal, left])
    history = pass_history(plan, number, response, found, heat)
    # on a part that earlier tapered passes kept cooler: where this pass has to be level from
    level = level_of(response.pulses[0])
    tapered, tapered_heat = None, np.concatenate([before.tapered, left])
    if level is not None:
        lowered = tapered_response(response, run, level)
        tapered, tapered_heat = _tapered(plan, number, lowered, before.tapered)
    outside = schedule.joint.outside_diameter
    coldest, hottest = made.ends(float(found.min()), float(found.max()))
    return PassSeam(
        history=history,
        tapered=tapered,
        level=level,
        ramp=ramp_pulses(schedule, schedule.passes[number], history),
        coldest=coldest,
        hottest=hottest,
        error=interpolation_error(response, run),
        too_hot=bool(found.max() > hottest_start(metal)),
        closed=outside is not None,
        radius=(outside or 0.0) / 2,
        ratio=made.ratio,
    ), HeatSoFar(heat, tapered_heat)


@frozen(eq=False)
class _Responses:
    """What pulses of a pass do over the preheat, and where that comes from."""

    response: PassResponse
    run: PulseAt
    ratio: JointRatio | None

    def ends(
        self, coldest: float, hottest: float
    ) -> tuple[PulseResult | SectionPulse, PulseResult | SectionPulse]:
        """Return the pulses at both ends of the preheats [K], each from its own engine."""
        if self.ratio is not None:
            return self.ratio.pulses[0], self.ratio.pulses[-1]
        return self._pulse_at(coldest), self._pulse_at(hottest)

    def _pulse_at(self, preheat: float) -> PulseResult:
        near = int(np.argmin(np.abs(self.response.preheat - preheat)))
        known = abs(self.response.preheat[near] - preheat) < _SAME
        pulse = self.response.pulses[near] if known else self.run(preheat, 1.0)
        return cast("PulseResult", pulse)


def _responses(
    plan: SeamPlan,
    number: int,
    run: PulseAt,
    metal: Material,
    before: HeatSoFar,
    wall: float,
    joint: JointSetup | None,
) -> _Responses:
    """Find the range of preheats with the heat of one pulse, then run the engine over it."""
    row, count = plan.groups[number].start, before.nominal.size
    top = hottest_start(metal)
    first = plan.starts[number] + float(plan.factors.local[row, :count] @ before.nominal)
    first = min(first, top)
    pulse = joint.run(first) if joint else run(first, 1.0)
    heat = pulse.absorbed_energy - pulse.lost_energy
    warm, cool = (steady_march(plan, number, heat, one) for one in (before.nominal, before.tapered))
    low, high = min(float(cool.min()), top), min(float(warm.max()), top)
    ratio = None
    if joint is not None and isinstance(pulse, SectionPulse):
        coldest = min(first, float(warm.min()))
        if coldest < first - 1.0:
            pulse = joint.run(coldest)
        ratio = joint_ratio(joint, pulse, coldest, high)
        run, wall = ratio.run, joint.shape.thinnest
    response = pass_response(run, low=low, high=high, thickness=wall)
    return _Responses(response, run, ratio)


def _tapered(
    plan: SeamPlan, number: int, lowered: PassResponse, earlier: Floats
) -> tuple[PassHistory, Floats]:
    found, left = march_pass(plan, number, lowered, earlier)
    heat = np.concatenate([earlier, left])
    return pass_history(plan, number, lowered, found, heat), heat


def ramp_pulses(schedule: Schedule, weld_pass: WeldPass, history: PassHistory) -> int:
    """Return how many pulses at the end of a pass lie on its own start, one pool past it.

    Parameters
    ----------
    schedule : Schedule
        Gives the joint.
    weld_pass : WeldPass
        The pass; only one that closes a turn is ramped down.
    history : PassHistory
        Of the pass.
    """
    if not schedule.joint.is_round or weld_pass.arc is None:
        return 0
    turn = weld_pass.arc * weld_pass.segments
    if turn < 2 * np.pi * (1 - 1e-9):
        return 0
    closed_at = turn / (2 * np.pi) * schedule.joint.weld_length
    count = int(np.sum(history.place > closed_at + float(history.fusion_width.max()) / 2))
    return count if count >= LEAST_RAMP else 0
