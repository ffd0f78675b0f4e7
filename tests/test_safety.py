"""Cautions with their documents, and the estimates that a schedule leads to."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from weldcalc import safety
from weldcalc.canonical import plain
from weldcalc.errors import InputError
from weldcalc.reference import read_toml
from weldcalc.schedule import schedule_from_mapping

NM = 1e-9
TRAIN = {"wavelength": 1070 * NM, "pulse_duration": 5e-3, "repetition_rate": 10.0}
DEMO: dict[str, Any] = {
    "title": "invented for this test",
    "number": "T-1",
    "revision": "A",
    "joint": {
        "type": "butt",
        "form": "tube",
        "material": "Ti Grade 2",
        "wall_thickness": "0.4 mm",
        "outside_diameter": "8 mm",
    },
    "laser": {"wavelength": "1070 nm", "spot_diameter": "0.4 mm", "beam_quality": 20.0},
    "pass": [
        {
            "name": "root",
            "peak_power": "400 W",
            "pulse_duration": "5 ms",
            "repetition_rate": "10 Hz",
            "travel_speed": "0.5 mm/s",
        }
    ],
}


def test_cautions_follow_the_metal_and_the_gas() -> None:
    def keys(**chosen: str | None) -> set[str]:
        return {caution.key for caution in safety.cautions(**chosen)}

    titanium, steel = keys(material="titanium"), keys(material="stainless steel")
    assert "titanium-fire" in titanium - steel
    assert "stainless-fume" in steel - titanium
    assert titanium | steel <= keys(material=None, gas=None)
    assert "gas-room" in keys(gas="Argon 5.0")
    assert "gas-room-light" not in keys(gas="Argon 5.0")
    assert {"gas-room", "gas-room-light"} <= keys(gas="argon-helium mixture")
    # an unknown gas still displaces air
    assert {"gas-room", "gas-room-light"} <= keys(gas="mystery")


def test_every_caution_names_documents_and_who_decides() -> None:
    for caution in safety.cautions(material=None, gas=None):
        assert caution.documents
        assert caution.standing
        assert caution.text.endswith(".")
        for who in ("local", "laser safety officer", "licensed practice"):
            assert who in caution.defer_to.lower()


def test_every_document_is_used_and_every_standing_is_known() -> None:
    table = read_toml("safety/cautions.toml")
    used = {key for caution in table["caution"] for key in caution["documents"]}
    assert used == set(table["document"])
    known = ("published", "common practice", "from memory")
    standings = [part["standing"] for part in (*table["document"].values(), *table["caution"])]
    assert all(standing.startswith(known) for standing in standings)


def test_every_coefficient_has_unit_and_standing() -> None:
    def values(node: object) -> list[dict[str, object]]:
        if isinstance(node, list):
            return [found for part in node for found in values(part)]
        if not isinstance(node, dict):
            return []
        here = [node] if "value" in node else []
        return here + [found for part in node.values() for found in values(part)]

    found = values(read_toml("safety/exposure_limits.toml"))
    assert len(found) > 40
    for entry in found:
        assert entry["unit"]
        assert entry["standing"] in {"published", "derived", "from memory"}


def test_estimates_of_a_schedule_are_worst_case_and_marked() -> None:
    schedule = schedule_from_mapping(DEMO)
    (root,), findings = safety.laser_estimates(schedule)
    assert root.eye == safety.exposure_limit(**TRAIN, exposure_time=10.0)
    # 2 J through a 7 mm pupil
    assert root.exposure.value == pytest.approx(2.0 / (math.pi * 0.0035**2))
    attenuated = root.exposure.value * 10**-root.optical_density.value
    assert attenuated == pytest.approx(root.eye.value)
    assert [worn.mode for worn in root.eyewear] == ["I", "D"]
    # mode D by the average power: 20 W over the pupil, 1e(n+1) W/m2
    assert root.eyewear[1].exact == pytest.approx(math.log10(20 / (math.pi * 0.0035**2)) - 1)
    assert "not a clearance" in root.notice
    assert findings[0].remedy
    json.dumps(plain(root.to_json()), allow_nan=False)


def test_a_narrow_beam_asks_more_of_eyewear_but_not_of_the_eye() -> None:
    schedule = schedule_from_mapping(DEMO)
    (wide,), _ = safety.laser_estimates(schedule)
    (narrow,), _ = safety.laser_estimates(schedule, beam_diameter=1e-3)
    assert narrow.optical_density == wide.optical_density
    assert narrow.eyewear[0].number > wide.eyewear[0].number


@pytest.mark.parametrize("wavelength", [None, "532 nm"])
def test_no_estimate_without_a_covered_wavelength(wavelength: str | None) -> None:
    laser = {"spot_diameter": "0.4 mm", "wavelength": wavelength}
    laser = {key: value for key, value in laser.items() if value is not None}
    schedule = schedule_from_mapping({**DEMO, "laser": laser})
    estimates, findings = safety.laser_estimates(schedule)
    assert estimates == ()
    assert findings[0].code == "laser-estimate-missing"


def test_the_exit_cone_comes_from_the_waist_not_from_a_defocused_spot() -> None:
    (root,), _ = safety.laser_estimates(schedule_from_mapping(DEMO))
    wide = {**DEMO["pass"][0], "spot_diameter": "0.7 mm"}
    (cover,), _ = safety.laser_estimates(schedule_from_mapping({**DEMO, "pass": [wide]}))
    assert root.beam_distance is not None
    assert cover.beam_distance == root.beam_distance


def test_an_exposure_shorter_than_a_pulse_counts_the_whole_pulse() -> None:
    (root,), _ = safety.laser_estimates(schedule_from_mapping(DEMO), exposure_time=1e-3)
    assert root.exposure_time == root.eye.pulses * 5e-3 == 5e-3


def test_no_beam_distance_without_beam_quality() -> None:
    laser = {"spot_diameter": "0.4 mm", "wavelength": "1070 nm"}
    (root,), _ = safety.laser_estimates(schedule_from_mapping({**DEMO, "laser": laser}))
    assert root.beam_distance is None


def test_an_unknown_family_is_refused_with_the_known_ones() -> None:
    with pytest.raises(InputError, match="titanium"):
        safety.cautions(material="kryptonite")
