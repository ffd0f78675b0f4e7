"""How many coupons, which tests by name, and at which settings to weld them for a calibration."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cache
from itertools import product
from typing import Any

import numpy as np
from attrs import asdict, frozen
from numpy.typing import NDArray

from weldcalc.errors import InputError
from weldcalc.qualification.checks import count, fraction
from weldcalc.qualification.coupon_writer import form_text, how_to_fill_in
from weldcalc.qualification.coupons import SETTINGS, CouponSection
from weldcalc.qualification.statistics import coupons_needed, reliability_text, tolerance_factor
from weldcalc.qualification.table import MOST_ROWS
from weldcalc.reference import read_toml

DEFAULT_SECTIONS = 3
"""Sections per coupon where none is asked for: two across the seam opposite each other and one
along it through the closing overlap (default of this program, no source)."""

_MOST_VARIABLES = 6
_MOST_COUPONS = 100_000
_FILLING = 256  # interior candidates for a space-filling choice


@frozen
class NamedTest:
    """One test of a procedure, by name; extent and clause are left to the user.

    Parameters
    ----------
    key, name : str
        Short and full name.
    shows : tuple of str
        Columns of the coupon list that it fills.
    method : str
        Standard to look for.
    standing : str
        How sure the naming is.
    destroys : bool
        True when the coupon is used up.
    """

    key: str
    name: str
    shows: tuple[str, ...]
    method: str
    standing: str
    destroys: bool


@frozen
class Plan:
    """How many coupons show what.

    Parameters
    ----------
    reliability, confidence : float
        To be shown [-].
    by_count : mapping of int to int
        Failures allowed to coupons needed, each judged pass or fail.
    by_scatter : mapping of float to int or None
        Distance of the mean from the limit, in standard deviations, to coupons needed when the
        feature is measured and normal; None where no number is enough.
    sections_per_coupon : int
        Sections to cut.
    tests : tuple of NamedTest
        By name, without extent.
    statements : tuple of str
        What must stand beside the numbers.
    """

    reliability: float
    confidence: float
    by_count: Mapping[int, int]
    by_scatter: Mapping[float, int | None]
    sections_per_coupon: int
    tests: tuple[NamedTest, ...]
    statements: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Return plain values; keys of the mappings become texts."""
        plain = asdict(self)
        for name in ("by_count", "by_scatter"):
            plain[name] = {f"{key:g}": value for key, value in plain[name].items()}
        return plain


def qualification_plan(
    reliability: float,
    confidence: float,
    *,
    failures: Sequence[int] = (0, 1, 2),
    distances: Sequence[float] = (2.0, 3.0, 4.0, 5.0),
    sections_per_coupon: int = DEFAULT_SECTIONS,
) -> Plan:
    """Return how many coupons show a reliability, by counting and by measured scatter.

    Parameters
    ----------
    reliability, confidence : float
        To be shown [-], between 0 and 1.
    failures : sequence of int
        Numbers of failures to plan for.
    distances : sequence of float
        Expected distances of the mean from the limit [standard deviations].
    sections_per_coupon : int
        Sections to cut of each.

    Returns
    -------
    Plan
        Numbers, names of tests and what to know.

    Raises
    ------
    InputError
        When a fraction is not between 0 and 1 or a number is impossible.
    """
    return Plan(
        reliability=fraction("reliability", reliability),
        confidence=fraction("confidence", confidence),
        by_count={number: coupons_needed(reliability, confidence, number) for number in failures},
        by_scatter={
            distance: coupons_for_scatter(distance, reliability, confidence)
            for distance in distances
        },
        sections_per_coupon=count("sections_per_coupon", sections_per_coupon, least=1),
        tests=named_tests(),
        statements=(
            reliability_text(reliability, confidence),
            "The governing code may ask for other numbers; the larger one counts.",
            "Sections of one coupon are not independent: they count as one coupon.",
            "The measured route presumes independent, normal values; a failure voids it.",
        ),
    )


