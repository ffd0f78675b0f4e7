"""Purging air out of a volume, and the gas that a weld uses.

Purge figures assume perfect mixing, no leak and no back-streaming, so they are lower bounds: an
oxygen meter at the outlet decides.
"""

from __future__ import annotations

import math

from attrs import frozen

from weldcalc.errors import InputError, Problems
from weldcalc.fields import show
from weldcalc.findings import Finding
from weldcalc.hazards.room_air import air_oxygen
from weldcalc.sourced import Sourced, need_not_negative, need_positive, need_within

PURGE_SOURCE = "perfect-mixing purge equation t = (V / Q) ln(C0 / C) (published, numbers derived)"
PURGE_NOTE = "Lower bound: perfect mixing, no leak, no back-streaming, nothing given off by walls."
PURITY_NOTE = "Worst case: everything the purity leaves open is taken as oxygen."
CERTIFIED_NOTE = "Oxygen of the gas as its certificate states it."
PURE_NOTE = "The purity of the gas is not given: it is taken as free of oxygen."


@frozen
class Purge:
    """Purging a volume down to an oxygen target.

    Parameters
    ----------
    volume_changes : float or None
        Purge gas over purged volume [1]; None where the gas cannot be shown to get there.
    gas_volume, time : float or None
        Purge gas [m3] and purge time [s]; None as above.
    initial, target, floor : float
        Oxygen fraction at the start, wanted, and of the gas itself [1].
    source, note : str
        Where the equation comes from and what it assumes.
    findings : tuple of Finding
        What a person has to know.
    """

    volume_changes: float | None
    gas_volume: float | None
    time: float | None
    initial: float
    target: float
    floor: float
    source: str
    note: str
    findings: tuple[Finding, ...]


@frozen
class GasUse:
    """Gas for one weld.

    Parameters
    ----------
    shield, purge, total : float
        Gas through the nozzle, through the purge line, and both [m3].
    """

    shield: float
    purge: float
    total: float


def gas_oxygen(*, purity: float) -> Sourced:
    """Return the most oxygen that a gas of given purity can hold.

    Parameters
    ----------
    purity : float
        Purity as a fraction [1], above 0 to 1: 0.99999 for "99.999 %".

    Returns
    -------
    Sourced
        Oxygen fraction [1]: all that the purity leaves open.

    Raises
    ------
    InputError
        When the purity is out of range.
    """
    if not 0 < purity <= 1:
        raise InputError.of("purity", "has to be a fraction above 0 and at most 1", purity)
    return Sourced(
        # 1 - 0.99999 is a hair below 10 ppm in binary, which must not make 10 ppm look reachable
        value=round(1.0 - purity, 12),
        unit="1",
        formula="1 - purity",
        source="definition of purity",
        standing="derived",
        note=PURITY_NOTE,
    )


def purge_oxygen(
    *, volume: float, flow: float, time: float, initial: float, floor: float = 0.0
) -> Sourced:
    """Return the oxygen left in a volume after purging it for a time.

    Parameters
    ----------
    volume : float
        Purged volume [m3].
    flow : float
        Purge flow [m3/s], at the conditions in the volume.
    time : float
        Purge time [s].
    initial : float
        Oxygen fraction at the start [1].
    floor : float
        Oxygen fraction of the purge gas [1].

    Returns
    -------
    Sourced
        Oxygen fraction [1]; more in practice, since mixing is not perfect.

    Raises
    ------
    InputError
        When a value is out of range.

    References
    ----------
    Perfect-mixing purge equation, C = Cg + (C0 - Cg) exp(-Q t / V).
    """
    problems = Problems()
    need_positive(problems, volume=volume)
    need_not_negative(problems, flow=flow, time=time)
    need_within(problems, 0.0, 1.0, "", initial=initial, floor=floor)
    problems.raise_if_any()
    return Sourced(
        value=floor + (initial - floor) * math.exp(-flow * time / volume),
        unit="1",
        formula="Cg + (C0 - Cg) exp(-Q t / V)",
        source=PURGE_SOURCE,
        standing="published",
        note=PURGE_NOTE,
    )


