"""What lies beside record.json: the table of pulses is compared, the views are told as not."""

from __future__ import annotations

import csv
import io
import shlex
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from record_samples import (
    SCHEDULE,
    calibration_file,
    copied_record,
    coupon_files,
    data_of,
    remember_estimates,
    rewrite,
    write_schedule,
)

from weldcalc import page
from weldcalc.cli import main
from weldcalc.pulse_table import write_pulse_table
from weldcalc.recheck import recheck
from weldcalc.record import make_record, open_record, write_record

VIEWS = ("record.html", "record.ipynb", "setup_card.pdf")


@pytest.fixture(autouse=True)
def _estimate_each_schedule_once(monkeypatch: pytest.MonkeyPatch) -> None:
    remember_estimates(monkeypatch)


@cache
def _pulses(folder: Path) -> str:
    made = open_record(folder)[1]
    return write_pulse_table(made.schedule, folder / "pulses.csv", made=made).read_text("utf-8")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A record with a table of pulses, and views that a stranger may have altered."""
    folder = copied_record(tmp_path)
    _pulses(folder)
    for name in VIEWS:
        (folder / name).write_text("all is well", encoding="utf-8")
    return folder


def rows_of(folder: Path) -> list[list[str]]:
    return list(csv.reader(io.StringIO((folder / "pulses.csv").read_text(encoding="utf-8"))))


def write_rows(folder: Path, rows: list[list[str]]) -> None:
    text = "".join(",".join(row) + "\n" for row in rows)
    (folder / "pulses.csv").write_text(text, encoding="utf-8")


def next_digit(text: str) -> str:
    return text[:-1] + ("5" if text[-1] != "5" else "6")


class TestPulses:
    def test_untouched_table_is_counted_and_reproduced(self, folder):
        cells = sum(len(row) for row in rows_of(folder)[1:])
        result = recheck(folder)
        assert result.answer == "reproduced"
        assert f"{cells} cells of pulses.csv" in result.words
        assert "missing" not in result.not_compared

    @pytest.mark.parametrize("column", range(6))
    @pytest.mark.parametrize("number", [2, -2])
    def test_every_last_digit_counts(self, folder, column, number):
        rows = rows_of(folder)
        rows[number][column] = next_digit(rows[number][column])
        write_rows(folder, rows)
        result = recheck(folder)
        assert (result.answer, result.exit_code) == ("differs", 1)
        (found,) = result.differences
        assert found.field.startswith("pulses.csv[")
        assert found.field.endswith(f"].{rows[0][column]}")

    def test_as_far_off_as_other_fields_may_be_elsewhere(self, folder):
        rows = rows_of(folder)
        rows[-1][5] = f"{float(rows[-1][5]) * (1 + 9e-7):.9g}"
        write_rows(folder, rows)
        assert recheck(folder).answer == "differs"
        rewrite(folder, lambda d: d["environment"].update(machine="another"), sealed=False)
        assert recheck(folder).answer == "reproduced"

    def test_saved_again_by_a_spreadsheet(self, folder):
        path = folder / "pulses.csv"
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
        assert recheck(folder).answer == "reproduced"

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            (lambda rows: rows.pop(7), "% more)"),
            (lambda rows: rows.append(rows[-1]), "% less)"),
            (lambda rows: rows[0].reverse(), "has to begin with pass, pulse"),
            (lambda rows: rows[3].pop(), "has 5 cells, not 6"),
            (lambda rows: rows.clear(), "has to begin with"),
            (lambda rows: rows[4].__setitem__(3, "nan"), '"nan" in the record'),
        ],
    )
    def test_table_of_another_form(self, folder, change: Callable[[Any], object], words):
        rows = rows_of(folder)
        change(rows)
        write_rows(folder, rows)
        result = recheck(folder)
        assert result.answer == "differs"
        assert words in result.to_text()

    def test_what_is_no_table_is_told_and_not_followed(self, folder, tmp_path):
        path = folder / "pulses.csv"
        path.write_bytes(b"\xff\xfe")
        assert "not UTF-8" in recheck(folder).to_text()
        path.unlink()
        (tmp_path / "elsewhere.csv").write_text("", encoding="utf-8")
        path.symlink_to(tmp_path / "elsewhere.csv")
        assert "is a link" in recheck(folder).to_text()


class TestViews:
    def test_that_they_are_not_compared_is_always_told(self, folder):
        text = recheck(folder).to_text()
        assert "setup_card.pdf only show the record and are not compared.\n" in text
        assert "\n  weldcalc record inputs/schedule.toml -o ../NEW_FOLDER\n" in text
        rewrite(folder, lambda data: data.update(title="Another"), sealed=True)
        assert recheck(folder).not_compared in recheck(folder).to_text()
        (folder / "inputs/schedule.toml").write_text("nonsense = 1\n" + SCHEDULE, encoding="utf-8")
        assert "are not compared" in " ".join(recheck(folder).to_text().split())

    @pytest.mark.parametrize("name", [*VIEWS, "pulses.csv"])
    def test_what_is_missing_is_named(self, folder, name):
        (folder / name).unlink()
        result = recheck(folder)
        assert result.answer == "reproduced"
        assert result.not_compared.endswith(f"; missing here: {name}.")

    def test_the_notebook_tells_it_too(self, folder):
        told = page.recheck_result(recheck(folder).to_json()).html
        assert "are not compared" in told
        assert "weldcalc record inputs/schedule.toml -o ../NEW_FOLDER" in told


def test_the_command_on_the_page_makes_the_whole_record_anew(tmp_path, monkeypatch):
    before = copied_record(tmp_path)
    text = SCHEDULE.replace('revision = "A"', 'revision = "B"')
    signed = tmp_path / "signed.toml"
    signed.write_text('[[requirement]]\ntext = "invented"\nevidence = "none"\n', encoding="utf-8")
    given = {**coupon_files(tmp_path), "calibration": calibration_file(tmp_path)}
    record = make_record(write_schedule(tmp_path, text), **given, sign_off=signed, previous=before)
    folder = write_record(record, tmp_path / "revised").folder

    command = recheck(folder).repeat
    assert command in page.provenance(data_of(folder)).html
    called: dict[str, Any] = {}

    def capture(schedule: Path, **options: Any) -> None:
        called.update(options, schedule=schedule)
        raise KeyboardInterrupt

    monkeypatch.setattr("weldcalc.workflow.write_full_record", capture)
    monkeypatch.chdir(folder)
    CliRunner().invoke(main, shlex.split(command)[1:])
    assert called.pop("folder") == Path("../NEW_FOLDER")
    del called["progress"]
    again = make_record(called.pop("schedule"), **called)
    assert again.data["computed_sha256"] == record.data["computed_sha256"]
    for key in ("previous_record", "sign_off", "still_open"):
        assert again.data[key] == record.data[key]
    digests = [{f["role"]: f["sha256"] for f in r.data["input_files"]} for r in (record, again)]
    assert digests[0] == digests[1]
    assert len(digests[0]) == 6
