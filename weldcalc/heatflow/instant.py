"""Instant answer: what one pulse does to a sheet, from closed forms alone.

It takes milliseconds where the engine takes seconds, and it knows neither the stirring of the
melt nor what that does to its shape, so its intervals are wide. It stays beside the engine as a
first look and as a check: an engine result outside these intervals wants an explanation.

Two pictures are worked out. *Conduction*: the beam heats a flat surface, and the pool is where
the closed form for its spot passes the melting temperature. *Keyhole*: the beam holds a column
open whose wall is at the boiling point; the column's own depth decides how much it absorbs, and
the pool at the top is that of a point source of the absorbed power. How hot the flat surface
would get, in units of the rise to boiling, says which picture holds or whether both may.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import pi
from typing import Generic, Literal, TypeVar

from attrs import frozen

from weldcalc.errors import InputError
from weldcalc.heatflow.arguments import ordered, positive, share
from weldcalc.heatflow.melting import cylinder_volume, half_ellipsoid_volume, melting_energy
from weldcalc.heatflow.pulse_pictures import Means, Pool, PulseOnSheet
from weldcalc.materials import Material

Mode = Literal["conduction", "transition", "keyhole"]
Picture = Literal["conduction", "keyhole"]
T = TypeVar("T")

CONDUCTION_BELOW = 0.9
"""Surface rise over the rise to boiling below which only conduction is likely [-]."""

KEYHOLE_ABOVE = 2.0
"""Surface rise over the rise to boiling above which only a keyhole is likely [-]."""

KEYHOLE_LIKELIER = 1.4
"""Surface rise over the rise to boiling above which the keyhole's numbers are shown [-]: middle
of the two limits on a scale of ratios."""

GIVEN_ABSORPTIVITY_SD = 0.05
"""One standard deviation of an absorptivity that was typed in [-] (common practice, no
source)."""

# How far each closed form is trusted inside the checked range, set wider than published over
# computed. Conduction: depth 1.8 and 2.3, width 0.9 and 1.0 on two 316L pulses, whose melt flows
# inward and down; titanium's flows outward and may be shallower, no pulse says. Keyhole or
# transition: depth 0.74 to 1.06, width 0.58 to 1.04 on twelve and ten pulses.
_TRUST: dict[tuple[str, Picture], tuple[float, float]] = {
    ("depth", "conduction"): (0.7, 2.4),
    ("width", "conduction"): (0.7, 1.3),
    ("depth", "keyhole"): (0.65, 1.35),
    ("width", "keyhole"): (0.55, 1.35),
    # no published pulse gives a heat-affected width
    ("haz_width", "conduction"): (0.5, 2.0),
    ("haz_width", "keyhole"): (0.5, 2.0),
}

_TIME_TRUST = (0.7, 1.4)

# What the published pulses span, in the unit shown: name, least, greatest, unit
_CHECKED = (
    ("spot diameter", 0.12, 0.31, "mm"),
    ("pulse duration", 0.5, 10.0, "ms"),
    ("mean irradiance", 0.16, 1.8, "MW/cm2"),
)

_FORMULA: dict[tuple[str, Picture], str] = {
    ("depth", "conduction"): "heated spot on an insulated sheet, depth of the melting isotherm",
    ("width", "conduction"): "heated spot on an insulated sheet, width of the melting isotherm",
    ("haz_width", "conduction"): "heated spot on an insulated sheet, melting to ",
    ("depth", "keyhole"): "heat balance of a column at the boiling point with cavity absorptance",
    ("width", "keyhole"): "point source of the column's power, width of the melting isotherm",
    ("haz_width", "keyhole"): "point source of the column's power, melting to ",
}
_MODE_FORMULA = "surface rise under an evenly heated disc over the rise to boiling"
_TIME_FORMULA = "time for a heated spot on thick metal to reach the solidus"
_ENERGY_FORMULA = "heat to melt half an ellipsoid, or a cylinder where the pool goes through"

_VALID = "constant properties, no stirring; intervals set on published pulses on thick metal"
_HAZ_VALID = "constant properties; not validated, no published pulse gives a heat-affected width"
_TIME_VALID = "constant properties of the solid; three published pulses on 316L within 25 %"
_ENERGY_VALID = "no heat lost from the pool; as good as the pool's size"


@frozen
class Answer(Generic[T]):
    """One quick result with what it rests on.

    Parameters
    ----------
    value : float or str
        Best guess [SI unit of the result].
    low, high : float or str
        Interval, wide enough for every published pulse that it was compared with [same unit].
    formula : str
        Name of the closed form.
    validity : str
        Where it holds and how well it was checked.
    """

    value: T
    low: T
    high: T
    formula: str
    validity: str


@frozen
class InstantEstimate:
    """Quick results for one pulse on a sheet, still beam, square pulse.

    Parameters
    ----------
    penetration : Answer
        Depth of the fusion zone [m], at most the thickness.
    fusion_width : Answer
        Width of the fusion zone at the top [m].
    haz_width : Answer
        Width of the heat-affected zone on each side at the top [m], from the fusion boundary, or
        from the middle of the spot where nothing melts.
    time_to_melt : Answer
        Time from the start of the pulse until its centre melts [s]; None where it does not melt
        within the pulse.
    least_energy : Answer
        Energy [J] that a pool of this size needs when no heat is lost from it.
    mode : Answer
        "conduction", "transition" (either is possible) or "keyhole"; low and high are the modes
        at the ends of the interval.
    """

    penetration: Answer[float]
    fusion_width: Answer[float]
    haz_width: Answer[float]
    time_to_melt: Answer[float | None]
    least_energy: Answer[float]
    mode: Answer[Mode]


def instant_estimate(
    material: Material,
    *,
    peak_power: float,
    pulse_duration: float,
    spot_diameter: float,
    thickness: float,
    profile: str = "top-hat",
    preheat: float = 293.15,
    absorptivity: float | None = None,
) -> InstantEstimate:
    """Return a first estimate of what one square pulse of a still beam does to a sheet.

    Parameters
    ----------
    material : Material
        Of the sheet.
    peak_power : float
        [W].
    pulse_duration : float
        [s].
    spot_diameter : float
        [m]; full width of a top-hat, 1/e^2 diameter of a Gaussian beam.
    thickness : float
        Of the sheet [m].
    profile : {"top-hat", "gaussian"}
        Irradiance over the spot.
    preheat : float
        Temperature of the sheet before the pulse [K], below its solidus.
    absorptivity : float, optional
        Of the flat surface [-], 0 to 1; the material's as-machined surface when not given.

    Returns
    -------
    InstantEstimate
        Each number with its interval, formula and validity.

    Raises
    ------
    InputError
        When an argument is not physical.

    Notes
    -----
    Conductivity is its mean over the temperature range, specific heat the mean slope of enthalpy,
    latent heats included. Both faces of the sheet are insulated. A beam that breaks through
    loses power on the far side, which is not counted. Outside the range of the published
    pulses the intervals are widened to the square of their factors.

    The limits of the modes stand round the values of the surface rise over the rise to boiling at
    which published pulses changed over: 0.87 to 1.3 when the keyhole opened on 316L, with no
    keyhole at 1.2 on another (Simonds 2018), 1.75 at the threshold of a Gaussian beam on 316L
    (Allen 2020) and 1.9 on Ti-6Al-4V (Simonds 2022).

    References
    ----------
    Simonds et al., Phys. Rev. Applied 10, 044061 (2018), table III.
    Allen et al., Phys. Rev. Applied 13, 064070 (2020).
    Simonds et al., Appl. Mater. Today 23, 101049 (2021), as digitised in Gan et al., Prog. Addit.
    Manuf. 10, 491 (2025).
    Simonds, NIST data set mds2-2525 (2022).
    """
    positive(
        peak_power=peak_power,
        pulse_duration=pulse_duration,
        spot_diameter=spot_diameter,
        thickness=thickness,
        preheat=preheat,
    )
    ordered("solidus", "preheat", solidus=material.solidus, preheat=preheat)
    if profile not in ("top-hat", "gaussian"):
        raise InputError.of("profile", 'must be "top-hat" or "gaussian"', profile)
    pulse = PulseOnSheet(
        material=material,
        power=peak_power,
        duration=pulse_duration,
        radius=spot_diameter / 2,
        thickness=thickness,
        gaussian=profile == "gaussian",
        preheat=preheat,
    )
    return _estimate(pulse, *_absorptivity(material, absorptivity))


def _absorptivity(material: Material, given: float | None) -> tuple[float, float]:
    if given is None:
        return material.absorptivity("as machined")
    share(absorptivity=given)
    return given, GIVEN_ABSORPTIVITY_SD


def _estimate(pulse: PulseOnSheet, mean: float, sd: float) -> InstantEstimate:
    shares = (max(mean - sd, 0.01), mean, min(mean + sd, 1.0))
    low, ratio, high = (pulse.boiling_ratio(one) for one in shares)
    mode = _answer((_mode(low), _mode(ratio), _mode(high)), _MODE_FORMULA, _outside(pulse) + _VALID)
    scope = _Scope(
        shown="keyhole" if ratio > KEYHOLE_LIKELIER else "conduction",
        possible=_possible(low, high),
        outside=_outside(pulse),
    )
    pools: dict[Picture, list[Pool]] = {
        "conduction": [pulse.conduction(one) for one in shares],
        "keyhole": [pulse.keyhole(one) for one in shares],
    }
    depth = tuple(min(one, pulse.thickness) for one in _sizes("depth", pools, scope))
    width, haz = _sizes("width", pools, scope), _sizes("haz_width", pools, scope)
    isotherm = pulse.material.haz_isotherm_name
    return InstantEstimate(
        penetration=_answer(depth, _FORMULA["depth", scope.shown], scope.outside + _VALID),
        fusion_width=_answer(width, _FORMULA["width", scope.shown], scope.outside + _VALID),
        haz_width=_answer(
            haz, _FORMULA["haz_width", scope.shown] + isotherm, scope.outside + _HAZ_VALID
        ),
        time_to_melt=_answer(_melting_times(pulse, shares), _TIME_FORMULA, _TIME_VALID),
        least_energy=_answer(_least_energy(pulse, depth, width), _ENERGY_FORMULA, _ENERGY_VALID),
        mode=mode,
    )


@frozen
class _Scope:
    """Which picture is shown, which are possible, and what lies outside the checked range."""

    shown: Picture
    possible: tuple[Picture, ...]
    outside: str


def _mode(ratio: float) -> Mode:
    if ratio < CONDUCTION_BELOW:
        return "conduction"
    return "keyhole" if ratio > KEYHOLE_ABOVE else "transition"


def _possible(low: float, high: float) -> tuple[Picture, ...]:
    pictures: list[Picture] = []
    if low <= KEYHOLE_ABOVE:
        pictures.append("conduction")
    if high >= CONDUCTION_BELOW:
        pictures.append("keyhole")
    return tuple(pictures)


def _sizes(name: str, pools: dict[Picture, list[Pool]], scope: _Scope) -> tuple[float, ...]:
    """Return low, value and high of one size over the possible pictures."""
    power = 2 if scope.outside else 1
    lows, highs = [], []
    for picture in scope.possible:
        least, _, most = (getattr(pool, name) for pool in pools[picture])
        down, up = _TRUST[name, picture]
        lows.append(least * down**power)
        highs.append(most * up**power)
    return min(lows), getattr(pools[scope.shown][1], name), max(highs)


def _answer(found: Sequence[T], formula: str, validity: str) -> Answer[T]:
    low, value, high = found
    return Answer(value=value, low=low, high=high, formula=formula, validity=validity)


def _melting_times(pulse: PulseOnSheet, shares: Sequence[float]) -> tuple[float | None, ...]:
    less, mean, more = (pulse.melting_time(one) for one in shares)
    times = (more * _TIME_TRUST[0], mean, less * _TIME_TRUST[1])
    return tuple(time if time <= pulse.duration else None for time in times)


def _least_energy(
    pulse: PulseOnSheet, depths: Sequence[float], widths: Sequence[float]
) -> tuple[float, ...]:
    means = Means.over(pulse.material, pulse.preheat, pulse.material.solidus)
    energies = []
    for depth, width in zip(depths, widths, strict=True):
        through = depth >= pulse.thickness
        volume = (
            cylinder_volume(diameter=width, depth=depth)
            if through
            else half_ellipsoid_volume(width=width, depth=depth)
        )
        energy = melting_energy(
            volume=volume,
            volumetric_heat=means.volumetric_heat,
            volumetric_latent_heat=pulse.material.density_rt * pulse.material.latent_heat_fusion,
            melting_temperature=pulse.material.solidus,
            preheat=pulse.preheat,
        )
        energies.append(float(energy))
    return tuple(energies)


def _outside(pulse: PulseOnSheet) -> str:
    """Return words for what lies outside the range of the published pulses; empty if nothing."""
    found = {
        "spot diameter": 2e3 * pulse.radius,
        "pulse duration": 1e3 * pulse.duration,
        "mean irradiance": 1e-10 * pulse.power / (pi * pulse.radius**2),
    }
    beyond = [
        f"{name} {low:g} to {high:g} {unit}"
        for name, low, high, unit in _CHECKED
        if not low <= found[name] <= high
    ]
    return f"interval widened, outside the checked {' and '.join(beyond)}; " if beyond else ""
