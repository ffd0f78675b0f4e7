"""Shipped properties against independent reference packages and textbook relations.

Packages: janaf (NIST-JANAF Thermochemical Tables, Chase 1998), chemicals (CRC Handbook and others),
mendeleev (CRC Handbook). Known to be wrong and left out: the heat of fusion of titanium in
mendeleev (18.8 kJ/mol). Tolerances are the stated spread of the property, or the distance that
these sources keep from each other: 5 K on the melting point, 75 K on the boiling point.
"""

from __future__ import annotations

from functools import cache
from math import log

import chemicals
import janaf
import mendeleev
import numpy as np
import pytest
from scipy.constants import R, atm

from weldcalc import reference
from weldcalc.materials import Material, material

TITANIUM_CAS = "7440-32-6"
ARGON_CAS = "7440-37-1"
PURE_GRADES = ("Ti Grade 1", "Ti Grade 2", "Ti Grade 4")


@cache
def element(symbol: str) -> mendeleev.models.Element:
    """Element by symbol; asking the package's data base takes long."""
    return mendeleev.element(symbol)


@cache
def janaf_titanium() -> dict[str, np.ndarray]:
    """Table Ti-001: temperature [K], heat capacity [J/(kg K)], enthalpy above 298.15 K [J/kg]."""
    table = janaf.search(formula="Ti", phase="ref").df
    mass = 0.047867
    return {
        "T": table["T(K)"].to_numpy(),
        "c": table["Cp"].to_numpy() / mass,
        "H": table["H-H(Tr)"].to_numpy() * 1e3 / mass,
    }


def janaf_jump(quantity: str, temperature: float) -> float:
    """Step of a quantity at a phase change that the table lists twice."""
    table = janaf_titanium()
    below, above = table[quantity][table["T"] == temperature]
    return float(above - below)


@pytest.fixture(params=PURE_GRADES)
def grade(request: pytest.FixtureRequest) -> Material:
    return material(request.param)


