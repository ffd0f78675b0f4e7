"""A measured section in, the likeliest single cause out: the tolerance run backwards.

Every cause is tried alone: it may have moved by several times its usual scatter, all others only
scatter as usual. How well the section then fits, averaged over how far the cause may have moved,
is its plausibility. Less power and less light taken up look the same in a section; they are one
cause here, and only a power meter tells them apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Executor
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from attrs import evolve, field, frozen

from weldcalc.batch import Progress
from weldcalc.calibration_data import Calibration
from weldcalc.errors import Problems
from weldcalc.heatflow.spot import spot_pulse
from weldcalc.passes.seam_shape import fused_depth
from weldcalc.quantities import json_key, to_json
from weldcalc.schedule import Schedule
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.scatter import (
    Floats,
    PassScatter,
    column,
    normal_points,
    pass_scatter,
    shift_key,
)

MEASURED: Final = ("penetration", "fusion_width", "root_width")
FAULT_SIGMAS = 4.0  # a fault is taken to move its cause by this many times its usual scatter
USUAL_DRAWS = 96
NODES = 25  # of each cause, run by the engine
FINE = 241  # of each cause, interpolated
_REACH = 3.0  # times the spread of a fault that is looked at
# one standard deviation of reading a section: common practice, no source
READING_LEAST = 8e-6  # m
READING_SHARE = 0.02

_FAULT_RANGE: Final = (0.08, 0.20)  # least and most that one sigma of a fault is taken to be [1]
_FAULTS: Final = ("power", "duration", "spot_diameter", "wall_thickness")
_LEAST_OFFSET = 0.05e-3  # m
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
    """

    cause: str
    side: int
    words: str
    plausibility: float
    shift: float
    check: str

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
    """

    pass_name: str
    measured: Mapping[str, float]
    expected: Mapping[str, float]
    usual_sigma: Mapping[str, float]
    suspects: tuple[Suspect, ...] = field(repr=False)

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
            "suspects": [one.to_json() for one in self.suspects],
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
        When a measured value is no size of a weld.

    Notes
    -----
    Single causes only, all equally likely before the section is seen; the section is taken to go
    through the middle of a pulse. The misfit is that of a multivariate normal about the engine's
    result, its covariance from draws of the usual scatter and from reading the section.
    """
    measured = _checked(penetration, fusion_width, root_width)
    weld_pass = schedule.passes[schedule.pass_index(pass_name) if pass_name else 0]
    scatter = pass_scatter(schedule, weld_pass, calibration=calibration, with_model=False)
    curves = _curves(scatter, tuple(measured), grid, executor, progress)
    usual = _usual(scatter, tuple(measured), seed, grid, executor, progress)
    expected = curves["power"].values[NODES // 2]
    values = np.array(list(measured.values()))
    covariance = np.cov(usual.T).reshape(len(values), len(values))
    covariance = covariance + np.diag(_reading(values) ** 2)
    return Diagnosis(
        pass_name=weld_pass.name,
        measured=measured,
        expected=dict(zip(measured, map(float, expected), strict=True)),
        usual_sigma=dict(zip(measured, map(float, np.sqrt(np.diag(covariance))), strict=True)),
        suspects=_suspects(
            curves, expected, values, np.asarray(np.linalg.inv(covariance), dtype=np.float64)
        ),
    )


def _checked(
    penetration: float, fusion_width: float | None, root_width: float | None
) -> dict[str, float]:
    found = {"penetration": penetration, "fusion_width": fusion_width, "root_width": root_width}
    problems = Problems()
    for name, value in found.items():
        if value is not None and not (np.isfinite(value) and value >= 0.0):
            problems.add(name, "has to be a length, zero or more [m]", value)
    problems.raise_if_any()
    return {name: value for name, value in found.items() if value is not None}


@frozen(eq=False)
class _Curve:
    """What a section shows as one cause moves: shifts, shape (k,), and values, shape (k, m)."""

    shifts: Floats
    values: Floats
    fault: float

    def at(self, shifts: Floats) -> Floats:
        return np.array([np.interp(shifts, self.shifts, line) for line in self.values.T]).T


def fault_spread(scatter: PassScatter) -> dict[str, float]:
    """Return how far a fault is taken to move each cause, one standard deviation [1 or m].

    Parameters
    ----------
    scatter : PassScatter
        Usual scatter of the pass.
    """
    found = {
        cause: float(np.clip(FAULT_SIGMAS * scatter.sigma.get(cause, 0.0), *_FAULT_RANGE))
        for cause in _FAULTS
    }
    offset = FAULT_SIGMAS * scatter.sigma.get("beam_offset", 0.0)
    return found | {"beam_offset": max(offset, _LEAST_OFFSET)}


def _curves(
    scatter: PassScatter,
    names: tuple[str, ...],
    grid: float | None,
    executor: Executor | None,
    progress: Progress | None,
) -> dict[str, _Curve]:
    """Run the engine along each cause with everything else in the middle."""
    still = np.zeros((1, len(scatter.causes)))
    faults = fault_spread(scatter)
    shifts = {cause: np.linspace(-_REACH, _REACH, NODES) * size for cause, size in faults.items()}
    run = [cause for cause in faults if cause != "beam_offset"]
    places = [
        scatter.pulses(still, shifts={cause: float(shift)}, grid=grid)
        for cause in run
        for shift in shifts[cause]
    ]
    sizes = run_pulses([one.cases[0] for one in places], executor=executor, progress=progress)
    rows = _seen(sizes, names).reshape(len(run), NODES, len(names))
    values = dict(zip(run, rows, strict=True))
    middle = values["power"][NODES // 2]
    values["beam_offset"] = _aside(scatter, names, middle, shifts["beam_offset"], grid)
    return {cause: _Curve(shifts[cause], values[cause], faults[cause]) for cause in faults}


def _seen(sizes: Floats, names: tuple[str, ...]) -> Floats:
    return np.array([column(sizes, name) for name in names]).T


def _aside(
    scatter: PassScatter,
    names: tuple[str, ...],
    middle: Floats,
    shifts: Floats,
    grid: float | None,
) -> Floats:
    """Return what a section shows of a pool beside the joint line: only the depth there changes."""
    case = scatter.centre(grid=grid).cases[0]
    outline = spot_pulse(**{k: v for k, v in case.items() if k != "depth"}).fusion_outline
    rows = np.tile(middle, (len(shifts), 1))
    rows[:, names.index("penetration")] = [fused_depth(outline, abs(float(x))) for x in shifts]
    return rows


def _usual(
    scatter: PassScatter,
    names: tuple[str, ...],
    seed: int,
    grid: float | None,
    executor: Executor | None,
    progress: Progress | None,
) -> Floats:
    normals = normal_points(USUAL_DRAWS, len(scatter.causes), seed)
    cases = scatter.pulses(normals, grid=grid).cases
    return _seen(run_pulses(cases, executor=executor, progress=progress), names)


def _reading(values: Floats) -> Floats:
    return np.hypot(READING_LEAST, READING_SHARE * values)


def _suspects(
    curves: Mapping[str, _Curve], expected: Floats, measured: Floats, precision: Floats
) -> tuple[Suspect, ...]:
    def log_fit(values: Floats) -> Floats:
        off = np.atleast_2d(values) - measured
        return np.asarray(-0.5 * np.einsum("ij,jk,ik->i", off, precision, off))

    found = [(Suspect("", 0, USUAL, 0.0, 0.0, ""), float(log_fit(expected)[0]))]
    for cause, side in WORDS:
        curve = curves[cause]
        shifts = side * np.linspace(0.0, _REACH * curve.fault, FINE)
        fits = log_fit(curve.at(shifts)) - 0.5 * (shifts / curve.fault) ** 2
        top = float(fits.max())
        # mean over a half-normal of what the fault may be
        weights = np.exp(-0.5 * (shifts / curve.fault) ** 2)
        evidence = top + float(np.log(np.exp(fits - top).sum() / weights.sum()))
        best = float(shifts[int(np.argmax(fits))])
        words = WORDS[cause, side]
        found.append((Suspect(cause, side, words, 0.0, best, CHECKS[cause]), evidence))
    logs = np.array([log for _, log in found])
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    made = [evolve(one, plausibility=float(p)) for (one, _), p in zip(found, shares, strict=True)]
    return tuple(sorted(made, key=lambda one: -one.plausibility))
