"""Physics shared by both pulse engines: enthalpy of the metal, surface losses, vapour depression.

Heat is kept as enthalpy per volume of cold metal. Cells are labelled by where their metal sits
when cold, because that is where a section shows it; mass is conserved and the density is one
number, the one at room temperature.

Everything a kernel needs stands in two named tuples that numba can take as they are:
`Metal` (the material alone) and `Melt` (the material with the fitted model constants, for one
spot). The functions marked ``@kernel`` work on scalars, so a kernel of any dimension can call them
inside its loops; they compile into their caller.

Conduction is written with the heat-flow potential theta(H), the integral of k dT. The flow between
two cells of the same metal is then the difference of their potentials over their distance,
which takes the mean conductivity between the two temperatures and needs no k in the
inner loop. Stirring multiplies the part of the potential above the liquidus by m_r sideways and
m_z along the beam. In steel the flow turns down under the spot and needs a pool to turn in: m - 1
grows with the depth of melt. In titanium it runs outward along the face from the first film on.

References
----------
[1] S. I. Anisimov, "Vaporization of metal absorbing laser radiation", Sov. Phys. JETP 27 (1968)
    182: recondensation factor 0.82, recoil 0.54 of the saturation pressure (from memory).
[2] V. R. Voller, M. Cross, "Accurate solutions of moving boundary problems using the enthalpy
    method", Int. J. Heat Mass Transfer 24 (1981) 545 (from memory).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from weldcalc.heatflow.compiling import kernel
from weldcalc.heatflow.metal import Metal, MetalTables, metal_tables

if TYPE_CHECKING:
    from weldcalc.heatflow.constants import ModelConstants

__all__ = [
    "Melt",
    "Metal",
    "MetalTables",
    "cavity_absorptance",
    "depression_level",
    "evaporation_flux",
    "fill_potentials",
    "floor_place",
    "lookup",
    "melt_levels",
    "metal_tables",
    "opened_share",
    "opening_temperature",
    "radiation_flux",
    "saturation_pressure",
    "stirring",
    "surface_state",
]

Array = NDArray[np.float64]

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), CODATA 2018
ATMOSPHERE = 101325.0  # Pa, pressure at which the boiling point is quoted
RECOIL_SHARE = 0.54  # recoil over saturation pressure [1]


class Melt(NamedTuple):
    """How the melt moves and opens under one spot: fitted constants turned into levels.

    Attributes
    ----------
    stir_r, stir_z : float
        Extra liquid conductivity sideways and along the beam, m - 1 [-].
    stir_r_open, stir_z_open : float
        The same once the whole spot is open [-].
    full_stirring : float
        Depth of melt from which stirring is complete [m].
    opening_pressure : float
        Recoil at which the surface starts to open [Pa].
    opening_range : float
        Relative rise of the recoil over which it opens fully [-].
    opening_time : float
        sqrt(rho a^3 / sigma), the time in which surface tension moves melt over a spot radius [s].
    pass_enthalpy : float
        Enthalpy at which a cell in an open column lets the beam through [J/m3].
    absorptance : float
        Of the flat melt and the solid, A0 [-].
    cavity_gain : float
        Factor on the wall area that the beam meets inside the depression [-].
    losses : float
        1 with radiation and evaporation, 0 without [-].
    """

    stir_r: float
    stir_z: float
    stir_r_open: float
    stir_z_open: float
    full_stirring: float
    opening_pressure: float
    opening_range: float
    opening_time: float
    pass_enthalpy: float
    absorptance: float
    cavity_gain: float
    losses: float


def melt_levels(
    tables: MetalTables,
    constants: ModelConstants,
    *,
    spot_diameter: float,
    absorptivity: float | None = None,
) -> Melt:
    """Turn fitted constants into the levels that one spot works at.

    Parameters
    ----------
    tables : MetalTables
        The metal.
    constants : ModelConstants
        Stirring, displacement, capillary factor, cavity and flat absorptance.
    spot_diameter : float
        [m], > 0
    absorptivity : float, optional
        Of the flat surface [-], 0 to 1; None takes the fitted value.

    Returns
    -------
    Melt
        Levels for the kernels.

    Notes
    -----
    The surface opens where the recoil 0.54 p_sat(T) passes f 2 sigma / a, a the spot radius and f
    the capillary factor. A cell in the open column lets the beam pass at the
    enthalpy H_l + chi (H(T_open) - H_l): chi below 1 says that part of the melt is pushed aside
    before it is as hot as the floor of the depression.
    """
    pressure = constants.capillary_factor * 4.0 * tables.surface_tension / spot_diameter
    opening = opening_temperature(tables.metal, pressure)
    floor = max(opening, tables.metal.liquidus + 1.0)
    liquid = tables.metal.liquidus_enthalpy
    return Melt(
        stir_r=constants.stirring_r - 1.0,
        stir_z=constants.stirring_z - 1.0,
        stir_r_open=constants.stirring_r_open - 1.0,
        stir_z_open=constants.stirring_z_open - 1.0,
        full_stirring=tables.stirring_depth * 0.5 * spot_diameter,
        opening_pressure=pressure,
        opening_range=constants.opening_range,
        opening_time=math.sqrt(
            tables.density * (0.5 * spot_diameter) ** 3 / tables.surface_tension
        ),
        pass_enthalpy=liquid + constants.displacement * (tables.enthalpy_at(floor) - liquid),
        absorptance=constants.absorptance if absorptivity is None else absorptivity,
        cavity_gain=constants.cavity_gain,
        losses=1.0,
    )


def opening_temperature(metal: Metal, pressure: float) -> float:
    """Return the surface temperature [K] at which the recoil reaches a pressure [Pa]."""
    ratio = math.log(pressure / (RECOIL_SHARE * ATMOSPHERE))
    return 1.0 / (1.0 / metal.boiling_point - ratio / metal.vapour_slope)


@kernel
def lookup(table: Array, enthalpy: float, metal: Metal) -> float:
    """Return a table's value at an enthalpy [J/m3]; straight on beyond the end."""
    place = enthalpy * metal.inverse_step
    index = min(max(int(place), 0), metal.last)
    return float(table[index] + (place - index) * (table[index + 1] - table[index]))


