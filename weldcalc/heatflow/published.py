"""Published stationary laser pulses as cases to run."""

from __future__ import annotations

from functools import cache
from math import pi

from attrs import frozen

from weldcalc import reference
from weldcalc.heatflow.constants import ModelConstants
from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.heatflow.spot import spot_pulse
from weldcalc.materials import Material, material
from weldcalc.reference_rows import Row

THICK = 3e-3  # m; the coupons are many pools thick, and more thickness changes no figure

_GRADES = {"316L": "316L", "Ti-6Al-4V": "Ti Grade 5"}


@frozen
class PublishedPulse:
    """One row of ``published/laser_pulses.csv`` (SI; None: not stated).

    Parameters
    ----------
    key, source, note : str
        Row, where it was published, and what is to be known about it.
    material : Material
        Grade.
    peak_power, pulse_duration, spot_diameter : float
        [W], [s], [m]
    profile : str
        "top-hat" or "gaussian".
    depth, width, depression : float or None
        Of the fused zone; of the vapour depression [m].
    absorptance : float or None
        Absorbed over incident energy [-].
    time_to_melt, time_to_keyhole : float or None
        [s]
    edge_limited : bool
        Whether the coupon was too narrow for the pool late in the pulse.
    """

    key: str
    source: str
    note: str
    material: Material
    peak_power: float
    pulse_duration: float
    spot_diameter: float
    profile: str
    depth: float | None
    width: float | None
    depression: float | None
    absorptance: float | None
    time_to_melt: float | None
    time_to_keyhole: float | None
    edge_limited: bool

    @property
    def irradiance(self) -> float:
        """Peak power over spot area [W/m2]."""
        return self.peak_power / (0.25 * pi * self.spot_diameter**2)

    def run(
        self, constants: ModelConstants | None = None, grid: float | None = None
    ) -> PulseResult:
        """Compute the pulse."""
        return spot_pulse(
            self.material,
            peak_power=self.peak_power,
            pulse_duration=self.pulse_duration,
            spot_diameter=self.spot_diameter,
            thickness=THICK,
            profile=self.profile,
            constants=constants,
            grid=grid,
        )


@cache
def published_pulses(family: str) -> tuple[PublishedPulse, ...]:
    """Return the published pulses on a family of metals.

    Parameters
    ----------
    family : str
        "titanium" or "stainless steel".

    Returns
    -------
    tuple of PublishedPulse
    """
    rows = reference.read_csv("published/laser_pulses.csv")
    pulses = (_pulse(row) for row in rows)
    return tuple(pulse for pulse in pulses if pulse.material.family == family)


def _pulse(row: Row) -> PublishedPulse:
    def scaled(column: str, unit: float) -> float | None:
        value = row.number(column)
        return None if value is None else value * unit

    def needed(column: str, unit: float) -> float:
        value = scaled(column, unit)
        if value is None:
            raise ValueError(f"{row.where}: {column} is empty")
        return value

    in_situ = "vapour depression" in row["note"]
    depth = scaled("depth_mm", 1e-3)
    grade = next(name for text, name in _GRADES.items() if text in row["material"])
    return PublishedPulse(
        key=row["id"],
        source=row.source,
        note=row["note"],
        material=material(grade),
        peak_power=needed("peak_power_W", 1.0),
        pulse_duration=needed("pulse_ms", 1e-3),
        spot_diameter=needed("spot_diameter_mm", 1e-3),
        profile=row["profile"],
        depth=None if in_situ else depth,
        width=scaled("width_mm", 1e-3),
        depression=depth if in_situ else None,
        absorptance=row.number("absorptance"),
        time_to_melt=scaled("time_to_melt_ms", 1e-3),
        time_to_keyhole=scaled("time_to_keyhole_ms", 1e-3),
        edge_limited="edge-limited" in row["note"] and needed("pulse_ms", 1.0) > 1.0,
    )
