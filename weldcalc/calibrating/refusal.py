"""When coupons cannot carry a calibration, and why."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from weldcalc.calibrating.model import Unknowns
from weldcalc.calibrating.sections import CouponCase
from weldcalc.calibrating.solve import Solution
from weldcalc.errors import NegativeAnswer
from weldcalc.heatflow.constants import NAMES, ModelError

Floats = NDArray[np.float64]

LEAST_COUPONS = 4
LEAST_SETTINGS = 3
LEAST_DEPTHS = 3
APART = 2.0
"""Settings count as different when power, duration or spot differ by more than this many standard
deviations of the shop's scatter."""
LEAST_DIRECTIONS = 2
"""Independent combinations of constants of which the coupons must know more than the prior does
(singular value of the weighted derivatives above 1, in units of the prior)."""
INFORMED = 0.8
"""A constant is informed by the coupons when its spread falls below this share of the prior's."""

MOST_ERROR = 2.0
"""Model error after the coupons, over the shipped one, from which on they contradict the model."""

_COMPARED = ("peak_power", "pulse_duration", "spot_diameter")


class Refusal(NegativeAnswer):
    """The coupons cannot carry a calibration.

    Parameters
    ----------
    reasons : sequence of str
        Every reason found, each with what to do.
    """

    def __init__(self, reasons: Sequence[str]) -> None:
        self.reasons = tuple(reasons)
        lines = "\n".join(f"  {reason}" for reason in self.reasons)
        super().__init__(f"no calibration from these coupons:\n{lines}")


def reasons_against(
    cases: Sequence[CouponCase],
    scatter: Floats,
    *,
    solution: Solution | None = None,
    space: Unknowns | None = None,
    information: Floats | None = None,
) -> list[str]:
    """Return why some coupons cannot carry a calibration; empty when they can.

    Parameters
    ----------
    cases : sequence of CouponCase
        The coupons.
    scatter : ndarray, shape (5,)
        Relative shop scatter of power, duration, spot, wall and absorptivity [-].
    solution, space, information : optional
        Of the fit, once there is one.
    """
    found = [*_too_few(cases), *_too_alike(cases, scatter), *_no_depth(cases)]
    if solution is not None and space is not None and information is not None:
        found += _on_bound(solution, space)
        found += _says_little(information)
    return found


def contradictions(error: ModelError, shipped: ModelError) -> list[str]:
    """Return why coupons and model contradict each other; empty when they do not.

    Parameters
    ----------
    error : ModelError
        Left by the coupons, each predicted from the others.
    shipped : ModelError
        Of the published pulses.
    """
    found = []
    for name in ("depth", "width"):
        after, before = getattr(error, name), getattr(shipped, name)
        if after > MOST_ERROR * before:
            found.append(
                f"coupons and model contradict each other: predicted from the other coupons, a "
                f"{name} is off by some {100 * after:.0f} %, against {100 * before:.0f} % for the "
                "published pulses; check settings, units, and what the pulses found (preheat)"
            )
    return found


def _too_few(cases: Sequence[CouponCase]) -> list[str]:
    count = len({case.coupon for case in cases})
    if count >= LEAST_COUPONS:
        return []
    why = "sections of one coupon are not independent and count as one"
    return [f"too few coupons: {count}, at least {LEAST_COUPONS} are needed ({why})"]


def _too_alike(cases: Sequence[CouponCase], scatter: Floats) -> list[str]:
    count = different_settings(cases, scatter)
    if count >= LEAST_SETTINGS:
        return []
    return [
        f"coupons too alike: {count} different settings, at least {LEAST_SETTINGS} are needed; "
        f"power, pulse duration or spot has to differ by more than {APART:g} standard deviations "
        "of the shop's scatter"
    ]


def different_settings(cases: Sequence[CouponCase], scatter: Floats) -> int:
    """Return how many settings can be told apart.

    Parameters
    ----------
    cases : sequence of CouponCase
        The coupons.
    scatter : ndarray, shape (5,)
        Relative shop scatter, power, duration and spot first [-].
    """
    apart = np.maximum(APART * scatter[: len(_COMPARED)], 1e-6)
    chosen: list[Floats] = []
    for case in cases:
        pulse = case.pulse
        place = np.log([pulse["peak_power"], pulse["pulse_duration"], pulse["spot_diameter"]])
        if all(bool(np.any(np.abs(place - other) > apart)) for other in chosen):
            chosen.append(place)
    return len(chosen)


def _no_depth(cases: Sequence[CouponCase]) -> list[str]:
    told = len({case.coupon for case in cases if case.known[0]})
    if told >= LEAST_DEPTHS:
        return []
    through = sum(case.at_least for case in cases)
    why = (
        f"; {through} went through the wall without a measured root width, which says only that "
        "the depth was at least the wall"
        if through
        else ""
    )
    return [
        f"too little about depth: {told} coupons tell it, at least {LEAST_DEPTHS} are needed{why}; "
        "measure root widths or weld coupons that do not go through"
    ]


def _on_bound(solution: Solution, space: Unknowns) -> list[str]:
    kept = solution.fit.standard_errors / space.prior.sd
    found = []
    for number in solution.fit.on_bound:
        if kept[number] >= INFORMED:
            continue
        name = NAMES[number].replace("_", " ")
        low = solution.fit.values[number] - space.low[number]
        end = "lower" if low < space.high[number] - solution.fit.values[number] else "upper"
        found.append(
            f"{name} sits on its {end} bound: the model cannot follow these coupons, and its "
            "spread would mean nothing; check power on the part, spot, surface and units"
        )
    return found


def _says_little(information: Floats) -> list[str]:
    count = int(np.sum(information > 1.0))
    if count >= LEAST_DIRECTIONS:
        return []
    return [
        f"coupons too alike or measured too roughly: they tell {count} combination of constants "
        f"better than the published pulses do, at least {LEAST_DIRECTIONS} are needed; spread "
        "power, duration and spot further"
    ]
