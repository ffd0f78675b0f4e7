"""Oxygen in a room that shielding gas flows into: well-mixed balances.

Gas does not really mix at once: argon gathers low and helium high, so a place may hold less oxygen
than these figures. They say when the room as a whole is too small; a meter says the rest.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any

from attrs import frozen

from weldcalc.errors import InputError, Problems
from weldcalc.findings import Finding
from weldcalc.reference import read_toml
from weldcalc.sourced import Sourced, need_not_negative, need_positive

_BALANCE = "oxygen balance of a well-mixed room"
_NOTE = "Well-mixed room: pits, chambers and the floor can hold less oxygen. Not a clearance."


@frozen
class RoomOxygen:
    """Oxygen of a room into which an inert gas flows.

    Parameters
    ----------
    steady : float
        Oxygen fraction after a long time [1].
    after : float or None
        Oxygen fraction after the time asked for [1].
    time : float or None
        That time [s].
    limit : float
        Oxygen fraction below which air is deficient [1].
    time_to_limit : float or None
        Time until the limit is crossed [s]; None if it never is.
    formula, source, standing, note : str
        Formula, where it comes from, how sure it is, and what was assumed.
    findings : tuple of Finding
        A "stop" where the limit is crossed.
    """

    steady: float
    after: float | None
    time: float | None
    limit: float
    time_to_limit: float | None
    formula: str
    source: str
    standing: str
    note: str
    findings: tuple[Finding, ...]


@cache
def shielding_rules() -> dict[str, Any]:
    """Return the shipped rules of gas shielding and room air, each with source and standing."""
    return read_toml("safety/shielding_rules.toml")


def air_oxygen() -> float:
    """Return the oxygen fraction of dry air [1], as the shipped rules give it."""
    return _rule("air_oxygen")


def oxygen_limit() -> float:
    """Return the oxygen fraction below which air counts as deficient [1] (OSHA 1910.146)."""
    return _rule("room_oxygen_limit")


def room_oxygen(
    *,
    gas_flow: float,
    room_volume: float,
    air_changes: float,
    time: float | None = None,
    initial: float | None = None,
    fresh_oxygen: float | None = None,
) -> RoomOxygen:
    """Return the oxygen of a ventilated, well-mixed room into which inert gas flows.

    Parameters
    ----------
    gas_flow : float
        Inert gas released [m3/s], at room conditions.
    room_volume : float
        Free volume of the room [m3].
    air_changes : float
        Extracted room volumes per second [1/s]; 6 per hour is 6 / 3600. Zero for a closed room.
    time : float, optional
        Time after the gas was turned on [s].
    initial : float, optional
        Oxygen fraction at the start [1]; fresh air if not given.
    fresh_oxygen : float, optional
        Oxygen fraction of fresh air [1]; 0.2095 if not given.

    Returns
    -------
    RoomOxygen
        Steady value, value after `time`, and the time to 19.5 %.

    Raises
    ------
    InputError
        When a value is out of range.

    Notes
    -----
    The extract takes `air_changes * room_volume`; fresh air makes up what the gas does not. When
    more gas flows than is extracted, no fresh air enters and room air is pushed out.

    References
    ----------
    Steady state: Cf = Ca (1 - n / (N V)), well-mixed room balance (published, numbers derived).
    """
    fresh = air_oxygen() if fresh_oxygen is None else fresh_oxygen
    start = fresh if initial is None else initial
    _check_room(gas_flow, room_volume, air_changes, time)
    _check_fractions(initial=start, fresh_oxygen=fresh)
    out = max(air_changes * room_volume, gas_flow)
    steady = fresh * (out - gas_flow) / out if out > 0 else start
    rate = out / room_volume
    after = None if time is None else steady + (start - steady) * math.exp(-rate * time)
    crossed = _time_to(oxygen_limit(), start, steady, rate)
    return RoomOxygen(
        steady=steady,
        after=after,
        time=time,
        limit=oxygen_limit(),
        time_to_limit=crossed,
        formula="Cs + (C0 - Cs) exp(-Q t / V), Cs = Ca (1 - n / Q)",
        source=_BALANCE,
        standing="published formula; time course derived",
        note=_NOTE,
        findings=_room_findings(steady, crossed),
    )


def flow_to_limit(
    *, room_volume: float, air_changes: float, fresh_oxygen: float | None = None
) -> Sourced:
    """Return the inert-gas flow that holds a ventilated room at the 19.5 % line.

    Parameters
    ----------
    room_volume : float
        Free volume of the room [m3].
    air_changes : float
        Extracted room volumes per second [1/s].
    fresh_oxygen : float, optional
        Oxygen fraction of fresh air [1]; 0.2095 if not given.

    Returns
    -------
    Sourced
        Flow [m3/s].

    Raises
    ------
    InputError
        When a value is out of range.

    References
    ----------
    n = N V (1 - Cf / Ca), well-mixed room balance.
    """
    fresh = air_oxygen() if fresh_oxygen is None else fresh_oxygen
    _check_room(0.0, room_volume, air_changes, None)
    _check_fractions(fresh_oxygen=fresh)
    return Sourced(
        value=air_changes * room_volume * max(0.0, 1 - oxygen_limit() / fresh),
        unit="m3/s",
        formula="N V (1 - Cf / Ca)",
        source=_BALANCE,
        standing="published",
        note=_NOTE,
    )


def instant_release(*, room_volume: float, gas_volume: float) -> Sourced:
    """Return the oxygen of a room after gas was released into it all at once.

    Parameters
    ----------
    room_volume : float
        Free volume of the room [m3].
    gas_volume : float
        Gas released [m3], at room conditions; at most the room.

    Returns
    -------
    Sourced
        Oxygen fraction [1].

    Raises
    ------
    InputError
        When a value is out of range or the gas is more than the room.

    References
    ----------
    %O2 = 100 * 0.2095 (Vr - Vg) / Vr: University of Nottingham cryogenic guidance.
    """
    problems = Problems()
    need_positive(problems, room_volume=room_volume)
    need_not_negative(problems, gas_volume=gas_volume)
    if gas_volume > room_volume:
        problems.add("gas_volume", "has to be at most the room volume", gas_volume)
    problems.raise_if_any()
    return _release(air_oxygen() * (room_volume - gas_volume) / room_volume, "1", _RELEASE)


def smallest_room(*, gas_volume: float) -> Sourced:
    """Return the closed room that a release of gas brings down to the 19.5 % line.

    Parameters
    ----------
    gas_volume : float
        Gas released [m3], at room conditions.

    Returns
    -------
    Sourced
        Room volume [m3]; a smaller closed room ends below the line.

    Raises
    ------
    InputError
        When the gas volume is negative.

    References
    ----------
    As for `instant_release`, solved for the room.
    """
    problems = Problems()
    need_not_negative(problems, gas_volume=gas_volume)
    problems.raise_if_any()
    value = gas_volume / (1 - oxygen_limit() / air_oxygen())
    return _release(value, "m3", "Vg / (1 - 0.195 / 0.2095)")


_RELEASE = "0.2095 (Vr - Vg) / Vr"


def _release(value: float, unit: str, formula: str) -> Sourced:
    source = "University of Nottingham cryogenic guidance"
    return Sourced(
        value=value, unit=unit, formula=formula, source=source, standing="published", note=_NOTE
    )


def _time_to(limit: float, start: float, steady: float, rate: float) -> float | None:
    if start <= limit:
        return 0.0
    if steady >= limit:
        return None
    return math.log((start - steady) / (limit - steady)) / rate


def _room_findings(steady: float, crossed: float | None) -> tuple[Finding, ...]:
    if crossed is None:
        return ()
    if crossed > 0.0:
        text = f"oxygen in the room falls below 19.5 % after {crossed / 60:.3g} min, to"
    else:
        text = "oxygen in the room is below 19.5 % from the start, at"
    return (
        Finding(
            weight="stop",
            code="room-oxygen",
            text=f"{text} {100 * steady:.3g} % in the end (well-mixed room)",
            remedy="ventilate more, lead the gas outside, and carry an oxygen meter",
            source=shielding_rules()["room_oxygen_limit"]["source"],
        ),
    )


def _check_room(flow: float, volume: float, changes: float, time: float | None) -> None:
    problems = Problems()
    need_positive(problems, room_volume=volume)
    need_not_negative(problems, gas_flow=flow, air_changes=changes)
    if time is not None:
        need_not_negative(problems, time=time)
    problems.raise_if_any()


def _check_fractions(**fractions: float) -> None:
    for name, value in fractions.items():
        if not 0 < value <= 1:
            raise InputError.of(name, "has to be a fraction above 0 and at most 1", value)


def _rule(key: str) -> float:
    return float(shielding_rules()[key]["value"])
