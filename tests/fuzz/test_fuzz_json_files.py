"""Calibration files and records of any kind, sealed by a careful forger or not: never a crash."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from altered import JSON_VALUES, altered
from harmless import STEM, cases, check_numbers, command, refused
from hypothesis import given
from hypothesis import strategies as st
from record_samples import calibration_file, copied_record, data_of, remember_estimates
from written import damaged

from weldcalc.calibrating.file import calibration_from_bytes
from weldcalc.canonical import computed_digest, record_digest, sha256_of
from weldcalc.errors import WeldcalcError
from weldcalc.recheck import recheck

PULSE = {
    "peak_power": 390.0,
    "pulse_duration": 5e-3,
    "spot_diameter": 4e-4,
    "thickness": 4e-4,
    "profile": "top-hat",
    "pulse_shape": "square",
    "preheat": 293.15,
}
SIZES = ("penetration", "fusion_width", "root_width", "haz_width")


@pytest.fixture(scope="module", autouse=True)
def _estimates_once() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        remember_estimates(patch)
        yield


def _calibration() -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as folder:
        content = json.loads(calibration_file(Path(folder)).read_text(encoding="utf-8"))
    row = {"pulse_si": PULSE, "predicted_ln_m": dict.fromkeys(SIZES, -8.0)}
    return {**content, "coupon_fit": [row]}


def _sealed_calibration(data: Any) -> Any:
    rest = {key: item for key, item in data.items() if key != "sha256"}
    return {**rest, "sha256": sha256_of(rest)}


def _sealed_record(data: Any) -> Any:
    data = {**data, "computed_sha256": computed_digest(data.get("computed"))}
    return {**data, "record_sha256": record_digest(data)}


@st.composite
def broken(draw: st.DrawFn, base: Any, seal: Any) -> bytes:
    data = draw(altered(base, JSON_VALUES))
    if isinstance(data, dict) and draw(st.integers(0, 3)):
        with suppress(WeldcalcError):  # not a number has no digest; it stays as it is
            data = seal(data)
    text = json.dumps(data)
    return draw(damaged(text)) if not draw(st.integers(0, 4)) else text.encode()


@cases(25)
@given(broken(_calibration(), _sealed_calibration))
def test_any_calibration_file_is_taken_or_refused(content: bytes) -> None:
    error = refused(lambda: calibration_from_bytes(content, name="own.json"))
    if error is not None:
        assert all("own.json" in line for line in str(error).splitlines())
        return
    made = calibration_from_bytes(content, name="own.json")
    assert np.all(np.isfinite(made.sample))
    assert 0 < made.mean.absorptance <= 1


@cases(8)
@given(altered(PULSE, JSON_VALUES | st.floats(1e-6, 1e6), most=2), st.sampled_from(SIZES))
def test_any_coupon_of_a_calibration_file_is_taken_or_refused(pulse: Any, size: str) -> None:
    """The engine computes such a coupon again: it must neither fail nor work for ever."""
    row = {"pulse_si": pulse, "predicted_ln_m": {**dict.fromkeys(SIZES, -8.0), size: -7.0}}
    data = {**_calibration(), "material": "Ti Grade 2", "coupon_fit": [row]}
    with suppress(WeldcalcError):  # not a number has no digest
        data = _sealed_calibration(data)
    error = refused(lambda: calibration_from_bytes(json.dumps(data).encode(), name="own.json"))
    assert error is not None  # no pulse has these sizes
    assert all("own.json" in line for line in str(error).splitlines())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return copied_record(tmp_path_factory.mktemp("records"))


@cases(12)
@given(data=st.data())
def test_any_record_is_rechecked_or_refused(folder: Path, data: st.DataObject) -> None:
    sound = (folder / "record.json").read_bytes()
    try:
        content = data.draw(broken(data_of(folder), _sealed_record))
        (folder / "record.json").write_bytes(content)
        made = recheck(folder)
        assert made.answer in ("reproduced", "differs", "cannot be read")
        if made.answer != "cannot be read":
            assert made.answer == ("differs" if made.differences else "reproduced")
        assert made.to_text().replace("\n", "").isprintable()
        check_numbers(json.loads(json.dumps(made.to_json(), allow_nan=False))["compared"])
        command("compare", folder, STEM, "--json")
    finally:
        (folder / "record.json").write_bytes(sound)
