"""Pictures of a whole estimate show what the estimate holds."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.patches import Polygon
from matplotlib.text import Text
from numpy.testing import assert_allclose
from schedules import first_pass, sheet, tube

from weldcalc import plots
from weldcalc.card import setup_card
from weldcalc.plots import style
from weldcalc.plots.joint import whole_outline
from weldcalc.prediction import estimate
from weldcalc.schedule import schedule_from_mapping


@pytest.fixture(name="made", scope="module")
def _made():
    goal = {"penetration": "90 %", "part_temperature": "250 degC"}
    return estimate(schedule_from_mapping(tube(goal=goal, joint={"gap": "0.02 mm"})))


def lines_of(picture, panel=0):
    axes = [one for one in picture.figure.axes if one.axison][panel]
    return {line.get_label(): line for line in axes.lines}


def test_the_section_draws_the_outlines_of_the_engine(made):
    (one,) = made.passes
    picture = plots.estimate_section(made)
    filled = [
        p.get_xy()[:-1]
        for p in picture.figure.axes[0].findobj(Polygon)
        if p.get_fill() and to_hex(p.get_facecolor()) == to_hex(style.FUSED)
    ]
    assert_allclose(filled[0], 1e3 * whole_outline(one.pulse.fusion_outline))
    assert f"penetration {1e3 * one.penetration:.3f} mm" in picture.alt
    assert one.pulse.haz_isotherm_name in picture.alt


def test_the_long_section_puts_a_pool_at_every_pulse(made):
    (one,) = made.passes
    lines = lines_of(plots.estimate_long_section(made))
    pools = lines["pool depth at the pulse centre"]
    assert_allclose(np.sort(pools.get_xdata()), 1e3 * np.sort(one.history.place))
    assert_allclose(pools.get_ydata(), 1e3 * one.penetration)
    guaranteed = lines["guaranteed depth, half a pitch from a centre"]
    assert_allclose(guaranteed.get_ydata(), 1e3 * one.guaranteed_penetration)
    assert_allclose(lines["goal 0.360 mm"].get_ydata(), 0.36)


def test_the_long_section_takes_depths_computed_pulse_by_pulse(made):
    (one,) = made.passes
    depths = np.linspace(0.1e-3, 0.2e-3, len(one.history.place))
    lines = lines_of(plots.estimate_long_section(made, depths={one.name: depths}))
    drawn = lines["pool depth at the pulse centre"].get_ydata()
    assert_allclose(np.sort(drawn), 1e3 * depths)


def test_the_part_temperature_follows_the_history(made):
    (one,) = made.passes
    picture = plots.estimate_part_temperature(made)
    line = lines_of(picture)["part, away from the weld"]
    time, drawn = line.get_xdata(), line.get_ydata()
    pulsed = time <= one.history.time[-1]
    at_pulses = np.interp(time[pulsed], one.history.time, one.history.part_temperature)
    assert_allclose(drawn[pulsed], at_pulses - 273.15, atol=0.5)
    # after the last pulse it cools, which a line between two points would not show
    assert (~pulsed).sum() > 10
    assert (np.diff(drawn[~pulsed]) < 0).all()
    assert f"highest {one.peak_part_temperature - 273.15:.0f} °C" in picture.alt


def test_plan_and_train_take_a_pass_of_an_estimate(made):
    (one,) = made.passes
    assert f"{100 * one.melt_overlap:.1f} %" in plots.plan_view(one).alt
    assert "average power 9.75 W" in plots.pulse_train(one).alt


def test_the_card_prints_the_findings_that_stop(made):
    stops = [found for found in made.all_findings() if found.weight == "stop"]
    picture = setup_card(made.schedule, estimate=made)
    drawn = " ".join(t.get_text() for t in picture.figure.findobj(Text) if t.get_text())
    assert stops, "this pulse is far too weak for its goal"
    assert all(found.text in drawn for found in stops)


def test_every_pass_has_its_pulse_train_in_its_own_shape():
    shape = [[0, 1], [0.6, 1], [1, 0.3]]
    made = estimate(schedule_from_mapping(first_pass(pulse_shape=shape)))
    (picture,) = plots.estimate_pulse_trains(made)
    assert f"{made.passes[0].pulse_energy:.3f} J" in picture.alt
    one_pulse = picture.figure.axes[1].lines[0]
    assert one_pulse.get_ydata()[-2] == pytest.approx(0.3 * made.passes[0].peak_power)


def test_round_the_joint_draws_both_histories_of_a_tube_and_nothing_of_a_sheet(made):
    (one,) = made.passes
    (picture,) = plots.estimate_round_the_joint(made)
    drawn = [line.get_ydata() for axes in picture.figure.axes for line in axes.lines]
    for history in (one.history, one.seam.tapered):
        wanted = history.preheat - 273.15
        assert any(len(y) == len(wanted) and np.allclose(y, wanted) for y in drawn)
    flat = estimate(schedule_from_mapping(sheet()))
    assert plots.estimate_round_the_joint(flat) == []


def test_the_legend_of_the_gap_tells_sums_apart_that_lie_on_one_another():
    joint = {"gap": "0.02 mm", "face_squareness": "0.015 mm"}
    made = estimate(schedule_from_mapping(tube(joint=joint)))
    (picture,) = plots.estimate_fit_up(made)
    (legend,) = picture.figure.legends
    told = [text.get_text() for text in legend.get_texts()]
    # two faces, each 0.015 mm out of square: added, and as the root of the sum of their squares
    assert "worst case 0.0300 mm" in told
    assert "root of the sum of squares 0.0212 mm" in told
    assert sum("95 % of the joints within" in one for one in told) == 1
    box, page = legend.get_window_extent(), picture.figure.bbox
    assert page.x0 <= box.x0 < box.x1 <= page.x1
