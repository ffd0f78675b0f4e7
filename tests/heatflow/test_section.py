"""The 3-D engine: conservation, grid, agreement with the axisymmetric engine, orderings."""

from __future__ import annotations

from math import cos, pi, radians

import numpy as np
import pytest

from weldcalc.errors import InputError
from weldcalc.heatflow.heat_split import heat_split
from weldcalc.heatflow.section import section_pulse, section_pulses
from weldcalc.heatflow.spot import spot_pulse
from weldcalc.joint import Joint
from weldcalc.materials import material
from weldcalc.plots.split import heat_split as picture_of_split
from weldcalc.section_shape import butt_section, fillet_section, flush_section, sheet

TI = material("Ti Grade 2")
WALL = 0.4e-3
PULSE = {"pulse_duration": 5e-3, "spot_diameter": 0.4e-3}
COARSE = {"peak_power": 500.0, "grid": 0.05e-3, **PULSE}
TUBE = {"wall_thickness": WALL, "plate_thickness": 1.2e-3, "tube_material": "Ti Grade 2"}


def butt(**changes):
    return butt_section(**({"thickness": WALL, "material": "Ti Grade 2"} | changes))


def codes(result):
    return {finding.code for finding in result.warnings}


def random_case(seed):
    draw = np.random.default_rng(seed)
    upright = {
        "beam_offset": draw.uniform(-0.15e-3, 0.15e-3),
        "beam_angle": draw.choice([0.0, draw.uniform(-0.3, 0.3)]),
    }
    tilted = {"beam_offset": draw.uniform(-0.1e-3, 0.1e-3), "beam_angle": draw.uniform(0.5, 1.0)}
    gap = float(draw.choice([0.0, draw.uniform(0.0, 0.05e-3)]))
    grades = draw.choice(["Ti Grade 2", "Ti Grade 5", "316L"], 2)
    shape = draw.integers(4)
    wall, plate = draw.uniform(0.2e-3, 0.8e-3, 2)
    tube = {"wall_thickness": wall, "plate_thickness": plate, "tube_material": str(grades[0])}
    section = (
        sheet(wall, material=str(grades[0])),
        butt_section(
            thickness=wall,
            material=str(grades[0]),
            second_thickness=plate,
            second_material=str(grades[1]),
            gap=gap,
            mismatch=draw.uniform(-0.1e-3, 0.1e-3),
        ),
        flush_section(plate_material=str(grades[1]), gap=gap, **tube),
        fillet_section(plate_material=str(grades[1]), gap=gap, **tube),
    )[shape]
    spot = draw.uniform(0.2e-3, 0.6e-3)
    settings = {
        "peak_power": draw.uniform(100.0, 1500.0),
        "pulse_duration": draw.uniform(0.5e-3, 8e-3),
        "spot_diameter": spot,
        "profile": str(draw.choice(["top-hat", "gaussian"])),
        "pulse_shape": [[0.0, 1.0], [draw.uniform(0.2, 0.8), 1.0], [1.0, draw.uniform(0.0, 1.0)]],
        "preheat": draw.uniform(280.0, 600.0),
        "travel_speed": float(draw.choice([0.0, draw.uniform(0.0, 0.02)])),
        "grid": spot / 6.0,
    }
    return section, settings | (tilted if section.kind == "fillet" else upright)


@pytest.mark.parametrize("seed", range(24))
def test_energy_is_conserved_in_random_schedules(seed):
    section, settings = random_case(seed)
    result = section_pulse(section, **settings)
    assert abs(result.energy_balance) < 1e-3
    shape = settings["pulse_shape"]
    mean = shape[1][0] + 0.5 * (1.0 - shape[1][0]) * (1.0 + shape[2][1])
    energy = settings["peak_power"] * settings["pulse_duration"] * mean
    assert result.incident_energy == pytest.approx(energy)
    assert sum(result.absorbed_share) == pytest.approx(1.0)
    taken = result.absorbed_energy + result.transmitted_energy + result.missed_energy
    assert taken <= result.incident_energy
    assert result.missed_energy > -1e-9 * energy