@kernel
def fill_potentials(
    heat: Array,
    side: Array,
    down: Array,
    interval: NDArray[np.int32],
    metal: Metal,
    stir_r: float,
    stir_z: float,
) -> None:
    """Fill the heat-flow potentials [W/m] of cells in a line, sideways and along the beam.

    From their enthalpies [J/m3]; `interval` is work space of the same length.
    """
    base, slope, liquidus = metal.potential_base, metal.potential_slope, metal.liquidus_potential
    step, last = metal.inverse_step, np.int32(metal.last)
    # three loops: the table cannot be read in vector registers, the rest can
    for cell in range(heat.size):
        interval[cell] = min(max(np.int32(heat[cell] * step), np.int32(0)), last)
    for cell in range(heat.size):
        index = np.uint32(interval[cell])
        side[cell] = base[index] + slope[index] * heat[cell]
    for cell in range(heat.size):
        theta = side[cell]
        molten = max(theta - liquidus, 0.0)
        side[cell] = theta + stir_r * molten
        down[cell] = theta + stir_z * molten


@kernel
def saturation_pressure(temperature: float, metal: Metal) -> float:
    """Return the vapour pressure [Pa] over metal at a temperature [K] (Clausius-Clapeyron).

    Solid metal counts as none: its evaporation is below 1e-4 of its radiation.
    """
    if temperature < metal.solidus:
        return 0.0
    return ATMOSPHERE * math.exp(
        metal.vapour_slope * (1.0 / metal.boiling_point - 1.0 / temperature)
    )


@kernel
def evaporation_flux(temperature: float, pressure: float, metal: Metal) -> float:
    """Return the heat flux [W/m2] that evaporation takes from a surface [1].

    Temperature [K] and saturation pressure there [Pa].
    """
    return metal.evaporation_scale * pressure / math.sqrt(temperature)


@kernel
def radiation_flux(temperature: float, ambient: float, metal: Metal) -> float:
    """Return the net radiated heat flux [W/m2] of a surface at a temperature [K] to the ambient."""
    liquid = temperature > metal.solidus
    emissivity = metal.emissivity_liquid if liquid else metal.emissivity_solid
    return emissivity * STEFAN_BOLTZMANN * (temperature**4 - ambient**4)


