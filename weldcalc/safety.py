"""Cautions for people who weld, and estimates for the laser safety officer.

One door to all of it: cautions with the documents to follow, exposure limits, optical density,
hazard distances, eyewear numbers and the oxygen of a room. Estimates are marked as such; local
codes, the laser safety officer and licensed practice decide.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, Any

from attrs import asdict, frozen

from weldcalc.errors import InputError
from weldcalc.findings import Finding
from weldcalc.hazards.exposure import (
    NOTICE,
    ExposureLimit,
    Rules,
    customary_exposure_time,
    exposure_limit,
    pupil_diameter,
    pupil_exposure,
    single_exposure_limit,
    skin_limit,
)
from weldcalc.hazards.laser_hazard import (
    ScaleNumber,
    beam_hazard_distance,
    diffuse_hazard_distance,
    exit_cone,
    fibre_hazard_distance,
    lens_hazard_distance,
    optical_density,
    scale_number,
)
from weldcalc.hazards.room_air import (
    RoomOxygen,
    flow_to_limit,
    instant_release,
    room_oxygen,
    smallest_room,
)
from weldcalc.reference import read_toml
from weldcalc.sourced import Sourced

if TYPE_CHECKING:
    from weldcalc.schedule import Schedule, WeldPass

__all__ = [
    "NOTICE",
    "Caution",
    "Document",
    "ExposureLimit",
    "LaserEstimate",
    "RoomOxygen",
    "Rules",
    "ScaleNumber",
    "Sourced",
    "beam_hazard_distance",
    "cautions",
    "customary_exposure_time",
    "defer_to",
    "diffuse_hazard_distance",
    "exit_cone",
    "exposure_limit",
    "fibre_hazard_distance",
    "flow_to_limit",
    "instant_release",
    "laser_estimates",
    "lens_hazard_distance",
    "optical_density",
    "pupil_exposure",
    "room_oxygen",
    "scale_number",
    "single_exposure_limit",
    "skin_limit",
    "smallest_room",
]


@frozen
class Document:
    """A document to follow.

    Parameters
    ----------
    title : str
        Number, edition and subject.
    standing : str
        "published", "common practice" or "from memory".
    """

    title: str
    standing: str


@frozen
class Caution:
    """One caution for the people who do the work.

    Parameters
    ----------
    key, title, text : str
        Short name, heading and wording.
    documents : tuple of Document
        What to follow.
    standing : str
        How sure the statement is.
    defer_to : str
        Who decides; the same on every caution.
    """

    key: str
    title: str
    text: str
    documents: tuple[Document, ...]
    standing: str
    defer_to: str

    def to_json(self) -> dict[str, Any]:
        """Return plain values."""
        return asdict(self)


@frozen
class LaserEstimate:
    """Eye and skin estimates of one pass, for the laser safety officer.

    Parameters
    ----------
    name : str
        Pass name.
    exposure_time : float
        Time for which the eye is taken to be exposed [s].
    eye : ExposureLimit
        Limit per pulse at the eye [J/m2].
    skin : Sourced
        Limit per pulse on the skin [J/m2].
    exposure : Sourced
        Radiant exposure of one pulse at the eye, averaged over the pupil [J/m2].
    optical_density : Sourced
        Least optical density against that [1].
    eyewear : tuple of ScaleNumber
        Pulse mode and mode D (average power), both needed.
    diffuse_distance : Sourced
        Hazard distance from a matt white surface under the beam [m].
    beam_distance : Sourced or None
        Hazard distance behind the focus [m]; None where beam quality is not given.
    notice : str
        What this is and is not.
    """

    name: str
    exposure_time: float
    eye: ExposureLimit
    skin: Sourced
    exposure: Sourced
    optical_density: Sourced
    eyewear: tuple[ScaleNumber, ...]
    diffuse_distance: Sourced
    beam_distance: Sourced | None
    notice: str = NOTICE

    def to_json(self) -> dict[str, Any]:
        """Return plain values."""
        return asdict(self)


def cautions(
    *, material: str | None = "titanium", gas: str | None = "argon"
) -> tuple[Caution, ...]:
    """Return the cautions that a job calls for.

    Parameters
    ----------
    material : str or None
        Family of the metal, "titanium" or "stainless steel"; None for all families.
    gas : str or None
        Shielding gas as typed; a name that is not known, or None, brings the cautions for all.

    Returns
    -------
    tuple of Caution
        In the order in which they should be read.

    Raises
    ------
    InputError
        When the family is unknown.
    """
    families = {family for raw in _table()["caution"] for family in raw.get("materials", ())}
    if material is not None and material not in families:
        raise InputError.of("material", f"has to be one of {', '.join(sorted(families))}", material)
    named = _named_gases(gas)
    return tuple(
        _caution(raw)
        for raw in _table()["caution"]
        if material is None or material in raw.get("materials", (material,))
        if "gases" not in raw or named & set(raw["gases"])
    )


def defer_to() -> str:
    """Return the sentence that stands over all cautions: who decides."""
    return str(_table()["defer_to"])


def laser_estimates(
    schedule: Schedule,
    *,
    exposure_time: float | None = None,
    beam_diameter: float | None = None,
    rules: Rules = "stricter",
) -> tuple[tuple[LaserEstimate, ...], tuple[Finding, ...]]:
    """Return the estimates of every pass, for the whole beam reaching one eye.

    Parameters
    ----------
    schedule : Schedule
        Its passes and its laser's wavelength and beam quality are read.
    exposure_time : float, optional
        Time for which the eye is exposed [s]; 10 s if not given. One pulse at least is counted.
    beam_diameter : float, optional
        Diameter of the beam at eye and eyewear [m]; that of the pupil (7 mm) if not given. A
        narrower beam does not raise the exposure of the retina, but asks more of eyewear.
    rules : {"stricter", "directive", "edition-2014"}
        Rule set of the exposure limit.

    Returns
    -------
    estimates : tuple of LaserEstimate
        One for each pass; empty where the wavelength is missing or not covered.
    findings : tuple of Finding
        Why there are none, or that they are no clearance.

    Raises
    ------
    InputError
        When the rule set or the exposure time cannot be used.
    """
    wavelength = schedule.laser.wavelength
    if wavelength is None or not 700e-9 <= wavelength <= 1400e-9:
        return (), (_NO_ESTIMATE,)
    time = customary_exposure_time() if exposure_time is None else exposure_time
    across = pupil_diameter() if beam_diameter is None else beam_diameter
    laser = schedule.laser
    case = _Case(wavelength, laser.beam_quality, laser.waist_diameter, time, across, rules)
    return tuple(_of_pass(each, case) for each in schedule.passes), (_NO_CLEARANCE,)


@frozen
class _Case:
    wavelength: float
    beam_quality: float | None
    waist_diameter: float | None
    exposure_time: float
    beam_diameter: float
    rules: Rules


def _of_pass(weld_pass: WeldPass, case: _Case) -> LaserEstimate:
    train = {
        "wavelength": case.wavelength,
        "pulse_duration": weld_pass.pulse_duration,
        "repetition_rate": weld_pass.repetition_rate,
        "exposure_time": max(case.exposure_time, weld_pass.pulse_duration),
    }
    eye = exposure_limit(**train, rules=case.rules)
    energy = weld_pass.pulse_energy
    at_eye = pupil_exposure(pulse_energy=energy, beam_diameter=case.beam_diameter)
    return LaserEstimate(
        name=weld_pass.name,
        exposure_time=train["exposure_time"],
        eye=eye,
        skin=skin_limit(**train),
        exposure=at_eye,
        optical_density=optical_density(exposure=at_eye.value, limit=eye.value),
        eyewear=_eyewear_of(weld_pass, case, eye.pulses),
        diffuse_distance=diffuse_hazard_distance(output=energy, limit=eye.value),
        beam_distance=_beam_distance(weld_pass, case, eye.value),
    )


def _eyewear_of(weld_pass: WeldPass, case: _Case, pulses: int) -> tuple[ScaleNumber, ...]:
    # unlike the retina, eyewear is loaded over the true area of the beam
    level = weld_pass.pulse_energy / (math.pi / 4 * case.beam_diameter**2)
    pulsed = scale_number(
        wavelength=case.wavelength,
        level=level,
        pulse_duration=weld_pass.pulse_duration,
        pulses=pulses,
    )
    average = scale_number(wavelength=case.wavelength, level=level * weld_pass.repetition_rate)
    return pulsed, average


def _beam_distance(weld_pass: WeldPass, case: _Case, limit: float) -> Sourced | None:
    if case.beam_quality is None:
        return None
    # a defocused spot is wider than the waist that the cone comes from
    waist = case.waist_diameter or weld_pass.spot_diameter
    cone = exit_cone(
        wavelength=case.wavelength, beam_quality=case.beam_quality, spot_diameter=waist
    )
    return beam_hazard_distance(output=weld_pass.pulse_energy, limit=limit, divergence=cone.value)


def _caution(raw: dict[str, Any]) -> Caution:
    documents = _table()["document"]
    return Caution(
        key=raw["key"],
        title=raw["title"],
        text=raw["text"],
        documents=tuple(Document(**documents[key]) for key in raw["documents"]),
        standing=raw["standing"],
        defer_to=defer_to(),
    )


def _named_gases(gas: str | None) -> set[str]:
    known = {name for raw in _table()["caution"] for name in raw.get("gases", ())}
    found = {name for name in known if gas is not None and name in gas.lower()}
    # a gas that is not recognised still displaces air, one way or the other
    return found or known


@cache
def _table() -> dict[str, Any]:
    return read_toml("safety/cautions.toml")


_NO_CLEARANCE = Finding(
    weight="note",
    code="laser-estimate",
    text="exposure limits, optical densities and hazard distances are estimates, no clearance",
    remedy="hand them to the laser safety officer, who decides",
)
_NO_ESTIMATE = Finding(
    weight="note",
    code="laser-estimate-missing",
    text="no exposure estimate: the wavelength is not given or not between 700 and 1400 nm",
    remedy="state laser.wavelength, or ask the laser safety officer for the limits",
)
