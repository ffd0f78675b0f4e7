"""Coefficients of the exposure-limit rule sets, and the limit of one exposure made from them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from attrs import frozen

from weldcalc.errors import InputError
from weldcalc.reference import read_toml

_TABLE = "safety/exposure_limits.toml"


@frozen
class Band:
    """Coefficients of one wavelength band.

    Parameters
    ----------
    low, high : float
        Wavelengths [m]; the upper one belongs to the next band.
    correction : {"CA", "CC"}
        Factor on `short` and `thermal`.
    short : float
        Limit of an exposure shorter than `counted_as_one` [J/m2].
    counted_as_one : float
        Time within which pulses are one pulse [s].
    thermal : float
        Limit over time to the power of 0.75, up to 10 s [J/(m2 s^0.75)].
    long : float or None
        Limit beyond 10 s [W/m2]; None where that is not covered.
    """

    low: float
    high: float
    correction: str
    short: float
    counted_as_one: float
    thermal: float
    long: float | None


@frozen
class TrainRule:
    """How one edition lowers the single-pulse limit for a train of pulses.

    Parameters
    ----------
    long_pulses : {"reduced", "not reduced"}
        Whether pulses longer than the counted-as-one time are reduced too.
    exponent, factor, floor : float
        Reduction = factor * N^exponent, never under the floor and never above 1.
    more_than : float
        Number of pulses up to which there is no reduction.
    """

    long_pulses: str
    exponent: float
    factor: float = 1.0
    floor: float = 0.0
    more_than: float = 0.0

    def reduction(self, *, pulses: int, long_pulse: bool) -> float:
        """Return the factor on the limit of a single pulse.

        Parameters
        ----------
        pulses : int
            Pulses of the train.
        long_pulse : bool
            Whether a pulse is longer than the counted-as-one time.

        Returns
        -------
        float
            Factor [1], at most 1.
        """
        spared = long_pulse and self.long_pulses == "not reduced"
        if spared or pulses <= self.more_than:
            return 1.0
        return min(1.0, max(self.floor, self.factor * float(pulses**self.exponent)))


@frozen
class RuleSet:
    """One edition of the rules.

    Parameters
    ----------
    key, source, standing : str
        Short name, origin, and how sure it is.
    train_over : float
        Longest time over which the pulses of a train are counted [s].
    bands : tuple of Band
        By rising wavelength.
    train : TrainRule
        How a train lowers the limit.
    cc_growth, cc_growth_from : float
        Exponent [1/nm] and start [m] of the extra growth of CC; zero for none.
    """

    key: str
    source: str
    standing: str
    train_over: float
    bands: tuple[Band, ...]
    train: TrainRule
    cc_growth: float
    cc_growth_from: float


def chosen_rule_sets(rules: str) -> tuple[str, ...]:
    """Return the keys of the rule sets that a choice stands for.

    Parameters
    ----------
    rules : str
        "stricter" for all of them, or one key.

    Raises
    ------
    InputError
        When the choice is unknown.
    """
    known = tuple(_table()["rule_set"])
    if rules == "stricter":
        return known
    if rules not in known:
        raise InputError.of("rules", f"has to be one of stricter, {', '.join(known)}", rules)
    return (rules,)


@cache
def rule_set_named(key: str) -> RuleSet:
    """Return a rule set.

    Parameters
    ----------
    key : str
        As `chosen_rule_sets` gives it.
    """
    raw = _table()["rule_set"][key]
    return RuleSet(
        key=key,
        source=raw["source"],
        standing=raw["standing"],
        train_over=raw["train_over"]["value"],
        bands=tuple(_band_from(band) for band in raw["band"]),
        train=_train_from(raw["train"]),
        cc_growth=raw["cc_growth"]["value"],
        cc_growth_from=raw["cc_growth_from"]["value"],
    )


def _band_from(raw: Mapping[str, Any]) -> Band:
    low, high = raw["wavelength"]["value"]
    return Band(
        low=low,
        high=high,
        correction=raw["correction"],
        short=raw["short"]["value"],
        counted_as_one=raw["counted_as_one"]["value"],
        thermal=raw["thermal"]["value"],
        long=raw["long"]["value"] if "long" in raw else None,
    )


def setting(key: str) -> float:
    """Return a value that both rule sets share.

    Parameters
    ----------
    key : str
        Name in the table's group "range", which also names the SI unit.
    """
    return float(_table()["range"][key]["value"])


@cache
def _table() -> dict[str, Any]:
    return read_toml(_TABLE)


def _train_from(raw: Mapping[str, Any]) -> TrainRule:
    numbers = {key: entry["value"] for key, entry in raw.items() if key != "long_pulses"}
    return TrainRule(long_pulses=raw["long_pulses"], **numbers)


def eye_limit(rule_set: RuleSet, wavelength: float, duration: float) -> float:
    """Return the limit of one exposure of the eye to a small source.

    Parameters
    ----------
    rule_set : RuleSet
        Edition of the rules.
    wavelength : float
        Wavelength [m], 400e-9 to 1400e-9; not checked here.
    duration : float
        Duration of the exposure [s].

    Returns
    -------
    float
        Radiant exposure at the cornea [J/m2].
    """
    band = band_of(rule_set, wavelength)
    factor_c = _factor_c(rule_set, wavelength)
    factor = _factor_a(wavelength) if band.correction == "CA" else factor_c
    if duration < band.counted_as_one:
        limit = band.short * factor
    elif duration <= setting("long_from") or band.long is None:
        limit = band.thermal * factor * duration**0.75
    else:
        limit = band.long * _factor_a(wavelength) * factor_c * duration
    # where the retina is spared by absorption in front of it, the skin limit protects the cornea
    return min(limit, skin_exposure(wavelength, duration))


def skin_exposure(wavelength: float, duration: float) -> float:
    """Return the limit of one exposure of the skin.

    Parameters
    ----------
    wavelength : float
        Wavelength [m], 400e-9 to 1400e-9; not checked here.
    duration : float
        Duration of the exposure [s].

    Returns
    -------
    float
        Radiant exposure [J/m2].
    """
    skin = _table()["skin"]
    factor = _factor_a(wavelength)
    if duration < skin["short_until"]["value"]:
        return float(skin["short"]["value"] * factor)
    if duration <= setting("long_from"):
        return float(skin["thermal"]["value"] * factor * duration**0.25)
    return float(skin["long"]["value"] * factor * duration)


def _factor_a(wavelength: float) -> float:
    return _grown(_table()["correction"]["CA"], wavelength)


def _factor_c(rule_set: RuleSet, wavelength: float) -> float:
    correction = _table()["correction"]["CC"]
    grown = _grown(correction, wavelength)
    if rule_set.cc_growth and wavelength > correction["end"]["value"]:
        beyond = (wavelength - rule_set.cc_growth_from) / 1e-9
        grown += 10.0 ** (rule_set.cc_growth * beyond)
    return grown


def _grown(correction: Mapping[str, Any], wavelength: float) -> float:
    start, end = correction["start"]["value"], correction["end"]["value"]
    if wavelength < end:
        beyond = max(0.0, wavelength - start) / 1e-9
        return float(10.0 ** (correction["slope"]["value"] * beyond))
    return float(correction["plateau"]["value"])


def band_of(rule_set: RuleSet, wavelength: float) -> Band:
    """Return the band that holds a wavelength.

    Parameters
    ----------
    rule_set : RuleSet
        Edition of the rules.
    wavelength : float
        Wavelength [m].
    """
    # a boundary belongs to the band above it; the last band keeps its upper end
    for band in rule_set.bands:
        if band.low <= wavelength < band.high:
            return band
    return rule_set.bands[-1]
