"""Every published or derived worked example: its inputs, its printed answer, its tolerance.

The rows stand in ``reference_data/worked_examples``; a new row whose function is in `ADAPTERS` is a
new test without any change here. Rows recalled from memory run too and say so in their name.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytest

from weldcalc import beam, pulses, safety
from weldcalc.gas import purging
from weldcalc.hazards import exposure, laser_hazard, room_air
from weldcalc.heatflow import closed_form
from weldcalc.qualification import gauge, statistics
from weldcalc.reference import listed, read_toml

Outputs = Mapping[str, float]
Adapter = Callable[..., Outputs]

# unit as printed -> factor to SI and value of its zero
UNITS: dict[str, tuple[float, float]] = {
    "1": (1.0, 0.0),
    "%": (0.01, 0.0),
    "ppm": (1e-6, 0.0),
    "nm": (1e-9, 0.0),
    "um": (1e-6, 0.0),
    "mm": (1e-3, 0.0),
    "cm": (1e-2, 0.0),
    "m": (1.0, 0.0),
    "mm/s": (1e-3, 0.0),
    "mL": (1e-6, 0.0),
    "m3": (1.0, 0.0),
    "m3/h": (1 / 3600, 0.0),
    "ms": (1e-3, 0.0),
    "s": (1.0, 0.0),
    "Hz": (1.0, 0.0),
    "1/h": (1 / 3600, 0.0),
    "mrad": (1e-3, 0.0),
    "degC": (1.0, 273.15),
    "W": (1.0, 0.0),
    "J/m2": (1.0, 0.0),
    "mJ/cm2": (10.0, 0.0),
    "W/m2": (1.0, 0.0),
    "W/cm2": (1e4, 0.0),
    "mW/cm2": (10.0, 0.0),
    "J/mm": (1e3, 0.0),
    "J/mm3": (1e9, 0.0),
    "J/(mm3 K)": (1e9, 0.0),
    "W/(mm K)": (1e3, 0.0),
}

STANDINGS = ("published", "derived", "from memory")
TOLERANCES = ("absolute", "relative", "exact")


def _one(name: str, function: Callable[..., Any]) -> Adapter:
    """Adapter of a function that gives one number, bare or with its source."""

    def adapter(**inputs: Any) -> Outputs:
        result = function(**inputs)
        return {name: getattr(result, "value", result)}

    return adapter


def _attributes(function: Callable[..., Any]) -> Adapter:
    """Adapter of a function whose result carries the expected names as attributes."""

    def adapter(**inputs: Any) -> Outputs:
        result = function(**inputs)
        return {name: getattr(result, name) for name in dir(result) if not name.startswith("_")}

    return adapter


def _spot_and_rayleigh(*, beam_quality: float, wavelength: float, **lens: float) -> Outputs:
    spot = beam.spot_from_focus(beam_quality=beam_quality, wavelength=wavelength, **lens)
    length = beam.rayleigh_length(
        spot_diameter=spot, beam_quality=beam_quality, wavelength=wavelength
    )
    return {"spot_diameter": spot, "rayleigh_length": length}


def _caustic(*, position: Any, radius: Any, wavelength: float) -> Any:
    return beam.fit_caustic(position=position, diameter=2 * radius, wavelength=wavelength)


def _natrella_bounds(*, mean: float, sd: float, **shown: Any) -> Outputs:
    factor = statistics.natrella_factor(**shown)
    lower, upper = statistics.tolerance_bounds(mean=mean, sd=sd, factor=factor)
    return {"lower": lower, "upper": upper}


def _proportion(**inputs: Any) -> Outputs:
    low, high = statistics.proportion_interval(**inputs)
    return {"low": low, "high": high}


def _capability(**inputs: Any) -> Outputs:
    found = statistics.capability_from_summary(**inputs)
    return {"cpk": found.cpk, "cpk_low": found.interval[0], "cpk_high": found.interval[1]}


def _visible_limit(*, wavelength: float, duration: float) -> Outputs:
    limit = exposure.single_exposure_limit(wavelength=wavelength, duration=duration).value
    return {"radiant_exposure": limit, "irradiance": limit / duration}


def _density_at_peak(*, power: float, beam_radius: float, limit: float) -> float:
    peak = beam.peak_irradiance(power=power, diameter=2 * beam_radius, profile="gaussian")
    return laser_hazard.optical_density(exposure=float(peak), limit=limit).value


def _scale_number(*, power: float, diameter: float, wavelength: float) -> Outputs:
    level = float(beam.mean_irradiance(power=power, diameter=diameter))
    found = laser_hazard.scale_number(wavelength=wavelength, level=level)
    return {"level": level, "exact": found.exact, "number": found.number}


def _gas_share(*, gas_volume: float) -> float:
    return gas_volume / room_air.smallest_room(gas_volume=gas_volume).value


ADAPTERS: dict[str, Adapter] = {
    "pulses.repetition_for_overlap": _one("repetition_rate", pulses.repetition_for_overlap),
    "pulses.repetition_for_overlap_at_duty": _one(
        "repetition_rate", pulses.repetition_for_overlap_at_duty
    ),
    "pulses.spot_overlap_with_travel": _one("overlap", pulses.spot_overlap_with_travel),
    "closed_form.adams_haz_width": _one("haz_width", closed_form.adams_haz_width),
    "closed_form.solidification_time": _one("time", closed_form.solidification_time),
    "closed_form.ADAMS_CONSTANT": lambda: {"constant": closed_form.ADAMS_CONSTANT},
    "closed_form.MELTING_EFFICIENCY_THIN": lambda: {"share": closed_form.MELTING_EFFICIENCY_THIN},
    "closed_form.MELTING_EFFICIENCY_THICK": lambda: {"share": closed_form.MELTING_EFFICIENCY_THICK},
    "beam.fit_caustic": _attributes(_caustic),
    "beam.spot_from_fibre": _one("spot_diameter", beam.spot_from_fibre),
    "beam.spot_from_focus": _spot_and_rayleigh,
    "beam.mean_irradiance": _one("irradiance", beam.mean_irradiance),
    "statistics.natrella_factor": _one("k", statistics.natrella_factor),
    "statistics.natrella_bounds": _natrella_bounds,
    "statistics.tolerance_factor": _one("k", statistics.tolerance_factor),
    "statistics.coupons_needed": _one("n", statistics.coupons_needed),
    "statistics.proportion_interval": _proportion,
    "statistics.capability_from_summary": _capability,
    "gauge.gauge_study": _attributes(gauge.gauge_study),
    "safety.exposure_limit": _attributes(safety.exposure_limit),
    "exposure.single_exposure_limit": _visible_limit,
    "laser_hazard.optical_density": _one("density", laser_hazard.optical_density),
    "laser_hazard.optical_density_at_peak": _one("density", _density_at_peak),
    "laser_hazard.beam_hazard_distance": _one("distance", laser_hazard.beam_hazard_distance),
    "laser_hazard.scale_number": _scale_number,
    "room_air.flow_to_limit": _one("flow", room_air.flow_to_limit),
    "room_air.smallest_room": _one("gas_share", _gas_share),
    "purging.purge": _attributes(purging.purge),
}


def _examples() -> list[dict[str, Any]]:
    found = []
    for path in listed("worked_examples", ".toml"):
        table = read_toml(path)
        found += [{**row, "data": table.get("data", {})} for row in table["example"]]
    return found


EXAMPLES = _examples()


def _name(row: Mapping[str, Any]) -> str:
    mark = " [from memory]" if row["standing"] == "from memory" else ""
    return f"{row['id']} {row['function']}{mark}"


def _in_si(given: Any, data: Mapping[str, Any]) -> Any:
    if isinstance(given, str):
        return data.get(given, given)
    if not isinstance(given, list):
        return given
    value, unit = given
    factor, zero = UNITS[unit]
    scaled = np.asarray(value, dtype=float) * factor + zero
    return scaled if scaled.ndim else float(scaled)


def _result(row: Mapping[str, Any]) -> Outputs:
    inputs = {name: _in_si(given, row["data"]) for name, given in row["inputs"].items()}
    return ADAPTERS[row["function"]](**inputs)


@pytest.mark.parametrize("row", EXAMPLES, ids=_name)
def test_worked_example(row: dict[str, Any]) -> None:
    result = _result(row)
    for wanted in row["expected"]:
        factor, zero = UNITS[wanted["unit"]]
        found = (result[wanted["name"]] - zero) / factor
        if wanted.get("exact"):
            assert found == wanted["value"], f"{wanted['name']}; source: {row['source']}"
            continue
        tolerance = {"abs": wanted.get("absolute"), "rel": wanted.get("relative")}
        near = pytest.approx(wanted["value"], **{k: v for k, v in tolerance.items() if v})
        assert found == near, f"{wanted['name']} [{wanted['unit']}]; source: {row['source']}"


@pytest.mark.parametrize("row", EXAMPLES, ids=_name)
def test_row_says_where_it_comes_from_and_how_exact_it_is(row: dict[str, Any]) -> None:
    assert row["topic"]
    assert row["source"]
    assert row["standing"] in STANDINGS
    assert "known_issues" in row
    assert row["expected"]
    for wanted in row["expected"]:
        assert sum(kind in wanted for kind in TOLERANCES) == 1, wanted
        if "relative" in wanted:
            assert 0 < wanted["relative"] <= 0.01
        if "absolute" in wanted:
            # no answer is accepted that is further off than 3 % of the printed one
            assert 0 < wanted["absolute"] <= 0.03 * abs(wanted["value"])


def test_rows_are_numbered_once_and_every_adapter_is_used() -> None:
    numbers = [row["id"] for row in EXAMPLES]
    assert len(set(numbers)) == len(numbers)
    assert {row["function"] for row in EXAMPLES} == set(ADAPTERS)
