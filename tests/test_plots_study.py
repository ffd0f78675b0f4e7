"""Pictures of windows, scatter, agreement and runs hold the data they were given."""

from __future__ import annotations

import numpy as np
import plot_cases as cases
import pytest
from matplotlib.colors import to_hex
from matplotlib.contour import QuadContourSet
from matplotlib.patches import Ellipse
from matplotlib.text import Text
from numpy.testing import assert_allclose
from plot_cases import MM, drawn, drawn_once, words

from weldcalc import plots
from weldcalc.plots import style


def test_the_window_names_every_region_and_every_limit_inside_the_map():
    picture = drawn_once("window")
    axes = picture.figure.axes[0]
    inside = [t.get_text() for t in axes.texts]
    for name in ("lack of\npenetration", "sound", "excessive", "A", "90 %"):
        assert name in inside
    assert "limit A: pulse energy 5 J" in words(picture)
    for text in axes.texts:
        x, y = axes.transData.inverted().transform(axes.transData.transform(text.get_position()))
        assert 200 <= x <= 700
        assert 2 <= y <= 10
    assert axes.get_xlabel() == "peak power [W]"
    assert axes.get_ylabel() == "pulse duration [ms]"


@pytest.mark.parametrize(
    ("counts_model", "expected"),
    [(False, "scatter alone."), (True, "scatter and the model's own spread."), (None, "scatter.")],
)
def test_the_window_says_what_pass_and_what_conditions_it_is_of(counts_model, expected):
    picture = cases.window(**{"pass_name": "cover", "counts_model": counts_model})
    told = words(picture)
    assert "cover pass: window of peak power and pulse duration" in told
    for where in (told.replace("\n", " "), picture.alt):
        assert "without earlier heat" in where
        assert f"chance over the shop's {expected}" in where
        assert "Excessive: blow-through, ejection, heat-affected width over its goal" in where


def test_a_window_without_a_chance_speaks_of_none():
    picture = cases.window(chance=None)
    assert "chance" not in words(picture)
    assert "Window of peak power" in words(picture)


def test_regions_are_told_apart_by_hatch_as_well_as_colour():
    (legend,) = drawn_once("window").figure.legends
    looks = {
        text.get_text(): (patch.get_hatch(), to_hex(patch.get_facecolor()))
        for text, patch in zip(legend.get_texts(), legend.legend_handles, strict=True)
        if text.get_text() in plots.REGIONS
    }
    assert len(looks) == 3
    hatches, colours = zip(*looks.values(), strict=True)
    assert len(set(hatches)) == len(set(colours)) == 3


def test_the_name_of_a_region_stands_in_it():
    axes = drawn_once("window").figure.axes[0]
    for text in axes.texts:
        name = text.get_text().replace("\n", " ")
        if name in plots.REGIONS:
            x, y = text.get_position()
            column = int(np.argmin(np.abs(cases.POWER - x)))
            row = int(np.argmin(np.abs(1e3 * cases.DURATION - y)))
            assert plots.REGIONS[cases.REGION[row, column]] == name


def test_the_window_shows_the_schedule_with_its_scatter_at_two_sigma():
    picture = drawn_once("window")
    axes = picture.figure.axes[0]
    (scatter,) = axes.findobj(Ellipse)
    assert_allclose(scatter.center, [420.0, 5.0])
    assert (scatter.width, scatter.height) == pytest.approx((36.0, 0.4))
    assert_allclose(drawn(picture, "this schedule"), [[420.0], [5.0]])
    assert "420 W, 5.00 ms" in picture.alt
    share = float(np.mean(cases.REGION == 1))
    assert f"sound {100 * share:.1f} %" in picture.alt


def test_a_limit_curve_is_drawn_through_its_points():
    axes = drawn_once("window").figure.axes[0]
    (limit,) = [one for one in axes.lines if to_hex(one.get_color()) == to_hex(style.LIMIT)]
    assert_allclose(limit.get_xdata(), cases.POWER)
    assert_allclose(limit.get_ydata(), 5e3 / cases.POWER)


