"""Pictures of joint, pulses and seam hold the data they were given."""

from __future__ import annotations

import io

import matplotlib.image as mpl_image
import numpy as np
import plot_cases as cases
import pytest
from attrs import evolve
from matplotlib.colors import to_hex, to_rgb
from matplotlib.patches import Polygon
from numpy.testing import assert_allclose
from plot_cases import MM, drawn, drawn_once, words

from weldcalc import plots
from weldcalc.plots import style
from weldcalc.plots.joint import whole_outline
from weldcalc.plots.members import joint_border, joint_members
from weldcalc.plots.seam import stretched_circle
from weldcalc.plots.words import label, printable, shown


def outlines(axes, colour):
    """Return the corners of the outlines in a colour, the closing corner left out."""
    found = [p for p in axes.findobj(Polygon) if to_hex(p.get_edgecolor()) == to_hex(colour)]
    return [p.get_xy()[:-1] for p in found if not p.get_fill()]


# --- words


def test_labels_come_from_the_field_table():
    assert label("goal.haz_width") == "heat-affected width [mm]"
    assert label("mean_irradiance") == "mean irradiance [W/mm²]"
    assert label("part_temperature", "part") == "part [°C]"


def test_shown_scales_arrays_as_the_field_table_says():
    assert_allclose(shown([[273.15, 300.15]], "preheat"), [[0.0, 27.0]])
    assert_allclose(shown(np.pi, "arc"), 180.0)


def test_text_that_the_font_lacks_becomes_boxes_and_the_rest_stays():
    assert printable("Rohr Ø8 стержень λ/4 ° ²") == "Rohr Ø8 стержень λ/4 ° ²"
    assert printable("液面计\n8 mm") == "□□□ 8 mm"


def test_names_typed_by_users_are_never_formulas():
    strange = r"root $\frac{1}{2$ _x^ 液 50%"
    picture = plots.plan_view(evolve_pass(name=strange))
    assert r"$\frac{1}{2$ _x^ □ 50%" in words(picture)
    picture.svg()


def evolve_pass(**changes):
    return type(cases.PASS)(**{**vars(cases.PASS), **changes})


# --- joint


def test_members_of_a_butt_joint_leave_the_gap_and_the_step():
    left, right = joint_members(cases.BUTT)
    assert right.corners[:, 0].min() - left.corners[:, 0].max() == pytest.approx(0.02 * MM)
    assert right.corners[:, 1].min() - left.corners[:, 1].min() == pytest.approx(0.03 * MM)
    assert np.ptp(left.corners[:, 1]) == pytest.approx(0.4 * MM)


def test_a_flush_joint_has_the_plate_on_the_positive_side():
    tube, plate = joint_members(cases.FLUSH)
    assert np.ptp(tube.corners[:, 0]) == pytest.approx(0.4 * MM)
    assert plate.corners[:, 0].min() == pytest.approx(0.01 * MM)
    assert np.ptp(plate.corners[:, 1]) == pytest.approx(1.2 * MM)
    assert plate.is_second


def test_a_fillet_joint_stands_the_tube_on_the_plate():
    tube, plate = joint_members(evolve(cases.FLUSH, form="fillet"))
    assert tube.corners[:, 1].max() == pytest.approx(plate.corners[:, 1].min() - 0.02 * MM)
    assert plate.corners[:, 0].min() < tube.corners[:, 0].min()


def test_a_pool_fills_the_gap_but_not_the_air():
    border = joint_border(cases.BUTT)
    inside = border.contains_points([(0.0, 0.2), (-0.3, 0.2), (0.3, 0.41), (-0.3, 0.41), (0, -0.1)])
    assert inside.tolist() == [True, True, True, False, False]
    standing = joint_border(evolve(cases.FLUSH, form="fillet"))
    # in the wall, in the gap under it, in the plate, in the air of the corner
    inside = standing.contains_points([(-0.2, -0.3), (-0.2, -0.01), (0.2, 0.3), (0.2, -0.01)])
    assert inside.tolist() == [True, True, True, False]