def coupons_to_list(
    reliability: float, confidence: float, *, sections_per_coupon: int = DEFAULT_SECTIONS
) -> int:
    """Return how many coupons a coupon list is written for: as many as show the reliability.

    Parameters
    ----------
    reliability, confidence : float
        To be shown [-], between 0 and 1.
    sections_per_coupon : int
        Rows for each coupon.

    Returns
    -------
    int
        Coupons, none of which may fail.

    Raises
    ------
    InputError
        When a fraction is not between 0 and 1, or the list would have more rows than are read.
    """
    needed = coupons_needed(reliability, confidence)
    rows = needed * sections_per_coupon
    if rows > MOST_ROWS:
        why = (
            f"with a confidence of {confidence:g} asks for {needed} coupons in {rows} rows, and a "
            f"coupon list holds at most {MOST_ROWS}; take a smaller reliability or confidence"
        )
        raise InputError.of("reliability", why, reliability)
    return needed


def coupons_for_scatter(
    distance: float, reliability: float, confidence: float, sides: int = 1
) -> int | None:
    """Return how many measured coupons put a tolerance bound inside the limit.

    Parameters
    ----------
    distance : float
        Distance of the mean from the limit [standard deviations].
    reliability, confidence : float
        To be shown [-], between 0 and 1.
    sides : {1, 2}
        Limits on the feature.

    Returns
    -------
    int or None
        Smallest n with a tolerance factor of at most `distance`; None when more than 100 000
        would be needed, or no number is enough.

    Raises
    ------
    InputError
        When a fraction is not between 0 and 1.

    Notes
    -----
    Sample mean and standard deviation are taken as they are expected; a real sample may turn out
    worse, so plan some coupons more.
    """

    def enough(n: int) -> bool:
        return tolerance_factor(n, reliability, confidence, sides) <= distance

    if not enough(_MOST_COUPONS):
        return None
    short, n = 1, 2
    while not enough(n):
        short, n = n, 2 * n
    while n - short > 1:
        middle = (short + n) // 2
        short, n = (short, middle) if enough(middle) else (middle, n)
    return n


@cache
def named_tests() -> tuple[NamedTest, ...]:
    """Return the tests of a procedure by name, from the shipped list."""
    return tuple(
        NamedTest(
            key=test["key"],
            name=test["name"],
            shows=tuple(test["shows"]),
            method=test["method"],
            standing=test["standing"],
            destroys=test["destroys"],
        )
        for test in read_toml("qualification/tests.toml")["test"]
    )


def calibration_settings(
    ranges: Mapping[str, tuple[float, float]],
    coupons: int,
    *,
    centre_repeats: int = 3,
    possible: Callable[[Mapping[str, float]], bool] | None = None,
) -> list[dict[str, float]]:
    """Return settings of coupons spread over a window, for a calibration.

    Parameters
    ----------
    ranges : mapping of str to pair of float
        Lowest and highest setting of each variable [SI]; 1 to 6 variables.
    coupons : int
        Number of coupons, the repeats of the centre included; at least as many as those.
    centre_repeats : int
        Coupons at the centre, at least 1; two or more show the plain scatter.
    possible : callable, optional
        Tells whether the laser can run a setting; settings that it cannot are left out.

    Returns
    -------
    list of dict
        Settings [SI] in the order of welding: the centre first, last and spread between, the
        others each as far as possible from those before, corners first. The same for the same
        arguments.

    Raises
    ------
    InputError
        When a range is empty or unknown, the centre is not possible, or there are not enough
        possible settings.
    """
    _check_ranges(ranges)
    count("centre_repeats", centre_repeats, least=1)
    count("coupons", coupons, least=centre_repeats)
    names = list(ranges)
    low, high = (np.array([ranges[name][end] for name in names]) for end in (0, 1))

    def setting(place: NDArray[np.float64]) -> dict[str, float]:
        return dict(zip(names, (low + place * (high - low)).tolist(), strict=True))

    centre = np.full(len(names), 0.5)
    allowed = [
        place for place in _candidates(len(names)) if possible is None or possible(setting(place))
    ]
    if possible is not None and not possible(setting(centre)):
        raise InputError.of("ranges", "the middle of the window cannot be run; choose other ranges")
    if coupons - centre_repeats > len(allowed):
        most = f"at most {len(allowed) + centre_repeats} can be told apart and run in this window"
        raise InputError.of("coupons", most, coupons)
    chosen = _farthest(np.array(allowed), centre, coupons - centre_repeats)
    return [setting(place) for place in _with_centre(chosen, centre, centre_repeats)]


