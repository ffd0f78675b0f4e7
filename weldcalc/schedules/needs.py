"""What a schedule has to say, and what holds where it is silent: for help texts and forms."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

from attrs import evolve

from weldcalc.quantities import shortest_text
from weldcalc.schedules.assumed_scatter import Assumed, assumed_scatter
from weldcalc.schedules.table import keys_of
from weldcalc.schedules.toml_file import toml_value
from weldcalc.schedules.writer import typed_text

if TYPE_CHECKING:
    from weldcalc.schedule import Schedule

REQUIRED: Final = "required"

_OPTICS = "in place of spot_diameter, with the two others of fibre and lenses"
_NEEDS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(keys_of(""), REQUIRED),
        **dict.fromkeys(
            ("joint.type", "joint.form", "joint.material", "joint.wall_thickness"), REQUIRED
        ),
        "joint.outside_diameter": "required unless form is sheet",
        "joint.seam_length": "required if form is sheet",
        "joint.plate_material": "required if type is tube-to-plate",
        "joint.plate_thickness": "required if type is tube-to-plate",
        "joint.tolerance_spread": "default: uniform",
        "scatter.absorptivity": "default: that of the surface",
        "laser.spot_diameter": "required here or in each pass, unless fibre and lenses are given",
        "laser.fibre_diameter": _OPTICS,
        "laser.collimation_length": _OPTICS,
        "laser.focal_length": _OPTICS,
        "pass.name": REQUIRED,
        "pass.peak_power": "required, or pulse_energy",
        "pass.pulse_energy": "in place of peak_power",
        "pass.pulse_duration": REQUIRED,
        "pass.repetition_rate": REQUIRED,
        "pass.travel_speed": "required, or rotation",
        "pass.rotation": "in place of travel_speed",
        "pass.spot_diameter": "default: that of [laser]",
        "pass.profile": "default: that of [laser]",
    }
)


def need_words(table: str, key: str, least: Schedule) -> str:
    """Return whether a key is required, or what holds where it is left out.

    Parameters
    ----------
    table, key : str
        Table, empty for the top of the file, and key in it.
    least : Schedule
        One that gives no more than it must: it holds the defaults.
    """
    stated = _NEEDS.get(_path(table, key))
    if stated is not None:
        return stated
    value = default_of(table, key, least)
    if value is None:
        return "default: not given"
    words = f"default: {value if isinstance(value, str) else toml_value(value)}"
    if table == "scatter":
        words += f", {_assumed(least)[key].standing}"
    return words


def default_of(table: str, key: str, least: Schedule) -> Any:
    """Return the default of a key as it would be typed; None where there is none of its own.

    Parameters
    ----------
    table, key, least
        As for `need_words`.
    """
    if _path(table, key) in _NEEDS:
        return None
    if table == "scatter":
        return shortest_text(_assumed(least)[key].value, f"scatter.{key}")
    value = getattr(least.passes[0] if table == "pass" else getattr(least, table), key)
    return None if value is None else typed_text(value, f"{table}.{key}")


def _path(table: str, key: str) -> str:
    return f"{table}.{key}" if table else key


def _assumed(least: Schedule) -> Mapping[str, Assumed]:
    # a focus scatters where light and beam are told
    laser = evolve(least.laser, wavelength=1.064e-6, beam_quality=1.0)
    return assumed_scatter(least.scatter, laser)
