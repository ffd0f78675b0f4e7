"""Whether the gas stays over the metal while it is hot."""

from __future__ import annotations

from attrs import evolve, frozen

from weldcalc.errors import Problems
from weldcalc.fields import show
from weldcalc.findings import Finding, Weight
from weldcalc.hazards.room_air import shielding_rules
from weldcalc.heatflow.weld_cooling import cooling_rate_thick, cooling_rate_thin
from weldcalc.sourced import Sourced, need_not_negative, need_positive


@frozen
class ShieldingTemperature:
    """A published temperature below which the shield may leave the metal.

    Parameters
    ----------
    key : str
        "usual" or "strict".
    value : float
        Temperature [K].
    shown : str
        As published.
    source, standing : str
        Where it was read and how sure it is.
    """

    key: str
    value: float
    shown: str
    source: str
    standing: str


@frozen
class HotMetalCover:
    """Whether the gas covers the metal until it is cold enough.

    Parameters
    ----------
    where : str
        Pass name; empty where there is none.
    remove_below : float
        Temperature below which the shield may leave the metal [K].
    time_above, radius_above : float or None
        How long [s] and how far from the beam [m] the metal is hotter; None if not known.
    trailing_length : float or None
        Seam behind the beam that is still hotter [m].
    nozzle_diameter, post_flow : float or None
        As given [m, s]; None if not given.
    sideways_covered, trailing_covered, post_flow_reaches : bool or None
        Answers; None where an input is missing.
    trailing_shield : float or None
        Length that a trailing shield has to add behind the nozzle [m]; zero if none is needed.
    findings : tuple of Finding
        What a person has to know.
    """

    where: str
    remove_below: float
    time_above: float | None
    radius_above: float | None
    trailing_length: float | None
    nozzle_diameter: float | None
    post_flow: float | None
    sideways_covered: bool | None
    trailing_covered: bool | None
    post_flow_reaches: bool | None
    trailing_shield: float | None
    findings: tuple[Finding, ...]


def shielding_temperatures() -> dict[str, ShieldingTemperature]:
    """Return the published temperatures below which the shield may leave titanium, by key.

    Published statements conflict: "usual" is 427 degC, "strict" is 260 degC.
    """
    rows = shielding_rules()["shielding_temperature"]
    found = (
        ShieldingTemperature(
            key=row["key"],
            value=row["value"],
            shown=row["shown"],
            source=row["source"],
            standing=row["standing"],
        )
        for row in rows
    )
    return {row.key: row for row in found}


def seam_cooling_time(
    *,
    heat_input: float,
    thickness: float,
    temperature: float,
    preheat: float,
    conductivity: float,
    volumetric_heat: float,
) -> Sourced:
    """Return how long the centre of a seam stays above a temperature after the beam passed.

    Parameters
    ----------
    heat_input : float
        Absorbed average power over travel speed [J/m].
    thickness : float
        Wall [m].
    temperature : float
        Temperature to cool to [K].
    preheat : float
        Temperature of the part far from the seam [K], below `temperature`.
    conductivity : float
        Mean thermal conductivity between the two temperatures [W/(m K)].
    volumetric_heat : float
        Mean density times specific heat [J/(m3 K)].

    Returns
    -------
    Sourced
        Time [s].

    Raises
    ------
    InputError
        When a value is not above zero or the part is not colder than `temperature`.

    Notes
    -----
    The longer of two forms: line source through a thin sheet and point source on a thick one.
    A real sheet is at least as hot as either says on the side of the beam, so where neither
    holds well the time is still too short, by a tenth at most. Wide sheet, no loss at its faces,
    continuous source of the average power: a short tube that warms as a whole takes longer,
    so give its own temperature as `preheat`.

    References
    ----------
    Thin H^2 / (4 pi k rho c h^2 (T - T0)^2), thick H / (2 pi k (T - T0)): integrals of the
    Welding Handbook cooling rates (from memory).
    """
    given = {"heat_input": heat_input, "thickness": thickness, "conductivity": conductivity}
    problems = Problems()
    need_positive(problems, volumetric_heat=volumetric_heat, preheat=preheat, **given)
    if not temperature > preheat:
        why = "has to be above the temperature of the part; a part this warm never gets there"
        problems.add("temperature", why, temperature)
    problems.raise_if_any()
    thin, thick = _sheet_times(
        heat_input, thickness, temperature, preheat, conductivity, volumetric_heat
    )
    return Sourced(
        value=max(thin, thick),
        unit="s",
        formula=_THIN if thin > thick else _THICK,
        source="Welding Handbook cooling rates, integrated",
        standing="from memory",
        note="Wide sheet, no surface loss, source of the average power.",
    )


