"""Fitted constants of the melt model: means, spread and where they hold."""

from __future__ import annotations

from functools import cache
from typing import Any

import cattrs
import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc import reference
from weldcalc.errors import InputError

Array = NDArray[np.float64]

NAMES = (
    "stirring_r",
    "stirring_z",
    "stirring_r_open",
    "stirring_z_open",
    "displacement",
    "capillary_factor",
    "absorptance",
    "cavity_gain",
    "opening_range",
)


@frozen
class ModelConstants:
    """Constants of the melt model, all without unit.

    Parameters
    ----------
    stirring_r, stirring_z : float
        Factor on the liquid's conductivity sideways and along the beam under a flat surface, >= 1.
    stirring_r_open, stirring_z_open : float
        The same under a depression two spot diameters deep.
    displacement : float
        Share of the way from the liquidus to the opening enthalpy at which a cell in an open
        column lets the beam through, 0 to 1.
    capillary_factor : float
        Recoil that opens the surface over 2 sigma / spot radius.
    absorptance : float
        Of the flat surface, 0 to 1.
    cavity_gain : float
        Factor on the wall area that the beam meets in the depression.
    opening_range : float
        Relative rise of the recoil over which the surface opens fully.
    """

    stirring_r: float = 2.0
    stirring_z: float = 3.0
    stirring_r_open: float = 2.0
    stirring_z_open: float = 3.0
    displacement: float = 0.5
    capillary_factor: float = 1.0
    absorptance: float = 0.32
    cavity_gain: float = 1.0
    opening_range: float = 0.3


@frozen
class ValidityBox:
    """Range of the published pulses that the constants were fitted to (SI).

    Parameters
    ----------
    spot_diameter, pulse_duration, irradiance : tuple of (float, float)
        Least and greatest [m], [s], [W/m2]; irradiance is peak power over spot area.
    """

    spot_diameter: tuple[float, float]
    pulse_duration: tuple[float, float]
    irradiance: tuple[float, float]

    def outside(self, case: Any, of: str = "the published cases") -> tuple[str, ...]:
        """Return one line for each quantity of a case that is outside the range.

        Parameters
        ----------
        case : WeldPass or the like
            With spot diameter, pulse duration and peak power [SI].
        of : str, optional
            What the range is of, in words.
        """
        area = 0.25 * np.pi * case.spot_diameter**2
        return tuple(
            text
            for text in (
                beyond("spot diameter", case.spot_diameter, self.spot_diameter, 1e3, "mm", of),
                beyond("pulse duration", case.pulse_duration, self.pulse_duration, 1e3, "ms", of),
                beyond("irradiance", case.peak_power / area, self.irradiance, 1e-6, "W/mm²", of),
            )
            if text
        )


def beyond(
    name: str, value: float, span: tuple[float, float], scale: float, unit: str, of: str
) -> str:
    """Return in words that a value is outside a range; empty where it is not.

    Parameters
    ----------
    name : str
        What it is.
    value : float
        [SI]
    span : tuple of (float, float)
        Least and greatest [SI].
    scale, unit : float, str
        Shown units in one SI unit, and their name.
    of : str
        What the range is of.
    """
    low, high = span
    if low * (1.0 - 1e-9) <= value <= high * (1.0 + 1e-9):
        return ""
    ends = dict.fromkeys(_digits(end * scale) for end in span)
    return f"{name} {_digits(value * scale)} {unit} is outside {of}, {' to '.join(ends)} {unit}"


def _digits(value: float) -> str:
    """Return three digits without a power of ten: 0.122, 4, 8650."""
    return f"{value:.3g}" if value < 1000.0 else f"{value:.0f}"


@frozen
class ModelError:
    """What the best constants leave unexplained, one standard deviation.

    Parameters
    ----------
    depth, width : float
        Of the logarithm of a size [-].
    absorptance : float
        [-]
    haz : float, optional
        Of the logarithm of the heat-affected width [-]; that of the fused width where no
        heat-affected width was measured.
    """

    depth: float
    width: float
    absorptance: float
    haz: float = field()

    @haz.default
    def _as_the_fused_width(self) -> float:
        return self.width


@frozen
class FittedConstants:
    """Constants of one family of metals with their spread.

    Parameters
    ----------
    family : str
        "titanium" or "stainless steel".
    mean : ModelConstants
        Best fit.
    sample : ndarray, shape (m, 9)
        Correlated draws from the posterior, columns as `NAMES`.
    error : ModelError
        To be added to the spread that the sample gives.
    box : ValidityBox
        Range of the cases behind them.
    stirring_depth : float
        Depth of melt, in spot radii, from which stirring is complete [-]; 0 where it is from the
        first film. Chosen for the family, not sampled.
    origin : str
        Which cases and how.
    """

    family: str
    mean: ModelConstants
    sample: Array = field(eq=False, repr=False)
    error: ModelError
    box: ValidityBox
    stirring_depth: float
    origin: str


@cache
def fitted_constants(family: str) -> FittedConstants:
    """Return the fitted constants of a family of metals.

    Parameters
    ----------
    family : str
        "titanium" or "stainless steel".

    Returns
    -------
    FittedConstants

    Raises
    ------
    InputError
        When there are none for that family.
    """
    tables = reference.read_toml("model_constants.toml")
    if family not in tables:
        known = ", ".join(name for name in tables if isinstance(tables[name], dict))
        raise InputError.of("family", f"has no fitted model constants; known: {known}", family)
    table = tables[family]
    box = table["box"]
    error = table["model_error"]
    return FittedConstants(
        family=family,
        mean=cattrs.structure(table["mean"], ModelConstants),
        sample=np.array(table["sample"]["values"], dtype=float).reshape(-1, len(NAMES)),
        error=ModelError(
            depth=error["depth_ln"], width=error["width_ln"], absorptance=error["absorptance"]
        ),
        box=ValidityBox(
            spot_diameter=tuple(box["spot_diameter_m"]),
            pulse_duration=tuple(box["pulse_duration_s"]),
            irradiance=tuple(box["irradiance_W_m2"]),
        ),
        stirring_depth=float(table["stirring_depth"]),
        origin=table["origin"],
    )


def draws(family: str, n: int, seed: int) -> list[ModelConstants]:
    """Draw constants from the posterior of a family.

    Parameters
    ----------
    family : str
        "titanium" or "stainless steel".
    n : int
        How many, >= 1
    seed : int
        Of the random generator.

    Returns
    -------
    list of ModelConstants
        Whole rows of the stored sample, so constants stay correlated; without repeats until
        the sample is used up.

    Raises
    ------
    InputError
        When the family has no fitted constants.
    """
    sample = fitted_constants(family).sample
    generator = np.random.default_rng(seed)
    rounds = -(-n // len(sample))
    order = np.concatenate([generator.permutation(len(sample)) for _ in range(rounds)])[:n]
    return [ModelConstants(*(float(x) for x in sample[i])) for i in order]
