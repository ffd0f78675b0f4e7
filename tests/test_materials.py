"""Metals: look-up, joined curves, enthalpy, absorptivity."""

from __future__ import annotations

import copy
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldcalc import reference
from weldcalc.errors import InputError
from weldcalc.materials import material, material_names

NAMES = material_names()
TITANIUM = tuple(name for name in NAMES if name.startswith("Ti"))
CP = ("Ti Grade 1", "Ti Grade 2", "Ti Grade 4")
STEEL = ("Stainless 304", "Stainless 316L")
CURVES = ("specific_heat", "thermal_conductivity", "density")
SHIPPED_STANDING = re.compile(r"published|common practice|from memory|package:[A-Za-z0-9_.-]+")


class TestLookUp:
    def test_all_grades_are_there(self) -> None:
        assert list(NAMES[:6]) == [f"Ti Grade {number}" for number in (1, 2, 4, 5, 9, 23)]
        assert list(NAMES[6:]) == ["Stainless 304", "Stainless 316L"]

    @pytest.mark.parametrize(
        ("spelling", "key"),
        [
            ("Ti Grade 2", "ti_gr2"),
            ("ti_gr2", "ti_gr2"),
            ("ti grade-2", "ti_gr2"),
            ("Ti-6Al-4V", "ti_gr5"),
            ("TiAl6V4", "ti_gr5"),
            ("Ti-6Al-4V ELI", "ti_gr23"),
            ("Ti-3Al-2.5V", "ti_gr9"),
            ("R50400", "ti_gr2"),
            ("316L", "ss_316l"),
            ("aisi 316l", "ss_316l"),
            ("304", "ss_304"),
            ("1.4301", "ss_304"),
        ],
    )
    def test_common_spellings(self, spelling: str, key: str) -> None:
        assert material(spelling).key == key

    def test_no_spelling_means_two_grades(self) -> None:
        owners: dict[str, str] = {}
        for name in NAMES:
            grade = material(name).grade
            for spelling in {re.sub(r"\W|_", "", s.lower()) for s in (grade.name, *grade.aliases)}:
                assert owners.setdefault(spelling, name) == name

    def test_unknown_name_lists_the_nearest_and_all(self) -> None:
        with pytest.raises(InputError) as caught:
            material("Ti Grad 5")
        text = str(caught.value)
        assert 'material = "Ti Grad 5"' in text
        assert "nearest: Ti Grade 5" in text
        assert all(name in text for name in NAMES)

    def test_name_unlike_any_other_lists_all(self) -> None:
        with pytest.raises(InputError, match="is not known; known are: Ti Grade 1"):
            material("unobtainium")

    def test_shipped_grade_carries_file_and_hash(self) -> None:
        grade = material("Ti Grade 2")
        assert grade.path == "materials/ti_gr2.toml"
        listed = (reference.data_folder() / "MANIFEST.sha256").read_text(encoding="utf-8")
        assert f"{grade.sha256}  {grade.path}" in listed

    def test_survives_being_copied_with_filled_caches(self) -> None:
        grade = material("Ti Grade 2")
        assert grade.enthalpy(700.0) > grade.enthalpy(600.0)  # fills cached values
        again = copy.deepcopy(grade)
        assert again == grade
        assert again.specific_heat(700.0) == grade.specific_heat(700.0)
        assert grade != material("Ti Grade 5")


