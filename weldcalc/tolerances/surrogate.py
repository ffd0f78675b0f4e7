"""A quick stand-in for the engine of cross-sections, with its error stated, checked and counted.

The axisymmetric engine runs on every sample as it is. What a joint's own section makes of it is
learnt from some runs of the section engine: the logarithm of each size as a function of the inputs
and of what the axisymmetric engine gives for them. Runs that were not learnt from say how far off
that is; the error is one more cause of scatter wherever the stand-in is used.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Executor
from typing import Any, Final

import numpy as np
from attrs import asdict, field, frozen
from numpy.typing import NDArray

from weldcalc.batch import Progress
from weldcalc.heatflow.section_case import BRIDGED_GAP
from weldcalc.heatflow.spot_sizes import SIZES
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.scatter import Bools, PassScatter, Pulses, column, normal_points
from weldcalc.tolerances.section_pulses import ellipsoid_reach, section_pulses

Floats = NDArray[np.float64]

LEARNT: Final = ("penetration", "joint_depth", "fusion_width", "fusion_length", "haz_width")
FIT_RUNS = 112
CHECK_RUNS = 48
WIDENED = 1.5  # largest misfit of the check runs, widened: so few runs seldom hold the worst
_STRETCH = 1.3  # of the scatter that is learnt from, so that its edge is not the edge of the data
_RIDGE = 1e-2
_INPUTS: Final = ("peak_power", "pulse_duration", "spot_diameter", "absorptivity", "depth")
_LEAST = 1e-6  # m; a size below this counts as it


@frozen(eq=False)
class SectionSurrogate:
    """Sizes of pulses on a section, from those of the axisymmetric engine.

    Parameters
    ----------
    coefficients : ndarray, shape (f, 5)
        Of the terms of each size in `LEARNT`.
    wall : float
        Share of the depth asked for in the thinner member [1].
    middle, width : ndarray, shape (m,)
        Of each feature in the runs it was learnt from.
    sigma : mapping of str to float
        One standard deviation of the misfit of its term in the check runs, by size [1].
    error : mapping of str to float
        Stated error by size: largest misfit of the check runs, widened, see `relative_misfit` [1].
    median : mapping of str to float
        Median misfit of the check runs by size [1].
    runs : int
        Section runs behind it.
    """

    coefficients: Floats = field(repr=False)
    wall: float
    middle: Floats = field(repr=False)
    width: Floats = field(repr=False)
    sigma: Mapping[str, float]
    error: Mapping[str, float]
    median: Mapping[str, float]
    runs: int

    def sizes(self, pulses: Pulses, spot: Floats, offsets: Floats, noise: Floats) -> Floats:
        """Return the sizes on the section, shape (n, 10).

        Parameters
        ----------
        pulses : Pulses
            As run by the axisymmetric engine.
        spot : ndarray, shape (n, 10)
            What it gave.
        offsets : ndarray, shape (n, 2)
            Beam offset and gap [m].
        noise : ndarray, shape (n,)
            Standard normal numbers for the surrogate's own error; 0 for none.
        """
        scaled = (_features(pulses, spot, offsets) - self.middle) / self.width
        sigma = np.array([self.sigma[name] for name in LEARNT])
        terms = _design(scaled) @ self.coefficients + sigma * noise[:, None]
        made = spot.copy()
        made[:, [SIZES.index(name) for name in LEARNT]] = _sizes(terms)
        depth = np.array([case["depth"] for case in pulses.cases])
        made[:, SIZES.index("fused_radius")] = ellipsoid_reach(
            column(made, "fusion_length"), column(made, "joint_depth"), depth
        )
        made[~bridged(self.wall, pulses, offsets), SIZES.index("fused_radius")] = 0.0
        made[:, SIZES.index("root_width")] = 0.0
        return made

    def to_json(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "section_runs": self.runs,
            "stated_error": dict(self.error),
            "median_error": dict(self.median),
        }


def section_surrogate(
    scatter: PassScatter,
    *,
    seed: int,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> SectionSurrogate:
    """Learn the stand-in for a pass and check it on runs that it was not learnt from.

    Parameters
    ----------
    scatter : PassScatter
        The pass and its scatter.
    seed : int
        Of the runs.
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.
    """
    count = FIT_RUNS + CHECK_RUNS
    normals = normal_points(count, len(scatter.causes), seed + 101)
    normals[:FIT_RUNS] *= _STRETCH
    pulses, truth = scatter.pulses(normals), section_pulses(scatter, normals)
    rows = run_pulses([*truth.cases, *pulses.cases], executor=executor, progress=progress)
    real, spot = rows[:count], rows[count:]
    offsets, share = section_offsets(scatter, normals), scatter.goal_depth_share
    features = _features(pulses, spot, offsets)
    learnt = np.array([column(real, name) for name in LEARNT]).T
    terms = _terms(learnt)
    # a gap that melt does not bridge fuses nothing: a rule of that engine, nothing to be learnt
    whole = bridged(share, pulses, offsets)
    fit = np.flatnonzero(whole[:FIT_RUNS])
    check = FIT_RUNS + np.flatnonzero(whole[FIT_RUNS:])
    middle, width = features[fit].mean(axis=0), features[fit].std(axis=0) + 1e-12
    design = _design((features - middle) / width)
    square = design[fit].T @ design[fit] + _RIDGE * np.eye(design.shape[1])
    coefficients: Floats = np.asarray(
        np.linalg.solve(square, design[fit].T @ terms[fit]), dtype=np.float64
    )
    found = design[check] @ coefficients
    misfit = found - terms[check]
    off = relative_misfit(_sizes(found), learnt[check])
    return SectionSurrogate(
        coefficients=coefficients,
        wall=share,
        middle=middle,
        width=width,
        sigma=_by_size(np.sqrt(np.mean(misfit**2, axis=0))),
        error=_by_size(WIDENED * off.max(axis=0)),
        median=_by_size(np.median(off, axis=0)),
        runs=count,
    )


def section_offsets(
    scatter: PassScatter, normals: Floats, shifts: Mapping[str, float] | None = None
) -> Floats:
    """Return beam offset and gap of draws, shape (n, 2) [m].

    Parameters
    ----------
    scatter : PassScatter
        The pass and its scatter.
    normals : ndarray, shape (n, k)
        Standard normal numbers.
    shifts : mapping of str to float, optional
        Added to the middle of a cause [1 or m].
    """
    moved, none = scatter.moves(normals, shifts or {}), np.zeros(len(normals))
    offset = scatter.weld_pass.beam_offset + moved.get("beam_offset", none)
    gap = np.maximum((scatter.schedule.joint.gap or 0.0) + moved.get("gap", none), 0.0)
    return np.column_stack([offset, gap])


def relative_misfit(found: Floats, truth: Floats) -> Floats:
    """Return how far sizes are off, as a share of each; of the joint's depth, of the penetration.

    Parameters
    ----------
    found, truth : ndarray, shape (n, 5)
        Sizes in the order of `LEARNT` [m].

    Returns
    -------
    ndarray, shape (n, 5)
        [1]
    """
    scale = np.maximum(truth, _LEAST)
    # a joint that is hardly fused at all would make any share of itself look enormous
    scale[:, 1] = scale[:, 0]
    return np.asarray(np.abs(found - truth) / scale)


def _terms(sizes: Floats) -> Floats:
    """Return what is fitted: logarithms, and the joint's depth as a share of the penetration."""
    terms: Floats = np.log(np.maximum(sizes, _LEAST))
    terms[:, 1] = sizes[:, 1] / np.maximum(sizes[:, 0], _LEAST)
    return terms


