"""Closed forms of melting: least energy, share of energy that melts, normalised enthalpy."""

from __future__ import annotations

from math import e, pi, sqrt

import numpy as np

from weldcalc.errors import InputError
from weldcalc.heatflow.arguments import Value, not_negative, ordered, plain, positive

MELTING_EFFICIENCY_THIN = 2 / sqrt(2 * pi * e)
"""Ceiling of the melting efficiency of a fast line source through a plate, 0.484 [-]: derived
from the peak temperature beside it; printed as 0.48 in the theory of moving sources (from
memory)."""

MELTING_EFFICIENCY_THICK = 1 / e
"""Ceiling of the melting efficiency of a fast point source on a thick plate, 0.368 [-]: derived
from the peak temperature around it; printed as 0.37 in the theory of moving sources (from
memory)."""

HANN_BOILING_304 = 10.62
"""Normalised enthalpy at which 304 stainless steel boils [-]. Source: D. B. Hann, J. Iammi and
J. Folkes, J. Phys. D: Appl. Phys. 44 (2011) 445401 (value published, full reference from
memory)."""

HANN_BOILING_TI64 = 12.34
"""Normalised enthalpy at which Ti-6Al-4V boils [-]. Source: as for `HANN_BOILING_304`."""


def cylinder_volume(*, diameter: Value, depth: Value) -> Value:
    """Return the volume of a cylinder of melt, the least pool that goes through a wall.

    Parameters
    ----------
    diameter : float or ndarray
        [m].
    depth : float or ndarray
        [m].

    Returns
    -------
    float or ndarray
        Volume [m3].

    Raises
    ------
    InputError
        When a length is negative or not finite.
    """
    not_negative(diameter=diameter, depth=depth)
    return plain(pi / 4 * diameter**2 * depth)


def half_ellipsoid_volume(*, width: Value, depth: Value) -> Value:
    """Return the volume of half an ellipsoid of melt, the pool of a still pulse.

    Parameters
    ----------
    width : float or ndarray
        Diameter at the surface [m].
    depth : float or ndarray
        [m].

    Returns
    -------
    float or ndarray
        Volume [m3]: ``pi / 6 width^2 depth``.

    Raises
    ------
    InputError
        When a length is negative or not finite.
    """
    not_negative(width=width, depth=depth)
    return plain(pi / 6 * width**2 * depth)


def melting_energy(
    *,
    volume: Value,
    volumetric_heat: Value,
    volumetric_latent_heat: Value,
    melting_temperature: Value,
    preheat: Value,
) -> Value:
    """Return the least energy that melts a volume: no heat flows out of it.

    Parameters
    ----------
    volume : float or ndarray
        Of the melt [m3].
    volumetric_heat : float or ndarray
        Density times mean specific heat from preheat to melting [J/(m3 K)].
    volumetric_latent_heat : float or ndarray
        Density times latent heat of fusion [J/m3].
    melting_temperature : float or ndarray
        [K].
    preheat : float or ndarray
        Temperature before heating [K].

    Returns
    -------
    float or ndarray
        Energy [J]: ``V (rho c (Tm - T0) + rho L)``.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Heat balance.
    """
    not_negative(volume=volume, volumetric_latent_heat=volumetric_latent_heat, preheat=preheat)
    positive(volumetric_heat=volumetric_heat, melting_temperature=melting_temperature)
    ordered(
        "melting_temperature", "preheat", melting_temperature=melting_temperature, preheat=preheat
    )
    sensible = volumetric_heat * (melting_temperature - preheat)
    return plain(volume * (sensible + volumetric_latent_heat))


def melting_efficiency(*, melting_energy: Value, absorbed_energy: Value) -> Value:
    """Return the share of the absorbed energy that melted metal.

    Parameters
    ----------
    melting_energy : float or ndarray
        Least energy for the melt [J] or, for a seam, per length [J/m].
    absorbed_energy : float or ndarray
        Energy left in the metal [J] or [J/m], as the other.

    Returns
    -------
    float or ndarray
        Share [-]. A moving source on heat conduction alone stays below
        `MELTING_EFFICIENCY_THIN` or `MELTING_EFFICIENCY_THICK` (latent heat not counted).

    Raises
    ------
    InputError
        When more was melted than was absorbed, or an energy is not physical.

    References
    ----------
    D. T. Swift-Hook and A. E. F. Gick, Welding Journal 52 (1973) 492s (from memory).
    """
    not_negative(melting_energy=melting_energy)
    positive(absorbed_energy=absorbed_energy)
    share = np.asarray(melting_energy / absorbed_energy)
    if np.any(share > 1):
        why = "must be at least the melting energy: metal cannot melt on less"
        raise InputError.of("absorbed_energy", why, float(np.min(absorbed_energy)))
    return plain(share)


def normalised_enthalpy(
    *,
    absorbed_power: Value,
    beam_radius: Value,
    dwell_time: Value,
    melting_enthalpy: Value,
    diffusivity: Value,
) -> Value:
    """Return the enthalpy that a beam puts into the surface, in units of that of melting.

    Parameters
    ----------
    absorbed_power : float or ndarray
        [W].
    beam_radius : float or ndarray
        [m].
    dwell_time : float or ndarray
        Time that the beam rests on a place [s]: beam radius over travel speed for a moving
        beam, the time since the start for a still pulse.
    melting_enthalpy : float or ndarray
        Enthalpy of the solid at melting above that before heating, per volume [J/m3].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].

    Returns
    -------
    float or ndarray
        ``P / (pi r^2 h) sqrt(t / a)`` [-], which for a moving beam is the published
        ``P / (pi h sqrt(a v r^3))``. The surface melts near 1 and boils near
        `HANN_BOILING_304` or `HANN_BOILING_TI64`: below, conduction; well above, a keyhole.

    Raises
    ------
    InputError
        When an argument is not physical.

    Notes
    -----
    One-dimensional: a still pulse must be shorter than ``r^2 / 4 a``, longer ones heat the surface
    less than this says.

    References
    ----------
    D. B. Hann, J. Iammi and J. Folkes, J. Phys. D: Appl. Phys. 44 (2011) 445401 (formula and
    full reference from memory).
    """
    not_negative(absorbed_power=absorbed_power, dwell_time=dwell_time)
    positive(beam_radius=beam_radius, melting_enthalpy=melting_enthalpy, diffusivity=diffusivity)
    irradiance = absorbed_power / (pi * beam_radius**2)
    return plain(irradiance * np.sqrt(dwell_time / diffusivity) / melting_enthalpy)
