"""Closed forms of a still top-hat beam: a disc heated evenly on a thick body.

On the axis, beside it and at depth, with the limits for short and long times. Constant
properties, no melting, no loss from the surface. Everything is a temperature rise above the
starting temperature, in SI units. What a pulse did after its end is the rise at its age less
the rise at its age minus its duration.
"""

from __future__ import annotations

from functools import cache
from math import inf, pi, sqrt

import numpy as np
from scipy.special import erf, erfc

from weldcalc.heatflow.arguments import Floats, Value, not_negative, plain, positive
from weldcalc.heatflow.quadrature import diffusion_length, graded_panels

_ROOT_PI = sqrt(pi)


def ierfc(x: Value) -> Value:
    """Return the first integral of the complementary error function, from x to infinity.

    Parameters
    ----------
    x : float or ndarray
        Argument [-].

    Returns
    -------
    float or ndarray
        ``exp(-x^2) / sqrt(pi) - x erfc(x)`` [-].

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 1959, appendix II (from memory).
    """
    return plain(np.exp(-(x**2)) / _ROOT_PI - x * erfc(x))


def plane_source_rise(
    *,
    heat_flux: Value,
    time: Value,
    thermal_conductivity: Value,
    diffusivity: Value,
    depth: Value = 0.0,
) -> Value:
    """Return the rise under a surface that is heated evenly everywhere.

    Parameters
    ----------
    heat_flux : float or ndarray
        Absorbed flux [W/m2].
    time : float or ndarray
        Since heating began [s]; no rise before.
    thermal_conductivity : float or ndarray
        [W/(m K)].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].
    depth : float or ndarray
        Below the surface [m].

    Returns
    -------
    float or ndarray
        Rise [K]: ``2 q sqrt(a t) / k ierfc(z / (2 sqrt(a t)))``. Holds for a spot of radius r
        while ``2 sqrt(a t)`` is well below r.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 1959, section 2.9 (section from
    memory).
    """
    not_negative(heat_flux=heat_flux, depth=depth)
    positive(thermal_conductivity=thermal_conductivity, diffusivity=diffusivity)
    reach = diffusion_length(diffusivity, time)
    scaled = depth / np.where(reach > 0, reach, 1.0)
    return plain(heat_flux * reach / thermal_conductivity * ierfc(scaled))


def disc_axis_rise(
    *,
    heat_flux: Value,
    radius: Value,
    time: Value,
    thermal_conductivity: Value,
    diffusivity: Value,
    depth: Value = 0.0,
) -> Value:
    """Return the rise on the axis of a disc that is heated evenly.

    Parameters
    ----------
    heat_flux : float or ndarray
        Absorbed flux inside the disc [W/m2].
    radius : float or ndarray
        Of the disc [m].
    time : float or ndarray
        Since heating began [s]; no rise before.
    thermal_conductivity : float or ndarray
        [W/(m K)].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].
    depth : float or ndarray
        Below the centre of the disc [m].

    Returns
    -------
    float or ndarray
        Rise [K]: ``2 q sqrt(a t) / k (ierfc(z / (2 sqrt(a t))) - ierfc(sqrt(z^2 + r^2) / (2
        sqrt(a t))))``.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 1959, section 10.5 (section from
    memory).

    Examples
    --------
    A 0.4 mm spot with 100 W absorbed, titanium, after 1 ms:

    >>> disc_axis_rise(heat_flux=100 / (3.1416 * 0.2e-3**2), radius=0.2e-3, time=1e-3,
    ...                thermal_conductivity=22.0, diffusivity=8e-6)  # [K]
    3428.3
    """
    not_negative(heat_flux=heat_flux, depth=depth)
    positive(radius=radius, thermal_conductivity=thermal_conductivity, diffusivity=diffusivity)
    reach = diffusion_length(diffusivity, time)
    fall = _ierfc_fall(depth, radius**2, reach)
    return plain(heat_flux * reach / thermal_conductivity * fall)


