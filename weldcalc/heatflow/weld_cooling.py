"""Closed forms of a continuous weld: peak temperature, cooling rate, time to solidify.

They take the net heat input, the energy left in the metal per length of weld, and mean
properties. For a train of pulses that is the average power over the travel speed: single pulses
heat and cool far faster than these forms say.
"""

from __future__ import annotations

from math import e, pi, sqrt
from typing import Literal

import numpy as np

from weldcalc.heatflow.arguments import Value, not_negative, ordered, plain, positive

ADAMS_CONSTANT = sqrt(2 * pi * e)
"""Constant of the thin-plate peak temperature [-]; printed as 4.13 in handbooks."""

THICK_ABOVE = 0.9
"""Relative plate thickness above which heat flows as in a thick plate [-] (from memory)."""

THIN_BELOW = 0.6
"""Relative plate thickness below which heat flows as in a thin plate [-] (from memory)."""

Regime = Literal["thick", "between", "thin"]


def adams_peak_temperature(
    *,
    heat_input: Value,
    volumetric_heat: Value,
    thickness: Value,
    melting_temperature: Value,
    preheat: Value,
    distance: Value,
) -> Value:
    """Return the peak temperature beside a full-penetration weld in a thin plate.

    Parameters
    ----------
    heat_input : float or ndarray
        Net energy left in the metal per length of weld [J/m].
    volumetric_heat : float or ndarray
        Density times specific heat [J/(m3 K)].
    thickness : float or ndarray
        Of the plate [m].
    melting_temperature : float or ndarray
        [K].
    preheat : float or ndarray
        Plate temperature before the weld [K], below melting.
    distance : float or ndarray
        From the fusion boundary [m].

    Returns
    -------
    float or ndarray
        Peak temperature [K] from ``1 / (Tp - T0) = sqrt(2 pi e) rho c h Y / H + 1 / (Tm - T0)``.

    Raises
    ------
    InputError
        When an argument is not physical.

    Notes
    -----
    Holds for a fast continuous source that melts through, far from edges; two-dimensional flow.

    References
    ----------
    C. M. Adams, Welding Journal 37 (1958) 210s (from memory); the form and a worked example are
    those of the American Welding Society's Welding Handbook, read in a reprint.

    Examples
    --------
    >>> adams_peak_temperature(heat_input=720e3, volumetric_heat=4.4e6, thickness=5e-3,
    ...                        melting_temperature=1783.15, preheat=298.15, distance=5.9e-3)
    1003.1
    """
    not_negative(distance=distance)
    _check_plate(heat_input, volumetric_heat, thickness, preheat)
    positive(melting_temperature=melting_temperature)
    ordered(
        "melting_temperature", "preheat", melting_temperature=melting_temperature, preheat=preheat
    )
    slope = ADAMS_CONSTANT * volumetric_heat * thickness / heat_input
    return plain(preheat + 1 / (slope * distance + 1 / (melting_temperature - preheat)))


def adams_haz_width(
    *,
    heat_input: Value,
    volumetric_heat: Value,
    thickness: Value,
    melting_temperature: Value,
    preheat: Value,
    peak_temperature: Value,
) -> Value:
    """Return how far from the fusion boundary a peak temperature reaches in a thin plate.

    Parameters
    ----------
    heat_input : float or ndarray
        Net energy left in the metal per length of weld [J/m].
    volumetric_heat : float or ndarray
        Density times specific heat [J/(m3 K)].
    thickness : float or ndarray
        Of the plate [m].
    melting_temperature : float or ndarray
        [K].
    preheat : float or ndarray
        Plate temperature before the weld [K], below the peak temperature.
    peak_temperature : float or ndarray
        Temperature that bounds the heat-affected zone [K], at most that of melting.

    Returns
    -------
    float or ndarray
        Width on each side [m], measured from the fusion boundary; inverse of
        `adams_peak_temperature`.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    As for `adams_peak_temperature`.

    Examples
    --------
    The handbook's steel plate, 720 J/mm in 5 mm, to 730 degC [m]:

    >>> adams_haz_width(heat_input=720e3, volumetric_heat=4.4e6, thickness=5e-3,
    ...                 melting_temperature=1783.15, preheat=298.15, peak_temperature=1003.15)
    0.0059
    """
    _check_plate(heat_input, volumetric_heat, thickness, preheat)
    positive(melting_temperature=melting_temperature, peak_temperature=peak_temperature)
    ordered("peak_temperature", "preheat", peak_temperature=peak_temperature, preheat=preheat)
    ordered(
        "melting_temperature",
        "peak_temperature",
        equal=True,
        melting_temperature=melting_temperature,
        peak_temperature=peak_temperature,
    )
    inverse = 1 / (peak_temperature - preheat) - 1 / (melting_temperature - preheat)
    return plain(inverse * heat_input / (ADAMS_CONSTANT * volumetric_heat * thickness))


