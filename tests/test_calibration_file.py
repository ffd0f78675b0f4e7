"""Calibration files: what is written reads back the same, and nothing else is taken."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from attrs import evolve
from coupon_samples import COLD, calibrated, coupons_of

from weldcalc.calibrating.design import NextCoupon, can_run, next_coupon
from weldcalc.calibrating.file import calibration_from_bytes, read_calibration, write_calibration
from weldcalc.calibrating.model import CouponModel
from weldcalc.calibrating.sections import SIZES
from weldcalc.calibration import CalibrationResult, calibrate
from weldcalc.canonical import sha256_of
from weldcalc.errors import InputError
from weldcalc.heatflow.constants import NAMES
from weldcalc.passes.pulse import pulse_settings
from weldcalc.prediction import estimate


def result() -> CalibrationResult:
    return calibrated(2)[2]


@cache
def content() -> str:
    from weldcalc.calibrating.file import calibration_json

    return json.dumps(calibration_json(result()), allow_nan=False)


def altered(change: Callable[[dict[str, Any]], object], *, rehash: bool = True) -> bytes:
    data = json.loads(content())
    change(data)
    if rehash:
        data["sha256"] = sha256_of({key: v for key, v in data.items() if key != "sha256"})
    return json.dumps(data).encode()


def test_what_is_written_reads_back_the_same(tmp_path: Path) -> None:
    file = tmp_path / "own.json"
    written = write_calibration(result(), file)
    read = read_calibration(file)
    assert len(read.sha256) == 64
    assert not read.is_shipped
    for name in ("family", "mean", "error", "box", "origin", "sha256", "surface"):
        assert getattr(read, name) == getattr(written, name)
    for name in ("material", "walls", "haz_coupons"):
        assert getattr(read, name) == getattr(written, name)
    assert np.array_equal(read.sample, result().calibration.sample)
    again = estimate(result().schedule, calibration=read).to_json()
    assert again == estimate(result().schedule, calibration=written).to_json()
    assert again["model"]["sha256"] == read.sha256


def test_an_existing_file_is_never_overwritten(tmp_path: Path) -> None:
    file = tmp_path / "own.json"
    file.write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="exists"):
        write_calibration(result(), file)
    assert file.read_text(encoding="utf-8") == "mine"


def test_file_holds_what_a_reviewer_asks_for() -> None:
    data = json.loads(content())
    assert data["names"] == list(NAMES)
    assert np.shape(data["covariance"]) == (len(NAMES), len(NAMES))
    assert np.all(np.linalg.eigvalsh(data["covariance"]) > 0)
    assert data["material"] == "Ti Grade 2"
    assert data["schedule"]["sha256"] == result().schedule.sha256
    assert data["coupons"]["sha256"] == result().coupons.sha256
    assert set(data["leave_one_out_ln"]) == set(SIZES)
    assert len(data["coupon_fit"]) == 6


def test_one_changed_digit_is_noticed() -> None:
    def change(data: dict[str, Any]) -> None:
        data["mean"][0] *= 1.0000001

    with pytest.raises(InputError, match="altered"):
        calibration_from_bytes(altered(change, rehash=False), name="own.json")


def _drop(key: str) -> Callable[[dict[str, Any]], object]:
    return lambda data: data.pop(key)


def _set(key: str, value: Any) -> Callable[[dict[str, Any]], object]:
    return lambda data: data.update({key: value})


def _reverse(span: str, add: float = 0.0) -> Callable[[dict[str, Any]], object]:
    def change(data: dict[str, Any]) -> None:
        low, high = data["box"][span]
        data["box"][span] = [high + add, low]

    return change


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_set("kind", "weldcalc record"), "is no calibration"),
        (_set("schema_version", 99), "reads version"),
        (_set("names", ["a"]), "other constants"),
        (_drop("mean"), "mean"),
        (_drop("box"), "box"),
        (_set("mean", [1.0, 2.0]), "lacks or misspells"),
        (_set("sample", [[1.0, 2.0]]), "constants"),
        (_set("sample", "many"), "lacks or misspells"),
        (_set("coupon_fit", []), "coupon_fit.* is empty"),
        (_reverse("pulse_duration_s"), "wrong way round"),
        (_reverse("wall_thickness_m", add=1e-4), "wrong way round"),
        (
            _set(
                "model_error", {"depth_ln": 0.0, "width_ln": 1.0, "absorptance": 1.0, "haz_ln": 1.0}
            ),
            "above zero",
        ),
    ],
)
def test_a_wrong_file_is_refused_with_the_reason(
    change: Callable[[dict[str, Any]], object], words: str
) -> None:
    with pytest.raises(InputError, match=words):
        calibration_from_bytes(altered(change), name="own.json")


@pytest.mark.parametrize("text", [b"", b"[]", b"{", b"\xff", b'{"kind": NaN}', b'{"a":1,"a":2}'])
def test_what_is_no_json_object_is_refused(text: bytes) -> None:
    with pytest.raises(InputError, match="own"):
        calibration_from_bytes(text, name="own.json")


def test_constants_of_another_engine_are_refused() -> None:
    def change(data: dict[str, Any]) -> None:
        data["coupon_fit"][1]["predicted_ln_m"]["penetration"] += 0.1

    with pytest.raises(InputError, match=r"another version of the heat-flow model.*10 %"):
        calibration_from_bytes(altered(change), name="own.json")


def test_a_calibration_of_steel_is_refused_on_titanium() -> None:
    own = evolve(result().calibration, family="stainless steel", sha256="0" * 64)
    with pytest.raises(InputError, match="stainless steel"):
        estimate(result().schedule, calibration=own)


# ---- the next coupon


@cache
def following() -> NextCoupon:
    return next_coupon(result())


def test_next_coupon_narrows_and_the_laser_can_run_it() -> None:
    made, schedule = following(), result().schedule
    assert 0 < made.after < made.before
    assert can_run(schedule, schedule.passes[0], made.settings)
    assert made.sizes[0] > 0.1 * schedule.joint.wall_thickness


def test_next_coupon_of_a_warm_pass_is_a_cold_spot() -> None:
    """A coupon finds cold metal, whatever the pass that it is for finds."""
    warm = result().schedule.with_pass(0, preheat=500.0)
    made = next_coupon(evolve(result(), schedule=warm))
    settings = pulse_settings(warm, warm.passes[0], result().metal, preheat=COLD)
    engine = CouponModel(result().metal, ({**settings, **made.settings},), (0,))
    cold = np.exp(engine.sizes(result().solution.fit.values[None])[0, 0])
    assert made.sizes == pytest.approx(cold, rel=1e-9)


def test_laser_limits_leave_settings_out() -> None:
    schedule = result().schedule
    item = schedule.passes[0]
    pulse = pulse_settings(schedule, item, result().metal)
    limited = schedule.with_values("laser", pulse_energy_limit=0.99 * item.pulse_energy)
    assert can_run(schedule, item, pulse)
    assert not can_run(limited, item, pulse)
    limited = schedule.with_values("laser", peak_power_limit=0.99 * item.peak_power)
    assert not can_run(limited, item, pulse)


def test_welding_the_proposed_coupon_narrows_the_depth_as_foretold() -> None:
    """The spread after a real seventh coupon, against the linear forecast from six."""
    schedule, made = result().schedule, following()
    first = result().coupons
    settings = [{**made.settings, "preheat": COLD}]
    position = result().solution.fit.values
    seventh = coupons_of(schedule, position, np.random.default_rng(5), settings=settings)
    rows = tuple(evolve(row, coupon="S7") for row in seventh.sections)
    again = calibrate(schedule, evolve(first, sections=(*first.sections, *rows)))
    spread = [_depth_spread(one) for one in (result(), again)]
    assert spread[0] == pytest.approx(made.before, rel=0.1)
    assert spread[1] < spread[0]


def _depth_spread(made: CalibrationResult) -> float:
    pulse = pulse_settings(
        made.schedule, made.schedule.passes[0], made.metal, calibration=made.calibration
    )
    engine = CouponModel(made.metal, (pulse,), (0,))
    slope = engine.derivatives(made.solution.fit.values, made.space)[0, 0]
    return float(np.sqrt(slope @ made.solution.fit.covariance @ slope))
