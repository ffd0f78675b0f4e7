"""Synthetic coupons: the engine with known constants, shop scatter and a reading error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np
from attrs import frozen
from numpy.typing import NDArray
from schedules import tube

from weldcalc.calibrating.model import Unknowns, unknowns
from weldcalc.calibration import CalibrationResult, calibrate
from weldcalc.heatflow.fit_constants import decode
from weldcalc.passes.pulse import joint_material, pulse_settings, run_pulses
from weldcalc.passes.spread import scatter_of
from weldcalc.qualification.coupons import CouponSection
from weldcalc.schedule import Schedule, schedule_from_mapping

Floats = NDArray[np.float64]
READING = 5e-6  # m, standard uncertainty of a section
COLD = 293.15  # K; single spots

SETTINGS: tuple[Mapping[str, float], ...] = tuple(
    {"peak_power": power, "pulse_duration": duration, "spot_diameter": spot, "preheat": COLD}
    for power, duration, spot in (
        (390.0, 5e-3, 0.40e-3),
        (330.0, 4e-3, 0.36e-3),
        (450.0, 4e-3, 0.44e-3),
        (330.0, 7e-3, 0.40e-3),
        (480.0, 6e-3, 0.46e-3),
        (390.0, 3e-3, 0.36e-3),
    )
)


@frozen
class Coupons:
    """A coupon list that was read from no file."""

    name: str
    sha256: str
    sections: tuple[CouponSection, ...]


@cache
def thick_schedule() -> Schedule:
    """Return a pass that does not go through its wall, with a shop's own scatter."""
    scatter = {
        "power": "1 %",
        "duration": "0.5 %",
        "spot_diameter": "1.5 %",
        "wall_thickness": "1.5 %",
    }
    return schedule_from_mapping(
        tube(joint={"wall_thickness": "0.8 mm"}, scatter=scatter, goal={"penetration": "30 %"})
    )


def prior(schedule: Schedule) -> Unknowns:
    """Return prior and bounds for a schedule."""
    return unknowns(joint_material(schedule), schedule.preparation.surface)


def truth(space: Unknowns, generator: np.random.Generator) -> Floats:
    """Draw true constants from the prior, inside the bounds."""
    root = np.linalg.cholesky(space.prior.covariance)
    room = 0.01 * (space.high - space.low)
    while True:
        drawn: Floats = space.prior.mean + root @ generator.normal(size=root.shape[0])
        if np.all((drawn > space.low + room) & (drawn < space.high - room)):
            return drawn


@cache
def calibrated(seed: int) -> tuple[Floats, Coupons, CalibrationResult]:
    """Return true constants, six coupons welded with them, and what those calibrate."""
    generator = np.random.default_rng(seed)
    true = truth(prior(thick_schedule()), generator)
    coupons = coupons_of(thick_schedule(), true, generator)
    return true, coupons, calibrate(thick_schedule(), coupons)


def coupons_of(
    schedule: Schedule,
    position: Floats,
    generator: np.random.Generator,
    *,
    settings: Sequence[Mapping[str, float]] = SETTINGS,
    sections: int = 2,
    scattered: bool = True,
) -> Coupons:
    """Return coupons welded with known constants, with shop scatter and reading errors."""
    metal, item = joint_material(schedule), schedule.passes[0]
    base = pulse_settings(schedule, item, metal)
    constants, scatter = decode(position), scatter_of(schedule)
    batch = []
    for setting in settings:
        run = {**base, **setting, "constants": constants, "absorptivity": constants.absorptance}
        for name, key in (
            ("power", "peak_power"),
            ("duration", "pulse_duration"),
            ("spot_diameter", "spot_diameter"),
            ("wall_thickness", "thickness"),
        ):
            run[key] *= 1 + scattered * scatter[name] * generator.normal()
        batch.append(run)
    rows = []
    results = run_pulses(metal, batch, cooling=0.05)
    for number, (setting, result) in enumerate(zip(settings, results, strict=True), 1):
        for section in range(1, sections + 1):
            sizes = {
                key: getattr(result, key) + READING * generator.normal()
                for key in ("penetration", "fusion_width", "root_width", "haz_width")
                if getattr(result, key) > 2 * READING
            }
            rows.append(
                CouponSection(
                    coupon=f"S{number}",
                    section=str(section),
                    weld_pass=item.name,
                    measured=sizes,
                    uncertainty=dict.fromkeys(sizes, READING),
                    settings=setting,
                )
            )
    return Coupons(name="invented.csv", sha256="0" * 64, sections=tuple(rows))
