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


def _merged(base: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    for key, value in changes.items():
        if value is None:
            base.pop(key, None)
        elif isinstance(value, dict):
            base[key] = _merged(base.get(key, {}), value)
        else:
            base[key] = value
    return base
