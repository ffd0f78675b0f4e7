"""A focus that moves: what it does to the spot, and what is said where that cannot be told."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from weldcalc.beam import defocused_diameter
from weldcalc.findings import Finding
from weldcalc.quantities import show
from weldcalc.schedule import Laser, Schedule

Floats = NDArray[np.float64]

_NEEDED = ("spot_diameter", "wavelength", "beam_quality")


def spot_growth(laser: Laser, spot_diameter: float, moved: Floats) -> Floats:
    """Return the growth of a spot when the focus moves [1].

    Parameters
    ----------
    laser : Laser
        Its waist and Rayleigh length tell how the spot grows; where they are not known it keeps
        its size.
    spot_diameter : float
        With the focus where it was set [m]; one wider than the waist counts as out of focus.
    moved : ndarray, shape (n,)
        How far the focus moves, away from the waist above 0 [m].

    Returns
    -------
    ndarray, shape (n,)
    """
    waist, reach = laser.waist_diameter, laser.rayleigh_length
    if waist is None or reach is None:
        return np.ones(len(moved))
    wide = max(spot_diameter / waist, 1.0)
    offset = float(reach * np.sqrt(wide**2 - 1.0))
    spot = defocused_diameter(
        waist_diameter=np.ones(1),
        focus_offset=offset + moved,
        rayleigh_length=np.array([reach]),
    )
    grown: Floats = np.asarray(spot / wide, dtype=np.float64)
    return grown


def focus_findings(schedule: Schedule) -> Iterator[Finding]:
    """Yield what has to be said where a typed scatter of the focus cannot be drawn.

    Parameters
    ----------
    schedule : Schedule
        Its scatter of the focus needs waist and Rayleigh length of its laser.
    """
    typed, laser = schedule.scatter.focus, schedule.laser
    if not typed or laser.rayleigh_length is not None:
        return
    missing = [key for key in _NEEDED if getattr(laser, key) is None]
    yield Finding(
        "caution",
        "focus-scatter-left-out",
        f"scatter.focus of {show(typed, 'scatter.focus')} is left out of every interval and "
        "chance: what a moved focus does to the spot cannot be told without the caustic",
        f"give {' and '.join(missing)} in [laser]",
    )