@kernel
def surface_state(
    enthalpy: float, flux: float, half_cell: float, stirred: float, metal: Metal, losses: float
) -> tuple[float, float]:
    """Return temperature [K] and vapour pressure [Pa] at a face that takes in a flux [W/m2].

    `stirred` is the third figure of `stirring` [-], `losses` that of `Melt`.
    The face passes on what evaporation leaves of the flux, so its temperature T_s solves
    T_s = T + (flux - evaporation(T_s)) half_cell / k, with T and k of the cell behind it. The right
    side falls and is convex, so Newton's method started above the root comes down to it.
    """
    conductivity = lookup(metal.conductivity, enthalpy, metal)
    if enthalpy > metal.liquidus_enthalpy:
        conductivity *= 1.0 + stirred
    resistance = half_cell / conductivity
    start = lookup(metal.temperature, enthalpy, metal) + flux * resistance
    face, pressure = start, 0.0
    for _ in range(40):
        pressure = saturation_pressure(face, metal)
        vapour = losses * evaporation_flux(face, pressure, metal)
        slope = vapour * (metal.vapour_slope / face - 0.5) / face
        change = (face + resistance * vapour - start) / (1.0 + resistance * slope)
        face -= change
        if abs(change) < 0.1:
            break
    return face, pressure


@kernel
def opened_share(
    pressure: float, before: float, enthalpy: float, dt: float, metal: Metal, melt: Melt
) -> float:
    """Return the share of a column that the recoil holds open [0 to 1] after a time dt [s].

    From the saturation pressure [Pa] over its face, its share before, and the enthalpy [J/m3] of
    its first cell. It only rises while the surface stays molten: once open, the floor is cooler
    than the temperature that was needed to open it. The melt's inertia delays it.
    """
    if enthalpy < metal.liquidus_enthalpy:
        return 0.0
    now = (RECOIL_SHARE * pressure / melt.opening_pressure - 1.0) / melt.opening_range
    rise = max(min(now, 1.0) - before, 0.0)
    return before + rise * min(dt / melt.opening_time, 1.0)


@kernel
def stirring(depth_share: float, melt_depth: float, melt: Melt) -> tuple[float, float, float]:
    """Return the extra liquid conductivity sideways, along the beam and under the flat face [-].

    Each is m - 1. Under a flat surface the melt is driven by surface tension, under a depression by
    recoil too: `depth_share` is the depression's depth over the one at which that is complete.
    All grow with the depth of melt, `melt_depth` [m], up to the one from which a flow has room.
    """
    share = min(max(depth_share, 0.0), 1.0)
    room = 1.0 if melt_depth >= melt.full_stirring else melt_depth / melt.full_stirring
    return (
        room * (melt.stir_r + share * (melt.stir_r_open - melt.stir_r)),
        room * (melt.stir_z + share * (melt.stir_z_open - melt.stir_z)),
        room * melt.stir_z,
    )


@kernel
def depression_level(metal: Metal, melt: Melt) -> float:
    """Return the enthalpy [J/m3] at which the floor of the depression is drawn.

    Three quarters of the way from the liquidus to the pass enthalpy: open cells are held at the
    pass enthalpy itself, so that level would jump from cell to cell.
    """
    return metal.liquidus_enthalpy + 0.75 * (melt.pass_enthalpy - metal.liquidus_enthalpy)


@kernel
def floor_place(above: float, below: float, level: float, start: float, end: float) -> float:
    """Return where [m], from start to end, the enthalpy falls from above to below the level."""
    if below <= above:
        share = (above - level) / max(above - below, 1e-9 * level)
        return start + min(max(share, 0.0), 1.0) * (end - start)
    # the topmost cell, still filling: as far as it is from liquid to the level
    return start + min(max((below - above) / (level - above), 0.0), 1.0) * (end - start)


@kernel
def cavity_absorptance(mouth_area: float, wall_area: float, melt: Melt) -> float:
    """Return the absorptance [-] of a depression from its mouth and extra wall area [m2].

    A diffusely filled cavity: each reflected share meets the wall again except for the part
    g = mouth / inside that leaves, so A = A0 / (A0 (1 - g) + g). For a cylinder of radius r and
    depth h, g = r / (r + 2 h). The wall is measured on the computed shape of the depression.
    """
    if mouth_area <= 0.0:
        return melt.absorptance
    leaving = mouth_area / (mouth_area + melt.cavity_gain * wall_area)
    flat = melt.absorptance
    return flat / (flat * (1.0 - leaving) + leaving)