@pytest.mark.parametrize("name", NAMES)
class TestEveryGrade:
    def test_each_value_has_a_source_a_standing_and_a_spread(self, name: str) -> None:
        for key, found in material(name).properties.items():
            assert found.source.strip(), key
            assert SHIPPED_STANDING.fullmatch(found.standing), key
            assert key == "chemistry" or (found.spread is not None and 0 < found.spread < 3.5), key
            for other in found.alternatives:
                assert other.source.strip(), key
                assert SHIPPED_STANDING.fullmatch(other.standing), key

    def test_rejected_figures_say_why_and_are_not_used(self, name: str) -> None:
        for key, found in material(name).properties.items():
            for other in found.alternatives:
                if other.rejected:
                    assert other.note, key
                    assert other.value != found.value, key

    def test_figures_far_off_say_why(self, name: str) -> None:
        for key, found in material(name).properties.items():
            for other in found.alternatives:
                if isinstance(found.value, float) and isinstance(other.value, float):
                    far = abs(other.value - found.value) > 3 * found.spread * abs(found.value)
                    assert other.note or not far, (key, other.source)

    def test_temperatures_are_in_order(self, name: str) -> None:
        grade = material(name)
        assert 1500 < grade.solidus < grade.liquidus < grade.boiling_point
        assert grade.haz_temperature < grade.solidus

    @pytest.mark.parametrize("curve", CURVES)
    def test_curves_keep_shape_and_clamp_their_ends(self, name: str, curve: str) -> None:
        function = getattr(material(name), curve)
        grid = np.linspace(200.0, 4000.0, 60).reshape(3, 20)
        assert function(grid).shape == (3, 20)
        assert np.shape(function(500.0)) == ()
        assert function(50.0) == function(200.0)
        assert function(3500.0) == function(9000.0)
        assert np.all(np.isfinite(function(grid)))
        assert np.all(function(grid) > 0)

    @pytest.mark.parametrize("curve", CURVES)
    def test_solid_and_liquid_meet_at_solidus_and_liquidus(self, name: str, curve: str) -> None:
        grade = material(name)
        function = getattr(grade, curve)
        liquid = np.interp(grade.liquidus, *grade.table(f"{curve}_liquid"))
        assert function(grade.liquidus) == pytest.approx(liquid)
        middle = 0.5 * (grade.solidus + grade.liquidus)
        ends = 0.5 * (function(grade.solidus) + function(grade.liquidus))
        assert function(middle) == pytest.approx(ends)

    def test_density_falls_and_melt_is_lighter(self, name: str) -> None:
        grade = material(name)
        values = grade.density(np.linspace(293.15, 3000.0, 500))
        assert np.all(np.diff(values) <= 0)
        assert grade.density(grade.liquidus) < grade.density(grade.solidus) < grade.density_rt

    def test_enthalpy_is_the_integral_of_the_specific_heat_and_the_latent_heats(
        self, name: str
    ) -> None:
        grade = material(name)
        hot = grade.boiling_point
        grid = np.linspace(293.15, hot, 400_001)
        sensible = np.trapezoid(grade.specific_heat(grid), grid)
        expected = sensible + grade.latent_heat_fusion + grade.alpha_beta_enthalpy
        assert grade.enthalpy(hot) == pytest.approx(expected, rel=1e-6)
        assert grade.enthalpy(293.15) == pytest.approx(0.0, abs=1e-6)

    @given(
        temperatures=st.lists(st.floats(200.0, 5000.0), min_size=2, max_size=8, unique=True).map(
            sorted
        )
    )
    def test_enthalpy_rises(self, name: str, temperatures: list[float]) -> None:
        values = material(name).enthalpy(np.array(temperatures))
        assert np.all(np.diff(values) >= 0)

    def test_rougher_surfaces_absorb_more_and_are_less_known(self, name: str) -> None:
        grade = material(name)
        means, sds = zip(
            *(grade.absorptivity(s) for s in ("polished", "as machined", "matt", "oxidised")),
            strict=True,
        )
        assert list(means) == sorted(means)
        assert list(sds) == sorted(sds)
        assert all(2 * sd < mean < 1 - 2 * sd for mean, sd in zip(means, sds, strict=True))

    def test_absorptivity_from_memory_says_so(self, name: str) -> None:
        for surface in ("as_machined", "matt", "oxidised"):
            assert material(name).properties[f"absorptivity_{surface}"].standing == "from memory"


def test_unknown_surface_is_refused() -> None:
    with pytest.raises(InputError, match=r'surface = "rusty": has to be one of: polished'):
        material("304").absorptivity("rusty")


