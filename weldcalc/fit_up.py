"""Fit-up of a weld without filler: what a gap takes out of the weld, and how gaps come about.

The metal that a gap lacks is missing from the weld: its faces fall in. Faces that are not square
and lengths that vary add up to the gap round a tube.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal, TypeAlias

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.errors import InputError, Problems
from weldcalc.quantities import json_key, to_json
from weldcalc.sourced import need_not_negative, need_positive

Floats = NDArray[np.float64]
Kind: TypeAlias = Literal["squareness", "length"]
Law: TypeAlias = Literal["fixed", "uniform", "normal"]

PARABOLA = 2 / 3
"""Area of a parabolic hollow over width times depth [-]."""

SEED = 20260102


@frozen
class Fill:
    """Faces of a weld whose gap had to be filled from its own metal.

    Parameters
    ----------
    underfill : float
        Greatest depth of the face below the straight line between its two edges [m].
    root_concavity : float
        The same on the far side [m]; 0 where the weld does not go through.
    step : float
        Height of one edge over the other [m].
    throat : float
        Least thickness of the weld [m]; of its fused depth where it does not go through.
    """

    underfill: float
    root_concavity: float
    step: float
    throat: float

    @property
    def below_higher_edge(self) -> float:
        """Depth of the middle of the face below the higher of its edges [m]."""
        return self.underfill + self.step / 2

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit."""
        keys = ("underfill", "below_higher_edge", "root_concavity", "throat")
        return {json_key(key): to_json(getattr(self, key), key) for key in keys}


def fill_of_gap(
    *,
    gap: float,
    depth: float,
    top_width: float,
    root_width: float = 0.0,
    mismatch: float = 0.0,
    top_share: float = 1.0,
) -> Fill:
    """Return how far the faces of a weld fall in, by the balance of volumes.

    Parameters
    ----------
    gap : float
        Between the edges before welding [m].
    depth : float
        Of the fused zone [m]; the wall where it goes through.
    top_width, root_width : float
        Fused width on the face and on the far side [m]; 0 where the weld does not go through.
    mismatch : float, optional
        Step between the two members [m].
    top_share : float, optional
        Share of the missing metal that is missing from the face; the rest from the far side. 1
        is the worst case for the face.

    Returns
    -------
    Fill

    Raises
    ------
    InputError
        When a value is out of range, or metal is to come from a far side that is not fused.

    Notes
    -----
    ``gap * depth`` is missing for each metre of seam. Hollows are parabolas, of area 2/3 width
    times depth. A step is levelled to a slope between the edges and takes no metal. Contraction
    on cooling, evaporation and spatter are left out: they add to the hollow. Derived here; no
    published thin-wall case was found to check it.
    """
    _check_fill(gap=gap, depth=depth, top_width=top_width, root_width=root_width)
    problems = Problems()
    need_not_negative(problems, mismatch=mismatch, top_share=top_share)
    if top_share > 1 or (top_share < 1 and root_width == 0):
        problems.add(
            "top_share", "has to be 1 unless the far side is fused, and never above", top_share
        )
    problems.raise_if_any()
    missing = gap * depth
    face = missing * top_share / (PARABOLA * top_width)
    far = missing * (1 - top_share) / (PARABOLA * root_width) if root_width else 0.0
    return Fill(
        underfill=face,
        root_concavity=far,
        step=mismatch,
        throat=max(depth - face - far, 0.0),
    )


def _check_fill(*, gap: float, depth: float, top_width: float, root_width: float) -> None:
    problems = Problems()
    need_positive(problems, depth=depth, top_width=top_width)
    need_not_negative(problems, gap=gap, root_width=root_width)
    problems.raise_if_any()


def largest_gap(
    *, underfill_limit: float, depth: float, top_width: float, mismatch: float = 0.0
) -> float:
    """Return the largest gap at which the face stays within an underfill limit.

    Parameters
    ----------
    underfill_limit : float
        The user's own limit, below the higher edge [m].
    depth : float
        Of the fused zone [m].
    top_width : float
        Fused width on the face [m].
    mismatch : float, optional
        Step between the two members [m]; half of it is used up before any gap.

    Returns
    -------
    float
        [m]; 0 where the step alone uses the limit up.

    Raises
    ------
    InputError
        When a value is out of range.
    """
    _check_fill(gap=underfill_limit, depth=depth, top_width=top_width, root_width=mismatch)
    return max(underfill_limit - mismatch / 2, 0.0) * PARABOLA * top_width / depth


