"""The parts of a weld schedule: frozen, SI inside, attributes named as the TOML keys.

None means not given; `given` holds the keys that the user typed, all else is a stated default or
follows from what was typed.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

from attrs import frozen

from weldcalc import beam, pulses
from weldcalc.beam import Profile
from weldcalc.pulse_shape import Corners

ROOM_TEMPERATURE = 293.15
Surface: TypeAlias = Literal["polished", "as machined", "matt", "oxidised"]
Keys: TypeAlias = frozenset[str]
_NONE: Keys = frozenset()


@frozen
class GoverningCode:
    """Welding code that governs; weldcalc never replaces it."""

    name: str | None = None
    edition: str | None = None
    given: Keys = _NONE


@frozen
class Goal:
    """What the weld has to reach: shares [1], widths and depths [m], temperature [K]."""

    penetration: float | None = None
    root_width: float | None = None
    spot_overlap: float | None = None
    haz_width: float | None = None
    part_temperature: float | None = None
    underfill: float | None = None
    given: Keys = _NONE


@frozen
class Laser:
    """Laser and optics: lengths [m], powers [W], energy [J], duration [s], rate [Hz].

    `spot_diameter` is the spot on the part: as typed, or from fibre, lenses and focus offset.
    """

    wavelength: float | None = None
    spot_diameter: float | None = None
    fibre_diameter: float | None = None
    collimation_length: float | None = None
    focal_length: float | None = None
    focus_offset: float | None = None
    beam_quality: float | None = None
    profile: Profile = "top-hat"
    peak_power_limit: float | None = None
    pulse_energy_limit: float | None = None
    average_power_limit: float | None = None
    pulse_duration_range: tuple[float, float] | None = None
    repetition_rate_limit: float | None = None
    given: Keys = _NONE

    @property
    def waist_diameter(self) -> float | None:
        """Return the spot in focus [m]; a typed spot diameter counts as in focus."""
        fibre, lens, collimation = self.fibre_diameter, self.focal_length, self.collimation_length
        if fibre is None or lens is None or collimation is None:
            return self.spot_diameter
        return beam.spot_from_fibre(
            fibre_diameter=fibre, focal_length=lens, collimation_length=collimation
        )

    @property
    def rayleigh_length(self) -> float | None:
        """Return the Rayleigh length [m]; None unless wavelength and beam quality are given."""
        waist = self.waist_diameter
        if waist is None or self.beam_quality is None or self.wavelength is None:
            return None
        return beam.rayleigh_length(
            spot_diameter=waist, beam_quality=self.beam_quality, wavelength=self.wavelength
        )


@frozen
class ShieldingSetup:
    """Gas and purge: shares [1], flows [m3/s], volume [m3], temperature [K]."""

    gas: str | None = None
    purity: float | None = None
    flow: float | None = None
    purge_volume: float | None = None
    purge_flow: float | None = None
    oxygen_target: float | None = None
    remove_below: float | None = None
    given: Keys = _NONE


@frozen
class Preparation:
    """How the edges are made ready; time from cleaning to welding [s]."""

    cleaning: str | None = None
    surface: Surface = "as machined"
    clean_to_weld: float | None = None
    given: Keys = _NONE


@frozen
class Scatter:
    """One standard deviation of what varies in the shop: shares of the value [1] or lengths [m]."""

    power: float | None = None
    duration: float | None = None
    spot_diameter: float | None = None
    focus: float | None = None
    wall_thickness: float | None = None
    gap: float | None = None
    beam_offset: float | None = None
    absorptivity: float | None = None
    travel_speed: float | None = None
    given: Keys = _NONE


@frozen
class WeldPass:
    """One pass, every value resolved.

    Parameters
    ----------
    name : str
        Name of the pass.
    peak_power, pulse_energy : float
        Highest power [W] and energy [J] of a pulse; the one not typed follows from the other.
    pulse_duration : float
        Length of a pulse [s].
    repetition_rate : float
        Pulses in a second [Hz].
    travel_speed : float
        Speed of the spot along the seam [m/s].
    rotation : float or None
        Turning speed of the tube [rad/s]; None for sheet.
    spot_diameter : float
        Laser spot on the part [m].
    profile : {"top-hat", "gaussian"}
        How the light is spread over the spot.
    beam_offset : float
        Distance of the beam from the joint line [m].
    beam_angle : float
        Tilt of the beam across the joint [rad].
    pulse_shape : "square" or tuple of (time, power)
        Power during the pulse.
    preheat : float
        Temperature of the part when the pass starts [K].
    arc : float or None
        Angle welded in one segment [rad]; None for sheet.
    segments : int
        Number of segments.
    segment_pause : float
        Pause between segments [s].
    closing_overlap : float or None
        Angle welded on over the start of the next segment, or of the seam itself [rad]; None for
        sheet.
    pause_before : float
        Pause between the end of the pass before and this one [s].
    given : frozenset of str
        Keys that the user typed.
    """

    name: str
    peak_power: float
    pulse_energy: float
    pulse_duration: float
    repetition_rate: float
    travel_speed: float
    spot_diameter: float
    rotation: float | None = None
    profile: Profile = "top-hat"
    beam_offset: float = 0.0
    beam_angle: float = 0.0
    pulse_shape: Literal["square"] | Corners = "square"
    preheat: float = ROOM_TEMPERATURE
    arc: float | None = None
    segments: int = 1
    segment_pause: float = 0.0
    closing_overlap: float | None = None
    pause_before: float = 0.0
    given: Keys = _NONE

    @property
    def duty_cycle(self) -> float:
        """Return the share of the time that the laser is on [1]."""
        return pulses.duty_cycle(
            pulse_duration=self.pulse_duration, repetition_rate=self.repetition_rate
        )

    @property
    def average_power(self) -> float:
        """Return the power over many pulses [W]."""
        return pulses.average_power(
            pulse_energy=self.pulse_energy, repetition_rate=self.repetition_rate
        )
