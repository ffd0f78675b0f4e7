"""Sizes of a section as measured: refused where no weld of this joint could have them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from weldcalc.diagnoses.sections import Curve
from weldcalc.errors import Problems
from weldcalc.quantities import show
from weldcalc.schedule import Schedule, WeldPass
from weldcalc.section_shape import joint_section

MEASURED: Final = ("penetration", "fusion_width", "root_width")
LARGEST = 2.0  # times what can be: larger sizes are slips of units, as in a coupon list


def checked_sizes(schedule: Schedule, sizes: Mapping[str, float | None]) -> dict[str, float]:
    """Return the sizes that were measured.

    Parameters
    ----------
    schedule : Schedule
        Its members end how deep a weld can be.
    sizes : mapping of str to float or None
        By key of `MEASURED` [m]; None where nobody measured.

    Raises
    ------
    InputError
        When one is below zero, or deeper than `LARGEST` times the metal, or the far side of a
        tube in a plate.
    """
    problems = Problems()
    for name, value in sizes.items():
        if value is not None and not (np.isfinite(value) and value >= 0.0):
            problems.add(name, "has to be a length, zero or more [m]", value)
    root = sizes.get("root_width")
    if root is not None and schedule.joint.type != "butt":
        why = "a tube in a plate has no far side that the weld could come out on; leave it out"
        problems.add("root_width", why, show(root, "root_width"))
    metal, words = _metal(schedule)
    depth = sizes["penetration"]
    if depth is not None and LARGEST * metal < depth < np.inf:
        _refuse(problems, "penetration", depth, f"the {words} of {show(metal, 'penetration')}")
    problems.raise_if_any()
    return {name: value for name, value in sizes.items() if value is not None}


def _metal(schedule: Schedule) -> tuple[float, str]:
    """Return how deep a weld could be at most [m], and what ends it."""
    joint = schedule.joint
    if joint.type == "butt":
        return joint.wall_thickness, "wall"
    ends = {
        joint.wall_thickness: "wall",
        joint_section(joint).joint_length: "joint",
        joint.plate_thickness or 0.0: "plate",
    }
    return max(ends), ends[max(ends)]


def refuse_too_wide(
    measured: Mapping[str, float], curves: Mapping[str, Curve], weld_pass: WeldPass
) -> None:
    """Refuse widths that no cause could make.

    Parameters
    ----------
    measured : mapping of str to float
        By key of `MEASURED` [m].
    curves : mapping of str to Curve
        Of all of `MEASURED`, by cause.
    weld_pass : WeldPass
        The pass; a weld as wide as its spot is always taken to be possible.

    Raises
    ------
    InputError
        When a width is more than `LARGEST` times the widest of all runs.
    """
    problems = Problems()
    for place, name in enumerate(MEASURED):
        runs = max(float(curve.values[..., place].max()) for curve in curves.values())
        widest = max(runs, weld_pass.spot_diameter)
        if name != "penetration" and measured.get(name, 0.0) > LARGEST * widest:
            words = f"the widest weld that any cause could make here, {show(widest, name)}"
            _refuse(problems, name, measured[name], words)
    problems.raise_if_any()


def _refuse(problems: Problems, name: str, value: float, than: str) -> None:
    why = f"more than {LARGEST:g} times {than}; is it in another unit, or of another weld?"
    problems.add(name, why, show(value, name))
