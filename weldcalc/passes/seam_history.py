"""The heat of a whole schedule, pulse by pulse in the real order: all passes, all segments."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.heatflow.seam import SeamBody
from weldcalc.heatflow.seam_march import PulseTrain, SeamFactors, march, seam_factors
from weldcalc.materials import Material
from weldcalc.passes.response import PassResponse
from weldcalc.schedule import Joint, Schedule, WeldPass

Floats = NDArray[np.float64]

# Between room temperature and this the seam's heat spreads; properties are means over it.
_WARM = 800.0
RESULTS: Final = ("penetration", "fusion_width", "root_width", "haz_width", "heat_left")


@frozen(eq=False)
class PassHistory:
    """What the pulses of one pass found and did, shape (n,) each.

    Parameters
    ----------
    place : ndarray
        Position along the seam from the start of the first pass [m].
    time : ndarray
        Since the first pulse of the schedule [s].
    preheat : ndarray
        Local temperature just before each pulse [K].
    part_temperature : ndarray
        Temperature averaged along the seam just before each pulse [K].
    energy_factor : ndarray
        Energy over the nominal energy of the pass [-].
    penetration, fusion_width, root_width, haz_width : ndarray
        What each pulse does [m]; heat-affected width on each side.
    heat_left : ndarray
        Heat that each pulse leaves in the metal: absorbed less evaporated and radiated [J].
    """

    place: Floats = field(repr=False)
    time: Floats = field(repr=False)
    preheat: Floats = field(repr=False)
    part_temperature: Floats = field(repr=False)
    energy_factor: Floats = field(repr=False)
    penetration: Floats = field(repr=False)
    fusion_width: Floats = field(repr=False)
    root_width: Floats = field(repr=False)
    haz_width: Floats = field(repr=False)
    heat_left: Floats = field(repr=False)

    def stations(self, most: int = 25) -> NDArray[np.int64]:
        """Return the indices of evenly chosen pulses, first and last among them."""
        count = min(most, len(self.place))
        return np.unique(np.round(np.linspace(0, len(self.place) - 1, count)).astype(np.int64))


def seam_body(joint: Joint, metal: Material, plate: Material) -> SeamBody:
    """Return what the heat of a joint's seam runs into.

    Parameters
    ----------
    joint : Joint
        Members and their thickness.
    metal, plate : Material
        Grade of tube or sheet, and of the plate (not used for a butt joint).
    """
    sheets = [(joint.wall_thickness, metal)]
    if joint.type == "butt":
        sheets.append((joint.wall_thickness, metal))
    else:
        # a tube that stands on the plate leaves plate on both sides of the seam
        sides = 2 if joint.form == "fillet" else 1
        sheets += [(joint.plate_thickness or joint.wall_thickness, plate)] * sides
    weights = [thickness for thickness, _ in sheets]
    conductivity = np.average([warm_conductivity(grade) for _, grade in sheets], weights=weights)
    heat = float(np.average([warm_heat(grade) for _, grade in sheets], weights=weights))
    return SeamBody(
        length=joint.weld_length,
        ends="closed" if joint.is_round else "edges",
        half_sheets=tuple(weights),
        volumetric_heat=heat,
        diffusivity=float(conductivity) / heat,
    )


def warm_heat(grade: Material) -> float:
    """Return density times mean specific heat between room temperature and 800 K [J/(m3 K)]."""
    return float(np.mean(grade.specific_heat(_span()))) * grade.density_rt


def warm_conductivity(grade: Material) -> float:
    """Return the mean thermal conductivity between room temperature and 800 K [W/(m K)]."""
    return float(np.mean(grade.thermal_conductivity(_span())))


def _span() -> Floats:
    return np.linspace(293.15, _WARM, 26)


def pass_pulses(schedule: Schedule, weld_pass: WeldPass) -> tuple[Floats, Floats, int]:
    """Return where and when the pulses of a pass fall, from its own first pulse on.

    Parameters
    ----------
    schedule : Schedule
        Gives the joint.
    weld_pass : WeldPass
        One of its passes.

    Returns
    -------
    place : ndarray, shape (n,)
        Along the seam [m]; goes past its length where a turn closes. Segments start one arc after
        the other.
    time : ndarray, shape (n,)
        [s]; after a segment the laser waits for the next pulse of its beat, and the pause.
    segment : int
        Pulses in one segment.
    """
    run = schedule.pass_run(weld_pass)
    count, period = run.pulses // weld_pass.segments, 1 / weld_pass.repetition_rate
    arc = 0.0 if weld_pass.arc is None else weld_pass.arc / (2 * np.pi)
    step = count * period + weld_pass.segment_pause
    number = np.arange(weld_pass.segments)[:, None]
    beat = np.arange(count)[None, :]
    place = number * arc * schedule.joint.weld_length + beat * weld_pass.travel_speed * period
    return place.ravel(), (number * step + beat * period).ravel(), count


@frozen(eq=False)
class SeamPlan:
    """All pulses of a schedule, and what each finds for each joule left before it.

    Parameters
    ----------
    body : SeamBody
        What the heat runs into.
    train : PulseTrain
        Pulses of all passes.
    factors : SeamFactors
        Of the sums over earlier pulses.
    pulses, groups : tuple of slice
        Pulses and groups of each pass.
    starts : tuple of float
        Temperature of the part before the run that each pass belongs to [K].
    """

    body: SeamBody
    train: PulseTrain = field(repr=False)
    factors: SeamFactors = field(repr=False)
    pulses: tuple[slice, ...]
    groups: tuple[slice, ...]
    starts: tuple[float, ...]

    def start_of(self, number: int) -> float:
        """Return the time of the first pulse of a pass [s]."""
        return float(self.train.time[self.pulses[number]][0])


def seam_plan(schedule: Schedule, body: SeamBody) -> SeamPlan:
    """Put all pulses of a schedule in their order.

    A later pass whose own preheat was typed begins on a part of that temperature: what the
    passes before left is not counted again.

    Parameters
    ----------
    schedule : Schedule
        Gives the passes in their order.
    body : SeamBody
        From `seam_body`.
    """
    train, counts = _train(schedule)
    ends = np.cumsum(counts)
    factors = seam_factors(body, train)
    edges = np.searchsorted(factors.first, np.concatenate([[0], ends]))
    return SeamPlan(
        body=body,
        train=train,
        factors=factors,
        pulses=tuple(
            slice(int(end - count), int(end)) for end, count in zip(ends, counts, strict=True)
        ),
        groups=tuple(slice(int(a), int(b)) for a, b in pairwise(edges)),
        starts=_starts(schedule),
    )


def begins_anew(schedule: Schedule, number: int) -> bool:
    """Tell whether a pass starts on a part whose temperature was typed."""
    return number == 0 or "preheat" in schedule.passes[number].given


def _starts(schedule: Schedule) -> tuple[float, ...]:
    starts: list[float] = []
    for number, weld_pass in enumerate(schedule.passes):
        starts.append(weld_pass.preheat if begins_anew(schedule, number) else starts[-1])
    return tuple(starts)


def _train(schedule: Schedule) -> tuple[PulseTrain, list[int]]:
    clock, run, stretch = 0.0, -1, 0
    places, times, runs, stretches, counts = [], [], [], [], []
    for number, weld_pass in enumerate(schedule.passes):
        place, time, segment = pass_pulses(schedule, weld_pass)
        run += begins_anew(schedule, number)
        clock += weld_pass.pause_before if number else 0.0
        places.append(place)
        times.append(clock + time)
        runs.append(np.full(len(place), run))
        stretches.append(stretch + np.arange(len(place)) // segment)
        counts.append(len(place))
        stretch = int(stretches[-1][-1]) + 1
        clock = float(times[-1][-1]) + 1 / weld_pass.repetition_rate
    train = PulseTrain(*(np.concatenate(part) for part in (places, times, runs, stretches)))
    return train, counts


def march_pass(
    plan: SeamPlan, number: int, response: PassResponse, earlier: Floats
) -> tuple[Floats, Floats]:
    """March one pass: what each group finds [K] and leaves for each pulse [J], shape (g,)."""
    return march(
        plan.factors,
        rows=plan.groups[number],
        start=plan.starts[number],
        earlier=earlier,
        heat_left=response.heat_left(),
    )


def steady_march(plan: SeamPlan, number: int, heat: float, earlier: Floats) -> Floats:
    """Return what each group of a pass finds when every pulse leaves the same heat.

    Parameters
    ----------
    plan : SeamPlan
    number : int
        Which pass.
    heat : float
        Left by each of its pulses [J].
    earlier : ndarray, shape (k,)
        Heat left by the pulses of each group before the pass [J].

    Returns
    -------
    ndarray, shape (g,)
        Local temperature just before the first pulse of each group [K].
    """
    rows = plan.groups[number]
    left = np.concatenate([earlier, np.full(rows.stop - rows.start, heat)])
    found: Floats = plan.starts[number] + plan.factors.local[rows, : rows.stop] @ left
    return found


def pass_history(
    plan: SeamPlan, number: int, response: PassResponse, found: Floats, left: Floats
) -> PassHistory:
    """Return the history of one pass from its march.

    Parameters
    ----------
    plan : SeamPlan
    number : int
        Which pass.
    response : PassResponse
        That it was marched with.
    found : ndarray, shape (g,)
        Temperatures that the groups of the pass found [K].
    left : ndarray, shape (k,)
        Heat left by each pulse of all groups up to the last one of the pass [J].
    """
    rows, pulses = plan.groups[number], plan.pulses[number]
    part = plan.starts[number] + plan.factors.mean[rows, : rows.stop] @ left
    firsts = plan.factors.first[rows]
    every = np.arange(pulses.start, pulses.stop)
    preheat = np.interp(every, firsts, found)
    return PassHistory(
        place=plan.train.place[pulses],
        time=plan.train.time[pulses],
        preheat=preheat,
        part_temperature=np.interp(every, firsts, part),
        energy_factor=response.at("factor", preheat),
        **{name: response.at(name, preheat) for name in RESULTS},
    )
