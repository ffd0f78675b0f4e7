"""Gas shielding of a schedule: purge, gas use, cover of hot metal, and what the rules say.

Rules of thumb are data (``safety/shielding_rules.toml``) and only defaults: the governing code and
the shop's own procedure come first.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from attrs import evolve, frozen

from weldcalc.fields import json_key, show, to_json
from weldcalc.findings import Finding, sort_findings
from weldcalc.gas.hot_metal import (
    HotMetalCover,
    ShieldingTemperature,
    hot_metal_cover,
    seam_cooling_time,
    shielding_temperatures,
)
from weldcalc.gas.purging import GasUse, Purge, gas_oxygen, gas_use, purge, purge_oxygen
from weldcalc.hazards.room_air import shielding_rules, smallest_room
from weldcalc.materials import material

if TYPE_CHECKING:
    from weldcalc.schedule import Schedule, ShieldingSetup

__all__ = [
    "GasUse",
    "HotMetalCover",
    "HotSeam",
    "Purge",
    "ShieldingPlan",
    "ShieldingTemperature",
    "gas_oxygen",
    "gas_use",
    "hot_metal_cover",
    "purge",
    "purge_oxygen",
    "seam_cooling_time",
    "shielding_plan",
    "shielding_temperatures",
]

_PURGE_KEYS = ("purge_volume", "purge_flow", "oxygen_target")


@frozen
class HotSeam:
    """What the gas has to know of one pass.

    Parameters
    ----------
    where : str
        Pass name.
    travel_speed : float
        Speed along the seam [m/s].
    weld_time : float
        Time from the first to the last pulse, pauses included [s].
    time_above, radius_above : float or None
        How long [s] and how far from the beam [m] the metal stays above the shielding
        temperature; None if not known.
    """

    where: str
    travel_speed: float
    weld_time: float
    time_above: float | None = None
    radius_above: float | None = None


@frozen
class ShieldingPlan:
    """Gas shielding of a schedule, as the record and the card carry it.

    Parameters
    ----------
    gas : str or None
        Gas as typed.
    purity : float or None
        As typed, as a fraction [1].
    remove_below : float or None
        Temperature below which the shield may leave the metal [K].
    clean_to_weld : float or None
        Longest time between cleaning and welding: the shop's own limit [s].
    purge : Purge or None
        None where volume or target is not given.
    use : GasUse or None
        None where no flow is given or no pass is known. Where `smallest_room` is None it holds
        only what is known of the gas, and a finding says what is missing.
    covers : tuple of HotMetalCover
        One for each pass.
    smallest_room : float or None
        Closed room that this gas would bring down to 19.5 % oxygen [m3]; None where part of the
        gas is not known: a room worked out from the rest would look safe and not be.
    findings : tuple of Finding
        The gravest first.
    """

    gas: str | None
    purity: float | None
    remove_below: float | None
    clean_to_weld: float | None
    purge: Purge | None
    use: GasUse | None
    covers: tuple[HotMetalCover, ...]
    smallest_room: float | None
    findings: tuple[Finding, ...]

    @property
    def gas_released(self) -> float | None:
        """Return all gas that the weld lets out [m3]; None where part of it is not known."""
        return None if self.use is None or self.smallest_room is None else self.use.total

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit."""
        made = self.purge
        return {
            "gas": self.gas,
            **_shown("purity", self.purity),
            **_shown("remove_below", self.remove_below),
            **_shown("clean_to_weld", self.clean_to_weld),
            **_shown("volume_changes", made.volume_changes if made else None),
            **_shown("purge_time", made.time if made else None),
            **_shown("gas_released", self.gas_released),
            **_shown("room_volume", self.smallest_room),
            "passes": [_cover_json(cover) for cover in self.covers],
            "findings": [finding.to_json() for finding in self.findings],
        }