def test_a_window_of_one_region_and_no_goal_is_still_a_window():
    flat = np.full((17, 21), 0.2 * MM) + np.linspace(0, 1e-5, 21)
    picture = plots.window_map(
        x_key="peak_power",
        x=cases.POWER,
        y_key="pulse_duration",
        y=cases.DURATION,
        region=np.zeros((17, 21)),
        penetration=flat,
    )
    assert "lack of penetration 100.0 %; sound 0.0 %" in picture.alt
    assert picture.svg()


def test_a_limit_that_leaves_none_of_the_map_is_named_without_a_line():
    none = np.zeros(0)
    picture = plots.window_map(
        x_key="peak_power",
        x=cases.POWER,
        y_key="pulse_duration",
        y=cases.DURATION,
        region=cases.REGION,
        penetration=cases.REGION * 1e-4,
        goal_depth=None,
        limits=[plots.LimitCurve("peak power 100 W, which all of the map is beyond", none, none)],
    )
    assert "peak power 100 W,\nwhich all of the map is beyond" in words(picture)
    assert "A" not in [text.get_text() for text in picture.figure.axes[0].texts]


def _recorded(goal_depth_mm):
    """What a record holds of a window of four places, invented."""
    told = {"peak_power_W": [300.0, 500.0], "pulse_duration_ms": [2.0, 4.0]}
    return {
        "computed": {
            "window": {
                "x": "peak_power",
                "y": "pulse_duration",
                "point": {"peak_power_W": 400.0, "pulse_duration_ms": 3.0},
                "one_sigma": {"peak_power_W": 8.0, "pulse_duration_ms": 0.0},
                "goal_depth_mm": goal_depth_mm,
                "limits": [],
                "map": told
                | {
                    "letters": dict(zip("lse", plots.REGIONS, strict=True)),
                    "region": ["ls", "ls"],
                    "penetration_mm": [[0.1, 0.3], [0.2, 0.4]],
                    "chance": [[0.0, 1.0], [0.0, 1.0]],
                },
            }
        }
    }


def test_a_recorded_window_names_a_goal_only_where_there_is_one():
    assert "goal 0.250 mm" in words(plots.recorded_window(_recorded(0.25)))
    assert "goal 0" not in words(plots.recorded_window(_recorded(None)))


def test_a_window_with_cells_that_were_not_computed_is_drawn():
    depth, chance = cases.DEPTH.copy(), np.clip(cases.DEPTH / (0.6 * MM), 0, 1)
    depth[:4, :4] = chance[:4, :4] = np.nan
    picture = plots.window_map(
        x_key="peak_power",
        x=cases.POWER,
        y_key="pulse_duration",
        y=cases.DURATION,
        region=cases.REGION,
        penetration=depth,
        goal_depth=0.4 * MM,
        chance=chance,
    )
    assert "90 %" in words(picture)


def chance_lines(chance: np.ndarray) -> tuple[int, str]:
    """Draw a window with this chance; return how many pieces its 50 % line has, and the legend."""
    picture = plots.window_map(
        x_key="peak_power",
        x=cases.POWER,
        y_key="pulse_duration",
        y=cases.DURATION,
        region=cases.REGION,
        penetration=cases.DEPTH,
        chance=chance,
    )
    drawn_sets = picture.figure.axes[0].findobj(QuadContourSet)
    [dotted] = [one for one in drawn_sets if one.linestyles == "dotted"]
    (line,) = dotted.get_paths()
    (legend,) = picture.figure.legends
    return len(line.to_polygons(closed_only=False)), " ".join(
        text.get_text() for text in legend.get_texts()
    )


def test_specks_of_few_draws_are_left_out_and_the_legend_says_so():
    chance = np.tile(np.where(cases.POWER > 500.0, 0.55, 0.45), (len(cases.DURATION), 1))
    assert chance_lines(chance)[0] == 1
    assert "specks" not in chance_lines(chance)[1]
    speck = chance.copy()
    speck[8, 3] = 0.55  # one draw of twenty more, at one place
    assert chance_lines(speck)[0] == 1
    assert "specks of the sampling left out" in chance_lines(speck)[1]
    island = chance.copy()
    island[5:12, 2:7] = 0.55  # as wide as several places of drawing: not a speck
    assert chance_lines(island)[0] == 2
    assert "specks" not in chance_lines(island)[1]


