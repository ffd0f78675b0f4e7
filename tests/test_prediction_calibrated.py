"""Predictions that rest on a calibration of the user's own."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from attrs import evolve
from schedules import two_passes

from weldcalc.calibration_data import Calibration, calibration_for
from weldcalc.errors import InputError
from weldcalc.materials import material
from weldcalc.prediction import Estimate, estimate
from weldcalc.schedule import schedule_from_mapping


@pytest.fixture(scope="module")
def whole() -> Estimate:
    return estimate(schedule_from_mapping(two_passes()))


def calibration(**changes: Any) -> Calibration:
    shipped = calibration_for(material("Ti Grade 2"), None)
    return evolve(shipped, origin="test", sha256="0" * 64, **changes)


def test_calibration_takes_the_place_of_the_shipped_constants(whole: Estimate) -> None:
    shipped = calibration_for(material("Ti Grade 2"), None)
    weaker = evolve(shipped.mean, absorptance=0.8 * shipped.mean.absorptance)
    made = estimate(whole.schedule, calibration=calibration(mean=weaker))
    assert made.passes[1].penetration < whole.passes[1].penetration
    assert made.to_json()["model"] == {"constants": "test", "sha256": "0" * 64}


def test_calibration_on_the_own_surface_and_range_narrows_the_interval(whole: Estimate) -> None:
    shipped = calibration_for(material("Ti Grade 2"), None)
    wide = evolve(
        shipped.box,
        spot_diameter=(1e-4, 1e-3),
        pulse_duration=(1e-3, 1e-2),
        irradiance=(1e8, 1e11),
    )
    row = np.array([[getattr(shipped.mean, name) for name in _names()]])
    sure = calibration(sample=row, box=wide, surface="as machined")
    made = estimate(whole.schedule, calibration=sure).passes[1]
    before = whole.passes[1]
    assert "beyond-validity" not in {one.code for one in made.findings}
    low, high = made.fusion_width_interval
    assert high - low < (before.fusion_width_interval[1] - before.fusion_width_interval[0])


def _names() -> tuple[str, ...]:
    from weldcalc.heatflow.constants import NAMES

    return NAMES


def test_calibration_of_another_metal_is_refused(whole: Estimate) -> None:
    with pytest.raises(InputError, match="stainless steel"):
        estimate(whole.schedule, calibration=calibration(family="stainless steel"))


def test_calibration_needs_whole_rows() -> None:
    with pytest.raises(InputError, match="sample"):
        calibration(sample=np.ones((3, 2)))


def test_calibration_draws_rows_without_repeats_until_used_up() -> None:
    rows = np.arange(1.0, 28.0).reshape(3, 9)
    drawn = calibration(sample=rows).draws(3, 1)
    assert {one.stirring_r for one in drawn} == {1.0, 10.0, 19.0}
    assert len(calibration(sample=rows).draws(7, 1)) == 7
