"""Cases that searches found: each crashed, or was refused without saying what or where."""

from __future__ import annotations

import json
import pickle
from pathlib import Path
from typing import Any

import pytest
from harmless import DEMO, STEM, command
from record_samples import calibration_file, copied_record, rewrite
from schedules import first_pass, tube

from weldcalc import reference
from weldcalc.calibrating.file import calibration_from_bytes
from weldcalc.canonical import sha256_of
from weldcalc.errors import InputError, Problem
from weldcalc.materials import material
from weldcalc.qualification.acceptance import read_acceptance
from weldcalc.qualification.change_limits import read_change_limits
from weldcalc.schedule import load_schedule, schedule_from_mapping
from weldcalc.workflow_qualification import gauge_file


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("read", [load_schedule, read_acceptance, read_change_limits])
def test_a_key_that_is_empty_or_odd_is_named_in_quotes(tmp_path: Path, read: Any) -> None:
    path = written(tmp_path, "any.toml", '"" = 1\n"a\\nb" = 2\n')
    with pytest.raises(InputError) as caught:
        read(path)
    text = str(caught.value)
    assert 'any.toml: ""' in text
    assert r'any.toml: "a\nb"' in text


def test_whole_number_without_end(tmp_path: Path) -> None:
    path = written(tmp_path, "any.toml", f"[laser]\nbeam_quality = {'0x' + 'f' * 4000}\n")
    with pytest.raises(InputError, match=r"any\.toml, laser\.beam_quality: .*more than 64 bits"):
        load_schedule(path)


def test_brackets_without_end(tmp_path: Path) -> None:
    path = written(tmp_path, "any.toml", f"title = {'[' * 60 + ']' * 60}\n")
    with pytest.raises(InputError, match=r"any\.toml, title.*nested too deeply"):
        load_schedule(path)


@pytest.mark.parametrize("value", [10**400, -(10**400), float("nan")])
def test_numbers_too_large_to_be_shown_from_python(value: float) -> None:
    for typed in (first_pass(peak_power=value), tube(laser={"beam_quality": value})):
        with pytest.raises(InputError) as caught:
            schedule_from_mapping(typed)
        assert len(str(caught.value)) < 500


def test_a_text_in_place_of_the_passes_is_shown(tmp_path: Path) -> None:
    path = written(tmp_path, "any.toml", 'pass = "0mm"\n')
    with pytest.raises(InputError, match=r'any\.toml: pass = "0mm": .*\[\[pass\]\]'):
        load_schedule(path)


def test_endless_limit_of_change(tmp_path: Path) -> None:
    text = '[[variable]]\npath = "laser.beam_quality"\nname = "M2"\nchange_at_most = inf\n'
    with pytest.raises(InputError, match=r"change_at_most = inf: write a share"):
        read_change_limits(written(tmp_path, "any.toml", text))


def test_terminal_codes_are_written_out() -> None:
    problem = Problem("a\x1b[31m", "b\nc", "\x07d\ud800")
    assert str(problem).isprintable()
    assert str(problem) == r'a\x1b[31m = "\x07d\ud800": b\nc'


def test_a_refusal_survives_the_way_from_a_worker() -> None:
    error = InputError([Problem("joint.gap", "is odd", "x")], "any.toml")
    again = pickle.loads(pickle.dumps(error))  # noqa: S301
    assert str(again) == str(error) == 'any.toml: joint.gap = "x": is odd'


def test_gauge_study_too_small_names_its_file(tmp_path: Path) -> None:
    path = written(tmp_path, "one.csv", "appraiser,part,trial,penetration [mm]\nA,1,1,0.179\n")
    with pytest.raises(InputError, match=r"one\.csv: .*at least two of each"):
        gauge_file(path)


def test_gauge_study_without_scatter_names_its_file(tmp_path: Path) -> None:
    rows = [f"{who},{part},{trial},0.2" for who in "AB" for part in "12" for trial in "12"]
    text = "\n".join(["appraiser,part,trial,penetration [mm]", *rows])
    with pytest.raises(InputError, match=r"same\.csv: readings: all repeats are equal"):
        gauge_file(written(tmp_path, "same.csv", text))


@pytest.mark.parametrize("value", ["[[1708.0, 28.3], 1.0]", "{a = 1}", "true", "inf"])
def test_alternative_of_a_material_that_is_no_value(tmp_path: Path, value: str) -> None:
    text = reference.read_bytes("materials/ss_316l.toml").decode()
    assert "value = 7955.0" in text
    path = written(tmp_path, "own.toml", text.replace("value = 7955.0", f"value = {value}"))
    with pytest.raises(InputError, match=r"own\.toml: density_rt\.alternatives\[0\]\.value"):
        material(path)


def test_calibration_sample_of_another_shape_names_its_file(tmp_path: Path) -> None:
    content = json.loads(calibration_file(tmp_path).read_text(encoding="utf-8"))
    content.pop("sha256")
    content["sample"] = []
    sealed = json.dumps({**content, "sha256": sha256_of(content)}).encode()
    with pytest.raises(InputError, match=r"own\.json: sample"):
        calibration_from_bytes(sealed, name="own.json")


@pytest.mark.parametrize("key", ["input_files", "schedule", "number", "computed"])
@pytest.mark.parametrize("value", [None, [1], "a"])
def test_sealed_record_without_its_parts(tmp_path: Path, key: str, value: Any) -> None:
    folder = copied_record(tmp_path)
    rewrite(
        folder, lambda data: data.update({key: [value] if key == "number" else value}), sealed=True
    )
    assert command("compare", folder, STEM).exit_code == 2
    assert command("follow", folder, DEMO / "run_log_stem.csv").exit_code == 2


@pytest.mark.parametrize(("key", "value"), [("profile", "ring"), ("pulse_duration", 1e6)])
def test_coupon_of_a_calibration_that_no_laser_made(
    tmp_path: Path, key: str, value: object
) -> None:
    content = json.loads(calibration_file(tmp_path).read_text(encoding="utf-8"))
    content.pop("sha256")
    pulse = {
        "peak_power": 390.0,
        "pulse_duration": 5e-3,
        "spot_diameter": 4e-4,
        "thickness": 4e-4,
        "profile": "top-hat",
        "pulse_shape": "square",
        "preheat": 293.15,
    }
    sizes = dict.fromkeys(("penetration", "fusion_width", "root_width", "haz_width"), -8.0)
    content["material"] = "Ti Grade 2"
    content["coupon_fit"] = [{"pulse_si": {**pulse, key: value}, "predicted_ln_m": sizes}]
    sealed = json.dumps({**content, "sha256": sha256_of(content)}).encode()
    with pytest.raises(InputError, match=rf"own\.json: .*{key}"):
        calibration_from_bytes(sealed, name="own.json")