@frozen
class Tolerance:
    """One source of gap.

    Parameters
    ----------
    name : str
        What varies.
    kind : {"squareness", "length"}
        Squareness of a face: how much farther one side of it lies along the axis than the other.
        Length: where stops hold the parts, either way from the nominal.
    size : float
        Greatest squareness error, or greatest deviation either way [m].
    law : {"fixed", "uniform", "normal"}
        How it varies: always at its greatest; evenly; or normally with the tolerance at three
        sigma, cut there (a squareness is then the size of such a value).
    """

    name: str
    kind: Kind
    size: float
    law: Law = "uniform"

    def __attrs_post_init__(self) -> None:
        """Refuse what cannot be a tolerance."""
        if not np.isfinite(self.size) or self.size < 0:
            raise InputError.of(
                self.name, "has to be a finite size of at least zero [m]", self.size
            )

    def draw(self, count: int, generator: np.random.Generator) -> Floats:
        """Return values that it takes [m], shape (count,); squareness errors are never negative."""
        if self.law == "fixed":
            return np.full(count, self.size)
        if self.law == "uniform":
            made = generator.uniform(-self.size, self.size, count)
        else:
            made = np.clip(generator.normal(0.0, self.size / 3, count), -self.size, self.size)
        return np.abs(made) if self.kind == "squareness" else made


@frozen(eq=False)
class GapStack:
    """How large the gap round a joint becomes.

    Parameters
    ----------
    worst : float
        Everything at its greatest and the same way [m].
    root_sum_square : float
        The same with the root of the sum of squares [m].
    largest : ndarray, shape (n,)
        Largest gap round each of n joints [m].
    anywhere : ndarray, shape (n,)
        Gap at a random place of each of them [m].
    """

    worst: float
    root_sum_square: float
    largest: Floats = field(repr=False)
    anywhere: Floats = field(repr=False)

    def within(self, share: float) -> float:
        """Return the gap that a share [1] of the joints stay within everywhere [m]."""
        return float(np.quantile(self.largest, share))

    def chance_above(self, gap: float) -> float:
        """Return the share of joints that exceed a gap [m] somewhere."""
        # a gap that is the tolerance itself may differ from it in the last digit
        return float(np.mean(self.largest > gap * (1 + 1e-9)))


def gap_stack(
    tolerances: Sequence[Tolerance], *, set_gap: float = 0.0, count: int = 20000, seed: int = SEED
) -> GapStack:
    """Stack face squareness and lengths into the gap round a tube.

    Parameters
    ----------
    tolerances : sequence of Tolerance
        Usually the two faces, and lengths where stops hold the parts apart.
    set_gap : float, optional
        Gap between the mean planes of the faces that stops are set to [m]; 0, and no lengths, for
        parts that are pushed together.
    count : int, optional
        Joints to draw.
    seed : int, optional
        Of the random generator.

    Returns
    -------
    GapStack

    Raises
    ------
    InputError
        When nothing is given, or a value cannot be used.

    Notes
    -----
    Axes are in line. A face of squareness error s stands ``s / 2 cos(angle)`` off its mean plane;
    two faces add like arrows, and parts that are pushed together touch where the gap is least.
    Lengths move the parts as a whole; parts that would overlap touch instead.
    """
    if not tolerances:
        raise InputError.of("tolerances", "give at least one")
    problems = Problems()
    need_not_negative(problems, set_gap=set_gap)
    need_positive(problems, count=count)
    problems.raise_if_any()
    generator = np.random.default_rng(seed)
    tilt, shift = np.zeros(count, dtype=complex), np.full(count, set_gap)
    for one in tolerances:
        drawn = one.draw(count, generator)
        if one.kind == "squareness":
            tilt += drawn / 2 * np.exp(2j * np.pi * generator.random(count))
        else:
            shift += drawn
    reach = np.abs(tilt)
    # where stops would hold the parts closer than their faces allow, they touch
    least = np.maximum(shift - reach, 0.0)
    at = np.cos(2 * np.pi * generator.random(count))
    return GapStack(
        worst=_together(tolerances, set_gap, power=1),
        root_sum_square=_together(tolerances, set_gap, power=2),
        largest=least + 2 * reach,
        anywhere=least + reach * (1 - at),
    )


def _together(tolerances: Sequence[Tolerance], set_gap: float, *, power: int) -> float:
    """Return the largest gap with tolerances added (power 1) or their squares (power 2)."""
    faces = [one.size for one in tolerances if one.kind == "squareness"]
    lengths = [one.size for one in tolerances if one.kind == "length"]
    tilted = sum(size**power for size in faces) ** (1 / power)
    held = [*lengths, tilted / 2]
    return float(max(set_gap + sum(size**power for size in held) ** (1 / power), tilted))
