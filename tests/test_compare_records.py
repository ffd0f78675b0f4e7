"""Two records compared: schedules are, and different constants behind predictions are told."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from record_samples import calibration_file, copied_record, write_schedule

from weldcalc.cli import main
from weldcalc.record import make_record, write_record


def _compare(*given: Path | str) -> Result:
    return CliRunner().invoke(main, ["compare", *map(str, given)])


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return a schedule, a record of it, and one that differs by its calibration alone."""
    folder = tmp_path_factory.mktemp("compared")
    schedule = write_schedule(folder)
    made = make_record(schedule, calibration=calibration_file(folder))
    write_record(made, folder / "calibrated")
    return {
        "schedule": schedule,
        "shipped": copied_record(folder),
        "calibrated": folder / "calibrated",
    }


def test_another_calibration_is_told_where_schedules_do_not_differ(folders):
    done = _compare(folders["shipped"], folders["calibrated"])
    told = " ".join(done.stdout.split())
    assert done.exit_code == 0
    assert "The schedules do not differ." in told
    assert "Only the schedules are compared here." in told
    assert "rest on different constants of the model" in told
    assert "the old one's on the shipped constants (" in told
    assert "the new one's on coupons (invented coupons; digest " in told
    assert max(map(len, done.stdout.splitlines())) <= 100
    data = json.loads(_compare(folders["shipped"], folders["calibrated"], "--json").stdout)
    assert data["model_constants_differ"] is True


@pytest.mark.parametrize(
    ("old", "new", "differ"),
    [
        ("calibrated", "calibrated", False),
        ("schedule", "calibrated", None),
        ("shipped", "schedule", None),
    ],
)
def test_nothing_is_told_where_the_constants_are_the_same_or_not_known(folders, old, new, differ):
    assert "constants" not in _compare(folders[old], folders[new]).stdout
    data = json.loads(_compare(folders[old], folders[new], "--json").stdout)
    assert data["model_constants_differ"] is differ


def test_a_folder_without_a_record_is_named(folders, tmp_path):
    done = _compare(tmp_path, folders["schedule"])
    assert done.exit_code == 2
    assert done.stderr.startswith(f"weldcalc: {tmp_path}: holds no record.json; give a record's")
