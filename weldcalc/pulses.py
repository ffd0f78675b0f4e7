"""Laser pulses: energy, power, duty cycle, pitch and the overlaps of one pulse with the next.

Kernels take SI floats, or arrays of one shape, by keyword, and give the same kind back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from weldcalc.pulse_shape import Corners, PulseShape, ShapeSpec

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "Corners",
    "PulseShape",
    "ShapeSpec",
    "average_power",
    "duty_cycle",
    "energy",
    "heat_input",
    "overlap_of_width",
    "peak_power_from_energy",
    "pitch",
    "repetition_for_overlap",
    "repetition_for_overlap_at_duty",
    "repetition_for_overlap_with_travel",
    "speed_for_overlap",
    "speed_for_overlap_with_travel",
    "spot_overlap",
    "spot_overlap_with_travel",
]

Number = TypeVar("Number", float, "NDArray[np.float64]")


def energy(
    *, peak_power: Number, pulse_duration: Number, pulse_shape: ShapeSpec = "square"
) -> Number:
    """Return the energy of one pulse.

    Parameters
    ----------
    peak_power : float or ndarray, shape (n,)
        Highest power during the pulse [W], above 0.
    pulse_duration : float or ndarray, shape (n,)
        Length of the pulse [s], above 0.
    pulse_shape : PulseShape, "square" or sequence of (time, power), optional
        Power during the pulse.

    Returns
    -------
    float or ndarray, shape (n,)
        Energy [J].

    Raises
    ------
    InputError
        When the shape is not usable.

    Examples
    --------
    >>> energy(peak_power=400.0, pulse_duration=5e-3)
    2.0
    """
    return peak_power * pulse_duration * PulseShape.of(pulse_shape).mean_level


def peak_power_from_energy(
    *, pulse_energy: Number, pulse_duration: Number, pulse_shape: ShapeSpec = "square"
) -> Number:
    """Return the peak power of a pulse of known energy; the inverse of `energy`.

    Parameters
    ----------
    pulse_energy : float or ndarray, shape (n,)
        Energy of one pulse [J], above 0.
    pulse_duration : float or ndarray, shape (n,)
        Length of the pulse [s], above 0.
    pulse_shape : PulseShape, "square" or sequence of (time, power), optional
        Power during the pulse.

    Returns
    -------
    float or ndarray, shape (n,)
        Peak power [W].

    Raises
    ------
    InputError
        When the shape is not usable.

    References
    ----------
    Havrilla, Process Fundamentals of Industrial Laser Welding and Cutting, p. 81: for a square
    pulse, peak power = energy / duration = average power / duty cycle.
    """
    return pulse_energy / (pulse_duration * PulseShape.of(pulse_shape).mean_level)


def duty_cycle(*, pulse_duration: Number, repetition_rate: Number) -> Number:
    """Return the share of the time that the laser is on; above 1 no such pulses exist.

    Parameters
    ----------
    pulse_duration : float or ndarray, shape (n,)
        Length of a pulse [s].
    repetition_rate : float or ndarray, shape (n,)
        Pulses in a second [Hz].

    Returns
    -------
    float or ndarray, shape (n,)
        Share of the time [1].
    """
    return pulse_duration * repetition_rate


def average_power(*, pulse_energy: Number, repetition_rate: Number) -> Number:
    """Return the power over many pulses.

    Parameters
    ----------
    pulse_energy : float or ndarray, shape (n,)
        Energy of one pulse [J].
    repetition_rate : float or ndarray, shape (n,)
        Pulses in a second [Hz].

    Returns
    -------
    float or ndarray, shape (n,)
        Average power [W].
    """
    return pulse_energy * repetition_rate


def heat_input(*, pulse_energy: Number, pitch: Number) -> Number:
    """Return the energy sent to each metre of seam, absorbed or not.

    Parameters
    ----------
    pulse_energy : float or ndarray, shape (n,)
        Energy of one pulse [J].
    pitch : float or ndarray, shape (n,)
        Distance from one pulse to the next [m], above 0.

    Returns
    -------
    float or ndarray, shape (n,)
        Heat input [J/m].
    """
    return pulse_energy / pitch


def pitch(*, travel_speed: Number, repetition_rate: Number) -> Number:
    """Return the distance from one pulse to the next along the seam.

    Parameters
    ----------
    travel_speed : float or ndarray, shape (n,)
        Speed of the spot along the seam [m/s].
    repetition_rate : float or ndarray, shape (n,)
        Pulses in a second [Hz], above 0.

    Returns
    -------
    float or ndarray, shape (n,)
        Pitch [m].
    """
    return travel_speed / repetition_rate


def overlap_of_width(*, width: Number, pitch: Number) -> Number:
    """Return the share of a spot of this width that the next one covers again.

    With the fused width at the top it is the melt overlap, with the width on the far side the root
    overlap, the one that decides whether a seam is tight.

    Parameters
    ----------
    width : float or ndarray, shape (n,)
        Diameter of a spot or width of its melt [m], above 0.
    pitch : float or ndarray, shape (n,)
        Distance from one pulse to the next [m].

    Returns
    -------
    float or ndarray, shape (n,)
        Overlap [1]; negative where the spots do not touch.
    """
    return 1 - pitch / width


def spot_overlap(*, travel_speed: Number, repetition_rate: Number, spot_diameter: Number) -> Number:
    """Return the spot overlap with travel during the pulse left out: 1 - v / (f d).

    Parameters
    ----------
    travel_speed : float or ndarray, shape (n,)
        Speed of the spot along the seam [m/s].
    repetition_rate : float or ndarray, shape (n,)
        Pulses in a second [Hz], above 0.
    spot_diameter : float or ndarray, shape (n,)
        Diameter of the laser spot [m], above 0.

    Returns
    -------
    float or ndarray, shape (n,)
        Overlap [1]; negative where the spots do not touch.

    References
    ----------
    Havrilla, Process Fundamentals of Industrial Laser Welding and Cutting, p. 81.

    Examples
    --------
    >>> spot_overlap(travel_speed=1e-3, repetition_rate=10.0, spot_diameter=0.5e-3)
    0.8
    """
    return 1 - travel_speed / (repetition_rate * spot_diameter)


def spot_overlap_with_travel(
    *,
    travel_speed: Number,
    repetition_rate: Number,
    spot_diameter: Number,
    pulse_duration: Number,
) -> Number:
    """Return the spot overlap with travel during the pulse: 1 - (v / f) / (d + v t).

    Parameters
    ----------
    travel_speed : float or ndarray, shape (n,)
        Speed of the spot along the seam [m/s].
    repetition_rate : float or ndarray, shape (n,)
        Pulses in a second [Hz], above 0.
    spot_diameter : float or ndarray, shape (n,)
        Diameter of the laser spot [m], above 0.
    pulse_duration : float or ndarray, shape (n,)
        Length of a pulse [s].

    Returns
    -------
    float or ndarray, shape (n,)
        Overlap [1] of the drawn-out spots; negative where they do not touch.

    References
    ----------
    Havrilla, Process Fundamentals of Industrial Laser Welding and Cutting, p. 81.
    """
    drawn_out = spot_diameter + travel_speed * pulse_duration
    return 1 - (travel_speed / repetition_rate) / drawn_out


def repetition_for_overlap(
    *, overlap: Number, travel_speed: Number, spot_diameter: Number
) -> Number:
    """Return the repetition rate that gives a spot overlap, travel in the pulse left out.

    Parameters
    ----------
    overlap : float or ndarray, shape (n,)
        Overlap wanted [1], below 1.
    travel_speed : float or ndarray, shape (n,)
        Speed of the spot along the seam [m/s].
    spot_diameter : float or ndarray, shape (n,)
        Diameter of the laser spot [m], above 0.

    Returns
    -------
    float or ndarray, shape (n,)
        Repetition rate [Hz].

    References
    ----------
    Havrilla, Process Fundamentals of Industrial Laser Welding and Cutting, p. 81.
    """
    return travel_speed / (spot_diameter * (1 - overlap))


def repetition_for_overlap_with_travel(
    *, overlap: Number, travel_speed: Number, spot_diameter: Number, pulse_duration: Number
) -> Number:
    """Return the repetition rate that gives a spot overlap, travel in the pulse included.

    Parameters
    ----------
    overlap : float or ndarray, shape (n,)
        Overlap wanted [1], below 1.
    travel_speed : float or ndarray, shape (n,)
        Speed of the spot along the seam [m/s].
    spot_diameter : float or ndarray, shape (n,)
        Diameter of the laser spot [m], above 0.
    pulse_duration : float or ndarray, shape (n,)
        Length of a pulse [s].

    Returns
    -------
    float or ndarray, shape (n,)
        Repetition rate [Hz].
    """
    return travel_speed / ((1 - overlap) * (spot_diameter + travel_speed * pulse_duration))


def repetition_for_overlap_at_duty(
    *, overlap: Number, travel_speed: Number, spot_diameter: Number, duty_cycle: Number
) -> Number:
    """Return the repetition rate for a spot overlap with travel, where the duty cycle is fixed.

    Parameters
    ----------
    overlap : float or ndarray, shape (n,)
        Overlap wanted [1], below 1.
    travel_speed : float or ndarray, shape (n,)
        Speed of the spot along the seam [m/s].
    spot_diameter : float or ndarray, shape (n,)
        Diameter of the laser spot [m], above 0.
    duty_cycle : float or ndarray, shape (n,)
        Pulse duration times repetition rate [1], 0 to 1.

    Returns
    -------
    float or ndarray, shape (n,)
        Repetition rate [Hz].

    References
    ----------
    Havrilla, Process Fundamentals of Industrial Laser Welding and Cutting, p. 81,
    example 4.10.8C: f = (V / d) (Dc (OL - 1) + 1) / (1 - OL).
    """
    share = duty_cycle * (overlap - 1) + 1
    return travel_speed / spot_diameter * share / (1 - overlap)


def speed_for_overlap(*, overlap: Number, repetition_rate: Number, spot_diameter: Number) -> Number:
    """Return the travel speed that gives a spot overlap, travel in the pulse left out.

    Parameters
    ----------
    overlap : float or ndarray, shape (n,)
        Overlap wanted [1], below 1.
    repetition_rate : float or ndarray, shape (n,)
        Pulses in a second [Hz].
    spot_diameter : float or ndarray, shape (n,)
        Diameter of the laser spot [m].

    Returns
    -------
    float or ndarray, shape (n,)
        Travel speed [m/s].
    """
    return (1 - overlap) * repetition_rate * spot_diameter


def speed_for_overlap_with_travel(
    *, overlap: Number, repetition_rate: Number, spot_diameter: Number, pulse_duration: Number
) -> Number:
    """Return the travel speed that gives a spot overlap, travel in the pulse included.

    Parameters
    ----------
    overlap : float or ndarray, shape (n,)
        Overlap wanted [1], below 1.
    repetition_rate : float or ndarray, shape (n,)
        Pulses in a second [Hz].
    spot_diameter : float or ndarray, shape (n,)
        Diameter of the laser spot [m].
    pulse_duration : float or ndarray, shape (n,)
        Length of a pulse [s], with duty cycle below 1.

    Returns
    -------
    float or ndarray, shape (n,)
        Travel speed [m/s].
    """
    open_share = 1 - overlap
    return open_share * spot_diameter / (1 / repetition_rate - open_share * pulse_duration)