def relative_plate_thickness(
    *,
    heat_input: Value,
    volumetric_heat: Value,
    thickness: Value,
    temperature: Value,
    preheat: Value,
) -> Value:
    """Return the plate thickness relative to how far the heat reaches.

    Parameters
    ----------
    heat_input : float or ndarray
        Net energy left in the metal per length of weld [J/m].
    volumetric_heat : float or ndarray
        Density times specific heat [J/(m3 K)].
    thickness : float or ndarray
        Of the plate [m].
    temperature : float or ndarray
        Temperature at which the cooling rate is wanted [K].
    preheat : float or ndarray
        Plate temperature before the weld [K].

    Returns
    -------
    float or ndarray
        ``h sqrt(rho c (T - T0) / H)`` [-]; `plate_regime` reads it.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Welding Handbook form (from memory). The thick-plate and the thin-plate cooling rate are
    equal where it is 1.
    """
    _check_plate(heat_input, volumetric_heat, thickness, preheat)
    ordered("temperature", "preheat", temperature=temperature, preheat=preheat)
    return plain(thickness * np.sqrt(volumetric_heat * (temperature - preheat) / heat_input))


def plate_regime(relative_thickness: float) -> Regime:
    """Return which of the two plate forms holds.

    Parameters
    ----------
    relative_thickness : float
        From `relative_plate_thickness` [-].

    Returns
    -------
    {"thick", "between", "thin"}
        Thick above 0.9, thin below 0.6. Between, neither holds: work out both and show both.

    Raises
    ------
    InputError
        When it is not above zero.

    References
    ----------
    Welding Handbook limits (from memory).
    """
    positive(relative_thickness=relative_thickness)
    if relative_thickness > THICK_ABOVE:
        return "thick"
    return "thin" if relative_thickness < THIN_BELOW else "between"


def cooling_rate_thick(
    *, heat_input: Value, thermal_conductivity: Value, temperature: Value, preheat: Value
) -> Value:
    """Return the centre-line cooling rate of a weld on a thick plate.

    Parameters
    ----------
    heat_input : float or ndarray
        Net energy left in the metal per length of weld [J/m].
    thermal_conductivity : float or ndarray
        [W/(m K)].
    temperature : float or ndarray
        Temperature at which the rate is wanted [K].
    preheat : float or ndarray
        Plate temperature before the weld [K].

    Returns
    -------
    float or ndarray
        Fall of temperature [K/s], positive: ``2 pi k (T - T0)^2 / H``.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Welding Handbook form (from memory); the derivative of the thick-plate solution on the line
    behind the source.
    """
    positive(heat_input=heat_input, thermal_conductivity=thermal_conductivity)
    not_negative(preheat=preheat)
    ordered("temperature", "preheat", temperature=temperature, preheat=preheat)
    return plain(2 * pi * thermal_conductivity * (temperature - preheat) ** 2 / heat_input)


def cooling_rate_thin(
    *,
    heat_input: Value,
    volumetric_heat: Value,
    thickness: Value,
    thermal_conductivity: Value,
    temperature: Value,
    preheat: Value,
) -> Value:
    """Return the centre-line cooling rate of a weld through a thin plate.

    Parameters
    ----------
    heat_input : float or ndarray
        Net energy left in the metal per length of weld [J/m].
    volumetric_heat : float or ndarray
        Density times specific heat [J/(m3 K)].
    thickness : float or ndarray
        Of the plate [m].
    thermal_conductivity : float or ndarray
        [W/(m K)].
    temperature : float or ndarray
        Temperature at which the rate is wanted [K].
    preheat : float or ndarray
        Plate temperature before the weld [K].

    Returns
    -------
    float or ndarray
        Fall of temperature [K/s], positive: ``2 pi k rho c (h / H)^2 (T - T0)^3``.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Welding Handbook form (from memory); the derivative of the thin-plate solution on the line
    behind a fast source.
    """
    _check_plate(heat_input, volumetric_heat, thickness, preheat)
    positive(thermal_conductivity=thermal_conductivity)
    ordered("temperature", "preheat", temperature=temperature, preheat=preheat)
    per_heat = (thickness / heat_input) ** 2
    factor = 2 * pi * thermal_conductivity * volumetric_heat
    return plain(factor * per_heat * (temperature - preheat) ** 3)


def solidification_time(
    *,
    heat_input: Value,
    volumetric_latent_heat: Value,
    thermal_conductivity: Value,
    volumetric_heat: Value,
    melting_temperature: Value,
    preheat: Value,
) -> Value:
    """Return how long a place in a thick plate's weld metal takes to solidify.

    Parameters
    ----------
    heat_input : float or ndarray
        Net energy left in the metal per length of weld [J/m].
    volumetric_latent_heat : float or ndarray
        Density times latent heat of fusion [J/m3].
    thermal_conductivity : float or ndarray
        [W/(m K)].
    volumetric_heat : float or ndarray
        Density times specific heat [J/(m3 K)].
    melting_temperature : float or ndarray
        [K].
    preheat : float or ndarray
        Plate temperature before the weld [K].

    Returns
    -------
    float or ndarray
        Time from beginning to end [s]: ``L H / (2 pi k rho c (Tm - T0)^2)``.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Welding Handbook form (from memory): latent heat over what the thick-plate cooling rate
    would carry away.
    """
    positive(
        volumetric_latent_heat=volumetric_latent_heat,
        volumetric_heat=volumetric_heat,
        melting_temperature=melting_temperature,
    )
    rate = cooling_rate_thick(
        heat_input=heat_input,
        thermal_conductivity=thermal_conductivity,
        temperature=melting_temperature,
        preheat=preheat,
    )
    return plain(volumetric_latent_heat / (volumetric_heat * rate))


def _check_plate(
    heat_input: Value, volumetric_heat: Value, thickness: Value, preheat: Value
) -> None:
    positive(heat_input=heat_input, volumetric_heat=volumetric_heat, thickness=thickness)
    not_negative(preheat=preheat)
