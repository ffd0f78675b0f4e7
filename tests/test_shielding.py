"""Purge, gas use and cover of hot metal: published formulas, independent solutions, limits."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from schedules import GAS
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import k0e

from weldcalc import shielding
from weldcalc.canonical import plain
from weldcalc.errors import InputError
from weldcalc.hazards.room_air import instant_release
from weldcalc.schedule import Schedule, schedule_from_mapping

PPM = 1e-6
L_MIN = 1e-3 / 60
MM = 1e-3
SEAM = {
    "heat_input": 8e3,
    "temperature": 700.0,
    "preheat": 300.0,
    "conductivity": 20.0,
    "volumetric_heat": 2.8e6,
}


def schedule(material: str = "Ti Grade 2", **setup: str) -> Schedule:
    return schedule_from_mapping(
        {
            "title": "invented for this test",
            "number": "T-1",
            "revision": "A",
            "joint": {
                "type": "butt",
                "form": "tube",
                "material": material,
                "wall_thickness": "0.4 mm",
                "outside_diameter": "8 mm",
            },
            "laser": {"spot_diameter": "0.4 mm"},
            "shielding": setup,
            "preparation": {"clean_to_weld": "45 min"},
            "pass": [
                {
                    "name": "root",
                    "peak_power": "400 W",
                    "pulse_duration": "5 ms",
                    "repetition_rate": "5 Hz",
                    "travel_speed": "0.5 mm/s",
                }
            ],
        },
    )


SEAM_OF_ROOT = shielding.HotSeam(
    where="root", travel_speed=0.5 * MM, weld_time=50.0, time_above=4.0, radius_above=1.5 * MM
)


def weights(plan: shielding.ShieldingPlan) -> dict[str, str]:
    return {finding.code: finding.weight for finding in plan.findings}


# ---- purge ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("target", "expected"), [(20 * PPM, 9.257), (10 * PPM, 9.950)])
def test_volume_changes_of_the_perfect_mixing_equation(target: float, expected: float) -> None:
    # t = (V / Q) ln(C0 / C), C0 = 209500 ppm (formula published, numbers derived): 1e-3
    made = shielding.purge(volume=40e-6, oxygen_target=target, flow=4 * L_MIN)
    assert made.volume_changes == pytest.approx(expected, abs=1e-3)
    assert made.gas_volume == pytest.approx(expected * 40e-6, rel=1e-4)
    assert made.time == pytest.approx(expected * 40e-6 / (4 * L_MIN), rel=1e-4)
    assert made.findings[0].code == "purge-lower-bound"


@given(
    volume=st.floats(1e-6, 1e-2),
    flow=st.floats(0.1 * L_MIN, 50 * L_MIN),
    purity=st.floats(0.999, 0.999999),
    above=st.floats(1.1, 100.0),
)
def test_purging_for_the_purge_time_gives_the_target(
    volume: float, flow: float, purity: float, above: float
) -> None:
    target = (1 - purity) * above
    made = shielding.purge(volume=volume, oxygen_target=target, flow=flow, purity=purity)
    assert made.time is not None
    left = shielding.purge_oxygen(
        volume=volume, flow=flow, time=made.time, initial=made.initial, floor=made.floor
    )
    assert left.value == pytest.approx(target, rel=1e-6)


def test_purge_solves_the_mass_balance() -> None:
    # dC/dt = (Q / V) (Cg - C), integrated by SciPy
    volume, flow, floor, time = 40e-6, 4 * L_MIN, 5 * PPM, 4.0
    balance = solve_ivp(
        lambda _, oxygen: flow / volume * (floor - oxygen), (0, time), [0.2095], rtol=1e-10, atol=0
    )
    left = shielding.purge_oxygen(volume=volume, flow=flow, time=time, initial=0.2095, floor=floor)
    assert left.value == pytest.approx(balance.y[0, -1], rel=1e-6)


def test_purges_add_up_in_volume_and_in_steps() -> None:
    def gas(volume: float, target: float, **more: float) -> float:
        made = shielding.purge(volume=volume, oxygen_target=target, **more)
        assert made.gas_volume is not None
        return made.gas_volume

    whole = gas(5e-5, 20 * PPM)
    assert gas(2e-5, 20 * PPM) + gas(3e-5, 20 * PPM) == pytest.approx(whole)
    steps = gas(5e-5, 1e-3) + gas(5e-5, 20 * PPM, initial=1e-3)
    assert steps == pytest.approx(whole)


@given(first=st.floats(1.0, 1e3), factor=st.floats(1.001, 10.0))
def test_a_lower_target_never_takes_less_gas(first: float, factor: float) -> None:
    low, high = (
        shielding.purge(volume=1e-3, oxygen_target=target * PPM, purity=0.9999999).volume_changes
        for target in (first, first * factor)
    )
    assert low is not None
    assert high is not None
    assert low >= high


def test_a_gas_cannot_be_shown_to_reach_below_its_own_impurity() -> None:
    made = shielding.purge(volume=1e-3, oxygen_target=10 * PPM, flow=1e-4, purity=0.99999)
    assert made.floor == pytest.approx(10 * PPM)
    assert (made.volume_changes, made.gas_volume, made.time) == (None, None, None)
    assert (made.findings[0].weight, made.findings[0].code) == ("caution", "purge-gas-oxygen")
    assert made.findings[0].remedy
    # its certificate may state less oxygen than all that the purity leaves open
    stated = shielding.purge(
        volume=1e-3, oxygen_target=10 * PPM, purity=0.99999, certified_oxygen=2 * PPM
    )
    assert stated.volume_changes is not None
    assert stated.floor == 2 * PPM


def test_impure_gas_takes_longer_and_a_clean_start_takes_nothing() -> None:
    pure = shielding.purge(volume=1e-3, oxygen_target=20 * PPM).volume_changes
    impure = shielding.purge(volume=1e-3, oxygen_target=20 * PPM, purity=0.99999).volume_changes
    assert pure is not None
    assert impure is not None
    assert impure > pure
    clean = shielding.purge(volume=1e-3, oxygen_target=20 * PPM, initial=15 * PPM)
    assert clean.volume_changes == 0.0


def test_gas_use_adds_shield_and_purge() -> None:
    # 12 L/min for 5 + 50 + 25 s and 4 L/min for 60 + 50 + 25 s: 16 L and 9 L
    use = shielding.gas_use(
        weld_time=50.0,
        shield_flow=12 * L_MIN,
        pre_flow=5.0,
        post_flow=25.0,
        purge_flow=4 * L_MIN,
        purge_time=60.0,
    )
    assert use.shield == pytest.approx(16e-3)
    assert use.purge == pytest.approx(9e-3)
    assert use.total == use.shield + use.purge


# ---- hot metal -----------------------------------------------------------------------------------


def test_both_published_temperatures_are_there() -> None:
    # 800 degF (university welding notes) and 500 degF (NAVSEA S9074-AR-GIB-010/278, 6.2.7.1)
    found = shielding.shielding_temperatures()
    assert found["usual"].value == pytest.approx((800 - 32) / 1.8 + 273.15, abs=0.5)
    assert found["strict"].value == pytest.approx((500 - 32) / 1.8 + 273.15, abs=1e-9)
    assert all(row.source and row.standing for row in found.values())


@pytest.mark.parametrize("thickness", [1e-4, 4e-4, 1e-3, 1.4e-3, 2e-3, 1e-2])
def test_cooling_time_is_close_below_the_exact_sheet(thickness: float) -> None:
    # fast source on a sheet with insulated faces: half-space line source with image sources
    def rise(time: float) -> float:
        reach = SEAM["conductivity"] / SEAM["volumetric_heat"] * time
        images = sum(math.exp(-((n * thickness) ** 2) / reach) for n in range(1, 2000))
        return SEAM["heat_input"] / (2 * math.pi * SEAM["conductivity"] * time) * (1 + 2 * images)

    exact = brentq(lambda time: rise(time) - 400.0, 1e-4, 1e4)
    found = shielding.seam_cooling_time(**SEAM, thickness=thickness).value
    assert 0.9 * exact < found <= exact * (1 + 1e-6)


def test_cooling_time_behind_a_moving_line_source() -> None:
    # Rosenthal's thin plate (from memory): q / (2 pi k h) exp(-v x / 2a) K0(v r / 2a), x = -v t
    thickness, speed = 4e-4, 20 * MM
    time = shielding.seam_cooling_time(**SEAM, thickness=thickness).value
    argument = speed**2 * time / (2 * SEAM["conductivity"] / SEAM["volumetric_heat"])
    power = SEAM["heat_input"] * speed
    # k0e is K0 times exp: the exponential in front of it is part of the solution behind the source
    rise = power / (2 * math.pi * SEAM["conductivity"] * thickness) * float(k0e(argument))
    assert rise == pytest.approx(400.0, rel=0.01)


@given(more=st.floats(1.0, 3.0), warmer=st.floats(0.0, 300.0))
def test_more_heat_and_a_warmer_part_never_cool_sooner(more: float, warmer: float) -> None:
    plain_time = shielding.seam_cooling_time(**SEAM, thickness=4e-4).value
    heat, preheat = SEAM["heat_input"] * more, SEAM["preheat"] + warmer
    changed = {**SEAM, "heat_input": heat, "preheat": preheat}
    assert shielding.seam_cooling_time(**changed, thickness=4e-4).value >= plain_time * (1 - 1e-9)


def test_trailing_length_is_speed_times_time_above() -> None:
    cover = shielding.hot_metal_cover(
        remove_below=700.15,
        time_above=4.0,
        radius_above=1.5 * MM,
        travel_speed=2 * MM,
        nozzle_diameter=10 * MM,
        post_flow=3.0,
        where="root",
    )
    assert cover.trailing_length == pytest.approx(8 * MM)
    assert cover.trailing_shield == pytest.approx(3 * MM)
    answers = (cover.sideways_covered, cover.trailing_covered, cover.post_flow_reaches)
    assert answers == (True, False, False)
    assert [finding.code for finding in cover.findings] == ["trailing-shield", "post-flow-short"]
    assert all(finding.remedy and finding.where == "root" for finding in cover.findings)
    assert ["AWS G2.4" in finding.source for finding in cover.findings] == [False, True]


def test_cover_is_confirmed_refused_or_left_open() -> None:
    hot: dict[str, Any] = {"remove_below": 700.15, "time_above": 4.0, "radius_above": 1.5 * MM}
    slow = {**hot, "travel_speed": 0.5 * MM}
    good = shielding.hot_metal_cover(**slow, nozzle_diameter=10 * MM, post_flow=5.0)
    assert [finding.code for finding in good.findings] == ["hot-metal-covered"]
    narrow = shielding.hot_metal_cover(**slow, nozzle_diameter=2 * MM, post_flow=5.0)
    assert "nozzle-too-narrow" in {finding.code for finding in narrow.findings}
    bare = shielding.hot_metal_cover(**slow)
    assert (bare.sideways_covered, bare.post_flow_reaches, bare.trailing_shield) == (None,) * 3
    assert {finding.weight for finding in bare.findings} == {"note"}
    unknown = shielding.hot_metal_cover(**{**slow, "time_above": None})
    assert [finding.code for finding in unknown.findings] == ["hot-metal-unknown"]


# ---- a schedule ----------------------------------------------------------------------------------


def test_a_good_setup_has_nothing_graver_than_notes() -> None:
    plan = shielding.shielding_plan(
        schedule(**GAS), seams=[SEAM_OF_ROOT], nozzle_diameter=10 * MM, post_flow=10.0
    )
    assert set(weights(plan).values()) == {"note"}
    assert plan.clean_to_weld == 45 * 60
    assert plan.purge is not None
    # 10 ppm of worst-case impurity in the gas: ln((209500 - 10) / (20 - 10))
    assert plan.purge.volume_changes == pytest.approx(math.log(209490 / 10), rel=1e-6)
    assert plan.use is not None
    assert plan.smallest_room is not None
    room = instant_release(room_volume=plan.smallest_room, gas_volume=plan.use.total)
    assert room.value == pytest.approx(0.195)


def test_every_pass_has_its_own_pre_and_post_flow() -> None:
    plan = shielding.shielding_plan(
        schedule(gas="argon", flow="12 L/min", purge_flow="4 L/min"),
        seams=[SEAM_OF_ROOT, SEAM_OF_ROOT],
        pre_flow=5.0,
        post_flow=10.0,
    )
    assert plan.use is not None
    # two passes of 50 s: 12 L/min over 130 s and 4 L/min over 120 s
    assert plan.use.shield == pytest.approx(26e-3)
    assert plan.use.purge == pytest.approx(8e-3)


def test_the_purge_goes_on_between_two_passes() -> None:
    setup = {"gas": "argon", "flow": "12 L/min", "purge_flow": "4 L/min"}
    seams = [SEAM_OF_ROOT, SEAM_OF_ROOT]
    one = schedule(**setup).passes[0]
    typed = {"peak_power": one.peak_power, "pulse_duration": one.pulse_duration}
    typed |= {"repetition_rate": one.repetition_rate, "travel_speed": one.travel_speed}
    two = schedule(**setup).with_passes(
        [{"name": "root", **typed}, {"name": "cover", **typed, "pause_before": 60.0}]
    )
    use = shielding.shielding_plan(two, seams=seams).use
    assert use is not None
    # 4 L/min over two passes of 50 s and the minute between them; the nozzle only while welding
    assert use.purge == pytest.approx(160 * 4 * L_MIN)
    assert use.shield == pytest.approx(100 * 12 * L_MIN)
    # a post-flow of the first pass falls into the pause
    use = shielding.shielding_plan(two, seams=seams, post_flow=10.0).use
    assert use is not None
    assert use.purge == pytest.approx((50 + 60 + 50 + 10) * 4 * L_MIN)


@pytest.mark.parametrize(
    ("changed", "code", "weight"),
    [
        ({"gas": "nitrogen"}, "shielding-gas", "stop"),
        ({"gas": "Ar + 2 % H2"}, "shielding-gas", "stop"),
        ({"gas": "mystery mix"}, "shielding-gas", "caution"),
        ({"gas": ""}, "shielding-gas", "caution"),
        ({"purity": "99.99 %"}, "gas-purity", "caution"),
        ({"purity": ""}, "gas-purity", "note"),
        ({"oxygen_target": "50 ppm"}, "oxygen-target", "caution"),
        ({"oxygen_target": ""}, "purge-not-given", "caution"),
        ({"oxygen_target": "9 ppm"}, "purge-gas-oxygen", "caution"),
        ({"remove_below": "500 degC"}, "remove-below", "caution"),
        ({"remove_below": ""}, "remove-below", "note"),
    ],
)
def test_what_titanium_does_not_forgive(changed: dict[str, str], code: str, weight: str) -> None:
    setup = {key: text for key, text in {**GAS, **changed}.items() if text}
    plan = shielding.shielding_plan(schedule(**setup))
    assert weights(plan)[code] == weight
    found = next(finding for finding in plan.findings if finding.code == code)
    assert found.remedy
    assert found.source


@pytest.mark.parametrize("gas", ["argon", "Argon 5.0", "helium", "Ar/He 70/30", "I1 argon"])
def test_inert_gases_pass(gas: str) -> None:
    plan = shielding.shielding_plan(schedule(**{**GAS, "gas": gas}))
    assert "shielding-gas" not in weights(plan)


def test_the_strict_temperature_ends_the_conflict_note() -> None:
    plan = shielding.shielding_plan(schedule(**{**GAS, "remove_below": "260 degC"}))
    assert "remove-below" not in weights(plan)


def test_steel_is_not_held_to_titanium_rules() -> None:
    plan = shielding.shielding_plan(schedule("316L", gas="nitrogen"), seams=[SEAM_OF_ROOT])
    assert plan.findings == ()
    assert (plan.remove_below, plan.purge, plan.use, plan.covers) == (None, None, None, ())


def test_plan_as_json_is_plain_and_in_shown_units() -> None:
    plan = shielding.shielding_plan(schedule(**GAS), seams=[SEAM_OF_ROOT])
    data = plan.to_json()
    json.dumps(plain(data), allow_nan=False)
    assert data["clean_to_weld_min"] == pytest.approx(45.0)
    assert data["remove_below_degC"] == pytest.approx(427.0)
    assert data["passes"][0]["shielded_length_mm"] == pytest.approx(2.0)
    assert data["passes"][0]["shielded_width_mm"] == pytest.approx(3.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: shielding.gas_oxygen(purity=1.01),
        lambda: shielding.purge(volume=0.0, oxygen_target=1e-5),
        lambda: shielding.purge(volume=1.0, oxygen_target=0.0),
        lambda: shielding.purge(volume=1.0, oxygen_target=2.0),
        lambda: shielding.purge(volume=1.0, oxygen_target=1e-5, flow=0.0),
        lambda: shielding.purge(volume=1.0, oxygen_target=1e-5, initial=1.5),
        lambda: shielding.purge(volume=1.0, oxygen_target=1e-5, certified_oxygen=-1.0),
        lambda: shielding.purge_oxygen(volume=1.0, flow=-1.0, time=1.0, initial=0.2),
        lambda: shielding.gas_use(weld_time=-1.0),
        lambda: shielding.gas_use(weld_time=math.inf),
        lambda: shielding.seam_cooling_time(**{**SEAM, "preheat": 700.0}, thickness=1e-3),
        lambda: shielding.seam_cooling_time(**SEAM, thickness=0.0),
        lambda: shielding.hot_metal_cover(
            remove_below=700.0, time_above=-1.0, radius_above=None, travel_speed=0.0
        ),
    ],
)
def test_impossible_values_are_refused(call: Callable[[], object]) -> None:
    with pytest.raises(InputError):
        call()