class TestPureTitanium:
    """Grades 1, 2 and 4 hold the data of the element, apart from their transus."""

    def test_molar_mass(self, grade: Material) -> None:
        assert grade.molar_mass == pytest.approx(chemicals.MW(TITANIUM_CAS) * 1e-3, rel=1e-5)
        assert grade.molar_mass == pytest.approx(element("Ti").atomic_weight * 1e-3)

    def test_density(self, grade: Material) -> None:
        expected = element("Ti").density * 1e3
        assert grade.density_rt == pytest.approx(expected, rel=grade.spread("density_rt"))
        assert grade.density(293.15) == pytest.approx(expected, rel=grade.spread("density_solid"))

    @pytest.mark.parametrize("method", chemicals.Tm_methods(TITANIUM_CAS))
    def test_melting_point_chemicals(self, grade: Material, method: str) -> None:
        expected = chemicals.Tm(TITANIUM_CAS, method=method)
        assert 0.5 * (grade.solidus + grade.liquidus) == pytest.approx(expected, abs=5.0)

    def test_melting_point_others(self, grade: Material) -> None:
        middle = 0.5 * (grade.solidus + grade.liquidus)
        assert middle == pytest.approx(element("Ti").melting_point, abs=5.0)
        assert middle == pytest.approx(1939.0, abs=5.0)  # janaf: beta <--> liquid
        assert janaf_jump("H", 1939.0) > 0

    @pytest.mark.parametrize("method", chemicals.Tb_methods(TITANIUM_CAS))
    def test_boiling_point_chemicals(self, grade: Material, method: str) -> None:
        expected = chemicals.Tb(TITANIUM_CAS, method=method)
        assert grade.boiling_point == pytest.approx(expected, abs=75.0)

    def test_boiling_point_others(self, grade: Material) -> None:
        assert grade.boiling_point == pytest.approx(element("Ti").boiling_point, abs=75.0)
        assert grade.boiling_point == pytest.approx(3630.956, abs=75.0)  # janaf: fugacity 1 bar
        assert janaf_jump("H", 3630.956) > 0

    def test_heat_of_fusion(self, grade: Material) -> None:
        spread = grade.spread("latent_heat_fusion")
        crc = chemicals.Hfus(TITANIUM_CAS) / grade.molar_mass
        assert grade.latent_heat_fusion == pytest.approx(crc, rel=spread)
        assert grade.latent_heat_fusion == pytest.approx(janaf_jump("H", 1939.0), rel=1e-3)

    def test_heat_of_vaporisation(self, grade: Material) -> None:
        # twice the spread: CRC and JANAF differ by 3.1 % where the spread is 3 %
        spread = 2 * grade.spread("latent_heat_vaporisation")
        crc = element("Ti").evaporation_heat * 1e3 / grade.molar_mass
        assert grade.latent_heat_vaporisation == pytest.approx(crc, rel=spread)
        assert grade.latent_heat_vaporisation == pytest.approx(janaf_jump("H", 3630.956), rel=1e-3)

    def test_heat_of_the_alpha_beta_change(self, grade: Material) -> None:
        assert grade.alpha_beta_enthalpy == pytest.approx(janaf_jump("H", 1166.0), rel=1e-3)

    def test_specific_heat_at_room_temperature(self, grade: Material) -> None:
        crc = element("Ti").specific_heat_capacity * 1e3
        assert grade.value("specific_heat_rt") == pytest.approx(crc, rel=0.015)
        assert grade.specific_heat(298.15) == pytest.approx(crc, rel=0.015)

    @pytest.mark.parametrize(
        "temperature",
        [298.15, *np.arange(400.0, 1101.0, 100.0), *np.arange(1300.0, 2001.0, 100.0), 3000.0],
    )
    def test_specific_heat_janaf(self, grade: Material, temperature: float) -> None:
        table = janaf_titanium()
        (expected,) = table["c"][table["T"] == temperature]
        assert grade.specific_heat(temperature) == pytest.approx(expected, rel=5e-4)

    @pytest.mark.parametrize("temperature", [500.0, 1000.0, 1300.0, 1800.0, 2000.0, 2500.0, 3500.0])
    def test_enthalpy_janaf(self, grade: Material, temperature: float) -> None:
        table = janaf_titanium()
        (expected,) = table["H"][table["T"] == temperature]
        found = float(grade.enthalpy(temperature) - grade.enthalpy(298.15))
        # the transus of Grade 4 lies 56 K higher, which moves 1 % of the heat
        assert found == pytest.approx(expected, rel=0.01)

    def test_conductivity_of_the_pure_metal(self, grade: Material) -> None:
        T, k = grade.table("thermal_conductivity_solid")
        crc = element("Ti").thermal_conductivity
        assert np.interp(300.0, T, k) == pytest.approx(
            crc, rel=grade.spread("thermal_conductivity_solid")
        )

    def test_boiling_point_and_heat_of_vaporisation_meet_the_measured_vapour_pressure(
        self, grade
    ) -> None:
        # Alcock, Itkin & Horrigan, Can. Metall. Q. 23 (1984) 309, as coded in chemicals: the
        # temperature at which Clausius-Clapeyron reaches its pressure at 2400 K
        chemicals.vapor_pressure.load_vapor_pressure_dfs()
        row = chemicals.vapor_pressure.Psat_data_Alcock_elements.loc[TITANIUM_CAS]
        expected = 2400.0
        pressure_log = row["A"] + row["B"] / expected + row["C"] * log(expected)
        per_mole = grade.latent_heat_vaporisation * grade.molar_mass
        found = 1.0 / (1.0 / grade.boiling_point + R / per_mole * (log(atm) - pressure_log))
        assert found == pytest.approx(expected, abs=75.0)


# nominal compositions in percent by mass (the middle of the range of the designation)
NOMINAL = {
    "Ti Grade 5": {"Ti": 90.0, "Al": 6.0, "V": 4.0},
    "Ti Grade 23": {"Ti": 90.0, "Al": 6.0, "V": 4.0},
    "Ti Grade 9": {"Ti": 94.5, "Al": 3.0, "V": 2.5},
    "Stainless 304": {"Fe": 71.5, "Cr": 19.0, "Ni": 9.5},
    "Stainless 316L": {"Fe": 68.0, "Cr": 17.0, "Ni": 12.0, "Mo": 2.5, "Mn": 0.5},
}


@pytest.mark.parametrize("name", NOMINAL)
class TestAlloysFromTheirElements:
    def test_molar_mass(self, name: str) -> None:
        parts = NOMINAL[name]
        moles = sum(w / element(symbol).atomic_weight for symbol, w in parts.items())
        expected = sum(parts.values()) / moles * 1e-3
        found = material(name)
        assert found.molar_mass == pytest.approx(expected, rel=2 * found.spread("molar_mass"))

    def test_specific_heat_by_the_rule_of_neumann_and_kopp(self, name: str) -> None:
        # the rule holds to some 10 % for metals (common practice, no source)
        parts = NOMINAL[name]
        heat = sum(w * element(symbol).specific_heat_capacity for symbol, w in parts.items())
        expected = heat / sum(parts.values()) * 1e3
        assert material(name).value("specific_heat_rt") == pytest.approx(expected, rel=0.1)
        assert material(name).specific_heat(298.15) == pytest.approx(expected, rel=0.15)

    def test_density_between_its_elements(self, name: str) -> None:
        # volumes of the elements added: an alloy keeps within some 3 % of it (common practice)
        parts = NOMINAL[name]
        volume = sum(w / element(symbol).density for symbol, w in parts.items())
        expected = sum(parts.values()) / volume * 1e3
        assert material(name).density_rt == pytest.approx(expected, rel=0.03)


