"""What one pulse did to a joint: sizes, shares of its members, energies and times."""

from __future__ import annotations

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.findings import Finding
from weldcalc.heatflow.pulse_result import History, Mode

Array = NDArray[np.float64]


@frozen(eq=False)
class SectionResult:
    """Result of one pulse on a joint section (SI); sizes are those of the section at x = 0.

    Parameters
    ----------
    penetration : float
        Greatest depth of the fused zone along the beam, below the irradiated face [m].
    joint_penetration : float
        Length of the joint line along which both members are fused [m].
    member_penetration : tuple of float
        Greatest depth in each member, below its own irradiated face [m].
    fusion_width, middle_width, root_width : float
        Fused width across the joint on the irradiated face, half way down the joint line and on
        the far face [m]; an open gap between fused edges is part of it.
    fusion_length : float
        Fused length along the seam on the irradiated face [m].
    haz_width : float
        From the fusion boundary to the heat-affected isotherm on the irradiated face, on the
        wider side [m].
    haz_temperature : float
        That isotherm, of the first member [K].
    haz_isotherm_name : str
        Its name, to be shown with the width.
    full_penetration : bool
        Whether the whole joint line is fused (a sheet: whether the far face melted).
    penetration_margin : float
        How far from just reaching the far end of the joint line [-]. Below zero: heat that its
        hottest place lacks to be half molten, over the heat needed from the preheat. From zero on:
        fused width on the far face over the thickness.
    mode : {"conduction", "transition", "keyhole"}
        By the depth of the depression, see `mode_criterion`.
    mode_criterion : str
        The numbers that decided.
    absorptance : float
        Absorbed over incident energy [-].
    absorbed_share : tuple of float
        Of each member in the absorbed energy [-].
    fused_area : tuple of float
        Of each member in the section [m2].
    incident_energy, absorbed_energy, transmitted_energy, missed_energy : float
        [J]; transmitted: through a depression that opened the far face; missed: through the gap
        or beside the metal.
    lost_energy, evaporated_energy, radiated_energy : float
        Lost from free faces while the run lasted, and its two parts [J].
    energy_balance : float
        (absorbed - lost - gained by the metal) / absorbed [-].
    gap_bridged : bool
        Whether both edges melted and the gap is one that melt is taken to bridge.
    time_to_melt, time_to_keyhole : float or None
        As in `PulseResult` [s].
    depression_depth : float
        Greatest depth of the vapour depression [m].
    peak_temperature : ndarray, shape (nz, ny)
        Highest temperature of each place of the section [K]; in air the preheat.
    member : ndarray of int, shape (nz, ny)
        Member of each place: 0, 1, -1 in air.
    y, z : ndarray
        Places of the field: across the joint and along the beam [m].
    fusion_outline, haz_outline : ndarray, shape (k, 2)
        Points (y, z) of the outlines [m].
    time_above_shielding, radius_above_shielding : float or None, float
        How long, and how far from the beam across the joint, the metal was above 427 degC [s], [m].
    time_above_strict, radius_above_strict : float or None, float
        The same for 260 degC.
    cooling_rate, solidification_time : float or None
        As in `PulseResult` [K/s], [s].
    history : History
        How it went.
    warnings : tuple of Finding
        What the numbers mean for the part.
    """

    penetration: float
    joint_penetration: float
    member_penetration: tuple[float, ...]
    fusion_width: float
    middle_width: float
    root_width: float
    fusion_length: float
    haz_width: float
    haz_temperature: float
    haz_isotherm_name: str
    full_penetration: bool
    penetration_margin: float
    mode: Mode
    mode_criterion: str
    absorptance: float
    absorbed_share: tuple[float, ...]
    fused_area: tuple[float, ...]
    incident_energy: float
    absorbed_energy: float
    transmitted_energy: float
    missed_energy: float
    lost_energy: float
    evaporated_energy: float
    radiated_energy: float
    energy_balance: float
    gap_bridged: bool
    time_to_melt: float | None
    time_to_keyhole: float | None
    depression_depth: float
    peak_temperature: Array = field(repr=False)
    member: NDArray[np.int64] = field(repr=False)
    y: Array = field(repr=False)
    z: Array = field(repr=False)
    fusion_outline: Array = field(repr=False)
    haz_outline: Array = field(repr=False)
    time_above_shielding: float | None
    radius_above_shielding: float
    time_above_strict: float | None
    radius_above_strict: float
    cooling_rate: float | None
    solidification_time: float | None
    history: History = field(repr=False)
    warnings: tuple[Finding, ...]
