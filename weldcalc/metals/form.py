"""The form of a material file: its keys, units, plausible ranges, and the classes read from it.

Each key has one fixed unit; plausible ranges are wide enough for any structural metal, their job is
to catch slips of unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from attrs import frozen

Pairs = tuple[tuple[float, float], ...]
Value = float | Pairs | str | tuple[tuple[Any, ...], ...]

FAMILIES = ("titanium", "stainless steel")
STANDINGS = ("published", "package:NAME", "common practice", "from memory", "own measurement")
SURFACES = ("polished", "as machined", "matt", "oxidised")


@frozen
class Alternative:
    """Another figure in circulation for the same property.

    Parameters
    ----------
    value : float, tuple of pairs or str
        In the unit of the property; text where the source gives a formula.
    source : str
        Where it stands.
    standing : str
        One of `STANDINGS`.
    note : str
        Remark, or the reason why it is not used.
    rejected : bool
        True where the figure is held to be wrong.
    """

    value: Value
    source: str
    standing: str
    note: str = ""
    rejected: bool = False


@frozen
class Property:
    """One property of a metal with where it comes from and how sure it is.

    Parameters
    ----------
    key : str
        Name of its table in the file.
    value : float, tuple of (temperature [K], value) pairs, or composition
        In `unit`.
    unit : str
        SI unit as in the file.
    source : str
        Text, table or package it was taken from.
    standing : str
        One of `STANDINGS`.
    spread : float or None
        One standard deviation relative to the (mean) value [-]; None for a composition.
    note : str
        Remarks, including what `spread` means where it differs over the range.
    derived : bool
        True where it was computed, averaged or borrowed from a neighbour alloy.
    alternatives : tuple of Alternative
        Other figures: the scatter between sources.
    step : float or None
        Temperature [K] at which a table jumps because the phase changes.
    join_by : float or None
        Temperature [K] by which a room-temperature value has joined the table of the pure metal.
    isotherm : str
        Name of an isotherm, for ``haz_temperature``.
    """

    key: str
    value: Value
    unit: str
    source: str
    standing: str
    spread: float | None = None
    note: str = ""
    derived: bool = False
    alternatives: tuple[Alternative, ...] = ()
    step: float | None = None
    join_by: float | None = None
    isotherm: str = ""


@frozen
class Form:
    """What a property has to look like.

    Parameters
    ----------
    unit : str
        The one unit accepted.
    low, high : float
        Plausible range in that unit, ends included.
    shape : {"number", "table", "either"}
        A number, (temperature, value) pairs, or any of the two.
    needed_by : tuple of str
        Families whose files must have it.
    """

    unit: str
    low: float
    high: float
    shape: str = "number"
    needed_by: tuple[str, ...] = FAMILIES


_TI, _STEEL, _NOBODY = FAMILIES[:1], FAMILIES[1:], ()

FORMS: Mapping[str, Form] = {
    "molar_mass": Form("kg/mol", 0.02, 0.2),
    "density_rt": Form("kg/m3", 1500.0, 20000.0),
    "density_solid": Form("kg/m3", 1500.0, 20000.0, "table", _NOBODY),
    "density_liquid": Form("kg/m3", 1500.0, 20000.0, "either", _NOBODY),
    "specific_heat_rt": Form("J/(kg K)", 100.0, 2000.0),
    "specific_heat_solid": Form("J/(kg K)", 100.0, 2500.0, "table"),
    "specific_heat_liquid": Form("J/(kg K)", 100.0, 2500.0, "either"),
    "alpha_beta_start": Form("K", 600.0, 1600.0, needed_by=_TI),
    "beta_transus": Form("K", 700.0, 1600.0, needed_by=_TI),
    "alpha_beta_enthalpy": Form("J/kg", 0.0, 3e5, needed_by=_TI),
    "haz_temperature": Form("K", 500.0, 2000.0, needed_by=_STEEL),
    "melting_point": Form("K", 500.0, 4000.0, needed_by=_NOBODY),
    "solidus": Form("K", 500.0, 4000.0),
    "liquidus": Form("K", 500.0, 4000.0),
    "latent_heat_fusion": Form("J/kg", 5e4, 1e6),
    "boiling_point": Form("K", 1000.0, 6000.0),
    "latent_heat_vaporisation": Form("J/kg", 1.5e6, 2e7),
    "vapour_pressure": Form("Pa", 0.0, 1e8, "table", _NOBODY),
    "thermal_conductivity_rt": Form("W/(m K)", 2.0, 500.0),
    "thermal_conductivity_solid": Form("W/(m K)", 2.0, 500.0, "table"),
    "thermal_conductivity_liquid": Form("W/(m K)", 2.0, 500.0, "either"),
    "viscosity_liquid": Form("Pa s", 1e-4, 0.1, "either", _NOBODY),
    "surface_tension": Form("N/m", 0.2, 4.0),
    "surface_tension_slope": Form("N/(m K)", -2e-3, 2e-3, needed_by=_NOBODY),
    "emissivity_solid": Form("-", 0.02, 1.0),
    "emissivity_oxidised": Form("-", 0.02, 1.0, needed_by=_NOBODY),
    "emissivity_liquid": Form("-", 0.02, 1.0),
    "emissivity_liquid_940nm": Form("-", 0.02, 1.0, needed_by=_NOBODY),
    "absorptivity_polished": Form("-", 0.02, 1.0),
    "absorptivity_as_machined": Form("-", 0.02, 1.0),
    "absorptivity_matt": Form("-", 0.02, 1.0),
    "absorptivity_oxidised": Form("-", 0.02, 1.0),
    "absorptivity_liquid": Form("-", 0.02, 1.0, needed_by=_NOBODY),
}
# in each chain every temperature has to lie below the next one given
RISING = (
    ("alpha_beta_start", "beta_transus", "solidus", "liquidus", "boiling_point"),
    ("haz_temperature", "solidus"),
)
TEXTS = ("unit", "source", "standing")
OPTIONAL_TEXTS = ("note", "u_note", "read_in", "isotherm")
OPTIONAL_TEMPERATURES = ("step", "join_by")
FIELDS = (
    "value",
    "u",
    "derived",
    "alternatives",
    *TEXTS,
    *OPTIONAL_TEXTS,
    *OPTIONAL_TEMPERATURES,
)
GRADE_TEXTS = ("key", "name", "family")
GRADE_FIELDS = (*GRADE_TEXTS, "designation", "designation_source", "aliases")


@frozen
class Grade:
    """Who the material is: the ``[grade]`` table of a file.

    Parameters
    ----------
    key : str
        Short stable name, as in "ti_gr2".
    name : str
        Name to show, as in "Ti Grade 2".
    family : str
        One of `FAMILIES`.
    designation : str
        What its standard calls it.
    aliases : tuple of str
        Further spellings that mean this grade.
    """

    key: str
    name: str
    family: str
    designation: str = ""
    aliases: tuple[str, ...] = ()