def test_a_half_outline_is_mirrored_at_the_beam_and_a_whole_one_is_left_alone():
    whole = whole_outline(cases.HALF_POOL, axis=0.05 * MM)
    assert whole[:, 0].max() - 0.05 * MM == pytest.approx(0.24 * MM)
    assert whole[:, 0].min() - 0.05 * MM == pytest.approx(-0.24 * MM)
    assert whole_outline(whole, axis=1.0) is whole


def test_the_section_draws_the_outlines_in_millimetres_at_equal_scale():
    picture = drawn_once("section")
    axes = picture.figure.axes[0]
    fused = [
        p.get_xy()[:-1]
        for p in axes.findobj(Polygon)
        if p.get_fill() and to_hex(p.get_facecolor()) == to_hex(style.FUSED)
    ]
    assert len(fused) == 1
    assert_allclose(fused[0], 1e3 * whole_outline(cases.HALF_POOL))
    assert axes.get_aspect() == 1.0
    text = words(picture)
    for expected in ("0.0200 mm", "8.00 mm", "0.480 mm", "to beta transus, 890 °C", "root pass"):
        assert expected in text
        assert expected in picture.alt or expected.startswith("to ")


def test_the_section_says_not_given_instead_of_inventing():
    picture = plots.joint_section(evolve(cases.BUTT, gap=None), [cases.ROOT_POOL])
    assert "gap, largest not given" in picture.alt


def pixels_across(picture, row, depth):
    """Return the colours of a picture along a line across the joint at a depth [mm]."""
    axes = picture.figure.axes[row]
    image = mpl_image.imread(io.BytesIO(picture.png(dpi=300)))
    scale = 300 / picture.figure.dpi
    (left, down), (right, _) = axes.transData.transform([(-0.05, depth), (0.05, depth)]) * scale
    return image[image.shape[0] - round(down), round(left) : round(right), :3]


def test_no_joint_line_is_drawn_in_metal_that_an_earlier_pass_fused():
    shallow = cases.HALF_POOL * [1.2, 0.4]
    cover = evolve(
        cases.ROOT_POOL, name="cover", fused=shallow, heat_affected=cases.HALF_HEAT, root_width=None
    )
    alone = plots.joint_section(cases.BUTT, [cover])
    both = plots.joint_section(cases.BUTT, [cases.ROOT_POOL, cover])
    amber = to_rgb(style.HEAT_AFFECTED)
    lined = np.abs(pixels_across(alone, 0, 0.3) - amber).max(axis=1)
    assert lined.max() > 0.2, "by itself the cover stands on an open joint"
    healed = np.abs(pixels_across(both, 2, 0.3) - amber).max(axis=1)
    assert healed.max() < 0.02
    before = outlines(both.figure.axes[2], style.QUIET)
    assert_allclose(before, [1e3 * whole_outline(cases.HALF_POOL)])
    assert outlines(both.figure.axes[0], style.QUIET) == []
    assert "fused by a pass before" in words(both)
    assert "fused by a pass before" not in words(alone)
    # what is clipped to a path of its own is not clipped to the axes in a vector file
    axes = both.figure.axes[2]
    clips = [one.get_clip_path() for one in axes.patches if one.get_linestyle() in ("dotted", ":")]
    assert clips
    for clip in clips:
        inside = axes.transData.inverted().transform(clip.get_fully_transformed_path().vertices)
        assert_allclose([inside[:, 0].min(), inside[:, 0].max()], axes.get_xlim())


# --- overlap and pulses


