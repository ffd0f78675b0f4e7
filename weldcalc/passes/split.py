"""How the heat of a pass is shared between two members as its beam moves across the joint."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from weldcalc.calibration_data import Calibration
from weldcalc.heatflow.heat_split import HeatSplit, heat_split
from weldcalc.passes.joint import COARSE, joint_setup
from weldcalc.schedule import Schedule

OFFSETS = 9  # of the beam, when none are given, over one spot diameter


def pass_heat_split(
    schedule: Schedule,
    number: int = 0,
    *,
    beam_offset: ArrayLike | None = None,
    preheat: float | None = None,
    calibration: Calibration | None = None,
) -> HeatSplit:
    """Compute the pulse of a pass at several beam offsets; some seconds, so only when asked for.

    Parameters
    ----------
    schedule : Schedule
        Gives joint and passes.
    number : int, optional
        Which pass.
    beam_offset : array_like, shape (n,), optional
        Beam axis from the joint line, positive towards the second member or plate [m]; None takes
        half a spot to either side of the set place.
    preheat : float, optional
        Temperature that the pulse finds [K]; None takes the preheat of the pass.
    calibration : Calibration, optional
        In place of the shipped constants.

    Returns
    -------
    HeatSplit
        Shares of the absorbed energy and fused areas, on coarse cells.

    Raises
    ------
    InputError
        As `weldcalc.passes.joint.joint_setup`.
    """
    item = schedule.passes[number]
    setup = joint_setup(schedule, item, calibration=calibration)
    if beam_offset is None:
        aside = 0.5 * item.spot_diameter * np.linspace(-1.0, 1.0, OFFSETS)
        beam_offset = item.beam_offset + aside
    settings = {key: value for key, value in setup.settings.items() if key != "beam_offset"}
    return heat_split(
        setup.shape,
        beam_offset=beam_offset,
        preheat=item.preheat if preheat is None else preheat,
        grid=COARSE * item.spot_diameter,
        **settings,
    )