@pytest.mark.parametrize(
    ("power", "thickness", "profile"),
    [
        (300.0, WALL, "top-hat"),  # conduction
        (700.0, WALL, "top-hat"),  # keyhole, through
        (500.0, 1.2e-3, "top-hat"),  # keyhole, partial
        (800.0, 1.2e-3, "top-hat"),
        (500.0, 1.2e-3, "gaussian"),
        (250.0, WALL, "gaussian"),
    ],
)
def test_both_engines_agree_on_a_plain_butt(power, thickness, profile):
    settings = {"peak_power": power, "profile": profile, "grid": 0.02e-3, **PULSE}
    joint = section_pulse(butt(thickness=thickness), **settings)
    spot = spot_pulse(TI, thickness=thickness, **settings)
    assert joint.penetration == pytest.approx(spot.penetration, rel=0.03)
    assert joint.fusion_width == pytest.approx(spot.fusion_width, rel=0.03)
    assert joint.fusion_length == pytest.approx(spot.fusion_width, rel=0.03)
    assert joint.absorptance == pytest.approx(spot.absorptance, rel=0.03)
    assert joint.full_penetration == spot.full_penetration
    assert joint.mode == spot.mode
    assert joint.time_above_shielding == pytest.approx(spot.time_above_shielding, rel=0.03)
    assert joint.joint_penetration == pytest.approx(joint.penetration, rel=0.02)


@pytest.mark.parametrize(("power", "thickness"), [(300.0, WALL), (500.0, 1.2e-3), (800.0, 1.2e-3)])
def test_half_the_cells_change_depth_by_less_than_three_per_cent(power, thickness):
    section, cell = sheet(thickness), 0.4e-3 / 14.0
    coarse = section_pulse(section, peak_power=power, **PULSE)
    fine = section_pulse(section, peak_power=power, grid=0.5 * cell, **PULSE)
    assert coarse.penetration == pytest.approx(fine.penetration, rel=0.03)
    assert coarse.fusion_width == pytest.approx(fine.fusion_width, rel=0.03)


@pytest.mark.parametrize(
    "section",
    [butt_section(thickness=0.8e-3, material="Ti Grade 2"), flush_section(gap=0.02e-3, **TUBE)],
    ids=["butt", "flush"],
)
def test_sizes_rise_smoothly_with_power(section):
    """Steps of 1 %: never down, and no stairs, neither from cells nor from the cells' layout."""
    powers = 300.0 * np.linspace(1.0, 1.1, 11)
    runs = [section_pulse(section, peak_power=power, **PULSE) for power in powers]
    cell = PULSE["spot_diameter"] / 14.0
    for name in ("joint_penetration", "fusion_width"):
        steps = np.diff([getattr(run, name) for run in runs])
        assert steps.min() > 0.0
        assert steps.max() < steps.mean() + 0.2 * cell


def test_strong_pulse_on_a_joint_warns_of_ejection_as_on_a_sheet():
    """The rule is of the beam and the metal, so both engines say the same."""
    for power in (400.0, 4000.0):
        joint = section_pulse(butt(), **(COARSE | {"peak_power": power}))
        plain = spot_pulse(TI, thickness=WALL, peak_power=power, **PULSE)
        thrown = ["melt-ejection" in codes(result) for result in (joint, plain)]
        assert thrown == [power > 1000.0] * 2


@pytest.mark.parametrize("gap", [0.0, 0.03e-3])
@pytest.mark.parametrize("angle", [0.0, radians(12.0)])
def test_offsets_to_either_side_are_mirror_images(gap, angle):
    section = butt(gap=gap)
    right, left = (
        section_pulse(section, beam_offset=sign * 0.06e-3, beam_angle=sign * angle, **COARSE)
        for sign in (1.0, -1.0)
    )
    assert left.absorbed_share == pytest.approx(right.absorbed_share[::-1], rel=1e-6)
    assert left.fused_area == pytest.approx(right.fused_area[::-1], rel=1e-6)
    assert left.member_penetration == pytest.approx(right.member_penetration[::-1], rel=1e-6)
    assert left.joint_penetration == pytest.approx(right.joint_penetration, rel=1e-6)
    assert left.absorptance == pytest.approx(right.absorptance, rel=1e-6)


def test_like_members_share_alike_and_a_closed_joint_is_a_sheet():
    joint, plain = section_pulse(butt(), **COARSE), section_pulse(sheet(WALL), **COARSE)
    assert joint.absorbed_share == pytest.approx((0.5, 0.5), rel=1e-9)
    assert joint.fused_area[0] == pytest.approx(joint.fused_area[1], rel=1e-9)
    assert sum(joint.fused_area) == pytest.approx(plain.fused_area[0], rel=1e-9)
    for name in ("penetration", "fusion_width", "root_width", "haz_width", "absorptance"):
        assert getattr(joint, name) == pytest.approx(getattr(plain, name), rel=1e-9)


