"""The joint: butt and tube-to-plate sections, seam length, rotation, pulses, time and fit-up."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, TypeAlias, TypeVar

import numpy as np
from attrs import frozen

from weldcalc.fields import percent, show
from weldcalc.findings import Finding, sort_findings
from weldcalc.section_shape import sheet as sheet

if TYPE_CHECKING:
    from numpy.typing import NDArray

Number = TypeVar("Number", float, "NDArray[np.float64]")
JointType: TypeAlias = Literal["butt", "tube-to-plate"]
JointForm: TypeAlias = Literal["tube", "sheet", "flush", "fillet"]
ToleranceSpread: TypeAlias = Literal["uniform", "normal", "fixed"]

FORMS: dict[str, tuple[str, ...]] = {
    "butt": ("tube", "sheet"),
    "tube-to-plate": ("flush", "fillet"),
}
COMMON_PRACTICE = "common practice, no source"
_TWI = (
    "Dawes 1983, welding institute report 228/1983 (published; steel of 2 to 4 mm, "
    "not titanium and not thin)"
)


@frozen
class Joint:
    """Members and fit-up of a joint; attributes are named as the TOML keys, None = not given.

    Parameters
    ----------
    type : {"butt", "tube-to-plate"}
        Kind of joint.
    form : {"tube", "sheet", "flush", "fillet"}
        The first two for a butt joint, the last two for a tube in a plate.
    material : str
        Grade of tube or sheet, or the path of a material file.
    wall_thickness : float
        Thickness of the tube wall or of the sheet [m].
    outside_diameter : float or None
        Of the tube [m]; None for sheet.
    seam_length : float or None
        Of a seam in sheet [m]; None for tubes.
    gap, mismatch : float or None
        Largest gap and largest step that the fit-up lets through [m].
    face_squareness : float or None
        Squareness tolerance of each face that meets the other member [m].
    length_tolerance : float or None
        Greatest deviation of each part's length either way, where stops hold the parts [m].
    set_gap : float or None
        Gap that the stops are set to [m]; None where the parts are pushed together.
    tolerance_spread : {"uniform", "normal", "fixed"} or None
        How both vary within their tolerance.
    plate_material : str or None
        Grade of the plate, or the path of a material file.
    plate_thickness : float or None
        Thickness of the plate [m].
    given : frozenset of str
        Keys that the user typed.
    """

    type: JointType
    form: JointForm
    material: str
    wall_thickness: float
    outside_diameter: float | None = None
    seam_length: float | None = None
    gap: float | None = None
    mismatch: float | None = None
    face_squareness: float | None = None
    length_tolerance: float | None = None
    set_gap: float | None = None
    tolerance_spread: ToleranceSpread | None = None
    plate_material: str | None = None
    plate_thickness: float | None = None
    given: frozenset[str] = frozenset()

    @property
    def is_round(self) -> bool:
        """Tell whether the seam runs round a tube."""
        return self.outside_diameter is not None

    @property
    def weld_length(self) -> float:
        """Return the length of the whole seam [m], without any closing overlap."""
        if self.outside_diameter is not None:
            return circumference(outside_diameter=self.outside_diameter)
        return self.seam_length or 0.0


def circumference(*, outside_diameter: Number) -> Number:
    """Return the length once round a tube, on its outside.

    Parameters
    ----------
    outside_diameter : float or ndarray, shape (n,)
        Outside diameter [m].

    Returns
    -------
    float or ndarray, shape (n,)
        Circumference [m].
    """
    return math.pi * outside_diameter


def travel_speed(*, rotation: Number, outside_diameter: Number) -> Number:
    """Return the speed along the seam of a tube that turns under the beam.

    Parameters
    ----------
    rotation : float or ndarray, shape (n,)
        Turning speed [rad/s].
    outside_diameter : float or ndarray, shape (n,)
        Outside diameter [m].

    Returns
    -------
    float or ndarray, shape (n,)
        Travel speed [m/s].
    """
    return rotation * outside_diameter / 2


def rotation(*, travel_speed: Number, outside_diameter: Number) -> Number:
    """Return the turning speed that gives a travel speed; the inverse of `travel_speed`.

    Parameters
    ----------
    travel_speed : float or ndarray, shape (n,)
        Speed along the seam [m/s].
    outside_diameter : float or ndarray, shape (n,)
        Outside diameter [m], above 0.

    Returns
    -------
    float or ndarray, shape (n,)
        Turning speed [rad/s].
    """
    return 2 * travel_speed / outside_diameter


def segment_length(*, outside_diameter: Number, arc: Number, closing_overlap: Number) -> Number:
    """Return the length welded in one segment round a tube.

    Parameters
    ----------
    outside_diameter : float or ndarray, shape (n,)
        Outside diameter [m].
    arc : float or ndarray, shape (n,)
        Angle of the segment [rad].
    closing_overlap : float or ndarray, shape (n,)
        Angle that it runs on over metal already welded [rad].

    Returns
    -------
    float or ndarray, shape (n,)
        Length on the outside of the tube [m].
    """
    return (arc + closing_overlap) * outside_diameter / 2


def pulses_along(*, length: float, travel_speed: float, repetition_rate: float) -> int:
    """Return the number of pulses fired on a length, the first one at its start.

    Parameters
    ----------
    length : float
        Length welded in one go [m].
    travel_speed : float
        Speed along the seam [m/s], above 0.
    repetition_rate : float
        Pulses in a second [Hz].

    Returns
    -------
    int
        Number of pulses, at least 1. On a closed turn the last pulse is one pitch or less from
        the first.
    """
    exact = length / travel_speed * repetition_rate
    return max(1, math.ceil(exact * (1 - 1e-12)))


def weld_time(
    *, length: Number, travel_speed: Number, segments: int = 1, segment_pause: float = 0.0
) -> Number:
    """Return the time that a pass takes, pauses between segments included.

    Parameters
    ----------
    length : float or ndarray, shape (n,)
        Length of one segment [m].
    travel_speed : float or ndarray, shape (n,)
        Speed along the seam [m/s], above 0.
    segments : int, optional
        Number of segments, at least 1.
    segment_pause : float, optional
        Pause between two segments [s].

    Returns
    -------
    float or ndarray, shape (n,)
        Time [s].
    """
    return length / travel_speed * segments + (segments - 1) * segment_pause


def fit_up_findings(joint: Joint) -> tuple[Finding, ...]:
    """Return what gap and mismatch mean for an autogenous weld.

    Parameters
    ----------
    joint : Joint
        Members and fit-up.

    Returns
    -------
    tuple of Finding
        The gravest first; empty when nothing is to be said.
    """
    found = (_gap_finding(joint), _mismatch_finding(joint))
    return sort_findings(finding for finding in found if finding)


def _gap_finding(joint: Joint) -> Finding | None:
    if joint.gap is None:
        text = "the largest gap is not given, so the fit-up is not judged"
        return Finding("note", "gap-not-given", text, "measure and give the gap")
    share = joint.gap / joint.wall_thickness
    if share <= 0.1:
        return None
    return Finding(
        "caution",
        "gap-against-wall",
        f"the gap of {show(joint.gap, 'gap')} is {percent(share)} of the wall: without filler the "
        "weld sags or stays open",
        f"fit up to {show(0.1 * joint.wall_thickness, 'gap')} or less, or prove it on coupons",
        f"10 % of the wall for butt joints: {COMMON_PRACTICE} (the published form of this rule, "
        "EWI 2010, is for lap joints)",
    )


def _mismatch_finding(joint: Joint) -> Finding | None:
    if joint.mismatch is None:
        text = "the mismatch is not given, so it is not judged"
        return Finding("note", "mismatch-not-given", text, "measure and give it")
    share = joint.mismatch / joint.wall_thickness
    if share <= 0.1:
        return None
    return Finding(
        "stop" if share > 0.5 else "caution",
        "mismatch-against-wall",
        f"the mismatch of {show(joint.mismatch, 'mismatch')} is {percent(share)} of the wall",
        f"align to {show(0.1 * joint.wall_thickness, 'mismatch')} or less, or prove it on coupons",
        f"10 %: {COMMON_PRACTICE}; 50 %: {_TWI}",
    )


def reach_finding(
    joint: Joint, *, spot_diameter: float, beam_offset: float = 0.0, where: str = ""
) -> Finding | None:
    """Return a finding if the spot does not reach both edges of the joint, else None.

    Parameters
    ----------
    joint : Joint
        Members and fit-up.
    spot_diameter : float
        Laser spot on the part [m].
    beam_offset : float, optional
        Distance of the beam from the joint line [m].
    where : str, optional
        Name of the pass.
    """
    spare = spot_diameter / 2 - abs(beam_offset) - (joint.gap or 0.0) / 2
    if spare > 0:
        return None
    return Finding(
        "stop",
        "spot-misses-edge",
        f"the spot of {show(spot_diameter, 'spot_diameter')}, "
        f"{show(abs(beam_offset), 'beam_offset')} off the joint line, does not reach both edges "
        f"(gap {show(joint.gap, 'gap')})",
        "use a larger spot, less offset or a smaller gap",
        "geometry",
        where,
    )