def _sizes(terms: Floats) -> Floats:
    """Return the sizes of terms; undoes `_terms`."""
    sizes: Floats = np.exp(terms)
    sizes[:, 1] = np.clip(terms[:, 1], 0.0, 1.0) * sizes[:, 0]
    return sizes


def _by_size(values: Floats) -> dict[str, float]:
    return {name: float(value) for name, value in zip(LEARNT, values, strict=True)}


def _features(pulses: Pulses, spot: Floats, offsets: Floats) -> Floats:
    inputs = np.array([[case[key] for key in _INPUTS] for case in pulses.cases])
    constants = np.array([list(asdict(case["constants"]).values()) for case in pulses.cases])
    names = ("penetration", "fusion_width")
    given = np.array([np.maximum(column(spot, name), _LEAST) for name in names]).T
    # tenths of a millimetre, so that no column is tiny
    return np.column_stack([np.log(inputs), 1e4 * offsets, constants, np.log(given)])


def _design(scaled: Floats) -> Floats:
    """Return the terms of the fit: every feature, and the bends that matter."""
    offset, gap = scaled[:, len(_INPUTS)], scaled[:, len(_INPUTS) + 1]
    depth, width = scaled[:, -2], scaled[:, -1]
    bends = [depth**2, depth**3, depth * gap, gap**2, offset**2, offset * gap, width**2]
    return np.column_stack([np.ones(len(scaled)), scaled, *bends])


def bridged(share: float, pulses: Pulses, offsets: Floats) -> Bools:
    """Tell for which draws the gap is one that melt is taken to bridge, shape (n,).

    Parameters
    ----------
    share : float
        Depth asked for as a share of the tube's wall [1].
    pulses : Pulses
        Of the draws.
    offsets : ndarray, shape (n, 2)
        Beam offset and gap [m].
    """
    wall = np.array([case["depth"] for case in pulses.cases]) / share
    body = np.array([case["thickness"] for case in pulses.cases])
    return np.asarray(offsets[:, 1] <= BRIDGED_GAP * np.minimum(wall, body))
