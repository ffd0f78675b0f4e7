"""A measured section in, the likeliest cause out."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner
from schedules import tube

from weldcalc.cli import main
from weldcalc.diagnoses.further import Forecast, further_sizes
from weldcalc.diagnoses.sections import Bench, fault_spread
from weldcalc.diagnoses.sizes import checked_sizes
from weldcalc.diagnosis import ODDS, USUAL, WORDS, explain
from weldcalc.errors import InputError
from weldcalc.heatflow.spot import spot_pulse
from weldcalc.passes.seam_shape import fused_depth
from weldcalc.schedule import schedule_from_mapping
from weldcalc.texts.answers import diagnosis_text
from weldcalc.tolerances.scatter import pass_scatter

# the root just open, so that a section tells power, spot and place apart
GRID = 5e-5  # m; coarse, for speed: the same for section and diagnosis
BLIND = 40  # invented sections; cause, side and size of each from a seeded generator
SEED = 2024
SIZES_OF_FAULTS = (1.0, 2.5)  # one sigma of a fault: 8 to 20 % of the value, or 0.12 mm aside


@pytest.fixture(scope="module")
def schedule():
    typed = tube(goal={"penetration": "100 %"}, scatter={"power": "1.5 %", "spot_diameter": "2 %"})
    typed["pass"][0]["peak_power"] = "480 W"
    return schedule_from_mapping(typed)


def _section(schedule, cause: str, faults: float, normals=None) -> dict[str, float]:
    """Return the section that the engine gives with one cause moved, all else as drawn."""
    scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
    shift = faults * fault_spread(scatter)[cause]
    drawn = np.zeros((1, len(scatter.causes))) if normals is None else normals
    [case] = scatter.pulses(drawn, shifts={cause: shift}, grid=GRID).cases
    case.pop("depth")
    made = spot_pulse(**case)
    aside = abs(float(scatter.moves(drawn, {cause: shift})["beam_offset"][0]))
    return {
        "penetration": fused_depth(made.fusion_outline, aside),
        "fusion_width": made.fusion_width,
        "root_width": made.root_width,
    }


@pytest.fixture
def once(monkeypatch):
    """Run the engine along the causes once: that does not depend on what was measured."""
    kept: dict[tuple[str, ...], dict] = {}
    curves = Bench.curves
    monkeypatch.setattr(
        Bench,
        "curves",
        lambda self: kept.get(self.names) or kept.setdefault(self.names, curves(self)),
    )


@pytest.mark.usefixtures("once")
def test_an_injected_cause_comes_first_in_eight_of_ten_blind_sections(schedule):
    rng = np.random.default_rng(SEED)
    often = np.array([ODDS.get(cause, 1.0) for cause, _ in WORDS])
    causes = len(pass_scatter(schedule, schedule.passes[0], with_model=False).causes)
    alone, together, named = [], [], []
    for _ in range(BLIND):
        cause, side = list(WORDS)[rng.choice(len(WORDS), p=often / often.sum())]
        faults = side * rng.uniform(*SIZES_OF_FAULTS)
        # everything else scatters as usual, and a person reads within a few micrometres
        normals = np.clip(rng.normal(size=(1, causes)), -3.0, 3.0)
        read = {
            key: max(value + rng.normal() * np.hypot(4e-6, 0.01 * value), 0.0) if value else 0.0
            for key, value in _section(schedule, cause, faults, normals).items()
        }
        made = explain(schedule, **read, grid=GRID)
        top = made.suspects[0]
        alone.append((top.cause, top.side) == (cause, side))
        together.append((cause, side) in [(one.cause, one.side) for one in made.groups[0]])
        named.append(len(made.groups[0]))
    assert np.mean(together) >= 0.85
    # a group that names everything would always be right
    assert np.mean(named) <= 2.5
    assert np.mean(alone) >= 0.8


def test_power_and_duration_are_told_as_one_group(schedule):
    # once the root is open, longer and stronger pulses make the same section
    made = explain(schedule, **_section(schedule, "power", 1.5), grid=GRID)
    first = {(one.cause, one.side) for one in made.groups[0]}
    assert first >= {("power", 1), ("duration", 1)}
    assert "look the same in this section" in diagnosis_text(made)
    told = made.to_json()["not_told_apart"]
    assert sum(one["plausibility"] for one in told) == pytest.approx(1.0)


def test_the_expected_section_points_to_nothing_unusual(schedule):
    made = explain(schedule, **_section(schedule, "power", 0.0), grid=GRID)
    assert made.measured == pytest.approx(made.expected, rel=1e-6)
    assert made.is_usual
    assert USUAL in [one.words for one in made.groups[0]]
    assert "nothing has to be wrong" in diagnosis_text(made)


def test_plausibilities_add_up_and_json_has_units(schedule):
    made = explain(schedule, penetration=0.31e-3, fusion_width=0.48e-3)
    assert sum(one.plausibility for one in made.suspects) == pytest.approx(1.0)
    data = json.loads(json.dumps(made.to_json()))
    assert data["measured"] == pytest.approx({"penetration_mm": 0.31, "fusion_width_mm": 0.48})
    by = {one["cause"]: one for one in data["suspects"]}
    assert abs(by["power"]["shift"]) < 0.5
    assert 0.0 < by["beam_offset"]["shift_mm"] < 0.4


def test_size_of_the_fault_is_found(schedule):
    section = _section(schedule, "power", -1.5)
    top = explain(schedule, **section, grid=GRID).suspects[0]
    scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
    assert top.shift == pytest.approx(-1.5 * fault_spread(scatter)["power"], rel=0.25)


def test_a_fault_far_off_is_looked_for_as_far_in_every_cause(schedule):
    spread = fault_spread(pass_scatter(schedule, schedule.passes[0], with_model=False))
    section = _section(schedule, "power", -0.4 / spread["power"])
    top = explain(schedule, **section, grid=GRID).suspects[0]
    assert (top.cause, top.is_open) == ("power", False)
    assert top.shift == pytest.approx(-0.4, rel=0.25)
    # a depth alone is made by too little power as by too wide a spot
    depth = explain(schedule, penetration=section["penetration"], grid=GRID)
    assert {"power", "spot_diameter"} <= {one.cause for one in depth.groups[0]}


def test_a_section_that_no_cause_makes_is_told(schedule):
    # as deep as set and half as wide
    made = explain(schedule, penetration=0.4e-3, fusion_width=0.3e-3, root_width=0.29e-3, grid=GRID)
    assert not made.is_explained
    assert "No single cause" in diagnosis_text(made)
    assert max(map(len, diagnosis_text(made).splitlines())) <= 100


def test_a_wall_keeps_to_its_own_scatter_and_a_machine_may_break():
    # the shop measured its walls: a fifth off is 13 of its sigmas. What made a depth of three
    # quarters of the wall is then rather focus or power, which a section that is not through shows
    typed = tube(scatter={"power": "1.5 %", "spot_diameter": "2 %", "wall_thickness": "1.5 %"})
    typed["pass"][0] |= {"peak_power": "580 W", "pulse_duration": "4 ms"}
    schedule = schedule_from_mapping(typed)
    spread = fault_spread(pass_scatter(schedule, schedule.passes[0], with_model=False))
    assert spread["wall_thickness"] == pytest.approx(4 * 0.015)
    assert spread["power"] == spread["spot_diameter"] == pytest.approx(0.08)
    made = explain(schedule, penetration=0.31e-3)
    share = {one.cause: one.plausibility for one in made.suspects if one.side == -1}
    wider = next(one for one in made.suspects if (one.cause, one.side) == ("spot_diameter", 1))
    assert made.suspects[0] == wider
    assert share["wall_thickness"] < wider.plausibility
    assert share["power"] > 0.2


class TestWhatToMeasureNext:
    @pytest.mark.usefixtures("once")
    def test_a_root_tells_a_thin_wall_from_too_little_power(self, schedule):
        section = _section(schedule, "wall_thickness", -2.0)
        made = explain(schedule, penetration=section["penetration"], grid=GRID)
        root = next(one for one in made.further if one.size == "root_width")
        shown = {words: (middle, sigma) for words, middle, sigma in root.shows}
        middle, sigma = shown[WORDS["wall_thickness", -1]]
        assert abs(middle - section["root_width"]) < 2.0 * sigma  # the engine's own, at that wall
        assert shown[WORDS["power", -1]][0] < 0.02e-3
        told = " ".join(diagnosis_text(made).split())
        assert "Measure next, to tell causes apart: root width (0 where the weld is not" in told
        [data, *_] = json.loads(json.dumps(made.to_json()))["measure_next"]
        assert data["size"] == made.further[0].size
        assert {"means", f"{data['size']}_mm"} <= set(data["expected"][0])
        # once it is measured, it does tell them apart, and is not asked for again
        again = explain(
            schedule,
            penetration=section["penetration"],
            root_width=section["root_width"],
            grid=GRID,
        )
        assert "root_width" not in [one.size for one in again.further]
        assert again.suspects[0].cause == "wall_thickness"

    @pytest.mark.usefixtures("once")
    def test_nothing_is_asked_for_once_all_is_measured(self, schedule):
        made = explain(schedule, **_section(schedule, "power", 1.5), grid=GRID)
        assert made.further == ()
        assert "Measure next" not in diagnosis_text(made)

    def test_pairs_told_apart_are_counted_by_hand(self):
        def shown(words, plausibility, width, root):
            sizes = {"fusion_width": (width, 1e-5), "root_width": (root, 1e-5)}
            return Forecast(words, plausibility, sizes)

        # two sigma of a difference are 28 um; the last is too unlikely to count
        asked = [
            shown("a", 0.5, 0.50e-3, 0.00),
            shown("b", 0.3, 0.52e-3, 0.10e-3),
            shown("c", 0.16, 0.54e-3, 0.11e-3),
            shown("d", 0.04, 0.90e-3, 0.90e-3),
        ]
        first, second = further_sizes(asked)
        pairs = 0.15 + 0.08 + 0.048
        assert (first.size, second.size) == ("root_width", "fusion_width")
        assert first.tells_apart == pytest.approx((0.15 + 0.08) / pairs)
        assert second.tells_apart == pytest.approx(0.08 / pairs)
        assert [words for words, _, _ in first.shows] == ["a", "b", "c"]
        assert further_sizes(asked[:1]) == ()


@pytest.mark.usefixtures("once")
@pytest.mark.parametrize(
    ("sizes", "told"),
    [
        ({"penetration": -1e-4}, "penetration = -0.0001: has to be a length, zero or more"),
        ({"penetration": np.nan}, "penetration = nan: has to be a length, zero or more"),
        (
            {"penetration": 31e-3},
            'penetration = "31.0 mm": more than 2 times the wall of 0.400 mm; is it in another',
        ),
        (
            {"penetration": 0.4e-3, "fusion_width": 3e-3},
            'fusion_width = "3.00 mm": more than 2 times the widest weld',
        ),
        (
            {"penetration": 0.4e-3, "fusion_width": 0.6e-3, "root_width": 4e-3},
            'root_width = "4.00 mm": more than 2 times the widest weld',
        ),
    ],
)
def test_no_size_of_a_weld_is_refused(schedule, sizes, told):
    with pytest.raises(InputError) as caught:
        explain(schedule, **sizes, grid=GRID)
    assert str(caught.value).startswith(told)
    assert len(caught.value.problems) == 1


def test_a_plate_lets_a_weld_be_as_deep_as_it_is_thick():
    joint = {"type": "tube-to-plate", "form": "flush", "plate_material": "Ti Grade 2"}
    flush = schedule_from_mapping(tube(joint=joint | {"plate_thickness": "3 mm"}))
    assert checked_sizes(flush, {"penetration": 2e-3}) == {"penetration": 2e-3}
    with pytest.raises(InputError, match=r"2 times the plate of 3\.00 mm"):
        checked_sizes(flush, {"penetration": 7e-3})
    with pytest.raises(InputError, match=r"root_width = .* no far side .* leave it out"):
        checked_sizes(flush, {"penetration": 1e-3, "root_width": 2e-4})


def test_command_line(tmp_path, schedule):
    path = tmp_path / "a.toml"
    path.write_text(schedule.to_toml(), encoding="utf-8")
    run = CliRunner().invoke(
        main, ["explain", str(path), "--penetration", "0.31 mm", "--width", "0.48 mm"]
    )
    assert run.exit_code == 0, run.output
    assert "Plausible" in run.stdout
    wrong = CliRunner().invoke(main, ["explain", str(path), "--penetration", "0,31 mm"])
    assert wrong.exit_code == 2
    assert "decimal point" in wrong.stderr