def test_a_region_smaller_than_its_name_is_named_inside_the_axes():
    region = np.full_like(cases.REGION, plots.REGIONS.index("sound"))
    region[:1, :1] = plots.REGIONS.index("lack of penetration")
    picture = plots.window_map(
        x_key="peak_power",
        x=cases.POWER,
        y_key="pulse_duration",
        y=cases.DURATION,
        region=region,
        penetration=cases.DEPTH,
    )
    axes = picture.figure.axes[0]
    (name,) = [one for one in axes.texts if one.get_text() == "lack of\npenetration"]
    box, frame = Text.get_window_extent(name), axes.get_window_extent()  # without its line
    assert frame.x0 <= box.x0
    assert box.x1 <= frame.x1
    assert frame.y0 <= box.y0
    assert box.y1 <= frame.y1


def test_causes_are_ranked_by_their_total():
    picture = drawn_once("causes")
    axes = picture.figure.axes[0]
    names = [tick.get_text() for tick in axes.get_yticklabels()]
    assert names == ["gap", "power", "absorptivity"]
    totals = [bar.get_width() for bar in axes.containers[0]]
    assert totals == [0.15, 0.25, 0.6]
    assert [bar.get_width() for bar in axes.containers[1]] == [0.1, 0.2, 0.5]
    assert "absorptivity 60.0 % in total, 50.0 % alone" in picture.alt


def test_the_histogram_counts_every_sample_and_shows_goal_and_interval():
    picture = drawn_once("spread")
    axes = picture.figure.axes[0]
    assert sum(bar.get_height() for bar in axes.containers[0]) == 400
    assert_allclose(drawn(picture, "goal, least 0.400 mm")[0], 0.4)
    assert "chance of meeting the goal 68.5 %" in words(picture)
    assert "interval 0.38 to 0.44" in picture.alt


def test_parity_counts_the_cases_inside_their_interval():
    picture = drawn_once("parity")
    depth, width = picture.figure.axes
    assert_allclose(*drawn(picture, "equal"))
    x, y = drawn(picture, "keyhole")
    assert (float(x[0]), float(y[0])) == pytest.approx((0.47, 0.517))
    assert len(drawn(picture, "conduction")[0]) == 2
    # the third interval ends at 0.30 mm, below the 0.31 mm measured
    assert "4 cases, median difference 10.0 %, largest 10.0 %, 3 inside their 90 %" in picture.alt
    assert depth.get_xlabel() == "measured penetration [mm]"
    assert width.get_ylabel() == "predicted fusion width [mm]"


def test_parity_shows_cases_of_unknown_mode_and_widths_of_nothing():
    none = plots.Compared("root_width", [0.0, 0.2 * MM], [0.0, 0.1 * MM], ["", "keyhole"])
    picture = plots.predicted_against_measured([none], title="coupons")
    assert len(drawn(picture, "mode not known")[0]) == 1
    assert "2 cases, median difference 50.0 %, largest 50.0 %" in picture.alt


def test_the_heat_split_draws_shares_and_areas_of_both_members():
    picture = drawn_once("split")
    assert_allclose(drawn(picture, "tube")[1], [70, 50, 30])
    assert_allclose(drawn(picture, "plate", panel=1)[1], [0.03, 0.05, 0.08])
    assert_allclose(drawn(picture, "setting 0.0500 mm")[0], 0.05)
    assert "runs from 70.0 % to 30.0 %" in picture.alt


def test_control_charts_ring_the_points_outside():
    picture = drawn_once("control")
    _single, moving, mean = picture.figure.axes
    number, value = drawn(picture, "outside the limits")
    assert (list(number), list(value)) == ([5, 6], [408.0, 375.0])
    moved, _ = drawn(picture, "value", panel=1)
    assert list(moved) == [2, 3, 4, 5, 6]
    assert "outside the limits" not in mean.get_legend_handles_labels()[1]
    assert moving.get_ylabel() == "range [W]"
    assert "moving range: 5 points, centre line 4.5, outside: weld 5, 6" in picture.alt
    assert "weighted mean: 6 points, centre line 390, none outside" in picture.alt


def test_a_range_of_temperatures_is_a_difference():
    chart = plots.Chart("moving range", [5.0, 7.0], 6.0, 0.0, 9.0, first=2, is_range=True)
    picture = plots.control_charts([chart], key="peak_part_temperature")
    assert_allclose(drawn(picture, "value")[1], [5.0, 7.0])
