"""A made-up metal with constant properties, for checks against exact solutions."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@frozen(eq=False)
class ConstantMetal:
    """Stands in for a Material; melts at 1700 K with a range of 1 K unless told otherwise."""

    conductivity: float = 30.0
    heat: float = 700.0
    density_rt: float = 7000.0
    solidus: float = 1699.5
    liquidus: float = 1700.5
    latent_heat_fusion: float = 3.0e5
    boiling_point: float = 3500.0
    latent_heat_vaporisation: float = 8.0e6
    molar_mass: float = 0.05
    surface_tension: float = 1.5
    emissivity_solid: float = 0.3
    emissivity_liquid: float = 0.3
    alpha_beta_band: tuple[float, float] | None = None
    haz_temperature: float = 1200.0
    haz_isotherm_name: str = "a temperature for checks"
    family: str = "stainless steel"
    name: str = "constant metal"

    @property
    def diffusivity(self) -> float:
        return self.conductivity / (self.density_rt * self.heat)

    def enthalpy(self, temperature: ArrayLike) -> Array:
        T = np.asarray(temperature, dtype=float)
        melted = np.clip((T - self.solidus) / (self.liquidus - self.solidus), 0.0, 1.0)
        return self.heat * (T - 293.15) + self.latent_heat_fusion * melted

    def thermal_conductivity(self, temperature: ArrayLike) -> Array:
        return np.full(np.shape(temperature), self.conductivity)
