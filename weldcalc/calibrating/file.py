"""Calibration files: numbers in JSON with a digest, read back strictly."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from attrs import evolve

from weldcalc import __version__
from weldcalc.calibrating.model import logs_of
from weldcalc.calibrating.sections import SIZES, CouponCase
from weldcalc.calibration import CalibrationResult
from weldcalc.calibration_data import Calibration
from weldcalc.canonical import parse_json, plain, sha256_of, sha256_of_bytes
from weldcalc.errors import InputError, Problems
from weldcalc.fields import field
from weldcalc.heatflow.constants import NAMES, ModelConstants, ModelError, ValidityBox
from weldcalc.heatflow.fit_constants import LINEAR
from weldcalc.materials import material, material_names
from weldcalc.passes.pulse import PulseSettings, run_pulses
from weldcalc.reference import read_bytes
from weldcalc.whole_files import refuse_existing, write_whole

KIND = "weldcalc calibration"
SCHEMA_VERSION = 1
SAME_ENGINE = 0.02
"""Relative difference up to which a size computed here counts as that of the fit: the engine's
roughness on another machine stays well below, another model well above."""

_LARGEST = 4 * 1024 * 1024  # bytes
_CHECKS = 3  # coupons computed again on loading
_COOLING = 0.05  # s


def calibration_json(result: CalibrationResult) -> dict[str, Any]:
    """Return the content of a calibration file, with its digest.

    Parameters
    ----------
    result : CalibrationResult
        From `weldcalc.calibration.calibrate`.

    Returns
    -------
    dict
        Plain values in SI; keys carry the unit. "covariance" is of the constants as fitted: those
        under "logarithmic" by their logarithm.
    """
    content: dict[str, Any] = plain(
        {
            "kind": KIND,
            "schema_version": SCHEMA_VERSION,
            **_origin(result),
            **_numbers(result),
            "coupon_fit": [_coupon_row(result, number) for number in range(len(result.cases))],
            "findings": [finding.to_json() for finding in result.findings],
        }
    )
    return {**content, "sha256": sha256_of(content)}


def _origin(result: CalibrationResult) -> dict[str, Any]:
    schedule, made = result.schedule, result.calibration
    return {
        "origin": made.origin,
        "family": made.family,
        "material": result.metal.name,
        "surface": made.surface,
        "schedule": {
            "number": schedule.number,
            "revision": schedule.revision,
            "sha256": schedule.sha256,
        },
        "coupons": {"name": result.coupons.name, "sha256": result.coupons.sha256},
        "model": {
            "engine": "one pulse, axisymmetric",
            "weldcalc_version": __version__,
            "prior_constants_sha256": sha256_of_bytes(read_bytes("model_constants.toml")),
        },
        "seed": result.seed,
    }


def _numbers(result: CalibrationResult) -> dict[str, Any]:
    made, box = result.calibration, result.calibration.box
    return {
        "names": list(NAMES),
        "logarithmic": [name for name in NAMES if name not in LINEAR],
        "mean": [getattr(made.mean, name) for name in NAMES],
        "covariance": result.solution.fit.covariance,
        "spread_over_prior": result.kept,
        "sample": made.sample,
        "model_error": {
            "depth_ln": made.error.depth,
            "width_ln": made.error.width,
            "absorptance": made.error.absorptance,
            "haz_ln": made.error.haz,
        },
        "unexplained_ln": _by_size(result.solution.unexplained),
        "leave_one_out_ln": _by_size(result.leave_one_out_error),
        "information": result.information,
        "box": {
            "spot_diameter_m": list(box.spot_diameter),
            "pulse_duration_s": list(box.pulse_duration),
            "irradiance_W_m2": list(box.irradiance),
            "wall_thickness_m": list(made.walls or ()),
        },
        "coupons_with_haz_width": made.haz_coupons,
    }


def _by_size(values: Sequence[float] | np.ndarray[Any, Any]) -> dict[str, float | None]:
    pairs = zip(SIZES, map(float, values), strict=True)
    return {key: None if np.isnan(value) else value for key, value in pairs}


def _coupon_row(result: CalibrationResult, number: int) -> dict[str, Any]:
    case: CouponCase = result.cases[number]
    pulse = {key: value for key, value in case.pulse.items() if key != "constants"}
    return {
        "coupon": case.coupon,
        "pass": case.weld_pass,
        "pulse_si": {key: value for key, value in pulse.items() if key != "absorptivity"},
        "depth_at_least_the_wall": case.at_least,
        "measured_ln_m": _by_size(case.value),
        "predicted_ln_m": _by_size(result.solution.sizes[number]),
        "shipped_ln_m": _by_size(result.shipped[number]),
        "left_out_ln": _by_size(result.left_out[number]),
    }


def write_calibration(result: CalibrationResult, path: Path | str) -> Calibration:
    """Write a calibration to a new file.

    Parameters
    ----------
    result : CalibrationResult
        From `weldcalc.calibration.calibrate`.
    path : Path or str
        JSON file; must not exist yet.

    Returns
    -------
    Calibration
        With the digest of the file's content.

    Raises
    ------
    InputError
        When the file exists.
    """
    refuse_existing(Path(path))
    content = calibration_json(result)
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)
    write_whole(Path(path), text + "\n")
    return evolve(result.calibration, sha256=content["sha256"])


def read_calibration(path: Path | str) -> Calibration:
    """Read a calibration file.

    Parameters
    ----------
    path : Path or str
        JSON file of `write_calibration`.

    Returns
    -------
    Calibration
        For `weldcalc.prediction.estimate`.

    Raises
    ------
    InputError
        When it is no calibration, was altered, or was fitted with another engine than this one.
    """
    with Path(path).open("rb") as file:
        content = file.read(_LARGEST + 1)
    return calibration_from_bytes(content, name=Path(path).name)


def calibration_from_bytes(content: bytes, *, name: str) -> Calibration:
    """Read a calibration from the bytes of its file; see `read_calibration`.

    Parameters
    ----------
    content : bytes
        Of the JSON file.
    name : str
        Its name, for messages.

    Raises
    ------
    InputError
        As for `read_calibration`.
    """
    if len(content) > _LARGEST:
        raise InputError.of(name, f"is larger than {_LARGEST // 1024} KiB")
    try:
        data = parse_json(content.decode("utf-8"), name)
    except UnicodeDecodeError:
        raise InputError.of(name, "is not UTF-8 text") from None
    _check_intact(data, name)
    try:
        made = _calibration(data, name)
        rows = list(data["coupon_fit"])
        pulses = [_pulse(row["pulse_si"], made.mean) for row in rows[:_CHECKS]]
        logs = [[row["predicted_ln_m"][key] for key in SIZES] for row in rows[:_CHECKS]]
    except (KeyError, TypeError, ValueError) as error:
        raise InputError.of(name, f"lacks or misspells a value: {error}") from None
    _check_numbers(made, name)
    if data["material"] in material_names():
        if not rows:
            raise InputError.of(f"{name}: coupon_fit", "is empty; calibrate again from the coupons")
        _check_engine(data["material"], pulses, np.array(logs, dtype=float), name)
    return made


def _check_intact(data: Any, name: str) -> None:
    if not isinstance(data, dict) or data.get("kind") != KIND:
        raise InputError.of(name, "is no calibration; 'weldcalc calibrate' writes one")
    if data.get("schema_version") != SCHEMA_VERSION:
        why = f"this weldcalc reads version {SCHEMA_VERSION}; calibrate again from the coupons"
        raise InputError.of(f"{name}: schema_version", why, data.get("schema_version"))
    rest = {key: value for key, value in data.items() if key != "sha256"}
    if data.get("sha256") != sha256_of(rest):
        raise InputError.of(name, "was altered after it was made: its digest does not fit")
    if data.get("names") != list(NAMES):
        why = "holds other constants than this weldcalc; calibrate again from the coupons"
        raise InputError.of(f"{name}: names", why)


def _calibration(data: Mapping[str, Any], name: str) -> Calibration:
    error, box = data["model_error"], data["box"]
    sample = np.array(data["sample"], dtype=float)
    if sample.ndim != 2 or sample.shape[1] != len(NAMES):
        raise InputError.of(f"{name}: sample", f"needs rows of {len(NAMES)} constants")
    return Calibration(
        family=str(data["family"]),
        mean=ModelConstants(
            **{name: float(value) for name, value in zip(NAMES, data["mean"], strict=True)}
        ),
        sample=sample,
        error=ModelError(
            depth=float(error["depth_ln"]),
            width=float(error["width_ln"]),
            absorptance=float(error["absorptance"]),
            haz=float(error["haz_ln"]),
        ),
        box=ValidityBox(
            spot_diameter=_span(box["spot_diameter_m"]),
            pulse_duration=_span(box["pulse_duration_s"]),
            irradiance=_span(box["irradiance_W_m2"]),
        ),
        origin=str(data["origin"]),
        sha256=str(data["sha256"]),
        surface=str(data["surface"]),
        material=str(data["material"]),
        walls=_span(box["wall_thickness_m"]),
        haz_coupons=int(data["coupons_with_haz_width"]),
    )


def _span(ends: Sequence[float]) -> tuple[float, float]:
    low, high = (float(end) for end in ends)
    return low, high


def _pulse(row: Mapping[str, Any], constants: ModelConstants) -> PulseSettings:
    shape = row["pulse_shape"]
    return PulseSettings(
        peak_power=_plausible(row["peak_power"], "peak_power"),
        pulse_duration=_plausible(row["pulse_duration"], "pulse_duration"),
        spot_diameter=_plausible(row["spot_diameter"], "spot_diameter"),
        thickness=_plausible(row["thickness"], "wall_thickness"),
        profile=str(row["profile"]),
        pulse_shape=shape if isinstance(shape, str) else [tuple(corner) for corner in shape],
        preheat=_plausible(row["preheat"], "preheat"),
        absorptivity=constants.absorptance,
        constants=constants,
    )


def _plausible(given: Any, key: str) -> float:
    """Return a value as a number; the engine would be busy for hours with some that are none."""
    made, value = field(key), float(given)
    if not made.low * (1 - 1e-9) <= value <= made.high * (1 + 1e-9):
        raise ValueError(f"{key} is {value:g}, outside the plausible range")
    return value


def _check_numbers(made: Calibration, name: str) -> None:
    problems = Problems()
    if not 0 < made.mean.absorptance <= 1:
        problems.add(f"{name}: mean", "holds an absorptance outside 0 to 1", made.mean.absorptance)
    if not np.all(made.sample >= 0):
        problems.add(f"{name}: sample", "holds negative constants")
    error = made.error
    if min(error.depth, error.width, error.absorptance, error.haz) <= 0:
        problems.add(f"{name}: model_error", "has to be above zero")
    spans = (made.box.spot_diameter, made.box.pulse_duration, made.box.irradiance, made.walls)
    if any(span is not None and span[0] > span[1] for span in spans):
        problems.add(f"{name}: box", "its ends are the wrong way round")
    problems.raise_if_any()


def _check_engine(
    grade: str, pulses: Sequence[PulseSettings], logs: np.ndarray[Any, Any], name: str
) -> None:
    """Refuse a calibration of another engine: constants mean nothing without their model."""
    try:
        results = run_pulses(material(grade), pulses, cooling=_COOLING)
    except InputError as error:
        raise error.in_file(name) from None
    here = logs_of(results, [pulse["thickness"] for pulse in pulses])
    off = float(np.max(np.abs(here - logs), initial=0.0))
    if off > SAME_ENGINE:
        raise InputError.of(
            name,
            f"was fitted with another version of the heat-flow model (a size differs by "
            f"{100 * off:.0f} %); calibrate again from the coupons",
        )
