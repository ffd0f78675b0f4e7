"""Closed forms of a Gaussian beam on a thick body, still or moving.

Constant properties, no melting, no loss from the surface. Everything is a temperature rise above
the starting temperature, in SI units. For a moving beam of pulses the power is the average
power, and single pulses are not seen.
"""

from __future__ import annotations

from math import inf, pi, sqrt, tan

import numpy as np

from weldcalc.heatflow.arguments import Floats, Value, finite, not_negative, plain, positive
from weldcalc.heatflow.quadrature import diffusion_length, graded_panels


def gaussian_rise(
    *,
    absorbed_power: Value,
    beam_radius: Value,
    time: Value,
    thermal_conductivity: Value,
    diffusivity: Value,
    radial_position: Value = 0.0,
    depth: Value = 0.0,
) -> Value:
    """Return the rise anywhere under a still Gaussian beam.

    Parameters
    ----------
    absorbed_power : float or ndarray
        [W].
    beam_radius : float or ndarray
        Radius w where the flux is 1/e^2 of that at the centre [m].
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
        Rise [K], shape by broadcasting; at the centre of the surface ``q0 w / (k sqrt(2 pi))
        arctan(sqrt(8 a t) / w)`` with ``q0 = 2 P / (pi w^2)``.

    Raises
    ------
    InputError
        When an argument is not physical.

    Notes
    -----
    Time integral of a spreading Gaussian, with ``8 a s = w^2 tan^2(u)``:
    ``q0 w / (k sqrt(2 pi)) int exp(-2 r^2 cos^2(u) / w^2 - 2 z^2 / (w^2 tan^2(u))) du``.

    References
    ----------
    Eagar and Tsai, Welding Journal 62 (1983) 346s, for a source that does not move.
    """
    not_negative(absorbed_power=absorbed_power, radial_position=radial_position, depth=depth)
    positive(
        beam_radius=beam_radius,
        thermal_conductivity=thermal_conductivity,
        diffusivity=diffusivity,
    )
    spread = np.sqrt(2.0) * diffusion_length(diffusivity, time) / beam_radius
    nodes, weights = graded_panels(24)
    last, r, z = (
        np.asarray(array)[..., None]
        for array in (np.arctan(spread), radial_position / beam_radius, depth / beam_radius)
    )
    angle = last * nodes
    tangent = np.where(angle > 0, np.tan(angle), 1.0)
    exponent = 2 * (r * np.cos(angle)) ** 2 + 2 * (z / tangent) ** 2
    shape = np.sum(np.exp(-exponent) * weights, axis=-1) * last[..., 0]
    scale = absorbed_power * 2 / (pi * beam_radius * thermal_conductivity * sqrt(2 * pi))
    return plain(scale * shape)


def gaussian_time_to_rise(
    *,
    rise: float,
    absorbed_power: float,
    beam_radius: float,
    thermal_conductivity: float,
    diffusivity: float,
) -> float:
    """Return when the surface under the centre of a still Gaussian beam reaches a rise.

    Parameters
    ----------
    rise : float
        Temperature rise wanted [K].
    absorbed_power : float
        [W].
    beam_radius : float
        Radius w where the flux is 1/e^2 of that at the centre [m].
    thermal_conductivity : float
        [W/(m K)].
    diffusivity : float
        Thermal diffusivity [m2/s].

    Returns
    -------
    float
        Time [s]: ``w^2 / (8 a) tan^2(rise k sqrt(2 pi) / (q0 w))``; infinite when the beam never
        reaches the rise.

    Raises
    ------
    InputError
        When an argument is not physical.

    References
    ----------
    Inverse of `gaussian_rise` at the centre of the surface.
    """
    positive(
        rise=rise,
        absorbed_power=absorbed_power,
        beam_radius=beam_radius,
        thermal_conductivity=thermal_conductivity,
        diffusivity=diffusivity,
    )
    slope = absorbed_power * 2 / (pi * beam_radius * thermal_conductivity * sqrt(2 * pi))
    angle = rise / slope
    if angle >= pi / 2:
        return inf
    return beam_radius**2 * tan(angle) ** 2 / (8 * diffusivity)


def moving_gaussian_rise(
    *,
    absorbed_power: float,
    beam_radius: float,
    speed: float,
    ahead: Value,
    across: Value,
    depth: Value,
    thermal_conductivity: float,
    diffusivity: float,
    time: float = inf,
) -> Value:
    """Return the rise around a Gaussian beam moving on a thick plate.

    Parameters
    ----------
    absorbed_power : float
        Average power left in the metal [W].
    beam_radius : float
        Radius w where the flux is 1/e^2 of that at the centre [m]; twice the standard
        deviation that the paper uses.
    speed : float
        Travel speed [m/s]; zero for a still beam.
    ahead : float or ndarray
        Distance ahead of the beam along the travel [m]; negative behind it.
    across : float or ndarray
        Distance sideways [m].
    depth : float or ndarray
        Below the surface [m].
    thermal_conductivity : float
        [W/(m K)].
    diffusivity : float
        Thermal diffusivity [m2/s].
    time : float
        Since the beam was switched on [s]; infinite for the steady state.

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
    Heat released a time s ago has spread to ``w^2 + 8 a s`` and lies ``v s`` behind. With
    ``8 a s = w^2 tan^2(u)`` the integral over all s runs over a finite range of u and its
    integrand stays finite; it is summed adaptively to 1e-10.

    References
    ----------
    T. W. Eagar and N.-S. Tsai, Welding Journal 62 (1983) 346s to 355s.
    """
    from scipy.integrate import quad_vec

    not_negative(absorbed_power=absorbed_power, speed=speed, depth=depth)
    finite(ahead=ahead, across=across)
    positive(
        beam_radius=beam_radius,
        thermal_conductivity=thermal_conductivity,
        diffusivity=diffusivity,
        time=min(time, 1e300),
    )
    x, y, z = np.broadcast_arrays(*(np.asarray(part, float) for part in (ahead, across, depth)))
    x, y, z = x / beam_radius, y / beam_radius, z / beam_radius
    drift = speed * beam_radius / (8 * diffusivity)

    def integrand(angle: float) -> Floats:
        tangent, cosine = np.tan(angle), np.cos(angle)
        plane = ((x + drift * tangent**2) * cosine) ** 2 + (y * cosine) ** 2
        return np.asarray(np.exp(-2 * plane - 2 * (z / tangent) ** 2))

    last = np.arctan(np.sqrt(8 * diffusivity * time) / beam_radius)
    turns = _turning_angles(x, drift=drift, last=float(last))
    shape, _ = quad_vec(integrand, 0.0, last, epsrel=1e-10, epsabs=1e-13, points=turns)
    scale = absorbed_power * 2 / (pi * beam_radius * thermal_conductivity * sqrt(2 * pi))
    return plain(scale * shape)


def _turning_angles(x: Floats, *, drift: float, last: float) -> list[float]:
    # the beam was overhead when x + drift tan^2(u) = 0: a narrow peak far behind a slow beam
    behind = np.unique(-x[x < 0]) if drift > 0 else np.empty(0)
    angles = np.arctan(np.sqrt(behind / drift)) if behind.size else behind
    return [float(angle) for angle in angles[:20] if 0.0 < angle < last]