def _check_ranges(ranges: Mapping[str, tuple[float, float]]) -> None:
    count("number of variables", len(ranges), least=1, most=_MOST_VARIABLES)
    for name, (low, high) in ranges.items():
        if name not in SETTINGS:
            raise InputError.of(name, f"is no setting; use one of {', '.join(SETTINGS)}")
        if not low < high:
            raise InputError.of(name, "the lower end must lie below the upper", (low, high))


def _candidates(variables: int) -> list[NDArray[np.float64]]:
    from scipy.stats import qmc

    corners = [np.array(corner) for corner in product((0.0, 1.0), repeat=variables)]
    # unscrambled and without its first point, which is a corner already
    filling = qmc.Halton(d=variables, scramble=False).random(_FILLING + 1)[1:]
    return [*corners, *filling]


def _farthest(
    candidates: NDArray[np.float64], start: NDArray[np.float64], number: int
) -> list[NDArray[np.float64]]:
    chosen: list[NDArray[np.float64]] = []
    if not number:
        return chosen
    # among candidates equally far from all (the centre included), the one furthest from the
    # others goes first; rounded, so that ties fall the same way on every machine
    nearest = _distance(candidates, start)
    apart = np.full(len(candidates), float(np.sqrt(start.size)))
    for _ in range(number):
        place = candidates[int(np.argmax(nearest + 1e-6 * apart))]
        chosen.append(place)
        apart = np.minimum(apart, _distance(candidates, place))
        nearest = np.minimum(nearest, apart)
    return chosen


def _distance(candidates: NDArray[np.float64], place: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.linalg.norm(candidates - place, axis=1).round(9))


def _with_centre(
    chosen: list[NDArray[np.float64]], centre: NDArray[np.float64], repeats: int
) -> list[NDArray[np.float64]]:
    total = len(chosen) + repeats
    places = {round(step) for step in np.linspace(0, total - 1, repeats)}
    rest = iter(chosen)
    return [centre if place in places else next(rest) for place in range(total)]


def coupon_form(
    settings: Sequence[Mapping[str, float]],
    *,
    sections_per_coupon: int = DEFAULT_SECTIONS,
    to_measure: Sequence[str] = ("penetration", "fusion_width", "root_width", "haz_width"),
    weld_pass: str = "",
) -> str:
    """Return a coupon list to be filled in at the bench.

    Parameters
    ----------
    settings : sequence of mappings
        From `calibration_settings` [SI], in the order of welding.
    sections_per_coupon : int
        Rows for each coupon.
    to_measure : sequence of str
        Measured columns to leave empty, each with one for its standard uncertainty.
    weld_pass : str
        Pass that the sections show.

    Returns
    -------
    str
        CSV text; coupons are named C01, C02 and so on. Its head tells what to type.

    Raises
    ------
    InputError
        When a setting is outside the plausible range of its field, or there are more rows than
        are read.
    """
    count("sections_per_coupon", sections_per_coupon, least=1)
    if len(settings) * sections_per_coupon > MOST_ROWS:
        why = f"a coupon list holds at most {MOST_ROWS} rows; ask for fewer coupons or sections"
        raise InputError.of("settings", why, f"{len(settings)} coupons")
    rows = [
        CouponSection(
            coupon=f"C{number:02d}", section=str(section), weld_pass=weld_pass, settings=setting
        )
        for number, setting in enumerate(settings, 1)
        for section in range(1, sections_per_coupon + 1)
    ]
    return how_to_fill_in() + form_text(rows, to_measure)
