"""The beam: spot from fibre or lens, defocus, Rayleigh length, irradiance, caustic fit.

Spot diameters are those that hold 86.5 % of the power of a Gaussian beam (its 1/e2 diameter), and
the full width of a top-hat.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, TypeAlias, TypeVar

import numpy as np
from attrs import frozen

from weldcalc.errors import InputError
from weldcalc.findings import Finding

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

Number = TypeVar("Number", float, "NDArray[np.float64]")
Profile: TypeAlias = Literal["top-hat", "gaussian"]

_ISO_11146 = "ISO 11146-1, as applied in the laserbeamsize package (published)"


def spot_from_fibre(
    *, fibre_diameter: Number, focal_length: Number, collimation_length: Number
) -> Number:
    """Return the spot in focus: the end of the fibre, imaged by the two lenses.

    Parameters
    ----------
    fibre_diameter : float or ndarray, shape (n,)
        Core diameter of the fibre [m].
    focal_length : float or ndarray, shape (n,)
        Focal length of the focusing lens [m].
    collimation_length : float or ndarray, shape (n,)
        Focal length of the collimating lens [m], above 0.

    Returns
    -------
    float or ndarray, shape (n,)
        Spot diameter [m].

    References
    ----------
    The Fabricator, "Essential considerations for laser welding".

    Examples
    --------
    >>> round(spot_from_fibre(fibre_diameter=2e-4, focal_length=0.2, collimation_length=0.1), 9)
    0.0004
    """
    return fibre_diameter * focal_length / collimation_length


def spot_from_focus(
    *, beam_quality: Number, wavelength: Number, focal_length: Number, beam_diameter: Number
) -> Number:
    """Return the smallest spot that a lens can make of a beam: 4 M2 lambda f / (pi D).

    Parameters
    ----------
    beam_quality : float or ndarray, shape (n,)
        Beam quality M2 [1], at least 1.
    wavelength : float or ndarray, shape (n,)
        Wavelength [m].
    focal_length : float or ndarray, shape (n,)
        Focal length of the lens [m].
    beam_diameter : float or ndarray, shape (n,)
        Diameter of the beam on the lens [m], above 0.

    Returns
    -------
    float or ndarray, shape (n,)
        Spot diameter in focus [m].

    References
    ----------
    Relations of ISO 11146-1.
    """
    return 4 * beam_quality * wavelength * focal_length / (math.pi * beam_diameter)


def rayleigh_length(*, spot_diameter: Number, beam_quality: Number, wavelength: Number) -> Number:
    """Return the distance from focus at which the spot area has doubled: pi d2 / (4 M2 lambda).

    Parameters
    ----------
    spot_diameter : float or ndarray, shape (n,)
        Spot diameter in focus [m].
    beam_quality : float or ndarray, shape (n,)
        Beam quality M2 [1], at least 1.
    wavelength : float or ndarray, shape (n,)
        Wavelength [m].

    Returns
    -------
    float or ndarray, shape (n,)
        Rayleigh length [m].

    References
    ----------
    Relations of ISO 11146-1.
    """
    return math.pi * spot_diameter**2 / (4 * beam_quality * wavelength)


def defocused_diameter(
    *, waist_diameter: Number, focus_offset: Number, rayleigh_length: Number
) -> Number:
    """Return the spot on a surface away from focus: d0 sqrt(1 + (z / zR)2).

    Parameters
    ----------
    waist_diameter : float or ndarray, shape (n,)
        Spot diameter in focus [m].
    focus_offset : float or ndarray, shape (n,)
        Distance of the surface from focus [m], either sign.
    rayleigh_length : float or ndarray, shape (n,)
        Rayleigh length [m], above 0.

    Returns
    -------
    float or ndarray, shape (n,)
        Spot diameter on the surface [m].

    References
    ----------
    Relations of ISO 11146-1.
    """
    growth: Number = (1 + (focus_offset / rayleigh_length) ** 2) ** 0.5
    return waist_diameter * growth


def focus_tolerance(*, rayleigh_length: Number, growth: Number) -> Number:
    """Return the distance from focus at which the spot has grown by a given share.

    Twice this distance at a growth of sqrt(2) - 1 is the usual depth of focus, two Rayleigh
    lengths.

    Parameters
    ----------
    rayleigh_length : float or ndarray, shape (n,)
        Rayleigh length [m].
    growth : float or ndarray, shape (n,)
        Growth of the diameter [1]: 0.05 for 5 %.

    Returns
    -------
    float or ndarray, shape (n,)
        Distance to either side of focus [m].
    """
    distance: Number = ((1 + growth) ** 2 - 1) ** 0.5
    return rayleigh_length * distance


def mean_irradiance(*, power: Number, diameter: Number) -> Number:
    """Return power divided by the area of the spot.

    Parameters
    ----------
    power : float or ndarray, shape (n,)
        Power [W].
    diameter : float or ndarray, shape (n,)
        Spot diameter [m], above 0.

    Returns
    -------
    float or ndarray, shape (n,)
        Irradiance [W/m2].
    """
    return power / (math.pi / 4 * diameter**2)


def peak_irradiance(*, power: Number, diameter: Number, profile: Profile = "top-hat") -> Number:
    """Return the irradiance in the middle of the spot.

    Parameters
    ----------
    power : float or ndarray, shape (n,)
        Power [W].
    diameter : float or ndarray, shape (n,)
        Spot diameter [m], above 0; the 1/e2 diameter of a Gaussian.
    profile : {"top-hat", "gaussian"}, optional
        How the light is spread over the spot.

    Returns
    -------
    float or ndarray, shape (n,)
        Irradiance [W/m2]: the mean for a top-hat, twice the mean for a Gaussian.

    Raises
    ------
    InputError
        When there is no such profile.
    """
    return mean_irradiance(power=power, diameter=diameter) * _peak_to_mean(profile)


def irradiance(
    *, radius: Number, power: float, diameter: float, profile: Profile = "top-hat"
) -> NDArray[np.float64]:
    """Return the irradiance at a distance from the middle of the spot.

    Parameters
    ----------
    radius : float or ndarray, shape (n,)
        Distance from the middle [m].
    power : float
        Power [W].
    diameter : float
        Spot diameter [m], above 0; the 1/e2 diameter of a Gaussian.
    profile : {"top-hat", "gaussian"}, optional
        How the light is spread over the spot.

    Returns
    -------
    ndarray of float, shape (n,)
        Irradiance [W/m2].

    Raises
    ------
    InputError
        When there is no such profile.
    """
    middle = peak_irradiance(power=power, diameter=diameter, profile=profile)
    relative = np.asarray(radius, dtype=np.float64) / (diameter / 2)
    if profile == "gaussian":
        return np.asarray(middle * np.exp(-2 * relative**2))
    return np.where(relative <= 1, middle, 0.0)


def _peak_to_mean(profile: str) -> float:
    ratios = {"top-hat": 1.0, "gaussian": 2.0}
    if profile not in ratios:
        raise InputError.of("profile", f"write {' or '.join(ratios)}", profile)
    return ratios[profile]


@frozen
class Caustic:
    """Beam found from diameters measured along it.

    Parameters
    ----------
    waist_diameter, waist_position : float
        Smallest diameter and where it is [m].
    divergence : float
        Full angle far from the waist [rad].
    beam_quality : float
        M2 [1].
    rayleigh_length : float
        Distance from the waist at which the area has doubled [m].
    waist_diameter_sd, waist_position_sd, divergence_sd : float
        Standard deviations from the scatter about the fit [m, m, rad].
    findings : tuple of Finding
        Where the measured points fall short of what the standard asks for.
    """

    waist_diameter: float
    waist_position: float
    divergence: float
    beam_quality: float
    rayleigh_length: float
    waist_diameter_sd: float
    waist_position_sd: float
    divergence_sd: float
    findings: tuple[Finding, ...]


def fit_caustic(*, position: ArrayLike, diameter: ArrayLike, wavelength: float) -> Caustic:
    """Fit d2 = d0^2 + Theta^2 (z - z0)^2 to measured beam diameters, by least squares on d.

    Parameters
    ----------
    position : array_like, shape (n,)
        Places along the beam [m], n at least 4.
    diameter : array_like, shape (n,)
        Beam diameters there [m], above 0.
    wavelength : float
        Wavelength [m], above 0.

    Returns
    -------
    Caustic
        Waist, divergence, beam quality and what the measurement lacks.

    Raises
    ------
    InputError
        When there are fewer than 4 usable points, or the points show no waist.

    References
    ----------
    ISO 11146-1: M2 = pi d0 Theta / (4 lambda); at least 10 positions, about half of them within
    one Rayleigh length of the waist and half beyond two.
    """
    z = np.asarray(position, dtype=np.float64)
    d = np.asarray(diameter, dtype=np.float64)
    usable = np.all(np.isfinite(z)) and np.all(np.isfinite(d)) and np.all(d > 0)
    if z.shape != d.shape or z.ndim != 1 or z.size < 4 or not usable:
        why = "give at least 4 finite positions with one positive diameter each"
        raise InputError.of("caustic", why)
    values, deviations = _least_squares(z, d)
    waist, centre, angle = values
    reach = waist / angle
    return Caustic(
        waist_diameter=waist,
        waist_position=centre,
        divergence=angle,
        beam_quality=math.pi * waist * angle / (4 * wavelength),
        rayleigh_length=reach,
        waist_diameter_sd=deviations[0],
        waist_position_sd=deviations[1],
        divergence_sd=deviations[2],
        findings=_caustic_findings(z, centre, reach),
    )


Triple: TypeAlias = tuple[float, float, float]


def _least_squares(z: NDArray[np.float64], d: NDArray[np.float64]) -> tuple[Triple, Triple]:
    from scipy.optimize import least_squares

    middle, span, size = float(z.mean()), float(np.ptp(z)) or 1.0, float(d.mean())
    x, y = (z - middle) / span, d / size
    c2, c1, c0 = np.polyfit(x, y**2, 2)
    if c2 <= 0:
        raise InputError.of("caustic", "the diameters show no waist: measure on both sides of it")
    start = [math.sqrt(max(c0 - c1**2 / (4 * c2), 1e-3)), -c1 / (2 * c2), math.sqrt(c2)]

    def residual(p: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.sqrt(p[0] ** 2 + p[2] ** 2 * (x - p[1]) ** 2) - y)

    fit = least_squares(residual, start, xtol=1e-12, ftol=1e-12, gtol=1e-12)
    variance, slope = 2 * fit.cost / max(len(x) - 3, 1), np.asarray(fit.jac, dtype=np.float64)
    sd = np.sqrt(np.diag(np.linalg.pinv(slope.T @ slope)) * variance)
    scale = (size, span, size / span)
    waist, centre, angle = abs(float(fit.x[0])), float(fit.x[1]), abs(float(fit.x[2]))
    values = (waist * scale[0], centre * scale[1] + middle, angle * scale[2])
    return values, (float(sd[0]) * size, float(sd[1]) * span, float(sd[2]) * size / span)


def _caustic_findings(z: NDArray[np.float64], centre: float, reach: float) -> tuple[Finding, ...]:
    distance = np.abs(z - centre)
    near, far = int(np.sum(distance <= reach)), int(np.sum(distance >= 2 * reach))
    found = []
    if z.size < 10:
        found.append(
            Finding(
                "caution",
                "caustic-positions",
                f"{z.size} positions measured, at least 10 are asked for",
                "measure at more places along the beam",
                _ISO_11146,
            )
        )
    if min(near, far) < z.size / 4:
        found.append(
            Finding(
                "caution",
                "caustic-spread",
                f"{near} positions lie within one Rayleigh length of the waist and {far} beyond "
                "two; about half and half are asked for",
                "spread the positions, or the beam quality stays uncertain",
                _ISO_11146,
            )
        )
    return tuple(found)