class TestTitanium:
    @pytest.mark.parametrize("name", TITANIUM)
    def test_heat_affected_zone_ends_at_the_beta_transus(self, name: str) -> None:
        grade = material(name)
        assert grade.haz_temperature == grade.beta_transus
        assert grade.haz_isotherm_name == "beta transus"
        assert grade.family == "titanium"

    @pytest.mark.parametrize("name", CP)
    def test_pure_grades_melt_at_one_temperature(self, name: str) -> None:
        grade = material(name)
        assert 0.5 * (grade.solidus + grade.liquidus) == grade.value("melting_point") == 1941.0
        assert grade.liquidus - grade.solidus == 10.0

    @pytest.mark.parametrize("name", CP)
    def test_conductivity_joins_the_pure_metal_by_900_kelvin(self, name: str) -> None:
        grade = material(name)
        T, pure = grade.table("thermal_conductivity_solid")
        hot = (T >= 900.0) & np.less(T, grade.solidus)
        assert grade.thermal_conductivity(T[hot]) == pytest.approx(pure[hot])
        assert grade.thermal_conductivity(293.15) == pytest.approx(
            grade.value("thermal_conductivity_rt")
        )
        cold = grade.thermal_conductivity(T[T < 900.0]) / pure[T < 900.0]
        assert np.all(np.diff(cold) > 0)
        assert np.all(cold < 1)

    @pytest.mark.parametrize("name", TITANIUM)
    def test_alpha_beta_change_takes_its_whole_heat_within_its_band(self, name: str) -> None:
        grade = material(name)
        start, end = grade.alpha_beta_band or (0.0, 0.0)
        assert end == grade.beta_transus
        middle, width = 0.5 * (start + end), end - start
        sensible = width * float(grade.specific_heat(middle))
        rise = float(grade.enthalpy(end) - grade.enthalpy(start))
        assert rise == pytest.approx(grade.alpha_beta_enthalpy + sensible, rel=0.01)
        half = float(grade.enthalpy(middle) - grade.enthalpy(start))
        assert half == pytest.approx(0.5 * rise, rel=0.06)

    @pytest.mark.parametrize("name", TITANIUM)
    def test_specific_heat_drops_over_the_band_without_a_jump(self, name: str) -> None:
        grade = material(name)
        start, end = grade.alpha_beta_band or (0.0, 0.0)
        assert grade.specific_heat(end) < 0.9 * grade.specific_heat(start)
        inside = np.linspace(start, end, 50)
        assert np.all(np.diff(grade.specific_heat(inside)) < 0)
        beyond = np.linspace(end, grade.solidus, 400)
        assert np.all(np.diff(grade.specific_heat(beyond)) >= 0)

    def test_oxygen_raises_the_transus(self) -> None:
        transus = [material(name).haz_temperature for name in CP]
        assert transus == sorted(transus)


class TestSteel:
    @pytest.mark.parametrize("name", STEEL)
    def test_no_phase_change_and_a_named_isotherm(self, name: str) -> None:
        grade = material(name)
        assert grade.beta_transus is None
        assert grade.alpha_beta_band is None
        assert grade.alpha_beta_enthalpy == 0.0
        assert grade.haz_isotherm_name == "upper end of the sensitisation range"
        assert grade.properties["haz_temperature"].standing == "common practice"

    def test_room_temperature_value_fills_the_cold_end(self) -> None:
        grade = material("316L")
        assert grade.table("specific_heat_solid")[0][0] > 400.0
        assert grade.specific_heat(293.15) == grade.value("specific_heat_rt")
        assert 485.0 < grade.specific_heat(380.0) < 528.0


class TestAccess:
    def test_value_table_and_spread(self) -> None:
        grade = material("Ti Grade 2")
        assert grade.value("beta_transus") == 1186.0
        assert grade.spread("beta_transus") == pytest.approx(14.0 / 1186.0)
        assert grade.spread("latent_heat_fusion") == pytest.approx(0.05)
        temperatures, values = grade.table("specific_heat_liquid")
        assert temperatures.shape == values.shape == (1,)

    def test_what_is_not_there_is_named(self) -> None:
        grade = material("304")
        with pytest.raises(InputError, match=r"ss_304\.toml: beta_transus: is not given"):
            grade.value("beta_transus")
        with pytest.raises(InputError, match="depends on temperature"):
            grade.value("density_solid")
        with pytest.raises(InputError, match="has no spread"):
            material("Ti Grade 2").spread("chemistry")
