"""The command line as a person meets it: exit codes, streams, messages, and how fast it starts."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from weldcalc.cli import main
from weldcalc.cli_options import SHARE
from weldcalc.record import Record, WrittenRecord

DEMO = Path(__file__).resolve().parent.parent / "reference_data" / "demo"
STEM = DEMO / "level_gauge_stem.toml"
HEAVY = ("numpy", "scipy", "pint", "matplotlib", "papermill", "numba", "nbconvert", "tqdm")


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\n"
        "from weldcalc.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit as end:\n    assert end.code == 0\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
    assert "estimate" in done.stdout


def test_every_command_explains_itself() -> None:
    for name, command in main.commands.items():
        done = run(name, "--help")
        assert done.exit_code == 0
        assert command.help, name
        assert "Usage:" in done.output


def test_estimate_prints_units_and_findings() -> None:
    done = run("estimate", STEM)
    assert done.exit_code == 0
    for wanted in ("root", "cover", "mm", "Findings", "not qualified"):
        assert wanted in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 100


def test_estimate_as_json_is_one_object() -> None:
    done = run("estimate", STEM, "--json")
    data = json.loads(done.stdout)
    assert [item["name"] for item in data["passes"]] == ["root", "cover"]


MISTAKES = """
title = "Wrong on purpose"
number = "X-1"
revison = "A"

[joint]
type = "butt"
form = "tube"
material = "Ti Grade 2"
wall_thickness = "0,4 mm"
outside_diameter = "8"

[laser]
spot_diameter = "0.4 furlongs"

[[pass]]
name = "root"
peak_power = "390 mW"
pulse_energy = "2 J"
pulse_duration = "nan ms"
repetition_rate = "5 mm"
travel_speed = "-0.5 mm/s"
"""


def test_many_mistakes_are_told_in_one_run_and_nothing_is_written(tmp_path: Path) -> None:
    file = tmp_path / "wrong.toml"
    file.write_text(MISTAKES, encoding="utf-8")
    folder = tmp_path / "record"
    done = run("record", file, "-o", folder)
    assert done.exit_code == 2
    assert done.stdout == ""
    for key in (
        "revison",
        "revision",
        "joint.wall_thickness",
        "joint.outside_diameter",
        "laser.spot_diameter",
        "pass[0] (root).peak_power",
        "pass[0] (root).pulse_duration",
        "pass[0] (root).repetition_rate",
        "pass[0] (root).travel_speed",
    ):
        assert key in done.stderr
    assert "Traceback" not in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["wrong.toml"]


def test_a_missing_file_is_one_line_and_exit_two(tmp_path: Path) -> None:
    done = run("estimate", tmp_path / "none.toml")
    assert done.exit_code == 2
    assert "none.toml" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_a_fault_of_ours_is_exit_three_without_traceback(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def broken(_: object, **_options: object) -> None:
        raise ZeroDivisionError("on purpose")

    monkeypatch.delenv("WELDCALC_DEBUG", raising=False)
    monkeypatch.setattr("weldcalc.prediction.estimate", broken)
    done = run("estimate", STEM)
    assert done.exit_code == 3
    assert "ZeroDivisionError" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_finding_is_no_exit_code_and_the_help_says_which_commands_use_one(
    tmp_path: Path,
) -> None:
    weak = tmp_path / "weak.toml"
    text = re.sub('peak_power = "[0-9]+ W"', 'peak_power = "150 W"', STEM.read_text("utf-8"))
    weak.write_text(text, encoding="utf-8")
    done = run("estimate", weak)
    assert "STOP" in done.stdout
    assert done.exit_code == 0
    told = run("--help").stdout.partition("1: the answer is no")[2].partition("2: ")[0]
    named = {name for name in main.commands if re.search(rf"\b{name}\b", told)}
    assert named == {"draft", "calibrate", "recheck", "compare", "follow"}


def test_record_names_the_page_to_open(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "record"
    folder.mkdir()
    made = WrittenRecord(folder=folder, record=Record(data={"status": "DRAFT"}))
    monkeypatch.setattr("weldcalc.workflow.write_full_record", lambda *_, **__: made)
    assert "browser" not in run("record", STEM, "-o", folder).output  # the page could not be made
    (folder / "record.html").touch()
    assert run("record", STEM, "-o", folder).stderr.splitlines()[-1] == (
        f"Open in a browser:  {folder / 'record.html'}"
    )


def test_card_is_written(tmp_path: Path) -> None:
    done = run("card", STEM, "-o", tmp_path / "card.pdf")
    assert done.exit_code == 0
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF")


def test_notebooks_are_copied_once(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    assert run("notebooks", folder).exit_code == 0
    assert (folder / "level_gauge_stem.toml").is_file()
    again = run("notebooks", folder)
    assert again.exit_code == 2
    assert "exists" in again.stderr


def test_instant_answer_needs_no_engine_and_carries_intervals() -> None:
    done = run("estimate", STEM, "--instant")
    assert done.exit_code == 0
    root = next(line for line in done.stdout.splitlines() if line.startswith("root    penetration"))
    assert " to " in root
    assert "mm" in root
    made = json.loads(run("estimate", STEM, "--instant", "--json").stdout)["passes"][0]
    low, high = made["penetration_interval_mm"]
    assert low <= made["penetration_mm"] <= high
    assert f"{low:.3g}" in root
    whole = json.loads(run("estimate", STEM, "--json").stdout)["passes"][0]
    assert set(made) - {"mode_interval"} <= set(whole), "the keys of the two answers differ"


def test_fields_explain_what_may_be_typed() -> None:
    done = run("fields", "joint")
    assert "wall_thickness  (0.02 to 10 mm; required)" in done.stdout
    assert "repetition_rate" not in done.stdout
    assert "repetition_rate" in run("fields").stdout
    assert max(len(line) for line in run("fields").stdout.splitlines()) <= 100
    wrong = run("fields", "joimt")
    assert wrong.exit_code == 2
    assert "joint" in wrong.stderr


def test_explain_fits_the_terminal() -> None:
    done = run("explain", STEM, "--penetration", "0.31 mm", "--width", "0.55 mm")
    assert done.exit_code == 0
    assert "measure the power at the part" in " ".join(done.stdout.split())
    assert max(len(line) for line in done.stdout.splitlines()) <= 100


@pytest.mark.parametrize("typed", ["0.95", "95 %", "95%", "9.5e1 %"])
def test_a_share_is_typed_as_a_number_or_in_per_cent(typed: str) -> None:
    assert SHARE.convert(typed, None, None) == pytest.approx(0.95)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("95", "here probably 0.95 or 95 %"),
        ("0,95", "decimal point"),
        ("many", "no share"),
        ("120 %", "not between 0 and 1"),
        ("nan", "not between 0 and 1"),
        ("95 % more", "not between 0 and 1"),
    ],
)
@pytest.mark.parametrize(
    "option", ["draft --chance", "draft --remelt", "tolerance --chance", "plan --confidence"]
)
def test_what_is_no_share_is_refused_with_what_was_probably_meant(
    typed: str, told: str, option: str
) -> None:
    command, name = option.split()
    run = CliRunner().invoke(main, [command, "a.toml", "-o", "b", name, typed])
    if command == "tolerance":
        run = CliRunner().invoke(main, [command, "a.toml", name, typed])
    assert run.exit_code == 2
    assert told in run.stderr
