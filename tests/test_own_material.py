"""A material file of the user's own: read strictly, all mistakes at once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from weldcalc import reference
from weldcalc.errors import InputError
from weldcalc.heatflow.spot import spot_pulse
from weldcalc.materials import Material, material


@pytest.fixture
def own(tmp_path: Path) -> Path:
    path = tmp_path / "my alloy.toml"
    path.write_bytes(reference.read_bytes("materials/ti_gr2.toml"))
    return path


def edited(path: Path, old: str, new: str) -> Path:
    text = path.read_text(encoding="utf-8")
    assert text.count(old) >= 1, old
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


def problems_of(path: Path) -> dict[str, str]:
    with pytest.raises(InputError) as caught:
        material(path)
    return {
        problem.where.removeprefix(f"{path}: "): f"{problem.given!r} {problem.why}"
        for problem in caught.value.problems
    }


def table_of(path: Path, key: str) -> str:
    found = re.search(rf"\[{key}\]\n.*?(?=\n\[)", path.read_text(encoding="utf-8"), re.DOTALL)
    assert found, key
    return found[0]


def leave_out(path: Path, key: str) -> None:
    """Take a property with its alternatives out of a file."""
    text = path.read_text(encoding="utf-8")
    left, count = re.subn(rf"(?ms)^\[+{key}(\.\w+)?\]+\n.*?(?=^\[|\Z)", "", text)
    assert count, key
    path.write_text(left, encoding="utf-8")


class TestOwnFile:
    def test_same_file_gives_the_same_metal(self, own: Path) -> None:
        mine, shipped = material(str(own)), material("Ti Grade 2")
        assert isinstance(mine, Material)
        assert mine == shipped
        assert mine.path == str(own)
        assert mine.specific_heat(900.0) == shipped.specific_heat(900.0)

    def test_only_what_predictions_rest_on_has_to_be_given(self, own: Path) -> None:
        pulse = {"peak_power": 500.0, "pulse_duration": 4e-3, "spot_diameter": 4e-4}
        whole = spot_pulse(material(own), **pulse, thickness=4e-4, grid=6e-5)
        needless = ("density_solid", "density_liquid", "surface_tension_slope")
        for key in (*needless, "absorptivity_liquid"):
            leave_out(own, key)
        less = spot_pulse(material(own), **pulse, thickness=4e-4, grid=6e-5)
        assert less.penetration == whole.penetration > 0.0
        with pytest.raises(InputError, match="density_solid: is not given"):
            material(own).density(300.0)

    def test_own_measurement_is_a_standing(self, own: Path) -> None:
        edited(own, 'standing = "published"', 'standing = "own measurement"')
        assert any(p.standing == "own measurement" for p in material(own).properties.values())

    def test_changed_file_is_another_metal(self, own: Path) -> None:
        edited(own, "value = 1.557", "value = 1.6")
        assert material(own) != material("Ti Grade 2")
        assert material(own).surface_tension == 1.6

    def test_file_that_is_not_there(self, tmp_path: Path) -> None:
        with pytest.raises(InputError, match=r"none\.toml: there is no such file"):
            material(tmp_path / "none.toml")

    def test_file_that_is_not_toml(self, tmp_path: Path) -> None:
        path = tmp_path / "bad.toml"
        path.write_text("[density_rt\n")
        with pytest.raises(
            InputError, match=r"bad\.toml, line 1 = \"\[density_rt\": TOML cannot be read"
        ):
            material(path)

    def test_every_problem_is_reported_at_once(self, own: Path) -> None:
        edited(own, 'family = "titanium"', 'family = "titan"')
        edited(own, "value = 0.047867", "value = 47.867")
        edited(own, 'unit = "kg/m3"', 'unit = "g/cm3"')
        edited(own, "[400.0, 4488.0]", "[290.0, 4488.0]")
        edited(own, 'u = "1.5 %"', 'u = "1.5"')
        edited(own, "[surface_tension]", "[surface_tensoin]")
        edited(own, 'standing = "from memory"', 'standing = "hearsay"')
        edited(own, table_of(own, "solidus"), table_of(own, "solidus").replace("1936", "1996"))
        edited(own, table_of(own, "boiling_point"), "[boiling_point]\nvalue = nan\n")
        found = problems_of(own)
        assert found["grade.family"].startswith("'titan' has to be one of: titanium, stainless")
        assert "between 0.02 and 0.2; check the unit" in found["molar_mass.value"]
        assert 'has to be "kg/m3"; convert' in found["density_rt.unit"]
        assert "293.15 K is followed by 290 K" in found["density_solid.value"]
        assert 'as in "5 %" or "0.1 kg/m3"' in found["density_liquid.u"]
        assert "did you mean surface_tension?" in found["surface_tensoin"]
        assert (
            "has to be one of: published, package:NAME"
            in found["latent_heat_vaporisation.alternatives[1].standing"]
        )
        assert "1996.0 has to lie below liquidus, which is 1946 K" in found["solidus.value"]
        assert "has to be one finite number" in found["boiling_point.value"]
        assert found["boiling_point.source"] == "None is missing"
        assert found["boiling_point.unit"] == "None is missing"
        assert "'missing' has to be one standard deviation" in found["boiling_point.u"]

    def test_missing_tables_are_named_with_their_unit(self, own: Path) -> None:
        for key in ("specific_heat_liquid", "alpha_beta_enthalpy"):
            edited(own, table_of(own, key), table_of(own, key).replace(key, "remark"))
        text = own.read_text(encoding="utf-8")
        own.write_text(
            re.sub(r"\n\[remark\].*?(?=\n\[[a-z_]+\]\n)", "\n", text, flags=re.DOTALL).replace(
                "[[specific_heat_liquid.alternatives]]", "[[specific_heat_rt.alternatives]]"
            ),
            encoding="utf-8",
        )
        found = problems_of(own)
        assert "unit (J/(kg K))" in found["specific_heat_liquid"]
        assert "unit (J/kg)" in found["alpha_beta_enthalpy"]

    @pytest.mark.parametrize(
        ("old", "new", "where", "why"),
        [
            ("step = 1166.0", "step = 250.0", "specific_heat_solid.step", "inside the table"),
            ("join_by = 900.0", "join_by = 300.0", "thermal_conductivity_rt.join_by", "350 K"),
            ("value = 4510.0", "value = true", "density_rt.value", "one finite number"),
            ("value = 4510.0", 'value = "4510"', "density_rt.value", "one finite number"),
            ("value = 4510.0", "value = [[1, 2]]", "density_rt.value", "one finite number"),
            (
                "value = 986.8",
                "value = [[2000.0, 986.8]]",
                "specific_heat_liquid.value",
                "two pairs",
            ),
            ("[400.0, 561.2]", "[400.0]", "specific_heat_solid.value[1]", "has to be a pair"),
            (
                "[400.0, 561.2]",
                "[40.0, 561.2]",
                "specific_heat_solid.value[1][0] (temperature)",
                "200",
            ),
            ("[400.0, 561.2]", "[400.0, -1.0]", "specific_heat_solid.value[1][1]", "between"),
            ('["O", 0.25]', '["O", 250.0]', "chemistry.value[4]", "between 0 and 100"),
            ('["O", 0.25]', '["O"]', "chemistry.value[4]", "has to be of the form"),
            ('unit = "wt%"', 'unit = "ppm"', "chemistry.unit", 'has to be "wt%"'),
            ('u = "0.5 %"', 'u = "-1 %"', "density_rt.u", "one standard deviation"),
            ('u = "0.5 %"', 'u = "x %"', "density_rt.u", "one standard deviation"),
            ('u = "0.5 %"', "", "density_rt.u", "'missing'"),
            ('u = "0.5 %"', 'u = "0.5 %"\nlow = 3', "density_rt.low", "not a known key"),
            ("derived = true", 'derived = "yes"', "density_solid.derived", "true or false"),
            ('name = "Ti Grade 2"', 'name = ""', "grade.name", "text that is not empty"),
            ('key = "ti_gr2"', "", "grade.key", "is missing"),
            ('    "Grade 2",', "    7,", "grade.aliases", "a list of texts"),
            ("[grade]", "[grades]", "grade", "is missing"),
        ],
    )
    def test_each_slip_is_named(self, own: Path, old: str, new: str, where: str, why: str) -> None:
        assert why in problems_of(edited(own, old, new))[where]

    def test_steel_needs_to_name_its_isotherm(self, tmp_path: Path) -> None:
        path = tmp_path / "steel.toml"
        path.write_bytes(reference.read_bytes("materials/ss_304.toml"))
        edited(path, 'isotherm = "upper end of the sensitisation range"', "")
        assert "say what this temperature" in problems_of(path)["haz_temperature.isotherm"]
        edited(path, "[haz_temperature]", "[haz_temperatures]")
        assert "add a table [haz_temperature]" in problems_of(path)["haz_temperature"]

    def test_property_that_is_no_table(self, own: Path) -> None:
        edited(own, "[grade]", "viscosity_liquid = 3\n[grade]")
        text = own.read_text(encoding="utf-8")
        own.write_text(
            re.sub(r"\[viscosity_liquid\].*?(?=\n\[surface_tension\])", "", text, flags=re.DOTALL)
        )
        assert "has to be a table with value" in problems_of(own)["viscosity_liquid"]

    def test_alternatives_are_checked_too(self, own: Path) -> None:
        edited(own, 'value = 4540.0\nsource = "periodictable 2.1.0"', "kind = 4540.0")
        edited(own, 'source = "pymatgen-core / ASM 4.507 at 20 C"', 'source = ""')
        found = problems_of(own)
        assert "value, source and standing" in found["density_rt.alternatives[0]"]
        assert "not empty" in found["density_rt.alternatives[1].source"]
