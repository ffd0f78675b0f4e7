"""What one pulse did: sizes, fields, energies and times, the same from either engine."""

from __future__ import annotations

from typing import Literal

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.findings import Finding

Array = NDArray[np.float64]
Mode = Literal["conduction", "transition", "keyhole"]

SHIELDING_TEMPERATURE = 700.15  # K, 427 degC: university welding notes and others, published
STRICT_SHIELDING_TEMPERATURE = 533.15  # K, 260 degC: colour or absorption begins, published
CLOSEST_TO_PREHEAT = 20.0  # K; a part's surroundings decide when it is as cool as that
COOLING_SPAN = 200.0  # K below the solidus over which the cooling rate is taken


@frozen(eq=False)
class History:
    """How a pulse went, at the start of each step.

    Parameters
    ----------
    time : ndarray, shape (n,)
        Since the start of the pulse [s].
    centre : ndarray, shape (n,)
        Temperature of the irradiated face on the axis [K].
    hottest : ndarray, shape (n,)
        Highest temperature anywhere in the metal [K].
    depression : ndarray, shape (n,)
        Depth of the vapour depression [m].
    absorptance : ndarray, shape (n,)
        Share of the power taken up [-]; 0 after the pulse.
    """

    time: Array
    centre: Array
    hottest: Array
    depression: Array
    absorptance: Array

    def first_above(self, temperature: float) -> float | None:
        """Return when the centre of the irradiated face first reaches a temperature [K]; [s]."""
        return _first_crossing(self.time, self.centre, temperature)

    def last_above(self, temperature: float) -> float | None:
        """Return when the hottest place last falls through a temperature [K]; [s], None if not."""
        return _last_crossing(self.time, self.hottest, temperature)

    def time_above(self, temperature: float) -> float | None:
        """Return how long the hottest place was above a temperature [K]; [s].

        None where it was still above at the end of the run.
        """
        first = _first_crossing(self.time, self.hottest, temperature)
        last = self.last_above(temperature)
        if first is None:
            return 0.0
        return None if last is None else last - first

    def cooling_rate(self, solidus: float) -> float | None:
        """Return the mean rate [K/s] on the irradiated face's centre over 200 K below a solidus."""
        solid = _last_crossing(self.time, self.centre, solidus)
        cold = _last_crossing(self.time, self.centre, solidus - COOLING_SPAN)
        return None if solid is None or cold is None else COOLING_SPAN / (cold - solid)

    def first_open(self) -> float | None:
        """Return when a depression first opens [s]; None if never."""
        open_now = np.flatnonzero(self.depression > 0.0)
        return float(self.time[open_now[0]]) if open_now.size else None


def _first_crossing(time: Array, record: Array, level: float) -> float | None:
    above = np.flatnonzero(record >= level)
    if above.size == 0:
        return None
    i = int(above[0])
    return float(time[0]) if i == 0 else _between(time, record, i - 1, level)


def _last_crossing(time: Array, record: Array, level: float) -> float | None:
    above = np.flatnonzero(record >= level)
    if above.size == 0 or above[-1] == record.size - 1:
        return None
    return _between(time, record, int(above[-1]), level)


def _between(time: Array, record: Array, i: int, level: float) -> float:
    share = (level - record[i]) / (record[i + 1] - record[i])
    return float(time[i] + share * (time[i + 1] - time[i]))