def test_a_spot_that_travels_has_the_length_of_the_published_example():
    # printed p. 81 of a process-fundamentals text on industrial laser welding (published), and
    # its round trip (derived): 100 mm/s, 1.5 mm, 300 Hz, duty 0.5 give 80 % with travel
    speed, diameter, rate, duty = 0.1, 1.5 * MM, 300.0, 0.5
    outline = stretched_circle(diameter=diameter, travel=speed * duty / rate)
    length, width = np.ptp(outline, axis=0)
    assert length == pytest.approx(1.66667 * MM, rel=1e-5)
    assert width == pytest.approx(diameter)
    assert 1 - (speed / rate) / length == pytest.approx(0.80, abs=1e-9)


def test_the_plan_view_draws_spots_and_pools_one_pitch_apart():
    picture = drawn_once("plan")
    top, _, root, _ = picture.figure.axes
    spots = outlines(top, style.SPOT)
    assert len(spots) == 5
    assert_allclose(np.ptp(spots[0], axis=0), [0.4025, 0.4], rtol=1e-6)
    assert_allclose([spot[:, 0].mean() for spot in spots], 0.1 * np.arange(5), atol=1e-12)
    assert_allclose(np.ptp(outlines(top, style.FUSED)[0][:, 1]), 0.48)
    assert_allclose(np.ptp(outlines(root, style.FUSED)[0][:, 1]), 0.228)
    text = words(picture)
    for value in ("75.0 %", "75.2 %", "79.2 %", "56.0 %", "0.100 mm"):
        assert value in text
        assert value in picture.alt


def test_the_plan_view_says_when_the_root_is_not_fused_or_stays_open():
    closed = plots.plan_view(evolve_pass(root_width=None, root_overlap=None))
    assert "fused width at the root none" in closed.alt
    assert outlines(closed.figure.axes[2], style.FUSED) == []
    opened = plots.plan_view(evolve_pass(root_width=0.08 * MM, root_overlap=-0.25))
    assert "the pools do not touch at the root" in opened.alt
    assert "-25.0 %" in opened.alt


def test_the_plan_view_stands_a_pass_that_melts_nothing():
    cold = plots.plan_view(evolve_pass(fusion_width=0.0, melt_overlap=None, root_width=None))
    assert outlines(cold.figure.axes[0], style.FUSED) == []
    assert "melt overlap at the surface none" in cold.alt


def test_the_area_under_the_train_is_the_average_power():
    picture = plots.pulse_train(cases.PASS, pulses=3)
    time, power = drawn(picture, "power")
    # average = energy of a pulse x rate (published relation: pulse energy = average / rate)
    assert np.trapezoid(power, time * 1e-3) / (3 / 5.0) == pytest.approx(1.95 * 5.0)
    _, average = drawn(picture, "average power 9.75 W")
    assert_allclose(average, 9.75)
    for told in ("duty cycle 2.50 %", "1.950 J", "390 W"):
        assert told in words(picture)
        assert told.rsplit(" ", 1)[0] in picture.alt


def test_a_shaped_pulse_is_drawn_by_its_corners():
    shape = ((0.0, 1.0), (0.6, 1.0), (1.0, 0.3))
    time, power = drawn(plots.pulse_train(cases.PASS, shape=shape, pulses=1), "power")
    assert_allclose(time, [0, 0, 3, 5, 5])
    assert_allclose(power, [0, 390, 390, 117, 0])


# --- along the seam and in time


def test_the_long_section_draws_every_pool_and_the_guaranteed_depth():
    picture = drawn_once("long")
    along, depth = drawn(picture, "pool depth at the pulse centre")
    assert_allclose(along, 1e3 * cases.SEAM.positions)
    assert_allclose(depth, 1e3 * cases.SEAM.depths)
    _, guaranteed = drawn(picture, "guaranteed depth, half a pitch from a centre")
    assert_allclose(guaranteed, 0.351)
    assert "250 pulses" in picture.alt
    assert "0.360 to 0.400 mm" in picture.alt
    assert "0.351 mm" in picture.alt


