"""What a calibration is: model constants with their spread, in place of those that are shipped.

The fitting stands elsewhere and depends on this; the prediction only reads it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.errors import InputError
from weldcalc.heatflow.constants import (
    NAMES,
    FittedConstants,
    ModelConstants,
    ModelError,
    ValidityBox,
    beyond,
    draws,
    fitted_constants,
)
from weldcalc.materials import Material

Floats = NDArray[np.float64]

_OWN = "the coupons of the calibration"


@frozen(eq=False)
class Calibration:
    """Constants of the melt model for one family of metals, and how well they are known.

    Parameters
    ----------
    family : str
        "titanium" or "stainless steel".
    mean : ModelConstants
        Best fit.
    sample : ndarray, shape (m, 9)
        Correlated draws from the posterior, columns as `weldcalc.heatflow.constants.NAMES`.
    error : ModelError
        What the best constants leave unexplained; to be added to the spread of the sample.
    box : ValidityBox
        Range of the pulses behind the fit.
    origin : str
        Which coupons or published pulses, and how fitted.
    sha256 : str
        Of the calibration file; empty for the shipped constants.
    surface : str
        State of the surface of the coupons; empty for the shipped constants, whose published
        pulses were on polished metal.
    material : str
        Grade of the coupons; empty for the shipped constants.
    walls : tuple of (float, float) or None
        Least and greatest wall of the coupons [m]; None for the shipped constants.
    haz_coupons : int
        Coupons with a measured heat-affected width.
    """

    family: str
    mean: ModelConstants
    sample: Floats = field(repr=False)
    error: ModelError
    box: ValidityBox
    origin: str
    sha256: str = ""
    surface: str = ""
    material: str = ""
    walls: tuple[float, float] | None = None
    haz_coupons: int = 0

    def __attrs_post_init__(self) -> None:
        """Refuse a sample of the wrong shape."""
        if self.sample.ndim != 2 or self.sample.shape[1] != len(NAMES) or not len(self.sample):
            raise InputError.of("sample", f"needs rows of {len(NAMES)} constants")

    @property
    def is_shipped(self) -> bool:
        """Tell whether these are the constants that weldcalc comes with."""
        # a calibration has its digest only once it is written, but its grade from the start
        return not (self.sha256 or self.material)

    @property
    def own(self) -> Calibration | None:
        """The calibration where it rests on a shop's coupons; None for the shipped constants."""
        return None if self.is_shipped else self

    def outside(self, item: Any, *, material: str, wall: float) -> tuple[str, ...]:
        """Return one line for each way in which a pass is unlike what the constants rest on.

        Parameters
        ----------
        item : WeldPass
            Gives the pulse.
        material : str
            Grade that is welded.
        wall : float
            Its thickness [m].
        """
        if self.is_shipped:
            return self.box.outside(item)
        found = list(self.box.outside(item, _OWN))
        if self.walls is not None:
            found.append(beyond("wall thickness", wall, self.walls, 1e3, "mm", _OWN))
        if self.material not in ("", material):
            found.append(f"{material} is another material than that of {_OWN}, {self.material}")
        return tuple(filter(None, found))

    def draws(self, count: int, seed: int) -> list[ModelConstants]:
        """Return constants drawn from the posterior, whole rows, so that they stay correlated.

        Parameters
        ----------
        count : int
            How many, at least 1.
        seed : int
            Of the random generator.
        """
        if self.is_shipped:
            return draws(self.family, count, seed)
        generator = np.random.default_rng(seed)
        rounds = -(-count // len(self.sample))
        order = [generator.permutation(len(self.sample)) for _ in range(rounds)]
        rows = self.sample[np.concatenate(order)[:count]]
        return [ModelConstants(*(float(value) for value in row)) for row in rows]


def calibration_for(metal: Material, calibration: Calibration | None) -> Calibration:
    """Return the calibration to use for a metal: the one given, or the shipped constants.

    Parameters
    ----------
    metal : Material
        Grade that is welded.
    calibration : Calibration or None
        The user's own.

    Raises
    ------
    InputError
        When the calibration belongs to another family of metals, or none is shipped for this one.
    """
    if calibration is None:
        return _shipped(fitted_constants(metal.family))
    if calibration.family != metal.family:
        raise InputError.of(
            "calibration",
            f"was made on {calibration.family}, the joint is {metal.name} ({metal.family})",
            calibration.origin,
        )
    return calibration


def _shipped(fitted: FittedConstants) -> Calibration:
    return Calibration(
        family=fitted.family,
        mean=fitted.mean,
        sample=fitted.sample,
        error=fitted.error,
        box=fitted.box,
        origin=fitted.origin,
    )
