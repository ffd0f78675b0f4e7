"""Cross-sections of joints: the outlines of one or two members, as heat flow needs them.

Across the joint is y, depth below the irradiated face is z; the joint line stands at y = 0, and a
second member lies on the positive side. A gap is kept beside the outlines, which are drawn closed.
The curvature of a tube is left out: its wall is unrolled along the seam.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, TypeAlias

from attrs import frozen

from weldcalc.errors import Problems

if TYPE_CHECKING:
    from weldcalc.joint import Joint

Point: TypeAlias = tuple[float, float]
SectionKind: TypeAlias = Literal["sheet", "butt", "flush", "fillet"]

FAR = 1.0  # m, where a member that runs on ends: beyond what any pulse warms
SHEET_MATERIAL = "Ti Grade 2"  # of a sheet whose material is not said


@frozen
class SectionMember:
    """One member of a cross-section.

    Parameters
    ----------
    name : str
        "sheet", "tube", "plate", "first", "second".
    material : str
        Grade, or the path of a material file.
    outline : tuple of (float, float)
        Corners (y, z) of a convex outline, in turn [m].
    """

    name: str
    material: str
    outline: tuple[Point, ...]


@frozen
class Section:
    """A joint in cross-section.

    Parameters
    ----------
    kind : {"sheet", "butt", "flush", "fillet"}
        How the members lie; "sheet" is one member without a joint.
    members : tuple of SectionMember
        One or two, the second on the positive side of the joint line.
    joint_line : tuple of two (float, float)
        Ends (y, z) of the line along which the members meet, from the irradiated face [m].
    gap : float
        Between the members [m].
    thinnest : float
        Thickness of the thinner member [m].
    """

    kind: SectionKind
    members: tuple[SectionMember, ...]
    joint_line: tuple[Point, Point]
    gap: float
    thinnest: float

    @property
    def joint_length(self) -> float:
        """Length of the line along which the members meet [m]."""
        return math.dist(*self.joint_line)


def _box(left: float, right: float, top: float, bottom: float) -> tuple[Point, ...]:
    return ((left, top), (right, top), (right, bottom), (left, bottom))


def sheet(thickness: float, *, material: str = SHEET_MATERIAL) -> Section:
    """Return a plain sheet: a butt joint of two like members without gap is the same.

    Parameters
    ----------
    thickness : float
        [m], > 0
    material : str, optional
        Grade, or the path of a material file.

    Returns
    -------
    Section

    Raises
    ------
    InputError
        When the thickness is not above zero.
    """
    _check(thickness=thickness)
    member = SectionMember("sheet", material, _box(-FAR, FAR, 0.0, thickness))
    return Section("sheet", (member,), ((0.0, 0.0), (0.0, thickness)), 0.0, thickness)


def butt_section(
    *,
    thickness: float,
    material: str,
    second_thickness: float | None = None,
    second_material: str | None = None,
    gap: float = 0.0,
    mismatch: float = 0.0,
) -> Section:
    """Return a butt joint of two sheets, or of two tube ends.

    Parameters
    ----------
    thickness : float
        Of the first member, on the negative side [m], > 0
    material : str
        Grade of the first member.
    second_thickness : float, optional
        [m], > 0; None takes that of the first.
    second_material : str, optional
        None takes that of the first.
    gap : float, optional
        Between the members [m], >= 0
    mismatch : float, optional
        How far the second member's face lies below the first's [m]; below zero: above it.

    Returns
    -------
    Section

    Raises
    ------
    InputError
        When a thickness is not above zero, the gap is below zero, or the members do not meet.
    """
    second = thickness if second_thickness is None else second_thickness
    _check(thickness=thickness, second_thickness=second, gap=gap)
    top, bottom = max(0.0, mismatch), min(thickness, second + mismatch)
    _check_meeting(top, bottom, mismatch)
    first = SectionMember("first", material, _box(-FAR, 0.0, 0.0, thickness))
    box = _box(0.0, FAR, mismatch, mismatch + second)
    other = SectionMember("second", second_material or material, box)
    line = ((0.0, top), (0.0, bottom))
    return Section("butt", (first, other), line, gap, min(thickness, second))


def flush_section(
    *,
    wall_thickness: float,
    plate_thickness: float,
    tube_material: str,
    plate_material: str | None = None,
    gap: float = 0.0,
    mismatch: float = 0.0,
) -> Section:
    """Return a tube whose end lies level with the face of the plate around it.

    Parameters
    ----------
    wall_thickness, plate_thickness : float
        [m], > 0
    tube_material : str
        Grade of the tube.
    plate_material : str, optional
        None takes that of the tube.
    gap : float, optional
        Between tube and plate [m], >= 0
    mismatch : float, optional
        How far the tube end lies below the face of the plate [m]; below zero: above it.

    Returns
    -------
    Section

    Raises
    ------
    InputError
        When a thickness is not above zero, the gap is below zero, or the members do not meet.
    """
    _check(wall_thickness=wall_thickness, plate_thickness=plate_thickness, gap=gap)
    _check_meeting(mismatch, plate_thickness, mismatch)
    tube = SectionMember("tube", tube_material, _box(-wall_thickness, 0.0, mismatch, FAR))
    box = _box(0.0, FAR, 0.0, plate_thickness)
    plate = SectionMember("plate", plate_material or tube_material, box)
    line = ((0.0, max(0.0, mismatch)), (0.0, plate_thickness))
    return Section("flush", (tube, plate), line, gap, min(wall_thickness, plate_thickness))


def fillet_section(
    *,
    wall_thickness: float,
    plate_thickness: float,
    tube_material: str,
    plate_material: str | None = None,
    gap: float = 0.0,
) -> Section:
    """Return a tube that stands on a plate; the plate goes on below it.

    Parameters
    ----------
    wall_thickness, plate_thickness : float
        [m], > 0
    tube_material : str
        Grade of the tube.
    plate_material : str, optional
        None takes that of the tube.
    gap : float, optional
        Between tube end and plate [m], >= 0

    Returns
    -------
    Section
        The corner that the beam is aimed at lies at y = z = 0; the tube above it at z < 0.

    Raises
    ------
    InputError
        When a thickness is not above zero or the gap is below zero.
    """
    _check(wall_thickness=wall_thickness, plate_thickness=plate_thickness, gap=gap)
    tube = SectionMember("tube", tube_material, _box(-wall_thickness, 0.0, -FAR, 0.0))
    box = _box(-FAR, FAR, 0.0, plate_thickness)
    plate = SectionMember("plate", plate_material or tube_material, box)
    line = ((0.0, 0.0), (-wall_thickness, 0.0))
    return Section("fillet", (tube, plate), line, gap, min(wall_thickness, plate_thickness))


def joint_section(joint: Joint) -> Section:
    """Return the cross-section of a schedule's joint.

    Parameters
    ----------
    joint : Joint
        Members and fit-up; a gap or mismatch that is not given counts as none.

    Returns
    -------
    Section

    Raises
    ------
    InputError
        When its sizes cannot be, or the members do not meet.
    """
    gap, mismatch = joint.gap or 0.0, joint.mismatch or 0.0
    if joint.type == "butt":
        return butt_section(
            thickness=joint.wall_thickness, material=joint.material, gap=gap, mismatch=mismatch
        )
    plate = joint.plate_thickness or joint.wall_thickness
    if joint.form == "fillet":
        return fillet_section(
            wall_thickness=joint.wall_thickness,
            plate_thickness=plate,
            tube_material=joint.material,
            plate_material=joint.plate_material,
            gap=gap,
        )
    return flush_section(
        wall_thickness=joint.wall_thickness,
        plate_thickness=plate,
        tube_material=joint.material,
        plate_material=joint.plate_material,
        gap=gap,
        mismatch=mismatch,
    )


def _check(*, gap: float = 0.0, **thicknesses: float) -> None:
    problems = Problems()
    for name, value in thicknesses.items():
        if not (math.isfinite(value) and value > 0.0):
            problems.add(name, "has to be a finite number above zero [m]", value)
    if not (math.isfinite(gap) and gap >= 0.0):
        problems.add("gap", "has to be a finite number, zero or more [m]", gap)
    problems.raise_if_any()


def _check_meeting(top: float, bottom: float, mismatch: float) -> None:
    problems = Problems()
    if not bottom > top:
        problems.add("mismatch", "is so large that the members do not meet", mismatch)
    problems.raise_if_any()