def test_a_gap_lets_beam_through_and_takes_up_less():
    gaps = (0.0, 0.02e-3, 0.04e-3, 0.08e-3)
    results = [section_pulse(butt(gap=gap), **COARSE) for gap in gaps]
    missed = [result.missed_energy / result.incident_energy for result in results]
    assert np.all(np.diff([result.absorbed_energy for result in results]) < 0.0)
    # strip of a disc between two chords, over the disc
    for gap, share in zip(gaps, missed, strict=True):
        half, radius = 0.5 * gap, 0.2e-3
        strip = 2.0 * (half * np.sqrt(radius**2 - half**2) + radius**2 * np.arcsin(half / radius))
        assert share == pytest.approx(strip / (pi * radius**2), abs=1e-9)
    assert "beam-misses-metal" in codes(results[1])
    assert "beam-misses-metal" not in codes(results[0])


def test_melt_joins_members_only_over_a_gap_that_the_rule_allows():
    closed, narrow, wide = (
        section_pulse(butt(gap=gap), **COARSE) for gap in (0.0, 0.03e-3, 0.06e-3)
    )
    assert narrow.gap_bridged
    assert not wide.gap_bridged
    assert not closed.gap_bridged
    assert "gap-not-bridged" in codes(wide)
    assert "gap-not-bridged" not in codes(narrow)
    aside = section_pulse(butt(gap=0.03e-3), beam_offset=0.3e-3, **COARSE)
    assert not aside.gap_bridged
    assert {"gap-not-bridged", "member-not-melted"} <= codes(aside)
    assert aside.fused_area[0] == 0.0


def test_no_heat_crosses_an_open_gap():
    settings = COARSE | {"peak_power": 250.0}
    apart = section_pulse(butt(gap=0.1e-3), beam_offset=0.26e-3, **settings)
    assert apart.absorbed_share[0] == pytest.approx(0.0, abs=1e-12)
    cold = apart.peak_temperature[apart.member == 0]
    assert cold.max() == pytest.approx(293.15, abs=1e-6)
    touching = section_pulse(butt(gap=3e-6), beam_offset=0.26e-3, **settings)
    assert touching.peak_temperature[touching.member == 0].max() > 800.0


def test_heat_flows_to_the_thicker_member():
    even = section_pulse(butt(), **COARSE)
    uneven = section_pulse(butt(second_thickness=2.0 * WALL), **COARSE)
    assert uneven.member_penetration[0] <= even.member_penetration[0] * (1 + 1e-9)
    assert uneven.fused_area[0] < even.fused_area[0]
    assert uneven.root_width < even.root_width
    assert uneven.time_above_shielding < even.time_above_shielding


def test_an_edge_that_stands_out_melts_more():
    step = section_pulse(butt(mismatch=0.1e-3), **COARSE)
    assert step.fused_area[0] > step.fused_area[1]
    assert step.member_penetration[0] >= step.member_penetration[1]


def test_two_metals_make_a_lopsided_pool_that_follows_when_they_are_swapped():
    mixed = section_pulse(butt(second_material="316L"), **COARSE)
    swapped = section_pulse(butt(material="316L", second_material="Ti Grade 2"), **COARSE)
    assert mixed.fused_area == pytest.approx(swapped.fused_area[::-1], rel=1e-6)
    assert mixed.fused_area[0] != pytest.approx(mixed.fused_area[1], rel=0.01)


def test_travel_during_the_pulse_lengthens_the_pool():
    still = section_pulse(butt(), **COARSE)
    creeping = section_pulse(butt(), travel_speed=1e-6, **COARSE)
    assert creeping.penetration == pytest.approx(still.penetration, rel=2e-3)
    assert creeping.fusion_width == pytest.approx(still.fusion_width, rel=2e-3)
    quick = section_pulse(butt(), travel_speed=0.04, **COARSE)
    assert quick.fusion_length > 1.03 * still.fusion_length
    assert quick.fusion_width < still.fusion_width


def test_a_small_tilt_changes_little():
    upright = section_pulse(sheet(1.2e-3), peak_power=300.0, **PULSE)
    tilted = section_pulse(sheet(1.2e-3), peak_power=300.0, beam_angle=radians(8.0), **PULSE)
    assert tilted.penetration * cos(radians(8.0)) == pytest.approx(upright.penetration, rel=0.06)
    assert sum(tilted.fused_area) == pytest.approx(sum(upright.fused_area), rel=0.06)
    assert tilted.absorptance == pytest.approx(upright.absorptance, rel=1e-3)


