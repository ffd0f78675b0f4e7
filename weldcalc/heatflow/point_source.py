"""Closed forms of heat released at a point or along a line, at once or steadily.

Constant properties, no heat lost from the surfaces, no melting. Everything is a temperature rise
above the starting temperature, in SI units, and takes floats or arrays by keyword.
"""

from __future__ import annotations

from math import pi

import numpy as np
from scipy.special import erfc

from weldcalc.heatflow.arguments import Value, not_negative, plain, positive
from weldcalc.heatflow.quadrature import diffusion_length


def point_source_rise(
    *,
    energy: Value,
    distance: Value,
    time: Value,
    volumetric_heat: Value,
    diffusivity: Value,
) -> Value:
    """Return the rise after heat was released at one point of the surface of a thick body.

    Parameters
    ----------
    energy : float or ndarray
        Heat released [J].
    distance : float or ndarray
        From the point [m].
    time : float or ndarray
        Since the release [s], above zero.
    volumetric_heat : float or ndarray
        Density times specific heat [J/(m3 K)].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].

    Returns
    -------
    float or ndarray
        Rise [K], shape by broadcasting: ``2 Q / (rho c (4 pi a t)^(3/2)) exp(-R^2 / 4 a t)``.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 1959, section 10.2 (section from
    memory); doubled because the surface sends no heat out.
    """
    not_negative(energy=energy, distance=distance)
    positive(time=time, volumetric_heat=volumetric_heat, diffusivity=diffusivity)
    spread = 4 * diffusivity * time
    strength = 2 * energy / (volumetric_heat * (pi * spread) ** 1.5)
    return plain(strength * np.exp(-(distance**2) / spread))


def continuous_point_rise(
    *,
    power: Value,
    distance: Value,
    time: Value,
    thermal_conductivity: Value,
    diffusivity: Value,
) -> Value:
    """Return the rise around a point of the surface of a thick body that is heated steadily.

    Parameters
    ----------
    power : float or ndarray
        Heat released per time [W].
    distance : float or ndarray
        From the point [m], above zero.
    time : float or ndarray
        Since heating began [s]; no rise before.
    thermal_conductivity : float or ndarray
        [W/(m K)].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].

    Returns
    -------
    float or ndarray
        Rise [K], shape by broadcasting: ``P / (2 pi k R) erfc(R / (2 sqrt(a t)))``.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 1959, section 10.4 (section from
    memory); the time integral of `point_source_rise`.
    """
    not_negative(power=power)
    positive(distance=distance, thermal_conductivity=thermal_conductivity, diffusivity=diffusivity)
    reach = diffusion_length(diffusivity, time)
    shape = np.where(reach > 0, erfc(distance / np.where(reach > 0, reach, 1.0)), 0.0)
    return plain(power / (2 * pi * thermal_conductivity * distance) * shape)


def line_source_rise(
    *,
    energy_per_length: Value,
    distance: Value,
    time: Value,
    volumetric_heat: Value,
    diffusivity: Value,
) -> Value:
    """Return the rise after heat was released along a line through the whole thickness.

    Parameters
    ----------
    energy_per_length : float or ndarray
        Heat released per length of line [J/m]: energy over thickness for a sheet.
    distance : float or ndarray
        From the line [m].
    time : float or ndarray
        Since the release [s], above zero.
    volumetric_heat : float or ndarray
        Density times specific heat [J/(m3 K)].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].

    Returns
    -------
    float or ndarray
        Rise [K], shape by broadcasting: ``Q' / (4 pi k t) exp(-r^2 / 4 a t)``.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 1959, section 10.3 (section from
    memory).
    """
    not_negative(energy_per_length=energy_per_length, distance=distance)
    positive(time=time, volumetric_heat=volumetric_heat, diffusivity=diffusivity)
    spread = 4 * diffusivity * time
    strength = energy_per_length / (volumetric_heat * pi * spread)
    return plain(strength * np.exp(-(distance**2) / spread))