def shielding_plan(
    schedule: Schedule,
    *,
    seams: Sequence[HotSeam] = (),
    nozzle_diameter: float | None = None,
    pre_flow: float = 0.0,
    post_flow: float | None = None,
    certified_oxygen: float | None = None,
) -> ShieldingPlan:
    """Return the gas shielding of a schedule.

    Parameters
    ----------
    schedule : Schedule
        Its tables ``shielding``, ``preparation`` and ``joint`` are read.
    seams : sequence of HotSeam
        One for each pass; without them gas use and cover are not worked out.
    nozzle_diameter : float, optional
        Bore of the nozzle [m].
    pre_flow : float
        Time that the shield runs before each pass [s].
    post_flow : float, optional
        Time that the shield runs after each pass [s].
    certified_oxygen : float, optional
        Oxygen fraction of the gas from its certificate [1].

    Returns
    -------
    ShieldingPlan
        Purge, gas use, cover of hot metal, smallest closed room and findings.

    Raises
    ------
    InputError
        When a value cannot be used or the material is unknown.
    """
    setup = schedule.shielding
    titanium = "titanium" in _families(schedule)
    remove_below = setup.remove_below
    if remove_below is None and titanium:
        remove_below = shielding_temperatures()["usual"].value
    made = _purge_of(setup, certified_oxygen)
    use = _use_of(schedule, seams, made, pre_flow, post_flow or 0.0)
    not_counted = () if use is None else _not_counted(setup, made, use)
    covers = _covers(seams, remove_below, nozzle_diameter, post_flow)
    rules = tuple(_titanium_findings(setup)) if titanium else ()
    gas = (*rules, *(made.findings if made else ()), *not_counted)
    room = None if use is None or not_counted else smallest_room(gas_volume=use.total).value
    return ShieldingPlan(
        gas=setup.gas,
        purity=setup.purity,
        remove_below=remove_below,
        clean_to_weld=schedule.preparation.clean_to_weld,
        purge=made,
        use=use,
        covers=covers,
        smallest_room=room,
        findings=sort_findings([*gas, *(f for cover in covers for f in cover.findings)]),
    )


def _families(schedule: Schedule) -> set[str]:
    names = (schedule.joint.material, schedule.joint.plate_material)
    return {material(name).family for name in names if name is not None}


def _purge_of(setup: ShieldingSetup, certified_oxygen: float | None) -> Purge | None:
    if setup.purge_volume is None or setup.oxygen_target is None:
        return None
    return purge(
        volume=setup.purge_volume,
        oxygen_target=setup.oxygen_target,
        flow=setup.purge_flow,
        purity=setup.purity,
        certified_oxygen=certified_oxygen,
    )


def _use_of(
    schedule: Schedule,
    seams: Sequence[HotSeam],
    made: Purge | None,
    pre_flow: float,
    post_flow: float,
) -> GasUse | None:
    setup = schedule.shielding
    if not seams or (setup.flow is None and setup.purge_flow is None):
        return None
    # what is not known counts as none here, and `_not_counted` tells so;
    # between two passes the purge goes on; the post-flow of the first one is counted already
    between = sum(max(one.pause_before - post_flow, 0.0) for one in schedule.passes[1:])
    return gas_use(
        weld_time=sum(seam.weld_time for seam in seams),
        shield_flow=setup.flow or 0.0,
        pre_flow=pre_flow * len(seams),
        post_flow=post_flow * len(seams),
        purge_flow=setup.purge_flow or 0.0,
        purge_time=((made.time or 0.0) if made else 0.0) + between,
    )


def _not_counted(setup: ShieldingSetup, made: Purge | None, use: GasUse) -> tuple[Finding, ...]:
    """Return why the gas of a weld is more than its sum; empty where all of it is known."""
    reason = _missing_gas(setup) or _endless_purge(setup, made)
    if not reason:
        return ()
    why, remedy = reason
    text = (
        f"{why}, so part of the gas is not counted: at least {show(use.total, 'gas_released')} is "
        "let out, and the smallest closed room for it is not known"
    )
    remedy += "; until then watch the oxygen of a small room with a meter"
    return (Finding("caution", "gas-not-counted", text, remedy, "arithmetic of the gas use"),)


def _missing_gas(setup: ShieldingSetup) -> tuple[str, str] | None:
    keys = ("flow", *(_PURGE_KEYS if any(getattr(setup, key) for key in _PURGE_KEYS) else ()))
    missing = [f"shielding.{key}" for key in keys if getattr(setup, key) is None]
    names = " and ".join(missing)
    are = "is" if len(missing) == 1 else "are"
    return (f"{names} {are} not given", f"state {names}") if missing else None


def _endless_purge(setup: ShieldingSetup, made: Purge | None) -> tuple[str, str] | None:
    if made is None or made.time is not None:
        return None
    wanted = show(setup.oxygen_target, "oxygen_target")
    return (
        f"shielding.oxygen_target = {wanted} cannot be shown to be reached with this gas",
        "state a purer gas in shielding.purity, or a higher shielding.oxygen_target",
    )


