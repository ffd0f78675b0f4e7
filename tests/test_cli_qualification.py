"""Commands around coupons as a person meets them: calibrate, plan, compare, follow, gauge."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from coupon_samples import calibrated, thick_schedule

from weldcalc.cli import main
from weldcalc.qualification.coupon_writer import coupons_text
from weldcalc.qualification.coupons import read_coupons
from weldcalc.qualification.table import MOST_ROWS
from weldcalc.quantities import parse_quantity
from weldcalc.record import make_record, write_record

DEMO = Path(__file__).resolve().parent.parent / "reference_data" / "demo"
STEM, FLANGE = DEMO / "level_gauge_stem.toml", DEMO / "level_gauge_flange.toml"
LIMITS, LOG = DEMO / "change_limits_stem.toml", DEMO / "run_log_stem.csv"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def fits(done: Result) -> bool:
    return max(len(line) for line in done.stdout.splitlines()) <= 100


@pytest.fixture
def six(tmp_path: Path) -> tuple[Path, Path]:
    """A schedule and six coupons of it, as files."""
    schedule, coupons = tmp_path / "schedule.toml", tmp_path / "coupons.csv"
    schedule.write_text(thick_schedule().to_toml(), encoding="utf-8")
    coupons.write_text(coupons_text(calibrated(1)[1].sections), encoding="utf-8")
    return schedule, coupons


def test_calibrate_shows_fit_and_box_and_estimate_uses_it(
    six: tuple[Path, Path], tmp_path: Path
) -> None:
    own = tmp_path / "own.json"
    done = run("calibrate", *six, "-o", own)
    assert done.exit_code == 0, done.output
    assert fits(done)
    names = ("absorptance", "each left out", "Holds for", "before", "Next coupon", "S6")
    for wanted in (*names, "root: penetration"):
        assert wanted in done.stdout
    shipped = json.loads(run("estimate", six[0], "--json").stdout)["passes"][0]
    used = run("estimate", six[0], "--calibration", own, "--json")
    fitted = json.loads(used.stdout)["passes"][0]
    width = [low_high(item) for item in (shipped, fitted)]
    assert width[1] < 0.5 * width[0]
    again = run("calibrate", *six, "-o", own)
    assert again.exit_code == 2
    assert "exists" in again.stderr


def low_high(item: dict[str, list[float]]) -> float:
    low, high = item["penetration_interval_mm"]
    return high - low


def test_refusal_is_exit_one_with_reasons_and_writes_nothing(
    six: tuple[Path, Path], tmp_path: Path
) -> None:
    schedule, coupons = six
    lines = coupons.read_text(encoding="utf-8").splitlines(keepends=True)
    coupons.write_text("".join(lines[:5]), encoding="utf-8")  # two coupons
    own = tmp_path / "own.json"
    done = run("calibrate", schedule, coupons, "-o", own)
    assert done.exit_code == 1
    assert "too few coupons: 2" in done.stdout
    assert fits(done)
    data = json.loads(run("calibrate", schedule, coupons, "-o", own, "--json").stdout)
    assert data["calibrated"] is False
    assert any("too few" in reason for reason in data["reasons"])
    assert not own.exists()


def test_plan_writes_a_list_that_reads_back_once_filled_in(tmp_path: Path) -> None:
    form = tmp_path / "form.csv"
    done = run("plan", STEM, "--reliability", 0.9, "--confidence", 0.9, "-o", form)
    assert done.exit_code == 0
    assert fits(done)
    # 22 coupons for 90/90 without failure: success-run theorem
    assert len(read_coupons(form).names) == 22
    spread = tmp_path / "spread.csv"
    assert run("plan", STEM, "--spread", 7, "-o", spread).exit_code == 0
    coupons = read_coupons(spread)
    assert len(coupons.names) == 7
    assert len({tuple(row.settings.items()) for row in coupons.sections}) == 5  # centre thrice
    assert run("plan", STEM, "-o", form).exit_code == 2


@pytest.mark.parametrize("reliability", [0.9995, 0.9999999])
def test_a_plan_that_no_list_can_hold_is_refused_before_anything_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reliability: float
) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("computed before it was refused")

    monkeypatch.setattr("weldcalc.qualification.plan.qualification_plan", never)
    monkeypatch.setattr("weldcalc.qualification.plan.coupon_form", never)
    form = tmp_path / "form.csv"
    done = run("plan", STEM, "--reliability", reliability, "-o", form)
    assert done.exit_code == 2
    assert f"reliability = {reliability}: " in done.stderr
    assert f"at most {MOST_ROWS}" in done.stderr
    assert "take a smaller reliability or confidence" in done.stderr
    assert not form.exists()


def test_compare_tells_what_needs_requalification(tmp_path: Path) -> None:
    done = run("compare", STEM, FLANGE, "--limits", LIMITS)
    assert done.exit_code == 1
    assert "Requalification is needed" in done.stdout
    assert fits(done)
    data = json.loads(run("compare", STEM, FLANGE, "--limits", LIMITS, "--json").stdout)
    assert data["requalification_needed"] is True
    changed = tmp_path / "changed.toml"
    text = STEM.read_text(encoding="utf-8").replace('"45 min"', '"30 min"')
    changed.write_text(text, encoding="utf-8")
    done = run("compare", STEM, changed, "--limits", LIMITS)
    assert done.exit_code == 0
    assert "clean_to_weld" in done.stdout
    same = run("compare", STEM, STEM).stdout.splitlines()
    assert same[0] == "Old: DEMO-014 revision A. New: DEMO-014 revision A."
    assert same[1] == "The schedules do not differ."


@pytest.mark.parametrize(
    ("old", "told"),
    [
        (STEM, "The schedules do not differ, but joint.outside_diameter lies outside"),
        ("renamed", "No change lies outside the limits typed, but joint.outside_diameter lies"),
    ],
)
def test_compare_tells_a_value_that_was_never_qualified_from_a_change(
    tmp_path: Path, old: Path | str, told: str
) -> None:
    limits = tmp_path / "limits.toml"
    limits.write_text(
        '[[variable]]\npath = "joint.outside_diameter"\nfrom = "10 mm"\nto = "20 mm"\n'
        '[[variable]]\npath = "preparation.clean_to_weld"\nmay_change = "yes"\n',
        encoding="utf-8",
    )
    if old == "renamed":
        text = STEM.read_text(encoding="utf-8").replace('"45 min"', '"30 min"')
        old = tmp_path / "old.toml"
        old.write_text(text, encoding="utf-8")
    done = run("compare", old, STEM, "--limits", limits)
    words = " ".join(done.stdout.split())
    assert done.exit_code == 1
    assert told in words
    assert "outside the qualified range as it stands: requalification is needed." in words
    assert "a change lies outside" not in words
    assert fits(done)


@cache
def record_folder(parent: Path) -> Path:
    return write_record(make_record(STEM), parent / "record").folder


def test_follow_finds_the_drift_of_the_demo(tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = record_folder(tmp_path_factory.mktemp("follow"))
    done = run("follow", folder, LOG, "--check-every", "600 min")
    assert done.exit_code == 1
    assert fits(done)
    for wanted in ("A limit is broken", "STOP", "power meter", "Next check"):
        assert wanted in done.stdout
    data = json.loads(run("follow", folder, LOG, "--json").stdout)
    assert data["holds"] is False
    kept = "".join(LOG.read_text(encoding="utf-8").splitlines(keepends=True)[:12])
    log = folder.parent / "kept.csv"
    log.write_text(kept, encoding="utf-8")
    assert run("follow", folder, log).exit_code == 0
    same = run("compare", folder, STEM)
    assert same.exit_code == 0
    assert "The schedules do not differ." in same.stdout


def test_a_record_is_asked_for_by_its_folder(tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = record_folder(tmp_path_factory.mktemp("asked"))
    file = folder / "record.json"
    for command in (["compare", file, STEM], ["compare", STEM, file], ["follow", file, LOG]):
        done = run(*command)
        assert done.exit_code == 2
        assert done.stderr.strip() == (
            f"weldcalc: {file}: is a file; give the record's folder, {folder}"
        )


def test_a_schedule_is_asked_for_where_a_record_is_given(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    folder = record_folder(tmp_path_factory.mktemp("given"))
    output = folder.parent / "card.pdf"
    for given in (folder, folder / "record.json"):
        done = run("card", given, "-o", output)
        assert done.exit_code == 2
        assert f"give the schedule file (TOML), such as {folder / 'inputs' / 'schedule.toml'}" in (
            done.stderr
        )
        assert len(done.stderr.splitlines()) == 1


def test_follow_without_a_record_is_unusable_input(tmp_path: Path) -> None:
    done = run("follow", tmp_path, LOG)
    assert done.exit_code == 2
    assert "record.json" in done.stderr


def test_gauge_says_what_to_type_into_the_coupon_list() -> None:
    study = DEMO / "gauge_study.csv"
    done = run("gauge", study)
    assert done.exit_code == 0, done.output
    assert fits(done)
    by_ranges, by_variances = json.loads(run("gauge", study, "--json").stdout)["studies"]
    assert (by_ranges["method"], by_variances["method"]) == ("average-range", "anova")
    # scatter adds in squares, whatever splits it
    for made in (by_ranges, by_variances):
        squares = made["repeatability_mm"] ** 2 + made["reproducibility_mm"] ** 2
        assert made["gauge_mm"] == pytest.approx(squares**0.5)
    typed = re.search(r"Type ([0-9.]+ mm) into the column penetration_u", done.stdout)
    assert typed
    told = parse_quantity(typed[1], "penetration")
    assert told == pytest.approx(1e-3 * by_variances["gauge_mm"], rel=5e-3)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("A,1,1,0.18\nA,1,2,0.18\nA,2,1,0.2\nA,2,2,0.2\n", "appraisers: 1"),
        ("A,1,1,0.18\nA,1,2,0.18\nB,1,1,0.2\nB,1,2,0.2\n", "parts: 1"),
        ("A,1,1,thin\n", "thin"),
    ],
)
def test_gauge_names_what_a_study_lacks(tmp_path: Path, rows: str, words: str) -> None:
    study = tmp_path / "study.csv"
    study.write_text(f"appraiser,part,trial,penetration [mm]\n{rows}", encoding="utf-8")
    done = run("gauge", study)
    assert done.exit_code == 2
    assert "study.csv" in done.stderr
    assert words in done.stderr