# specific heat limit of a solid: 3 R per mole of atoms (Dulong and Petit), exceeded hot by the
# electrons and by dilatation, but never by half before melting (common practice, no source)
@pytest.mark.parametrize("name", [*PURE_GRADES, *NOMINAL])
def test_specific_heat_near_dulong_and_petit(name: str) -> None:
    found = material(name)
    limit = 3 * R / found.molar_mass
    assert 0.95 * limit < found.specific_heat(600.0) < 1.5 * limit
    assert found.specific_heat(found.solidus) < 1.65 * limit


# Lorenz number 2.44e-8 W ohm/K2 (Sommerfeld value) with the resistivity of the liquid by Pichler
# et al., J. Mater. Sci. 55 (2020) 4081: 1.154 + 1.893e-4 T in micro-ohm metre, NIST SRM 1155a
@pytest.mark.parametrize("temperature", [1750.0, 2000.0, 2400.0])
def test_liquid_316l_conducts_as_its_resistivity_says(temperature: float) -> None:
    resistivity = (1.154 + 1.893e-4 * temperature) * 1e-6
    expected = 2.44e-8 * temperature / resistivity
    assert material("316L").thermal_conductivity(temperature) == pytest.approx(expected, rel=0.02)


class TestArgon:
    @staticmethod
    def table(key: str) -> tuple[np.ndarray, np.ndarray]:
        pairs = np.array(reference.read_toml("gases/argon.toml")[key]["value"])
        return pairs[:, 0], pairs[:, 1]

    @staticmethod
    def value(key: str) -> float:
        return float(reference.read_toml("gases/argon.toml")[key]["value"])

    def test_every_entry_is_complete(self) -> None:
        document = reference.read_toml("gases/argon.toml")
        for key, entry in document.items():
            if key != "gas":
                assert entry["unit"], key
                assert entry["source"].strip(), key
                assert entry["standing"] == "published" or entry["standing"].startswith("package:")

    def test_molar_mass(self) -> None:
        for expected in (chemicals.MW(ARGON_CAS), element("Ar").atomic_weight):
            assert self.value("molar_mass") == pytest.approx(expected * 1e-3, rel=2e-4)

    def test_density_of_an_ideal_gas(self) -> None:
        T, density = self.table("density")
        assert density == pytest.approx(atm * self.value("molar_mass") / (R * T), rel=1.5e-3)

    def test_specific_heat_of_one_atom(self) -> None:
        expected = 2.5 * R / self.value("molar_mass")
        assert self.value("specific_heat") == pytest.approx(expected, rel=3e-3)

    def test_prandtl_number_of_one_atom(self) -> None:
        # kinetic theory of a monatomic gas: 2/3
        T, conductivity = self.table("thermal_conductivity")
        viscosity = np.interp(T, *self.table("viscosity"))
        prandtl = viscosity * self.value("specific_heat") / conductivity
        assert prandtl == pytest.approx(2 / 3, rel=0.02)

    @pytest.mark.parametrize(
        ("key", "mass", "volume"),
        [("diffusivity_oxygen", 31.998, 16.3), ("diffusivity_nitrogen", 28.014, 18.5)],
    )
    def test_diffusion_by_fuller(self, key: str, mass: float, volume: float) -> None:
        # Fuller, Schettler & Giddings 1966: D = 0.00143 T^1.75 / (p sqrt(M) (v1^1/3 + v2^1/3)^2) in
        # cm2/s and bar, argon 16.2 cm3/mol; constants from memory; good to some 5 %
        T, found = self.table(key)
        T, found = T[T <= 600.0], found[T <= 600.0]
        pair_mass = 2.0 / (1.0 / 39.95 + 1.0 / mass)
        size = (16.2 ** (1 / 3) + volume ** (1 / 3)) ** 2
        expected = 0.00143 * T**1.75 / (1.01325 * np.sqrt(pair_mass) * size) * 1e-4
        assert found == pytest.approx(expected, rel=0.08)
