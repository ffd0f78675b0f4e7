"""The table of every pulse: counts, energies, taper, ramp, and safety in a spreadsheet."""

from __future__ import annotations

import csv
import errno
import io
import os
from pathlib import Path

import numpy as np
import pytest
from schedules import first_pass, sheet

from weldcalc.passes.taper import END_RAMP
from weldcalc.prediction import Estimate, estimate
from weldcalc.pulse_table import pulse_table, write_pulse_table
from weldcalc.schedule import schedule_from_mapping


@pytest.fixture(scope="module")
def made() -> Estimate:
    typed = first_pass(peak_power="600 W", closing_overlap="15 deg", name="=root+1")
    typed["pass"].append(typed["pass"][0] | {"name": "cover", "spot_diameter": "0.7 mm"})
    return estimate(schedule_from_mapping(typed))


def columns(made: Estimate, *, taper: bool) -> list[dict[str, str]]:
    text = pulse_table(made.schedule, taper, made=made).to_csv()
    return list(csv.DictReader(io.StringIO(text)))


def numbers(rows: list[dict[str, str]], name: str) -> np.ndarray:
    return np.array([float(row[name]) for row in rows])


def test_plain_columns_with_units(made: Estimate) -> None:
    rows = columns(made, taper=True)
    assert list(rows[0]) == [
        "pass",
        "pulse",
        "angle [deg]",
        "energy [J]",
        "peak power [W]",
        "time [s]",
    ]
    assert len(rows) == sum(one.pulses for one in made.passes)


def test_without_taper_every_pulse_is_nominal(made: Estimate) -> None:
    rows = columns(made, taper=False)
    assert numbers(rows, "energy [J]") == pytest.approx(3.0)
    assert numbers(rows, "peak power [W]") == pytest.approx(600.0)


def test_with_taper_energy_falls_and_the_end_runs_down(made: Estimate) -> None:
    root = made.passes[0]
    energy = numbers(columns(made, taper=True), "energy [J]")[: root.pulses]
    before = root.pulses - root.seam.ramp
    assert energy[0] == pytest.approx(3.0)
    assert energy[before - 1] < 0.95 * energy[0]
    assert np.all(np.diff(energy[before:]) < 0)
    assert energy[-1] == pytest.approx(END_RAMP * 3.0 * root.seam.tapered.energy_factor[-1])


def test_power_follows_energy_at_the_same_duration(made: Estimate) -> None:
    rows = columns(made, taper=True)
    ratio = numbers(rows, "energy [J]") / numbers(rows, "peak power [W]")
    assert ratio == pytest.approx(5e-3, rel=1e-5)


def test_angle_and_time_are_those_of_the_seam(made: Estimate) -> None:
    rows = columns(made, taper=False)
    angle, time = numbers(rows, "angle [deg]"), numbers(rows, "time [s]")
    assert angle[1] == pytest.approx(np.degrees(0.1e-3 / 4e-3), rel=1e-6)
    assert angle[made.passes[0].pulses] == 0.0
    assert np.all(np.diff(time) > 0)


def test_a_name_cannot_act_as_a_formula(made: Estimate) -> None:
    assert columns(made, taper=True)[0]["pass"].startswith("'")


def test_sheet_gives_distances() -> None:
    table = pulse_table(schedule_from_mapping(sheet()))
    assert table.headings[2] == "distance [mm]"
    assert table.rows[10][2] == pytest.approx(1.0)


def test_file_is_written_once(made: Estimate, tmp_path: Path) -> None:
    output = write_pulse_table(made.schedule, tmp_path / "pulses.csv", made=made)
    assert output.read_text(encoding="utf-8") == pulse_table(made.schedule, made=made).to_csv()
    with pytest.raises(FileExistsError):
        write_pulse_table(made.schedule, output, made=made)


def test_file_is_whole_or_not_there(
    made: Estimate, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match=r"pulses\.csv"):
        write_pulse_table(made.schedule, tmp_path / "pulses.csv", made=made)
    assert list(tmp_path.iterdir()) == []
