"""A later pass on the first one: how deep it melts again, whether it covers it, what governs."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import TYPE_CHECKING, Any

from attrs import frozen

from weldcalc.passes.spread import scatter_of
from weldcalc.quantities import json_key, to_json

if TYPE_CHECKING:
    from weldcalc.prediction import PassEstimate
    from weldcalc.schedule import Schedule

SIGMAS = 2.0  # of the beam's place across the joint, for either pass: about one weld in twenty


@frozen
class CoverOnRoot:
    """What a later pass does to the first one.

    Parameters
    ----------
    name, root : str
        The later pass and the first one.
    remelt_depth : tuple of (float, float)
        Least and greatest along the seam [m].
    cover_margin : float
        How far the fused zone of the later pass reaches past that of the first one on the narrower
        side, where the first is widest and the later narrowest [m]; below 0 it does not cover it.
    wanted_margin : float
        What the scatter of the beam's place asks for [m].
    melts_through : bool
        Whether any of its pulses melts the far side again.
    """

    name: str
    root: str
    remelt_depth: tuple[float, float]
    cover_margin: float
    wanted_margin: float
    melts_through: bool

    @property
    def covers(self) -> bool:
        """Tell whether the first pass is covered with the margin that scatter asks for."""
        return self.cover_margin >= self.wanted_margin

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit."""
        return {
            "name": self.name,
            "on": self.root,
            json_key("remelt_depth"): [to_json(end, "remelt_depth") for end in self.remelt_depth],
            json_key("cover_margin"): to_json(self.cover_margin, "cover_margin"),
            "wanted_" + json_key("cover_margin"): to_json(self.wanted_margin, "cover_margin"),
            "covers": self.covers,
            "melts_through": self.melts_through,
        }


@frozen
class Governing:
    """Which pass sets the size of the whole weld.

    Parameters
    ----------
    fusion_width, haz_width, heat : str
        Name of the pass with the widest fused zone, the widest heat-affected zone on each side
        and the most heat taken up for each metre of seam.
    heat_taken_up : float
        By all passes together [J/m].
    """

    fusion_width: str
    haz_width: str
    heat: str
    heat_taken_up: float

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit."""
        return {
            "fusion_width_set_by": self.fusion_width,
            "haz_width_set_by": self.haz_width,
            "heat_set_by": self.heat,
            json_key("heat_taken_up"): to_json(self.heat_taken_up, "heat_taken_up"),
        }


def covers_on_root(schedule: Schedule, passes: Sequence[PassEstimate]) -> tuple[CoverOnRoot, ...]:
    """Hold every later pass against the first one.

    Parameters
    ----------
    schedule : Schedule
        Gives beam offsets and their scatter.
    passes : sequence of PassEstimate
        In the order of welding.

    Returns
    -------
    tuple of CoverOnRoot
        Empty for a single pass.
    """
    offsets = [one.beam_offset for one in schedule.passes]
    wanted = SIGMAS * sqrt(2.0) * scatter_of(schedule)["beam_offset"]
    first = passes[0]
    return tuple(
        CoverOnRoot(
            name=one.name,
            root=first.name,
            remelt_depth=(
                float(one.history.penetration.min()),
                float(one.history.penetration.max()),
            ),
            cover_margin=float(
                one.history.fusion_width.min() / 2 - first.history.fusion_width.max() / 2
            )
            - abs(offset - offsets[0]),
            wanted_margin=wanted,
            melts_through=bool(one.history.root_width.max() > 0),
        )
        for one, offset in zip(passes[1:], offsets[1:], strict=True)
    )


def governing(passes: Sequence[PassEstimate]) -> Governing:
    """Return which pass sets widths and heat of the whole weld.

    Parameters
    ----------
    passes : sequence of PassEstimate
        At least one.
    """
    heats = [one.heat_input * one.absorptance for one in passes]
    return Governing(
        fusion_width=max(passes, key=lambda one: one.history.fusion_width.max()).name,
        # widths add up from the middle of the seam: the farther edge counts, not the wider band
        haz_width=max(
            passes, key=lambda one: (one.history.fusion_width / 2 + one.history.haz_width).max()
        ).name,
        heat=passes[heats.index(max(heats))].name,
        heat_taken_up=sum(heats),
    )
