"""Exposure limits of eye and skin for small sources: estimates for the laser safety officer.

Two rule sets are kept apart because they treat pulse trains differently: the text of EU Directive
2006/25/EC reduces every thermal pulse by N^-0.25, while the 2014 edition of IEC 60825-1 no longer
reduces pulses longer than 13 µs at a small source. The coefficients, with their standing, are
data (``safety/exposure_limits.toml``). Nothing here is a clearance to work.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

from attrs import evolve, field, frozen

from weldcalc.errors import InputError, Problems
from weldcalc.hazards.exposure_tables import (
    RuleSet,
    band_of,
    chosen_rule_sets,
    eye_limit,
    rule_set_named,
    setting,
    skin_exposure,
)
from weldcalc.sourced import Sourced, need_not_negative, need_positive, need_within

Rules = Literal["stricter", "directive", "edition-2014"]

NOTICE = "Estimate for the laser safety officer; not a clearance to work."
SMALL_SOURCE = "small source seen directly or by mirror reflection (CE = 1)"


@frozen
class ExposureLimit:
    """Most radiant exposure of the eye per pulse, with the rule that governs.

    Parameters
    ----------
    value : float
        Limit per pulse at the cornea [J/m2]: the least of the three rules.
    rule : {1, 2, 3}
        Rule that governs: 1 each pulse alone, 2 average of the exposure, 3 train reduction.
    single, average, train : float
        Limits per pulse by rules 1, 2 and 3 [J/m2].
    pulses : int
        Most pulses that can fall within the exposure.
    train_pulses : int
        Pulses counted by rule 3, where close pulses count as one.
    rule_set : str
        "directive" or "edition-2014".
    compared : mapping of str to float
        Limit per pulse of every rule set that was looked at [J/m2].
    average_irradiance : float
        The limit times the pulse rate [W/m2]; zero for a single pulse.
    source, standing, note : str
        Where the numbers come from, how sure they are, and what was assumed.
    unit : str
        Unit of the limits.
    """

    value: float
    rule: int
    single: float
    average: float
    train: float
    pulses: int
    train_pulses: int
    rule_set: str
    compared: Mapping[str, float]
    average_irradiance: float
    source: str
    standing: str
    note: str = f"{NOTICE} Assumes a {SMALL_SOURCE}."
    unit: str = "J/m2"


def _whole_femtometres(wavelength: float) -> float:
    # 1400 nm typed as text may arrive as 1.4000000000000001e-06 and must still be inside
    return round(wavelength, 15)


@frozen
class _Train:
    wavelength: float = field(converter=_whole_femtometres)
    pulse_duration: float
    repetition_rate: float
    exposure_time: float

    def count(self, time: float) -> int:
        """Return the most pulses that can fall within a time."""
        # the small allowance keeps 10 Hz over 10 s at 100 pulses whatever the rounding
        return max(1, math.ceil(self.repetition_rate * time * (1 - 1e-12)))

    def mean_count(self, time: float) -> float:
        """Return the mean number of pulses within a time, never less than the one."""
        return max(1.0, self.repetition_rate * time)


def exposure_limit(
    *,
    wavelength: float,
    pulse_duration: float,
    repetition_rate: float,
    exposure_time: float,
    rules: Rules = "stricter",
) -> ExposureLimit:
    """Return the eye exposure limit per pulse of a regular pulse train, 700 to 1400 nm.

    Parameters
    ----------
    wavelength : float
        Wavelength [m], 700e-9 to 1400e-9.
    pulse_duration : float
        Duration of one pulse [s], at least 1 ns.
    repetition_rate : float
        Pulses per second [Hz]; zero for a single pulse.
    exposure_time : float
        Time for which the eye is exposed [s], not shorter than a pulse.
    rules : {"stricter", "directive", "edition-2014"}
        Rule set; "stricter" takes the lower limit of the two.

    Returns
    -------
    ExposureLimit
        Limit per pulse [J/m2], all three rules, the one that governs and the rule set.

    Raises
    ------
    InputError
        When a value is outside the range covered, pulses overlap each other, the exposure is
        shorter than a pulse, or the rule set is unknown.

    Notes
    -----
    Rule 1: no pulse above the limit of one pulse. Rule 2: the exposure as a whole, at its mean of
    rate times time, not above the limit for that time. Rule 3: no pulse above the single-pulse
    limit times N^-0.25, where pulses within the counted-as-one time are one pulse. The formula
    changes at 1050 nm: 18 CA t^0.75 below it, 90 CC t^0.75 J/m2 from there on. Small source only.

    References
    ----------
    EU Directive 2006/25/EC, annex II, tables 2.2 to 2.6 (rules published, coefficients partly
    from memory); IEC 60825-1:2014 and ICNIRP 2013 (from memory).

    Examples
    --------
    >>> limit = exposure_limit(wavelength=1070e-9, pulse_duration=5e-3, repetition_rate=10.0,
    ...                        exposure_time=10.0)
    >>> round(limit.value, 3), limit.rule, limit.rule_set
    (0.535, 3, 'directive')
    """
    train = _Train(wavelength, pulse_duration, repetition_rate, exposure_time)
    _check_train(train, lowest=700e-9)
    found = [_limit_by(rule_set_named(key), train) for key in chosen_rule_sets(rules)]
    compared = {limit.rule_set: limit.value for limit in found}
    least = min(found, key=lambda limit: limit.value)
    return evolve(least, compared=compared)


def single_exposure_limit(
    *, wavelength: float, duration: float, rules: Rules = "stricter"
) -> Sourced:
    """Return the eye limit of one exposure at a small source, 400 to 1400 nm.

    Parameters
    ----------
    wavelength : float
        Wavelength [m], 400e-9 to 1400e-9 (visible aiming beams included).
    duration : float
        Duration of the exposure [s], at least 1 ns; at most 10 s below 700 nm, where longer
        exposures have a photochemical limit that is not covered.
    rules : {"stricter", "directive", "edition-2014"}
        Rule set.

    Returns
    -------
    Sourced
        Radiant exposure at the cornea [J/m2].

    Raises
    ------
    InputError
        When a value is outside the range covered or the rule set is unknown.

    References
    ----------
    As for `exposure_limit`; 18 t^0.75 J/m2 in the visible: Macquarie University, Faculty of
    Science, laser safety appendix X, 2015.
    """
    _check_train(_Train(wavelength, duration, 0.0, duration), lowest=400e-9)
    if wavelength < 700e-9 and duration > setting("long_from"):
        raise InputError.of("duration", "has to be at most 10 s below 700 nm", duration)
    chosen = [rule_set_named(key) for key in chosen_rule_sets(rules)]
    least = min(chosen, key=lambda rule_set: eye_limit(rule_set, wavelength, duration))
    return Sourced(
        value=eye_limit(least, wavelength, duration),
        unit="J/m2",
        formula="short * C, then thermal * C * t^0.75, then long * CA * CC * t",
        source=least.source,
        standing=least.standing,
        note=f"{NOTICE} Assumes a {SMALL_SOURCE}.",
    )


def skin_limit(
    *, wavelength: float, pulse_duration: float, repetition_rate: float, exposure_time: float
) -> Sourced:
    """Return the skin exposure limit per pulse, 400 to 1400 nm.

    Parameters
    ----------
    wavelength : float
        Wavelength [m], 400e-9 to 1400e-9.
    pulse_duration : float
        Duration of one pulse [s], at least 1 ns.
    repetition_rate : float
        Pulses per second [Hz]; zero for a single pulse.
    exposure_time : float
        Time for which the skin is exposed [s], not shorter than a pulse.

    Returns
    -------
    Sourced
        Radiant exposure per pulse [J/m2]: the lower of the single-pulse and the average rule.

    Raises
    ------
    InputError
        When a value is outside the range covered.

    References
    ----------
    1.1e4 CA t^0.25 J/m2 up to 10 s, 2e3 CA W/m2 beyond (from memory).
    """
    train = _Train(wavelength, pulse_duration, repetition_rate, exposure_time)
    _check_train(train, lowest=400e-9)
    average = skin_exposure(wavelength, exposure_time) / train.mean_count(exposure_time)
    return Sourced(
        value=min(skin_exposure(wavelength, pulse_duration), average),
        unit="J/m2",
        formula="min(L(pulse), L(exposure) / N), L = 1.1e4 CA t^0.25 up to 10 s, 2e3 CA t beyond",
        source="skin limits 400 to 1400 nm",
        standing="from memory",
        note=NOTICE,
    )


def pupil_exposure(*, pulse_energy: float, beam_diameter: float) -> Sourced:
    """Return the radiant exposure of one pulse averaged over the pupil or the larger beam.

    Parameters
    ----------
    pulse_energy : float
        Energy that reaches the eye [J]; power [W] gives irradiance instead.
    beam_diameter : float
        Diameter of the beam at the eye [m]; below 7 mm the pupil's area is taken.

    Returns
    -------
    Sourced
        Radiant exposure [J/m2].

    Raises
    ------
    InputError
        When a value is not above zero.

    References
    ----------
    Averaging over a 7 mm aperture, 400 to 1400 nm (from memory).
    """
    problems = Problems()
    need_positive(problems, pulse_energy=pulse_energy, beam_diameter=beam_diameter)
    problems.raise_if_any()
    across = max(beam_diameter, pupil_diameter())
    return Sourced(
        value=pulse_energy / (math.pi / 4 * across**2),
        unit="J/m2",
        formula="Q / (pi/4 max(d, 7 mm)^2)",
        source="averaging aperture of 7 mm for 400 to 1400 nm",
        standing="from memory",
        note=NOTICE,
    )


def pupil_diameter() -> float:
    """Return the diameter over which exposures of the retina are averaged [m] (from memory)."""
    return setting("pupil_diameter")


def customary_exposure_time() -> float:
    """Return the time base for accidental viewing of an invisible beam [s] (from memory)."""
    return setting("default_exposure")


def _limit_by(rule_set: RuleSet, train: _Train) -> ExposureLimit:
    single = eye_limit(rule_set, train.wavelength, train.pulse_duration)
    time = train.exposure_time
    average = eye_limit(rule_set, train.wavelength, time) / train.mean_count(time)
    reduced, counted = _train_rule(rule_set, train)
    value, rule = min((single, 1), (average, 2), (reduced, 3))
    return ExposureLimit(
        value=value,
        rule=rule,
        single=single,
        average=average,
        train=reduced,
        pulses=train.count(time),
        train_pulses=counted,
        rule_set=rule_set.key,
        compared={},
        average_irradiance=value * train.repetition_rate,
        source=rule_set.source,
        standing=rule_set.standing,
    )


def _train_rule(rule_set: RuleSet, train: _Train) -> tuple[float, int]:
    band = band_of(rule_set, train.wavelength)
    over = min(train.exposure_time, rule_set.train_over)
    window = min(band.counted_as_one, over)
    in_window = train.repetition_rate * window
    length = train.pulse_duration if in_window <= 1 else window
    # pulses inside the window share the limit of one pulse as long as the window
    shared = max(1.0, in_window)
    counted = train.count(over) if in_window <= 1 else max(1, math.ceil(over / window))
    base = eye_limit(rule_set, train.wavelength, length) / shared
    long_pulse = length > band.counted_as_one
    return base * rule_set.train.reduction(pulses=counted, long_pulse=long_pulse), counted


def _check_train(train: _Train, lowest: float) -> None:
    problems = Problems()
    nm = train.wavelength * 1e9
    if not lowest <= train.wavelength <= 1400e-9:
        why = f"is not covered: has to lie between {lowest * 1e9:.0f} and 1400 nm; ask the laser"
        problems.add("wavelength", f"{why} safety officer for limits elsewhere", f"{nm:g} nm")
    shortest, longest = setting("shortest"), setting("longest")
    need_within(problems, shortest, longest, "s", pulse_duration=train.pulse_duration)
    need_within(problems, shortest, longest, "s", exposure_time=train.exposure_time)
    need_not_negative(problems, repetition_rate=train.repetition_rate)
    if train.exposure_time < train.pulse_duration:
        problems.add("exposure_time", "has to be at least one pulse long", train.exposure_time)
    if train.repetition_rate * train.pulse_duration > 1 + 1e-12:
        why = "pulses would overlap: the rate times the pulse duration has to be at most 1"
        problems.add("repetition_rate", why, train.repetition_rate)
    problems.raise_if_any()