def hot_metal_cover(
    *,
    remove_below: float,
    time_above: float | None,
    radius_above: float | None,
    travel_speed: float,
    nozzle_diameter: float | None = None,
    post_flow: float | None = None,
    where: str = "",
) -> HotMetalCover:
    """Say whether nozzle and post-flow cover the metal while it is hot.

    Parameters
    ----------
    remove_below : float
        Temperature below which the shield may leave the metal [K].
    time_above : float or None
        Longest time that metal stays above it after the beam passed [s].
    radius_above : float or None
        Farthest distance from the beam that gets above it [m].
    travel_speed : float
        Speed of the beam along the seam [m/s]; zero for a spot.
    nozzle_diameter : float, optional
        Bore of the nozzle [m].
    post_flow : float, optional
        Time that the shield runs after the last pulse, standing still [s].
    where : str
        Pass name, for the findings.

    Returns
    -------
    HotMetalCover
        Answers, the trailing length (speed times time above) and findings.

    Raises
    ------
    InputError
        When a value is out of range.

    Notes
    -----
    Gas is taken to cover a circle of the nozzle's bore, centred on the beam (common practice, no
    source). Far side and inside are the purge's business.
    """
    _check_cover(
        remove_below,
        travel_speed,
        time_above=time_above,
        radius_above=radius_above,
        nozzle_diameter=nozzle_diameter,
        post_flow=post_flow,
    )
    trailing = None if time_above is None else travel_speed * time_above
    bore = None if nozzle_diameter is None else nozzle_diameter / 2
    bare = HotMetalCover(
        where=where,
        remove_below=remove_below,
        time_above=time_above,
        radius_above=radius_above,
        trailing_length=trailing,
        nozzle_diameter=nozzle_diameter,
        post_flow=post_flow,
        sideways_covered=_reaches(bore, radius_above),
        trailing_covered=_reaches(bore, trailing),
        post_flow_reaches=_reaches(post_flow, time_above),
        trailing_shield=None if bore is None or trailing is None else max(0.0, trailing - bore),
        findings=(),
    )
    return evolve(bare, findings=_cover_findings(bare))


_THIN = "H^2 / (4 pi k rho c h^2 (T - T0)^2)"
_THICK = "H / (2 pi k (T - T0))"


def _sheet_times(
    heat_input: float,
    thickness: float,
    temperature: float,
    preheat: float,
    conductivity: float,
    volumetric_heat: float,
) -> tuple[float, float]:
    thin_rate = cooling_rate_thin(
        heat_input=heat_input,
        volumetric_heat=volumetric_heat,
        thickness=thickness,
        thermal_conductivity=conductivity,
        temperature=temperature,
        preheat=preheat,
    )
    thick_rate = cooling_rate_thick(
        heat_input=heat_input,
        thermal_conductivity=conductivity,
        temperature=temperature,
        preheat=preheat,
    )
    rise = temperature - preheat
    # the rates go with rise^3 and rise^2, so the times since the beam passed follow at once
    return rise / (2 * float(thin_rate)), rise / float(thick_rate)


def _reaches(given: float | None, needed: float | None) -> bool | None:
    return None if given is None or needed is None else given >= needed


def _check_cover(remove_below: float, travel_speed: float, **optional: float | None) -> None:
    problems = Problems()
    need_positive(problems, remove_below=remove_below)
    need_not_negative(problems, travel_speed=travel_speed)
    for name, value in optional.items():
        if value is not None:
            need_not_negative(problems, **{name: value})
    problems.raise_if_any()


def _cover_findings(cover: HotMetalCover) -> tuple[Finding, ...]:
    below = show(cover.remove_below, "remove_below")
    if cover.time_above is None or cover.radius_above is None:
        text = f"how long and how far the metal stays above {below} is not known"
        return (_finding(cover, "note", "hot-metal-unknown", text, "measure it on a mock-up"),)
    found = (*_nozzle_findings(cover, below), *_post_flow_findings(cover, below))
    text = f"nozzle and post-flow reach the metal until it is below {below}"
    return found or (_finding(cover, "note", "hot-metal-covered", text, ""),)


def _nozzle_findings(cover: HotMetalCover, below: str) -> tuple[Finding, ...]:
    length, radius = show(cover.trailing_length, "shielded_length"), cover.radius_above or 0.0
    wide = show(2 * radius, "shielded_width")
    if cover.nozzle_diameter is None:
        round_it = show(radius, "shielded_width")
        text = f"metal above {below} reaches {round_it} round the beam and lags {length} behind it"
        remedy = "check that nozzle and trailing shield cover it"
        return (_finding(cover, "note", "nozzle-not-given", text, remedy),)
    bore = show(cover.nozzle_diameter, "shielded_width")
    found = []
    if not cover.sideways_covered:
        text = f"metal above {below} is {wide} wide, the nozzle {bore}"
        found.append(
            _finding(cover, "caution", "nozzle-too-narrow", text, "use a wider nozzle or a box")
        )
    if not cover.trailing_covered:
        text = f"{length} of seam behind the beam is above {below}, the nozzle is {bore} wide"
        remedy = f"add {show(cover.trailing_shield, 'shielded_length')} of trailing shield"
        found.append(_finding(cover, "caution", "trailing-shield", text, remedy))
    return tuple(found)


def _post_flow_findings(cover: HotMetalCover, below: str) -> tuple[Finding, ...]:
    needed = show(cover.time_above, "time_above_shielding")
    if cover.post_flow is None:
        text = f"shield and purge have to run at least {needed} after the last pulse"
        remedy = "set the post-flow and verify it with a thermocouple or on a mock-up"
        return (_finding(cover, "note", "post-flow-not-given", text, remedy),)
    if cover.post_flow_reaches:
        return ()
    given = show(cover.post_flow, "time_above_shielding")
    text = f"post-flow of {given} ends before the metal is below {below} ({needed})"
    return (_finding(cover, "caution", "post-flow-short", text, f"let it run at least {needed}"),)


def _finding(cover: HotMetalCover, weight: Weight, code: str, text: str, remedy: str) -> Finding:
    rule = "post_flow" if code.startswith("post-flow") else "nozzle_cover"
    source = shielding_rules()[rule]["source"]
    return Finding(
        weight=weight, code=code, text=text, remedy=remedy, source=source, where=cover.where
    )
