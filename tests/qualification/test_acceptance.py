"""Criteria and verdicts: silence is never a pass, and every problem of the file is told."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from weldcalc.errors import InputError
from weldcalc.qualification.acceptance import Judgement, judge, read_acceptance, worst
from weldcalc.qualification.coupons import Coupons, coupons_from_bytes
from weldcalc.qualification.demonstration import USUAL_CONFIDENCE
from weldcalc.qualification.statistics import reliability_shown, tolerance_factor
from weldcalc.reference import data_folder

Run = Callable[..., Judgement]

WALL = 0.4e-3
ROOT = '[[criterion]]\nfeature = "root_width"\nat_least = "0.2 mm"\n'
SHOW = '[demonstration]\nreliability = "90 %"\nconfidence = "95 %"\n'


@pytest.fixture
def run(tmp_path: Path) -> Run:
    def judged(criteria: str, coupons: str | Coupons, wall: float | None = WALL) -> Judgement:
        file = tmp_path / "acceptance.toml"
        file.write_text(criteria, encoding="utf-8")
        if isinstance(coupons, str):
            coupons = coupons_from_bytes(coupons.encode(), name="list.csv")
        return judge(read_acceptance(file), coupons, wall_thickness=wall)

    return judged


def sections(*widths: str, extra: str = "") -> str:
    rows = [f"K{number},1,{width}" for number, width in enumerate(widths, 1)]
    return f"coupon,section,root_width [mm]{extra}\n" + "\n".join(rows) + "\n"


def test_met_only_when_every_coupon_meets_it(run: Run) -> None:
    found = run(ROOT, sections("0.2", "0.31"))
    assert found.verdict == "met"
    assert [item.reason for item in found.criteria[0].coupons] == [
        "worst 0.200 mm (section 1)",
        "worst 0.310 mm (section 1)",
    ]
    assert run(ROOT, sections("0.31", "0.199")).verdict == "not met"


def test_a_limit_is_met_on_the_limit_whatever_the_unit(run: Run) -> None:
    text = "coupon,section,root_width [um]\nA,1,300\n"
    assert run(ROOT.replace("0.2 mm", "0.3 mm"), text).verdict == "met"
    assert run(ROOT.replace("0.2 mm", "75 % of wall"), text).verdict == "met"


def test_upper_limit(run: Run) -> None:
    limit = '[[criterion]]\nfeature = "root_width"\nat_most = "0.3 mm"\n'
    assert run(limit, sections("0.3")).verdict == "met"
    assert run(limit, sections("0.301")).verdict == "not met"


def test_blank_limit_is_not_judged(run: Run) -> None:
    found = run(ROOT.replace("0.2 mm", ""), sections("0.3"))
    assert found.verdict == "not judged"
    assert [finding.code for finding in found.findings] == ["no-limit-typed"]


def test_the_template_judges_nothing(run: Run) -> None:
    template = data_folder() / "qualification" / "acceptance_template.toml"
    text = (
        "coupon,section,penetration [mm],root_width [mm],fusion_width [mm],haz_width [mm],colour,"
        "imperfections,leak\nA,1,0.4,0.3,0.6,0.1,silver,none,tight\n"
    )
    found = run(template.read_text(encoding="utf-8"), text)
    assert found.verdict == "not judged"
    assert {item.verdict for item in found.criteria} == {"not judged"}


def test_missing_measurement_is_not_judged(run: Run) -> None:
    found = run(ROOT, sections("0.3", ""))
    assert [item.verdict for item in found.criteria[0].coupons] == ["met", "not judged"]
    assert found.verdict == "not judged"
    assert "root width not measured" in found.findings[0].text


def test_one_section_of_a_coupon_not_measured_is_not_judged(run: Run) -> None:
    text = "coupon,section,root_width [mm]\nA,1,0.3\nA,2,\n"
    (verdict,) = run(ROOT, text).criteria[0].coupons
    assert (verdict.verdict, verdict.reason) == (
        "not judged",
        "root width not measured: section 2",
    )


def test_one_bad_section_fails_the_coupon_even_with_another_missing(run: Run) -> None:
    text = "coupon,section,root_width [mm]\nA,1,0.1\nA,2,\n"
    assert run(ROOT, text).verdict == "not met"


def test_a_row_about_the_whole_coupon_needs_no_width(run: Run) -> None:
    text = "coupon,section,root_width [mm],leak\nA,,,tight\nA,1,0.3,\n"
    assert run(ROOT, text).verdict == "met"


def test_share_of_a_wall_that_is_not_known_is_not_judged(run: Run) -> None:
    limit = ROOT.replace("0.2 mm", "50 % of the wall")
    found = run(limit, sections("0.3"), wall=None)
    assert found.verdict == "not judged"
    assert "wall is not known" in found.criteria[0].coupons[0].reason


def test_limits_that_cross_at_this_wall_are_met_by_nothing(run: Run) -> None:
    limits = ROOT.replace("0.2 mm", "75 % of the wall") + 'at_most = "0.2 mm"\n'
    found = run(limits, sections("0.25", "0.26"))
    assert found.verdict == "not met"
    assert found.criteria[0].demonstration.capability is None


def test_the_measured_wall_goes_before_that_of_the_schedule(run: Run) -> None:
    text = "coupon,section,root_width [mm],wall_thickness [mm]\nA,1,0.3,0.8\n"
    assert run(ROOT.replace("0.2 mm", "50 % of wall"), text).verdict == "not met"


def _on_own_walls(*rows: tuple[float, float]) -> str:
    lines = [f"K{n},1,{size:g},{wall:g}" for n, (size, wall) in enumerate(rows)]
    return "\n".join(["coupon,section,root_width [mm],wall_thickness [mm]", *lines]) + "\n"


def test_capability_is_held_against_the_wall_that_each_row_states(run: Run) -> None:
    """Rooms to 80 % of walls of 0.30 and 0.35 mm by hand: 40, 50, 60 um; mean 50, sd 10."""
    walls = (0.30, 0.35, 0.30)
    rows = [(0.8 * wall + more, wall) for wall, more in zip(walls, (0.04, 0.05, 0.06), strict=True)]
    found = run(ROOT.replace("0.2 mm", "80 % of wall"), _on_own_walls(*rows))
    index = found.criteria[0].demonstration.capability
    assert found.criteria[0].verdict == "met"
    assert index is not None
    assert index.cpk == pytest.approx(50 / (3 * 10))


def test_of_two_limits_on_own_walls_the_nearer_one_counts(run: Run) -> None:
    """To 1.2 walls 50, 70, 60 um: mean 60, sd 10; to 0.5 walls far more."""
    walls = (0.30, 0.35, 0.30)
    rows = [(1.2 * wall - less, wall) for wall, less in zip(walls, (0.05, 0.07, 0.06), strict=True)]
    limits = ROOT.replace("0.2 mm", "50 % of wall") + 'at_most = "120 % of wall"\n'
    index = run(limits, _on_own_walls(*rows)).criteria[0].demonstration.capability
    assert index is not None
    assert index.cpk == pytest.approx(60 / (3 * 10))
    assert index.cp is None


def test_limits_that_cross_at_the_wall_of_one_row_have_no_capability(run: Run) -> None:
    limits = ROOT.replace("0.2 mm", "75 % of wall") + 'at_most = "0.28 mm"\n'
    text = _on_own_walls((0.25, 0.3), (0.26, 0.3), (0.27, 0.4))
    found = run(limits, text, wall=0.3e-3)  # at this one they would not cross
    assert found.criteria[0].demonstration.capability is None


@pytest.mark.parametrize(
    ("cells", "verdict"),
    [
        (("silver", "straw"), "met"),
        (("silver", "blue"), "not met"),
        (("", "straw"), "met"),
        (("", ""), "not judged"),
    ],
)
def test_colour(run: Run, cells: tuple[str, str], verdict: str) -> None:
    limit = '[[criterion]]\nfeature = "colour"\nallowed = ["silver", "Straw"]\n'
    text = f"coupon,section,colour\nA,1,{cells[0]}\nA,2,{cells[1]}\n"
    assert run(limit, text).verdict == verdict


@pytest.mark.parametrize(
    ("cell", "verdict"), [("tight", "met"), ("leaking", "not met"), ("", "not judged")]
)
def test_leak(run: Run, cell: str, verdict: str) -> None:
    limit = '[[criterion]]\nfeature = "leak"\nallowed = ["tight"]\n'
    assert run(limit, f"coupon,leak\nA,{cell}\n").verdict == verdict


@pytest.mark.parametrize(
    ("cells", "allowed", "verdict"),
    [
        (("none", "none"), 0, "met"),
        (("none", "2017"), 0, "not met"),
        (("2017", "2017"), 1, "not met"),
        (("2017;2017", "none"), 2, "met"),
        (("104;2017", "none"), 1, "met"),
        (("none", ""), 0, "not judged"),
        (("2017", ""), 0, "not met"),
        (("", ""), 0, "not judged"),
    ],
)
def test_imperfections_are_counted_per_coupon(
    run: Run, cells: tuple[str, str], allowed: int, verdict: str
) -> None:
    limit = f'[[criterion]]\nfeature = "imperfection"\nnumber = "2017"\ncount_at_most = {allowed}\n'
    text = f"coupon,section,imperfections\nA,1,{cells[0]}\nA,2,{cells[1]}\n"
    assert run(limit, text).verdict == verdict


def test_a_criterion_of_one_pass_looks_at_that_pass_only(run: Run) -> None:
    text = "coupon,section,pass,root_width [mm]\nA,1,root,0.1\nA,1,cover,0.3\n"
    assert run(ROOT + 'pass = "cover"\n', text).verdict == "met"
    assert run(ROOT + 'pass = "root"\n', text).verdict == "not met"
    assert run(ROOT + 'pass = "third"\n', text).verdict == "not judged"


def test_a_value_within_its_uncertainty_of_the_limit_is_told(run: Run) -> None:
    text = "coupon,section,root_width [mm],root_width_u [mm]\nA,1,0.207,0.005\n"
    found = run(ROOT, text)
    assert found.verdict == "met"
    assert [finding.code for finding in found.findings] == ["within-uncertainty"]
    assert run(ROOT, text.replace("0.207", "0.211")).findings == ()


def test_reliability_by_count(run: Run) -> None:
    shown = run(ROOT, sections("0.3", "0.31", "0.1")).criteria[0].demonstration
    assert (shown.judged, shown.failed) == (3, 1)
    assert shown.reliability == reliability_shown(3, USUAL_CONFIDENCE, 1)
    enough = run(SHOW + ROOT, sections(*["0.3"] * 29))
    assert (enough.verdict, enough.criteria[0].demonstration.by) == ("met", "count")
    short = run(SHOW + ROOT, sections(*["0.3"] * 28))
    assert short.verdict == "not met"
    (finding,) = short.findings
    assert finding.code == "reliability-not-shown"
    assert "29 coupons" in finding.remedy


def test_reliability_by_scatter(run: Run) -> None:
    widths = [0.30, 0.31, 0.29, 0.305, 0.295, 0.30]
    found = run(SHOW + ROOT, sections(*map(str, widths)))
    shown = found.criteria[0].demonstration
    assert (found.verdict, shown.by) == ("met", "scatter")
    assert [finding.code for finding in found.findings] == ["shown-by-scatter"]
    # mean 0.30 mm and sum of squares 250 um^2, by hand
    bound = 0.3e-3 - tolerance_factor(6, 0.90, 0.95) * (250e-12 / 5) ** 0.5
    assert shown.bounds == (pytest.approx(bound), None)
    told = shown.to_json("root_width")
    assert told["bound_below_root_width_mm"] == pytest.approx(1e3 * bound)


@pytest.mark.parametrize(
    "widths",
    [
        ("0.21", "0.29", "0.25", "0.33", "0.23", "0.27"),  # scatter too large
        ("0.30", "0.30", "0.30", "0.30", "0.30", "0.21"),  # not normal
        ("0.30", "0.30", "0.30"),  # equal readings: a coarse gauge
        ("0.30",),
    ],
)
def test_scatter_that_shows_nothing(run: Run, widths: tuple[str, ...]) -> None:
    found = run(SHOW + ROOT, sections(*widths))
    assert found.criteria[0].verdict == "met"
    assert found.demonstration == found.verdict == "not met"


def test_two_limits_take_the_two_sided_factor(run: Run) -> None:
    widths = ("0.30", "0.31", "0.29", "0.305", "0.295", "0.30")
    low, high = (
        run(SHOW + ROOT + 'at_most = "0.4 mm"\n', sections(*widths))
        .criteria[0]
        .demonstration.bounds
    )
    half = tolerance_factor(6, 0.90, 0.95, sides=2) * (250e-12 / 5) ** 0.5
    assert (low, high) == (pytest.approx(0.3e-3 - half), pytest.approx(0.3e-3 + half))


def test_sections_of_a_coupon_count_as_one(run: Run) -> None:
    text = "coupon,section,root_width [mm]\nA,1,0.30\nA,2,0.32\nB,1,0.28\nB,2,0.30\n"
    found = run(ROOT, text)
    (feature,) = found.features
    assert (feature.coupons, feature.sections) == (2, 4)
    assert feature.mean == pytest.approx(0.30e-3)
    assert feature.sd == pytest.approx(0.02e-3 / 2**0.5)
    assert (feature.least, feature.most) == (pytest.approx(0.28e-3), pytest.approx(0.32e-3))
    assert found.criteria[0].demonstration.judged == 2
    index = found.criteria[0].demonstration.capability
    assert index is not None
    assert index.cpk == pytest.approx(0.1 / (3 * 0.02 / 2**0.5))


def test_an_outlier_is_named_and_kept(run: Run) -> None:
    found = run(ROOT, sections(*["0.30", "0.31", "0.29"] * 3, "0.60"))
    (feature,) = found.features
    assert feature.outliers.names == ("coupon K10",)
    assert feature.most == pytest.approx(0.6e-3)
    assert "value-stands-apart" in {finding.code for finding in found.findings}


def test_long_lists_are_cut_in_messages_but_not_in_the_data(run: Run) -> None:
    found = run(ROOT, sections(*["0.1"] * 30))
    text = found.findings[0].text
    assert "K8:" in text
    assert "K9:" not in text
    assert text.endswith("and 22 more")
    assert len(found.criteria[0].coupons) == 30


def test_json_is_plain_and_finite(run: Run) -> None:
    found = run(SHOW + ROOT, sections("0.30", "0.31", "0.29"))
    told = json.loads(json.dumps(found.to_json(), allow_nan=False))
    assert told["criteria"][0]["criterion"]["at_least"] == "0.2 mm"
    assert told["features"][0]["mean_root_width_mm"] == pytest.approx(0.3)
    assert told["features"][0]["sd_root_width_mm"] == pytest.approx(0.01)


def test_worst_of_nothing_is_not_judged() -> None:
    assert worst([]) == "not judged"
    assert worst(["met", "not judged"]) == "not judged"
    assert worst(["met", "not judged", "not met"]) == "not met"


BAD = {
    'foo = 1\n[[criterion]]\nfeature = "leak"': "unknown key",
    'titel = "x"\n[[criterion]]\nfeature = "leak"': "nearest: title",
    '[[criterion]]\nfeature = "penetraton"': "did you mean penetration? Known are",
    "[[criterion]]\n": "unknown feature",
    'title = "x"': "criterion: missing; write at least one",
    '[criterion]\nfeature = "leak"': "write each as [[criterion]]",
    '[[criterion]]\nfeature = "root_width"\nat_least = 0.2': "write text in quotes",
    '[[criterion]]\nfeature = "root_width"\nat_least = "0,2 mm"': "decimal point",
    '[[criterion]]\nfeature = "root_width"\nat_least = "0.2"': "unit is missing",
    '[[criterion]]\nfeature = "root_width"\nat_least = "20 W of wall"': "does not fit",
    '[[criterion]]\nfeature = "root_width"\nallowed = ["x"]': "unknown key",
    ROOT + 'at_most = "0.1 mm"': "nothing could be met",
    '[[criterion]]\nfeature = "colour"\nallowed = "silver"': "list of texts",
    '[[criterion]]\nfeature = "colour"\nallowed = ["gold"]': "is no colour word",
    '[[criterion]]\nfeature = "leak"\nallowed = ["dry"]': "is no leak word",
    '[[criterion]]\nfeature = "imperfection"\ncount_at_most = 0': "give one ISO 6520-1 number",
    '[[criterion]]\nfeature = "imperfection"\nnumber = "100"\ncount_at_most = true': "whole number",
    '[[criterion]]\nfeature = "imperfection"\nnumber = "100"\ncount_at_most = -1': "0 or more",
    '[[criterion]]\nfeature = "tensile_strength"\nat_least = "50 % of wall"': "unknown unit",
    '[demonstration]\nreliability = "90 %"\n' + ROOT: "needs a confidence",
    '[demonstration]\nconfidence = "100 %"\n' + ROOT: "both excluded",
    'demonstration = 3\n[[criterion]]\nfeature = "leak"': "as a table",
    "[[criterion\n": "TOML",
}


@pytest.mark.parametrize("text", BAD)
def test_bad_acceptance_files(tmp_path: Path, text: str) -> None:
    file = tmp_path / "acceptance.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_acceptance(file)
    assert BAD[text] in str(caught.value)


def test_all_problems_of_a_file_are_told_at_once(tmp_path: Path) -> None:
    file = tmp_path / "acceptance.toml"
    file.write_text('foo = 1\n[[criterion]]\nfeature = "x"\n[[criterion]]\nfeature = "y"\n')
    with pytest.raises(InputError) as caught:
        read_acceptance(file)
    assert [problem.where for problem in caught.value.problems] == [
        "foo",
        "criterion[0].feature",
        "criterion[1].feature",
    ]


def test_hardness_limit_is_a_plain_number(tmp_path: Path) -> None:
    file = tmp_path / "acceptance.toml"
    file.write_text('[[criterion]]\nfeature = "vickers_hardness"\nat_most = 250\n')
    (criterion,) = read_acceptance(file).criteria
    assert criterion.words == "vickers hardness: at most 250 HV"
    coupons = coupons_from_bytes(b"coupon,section,vickers_hardness\nA,1,251\n", name="x")
    assert judge(read_acceptance(file), coupons).verdict == "not met"