@frozen(eq=False)
class PulseResult:
    """Result of one pulse (SI).

    Parameters
    ----------
    penetration : float
        Depth of the fused zone [m]; the thickness where it goes through.
    fusion_width, middle_width, root_width : float
        Fused width on the irradiated face, at half thickness and on the far face [m].
    haz_width : float
        From the fusion boundary to the heat-affected isotherm on the irradiated face, each
        side [m].
    haz_temperature : float
        That isotherm [K].
    haz_isotherm_name : str
        Its name, to be shown with the width.
    full_penetration : bool
        Whether the far face melted.
    penetration_margin : float
        How far from just reaching the far face [-]. Below zero: heat that its hottest place lacks
        to be half molten, over the heat needed from the preheat. From zero on: fused width on the
        far face over the thickness. Rises steadily through zero with power.
    mode : {"conduction", "transition", "keyhole"}
        By the depth of the depression, see `mode_criterion`.
    mode_criterion : str
        The numbers that decided.
    absorptance : float
        Absorbed over incident energy [-].
    incident_energy, absorbed_energy, transmitted_energy : float
        [J]; transmitted: through a depression that opened the far face.
    lost_energy, evaporated_energy, radiated_energy : float
        Lost from both faces while the run lasted, and its two parts [J].
    energy_balance : float
        (absorbed - lost - gained by the metal) / absorbed [-].
    time_to_melt : float or None
        Until the centre of the irradiated face reaches the liquidus [s].
    time_to_keyhole : float or None
        Until the vapour depression opens [s].
    depression_depth : float
        Greatest depth of the vapour depression [m].
    peak_temperature : ndarray, shape (nz, nr)
        Highest temperature of each place [K].
    r, z : ndarray
        Places of the field: from the beam axis, and below the irradiated face [m].
    fusion_outline, haz_outline : ndarray, shape (k, 2)
        Points (r, z) of the outlines [m].
    time_above_shielding, radius_above_shielding : float or None, float
        How long and how far out the metal was above 427 degC [s], [m]; None: not cooled below it.
    time_above_strict, radius_above_strict : float or None, float
        The same for 260 degC.
    cooling_rate : float or None
        Mean rate on the axis of the irradiated face over 200 K below the solidus [K/s].
    solidification_time : float or None
        From the end of the pulse until all metal is solid [s].
    history : History
        How it went.
    warnings : tuple of Finding
        What the numbers mean for the part.
    """

    penetration: float
    fusion_width: float
    middle_width: float
    root_width: float
    haz_width: float
    haz_temperature: float
    haz_isotherm_name: str
    full_penetration: bool
    penetration_margin: float
    mode: Mode
    mode_criterion: str
    absorptance: float
    incident_energy: float
    absorbed_energy: float
    transmitted_energy: float
    lost_energy: float
    evaporated_energy: float
    radiated_energy: float
    energy_balance: float
    time_to_melt: float | None
    time_to_keyhole: float | None
    depression_depth: float
    peak_temperature: Array
    r: Array
    z: Array
    fusion_outline: Array
    haz_outline: Array
    time_above_shielding: float | None
    radius_above_shielding: float
    time_above_strict: float | None
    radius_above_strict: float
    cooling_rate: float | None
    solidification_time: float | None
    history: History
    warnings: tuple[Finding, ...]


def cooled_to(preheat: float, solidus: float) -> float:
    """Return the temperature [K] at which the cooling after a pulse need not be followed further.

    Parameters
    ----------
    preheat, solidus : float
        [K]

    Returns
    -------
    float
        The strict shielding temperature; where the metal starts too near to it or above, the
        ordinary one; else a little above the preheat.
    """
    for limit in (STRICT_SHIELDING_TEMPERATURE, SHIELDING_TEMPERATURE):
        if limit > preheat + CLOSEST_TO_PREHEAT:
            return limit
    return preheat + max(0.1 * (solidus - preheat), CLOSEST_TO_PREHEAT)


def mode_of(depression_depth: float, spot_diameter: float) -> tuple[Mode, str]:
    """Name the mode by the depth of the depression over the spot diameter.

    Parameters
    ----------
    depression_depth, spot_diameter : float
        [m]

    Returns
    -------
    mode : {"conduction", "transition", "keyhole"}
    criterion : str
        The ratio and the limits it was held against.

    Notes
    -----
    Limits 0.1 and 0.5 are a convention of this program: at half a diameter a flat melt's
    absorptance has about doubled by reflection from wall to wall.
    """
    ratio = depression_depth / spot_diameter
    mode: Mode = "conduction" if ratio < 0.1 else "transition" if ratio < 0.5 else "keyhole"
    return mode, (
        f"depression {ratio:.2f} spot diameters deep: conduction below 0.1, keyhole from 0.5"
    )
