"""One pulse on a joint, computed in x along the seam, y across it and z along the beam."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.errors import InputError
from weldcalc.heatflow.section_case import (
    AbsorptivitySpec,
    ConstantsSpec,
    MaterialSpec,
    SectionCase,
    section_case,
)
from weldcalc.heatflow.section_measure import section_result
from weldcalc.heatflow.section_result import SectionResult
from weldcalc.heatflow.section_solve import Bench, SectionState, cold_state, run_pulse, set_up
from weldcalc.joint import Joint
from weldcalc.pulse_shape import ShapeSpec
from weldcalc.section_shape import Section, joint_section

Array = NDArray[np.float64]


def section_pulse(
    section: Section | Joint,
    *,
    peak_power: float,
    pulse_duration: float,
    spot_diameter: float,
    material: MaterialSpec = None,
    profile: str = "top-hat",
    pulse_shape: ShapeSpec = "square",
    preheat: float = 293.15,
    absorptivity: AbsorptivitySpec = None,
    grid: float | None = None,
    constants: ConstantsSpec = None,
    beam_offset: float = 0.0,
    beam_angle: float = 0.0,
    travel_speed: float = 0.0,
) -> SectionResult:
    """Compute one pulse on a joint section and the cooling after it.

    Parameters
    ----------
    section : Section or Joint
        Members in cross-section, from `weldcalc.section_shape` or `weldcalc.joint.sheet`; a
        schedule's joint is turned into its section.
    peak_power : float
        Highest power during the pulse [W], > 0
    pulse_duration : float
        [s], > 0
    spot_diameter : float
        Square to the beam; 1/e2 diameter for a gaussian [m], > 0
    material : Material, str, or a pair of them, optional
        Grades in place of those that the section names; a pair goes by member.
    profile : {"top-hat", "gaussian"}, optional
        Irradiance over the spot.
    pulse_shape : "square" or sequence of (time, level), optional
        Corners of the power over the pulse, both from 0 to 1.
    preheat : float, optional
        Temperature of the part before the pulse and of the surroundings [K].
    absorptivity : float or a pair, optional
        Of the flat surface, above 0 to 1 [-]; None takes the one fitted to polished metal.
    grid : float, optional
        Edge of the cells under the spot [m]; None takes a fourteenth of the spot diameter, less
        along the beam in a thin sheet (a fourteenth of it) and across a thin tube wall (an eighth).
    constants : ModelConstants or a pair, optional
        Model constants; None takes those fitted to each material's family.
    beam_offset : float, optional
        Beam axis from the joint line on the irradiated face, positive towards the second member
        [m].
    beam_angle : float, optional
        Tilt of the beam in the section, positive when it comes from the second member's side
        [rad].
    travel_speed : float, optional
        Along the seam during the pulse, the middle of the pulse at x = 0 [m/s].

    Returns
    -------
    SectionResult

    Raises
    ------
    InputError
        When a value is outside what it can be; all are reported at once.

    Notes
    -----
    Finite volumes in enthalpy on boxes; see `weldcalc.heatflow.enthalpy` for the physics, which is
    that of the axisymmetric engine.

    Faces closer than 5 micrometres touch and conduct as if they were one (common practice, no
    source). Across a wider gap no heat flows until the metal on both sides of it is molten; from
    then on it conducts there, if the gap is at most a tenth of the thinner member (common practice,
    no source). Beam that falls straight through the gap, or past an edge, is lost and counted.
    Radiation from face to face in the gap is left out.
    """
    case = section_case(
        _section(section),
        peak_power=peak_power,
        pulse_duration=pulse_duration,
        spot_diameter=spot_diameter,
        material=material,
        profile=profile,
        pulse_shape=pulse_shape,
        preheat=preheat,
        absorptivity=absorptivity,
        grid=grid,
        constants=constants,
        beam_offset=beam_offset,
        beam_angle=beam_angle,
        travel_speed=travel_speed,
    )
    return run_section(case)


def run_section(case: SectionCase) -> SectionResult:
    """Compute a checked case.

    Parameters
    ----------
    case : SectionCase
        What to compute.

    Returns
    -------
    SectionResult
    """
    bench = set_up(case)
    return section_result(run_pulse(bench, cold_state(bench)))


def section_pulses(
    batch: Iterable[Mapping[str, Any]], *, threads: int | None = None
) -> list[SectionResult]:
    """Compute many pulses on all processors; results in the order given, the same as one by one.

    Parameters
    ----------
    batch : iterable of mapping
        Arguments of `section_pulse` by name, with "section".
    threads : int, optional
        None takes one per processor.

    Returns
    -------
    list of SectionResult

    Raises
    ------
    InputError
        As `section_pulse`, for the first pulse that cannot be computed.
    """
    workers = threads or os.cpu_count() or 1
    with ThreadPoolExecutor(max_workers=workers) as pool:
        return list(pool.map(lambda case: section_pulse(**case), batch))


@frozen(eq=False)
class PulseRow:
    """Several pulses along a seam, one after the other on the metal as the last one left it.

    Parameters
    ----------
    place, time : ndarray, shape (n,)
        Middle of each pulse along the seam [m], start [s].
    energy_left : ndarray, shape (n,)
        Heat that each pulse left in the metal: absorbed less lost until the next pulse [J].
    preheat : ndarray, shape (n,)
        Temperature through the thickness that each pulse finds at its place on the joint [K].
    energy_balance : float
        Of all pulses together: (absorbed - lost - gained by the metal) / absorbed [-].
    """

    place: Array
    time: Array
    energy_left: Array
    preheat: Array
    energy_balance: float


def section_pulses_in_row(
    section: Section | Joint,
    *,
    pulses: int,
    pitch: float,
    repetition_rate: float,
    **settings: Any,
) -> PulseRow:
    """Compute several pulses in a row along a seam that goes on at both ends.

    Parameters
    ----------
    section : Section or Joint
        As in `section_pulse`.
    pulses : int
        How many, >= 1; the preheat before one more is computed as well.
    pitch : float
        Distance from pulse to pulse [m], >= 0
    repetition_rate : float
        [Hz], > 0
    **settings
        Other arguments of `section_pulse`.

    Returns
    -------
    PulseRow
        With one entry more than `pulses`: the last one was not fired and left nothing.

    Raises
    ------
    InputError
        As `section_pulse`, and when the pulses are longer than their period.
    """
    case = section_case(_section(section), **settings)
    period = 1.0 / repetition_rate
    if period <= case.pulse_duration:
        raise InputError.of("repetition_rate", "leaves no pause between pulses", repetition_rate)
    places = np.asarray(pitch * (np.arange(pulses + 1) - 0.5 * pulses), dtype=float)
    bench = set_up(case, start=float(places[0]), end=float(places[-1]), lasting=pulses * period)
    state = cold_state(bench)
    left, found = np.zeros(pulses + 1), np.empty(pulses + 1)
    absorbed, gained = 0.0, 0.0
    for number, place in enumerate(places):
        found[number] = local_temperature(bench, state, float(place))
        if number == pulses:
            break
        solution = run_pulse(bench, state, place=float(place), period=period)
        state = solution.state
        totals = solution.totals
        left[number] = totals["absorbed"] - totals["radiated"] - totals["evaporated"]
        absorbed, gained = absorbed + totals["absorbed"], gained + totals["gained"]
    return PulseRow(
        place=places,
        time=np.asarray(period * np.arange(pulses + 1), dtype=float),
        energy_left=left,
        preheat=found,
        energy_balance=(float(left.sum()) - gained) / absorbed,
    )


def local_temperature(bench: Bench, state: SectionState, place: float) -> float:
    """Return the temperature [K] under the beam axis at a place along the seam, mean over z.

    Parameters
    ----------
    bench : Bench
        Case and cells.
    state : SectionState
        The metal.
    place : float
        Along the seam [m].

    Returns
    -------
    float
    """
    grid = bench.grid
    column, own = bench.centre_column, bench.centre_member
    layers = slice(int(grid.top[column]), int(grid.bottom[column]) + 1)
    line = np.array(
        [np.interp(place, grid.x, row[1:-1]) for row in state.enthalpy[layers, :, column]]
    )
    warmth = bench.tables[own].temperature_at(line)
    return float(np.average(warmth, weights=grid.dz[layers.start - 1 : layers.stop - 1]))


def _section(section: Section | Joint) -> Section:
    return joint_section(section) if isinstance(section, Joint) else section
