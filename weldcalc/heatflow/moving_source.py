"""Closed forms of a source that moves along a straight line at constant speed.

Point source on a thick plate and line source through a thin one, both in steady state. Constant
properties, no melting, no loss from the surface. For a train of pulses the power is the average
power: these forms know nothing of single pulses, so a seam of low duty cycle needs the pulse
forms beside them.
"""

from __future__ import annotations

from math import pi

import numpy as np
from scipy.special import k0e

from weldcalc.errors import InputError
from weldcalc.heatflow.arguments import Floats, Value, finite, not_negative, plain, positive


def thick_plate_rise(
    *,
    absorbed_power: Value,
    speed: Value,
    ahead: Value,
    across: Value,
    depth: Value,
    thermal_conductivity: Value,
    diffusivity: Value,
) -> Value:
    """Return the steady rise around a point source moving on a thick plate.

    Parameters
    ----------
    absorbed_power : float or ndarray
        Average power left in the metal [W].
    speed : float or ndarray
        Travel speed [m/s]; zero for a still source.
    ahead : float or ndarray
        Distance ahead of the source along the travel [m]; negative behind it.
    across : float or ndarray
        Distance sideways [m].
    depth : float or ndarray
        Below the surface [m].
    thermal_conductivity : float or ndarray
        [W/(m K)].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].

    Returns
    -------
    float or ndarray
        Rise [K], shape by broadcasting: ``P / (2 pi k R) exp(-v (R + x) / 2 a)``.

    Raises
    ------
    InputError
        When an argument is not physical, or the place is the source itself.

    References
    ----------
    D. Rosenthal, Trans. ASME 68 (1946) 849 (from memory; checked by integrating point sources).
    """
    not_negative(absorbed_power=absorbed_power, speed=speed, depth=depth)
    finite(ahead=ahead, across=across)
    positive(thermal_conductivity=thermal_conductivity, diffusivity=diffusivity)
    distance = np.sqrt(ahead**2 + across**2 + depth**2)
    _not_at_source(distance)
    decay = np.exp(-speed * (distance + ahead) / (2 * diffusivity))
    return plain(absorbed_power / (2 * pi * thermal_conductivity * distance) * decay)


def thin_plate_rise(
    *,
    absorbed_power: Value,
    thickness: Value,
    speed: Value,
    ahead: Value,
    across: Value,
    thermal_conductivity: Value,
    diffusivity: Value,
) -> Value:
    """Return the steady rise around a line source moving through a thin plate.

    Parameters
    ----------
    absorbed_power : float or ndarray
        Average power left in the metal [W].
    thickness : float or ndarray
        Of the plate [m].
    speed : float or ndarray
        Travel speed [m/s], above zero: a still source has no steady state in a plate.
    ahead : float or ndarray
        Distance ahead of the source along the travel [m]; negative behind it.
    across : float or ndarray
        Distance sideways [m].
    thermal_conductivity : float or ndarray
        [W/(m K)].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].

    Returns
    -------
    float or ndarray
        Rise [K], shape by broadcasting: ``P / (2 pi k h) exp(-v x / 2 a) K0(v r / 2 a)``.

    Raises
    ------
    InputError
        When an argument is not physical, or the place is the source itself.

    References
    ----------
    D. Rosenthal, Trans. ASME 68 (1946) 849 (from memory; checked by integrating line sources).
    """
    not_negative(absorbed_power=absorbed_power)
    finite(ahead=ahead, across=across)
    positive(
        thickness=thickness,
        speed=speed,
        thermal_conductivity=thermal_conductivity,
        diffusivity=diffusivity,
    )
    distance = np.sqrt(ahead**2 + across**2)
    _not_at_source(distance)
    rate = speed / (2 * diffusivity)
    # k0e keeps exp(-v x / 2a) K0 finite far behind the source, where its factors are not
    shape = k0e(rate * distance) * np.exp(-rate * (distance + ahead))
    return plain(absorbed_power / (2 * pi * thermal_conductivity * thickness) * shape)


def _not_at_source(distance: Floats) -> None:
    if np.any(distance == 0):
        raise InputError.of("ahead, across, depth", "give a place away from the source", 0.0)
