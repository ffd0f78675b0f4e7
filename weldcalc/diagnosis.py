"""A measured section in, the likeliest single cause out: the tolerance run backwards.

Every cause is tried alone: it may have moved by several times its usual scatter, all others only
scatter as usual. How well the section then fits, averaged over how far the cause may have moved,
is its plausibility. Less power and less light taken up look the same in a section; they are one
cause here, and only a power meter tells them apart. Causes of which none makes the section twice
as likely as another are told as one group: which of them comes first is chance. What was not
measured yet and would tell the plausible ones apart is named.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import Executor
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from attrs import evolve, field, frozen

from weldcalc.batch import Progress
from weldcalc.calibration_data import Calibration
from weldcalc.diagnoses.further import Forecast, Further, forecast_sizes, further_sizes
from weldcalc.diagnoses.likelihood import kernel_of, log_fits, log_likely, log_sum, reading
from weldcalc.diagnoses.sections import Bench, Curve
from weldcalc.diagnoses.sizes import MEASURED, checked_sizes, refuse_too_wide
from weldcalc.quantities import json_key, to_json
from weldcalc.schedule import Schedule
from weldcalc.tolerances.scatter import Floats, PassScatter, pass_scatter, shift_key

ALIKE = 2.0  # times as likely; sections that differ by less nobody tells apart
FARTHEST = 4.0  # sigmas between a section and the nearest run; beyond, no cause explains it
_MOVED = 0.1  # faults; less is no shift at all
# how often a fault of one kind is met, over another's: pulses are timed by electronics, while
# power, focus and aim wear and wander. Common practice, no source
ODDS: Final[Mapping[str, float]] = MappingProxyType({"duration": 0.25})
# degrees of freedom of a fault's size: many are small, but a broken one may be of any size
_TAIL = 3.0
FINE = 241  # shifts of each cause to either side, interpolated

USUAL: Final = "nothing unusual"
WORDS: Final[Mapping[tuple[str, int], str]] = MappingProxyType(
    {
        ("power", -1): "less power on the part, or less light taken up",
        ("power", 1): "more power on the part, or more light taken up",
        ("duration", -1): "pulse shorter than set",
        ("duration", 1): "pulse longer than set",
        ("spot_diameter", -1): "spot smaller than set: focus nearer",
        ("spot_diameter", 1): "spot larger than set: focus off, or window dirty",
        ("wall_thickness", -1): "wall thinner than drawn",
        ("wall_thickness", 1): "wall thicker than drawn",
        ("beam_offset", 1): "beam beside the joint line",
    }
)
"""Causes where pool and joint are symmetric."""

_ASIDE: Final[Mapping[str, dict[tuple[str, int], str]]] = MappingProxyType(
    {
        "butt": {
            ("beam_offset", -1): "beam off its place, to the negative side",
            ("beam_offset", 1): "beam off its place, to the positive side",
        },
        "tube-to-plate": {
            ("beam_offset", -1): "beam off its place, towards the tube",
            ("beam_offset", 1): "beam off its place, towards the plate",
        },
    }
)
CHECKS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "power": "measure the power at the part, clean the cover glass, look at the surface",
        "duration": "record the pulse with a photodiode",
        "spot_diameter": "burn a spot on a witness plate, set the focus again",
        "wall_thickness": "measure the wall beside the section",
        "beam_offset": "look at the place of the weld over the joint line",
    }
)


@frozen
class Suspect:
    """One cause and how plausible it is.

    Parameters
    ----------
    cause : str
        Key of `weldcalc.tolerances.scatter.CAUSES`; "" for nothing unusual.
    side : int
        -1 lower, 1 higher, 0 for nothing unusual.
    words : str
        What it means.
    plausibility : float
        Share of all hypotheses together [1].
    shift : float
        Likeliest shift of the cause [1 or m]; 0 for nothing unusual.
    check : str
        What to look at.
    is_open : bool
        Whether that shift is the largest that was looked at: the likeliest may lie beyond.
    """

    cause: str
    side: int
    words: str
    plausibility: float
    shift: float
    check: str
    is_open: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit."""
        plain: dict[str, Any] = {
            "cause": self.cause or None,
            "side": {-1: "lower", 0: None, 1: "higher"}[self.side],
            "means": self.words,
            "plausibility": self.plausibility,
            "check": self.check,
        }
        if self.cause:
            shift = to_json(self.shift, f"scatter.{self.cause}")
            plain[shift_key("shift", self.cause)] = shift
        return plain


