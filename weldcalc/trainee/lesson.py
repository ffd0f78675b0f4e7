"""What six settings do to a seam: pitch, overlaps, pools on cold and on warm metal, heat left."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np
from attrs import evolve, field, fields_dict, frozen
from numpy.typing import NDArray

from weldcalc import pulses
from weldcalc.beam import mean_irradiance
from weldcalc.errors import InputError
from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.heatflow.seam import SeamBody, unit_rise
from weldcalc.materials import Material
from weldcalc.passes.pulse import (
    cooling_followed,
    joint_material,
    plate_material,
    pulse_settings,
)
from weldcalc.passes.pulse import run_pulse as run_engine
from weldcalc.passes.seam_history import seam_body
from weldcalc.reference import data_folder
from weldcalc.schedule import Schedule, WeldPass, load_schedule
from weldcalc.trainee.profile import root_profile

Floats = NDArray[np.float64]

DEMO: Final = "demo/level_gauge_stem.toml"
# the engine starts from solid metal; above this share of the solidus the seam stays one pool
_HOTTEST: Final = 0.95
_NODES = 6  # temperatures at which the engine is run to see what a pulse leaves
_FINE = 1201
_OWN_POINTS, _OTHER_POINTS = 60, 9


@frozen
class Settings:
    """What the trainee moves (SI).

    Parameters
    ----------
    travel_speed, repetition_rate, spot_diameter : float
        [m/s], [Hz], [m]
    pulse_duration, peak_power, wall_thickness : float
        [s], [W], [m]
    """

    travel_speed: float
    repetition_rate: float
    spot_diameter: float
    pulse_duration: float
    peak_power: float
    wall_thickness: float

    def changed(self, other: Settings) -> tuple[str, ...]:
        """Return the names of the settings in which another differs."""
        return tuple(name for name in SETTINGS if getattr(self, name) != getattr(other, name))


SETTINGS: Final = tuple(fields_dict(Settings))


@frozen(eq=False)
class Lesson:
    """What stays the same while the trainee moves the settings.

    Parameters
    ----------
    schedule : Schedule
        Gives joint, metal, surface, goals and limits of the laser.
    start : WeldPass
        Pass that the settings start from.
    metal, plate : Material
        Grades.
    """

    schedule: Schedule
    start: WeldPass
    metal: Material
    plate: Material

    @property
    def settings(self) -> Settings:
        """Settings that the lesson starts from."""
        own = {name: getattr(self.start, name) for name in SETTINGS if name != "wall_thickness"}
        return Settings(**own, wall_thickness=self.schedule.joint.wall_thickness)

    @property
    def half_way(self) -> float:
        """Half the length of the seam [m]: there the pools on warm metal are looked at."""
        return self.schedule.joint.weld_length / 2

    def body(self, wall_thickness: float) -> SeamBody:
        """Return what the heat of the seam runs into, for another wall [m]."""
        joint = evolve(self.schedule.joint, wall_thickness=wall_thickness)
        return seam_body(joint, self.metal, self.plate)


def open_lesson(schedule_file: str = "", pass_name: str = "") -> Lesson:
    """Return the lesson of a pass of a schedule.

    Parameters
    ----------
    schedule_file : str, optional
        Path of a schedule; the shipped demo when empty.
    pass_name : str, optional
        Name of its pass; the first one when empty.

    Returns
    -------
    Lesson

    Raises
    ------
    InputError
        When the file cannot be used or has no such pass.
    """
    path = Path(schedule_file) if schedule_file else data_folder() / DEMO
    schedule = load_schedule(path)
    index = schedule.pass_index(pass_name) if pass_name else 0
    return Lesson(
        schedule=schedule,
        start=schedule.passes[index],
        metal=joint_material(schedule),
        plate=plate_material(schedule),
    )


@frozen(eq=False)
class Pool:
    """One pulse and what it means for the seam.

    Parameters
    ----------
    found : float
        Temperature that the pulse finds [K].
    pulse : PulseResult
        What it does.
    least_depth : float
        Depth half a pitch from its centre [m].
    melt_overlap, root_overlap : float or None
        Of the fused spots at the top and on the far side [-]; None without a fused spot.
    """

    found: float
    pulse: PulseResult = field(repr=False)
    least_depth: float
    melt_overlap: float | None
    root_overlap: float | None

    @property
    def root_width(self) -> float:
        """Fused width on the far side [m]; 0 where the pool does not go through."""
        return self.pulse.root_width if self.pulse.full_penetration else 0.0


@frozen(eq=False)
class Outcome:
    """What the settings do (SI, fractions 0 to 1).

    Parameters
    ----------
    settings : Settings
        That were computed.
    pulse_energy, average_power, duty_cycle, mean_irradiance, heat_input : float
        [J], [W], [-], [W/m2], [J/m]
    pulse_pitch, spot_overlap, spot_overlap_with_travel : float
        [m], [-], [-]
    cold : Pool
        First pulse of the seam.
    warm : Pool or None
        A pulse half-way along the seam; None where the seam would not set between two pulses.
    time : ndarray, shape (n,)
        Since a pulse, up to the next one [s].
    cooling_first, cooling_later : ndarray, shape (n,)
        Temperature at the place of that pulse, evened out through the wall, for the first pulse
        and for one half-way along the seam [K].
    """

    settings: Settings
    pulse_energy: float
    average_power: float
    duty_cycle: float
    mean_irradiance: float
    heat_input: float
    pulse_pitch: float
    spot_overlap: float
    spot_overlap_with_travel: float
    cold: Pool
    warm: Pool | None
    time: Floats = field(repr=False)
    cooling_first: Floats = field(repr=False)
    cooling_later: Floats = field(repr=False)

    @property
    def pool(self) -> Pool:
        """Pool that the pictures show: half-way along the seam, the first one where it floods."""
        return self.warm or self.cold


def compute(lesson: Lesson, settings: Settings) -> Outcome:
    """Compute what settings do: kinematics, a few engine runs, heat along the seam.

    Parameters
    ----------
    lesson : Lesson
        What stays the same.
    settings : Settings
        What was set.

    Returns
    -------
    Outcome

    Raises
    ------
    InputError
        When pulses would run into each other.
    """
    _check_duty(settings)
    pitch = pulses.pitch(
        travel_speed=settings.travel_speed, repetition_rate=settings.repetition_rate
    )
    energy = pulses.energy(
        peak_power=settings.peak_power,
        pulse_duration=settings.pulse_duration,
        pulse_shape=lesson.start.pulse_shape,
    )
    cold = run_pulse(lesson, settings, lesson.start.preheat)
    warm, found = _warm_pulse(lesson, settings)
    time, first, later = _cooling(lesson, settings, cold, warm or cold)
    return Outcome(
        settings=settings,
        pulse_energy=energy,
        average_power=pulses.average_power(
            pulse_energy=energy, repetition_rate=settings.repetition_rate
        ),
        duty_cycle=settings.pulse_duration * settings.repetition_rate,
        mean_irradiance=mean_irradiance(power=settings.peak_power, diameter=settings.spot_diameter),
        heat_input=pulses.heat_input(pulse_energy=energy, pitch=pitch),
        pulse_pitch=pitch,
        spot_overlap=pulses.overlap_of_width(width=settings.spot_diameter, pitch=pitch),
        spot_overlap_with_travel=pulses.spot_overlap_with_travel(
            travel_speed=settings.travel_speed,
            repetition_rate=settings.repetition_rate,
            spot_diameter=settings.spot_diameter,
            pulse_duration=settings.pulse_duration,
        ),
        cold=_pool(cold, lesson.start.preheat, pitch),
        warm=_pool(warm, found, pitch) if warm else None,
        time=time,
        cooling_first=first,
        cooling_later=later,
    )


def _check_duty(settings: Settings) -> None:
    if settings.pulse_duration * settings.repetition_rate >= 1.0:
        raise InputError.of(
            "pulse duration and rate",
            "a pulse would last until the next one begins; shorten the pulse or lower the rate",
        )


def run_pulse(lesson: Lesson, settings: Settings, found: float) -> PulseResult:
    """Run the engine for a pulse that finds metal at a temperature.

    Parameters
    ----------
    lesson : Lesson
        What stays the same.
    settings : Settings
        What was set.
    found : float
        Temperature [K]; taken to a tenth.

    Returns
    -------
    PulseResult
        The pulse depends neither on speed nor on rate, so that moving those costs nothing here.
    """
    return _run(
        lesson,
        round(found, 1),
        settings.peak_power,
        settings.pulse_duration,
        settings.spot_diameter,
        settings.wall_thickness,
    )


@lru_cache(maxsize=512)
def _run(
    lesson: Lesson, found: float, power: float, duration: float, spot: float, wall: float
) -> PulseResult:
    weld_pass = evolve(lesson.start, peak_power=power, pulse_duration=duration, spot_diameter=spot)
    joint = evolve(lesson.schedule.joint, wall_thickness=wall)
    schedule = evolve(lesson.schedule, joint=joint)
    wanted = pulse_settings(schedule, weld_pass, lesson.metal, preheat=found)
    # followed as long as in an estimate: to the end of all cooling would take forty times as long
    # on metal that is nearly as warm as it gets
    return run_engine(lesson.metal, wanted, cooling=cooling_followed(lesson.start))


def heat_left(pulse: PulseResult) -> float:
    """Return the heat that a pulse leaves in the metal [J]."""
    return pulse.absorbed_energy - pulse.lost_energy


def _warm_pulse(lesson: Lesson, settings: Settings) -> tuple[PulseResult | None, float]:
    """Return a pulse half-way along the seam, None where it finds liquid, and what it finds [K].

    The hotter the metal, the more a pulse melts, and the more of it may leave by an opened far
    side: what it leaves depends on what it finds, and the other way round. The seam warms up from
    below, so the lowest temperature at which both agree is the one that is reached.
    """
    start, hottest = lesson.start.preheat, _HOTTEST * lesson.metal.solidus
    nodes = np.linspace(start, hottest, _NODES)
    with ThreadPoolExecutor() as pool:
        runs = list(pool.map(lambda found: run_pulse(lesson, settings, float(found)), nodes))
    rise = _rise_before(lesson, settings)
    fine = np.linspace(start, hottest, _FINE)
    missing = start + rise * np.interp(fine, nodes, [heat_left(run) for run in runs]) - fine
    reached = np.flatnonzero(missing <= 0)
    if not reached.size:
        return None, hottest
    found = float(fine[reached[0]])
    return run_pulse(lesson, settings, found), found


def _earlier(lesson: Lesson, settings: Settings) -> tuple[Floats, Floats]:
    """Return place [m] and age [s] of all pulses before the one half-way, as that one fires."""
    pitch = settings.travel_speed / settings.repetition_rate
    count = max(int(lesson.half_way / pitch), 1)
    before = np.arange(1, count + 1, dtype=float)
    return lesson.half_way - before * pitch, before / settings.repetition_rate


def _rise_before(lesson: Lesson, settings: Settings) -> float:
    """Return the rise that a pulse half-way finds for each joule left by those before it [K/J]."""
    place, age = _earlier(lesson, settings)
    body = lesson.body(settings.wall_thickness)
    return float(unit_rise(body, source=place, place=lesson.half_way, age=age).sum())


def _cooling(
    lesson: Lesson, settings: Settings, cold: PulseResult, warm: PulseResult
) -> tuple[Floats, Floats, Floats]:
    """Return times after a pulse [s] and how the first and a later one cool [K]."""
    body, start = lesson.body(settings.wall_thickness), lesson.start.preheat
    period = 1.0 / settings.repetition_rate
    time: Floats = period * np.linspace(0.0, 1.0, _OWN_POINTS + 1)[1:]
    own = unit_rise(body, source=0.0, place=0.0, age=time)
    # what older pulses left changes slowly: few points serve
    place, age = _earlier(lesson, settings)
    coarse = period * np.linspace(0.0, 1.0, _OTHER_POINTS)
    others = [
        float(unit_rise(body, source=place, place=lesson.half_way, age=age + later).sum())
        for later in coarse
    ]
    older = np.interp(time, coarse, others)
    return time, start + own * heat_left(cold), start + (own + older) * heat_left(warm)


def _pool(pulse: PulseResult, found: float, pitch: float) -> Pool:
    root = pulse.root_width if pulse.full_penetration else 0.0
    return Pool(
        found=found,
        pulse=pulse,
        least_depth=float(root_profile(pulse.fusion_outline, np.array([[pitch / 2]]))[0]),
        melt_overlap=_overlap(pulse.fusion_width, pitch),
        root_overlap=_overlap(root, pitch),
    )


def _overlap(width: float, pitch: float) -> float | None:
    return pulses.overlap_of_width(width=width, pitch=pitch) if width > 0 else None


def centres(outcome: Outcome, reach: float) -> Iterator[float]:
    """Yield the places of pulse centres within a distance [m] of the middle one, [m]."""
    last = int(reach / outcome.pulse_pitch)
    yield from (number * outcome.pulse_pitch for number in range(-last, last + 1))
