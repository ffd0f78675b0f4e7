"""Tables of a metal over enthalpy, made once per material, as plain arrays for kernels."""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc.heatflow.constants import fitted_constants

if TYPE_CHECKING:
    from weldcalc.materials import Material

Array = NDArray[np.float64]

GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018
NOT_RECONDENSED = 0.82  # of the evaporated metal; Anisimov 1968, from memory
COLDEST = 150.0  # K, start of the tables
HOTTEST = 6000.0  # K, end of the tables; beyond it the last slope goes on
MELTING_SPREAD = 60.0  # K either side of the melting range, see metal_tables
TABLE_POINTS = 2048  # 5 K of sensible heat per entry: finer tables moved no depth by 0.1 %


class Metal(NamedTuple):
    """One metal as tables over uniform steps of enthalpy, for kernels (all SI).

    Attributes
    ----------
    inverse_step : float
        Table entries per enthalpy [m3/J].
    last : int
        Index of the last interval.
    temperature, potential, conductivity : ndarray, shape (n,)
        T [K], integral of k dT [W/m], k [W/(m K)] at each entry.
    potential_base, potential_slope : ndarray, shape (n - 1,)
        Potential within each interval: base + slope enthalpy [W/m], [m2/s].
    solidus_enthalpy, liquidus_enthalpy : float
        [J/m3]
    liquidus_potential : float
        [W/m]
    solidus, liquidus : float
        [K]
    emissivity_solid, emissivity_liquid : float
        Total hemispherical [-].
    boiling_point : float
        [K] at one atmosphere.
    vapour_slope : float
        L_v M / R of Clausius and Clapeyron [K].
    evaporation_scale : float
        0.82 L_v sqrt(M / 2 pi R): heat flux is this times p_sat / sqrt(T) [J/kg (kg/J)^(1/2)].
    """

    inverse_step: float
    last: int
    temperature: Array
    potential: Array
    potential_base: Array
    potential_slope: Array
    conductivity: Array
    solidus_enthalpy: float
    liquidus_enthalpy: float
    liquidus_potential: float
    solidus: float
    liquidus: float
    emissivity_solid: float
    emissivity_liquid: float
    boiling_point: float
    vapour_slope: float
    evaporation_scale: float


@frozen(eq=False)
class MetalTables:
    """Enthalpy tables of a material with the inverse lookups that results need.

    Parameters
    ----------
    metal : Metal
        Tables over enthalpy, for kernels.
    enthalpy : ndarray, shape (n,)
        [J/m3] at each entry of ``metal.temperature``.
    surface_tension : float
        At the liquidus [N/m].
    density : float
        Of the cold metal [kg/m3].
    solid_diffusivity, liquid_diffusivity : float
        Greatest d theta / d H of the solid and of the unstirred liquid [m2/s].
    stirring_depth : float
        As in `weldcalc.heatflow.constants.FittedConstants`.
    """

    metal: Metal
    enthalpy: Array
    surface_tension: float
    density: float
    solid_diffusivity: float
    liquid_diffusivity: float
    stirring_depth: float

    def enthalpy_at(self, temperature: float) -> float:
        """Return the enthalpy [J/m3] of metal at a temperature [K]."""
        return float(np.interp(temperature, self.metal.temperature, self.enthalpy))

    def temperature_at(self, enthalpy: Array) -> Array:
        """Return temperatures [K] of enthalpies [J/m3], any shape."""
        return np.interp(enthalpy, self.enthalpy, self.metal.temperature)

    def melting_enthalpy(self) -> float:
        """Return the enthalpy [J/m3] of half-molten metal: the fusion boundary."""
        return 0.5 * (self.metal.solidus_enthalpy + self.metal.liquidus_enthalpy)


@cache
def metal_tables(material: Material) -> MetalTables:
    """Tabulate a material over enthalpy; once per material in a process.

    Parameters
    ----------
    material : Material
        Grade with enthalpy, conductivity, latent heats and melting range.

    Returns
    -------
    MetalTables
        Tables over uniform steps of enthalpy.
    """
    nodes = _temperature_nodes(material)
    heat = material.density_rt * _spread_melting(material, nodes)
    heat = heat - heat[0]
    potential = _running_integral(material.thermal_conductivity(nodes), nodes)
    levels = np.linspace(0.0, heat[-1], TABLE_POINTS)
    by_level = np.interp(levels, heat, potential)
    slope = np.diff(by_level) / np.diff(levels)
    metal = Metal(
        inverse_step=(TABLE_POINTS - 1) / float(heat[-1]),
        last=TABLE_POINTS - 2,
        temperature=np.interp(levels, heat, nodes),
        potential=by_level,
        potential_base=by_level[:-1] - slope * levels[:-1],
        potential_slope=slope,
        conductivity=np.interp(levels, heat, material.thermal_conductivity(nodes)),
        solidus_enthalpy=float(np.interp(material.solidus, nodes, heat)),
        liquidus_enthalpy=float(np.interp(material.liquidus, nodes, heat)),
        liquidus_potential=float(np.interp(material.liquidus, nodes, potential)),
        solidus=material.solidus,
        liquidus=material.liquidus,
        emissivity_solid=material.emissivity_solid,
        emissivity_liquid=material.emissivity_liquid,
        boiling_point=material.boiling_point,
        vapour_slope=material.latent_heat_vaporisation * material.molar_mass / GAS_CONSTANT,
        evaporation_scale=NOT_RECONDENSED
        * material.latent_heat_vaporisation
        * math.sqrt(material.molar_mass / (2.0 * math.pi * GAS_CONSTANT)),
    )
    liquid = levels[1:] > metal.solidus_enthalpy
    return MetalTables(
        metal=metal,
        enthalpy=levels,
        surface_tension=material.surface_tension,
        density=material.density_rt,
        solid_diffusivity=float(slope[~liquid].max()),
        liquid_diffusivity=float(slope[liquid].max()),
        stirring_depth=fitted_constants(material.family).stirring_depth,
    )


def _spread_melting(material: Material, nodes: Array) -> Array:
    span = material.liquidus - material.solidus
    sharp = np.clip((nodes - material.solidus) / span, 0.0, 1.0)
    wide = np.clip(
        (nodes - material.solidus + MELTING_SPREAD) / (span + 2.0 * MELTING_SPREAD), 0.0, 1.0
    )
    return np.asarray(material.enthalpy(nodes) + material.latent_heat_fusion * (wide - sharp))


def _temperature_nodes(material: Material) -> Array:
    # kinks of H(T) have to be nodes, or latent heat leaks past them
    kinks = [
        material.solidus - MELTING_SPREAD,
        material.liquidus + MELTING_SPREAD,
        material.solidus,
        material.liquidus,
        *(material.alpha_beta_band or ()),
    ]
    return np.union1d(np.arange(COLDEST, HOTTEST + 1.0, 2.0), np.array(kinks, dtype=float))


def _running_integral(values: Array, nodes: Array) -> Array:
    steps = 0.5 * (values[1:] + values[:-1]) * np.diff(nodes)
    return np.concatenate(([0.0], np.cumsum(steps)))
