"""Fit-up of a schedule: metal that its gap takes, the gap its tolerances make, and what to do."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from attrs import field, frozen

from weldcalc.findings import Finding
from weldcalc.fit_up import SEED, Fill, GapStack, Tolerance, fill_of_gap, gap_stack, largest_gap
from weldcalc.quantities import json_key, show, to_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from weldcalc.passes.estimate import PassEstimate
    from weldcalc.schedule import Joint, Schedule

DRAWN: Final = 20000
MOST: Final = 0.95
"""Share of joints behind `gap_within_95` [1]."""

RARE: Final = 0.01
"""Share of joints below which a gap above the one stated is only a note (common practice, no
source)."""

_CURVE = np.linspace(0.0, 2.0, 9)  # of the squareness typed
_QUANTILES = np.linspace(0.0, 1.0, 21)
_VOLUMES = "volume balance, all metal taken from the face; left out: contraction, evaporation"


@frozen(eq=False)
class FitUp:
    """What gap, mismatch and tolerances of a joint do to its weld.

    Parameters
    ----------
    joint : Joint
        Gives gap, mismatch and tolerances.
    fill : Fill or None
        Faces of the weld at the largest gap, all of it taken from the face; None where the gap is
        not given or nothing melts.
    underfill_limit : float or None
        The user's own limit [m].
    largest_gap : float or None
        Largest gap that still meets it [m]; None without limit or where nothing melts.
    stack : GapStack or None
        Gap round the tube from its tolerances; None where none are given.
    """

    joint: Joint
    fill: Fill | None
    underfill_limit: float | None
    largest_gap: float | None
    stack: GapStack | None = field(repr=False)

    def share_above(self, gap: float | None) -> float | None:
        """Return the share of joints with a gap above this one [m] somewhere round the tube."""
        return None if self.stack is None or gap is None else self.stack.chance_above(gap)

    def sums(self) -> dict[str, float]:
        """Return the stacked gap in three ways [m]; empty where there is no stack."""
        return {} if self.stack is None else _sums(self.stack)

    def bought(self) -> dict[str, list[float]]:
        """Return what a face tolerance buys: gaps over squareness from 0 to twice that typed.

        Returns
        -------
        dict
            Lists of one length [m]: face_squareness, worst_gap, root_sum_square_gap,
            gap_within_95; empty where no squareness is given.
        """
        typed = self.joint.face_squareness
        if not typed:
            return {}
        stacks = [_stack(self.joint, float(factor * typed)) for factor in _CURVE]
        return {
            "face_squareness": [float(factor * typed) for factor in _CURVE],
            **{key: [_sums(one)[key] for one in stacks] for key in self.sums()},
        }

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit."""
        return {
            json_key("largest_gap"): to_json(self.largest_gap, "largest_gap"),
            "stacked": None if self.stack is None else self._stacked(self.stack),
        }

    def _stacked(self, stack: GapStack) -> dict[str, Any]:
        numbers = {
            **self.sums(),
            "share_above_gap": self.share_above(self.joint.gap),
            "share_above_largest_gap": self.share_above(self.largest_gap),
        }
        return {
            **{json_key(key): to_json(value, key) for key, value in numbers.items()},
            "joints_drawn": DRAWN,
            "seed": SEED,
            "distribution": {
                "share_of_joints": [float(share) for share in _QUANTILES],
                json_key("stacked_gap"): [
                    to_json(stack.within(float(share)), "stacked_gap") for share in _QUANTILES
                ],
            },
            "bought_by_squareness": {
                json_key(key): [to_json(value, key) for value in values]
                for key, values in self.bought().items()
            },
        }


