"""Heat that pulses leave behind: the preheat that each pulse finds on the seam.

A pulse is over in milliseconds; the next one comes a tenth of a second or more later. By then
its heat has evened out through the thin wall and spreads along the sheet. Each earlier pulse is
therefore an instantaneous line source through the wall, and their sum is the preheat.

The body is a set of half-sheets that meet along the seam: two for a butt joint, two for a tube
end flush with a plate, three for a tube that stands on a plate (the plate goes on below the
tube). For half-sheets of one material the temperature is that of a full sheet of thickness
``sum(h) / 2``, exactly: the symmetric solution meets the condition at the seam. Sheets of
different materials share a mean diffusivity, which is an approximation.

Source of the line-source solution: Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed.,
1959, section 10.3 (from memory). Assumes constant properties, no loss to the gas (upper bound
of the preheat) and long members: nothing clamped close to the seam.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.errors import InputError

Floats = NDArray[np.float64]
Ends = Literal["closed", "edges", "open"]

# Spread over the square of the ring's length from which the Fourier series takes over: both
# neglect 1e-8 there.
_SERIES_FROM = 0.12


@frozen
class SeamBody:
    """What the heat of the seam runs into.

    Parameters
    ----------
    length : float
        Length of the seam line [m]; the full circumference for a tube.
    ends : {"closed", "edges", "open"}
        "closed": a tube, the seam bites its own tail; "edges": insulated sheet edges at both
        ends of the seam; "open": the sheet goes on beyond the seam.
    half_sheets : sequence of float
        Thickness of each half-sheet that meets at the seam [m].
    volumetric_heat : float
        Density times specific heat [J/(m3 K)].
    diffusivity : float
        Thermal diffusivity [m2/s].
    """

    length: float
    ends: Ends
    half_sheets: tuple[float, ...]
    volumetric_heat: float
    diffusivity: float

    def __attrs_post_init__(self) -> None:
        """Refuse bodies that have no size."""
        for name in ("length", "volumetric_heat", "diffusivity"):
            if not getattr(self, name) > 0:
                raise InputError.of(name, "must be greater than zero", getattr(self, name))
        if not self.half_sheets or min(self.half_sheets) <= 0:
            raise InputError.of(
                "half_sheets", "give at least one thickness above zero", self.half_sheets
            )

    @property
    def sheet_thickness(self) -> float:
        """Thickness of the full sheet that takes the same heat [m]."""
        return sum(self.half_sheets) / 2


def line_source_rise(
    body: SeamBody, *, energy: Floats | float, distance: Floats | float, time: Floats | float
) -> Floats:
    """Return the temperature rise on the seam after one instantaneous line source.

    Parameters
    ----------
    body : SeamBody
    energy : float or ndarray
        Heat left in the metal [J].
    distance : float or ndarray
        Along the seam from the source [m].
    time : float or ndarray
        Since the source [s], greater than zero.

    Returns
    -------
    ndarray
        Rise [K] in a sheet without ends, shape by broadcasting:
        ``Q / (4 pi a t h rho c) exp(-s^2 / 4 a t)``.

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 1959, section 10.3 (from memory).
    """
    spread = 4 * body.diffusivity * np.asarray(time, dtype=float)
    strength = np.asarray(energy, dtype=float) / (
        np.pi * spread * body.sheet_thickness * body.volumetric_heat
    )
    rise: Floats = strength * np.exp(-(np.asarray(distance, dtype=float) ** 2) / spread)
    return rise


def ring_sum(*, distance: Floats | float, spread: Floats | float, length: float) -> Floats:
    """Return the sum over all images of a Gaussian on a line that is closed to a ring.

    Parameters
    ----------
    distance : float or ndarray
        From the source along the ring [m]; whole turns do not matter.
    spread : float or ndarray
        ``4 a t`` [m2], greater than zero.
    length : float
        Of the ring [m].

    Returns
    -------
    ndarray
        ``sum over n of exp(-(s + n L)^2 / spread)``, to 1e-7 of its mean [-]; shape by
        broadcasting.

    Notes
    -----
    Three images serve while the heat is narrow against the ring, three terms of the Fourier
    series of the same function (Poisson summation) once it is wide: neither needs more.
    """
    across, wide = np.broadcast_arrays(
        np.asarray(distance, dtype=float), np.asarray(spread, dtype=float)
    )
    nearest = across - length * np.round(across / length)
    total = np.empty(across.shape)
    late = wide > _SERIES_FROM * length**2
    total[late] = _series(nearest[late] / length, wide[late] / length**2)
    total[~late] = _near_images(nearest[~late], wide[~late], length)
    return total


def _near_images(nearest: Floats, spread: Floats, length: float) -> Floats:
    total = np.zeros(nearest.shape)
    for turn in (-1, 0, 1):
        total += np.exp(-((nearest + turn * length) ** 2) / spread)
    return total


def _series(place: Floats, width: Floats) -> Floats:
    total = np.ones(place.shape)
    for wave in (1, 2, 3):
        total += 2 * np.exp(-((np.pi * wave) ** 2) * width) * np.cos(2 * np.pi * wave * place)
    scaled: Floats = np.sqrt(np.pi * width) * total
    return scaled


def unit_rise(
    body: SeamBody, *, source: Floats | float, place: Floats | float, age: Floats | float
) -> Floats:
    """Return the rise on the seam for each joule of one instantaneous line source.

    Parameters
    ----------
    body : SeamBody
    source, place : float or ndarray
        Position of the source, and where the rise is wanted, along the seam [m].
    age : float or ndarray
        Time since the source [s], greater than zero.

    Returns
    -------
    ndarray
        Rise [K/J] with the images of a closed turn or of insulated edges, shape by broadcasting.
    """
    apart = np.asarray(place, dtype=float) - source
    if body.ends == "open":
        return line_source_rise(body, energy=1.0, distance=apart, time=age)
    spread = 4 * body.diffusivity * np.asarray(age, dtype=float)
    if body.ends == "closed":
        shape = ring_sum(distance=apart, spread=spread, length=body.length)
    else:
        # insulated edges at 0 and L mirror the source: a ring of twice the length with two sources
        shape = ring_sum(distance=apart, spread=spread, length=2 * body.length)
        mirrored = np.asarray(place, dtype=float) + source
        shape = shape + ring_sum(distance=mirrored, spread=spread, length=2 * body.length)
    rise: Floats = shape / (np.pi * spread * body.sheet_thickness * body.volumetric_heat)
    return rise


def unit_mean_rise(body: SeamBody, *, age: Floats | float) -> Floats:
    """Return the rise averaged along the seam for each joule of one pulse.

    Averaged round a closed seam the heat runs across it only, in one dimension:
    ``1 / (L h rho c sqrt(4 pi a t))``.

    Parameters
    ----------
    body : SeamBody
    age : float or ndarray
        Time since the pulse [s], greater than zero.

    Returns
    -------
    ndarray
        Rise [K/J].
    """
    area_heat = body.length * body.sheet_thickness * body.volumetric_heat
    rise: Floats = 1 / (
        area_heat * np.sqrt(4 * np.pi * body.diffusivity * np.asarray(age, dtype=float))
    )
    return rise


def seam_rise(
    body: SeamBody, *, energy: Floats, source: Floats, place: Floats | float, age: Floats
) -> Floats:
    """Return the rise at places on the seam from sources along it, images included.

    Parameters
    ----------
    body : SeamBody
    energy, source, age : ndarray, shape (n,)
        Heat left [J], position along the seam [m] and age [s] of each source.
    place : float or ndarray, shape (m,)
        Where the rise is wanted, along the seam [m].

    Returns
    -------
    ndarray, shape (m,)
        Rise [K].
    """
    places = np.atleast_1d(np.asarray(place, dtype=float))[:, None]
    rise: Floats = unit_rise(body, source=source, place=places, age=age) @ energy
    return rise


def mean_rise(body: SeamBody, *, energy: Floats, age: Floats) -> float:
    """Return the rise averaged along the seam line: the warmth of the part beside the weld.

    Parameters
    ----------
    body : SeamBody
    energy, age : ndarray, shape (n,)
        Heat left [J] and time since [s] of each pulse so far.

    Returns
    -------
    float
        Rise [K].
    """
    return float(unit_mean_rise(body, age=age) @ energy)