def test_tilt_closes_the_view_through_the_gap():
    missed = [
        section_pulse(butt(gap=0.04e-3), beam_angle=radians(angle), **COARSE).missed_energy
        for angle in (0.0, 2.0, 8.0)
    ]
    assert missed[0] > missed[1] > missed[2]
    assert missed[2] == pytest.approx(0.0, abs=1e-12)


def test_fillet_melts_both_legs_alike_at_half_a_right_angle():
    section = fillet_section(**(TUBE | {"plate_thickness": WALL}))
    result = section_pulse(section, beam_angle=radians(45.0), **COARSE)
    assert result.absorbed_share == pytest.approx((0.5, 0.5), abs=1e-6)
    # equal legs are mirror images about the beam, but the corner between them is the plate's
    assert result.member_penetration[0] == pytest.approx(result.member_penetration[1], rel=0.02)
    assert result.fused_area[0] < result.fused_area[1]
    aside = section_pulse(section, beam_angle=radians(45.0), beam_offset=0.1e-3, **COARSE)
    assert aside.absorbed_share[1] > 0.6
    assert 0.0 < result.joint_penetration < section.joint_length


def test_outline_encloses_the_fused_area():
    result = section_pulse(sheet(1.2e-3), peak_power=600.0, **PULSE)
    y, z = result.fusion_outline.T
    area = 0.5 * abs(np.sum(y * np.roll(z, -1) - z * np.roll(y, -1)))
    assert area == pytest.approx(sum(result.fused_area), rel=0.03)
    assert z.max() == pytest.approx(result.penetration, rel=0.02)
    assert np.ptp(y) == pytest.approx(result.fusion_width, rel=0.02)


@pytest.fixture(scope="module")
def split():
    offsets = np.linspace(-0.15e-3, 0.15e-3, 5)
    return heat_split(flush_section(**TUBE), beam_offset=offsets, **COARSE)


def test_moving_the_beam_moves_heat_and_melt(split):
    assert np.all(np.diff(split.plate_share) > 0.0)
    assert np.all(np.diff(split.plate_area) > 0.0)
    assert np.all(np.diff(split.tube_area) < 0.0)
    np.testing.assert_allclose(split.tube_share + split.plate_share, 1.0, rtol=1e-9)
    # at equal shares the plate, free on one side only of the joint, melts less than the wall's end
    assert split.tube_area[2] > split.plate_area[2]


def test_the_picture_takes_the_split_as_it_is(split):
    names = ("beam_offset", "tube_share", "plate_share", "tube_area", "plate_area")
    picture = picture_of_split(**{name: getattr(split, name) for name in names})
    assert "tube" in picture.alt


def test_a_schedules_joint_is_taken_as_it_is():
    joint = Joint(
        type="tube-to-plate",
        form="flush",
        material="Ti Grade 2",
        wall_thickness=WALL,
        plate_thickness=1.2e-3,
        outside_diameter=8e-3,
    )
    direct = section_pulse(flush_section(**TUBE), **COARSE)
    assert section_pulse(joint, **COARSE).fused_area == direct.fused_area


def test_a_batch_gives_what_single_runs_give():
    batch = [COARSE | {"section": butt(), "peak_power": power} for power in (200.0, 400.0, 600.0)]
    together = section_pulses(batch, threads=2)
    assert [one.penetration for one in together] == [
        section_pulse(**case).penetration for case in batch
    ]


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"peak_power": -1.0}, "peak_power"),
        ({"pulse_duration": float("nan")}, "pulse_duration"),
        ({"spot_diameter": 0.0}, "spot_diameter"),
        ({"absorptivity": 1.5}, "absorptivity"),
        ({"profile": "ring"}, "profile"),
        ({"preheat": 2000.0}, "preheat"),
        ({"beam_angle": 1.4}, "beam_angle"),
        ({"travel_speed": -1.0}, "travel_speed"),
        ({"beam_offset": float("inf")}, "beam_offset"),
    ],
)
def test_impossible_values_are_refused_by_name(changes, where):
    with pytest.raises(InputError, match=where):
        section_pulse(butt(), **(COARSE | changes))


def test_an_upright_beam_does_not_reach_a_fillet():
    with pytest.raises(InputError, match="beam_angle"):
        section_pulse(fillet_section(**TUBE), **COARSE)


def test_all_mistakes_are_reported_at_once():
    with pytest.raises(InputError) as caught:
        section_pulse(butt(), **(COARSE | {"peak_power": 0.0, "travel_speed": -1.0}))
    assert len(caught.value.problems) == 2


def test_one_member_cannot_share_heat():
    with pytest.raises(InputError, match="section"):
        heat_split(sheet(WALL), beam_offset=[0.0], **COARSE)