def _covers(
    seams: Sequence[HotSeam],
    remove_below: float | None,
    nozzle_diameter: float | None,
    post_flow: float | None,
) -> tuple[HotMetalCover, ...]:
    if remove_below is None:
        return ()
    return tuple(
        hot_metal_cover(
            remove_below=remove_below,
            time_above=seam.time_above,
            radius_above=seam.radius_above,
            travel_speed=seam.travel_speed,
            nozzle_diameter=nozzle_diameter,
            post_flow=post_flow,
            where=seam.where,
        )
        for seam in seams
    )


def _titanium_findings(setup: ShieldingSetup) -> Iterator[Finding]:
    yield from _gas_findings(setup.gas)
    yield from _purity_findings(setup.purity)
    yield from _purge_findings(setup)
    yield from _temperature_findings(setup.remove_below)


def _gas_findings(gas: str | None) -> Iterator[Finding]:
    rule = shielding_rules()["gas_words"]
    draft = Finding("caution", "shielding-gas", "", "argon or helium", rule["source"])
    words = set(re.findall(r"[a-z]+", (gas or "").lower()))
    if not words:
        yield evolve(draft, text="no shielding gas is named; titanium cannot be welded in air")
    elif words & set(rule["reactive"]):
        text = f"{gas} holds a gas that hot titanium takes up and turns brittle from"
        yield evolve(draft, weight="stop", text=text)
    elif not words <= set(rule["inert"]):
        yield evolve(draft, text=f"{gas} is not known here to be inert to hot titanium")


def _purity_findings(purity: float | None) -> Iterator[Finding]:
    rule = shielding_rules()["gas_purity"]["titanium"]
    remedy = "use gas of at least that purity, dry, and record its certificate"
    if purity is None:
        text = f"the purity of the gas is not given; {_percent(rule['value'])} is recommended"
        yield Finding("note", "gas-purity", text, remedy, rule["source"])
    elif purity < rule["value"]:
        text = f"purity {_percent(purity)} is below {_percent(rule['value'])}"
        yield Finding("caution", "gas-purity", text, remedy, rule["source"])


def _purge_findings(setup: ShieldingSetup) -> Iterator[Finding]:
    rule = shielding_rules()["oxygen_target"]["titanium"]
    if setup.purge_volume is None or setup.oxygen_target is None:
        text = "purge volume or oxygen target is not given: the far side needs gas too"
        source = shielding_temperatures()["strict"].source
        remedy = "state purge_volume, purge_flow and oxygen_target"
        yield Finding("caution", "purge-not-given", text, remedy, source)
    elif setup.oxygen_target > rule["value"]:
        target, most = (show(v, "oxygen_target") for v in (setup.oxygen_target, rule["value"]))
        text = f"oxygen target {target} is above {most}"
        remedy = f"purge to {most} or less, or show by colour and bend test that more is sound"
        yield Finding("caution", "oxygen-target", text, remedy, rule["source"])


def _temperature_findings(remove_below: float | None) -> Iterator[Finding]:
    usual, strict = shielding_temperatures()["usual"], shielding_temperatures()["strict"]
    source = f"{usual.source}; {strict.source}"
    if remove_below is None:
        text = f"remove_below is not given: {usual.shown} is used; {strict.shown} is also published"
        yield Finding("note", "remove-below", text, "state the temperature that applies", source)
    elif remove_below > usual.value:
        text = f"the shield leaves at {show(remove_below, 'remove_below')}, above {usual.shown}"
        remedy = f"keep the gas on until below {usual.shown}, or {strict.shown} where that holds"
        yield Finding("caution", "remove-below", text, remedy, source)
    elif remove_below > strict.value:
        text = (
            f"the gas may leave at {show(remove_below, 'remove_below')} here; another published "
            f"limit, for the back side, is {strict.shown}"
        )
        yield Finding("note", "remove-below", text, "check what the code asks for", source)


def _percent(fraction: float) -> str:
    # three digits would round 99.995 % and 99.999 % to the same 100 %
    return f"{100 * fraction:.6g} %"


def _shown(key: str, value: float | None) -> dict[str, float | None]:
    return {json_key(key): to_json(value, key)}


def _cover_json(cover: HotMetalCover) -> dict[str, Any]:
    return {
        "name": cover.where,
        **_shown("time_above_shielding", cover.time_above),
        **_shown("shielded_length", cover.trailing_length),
        **_shown("shielded_width", None if cover.radius_above is None else 2 * cover.radius_above),
        "sideways_covered": cover.sideways_covered,
        "trailing_covered": cover.trailing_covered,
        "post_flow_reaches": cover.post_flow_reaches,
    }