def disc_rise(
    *,
    heat_flux: Value,
    radius: Value,
    time: Value,
    thermal_conductivity: Value,
    diffusivity: Value,
    radial_position: Value = 0.0,
    depth: Value = 0.0,
) -> Value:
    """Return the rise anywhere under a disc that is heated evenly.

    Parameters
    ----------
    heat_flux : float or ndarray
        Absorbed flux inside the disc [W/m2].
    radius : float or ndarray
        Of the disc [m].
    time : float or ndarray
        Since heating began [s]; no rise before.
    thermal_conductivity : float or ndarray
        [W/(m K)].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].
    radial_position : float or ndarray
        Distance from the axis [m].
    depth : float or ndarray
        Below the surface [m].

    Returns
    -------
    float or ndarray
        Rise [K], shape by broadcasting.

    Raises
    ------
    InputError
        When an argument is not physical.

    Notes
    -----
    The point-source integral over the disc, ``q / (2 pi k) int erfc(R / (2 sqrt(a t))) / R dA``,
    is turned into one integral round the rim (divergence theorem in the plane of the surface)
    and summed by Gauss's rule on panels that narrow towards the nearest point of the rim.

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 1959, section 10.5 (section from
    memory), for the point-source integral; the rim form is derived.
    """
    not_negative(heat_flux=heat_flux, radial_position=radial_position, depth=depth)
    positive(radius=radius, thermal_conductivity=thermal_conductivity, diffusivity=diffusivity)
    reach = diffusion_length(diffusivity, time)
    half_sine, weights = _rim_nodes()
    a, r, z, s = (np.asarray(array)[..., None] for array in (radius, radial_position, depth, reach))
    rim_squared = (a - r) ** 2 + 4 * a * r * half_sine
    facing = a * (a - r + 2 * r * half_sine) / rim_squared
    shape = np.sum(_ierfc_fall(z, rim_squared, s) * facing * weights, axis=-1)
    return plain(heat_flux * reach / thermal_conductivity * shape)


def disc_steady_rise(
    *, heat_flux: Value, radius: Value, thermal_conductivity: Value, depth: Value = 0.0
) -> Value:
    """Return the rise on the axis of a disc that was heated evenly for very long.

    Parameters
    ----------
    heat_flux : float or ndarray
        Absorbed flux inside the disc [W/m2].
    radius : float or ndarray
        Of the disc [m].
    thermal_conductivity : float or ndarray
        [W/(m K)].
    depth : float or ndarray
        Below the centre of the disc [m].

    Returns
    -------
    float or ndarray
        Rise [K]: ``q / k (sqrt(z^2 + r^2) - z)``; the highest that this flux ever reaches.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Limit of `disc_axis_rise` for long times.
    """
    not_negative(heat_flux=heat_flux, depth=depth)
    positive(radius=radius, thermal_conductivity=thermal_conductivity)
    slope = heat_flux / thermal_conductivity
    return plain(slope * radius**2 / (np.sqrt(depth**2 + radius**2) + depth))


def disc_time_to_rise(
    *,
    rise: float,
    heat_flux: float,
    radius: float,
    thermal_conductivity: float,
    diffusivity: float,
) -> float:
    """Return when the centre of an evenly heated disc reaches a rise.

    Parameters
    ----------
    rise : float
        Temperature rise of the surface wanted [K].
    heat_flux : float
        Absorbed flux inside the disc [W/m2].
    radius : float
        Of the disc [m].
    thermal_conductivity : float
        [W/(m K)].
    diffusivity : float
        Thermal diffusivity [m2/s].

    Returns
    -------
    float
        Time [s]; infinite when the flux never reaches the rise.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Inverse of `disc_axis_rise`.
    """
    from scipy.optimize import brentq

    positive(rise=rise, heat_flux=heat_flux, diffusivity=diffusivity)
    body = {"radius": radius, "thermal_conductivity": thermal_conductivity, "heat_flux": heat_flux}
    if rise >= disc_steady_rise(**body):
        return inf

    def excess(reach: float) -> float:
        time = reach**2 / (4 * diffusivity)
        return float(disc_axis_rise(time=time, diffusivity=diffusivity, **body)) - rise

    # the plane source is never cooler, so its time is the lower bracket
    low = rise * thermal_conductivity * _ROOT_PI / heat_flux
    high = 2 * low
    while excess(high) < 0:
        high *= 2
    reach = float(brentq(excess, low * (1 - 1e-12), high, xtol=1e-14 * low, rtol=1e-14))
    return reach**2 / (4 * diffusivity)


def _ierfc_fall(depth: Value, radius_squared: Value, reach: Floats) -> Floats:
    """Return ierfc(z / s) - ierfc(sqrt(z^2 + r^2) / s) without losing digits at long times."""
    scale = np.where(reach > 0, reach, 1.0)
    slant = np.sqrt(depth**2 + radius_squared)
    near, far = depth / scale, slant / scale
    gap = radius_squared / ((slant + depth) * scale)
    late = gap - (_curved_part(far) - _curved_part(near))
    return np.where(far < 1.0, late, ierfc(near) - ierfc(far))


def _curved_part(x: Floats) -> Floats:
    # ierfc(x) = 1 / sqrt(pi) - x + this
    return np.asarray(x * erf(x) + np.expm1(-(np.minimum(x, 2.0) ** 2)) / _ROOT_PI)


@cache
def _rim_nodes() -> tuple[Floats, Floats]:
    """Return sin^2 of half the angle along half the rim, and weights that sum to one."""
    nodes, weights = graded_panels(26)
    return np.sin(pi * nodes / 2) ** 2, weights
