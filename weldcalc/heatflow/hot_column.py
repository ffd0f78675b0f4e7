"""Closed forms of a hot column in cold metal: the hole that a keyhole makes.

The wall of a keyhole is at about the boiling point. What the metal around it takes up says how
deep a column the absorbed power can hold open, and how much of the beam the column absorbs.
"""

from __future__ import annotations

from functools import cache
from math import log, pi

import numpy as np
from scipy.special import j0, y0

from weldcalc.heatflow.arguments import Floats, Value, not_negative, plain, positive, share

# ln of the smallest u that is summed; below, the integral is known
_LOWEST = -12.0


def cylinder_heat_flow(
    *,
    radius: Value,
    wall_rise: Value,
    time: Value,
    thermal_conductivity: Value,
    diffusivity: Value,
) -> Value:
    """Return the heat that flows out of a cylinder whose wall is held hot.

    Parameters
    ----------
    radius : float or ndarray
        Of the cylinder [m].
    wall_rise : float or ndarray
        Temperature of the wall above that of the metal far away [K].
    time : float or ndarray
        Since the wall became hot [s], above zero.
    thermal_conductivity : float or ndarray
        [W/(m K)].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].

    Returns
    -------
    float or ndarray
        Heat flow per length of cylinder [W/m], shape by broadcasting: ``2 pi k dT F(a t / r^2)``
        with ``F(s) = 4 / pi^2 int exp(-s u^2) / (u (J0(u)^2 + Y0(u)^2)) du``.

    Raises
    ------
    InputError
        When an argument is not physical.

    Notes
    -----
    Long cylinder, constant properties: the ends lose nothing. F falls as ``1 / sqrt(pi s)`` at
    first and slowly, as ``2 / ln(4 s)``, in the end.

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 1959, section 13.5 (section from
    memory).
    """
    not_negative(wall_rise=wall_rise)
    positive(
        radius=radius,
        time=time,
        thermal_conductivity=thermal_conductivity,
        diffusivity=diffusivity,
    )
    flow = _flow_number(np.asarray(diffusivity * time / radius**2))
    return plain(2 * pi * thermal_conductivity * wall_rise * flow)


def hemisphere_heat_flow(
    *,
    radius: Value,
    wall_rise: Value,
    time: Value,
    thermal_conductivity: Value,
    diffusivity: Value,
) -> Value:
    """Return the heat that flows out of a hemisphere in a surface whose wall is held hot.

    Parameters
    ----------
    radius : float or ndarray
        Of the hemisphere [m].
    wall_rise : float or ndarray
        Temperature of the wall above that of the metal far away [K].
    time : float or ndarray
        Since the wall became hot [s], above zero.
    thermal_conductivity : float or ndarray
        [W/(m K)].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].

    Returns
    -------
    float or ndarray
        Heat flow [W], shape by broadcasting: ``2 pi k r dT (1 + r / sqrt(pi a t))``.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 1959, section 9.10 (section from
    memory), half a sphere.
    """
    not_negative(wall_rise=wall_rise)
    positive(
        radius=radius,
        time=time,
        thermal_conductivity=thermal_conductivity,
        diffusivity=diffusivity,
    )
    young = 1 + radius / np.sqrt(pi * diffusivity * time)
    return plain(2 * pi * thermal_conductivity * radius * wall_rise * young)


def column_depth(
    *,
    absorbed_power: Value,
    radius: Value,
    wall_rise: Value,
    time: Value,
    thermal_conductivity: Value,
    diffusivity: Value,
) -> Value:
    """Return how deep a hot column an absorbed power can hold open.

    Parameters
    ----------
    absorbed_power : float or ndarray
        [W].
    radius : float or ndarray
        Of the column [m].
    wall_rise : float or ndarray
        Temperature of the wall above that of the metal far away [K].
    time : float or ndarray
        Since the wall became hot [s], above zero.
    thermal_conductivity : float or ndarray
        [W/(m K)].
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].

    Returns
    -------
    float or ndarray
        Depth [m], shape by broadcasting: ``r + (P - Q) / Q'`` with Q from
        `hemisphere_heat_flow` for the bottom and Q' from `cylinder_heat_flow` for the wall; zero
        where the power cannot even hold the bottom.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Derived: heat balance of a cylinder with a round bottom, all of it at one temperature.
    """
    not_negative(absorbed_power=absorbed_power)
    positive(wall_rise=wall_rise)
    wall = cylinder_heat_flow(
        radius=radius,
        wall_rise=wall_rise,
        time=time,
        thermal_conductivity=thermal_conductivity,
        diffusivity=diffusivity,
    )
    bottom = hemisphere_heat_flow(
        radius=radius,
        wall_rise=wall_rise,
        time=time,
        thermal_conductivity=thermal_conductivity,
        diffusivity=diffusivity,
    )
    spare = absorbed_power - bottom
    return plain(np.where(np.asarray(spare) >= 0, radius + spare / wall, 0.0))


def cavity_absorptance(*, absorptivity: Value, depth: Value, radius: Value) -> Value:
    """Return the share of the beam that a column absorbs over all its reflections.

    Parameters
    ----------
    absorptivity : float or ndarray
        Of a flat surface [-], 0 to 1.
    depth : float or ndarray
        Of the column [m]; zero for a flat surface.
    radius : float or ndarray
        Of its mouth [m].

    Returns
    -------
    float or ndarray
        ``A / (A (1 - g) + g)`` with ``g = r / (r + 2 h)`` [-], shape by broadcasting.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    A. Gouffe, Revue d'optique 24 (1945) 1, for a cavity with diffuse walls (from memory), written
    for a cylinder whose mouth is its only opening.
    """
    not_negative(depth=depth)
    share(absorptivity=absorptivity)
    positive(radius=radius)
    mouth = radius / (radius + 2 * depth)
    return plain(absorptivity / (absorptivity * (1 - mouth) + mouth))


def _flow_number(fourier: Floats) -> Floats:
    """Return F of a t / r^2: summed over ln u, the part near u = 0 in closed form."""
    nodes, weights = _gauss_nodes()
    # exp(-s u^2) is below 1e-18 beyond the upper end and within 1e-10 of 1 below the lower one
    start = _LOWEST - 0.5 * np.log(np.maximum(fourier, 1.0))
    stop = 0.5 * np.log(42.0 / fourier)
    span = (stop - start)[..., None]
    u = np.exp(start[..., None] + span * nodes)
    integrand = np.exp(-fourier[..., None] * u**2) / (j0(u) ** 2 + y0(u) ** 2)
    # J0 = 1 and Y0 = 2 / pi (ln(u / 2) + gamma) there, so the rest is an arctangent
    below = pi / 2 * (np.arctan(2 / pi * (start - log(2) + np.euler_gamma)) + pi / 2)
    return np.asarray(4 / pi**2 * (np.sum(integrand * weights * span, axis=-1) + below))


@cache
def _gauss_nodes() -> tuple[Floats, Floats]:
    points, weights = np.polynomial.legendre.leggauss(160)
    return (points + 1) / 2, weights / 2
