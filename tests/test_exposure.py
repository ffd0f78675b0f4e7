"""Exposure limits of eye and skin: worked examples, both rule sets, limits and refusals."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldcalc import safety
from weldcalc.errors import InputError

NM = 1e-9
TRAIN = {"wavelength": 1070 * NM, "pulse_duration": 5e-3, "repetition_rate": 10.0}


def test_three_rules_of_the_directive_for_a_weld_pulse_train() -> None:
    # EU Directive 2006/25/EC annex II table 2.6 (rules read; 90 t^0.75 from memory): 1070 nm, 5 ms,
    # 10 Hz, 10 s -> 1.692, 5.061, 0.535 J/m2, the third governs; 0.1 %
    limit = safety.exposure_limit(**TRAIN, exposure_time=10.0, rules="directive")
    assert limit.single == pytest.approx(1.692, rel=1e-3)
    assert limit.average == pytest.approx(5.061, rel=1e-3)
    assert limit.train == pytest.approx(0.535, rel=1e-3)
    assert (limit.value, limit.rule, limit.pulses) == (limit.train, 3, 100)


def test_2014_edition_does_not_reduce_long_pulses_of_a_small_source() -> None:
    # C5 = 1 above 13 us at a small source: IEC 60825-1:2014 and ICNIRP 2013 (from memory)
    limit = safety.exposure_limit(**TRAIN, exposure_time=10.0, rules="edition-2014")
    assert limit.train == limit.single == limit.value
    assert limit.rule == 1


def test_stricter_takes_the_lower_and_shows_both() -> None:
    both = safety.exposure_limit(**TRAIN, exposure_time=10.0)
    assert both.rule_set == "directive"
    assert set(both.compared) == {"directive", "edition-2014"}
    assert both.value == min(both.compared.values())
    # one pulse of a microsecond: 5e-2 against 2e-2 J/m2 (both from memory)
    short = safety.exposure_limit(
        wavelength=1064 * NM, pulse_duration=1e-6, repetition_rate=0.0, exposure_time=1.0
    )
    assert (short.rule_set, short.value) == ("edition-2014", pytest.approx(2e-2))
    assert short.compared["directive"] == pytest.approx(5e-2)


@pytest.mark.parametrize(
    ("wavelength", "expected"),
    [
        # 18 CA t^0.75 below 1050 nm with CA = 4.57 at 1030 nm (Norwegian regulation on artificial
        # optical radiation, annex 4 table 4.5); 90 CC t^0.75 from 1050 nm on (from memory)
        (700 * NM, 18 * 5e-3**0.75),
        (1030 * NM, 18 * 4.57 * 5e-3**0.75),
        (1064 * NM, 90 * 5e-3**0.75),
        (1100 * NM, 90 * 5e-3**0.75),
        (1250 * NM, 8 * 90 * 5e-3**0.75),
    ],
)
def test_formula_changes_at_1050_nm(wavelength: float, expected: float) -> None:
    found = safety.single_exposure_limit(wavelength=wavelength, duration=5e-3, rules="directive")
    assert found.value == pytest.approx(expected, rel=1e-3)


def test_both_branches_meet_at_1050_nm_for_weld_pulses_only() -> None:
    def ratio(duration: float) -> float:
        below, above = (
            safety.single_exposure_limit(wavelength=w * NM, duration=duration, rules="directive")
            for w in (1049.999, 1050)
        )
        return above.value / below.value

    assert ratio(5e-3) == pytest.approx(1.0, rel=3e-3)
    assert ratio(1e-8) == pytest.approx(2.0, rel=3e-3)


def test_visible_limit_of_the_published_example() -> None:
    # Macquarie University, laser safety appendix X, 2015: 488 nm, 0.25 s, 1.8 t^0.75 mJ/cm2
    # -> 0.64 mJ/cm2 and 2.55 mW/cm2; 0.5 %
    found = safety.single_exposure_limit(wavelength=488 * NM, duration=0.25)
    assert found.value / 10 == pytest.approx(0.6364, rel=5e-3)
    assert found.value / 0.25 / 10 == pytest.approx(2.5456, rel=5e-3)


def test_long_exposure_at_1064_nm_is_50_watts_per_square_metre() -> None:
    # 50 W/m2 beyond 10 s at 1050 to 1150 nm (from memory)
    for rules in ("directive", "edition-2014"):
        long = safety.single_exposure_limit(wavelength=1064 * NM, duration=1000.0, rules=rules)
        assert long.value / 1000 == pytest.approx(50.0)


@pytest.mark.parametrize("rules", ["directive", "edition-2014"])
@given(
    rate=st.floats(0.1, 190.0),
    time=st.floats(0.01, 1e4),
    wavelength=st.floats(700 * NM, 1400 * NM),
)
def test_more_pulses_never_raise_the_limit(
    rules: safety.Rules, rate: float, time: float, wavelength: float
) -> None:
    def limit(rate: float, time: float) -> float:
        return safety.exposure_limit(
            wavelength=wavelength,
            pulse_duration=5e-3,
            repetition_rate=rate,
            exposure_time=time,
            rules=rules,
        ).value

    # where the skin limit caps it, the two skin formulas miss each other by 2.3 % at 10 s
    assert limit(rate, 1.5 * time) <= limit(rate, time) * 1.023
    assert limit(1.05 * rate, time) <= limit(rate, time) * (1 + 1e-12)


def test_pulses_inside_the_counted_as_one_time_are_one_pulse() -> None:
    # counted-as-one time 50 us at 1064 nm (directive table 2.6, read): at 1 MHz fifty pulses share
    # the limit of one pulse of 50 us, and a train of 10 s counts as 200 000
    limit = safety.exposure_limit(
        wavelength=1064 * NM,
        pulse_duration=1e-7,
        repetition_rate=1e6,
        exposure_time=10.0,
        rules="directive",
    )
    assert limit.train_pulses == 200_000
    assert limit.train == pytest.approx(90 * 50e-6**0.75 / 50 * 200_000**-0.25, rel=1e-9)
    slow = safety.exposure_limit(
        wavelength=1064 * NM,
        pulse_duration=1e-7,
        repetition_rate=1e3,
        exposure_time=10.0,
        rules="directive",
    )
    assert slow.train_pulses == slow.pulses == 10_000


def test_2014_edition_reduces_short_pulses_after_600_and_stops_at_0_4() -> None:
    # C5 = 5 N^-0.25, at least 0.4, once more than 600 pulses arrive (from memory)
    def factor(time: float) -> float:
        limit = safety.exposure_limit(
            wavelength=1064 * NM,
            pulse_duration=1e-6,
            repetition_rate=1000.0,
            exposure_time=time,
            rules="edition-2014",
        )
        return limit.train / limit.single

    assert factor(0.6) == 1.0
    assert factor(2.0) == pytest.approx(5 * 2000**-0.25)
    assert factor(10.0) == pytest.approx(0.5)
    assert factor(100.0) == pytest.approx(0.5)  # counted over 10 s at most


def test_a_single_pulse_has_no_train() -> None:
    limit = safety.exposure_limit(
        wavelength=1064 * NM, pulse_duration=5e-3, repetition_rate=0.0, exposure_time=10.0
    )
    assert limit.pulses == limit.train_pulses == 1
    assert (limit.rule, limit.average_irradiance) == (1, 0.0)


def test_eye_limit_never_exceeds_the_skin_limit_beyond_1150_nm() -> None:
    # dual limit that protects the front of the eye (from memory)
    for rules in ("directive", "edition-2014"):
        for wavelength in (1200 * NM, 1300 * NM, 1400 * NM):
            train = {"wavelength": wavelength, "pulse_duration": 5e-3, "repetition_rate": 0.0}
            eye = safety.exposure_limit(**train, exposure_time=1.0, rules=rules)
            assert eye.value <= safety.skin_limit(**train, exposure_time=1.0).value


@pytest.mark.parametrize(
    ("changed", "names"),
    [
        ({"wavelength": 699 * NM}, "wavelength"),
        ({"wavelength": 1401 * NM}, "wavelength"),
        ({"wavelength": 10.6e-6}, "wavelength"),
        ({"wavelength": math.nan}, "wavelength"),
        ({"pulse_duration": 1e-10}, "pulse_duration"),
        ({"pulse_duration": 20.0, "repetition_rate": 0.0}, "exposure_time"),
        ({"exposure_time": 1e5}, "exposure_time"),
        ({"repetition_rate": 201.0}, "repetition_rate"),
        ({"repetition_rate": -1.0}, "repetition_rate"),
        ({"repetition_rate": math.inf}, "repetition_rate"),
        ({"rules": "lenient"}, "rules"),
    ],
)
def test_what_is_not_covered_is_refused_by_name(changed: dict[str, float], names: str) -> None:
    with pytest.raises(InputError) as caught:
        safety.exposure_limit(**{**TRAIN, "exposure_time": 10.0, **changed})
    assert names in {problem.where for problem in caught.value.problems}
    assert caught.value.exit_code == 2


def test_long_visible_exposure_is_refused() -> None:
    with pytest.raises(InputError, match="10 s"):
        safety.single_exposure_limit(wavelength=488 * NM, duration=11.0)


def test_skin_limit_of_one_pulse_and_of_a_long_train() -> None:
    # 1.1e4 CA t^0.25 J/m2 and 2e3 CA W/m2 with CA = 5 (from memory)
    one = {"wavelength": 1064 * NM, "pulse_duration": 5e-3}
    single = safety.skin_limit(**one, repetition_rate=0.0, exposure_time=10.0)
    assert single.value == pytest.approx(1.1e4 * 5 * 5e-3**0.25)
    train = safety.skin_limit(**one, repetition_rate=100.0, exposure_time=100.0)
    assert train.value * 100.0 == pytest.approx(1e4)