def purge(
    *,
    volume: float,
    oxygen_target: float,
    flow: float | None = None,
    purity: float | None = None,
    certified_oxygen: float | None = None,
    initial: float | None = None,
) -> Purge:
    """Return volumes, gas and time to purge a volume down to an oxygen target.

    Parameters
    ----------
    volume : float
        Purged volume [m3]: tube, fixture and lines.
    oxygen_target : float
        Oxygen fraction wanted at the metal [1]; 20e-6 for "20 ppm".
    flow : float, optional
        Purge flow [m3/s], at the conditions in the volume; without it no time is given.
    purity : float, optional
        Purity of the gas as a fraction [1]; without it the gas is taken as pure.
    certified_oxygen : float, optional
        Oxygen fraction of the gas from its certificate [1]; used instead of the purity.
    initial : float, optional
        Oxygen fraction at the start [1]; air (0.2095) if not given.

    Returns
    -------
    Purge
        Volume changes, gas, time and findings: lower bounds.

    Raises
    ------
    InputError
        When a value is out of range.

    References
    ----------
    Perfect-mixing purge equation, t = (V / Q) ln((C0 - Cg) / (C - Cg)).

    Examples
    --------
    >>> result = purge(volume=40e-6, oxygen_target=20e-6, flow=4e-3 / 60)
    >>> round(result.volume_changes, 2), round(result.time, 2)
    (9.26, 5.55)
    """
    start = air_oxygen() if initial is None else initial
    floor, floor_note = _floor(purity, certified_oxygen)
    _check_purge(volume, oxygen_target, flow, start)
    changes = _volume_changes(start, oxygen_target, floor)
    gas = None if changes is None else changes * volume
    return Purge(
        volume_changes=changes,
        gas_volume=gas,
        time=None if gas is None or flow is None else gas / flow,
        initial=start,
        target=oxygen_target,
        floor=floor,
        source=PURGE_SOURCE,
        note=f"{PURGE_NOTE} {floor_note}",
        findings=_purge_findings(changes, oxygen_target, floor, floor_note),
    )


def gas_use(
    *,
    weld_time: float,
    shield_flow: float = 0.0,
    pre_flow: float = 0.0,
    post_flow: float = 0.0,
    purge_flow: float = 0.0,
    purge_time: float = 0.0,
) -> GasUse:
    """Return the gas that one weld uses.

    Parameters
    ----------
    weld_time : float
        Time from the first to the last pulse, pauses included [s].
    shield_flow, purge_flow : float
        Flow through the nozzle and through the purge line [m3/s].
    pre_flow, post_flow : float
        Time that the shield runs before and after the weld [s].
    purge_time : float
        Time that the purge runs before the weld, and between passes [s]; it goes on until the
        post-flow ends.

    Returns
    -------
    GasUse
        Volumes at the conditions at which the flows were given [m3].

    Raises
    ------
    InputError
        When a value is negative or not finite.
    """
    problems = Problems()
    times = {"pre_flow": pre_flow, "post_flow": post_flow, "purge_time": purge_time}
    need_not_negative(problems, weld_time=weld_time, shield_flow=shield_flow, **times)
    need_not_negative(problems, purge_flow=purge_flow)
    problems.raise_if_any()
    shield = shield_flow * (pre_flow + weld_time + post_flow)
    inside = purge_flow * (purge_time + weld_time + post_flow)
    return GasUse(shield=shield, purge=inside, total=shield + inside)


def _check_purge(volume: float, target: float, flow: float | None, initial: float) -> None:
    problems = Problems()
    need_positive(problems, volume=volume, oxygen_target=target)
    need_within(problems, 0.0, 1.0, "", oxygen_target=target, initial=initial)
    if flow is not None:
        need_positive(problems, flow=flow)
    problems.raise_if_any()


def _volume_changes(initial: float, target: float, floor: float) -> float | None:
    if initial <= target:
        return 0.0
    if target <= floor:
        return None
    return math.log((initial - floor) / (target - floor))


def _floor(purity: float | None, certified_oxygen: float | None) -> tuple[float, str]:
    if certified_oxygen is not None:
        if not 0 <= certified_oxygen < 1:
            why = "has to be a fraction, zero or more and below 1"
            raise InputError.of("certified_oxygen", why, certified_oxygen)
        return certified_oxygen, CERTIFIED_NOTE
    if purity is None:
        return 0.0, PURE_NOTE
    return gas_oxygen(purity=purity).value, PURITY_NOTE


def _purge_findings(
    changes: float | None, target: float, floor: float, floor_note: str
) -> tuple[Finding, ...]:
    if changes is not None:
        return (_LOWER_BOUND,)
    known = f"the gas may itself hold {show(floor, 'oxygen_target')} oxygen"
    return (
        Finding(
            weight="caution",
            code="purge-gas-oxygen",
            text=f"{known}: {show(target, 'oxygen_target')} cannot be shown to be reached",
            remedy="use a purer gas, or state the oxygen content that its certificate gives",
            source=floor_note,
        ),
    )


_LOWER_BOUND = Finding(
    weight="note",
    code="purge-lower-bound",
    text="purge time and gas are lower bounds: perfect mixing and no leak are assumed",
    remedy="start on the reading of an oxygen meter at the outlet, not on the clock",
    source=PURGE_SOURCE,
)
