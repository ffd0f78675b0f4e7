"""One pulse on a joint section as typed in: checked and completed."""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, e, inf, isfinite, pi, radians, sin, sqrt
from typing import TYPE_CHECKING, TypeAlias, TypedDict, TypeVar, cast

from attrs import frozen

from weldcalc.errors import Problems
from weldcalc.heatflow.constants import ModelConstants, fitted_constants
from weldcalc.heatflow.pulse_result import cooled_to
from weldcalc.heatflow.spot_case import LONGEST_COOLING, PROFILES
from weldcalc.materials import Material, material
from weldcalc.pulse_shape import PulseShape, ShapeSpec
from weldcalc.section_shape import Section

if TYPE_CHECKING:
    from typing import Unpack

T = TypeVar("T")

MaterialSpec: TypeAlias = Material | str | Sequence[Material | str] | None
ConstantsSpec: TypeAlias = ModelConstants | Sequence[ModelConstants] | None
AbsorptivitySpec: TypeAlias = float | Sequence[float] | None

CELLS_PER_SPOT = 14.0  # across the spot diameter: square cells on a round spot need more than rings
CELLS_PER_SHEET = 14.0  # through what the beam has to melt through
CELLS_PER_WALL = 8.0  # across a tube's wall
CONTACT_GAP = 5e-6  # m; machined faces pressed together: common practice, no source
BRIDGED_GAP = 0.1  # of the thinner member: common practice for butt joints, no source
STEEPEST = radians(75.0)  # largest tilt of the beam; beyond it the spot is no spot any more
FLATTEST_FILLET = radians(10.0)  # least tilt onto a fillet: below it the tube is in the way


class SectionSettings(TypedDict, total=False):
    """Keywords of `weldcalc.heatflow.section.section_pulse`; see there."""

    peak_power: float
    pulse_duration: float
    spot_diameter: float
    material: MaterialSpec
    profile: str
    pulse_shape: ShapeSpec
    preheat: float
    absorptivity: AbsorptivitySpec
    grid: float | None
    constants: ConstantsSpec
    beam_offset: float
    beam_angle: float
    travel_speed: float


@frozen(eq=False)
class SectionCase:
    """One pulse on a section, checked and completed; pairs are by member.

    Parameters
    ----------
    section : Section
        Members in cross-section.
    materials : tuple of two Material
        The same twice where there is one member.
    peak_power, pulse_duration, spot_diameter, preheat : float
        [W], [s], [m], [K]
    profile : {"top-hat", "gaussian"}
        Irradiance over the spot.
    shape : PulseShape
        Power over the pulse.
    cells : tuple of three float
        Edges of the cells under the spot, in x, y and z [m].
    constants : tuple of two ModelConstants
        Fitted model constants.
    absorptivity : tuple of two (float or None)
        Of the flat surface, in place of the fitted one [-].
    beam_offset : float
        Of the beam axis from the joint line, measured on the face [m].
    beam_angle : float
        Tilt of the beam from upright, positive when it comes from the positive side [rad].
    travel_speed : float
        Along the seam during the pulse [m/s].
    with_losses : bool
        Whether free faces radiate and evaporate.
    cooling : float
        Longest time that is followed after the pulse [s].
    """

    section: Section
    materials: tuple[Material, Material]
    peak_power: float
    pulse_duration: float
    spot_diameter: float
    preheat: float
    profile: str
    shape: PulseShape
    cells: tuple[float, float, float]
    constants: tuple[ModelConstants, ModelConstants]
    absorptivity: tuple[float | None, float | None]
    beam_offset: float
    beam_angle: float
    travel_speed: float
    with_losses: bool = True
    cooling: float = LONGEST_COOLING

    @property
    def energy(self) -> float:
        """Pulse energy [J]."""
        return self.peak_power * self.pulse_duration * self.shape.mean_level

    @property
    def beam_place(self) -> float:
        """Beam axis from the joint line, square to the beam [m]."""
        return self.beam_offset * cos(self.beam_angle)

    @property
    def open_gap(self) -> float:
        """Width of the gap that the beam can look through to the far side [m]."""
        if self.section.kind == "fillet":
            return 0.0
        depth = self.section.joint_length
        seen = self.section.gap * cos(self.beam_angle) - depth * abs(sin(self.beam_angle))
        return max(seen, 0.0)

    @property
    def is_broken(self) -> bool:
        """Whether the joint conducts by its own rule: a gap, or two metals."""
        return self.has_gap or self.materials[0] != self.materials[1]

    @property
    def has_gap(self) -> bool:
        """Whether the gap is too wide for the faces to touch."""
        return self.section.gap > CONTACT_GAP

    @property
    def can_bridge(self) -> bool:
        """Whether the rule of thumb lets melt join the members over the gap."""
        return self.section.gap <= BRIDGED_GAP * self.section.thinnest

    @property
    def cooled_to(self) -> float:
        """Temperature at which cooling need not be followed further [K]."""
        return cooled_to(self.preheat, min(metal.solidus for metal in self.materials))

    @property
    def reach(self) -> float:
        """Distance from the beam [m] that the run's heat does not notice.

        Four times as far as an instant line source (sheet) or point source (thick body) of half the
        pulse energy heats metal to the temperature at which the run ends.
        """
        density = min(metal.density_rt for metal in self.materials)
        heat = 0.5 * self.energy / (density * 600.0 * (self.cooled_to - self.preheat))
        line = sqrt(heat / (pi * e * self.section.thinnest))
        point = (heat / (pi * e)) ** (1.0 / 3.0)
        diffused = 4.0 * sqrt(1e-5 * self.pulse_duration)
        return float(max(4.0 * min(line, point), 2.0 * self.spot_diameter + diffused))


