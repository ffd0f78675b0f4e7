"""A metal: how it stores, carries, takes up and gives off heat, each number with its source.

How the tables of a file become functions of temperature:

- Solid and liquid are joined by a straight line from the solidus to the liquidus. Outside its
  table a property keeps the value at the end of the table.
- Where the table of the solid starts well above room temperature, the room-temperature value is
  put in front of it.
- Where the table belongs to the pure metal and the grade's own room-temperature value differs
  (``join_by``), the ratio of the two fades out linearly up to that temperature.
- Where the table jumps because alpha turns into beta (``step``), the alpha branch is followed up to
  ``alpha_beta_start`` and the beta branch from ``beta_transus``, with a straight mix in between: a
  grade changes over a band, not at the one temperature of the pure metal.
- ``specific_heat`` holds no latent heat. `Material.enthalpy` adds the heat of the alpha-beta change
  evenly over its band and the heat of fusion evenly between solidus and liquidus.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np
from attrs import field, frozen
from numpy.typing import ArrayLike

from weldcalc.errors import InputError
from weldcalc.metals.curves import (
    ROOM_TEMPERATURE,
    Array,
    Curve,
    fraction,
    from_room,
    melted,
    spread_step,
)
from weldcalc.metals.form import SURFACES, Grade, Property


@frozen
class Material:
    """A metal with its properties; SI units throughout.

    Parameters
    ----------
    grade : Grade
        Key, name, family and further spellings.
    properties : mapping of str to Property
        Every property of the file by key.
    path : str
        File it was read from: relative to the data folder for a shipped grade.
    sha256 : str
        Hash of that file, for records. Two materials are equal when key and hash are.
    """

    grade: Grade
    properties: Mapping[str, Property] = field(eq=False, repr=False)
    path: str = field(eq=False)
    sha256: str

    @property
    def key(self) -> str:
        """Short stable name, as in "ti_gr2"."""
        return self.grade.key

    @property
    def name(self) -> str:
        """Name to show, as in "Ti Grade 2"."""
        return self.grade.name

    @property
    def family(self) -> str:
        """Family: "titanium" or "stainless steel"."""
        return self.grade.family

    def value(self, key: str) -> float:
        """Return a property that is one number, in the unit of its table.

        Parameters
        ----------
        key : str
            Name of its table in the file.

        Raises
        ------
        InputError
            When the material does not have it, or it is a table.
        """
        found = self._property(key).value
        if not isinstance(found, float):
            raise InputError.of(f"{self.path}: {key}", "depends on temperature; use table()")
        return found

    def table(self, key: str) -> tuple[Array, Array]:
        """Return a property as temperatures [K] and values, each of shape (n,), as in the file.

        A property that is one number gives one point at room temperature.

        Parameters
        ----------
        key : str
            Name of its table in the file.

        Raises
        ------
        InputError
            When the material does not have it.
        """
        found = self._property(key).value
        if isinstance(found, float):
            return np.array([ROOM_TEMPERATURE]), np.array([found])
        pairs = np.array(found, dtype=np.float64)
        return pairs[:, 0], pairs[:, 1]

    def spread(self, key: str) -> float:
        """Return one standard deviation of a property relative to its value [-].

        Parameters
        ----------
        key : str
            Name of its table in the file.

        Raises
        ------
        InputError
            When the material does not have it, or it has no spread.
        """
        spread = self._property(key).spread
        if spread is None:
            raise InputError.of(f"{self.path}: {key}", "has no spread")
        return spread

    @property
    def molar_mass(self) -> float:
        """Mean molar mass [kg/mol]."""
        return self.value("molar_mass")

    @property
    def density_rt(self) -> float:
        """Density at room temperature [kg/m3]."""
        return self.value("density_rt")

    @property
    def solidus(self) -> float:
        """Temperature at which melting starts [K]."""
        return self.value("solidus")

    @property
    def liquidus(self) -> float:
        """Temperature at which melting is complete [K]."""
        return self.value("liquidus")

    @property
    def latent_heat_fusion(self) -> float:
        """Heat of fusion [J/kg], taken up between solidus and liquidus."""
        return self.value("latent_heat_fusion")

    @property
    def boiling_point(self) -> float:
        """Boiling point at 101325 Pa [K]."""
        return self.value("boiling_point")

    @property
    def latent_heat_vaporisation(self) -> float:
        """Heat of vaporisation at the boiling point [J/kg]."""
        return self.value("latent_heat_vaporisation")

    @property
    def surface_tension(self) -> float:
        """Surface tension of the melt near the liquidus [N/m]."""
        return self.value("surface_tension")

    @property
    def beta_transus(self) -> float | None:
        """Temperature above which titanium is all beta [K]; None for steel."""
        return self._value_or_none("beta_transus")

    @property
    def alpha_beta_enthalpy(self) -> float:
        """Heat of the alpha-beta change [J/kg]; 0 for steel."""
        return self._value_or_none("alpha_beta_enthalpy") or 0.0

    @property
    def alpha_beta_band(self) -> tuple[float, float] | None:
        """Temperatures [K] between which alpha turns into beta; None for steel."""
        start, end = self._value_or_none("alpha_beta_start"), self.beta_transus
        return None if start is None or end is None else (start, end)

    @property
    def emissivity_liquid(self) -> float:
        """Total emissivity of the melt [-]."""
        return self.value("emissivity_liquid")

    @property
    def emissivity_solid(self) -> float:
        """Total emissivity of the clean solid [-]."""
        return self.value("emissivity_solid")

    @property
    def haz_temperature(self) -> float:
        """Peak temperature that bounds the heat-affected zone [K]; see `haz_isotherm_name`."""
        return self.value(self._haz_key)

    @property
    def haz_isotherm_name(self) -> str:
        """Name of the isotherm of `haz_temperature`, to be shown wherever a width is shown."""
        return self._property(self._haz_key).isotherm or "beta transus"

    def specific_heat(self, temperature: ArrayLike) -> Array:
        """Return the specific heat without latent heats [J/(kg K)].

        Parameters
        ----------
        temperature : float or ndarray, any shape
            Temperature [K].

        Returns
        -------
        ndarray
            Specific heat, of the shape of `temperature`.
        """
        return self._specific_heat.at(temperature)

    def thermal_conductivity(self, temperature: ArrayLike) -> Array:
        """Return the thermal conductivity of metal at rest [W/(m K)].

        Parameters
        ----------
        temperature : float or ndarray, any shape
            Temperature [K].

        Returns
        -------
        ndarray
            Conductivity, of the shape of `temperature`.
        """
        return self._thermal_conductivity.at(temperature)

    def density(self, temperature: ArrayLike) -> Array:
        """Return the density [kg/m3].

        Parameters
        ----------
        temperature : float or ndarray, any shape
            Temperature [K].

        Returns
        -------
        ndarray
            Density, of the shape of `temperature`.
        """
        return self._density.at(temperature)

    def enthalpy(self, temperature: ArrayLike) -> Array:
        """Return the enthalpy above that at 20 degC, latent heats included [J/kg].

        Parameters
        ----------
        temperature : float or ndarray, any shape
            Temperature [K].

        Returns
        -------
        ndarray
            Enthalpy, of the shape of `temperature`.

        Notes
        -----
        The specific heat is a chain of straight lines, so its integral is exact. The heat of the
        alpha-beta change and the heat of fusion rise evenly over their bands.
        """
        result = self._specific_heat.integral(temperature)
        result += self.latent_heat_fusion * fraction((self.solidus, self.liquidus), temperature)
        if self.alpha_beta_band is not None:
            result += self.alpha_beta_enthalpy * fraction(self.alpha_beta_band, temperature)
        return result

    def absorptivity(self, surface: str) -> tuple[float, float]:
        """Return the share of light at about 1.07 um that a cold surface absorbs.

        Parameters
        ----------
        surface : {"polished", "as machined", "matt", "oxidised"}
            State of the surface.

        Returns
        -------
        mean, sd : float
            Best figure and one standard deviation [-].

        Raises
        ------
        InputError
            When the surface is not one of the four.
        """
        if surface not in SURFACES:
            raise InputError.of("surface", f"has to be one of: {', '.join(SURFACES)}", surface)
        key = "absorptivity_" + surface.replace(" ", "_")
        mean = self.value(key)
        return mean, mean * self.spread(key)

    @property
    def _haz_key(self) -> str:
        return "haz_temperature" if "haz_temperature" in self.properties else "beta_transus"

    @cached_property
    def _specific_heat(self) -> Curve:
        return self._joined("specific_heat")

    @cached_property
    def _thermal_conductivity(self) -> Curve:
        return self._joined("thermal_conductivity")

    @cached_property
    def _density(self) -> Curve:
        return self._joined("density")

    def _joined(self, stem: str) -> Curve:
        at_room, of_solid = self._property(f"{stem}_rt"), self._property(f"{stem}_solid")
        solid = from_room(
            Curve(*self.table(f"{stem}_solid")),
            room_value=self.value(f"{stem}_rt"),
            join_by=at_room.join_by,
        )
        if of_solid.step is not None and self.alpha_beta_band is not None:
            solid = spread_step(solid, step=of_solid.step, band=self.alpha_beta_band)
        liquid = Curve(*self.table(f"{stem}_liquid"))
        return melted(solid, liquid, solidus=self.solidus, liquidus=self.liquidus)

    def _property(self, key: str) -> Property:
        if key not in self.properties:
            known = ", ".join(self.properties)
            raise InputError.of(f"{self.path}: {key}", f"is not given; given are: {known}")
        return self.properties[key]

    def _value_or_none(self, key: str) -> float | None:
        return self.value(key) if key in self.properties else None
