"""Schedules and records for the tests of the record chain; all data are invented."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from attrs import evolve

from weldcalc.canonical import computed_digest, record_digest, sha256_of
from weldcalc.heatflow.constants import NAMES, fitted_constants
from weldcalc.prediction import Estimate
from weldcalc.record import make_record, write_record
from weldcalc.records import content as record_content
from weldcalc.schedule import Schedule
from weldcalc.workflow import write_full_record

SCHEDULE = """\
title = "Invented stem, 8 mm tube butt"
number = "TEST-1"
revision = "A"

[code]
name = "invented code"
edition = "2020"

[joint]
type = "butt"
form = "tube"
material = "Ti Grade 2"
wall_thickness = "0.4 mm"
outside_diameter = "8 mm"
gap = "0.02 mm"

[goal]
penetration = "100 %"
root_width = "0.2 mm"
spot_overlap = "70 %"

[laser]
wavelength = "1064 nm"
spot_diameter = "0.4 mm"

[shielding]
gas = "argon"
purity = "99.999 %"

[[pass]]
name = "root"
peak_power = "390 W"
pulse_duration = "5 ms"
repetition_rate = "5 Hz"
travel_speed = "0.5 mm/s"

[[pass]]
name = "cover"
peak_power = "480 W"
pulse_duration = "6 ms"
repetition_rate = "5 Hz"
travel_speed = "0.6 mm/s"
spot_diameter = "0.7 mm"
"""

COUPONS = """\
coupon,section,penetration [mm],penetration_u [mm],root_width [mm],colour
C1,1,0.40,0.005,0.25,silver
C2,1,0.40,0.005,0.26,silver
"""

ACCEPTANCE = """\
title = "invented limits"
document = "none: invented"
typed_by = "nobody: invented"

[[criterion]]
feature = "root_width"
at_least = "0.20 mm"
"""

# what a user may type into any text field, and what a page must never take for its own
HOSTILE = """</style></title><script src=//x.example></script><img src=x onerror=alert(1)>"'&"""


def write_schedule(folder: Path, text: str = SCHEDULE) -> Path:
    """Return a schedule file in a folder."""
    path = folder / "schedule.toml"
    path.write_text(text, encoding="utf-8")
    return path


def coupon_files(folder: Path) -> dict[str, Path]:
    """Return files of coupons and acceptance limits, to be given to `make_record`."""
    files = {"coupons": folder / "coupons.csv", "acceptance": folder / "acceptance.toml"}
    files["coupons"].write_text(COUPONS, encoding="utf-8")
    files["acceptance"].write_text(ACCEPTANCE, encoding="utf-8")
    return files


def calibration_file(folder: Path) -> Path:
    """Return a calibration file for titanium: the shipped constants, a lower absorptance."""
    shipped = fitted_constants("titanium")
    mean = evolve(shipped.mean, absorptance=0.9 * shipped.mean.absorptance)
    row = [getattr(mean, name) for name in NAMES]
    content = {
        "kind": "weldcalc calibration",
        "schema_version": 1,
        "family": "titanium",
        "material": "invented titanium",
        "surface": "as machined",
        "origin": "invented coupons",
        "names": list(NAMES),
        "mean": row,
        "sample": [row, row],
        "model_error": {"depth_ln": 0.1, "width_ln": 0.1, "absorptance": 0.02, "haz_ln": 0.1},
        "coupons_with_haz_width": 0,
        "box": {
            "spot_diameter_m": [0.3e-3, 0.8e-3],
            "pulse_duration_s": [1e-3, 10e-3],
            "irradiance_W_m2": [1e9, 5e9],
            "wall_thickness_m": [0.4e-3, 0.4e-3],
        },
        "coupon_fit": [],
    }
    path = folder / "calibration.json"
    path.write_text(json.dumps({**content, "sha256": sha256_of(content)}), encoding="utf-8")
    return path


@cache
def _template() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="weldcalc-test-"))
    write_record(make_record(write_schedule(folder)), folder / "record")
    return folder / "record"


def copied_record(folder: Path) -> Path:
    """Return a fresh copy of a sound record without views; made once, copied often."""
    return Path(shutil.copytree(_template(), folder / "record"))


def copied_example(folder: Path) -> Path:
    """Return a copy of the example record of the project, which is made at full size.

    For tests that recheck in another process: there nothing of the tests is smaller.
    """
    example = Path(__file__).parents[1] / "reports" / "example"
    return Path(shutil.copytree(example, folder / "record"))


@cache
def full_record() -> Path:
    """Return a record with all its views, made once; not to be changed."""
    folder = Path(tempfile.mkdtemp(prefix="weldcalc-test-"))
    text = SCHEDULE.replace("Invented stem", HOSTILE.replace('"', '\\"'))
    written = write_full_record(write_schedule(folder, text), folder=folder / "full")
    assert not written.notes, written.notes
    return written.folder


_ESTIMATES: dict[tuple[Any, ...], Estimate] = {}


def remember_estimates(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep estimates between tests that are about something else."""
    compute = record_content.estimated

    def remembered(schedule: Schedule, calibration: Path | None) -> Estimate:
        key = (schedule.sha256, calibration and calibration.read_bytes())
        if key not in _ESTIMATES:
            _ESTIMATES[key] = compute(schedule, calibration)
        return _ESTIMATES[key]

    monkeypatch.setattr(record_content, "estimated", remembered)


def data_of(folder: Path) -> dict[str, Any]:
    """Return what record.json holds."""
    data: dict[str, Any] = json.loads((folder / "record.json").read_text(encoding="utf-8"))
    return data


def rewrite(folder: Path, change: Callable[[dict[str, Any]], object], *, sealed: bool) -> None:
    """Alter record.json; sealed: with digests that fit, as a careful forger would."""
    data = data_of(folder)
    change(data)
    if sealed:
        data["computed_sha256"] = computed_digest(data["computed"])
        data["record_sha256"] = record_digest(data)
    (folder / "record.json").write_text(json.dumps(data), encoding="utf-8")
