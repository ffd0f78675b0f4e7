"""How the beam's place shares heat and melt between a tube and the plate around it."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from weldcalc.errors import InputError
from weldcalc.heatflow.section import run_section
from weldcalc.heatflow.section_case import section_case
from weldcalc.joint import Joint
from weldcalc.section_shape import Section, joint_section

Array = NDArray[np.float64]


@frozen(eq=False)
class HeatSplit:
    """Shares of both members over beam offset; named as the picture of it takes them.

    Parameters
    ----------
    beam_offset : ndarray, shape (n,)
        Beam axis from the joint line, positive towards the plate [m].
    tube_share, plate_share : ndarray, shape (n,)
        In the absorbed energy [-]; together 1.
    tube_area, plate_area : ndarray, shape (n,)
        Fused area in the section [m2].
    """

    beam_offset: Array
    tube_share: Array
    plate_share: Array
    tube_area: Array
    plate_area: Array


def heat_split(
    section: Section | Joint,
    *,
    beam_offset: ArrayLike,
    threads: int | None = None,
    **settings: Any,
) -> HeatSplit:
    """Compute one pulse at each of several beam offsets.

    Parameters
    ----------
    section : Section or Joint
        Two members, as in `weldcalc.heatflow.section.section_pulse`.
    beam_offset : array_like, shape (n,)
        Beam axis from the joint line, positive towards the second member [m].
    threads : int, optional
        None takes one per processor.
    **settings
        Other arguments of `weldcalc.heatflow.section.section_pulse`.

    Returns
    -------
    HeatSplit
        The first member counts as the tube, the second as the plate.

    Raises
    ------
    InputError
        When the section has one member only, or as `section_pulse`.
    """
    shape = joint_section(section) if isinstance(section, Joint) else section
    if len(shape.members) != 2:
        raise InputError.of("section", "needs two members to share the heat", shape.kind)
    offsets = np.atleast_1d(np.asarray(beam_offset, dtype=float))
    cases = [
        section_case(shape, **(settings | {"beam_offset": float(offset)})) for offset in offsets
    ]
    with ThreadPoolExecutor(max_workers=threads or os.cpu_count() or 1) as pool:
        results = list(pool.map(run_section, cases))
    return HeatSplit(
        beam_offset=offsets,
        tube_share=_of_member([result.absorbed_share for result in results], 0),
        plate_share=_of_member([result.absorbed_share for result in results], 1),
        tube_area=_of_member([result.fused_area for result in results], 0),
        plate_area=_of_member([result.fused_area for result in results], 1),
    )


def _of_member(pairs: Sequence[tuple[float, ...]], member: int) -> Array:
    return np.array([pair[member] for pair in pairs])