@frozen(eq=False)
class Diagnosis:
    """What a measured section points to.

    Parameters
    ----------
    pass_name : str
        The pass.
    measured, expected, usual_sigma : mapping of str to float
        What was measured, what the schedule should give, and one standard deviation of usual
        scatter and reading together [m].
    suspects : tuple of Suspect
        The likeliest first; their plausibilities add up to 1.
    groups : tuple of tuple of Suspect
        The same suspects, those together that this section does not tell apart; the group with
        the greatest plausibility first. Causes that would rather not have moved are with nothing
        unusual.
    is_usual : bool
        Whether no cause makes the section much likelier than nothing unusual does.
    is_explained : bool
        Whether at least one cause makes such a section well.
    further : tuple of Further
        Sizes that were not measured and would tell plausible causes apart, the best first.
    """

    pass_name: str
    measured: Mapping[str, float]
    expected: Mapping[str, float]
    usual_sigma: Mapping[str, float]
    suspects: tuple[Suspect, ...] = field(repr=False)
    groups: tuple[tuple[Suspect, ...], ...] = field(repr=False)
    is_usual: bool
    is_explained: bool
    further: tuple[Further, ...] = field(default=(), repr=False)

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit."""
        return {
            "pass": self.pass_name,
            **{
                name: {json_key(key): to_json(value, key) for key, value in values.items()}
                for name, values in (
                    ("measured", self.measured),
                    ("expected", self.expected),
                    ("one_sigma", self.usual_sigma),
                )
            },
            "within_usual_scatter": self.is_usual,
            "made_well_by_a_cause": self.is_explained,
            "suspects": [one.to_json() for one in self.suspects],
            "not_told_apart": [
                {
                    "means": [one.words for one in group],
                    "plausibility": sum(one.plausibility for one in group),
                }
                for group in self.groups
            ],
            "measure_next": [one.to_json() for one in self.further],
        }


def explain(
    schedule: Schedule,
    *,
    penetration: float,
    fusion_width: float | None = None,
    root_width: float | None = None,
    pass_name: str = "",
    seed: int = 1,
    calibration: Calibration | None = None,
    grid: float | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Diagnosis:
    """Rank the causes that may have made a section what it is.

    Parameters
    ----------
    schedule : Schedule
        What should have been welded.
    penetration : float
        Measured depth of the fused metal at the joint line [m]; the wall where it goes through.
    fusion_width, root_width : float, optional
        Measured width on the irradiated face and on the far side [m].
    pass_name : str, optional
        The pass that was sectioned; the first if not given.
    seed : int, optional
        Of the draws of usual scatter.
    calibration : Calibration, optional
        In place of the shipped constants. Without one the expected section may itself be off by
        more than any fault.
    grid : float, optional
        Edge of the engine's cells under the spot [m].
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.

    Returns
    -------
    Diagnosis

    Raises
    ------
    InputError
        When a measured value is no size of a weld: below zero, or more than twice as deep as the
        metal or twice as wide as any cause makes it.

    Notes
    -----
    Single causes only, equally likely before the section is seen but for `ODDS`; the section is
    taken to go through the middle of a pulse, and a pool beside the joint line to be half an
    ellipsoid. How likely a section is comes from direct runs under usual scatter at many shifts
    of each cause, smoothed by the error of reading it and by a share of the scatter [1]_.

    References
    ----------
    .. [1] Silverman, Density Estimation for Statistics and Data Analysis, 1986, section 4.3.2
       (from memory).
    """
    typed = (penetration, fusion_width, root_width)
    measured = checked_sizes(schedule, dict(zip(MEASURED, typed, strict=True)))
    weld_pass = schedule.passes[schedule.pass_index(pass_name) if pass_name else 0]
    scatter = pass_scatter(schedule, weld_pass, calibration=calibration, with_model=False)
    curves = Bench(scatter, MEASURED, seed, grid, executor, progress).curves()
    refuse_too_wide(measured, curves, weld_pass)
    section = _Section(measured, curves, _unmeasured(schedule, measured))
    usual = section.curves["power"].at(np.zeros(1))[0]
    spread = np.hypot(usual.std(axis=0, ddof=1), reading(section.values))
    found = _judged(section, words_for(scatter))
    is_explained = max(one.fit for one in found) >= -0.5 * FARTHEST**2
    return Diagnosis(
        pass_name=weld_pass.name,
        measured=measured,
        expected=dict(zip(measured, map(float, usual[0]), strict=True)),
        usual_sigma=dict(zip(measured, map(float, spread), strict=True)),
        suspects=tuple(one.suspect for one in found),
        groups=_groups(found),
        is_usual=_is_usual(found),
        is_explained=is_explained,
        further=further_sizes(_forecasts(found)) if is_explained else (),
    )


def _unmeasured(schedule: Schedule, measured: Mapping[str, float]) -> tuple[str, ...]:
    # a tube in a plate has no far side
    asked = MEASURED if schedule.joint.type == "butt" else MEASURED[:2]
    return tuple(name for name in asked if name not in measured)


def words_for(scatter: PassScatter) -> dict[tuple[str, int], str]:
    """Return the causes that are looked at, with their side, and their words.

    Parameters
    ----------
    scatter : PassScatter
        Of the pass.
    """
    if not scatter.needs_section:
        return dict(WORDS)
    return {**WORDS, **_ASIDE[scatter.schedule.joint.type]}


@frozen(eq=False)
class _Section:
    """What was measured, and curves of all sizes.

    Parameters
    ----------
    measured : mapping of str to float
        What was [m].
    every : mapping of str to Curve
        Of all of `MEASURED`, by cause.
    unmeasured : tuple of str
        What might still be.
    """

    measured: Mapping[str, float]
    every: Mapping[str, Curve]
    unmeasured: tuple[str, ...]

    @property
    def values(self) -> Floats:
        """Return what was measured, shape (m,) [m]."""
        return np.array(list(self.measured.values()))

    @property
    def curves(self) -> dict[str, Curve]:
        """Return the curves of what was measured."""
        return {cause: curve.of(_places(self.measured)) for cause, curve in self.every.items()}

    def forecast(self, logs: Floats, cause: str, shifts: Floats) -> dict[str, tuple[float, float]]:
        """Return what was not measured, as draws weighed so have it [m]."""
        seen = self.every[cause].at(shifts)[..., _places(self.unmeasured)]
        return forecast_sizes(logs, seen, self.unmeasured)


def _places(names: Iterable[str]) -> list[int]:
    return [MEASURED.index(name) for name in names]


@frozen
class _Judged:
    """A suspect, how likely it makes the section at best (log), and whether it has to move.

    And what it makes of the sizes that were not measured: middle and one standard deviation [m].
    """

    suspect: Suspect
    fit: float
    moves: bool
    sizes: Mapping[str, tuple[float, float]]


def _judged(section: _Section, causes: Mapping[tuple[str, int], str]) -> tuple[_Judged, ...]:
    """Return all suspects, the most plausible first."""
    curves, measured = section.curves, section.values
    kernel = kernel_of(curves, measured)
    unmoved = log_fits(curves["power"].at(np.zeros(1)), measured, kernel)
    still = float(log_likely(unmoved)[0])
    sizes = section.forecast(unmoved, "power", np.zeros(1))
    usual = _Judged(Suspect("", 0, USUAL, 0.0, 0.0, ""), still, moves=False, sizes=sizes)
    found = [(usual, still)]
    for (cause, side), words in causes.items():
        curve = curves[cause]
        faults = np.linspace(0.0, float(curve.shifts[-1]) / curve.fault, FINE)
        # half of Student's t: what the fault may be
        prior = -0.5 * (_TAIL + 1.0) * np.log1p(faults**2 / _TAIL)
        shifts = side * faults * curve.fault
        fits = log_fits(curve.at(shifts), measured, kernel)
        likely = log_likely(fits)
        evidence = log_sum(likely + prior, 0) - log_sum(prior, 0) + np.log(ODDS.get(cause, 1.0))
        place = int(np.argmax(likely + prior))
        shift, last = float(shifts[place]), place == FINE - 1
        suspect = Suspect(cause, side, words, 0.0, shift, CHECKS[cause], is_open=last)
        moves = bool(faults[place] >= _MOVED)
        sizes = section.forecast(fits + prior[:, None], cause, shifts)
        found.append((_Judged(suspect, float(likely.max()), moves, sizes), float(evidence)))
    logs = np.array([log for _, log in found])
    shares = np.exp(logs - log_sum(logs, 0))
    made = [
        evolve(one, suspect=evolve(one.suspect, plausibility=float(share)))
        for (one, _), share in zip(found, shares, strict=True)
    ]
    return tuple(sorted(made, key=lambda one: -one.suspect.plausibility))


def _forecasts(found: Sequence[_Judged]) -> list[Forecast]:
    return [
        Forecast(one.suspect.words, one.suspect.plausibility, one.sizes)
        for one in found
        if one.moves or not one.suspect.cause
    ]


def _groups(found: Sequence[_Judged]) -> tuple[tuple[Suspect, ...], ...]:
    """Put suspects together that this section does not tell apart."""
    unmoved = [one for one in found if not one.moves]
    groups, left = [unmoved], [one for one in found if one.moves]
    while left:
        alike = [one for one in left if one.fit >= left[0].fit - np.log(ALIKE)]
        groups.append(alike)
        left = [one for one in left if one not in alike]
    groups.sort(key=lambda group: -sum(one.suspect.plausibility for one in group))
    return tuple(tuple(one.suspect for one in group) for group in groups)


def _is_usual(found: Sequence[_Judged]) -> bool:
    [still] = [one for one in found if not one.suspect.cause]
    return bool(still.fit >= max(one.fit for one in found) - np.log(ALIKE))
