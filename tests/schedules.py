"""Schedules as typed, for tests."""

from __future__ import annotations

import copy
from typing import Any

_TUBE: dict[str, Any] = {
    "title": "Test tube",
    "number": "T-1",
    "revision": "A",
    "joint": {
        "type": "butt",
        "form": "tube",
        "material": "Ti Grade 2",
        "wall_thickness": "0.4 mm",
        "outside_diameter": "8 mm",
    },
    "laser": {"spot_diameter": "0.4 mm"},
    "pass": [
        {
            "name": "root",
            "peak_power": "390 W",
            "pulse_duration": "5 ms",
            "repetition_rate": "5 Hz",
            "travel_speed": "0.5 mm/s",
        }
    ],
}


GAS = {
    "gas": "argon",
    "purity": "99.999 %",
    "flow": "12 L/min",
    "purge_volume": "40 mL",
    "purge_flow": "4 L/min",
    "oxygen_target": "20 ppm",
    "remove_below": "427 degC",
}


def tube(**tables: Any) -> dict[str, Any]:
    """Return the smallest tube schedule; tables given are merged in, None takes a key out."""
    return _merged(copy.deepcopy(_TUBE), tables)


def sheet(**tables: Any) -> dict[str, Any]:
    """Return the smallest sheet schedule."""
    joint = {"form": "sheet", "outside_diameter": None, "seam_length": "60 mm"}
    return _merged(tube(joint=joint), tables)


def first_pass(**keys: Any) -> dict[str, Any]:
    """Return the smallest tube schedule with keys of its pass set, or taken out by None."""
    made = tube()
    made["pass"][0] = _merged(made["pass"][0], keys)
    return made


def two_passes(**cover: Any) -> dict[str, Any]:
    made = tube(
        goal={"penetration": "100 %", "root_width": "0.2 mm", "part_temperature": "250 degC"}
    )
    root = made["pass"][0] | {"peak_power": "600 W", "closing_overlap": "15 deg"}
    second = root | {"name": "cover", "peak_power": "480 W", "spot_diameter": "0.7 mm"}
    made["pass"] = [root, second | cover]
    made["joint"] |= {"gap": "0.02 mm", "mismatch": "0.03 mm"}
    return made


def _merged(base: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    for key, value in changes.items():
        if value is None:
            base.pop(key, None)
        elif isinstance(value, dict):
            base[key] = _merged(base.get(key, {}), value)
        else:
            base[key] = value
    return base