def section_case(section: Section, **settings: Unpack[SectionSettings]) -> SectionCase:
    """Check and complete the arguments of `weldcalc.heatflow.section.section_pulse`.

    Parameters
    ----------
    section : Section
        Members in cross-section.
    **settings
        See `weldcalc.heatflow.section.section_pulse`.

    Returns
    -------
    SectionCase

    Raises
    ------
    InputError
        When a value is outside what it can be; all are reported at once.
    """
    power, duration = settings["peak_power"], settings["pulse_duration"]
    spot, grid = settings["spot_diameter"], settings.get("grid")
    preheat = settings.get("preheat", 293.15)
    profile = settings.get("profile", "top-hat")
    absorptivity = _pair(settings.get("absorptivity"))
    materials = _materials(section, settings.get("material"))
    offset, angle = settings.get("beam_offset", 0.0), settings.get("beam_angle", 0.0)
    speed = settings.get("travel_speed", 0.0)
    problems = Problems()
    _check_above(
        problems,
        0.0,
        peak_power=power,
        pulse_duration=duration,
        spot_diameter=spot,
        preheat=preheat,
        grid=1.0 if grid is None else grid,
    )
    _check_above(problems, -inf, beam_offset=offset)
    _check_surface(problems, absorptivity, profile, preheat, materials)
    _check_beam(problems, section, angle, speed)
    problems.raise_if_any()
    constants = _pair(settings.get("constants"))
    return SectionCase(
        section=section,
        materials=materials,
        peak_power=power,
        pulse_duration=duration,
        spot_diameter=spot,
        preheat=preheat,
        profile=profile,
        shape=PulseShape.of(settings.get("pulse_shape", "square")),
        cells=(grid, grid, grid) if grid else _cells(section, spot),
        constants=(
            constants[0] or fitted_constants(materials[0].family).mean,
            constants[1] or fitted_constants(materials[1].family).mean,
        ),
        absorptivity=absorptivity,
        beam_offset=offset,
        beam_angle=angle,
        travel_speed=speed,
    )


def _cells(section: Section, spot_diameter: float) -> tuple[float, float, float]:
    """Return edges of the cells under the spot in x, y and z [m]."""
    cell = spot_diameter / CELLS_PER_SPOT
    wall = section.thinnest / CELLS_PER_WALL
    if section.kind == "fillet":
        return cell, min(cell, wall), min(cell, wall)
    if section.kind == "flush":
        return cell, min(cell, wall), min(cell, section.joint_length / CELLS_PER_SHEET)
    return cell, cell, min(cell, section.thinnest / CELLS_PER_SHEET)


def _pair(spec: T | Sequence[T] | None) -> tuple[T | None, T | None]:
    if isinstance(spec, (tuple, list)):
        return spec[0], spec[-1]
    return cast("T | None", spec), cast("T | None", spec)


def _materials(section: Section, spec: MaterialSpec) -> tuple[Material, Material]:
    named: MaterialSpec = [member.material for member in section.members] if spec is None else spec
    pair = named if isinstance(named, (tuple, list)) else (named, named)
    return _material(pair[0]), _material(pair[-1])


def _material(spec: Material | str) -> Material:
    return material(spec) if isinstance(spec, str) else spec


def _check_above(problems: Problems, least: float, **values: float) -> None:
    for name, value in values.items():
        if not (isfinite(value) and value > least):
            above = "" if least == -inf else " above zero"
            problems.add(name, f"has to be a finite number{above} (SI unit)", value)


def _check_surface(
    problems: Problems,
    absorptivity: tuple[float | None, float | None],
    profile: str,
    preheat: float,
    materials: tuple[Material, Material],
) -> None:
    for value in {share for share in absorptivity if share is not None}:
        if not 0.0 < value <= 1.0:
            problems.add("absorptivity", "has to be above 0 and at most 1", value)
    if profile not in PROFILES:
        problems.add("profile", f"has to be one of: {', '.join(PROFILES)}", profile)
    solidus = min(metal.solidus for metal in materials)
    if preheat >= solidus:
        problems.add("preheat", f"has to be below the solidus, {solidus:.0f} K", preheat)


def _check_beam(problems: Problems, section: Section, angle: float, speed: float) -> None:
    if not abs(angle) <= STEEPEST:
        problems.add("beam_angle", "has to be within 75 degrees of upright [rad]", angle)
    elif section.kind == "fillet" and angle < FLATTEST_FILLET:
        why = "has to be at least 10 degrees, from the plate's side, to reach a fillet [rad]"
        problems.add("beam_angle", why, angle)
    if not (isfinite(speed) and speed >= 0.0):
        problems.add("travel_speed", "has to be a finite number, zero or more [m/s]", speed)
