"""Optical density, hazard distances and eyewear numbers: estimates for the laser safety officer.

Outputs are powers [W] with limits in W/m2, or pulse energies [J] with limits in J/m2; never mixed.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any, Literal

from attrs import frozen

from weldcalc.errors import InputError, Problems
from weldcalc.hazards.exposure import NOTICE
from weldcalc.reference import read_toml
from weldcalc.sourced import Sourced, need_not_negative, need_positive, need_within

Mode = Literal["D", "I", "R", "M"]

_TEXTS = "laser-safety texts"
_MEMORY = "laser-safety practice"


@frozen
class ScaleNumber:
    """Least scale number of a laser eye protector (EN 207) for one working mode.

    Parameters
    ----------
    mode : {"D", "I", "R", "M"}
        D continuous, I pulsed, R giant pulsed, M mode locked.
    number : int
        n of LBn: the exact value rounded up, at least 1.
    exact : float
        Value before rounding [1].
    marking : str
        As written on eyewear: mode, wavelength [nm] and LB number.
    within_scale : bool
        False above the top of the scale, where no eyewear of this scheme suffices.
    source, standing, note : str
        Where the table comes from, how sure it is, and what was assumed.
    """

    mode: Mode
    number: int
    exact: float
    marking: str
    within_scale: bool
    source: str
    standing: str
    note: str = NOTICE


def optical_density(*, exposure: float, limit: float) -> Sourced:
    """Return the optical density that brings an exposure down to its limit.

    Parameters
    ----------
    exposure : float
        Exposure without protection [W/m2 or J/m2].
    limit : float
        Exposure limit [same unit].

    Returns
    -------
    Sourced
        Optical density [1]; zero where the exposure is below the limit.

    Raises
    ------
    InputError
        When a value is not above zero.

    References
    ----------
    OD = log10(H0 / limit): Macquarie University, Faculty of Science, laser safety appendix X, 2015.
    """
    _need_positive(exposure=exposure, limit=limit)
    return Sourced(
        value=max(0.0, math.log10(exposure / limit)),
        unit="1",
        formula="log10(H0 / limit)",
        source="Macquarie University, Faculty of Science, laser safety appendix X, 2015",
        standing="published",
        note=NOTICE,
    )


def beam_hazard_distance(
    *,
    output: float,
    limit: float,
    divergence: float,
    aperture: float = 0.0,
    combine: Literal["linear", "quadrature"] = "linear",
) -> Sourced:
    """Return the nominal hazard distance along a diverging beam.

    Parameters
    ----------
    output : float
        Power [W] or pulse energy [J] of the beam.
    limit : float
        Exposure limit [W/m2 or J/m2, to match].
    divergence : float
        Full angle of the beam [rad]; behind a focus, the full angle of the exit cone.
    aperture : float
        Beam diameter where the distance starts [m]; zero at a focus.
    combine : {"linear", "quadrature"}
        How the starting diameter and the spread add up.

    Returns
    -------
    Sourced
        Distance [m]; zero where the limit is not exceeded at the start.

    Raises
    ------
    InputError
        When a value is not above zero (aperture: not below) or `combine` is unknown.

    References
    ----------
    [sqrt(4 P / (pi limit)) - a] / theta and sqrt(4 P / (pi limit) - a^2) / theta: laser-safety
    texts.
    """
    _need_positive(output=output, limit=limit, divergence=divergence)
    problems = Problems()
    need_not_negative(problems, aperture=aperture)
    if combine not in ("linear", "quadrature"):
        problems.add("combine", 'has to be "linear" or "quadrature"', combine)
    problems.raise_if_any()
    safe_area = 4 * output / (math.pi * limit)
    if combine == "linear":
        spread, formula = math.sqrt(safe_area) - aperture, "(sqrt(4 P / (pi limit)) - a) / theta"
    else:
        spread = math.sqrt(max(0.0, safe_area - aperture**2))
        formula = "sqrt(4 P / (pi limit) - a^2) / theta"
    return _distance(max(0.0, spread) / divergence, formula, _TEXTS, "published")


def lens_hazard_distance(
    *, output: float, limit: float, focal_length: float, beam_diameter: float
) -> Sourced:
    """Return the hazard distance behind the focus of a lens in the beam.

    Parameters
    ----------
    output : float
        Power [W] or pulse energy [J] of the beam.
    limit : float
        Exposure limit [W/m2 or J/m2, to match].
    focal_length : float
        Focal length of the lens [m].
    beam_diameter : float
        Beam diameter on the lens [m].

    Returns
    -------
    Sourced
        Distance from the lens [m].

    Raises
    ------
    InputError
        When a value is not above zero.

    References
    ----------
    (f / b) sqrt(4 P / (pi limit)): laser-safety practice (from memory).
    """
    _need_positive(
        output=output, limit=limit, focal_length=focal_length, beam_diameter=beam_diameter
    )
    reach = focal_length / beam_diameter * math.sqrt(4 * output / (math.pi * limit))
    return _distance(reach, "(f / b) sqrt(4 P / (pi limit))", _MEMORY, "from memory")


def diffuse_hazard_distance(
    *, output: float, limit: float, reflectance: float = 1.0, angle: float = 0.0
) -> Sourced:
    """Return the hazard distance from a matt surface that scatters the beam.

    Parameters
    ----------
    output : float
        Power [W] or pulse energy [J] of the beam.
    limit : float
        Exposure limit [W/m2 or J/m2, to match].
    reflectance : float
        Share of the beam that is scattered [1], above 0 to 1.
    angle : float
        Angle of view from the surface normal [rad], 0 to pi/2.

    Returns
    -------
    Sourced
        Distance from the surface [m].

    Raises
    ------
    InputError
        When a value is out of range.

    References
    ----------
    sqrt(rho P cos(angle) / (pi limit)): laser-safety practice (from memory).
    """
    _need_positive(output=output, limit=limit, reflectance=reflectance)
    problems = Problems()
    need_within(problems, 0.0, 1.0, "", reflectance=reflectance)
    need_within(problems, 0.0, math.pi / 2, "rad", angle=angle)
    problems.raise_if_any()
    seen = max(0.0, math.cos(angle))
    reach = math.sqrt(reflectance * output * seen / (math.pi * limit))
    formula = "sqrt(rho P cos(angle) / (pi limit))"
    return _distance(reach, formula, _MEMORY, "from memory")


def fibre_hazard_distance(*, output: float, limit: float, numerical_aperture: float) -> Sourced:
    """Return the hazard distance from the bare end of a fibre.

    Parameters
    ----------
    output : float
        Power [W] or pulse energy [J] out of the fibre.
    limit : float
        Exposure limit [W/m2 or J/m2, to match].
    numerical_aperture : float
        Numerical aperture of the fibre [1], above 0 to 1.

    Returns
    -------
    Sourced
        Distance from the fibre end [m].

    Raises
    ------
    InputError
        When a value is out of range.

    References
    ----------
    (1.7 / NA) sqrt(P / (pi limit)): laser-safety practice (from memory).
    """
    _need_positive(output=output, limit=limit, numerical_aperture=numerical_aperture)
    problems = Problems()
    need_within(problems, 0.0, 1.0, "", numerical_aperture=numerical_aperture)
    problems.raise_if_any()
    reach = 1.7 / numerical_aperture * math.sqrt(output / (math.pi * limit))
    return _distance(reach, "(1.7 / NA) sqrt(P / (pi limit))", _MEMORY, "from memory")


def exit_cone(*, wavelength: float, beam_quality: float, spot_diameter: float) -> Sourced:
    """Return the full angle of the cone behind a focus.

    Parameters
    ----------
    wavelength : float
        Wavelength [m].
    beam_quality : float
        M2 of the beam [1], at least 1.
    spot_diameter : float
        Diameter of the focus [m].

    Returns
    -------
    Sourced
        Full far-field angle [rad].

    Raises
    ------
    InputError
        When a value is out of range.

    References
    ----------
    theta = 4 M2 wavelength / (pi d0), ISO 11146-1.
    """
    _need_positive(wavelength=wavelength, spot_diameter=spot_diameter)
    if not (math.isfinite(beam_quality) and beam_quality >= 1):
        raise InputError.of("beam_quality", "M2 has to be at least 1", beam_quality)
    return Sourced(
        value=4 * beam_quality * wavelength / (math.pi * spot_diameter),
        unit="rad",
        formula="4 M2 wavelength / (pi d0)",
        source="ISO 11146-1 relations",
        standing="published",
        note=NOTICE,
    )


def scale_number(
    *, wavelength: float, level: float, pulse_duration: float | None = None, pulses: int = 1
) -> ScaleNumber:
    """Return the least EN 207 scale number of eyewear for a beam.

    Parameters
    ----------
    wavelength : float
        Wavelength [m], 315e-9 to 1400e-9.
    level : float
        Irradiance [W/m2] for a continuous beam or the average of a train; radiant exposure of
        one pulse [J/m2] when `pulse_duration` is given. Over the true beam area. A pulse longer
        than 0.25 s counts as continuous, at its radiant exposure over its duration.
    pulse_duration : float, optional
        Duration of a pulse [s]; None for a continuous beam.
    pulses : int
        Pulses in the exposure; the radiant exposure is multiplied by pulses^0.25.

    Returns
    -------
    ScaleNumber
        Mode letter, LB number and marking.

    Raises
    ------
    InputError
        When a value is out of range.

    Notes
    -----
    A pulsed beam needs both its pulse mode and mode D by its average power.

    References
    ----------
    EN 207 scale-number table for 315 to 1400 nm, as reprinted; printed as superseded by ISO
    19818:2021.
    """
    table = _eyewear()
    low, high = table["wavelength"]["value"]
    problems = Problems()
    need_positive(problems, level=level, pulses=pulses)
    if not low <= wavelength <= high:
        why = f"the table covers {low * 1e9:.0f} to {high * 1e9:.0f} nm"
        problems.add("wavelength", why, f"{wavelength * 1e9:g} nm")
    if pulse_duration is not None:
        need_positive(problems, pulse_duration=pulse_duration)
    problems.raise_if_any()
    mode = _mode(pulse_duration)
    if mode == "D":
        effective = level / (pulse_duration or 1.0)
    else:
        effective = level * pulses ** table["train_exponent"]
    exact = math.log10(effective / table["mode"][mode]["limit_at_zero"]["value"])
    # rounding noise must not lift a level that sits on a limit by a whole class
    number = max(1, math.ceil(exact - 1e-9))
    return ScaleNumber(
        mode=mode,
        number=number,
        exact=exact,
        marking=f"{mode} {wavelength * 1e9:.0f} LB{number}",
        within_scale=number <= table["top"],
        source=table["source"],
        standing=table["standing"],
    )


def _mode(pulse_duration: float | None) -> Mode:
    modes = _eyewear()["mode"]
    if pulse_duration is None or pulse_duration > modes["D"]["duration"]["value"][0]:
        return "D"
    if pulse_duration >= modes["I"]["duration"]["value"][0]:
        return "I"
    return "R" if pulse_duration >= modes["R"]["duration"]["value"][0] else "M"


def _distance(value: float, formula: str, source: str, standing: str) -> Sourced:
    return Sourced(
        value=value, unit="m", formula=formula, source=source, standing=standing, note=NOTICE
    )


def _need_positive(**values: float) -> None:
    problems = Problems()
    need_positive(problems, **values)
    problems.raise_if_any()


@cache
def _eyewear() -> dict[str, Any]:
    return read_toml("safety/eyewear.toml")