def test_the_scalloped_edge_is_deepest_at_a_centre_and_meets_the_outline_between_two():
    level = evolve(cases.SEAM, depths=np.full(250, 0.4 * MM))
    picture = plots.long_section([level], wall_thickness=0.4 * MM, at=12.5 * MM)
    _, depth = drawn(picture, "scalloped lower edge", panel=1)
    assert depth.max() == pytest.approx(0.4)
    wide_pitch = evolve(level, positions=np.arange(250) * 0.3 * MM)
    picture = plots.long_section([wide_pitch], wall_thickness=0.4 * MM, at=30.0 * MM)
    __, depth = drawn(picture, "scalloped lower edge", panel=1)
    # 0.15 mm from a centre the outline lies between its corners (0.2, 0.1) and (0.13, 0.2)
    assert depth.min() == pytest.approx(0.1 + 0.1 * 0.05 / 0.07, abs=0.003)


def test_pulses_too_far_apart_to_be_seen_leave_the_edge_at_the_face():
    # an even number: the close-up lies between two pulses
    apart = evolve(cases.SEAM, positions=np.arange(10) * 5 * MM, depths=np.full(10, 0.4 * MM))
    picture = plots.long_section([apart], wall_thickness=0.4 * MM, at=22.5 * MM)
    assert drawn(picture, "scalloped lower edge", panel=1)[1].max() == 0.0


def test_a_pass_that_melts_nothing_says_so():
    cold = evolve(cases.SEAM, depths=np.zeros(250), outline=np.empty((0, 2)), guaranteed_depth=0.0)
    assert "nothing melts" in words(plots.long_section([cold], wall_thickness=0.4 * MM))
    pool = evolve(cases.ROOT_POOL, fused=np.empty((0, 2)), heat_affected=np.empty((0, 2)))
    assert plots.joint_section(cases.BUTT, [pool]).svg()


def test_pools_are_sorted_along_the_seam_whatever_the_order_of_welding():
    mixed = np.random.default_rng(1).permutation(250)
    shuffled = evolve(
        cases.SEAM, positions=cases.SEAM.positions[mixed], depths=cases.SEAM.depths[mixed]
    )
    picture = plots.long_section([shuffled], wall_thickness=0.4 * MM)
    assert_allclose(drawn(picture, "pool depth at the pulse centre")[1], 1e3 * cases.SEAM.depths)


def test_the_part_temperature_shows_its_peak_and_what_is_allowed():
    picture = drawn_once("warming")
    _, warm = drawn(picture, "part, away from the weld")
    assert_allclose(warm, [20.0, 120.0, 175.0])
    assert_allclose(drawn(picture, "most allowed 250 °C")[1], 250.0)
    assert "175 °C after 60 s" in words(picture)
    assert "cover starts" in words(picture)
    assert "175 °C" in picture.alt
    assert "250 °C" in picture.alt


def test_round_the_joint_compares_constant_energy_with_the_taper():
    picture = drawn_once("turning")
    angle, depth = drawn(picture, "constant energy", panel=1)
    assert angle[-1] == pytest.approx(360.0)
    assert depth[-1] == pytest.approx(0.36 + 0.005 * 2 * np.pi)
    assert_allclose(drawn(picture, "tapered energy", panel=1)[1], 0.36)
    assert_allclose(drawn(picture, "seam closes", panel=1)[0], 360.0)
    below = picture.figure.axes[1]
    assert below.get_ylim()[0] > below.get_ylim()[1], "depth runs down"


def test_the_focus_curve_marks_setting_tolerance_and_rayleigh_length():
    picture = drawn_once("focus")
    _, width = drawn(picture, "spot on the part")
    assert width.min() == pytest.approx(0.3)
    place, _ = drawn(picture, "Rayleigh length 1.60 mm")
    assert_allclose(place, 1.6)
    offset, spot = drawn(picture, "setting, spot 0.305 mm")
    assert float(offset[0]) == pytest.approx(0.3)
    assert float(spot[0]) == pytest.approx(0.3 * np.hypot(1, 0.3 / 1.6), rel=1e-3)
    assert "spot within 5 %" in picture.alt
