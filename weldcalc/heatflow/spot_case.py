"""One pulse on a sheet as typed in: checked, completed, and how far its heat reaches."""

from __future__ import annotations

from math import e, isfinite, pi, sqrt
from typing import TYPE_CHECKING

from attrs import frozen

from weldcalc.errors import Problems
from weldcalc.heatflow.constants import ModelConstants, fitted_constants
from weldcalc.heatflow.pulse_result import cooled_to
from weldcalc.pulse_shape import PulseShape, ShapeSpec

if TYPE_CHECKING:
    from weldcalc.materials import Material

PROFILES = ("top-hat", "gaussian")
CELLS_PER_SPOT = 12.0  # across the spot diameter
CELLS_PER_SHEET = 12.0  # through a thin sheet
NARROWEST_RINGS = 0.5  # of their width in thick metal: depth then within 3 % of finer grids
THINNEST = 20e-6  # m; thinner layers take steps too short to be run in a fraction of a second
LONGEST_COOLING = 30.0  # s; by then a part's surroundings decide, not the pulse


@frozen(eq=False)
class SpotCase:
    """One pulse, checked and completed.

    Parameters
    ----------
    material : Material
        The sheet.
    peak_power, pulse_duration, spot_diameter, thickness, preheat : float
        [W], [s], [m], [m], [K]
    profile : {"top-hat", "gaussian"}
        Irradiance over the spot; for a gaussian the spot is the 1/e2 diameter.
    shape : PulseShape
        Power over the pulse.
    cells : tuple of two float
        Edges of the cells under the spot, in r and z [m].
    constants : ModelConstants
        Fitted model constants.
    absorptivity : float or None
        Of the flat surface, in place of the fitted one [-].
    with_losses : bool
        Whether the faces radiate and evaporate.
    cooling : float
        Longest time that is followed after the pulse [s].
    """

    material: Material
    peak_power: float
    pulse_duration: float
    spot_diameter: float
    thickness: float
    preheat: float
    profile: str
    shape: PulseShape
    cells: tuple[float, float]
    constants: ModelConstants
    absorptivity: float | None
    with_losses: bool = True
    cooling: float = LONGEST_COOLING

    @property
    def energy(self) -> float:
        """Pulse energy [J]."""
        return self.peak_power * self.pulse_duration * self.shape.mean_level

    @property
    def cooled_to(self) -> float:
        """Temperature at which cooling need not be followed further [K]."""
        return cooled_to(self.preheat, self.material.solidus)

    @property
    def far_radius(self) -> float:
        """Outer radius of the computed disc [m], beyond what the run's heat notices.

        Four times as far as an instant line source (sheet) or point source (thick body) of half the
        pulse energy heats metal to the temperature at which the run ends.
        """
        rise = self.cooled_to - self.preheat
        heat = 0.5 * self.energy / (self.material.density_rt * 600.0 * rise)
        line = sqrt(heat / (pi * e * self.thickness))
        point = (heat / (pi * e)) ** (1.0 / 3.0)
        diffused = 4.0 * sqrt(1e-5 * self.pulse_duration)
        return float(max(4.0 * min(line, point), 2.0 * self.spot_diameter + diffused))


def spot_case(
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
) -> SpotCase:
    """Check and complete the arguments of `weldcalc.heatflow.spot.spot_pulse`.

    Parameters
    ----------
    material : Material
        Grade of the sheet.
    peak_power, pulse_duration, spot_diameter, thickness : float
        [W], [s], [m], [m], each > 0
    profile : {"top-hat", "gaussian"}, optional
        Irradiance over the spot.
    pulse_shape : "square" or sequence of (time, level), optional
        Power over the pulse.
    preheat : float, optional
        [K], > 0 and below the solidus
    absorptivity : float, optional
        [-], above 0 to 1
    grid : float, optional
        Edge of the cells under the spot, in r and in z [m].
    constants : ModelConstants, optional
        None takes those fitted to the material's family.

    Returns
    -------
    SpotCase

    Raises
    ------
    InputError
        When a value is outside what it can be; all are reported at once.
    """
    problems = Problems()
    _check_positive(
        problems,
        peak_power=peak_power,
        pulse_duration=pulse_duration,
        spot_diameter=spot_diameter,
        thickness=thickness,
        preheat=preheat,
        grid=1.0 if grid is None else grid,
    )
    if absorptivity is not None and not 0.0 < absorptivity <= 1.0:
        problems.add("absorptivity", "has to be above 0 and at most 1", absorptivity)
    if 0.0 < thickness < THINNEST:
        problems.add("thickness", f"has to be at least {THINNEST:g} m (0.02 mm)", thickness)
    if profile not in PROFILES:
        problems.add("profile", f"has to be one of: {', '.join(PROFILES)}", profile)
    if preheat >= material.solidus:
        problems.add("preheat", f"has to be below the solidus, {material.solidus:.0f} K", preheat)
    problems.raise_if_any()
    return SpotCase(
        material=material,
        peak_power=peak_power,
        pulse_duration=pulse_duration,
        spot_diameter=spot_diameter,
        thickness=thickness,
        preheat=preheat,
        profile=profile,
        shape=PulseShape.of(pulse_shape),
        cells=(grid, grid) if grid else _cells(spot_diameter, thickness),
        constants=constants or fitted_constants(material.family).mean,
        absorptivity=absorptivity,
    )


def _cells(spot_diameter: float, thickness: float) -> tuple[float, float]:
    """Return edges of the cells under the spot in r and z [m].

    The layers follow a thin sheet, the rings only down to half their size: in a sheet much thinner
    than the spot heat flows sideways, and cost stays bounded.
    """
    widest, layer = spot_diameter / CELLS_PER_SPOT, thickness / CELLS_PER_SHEET
    return min(widest, max(layer, NARROWEST_RINGS * widest)), min(widest, layer)


def _check_positive(problems: Problems, **values: float) -> None:
    for name, value in values.items():
        if not (isfinite(value) and value > 0.0):
            problems.add(name, "has to be a finite number above zero (SI unit)", value)