def fit_up_of(schedule: Schedule, passes: Sequence[PassEstimate]) -> FitUp:
    """Work out what the fit-up of a schedule does to its weld.

    Parameters
    ----------
    schedule : Schedule
        Gives joint and limit.
    passes : sequence of PassEstimate
        All of them: the first fuses the joint, the widest carries the face.

    Returns
    -------
    FitUp
    """
    joint, limit = schedule.joint, schedule.goal.underfill
    mismatch = joint.mismatch or 0.0
    depth = passes[0].penetration
    width = max(item.fusion_width for item in passes)
    fill, gap = None, None
    if depth and width and joint.gap is not None:
        root = passes[0].root_width or 0.0
        fill = fill_of_gap(
            gap=joint.gap, depth=depth, top_width=width, root_width=root, mismatch=mismatch
        )
    if depth and width and limit is not None:
        gap = largest_gap(underfill_limit=limit, depth=depth, top_width=width, mismatch=mismatch)
    has_tolerance = joint.face_squareness is not None or joint.length_tolerance is not None
    stack = _stack(joint, joint.face_squareness or 0.0) if has_tolerance else None
    return FitUp(joint, fill, limit, gap, stack)


def _sums(stack: GapStack) -> dict[str, float]:
    return {
        "worst_gap": stack.worst,
        "root_sum_square_gap": stack.root_sum_square,
        "gap_within_95": stack.within(MOST),
    }


def _members(joint: Joint) -> int:
    return 2 if joint.type == "butt" else 1  # a plate is flat and lies still


def _stack(joint: Joint, squareness: float) -> GapStack:
    law = joint.tolerance_spread or "uniform"
    made = []
    for number in range(_members(joint)):
        made.append(Tolerance(f"face {number + 1}", "squareness", squareness, law))
        if joint.length_tolerance is not None:
            made.append(Tolerance(f"part {number + 1}", "length", joint.length_tolerance, law))
    return gap_stack(made, set_gap=joint.set_gap or 0.0, count=DRAWN)


def fit_up_findings(made: FitUp) -> Iterator[Finding]:
    """Yield the findings on underfill and on the gap that tolerances make.

    Parameters
    ----------
    made : FitUp
        From `fit_up_of`.
    """
    yield from _underfill_findings(made)
    yield from _stack_findings(made)


def _underfill_findings(made: FitUp) -> Iterator[Finding]:
    fill, limit = made.fill, made.underfill_limit
    if fill is None or limit is None or fill.below_higher_edge <= limit * (1 + 1e-9):
        return
    remedy = f"fit up to a gap of {show(made.largest_gap, 'largest_gap')} or less"
    if not made.largest_gap:
        remedy = "align the members better: the mismatch alone uses the limit up"
    yield Finding(
        "caution",
        "underfill-above-limit",
        f"at the largest gap and mismatch the face lies {show(fill.below_higher_edge, 'underfill')}"
        f" below its higher edge; {show(limit, 'goal.underfill')} is allowed",
        remedy,
        _VOLUMES,
    )


def _stack_findings(made: FitUp) -> Iterator[Finding]:
    stack, gap = made.stack, made.joint.gap
    if stack is None or gap is None or stack.worst <= gap * (1 + 1e-9):
        return
    share = stack.chance_above(gap)
    yield Finding(
        "caution" if share >= RARE else "note",
        "stacked-gap",
        f"the gap stacked from the tolerances exceeds the {show(gap, 'gap')} of [joint] in "
        f"{100 * share:.1f} % of joints (at worst {show(stack.worst, 'worst_gap')})",
        _squarer(made.joint, gap),
        f"{DRAWN} joints drawn within the tolerances as typed",
    )


def _squarer(joint: Joint, gap: float) -> str:
    count = _members(joint)
    spare = gap - (joint.set_gap or 0.0) - count * (joint.length_tolerance or 0.0)
    square = min(gap, 2 * spare) / count
    if square <= 0:
        return "set the stops closer or hold the lengths closer: they alone use up the gap"
    return (
        f"cut the faces square to {show(square, 'face_squareness')}, so that no joint exceeds it, "
        "or measure each joint before welding"
    )
