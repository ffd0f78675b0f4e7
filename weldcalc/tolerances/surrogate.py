"""A quick stand-in for the engine of cross-sections, with its error stated, checked and counted.

The axisymmetric engine runs on every sample as it is. What a joint's own section makes of it is
learnt from some runs of the section engine on its own grid: the logarithm of each size as a
function of the inputs and of what the axisymmetric engine gives for them. Runs that were not learnt
from say how far off that is; the error is one more cause of scatter wherever the stand-in is used.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from typing import Any, Final

import numpy as np
from attrs import asdict, field, frozen
from numpy.typing import NDArray

from weldcalc.batch import Progress
from weldcalc.heatflow.section_case import BRIDGED_GAP, CONTACT_GAP
from weldcalc.heatflow.spot_sizes import SIZES
from weldcalc.passes.seam_shape import ellipsoid_depth, root_of_ellipsoid
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.regression import SmoothFit, smooth_fit
from weldcalc.tolerances.scatter import Bools, PassScatter, column, normal_points
from weldcalc.tolerances.section_pulses import ellipsoid_reach, section_pulses

Floats = NDArray[np.float64]
Cases = Sequence[Mapping[str, Any]]
Places = Callable[[Floats], list[PassScatter]]

LEARNT: Final = ("penetration", "joint_depth", "fusion_width", "fusion_length", "haz_width")
RUNS: Final = (96, 36)  # learnt from, and held against
MAP_RUNS: Final = (64, 16)  # where the places of a map limit what can be read off it anyway
WIDENED = 1.5  # largest misfit of the check runs, widened: so few runs seldom hold the worst
_STRETCH = 1.3  # of the scatter that is learnt from, so that its edge is not the edge of the data
_INPUTS: Final = (
    "peak_power",
    "pulse_duration",
    "spot_diameter",
    "absorptivity",
    "depth",
    "thickness",
    "preheat",
)
_LEAST = 1e-5  # m; a size below this counts as it
_THROUGH = len(LEARNT)  # place of the last term: above zero where the far side melts
_JUST = 1e-3  # of the wall; a pool that just goes through, or just does not


@frozen(eq=False)
class SectionSurrogate:
    """Sizes of pulses on a section, from those of the axisymmetric engine.

    Parameters
    ----------
    fit : SmoothFit
        Of the terms of each size in `LEARNT`, and of whether the far side melts.
    share : float
        Depth asked for, of the wall of the tube or sheet [1].
    plate : float or None
        Thickness of a plate [m]; None in a butt joint. A tube in a plate has no far side that a
        pool could come out on.
    sigma : mapping of str to float
        One standard deviation of the misfit of its term in the check runs, by size, and of
        "through" [1].
    error : mapping of str to float
        Stated error by size: largest misfit of the check runs, widened, see `relative_misfit` [1].
    median : mapping of str to float
        Median misfit of the check runs by size [1].
    runs : int
        Section runs behind it.
    """

    fit: SmoothFit = field(repr=False)
    share: float
    plate: float | None
    sigma: Mapping[str, float]
    error: Mapping[str, float]
    median: Mapping[str, float]
    runs: int

    def sizes(self, cases: Cases, spot: Floats, offsets: Floats, noise: Floats) -> Floats:
        """Return the sizes on the section, shape (n, 10).

        Parameters
        ----------
        cases : sequence of mapping, length n
            As run by the axisymmetric engine.
        spot : ndarray, shape (n, 10)
            What it gave.
        offsets : ndarray, shape (n, 2)
            Beam offset and gap [m].
        noise : ndarray, shape (n,)
            Standard normal numbers for the surrogate's own error; 0 for none.
        """
        sigma = np.array(list(self.sigma.values()))
        terms = self.fit(_features(cases, spot, offsets)) + sigma * noise[:, None]
        made, wall = spot.copy(), _column(cases, "thickness")
        deep, joint, width, length, haz = _sizes(terms).T
        if self.plate is None:
            deep = _opened(deep, wall, terms[:, _THROUGH] > 0.0)
        # where the axisymmetric pool melts nothing there is nothing to go by
        none = column(spot, "penetration") <= _LEAST
        root = root_of_ellipsoid(deep, width, wall) if self.plate is None else 0.0 * deep
        found = {
            "penetration": np.minimum(deep, wall),
            "joint_depth": joint,
            "fusion_width": width,
            "fusion_length": length,
            "root_width": root,
            "haz_width": haz,
            "fused_radius": ellipsoid_reach(length, joint, _column(cases, "depth")),
        }
        for name, values in found.items():
            made[:, SIZES.index(name)] = np.where(none, 0.0, values)
        whole = bridged(cases, offsets, share=self.share, plate=self.plate)
        made[~whole, SIZES.index("fused_radius")] = 0.0
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
    places: Places | None = None,
    runs: tuple[int, int] | None = None,
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
    places : callable, optional
        Turns points of the unit square, shape (n, 2), into settings of the pass with their
        scatter: what else it has to hold for. None keeps to the pass as set.
    runs : tuple of (int, int), optional
        Section runs to learn from and to check on; `RUNS`, or `MAP_RUNS` over places, if not given.
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.
    """
    from scipy.special import ndtr

    learnt, checked = runs or (RUNS if places is None else MAP_RUNS)
    count, columns = learnt + checked, len(scatter.causes)
    drawn = normal_points(count, columns + 2, seed + 101)
    normals = drawn[:, :columns] * np.where(np.arange(count) < learnt, _STRETCH, 1.0)[:, None]
    settings = [scatter] * count if places is None else places(ndtr(drawn[:, columns:]))
    rows = [(one, normals[k : k + 1]) for k, one in enumerate(settings)]
    cases = [one.pulses(row).cases[0] for one, row in rows]
    truth = [section_pulses(one, row).cases[0] for one, row in rows]
    offsets = np.concatenate([section_offsets(one, row) for one, row in rows])
    sizes = run_pulses([*truth, *cases], executor=executor, progress=progress)
    return _learnt(scatter, cases, sizes[:count], sizes[count:], offsets, learnt)


def _learnt(
    scatter: PassScatter,
    cases: Cases,
    real: Floats,
    spot: Floats,
    offsets: Floats,
    learnt: int,
) -> SectionSurrogate:
    joint, share = scatter.schedule.joint, scatter.goal_depth_share
    plate = None if joint.type == "butt" else joint.plate_thickness or joint.wall_thickness
    wall = _column(cases, "thickness")
    # a gap that melt does not bridge fuses nothing: a rule of that engine, nothing to be learnt;
    # nor is there in a pulse that hardly melts
    melts = np.minimum(column(real, "penetration"), column(spot, "penetration")) > _LEAST
    whole = bridged(cases, offsets, share=share, plate=plate) & melts
    number = np.arange(len(real))
    rows = np.flatnonzero(whole & (number < learnt))
    check = np.flatnonzero(whole & (number >= learnt))
    features, terms = _features(cases, spot, offsets), _terms(real, wall)
    fit = smooth_fit(features[rows], terms[rows])
    found = fit(features[check])
    off = relative_misfit(
        _capped(_sizes(found), wall[check]), _capped(_sizes(terms[check]), wall[check])
    )
    return SectionSurrogate(
        fit=fit,
        share=share,
        plate=plate,
        sigma=dict(zip((*LEARNT, "through"), _rms(found - terms[check]), strict=True)),
        error=_by_size(WIDENED * off.max(axis=0)),
        median=_by_size(np.median(off, axis=0)),
        runs=len(real),
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


def bridged(cases: Cases, offsets: Floats, *, share: float, plate: float | None) -> Bools:
    """Tell for which draws the gap is one that melt is taken to bridge, shape (n,).

    Parameters
    ----------
    cases : sequence of mapping, length n
        Of the draws.
    offsets : ndarray, shape (n, 2)
        Beam offset and gap [m].
    share : float
        Depth asked for, of the wall of the tube or sheet [1].
    plate : float or None
        Thickness of a plate [m]; None in a butt joint.
    """
    wall = _column(cases, "depth") / share
    thinnest = wall if plate is None else np.minimum(wall, plate)
    return np.asarray(offsets[:, 1] <= BRIDGED_GAP * thinnest)


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


def _terms(rows: Floats, wall: Floats) -> Floats:
    """Return what is fitted: logarithms, and the joint's depth as a share of the penetration.

    Where the pool goes through, depth goes on as half an ellipsoid, so that it has no end. Whether
    it does is a term of its own: the far side melts with a jump that a smooth depth would miss.
    """
    sizes = np.array([column(rows, name) for name in LEARNT]).T
    width, root = column(rows, "fusion_width"), column(rows, "root_width")
    deep = ellipsoid_depth(sizes[:, 0], np.maximum(width, root), root, wall)
    terms: Floats = np.log(np.maximum(sizes, _LEAST))
    terms[:, 0] = np.log(np.maximum(deep, _LEAST))
    terms[:, 1] = sizes[:, 1] / np.maximum(deep, _LEAST)
    return np.column_stack([terms, np.where(root > 0.0, 1.0, -1.0)])


def _sizes(terms: Floats) -> Floats:
    """Return the sizes of terms, depths without their end; undoes `_terms`."""
    sizes: Floats = np.exp(terms[:, : len(LEARNT)])
    sizes[:, 1] = np.clip(terms[:, 1], 0.0, 1.0) * sizes[:, 0]
    return sizes


def _opened(deep: Floats, wall: Floats, through: Bools) -> Floats:
    """Return depths without their end that agree with whether the far side melts [m]."""
    return np.where(
        through, np.maximum(deep, (1.0 + _JUST) * wall), np.minimum(deep, (1.0 - _JUST) * wall)
    )


def _rms(misfits: Floats) -> list[float]:
    return [float(value) for value in np.sqrt(np.mean(misfits**2, axis=0))]


def _capped(sizes: Floats, wall: Floats) -> Floats:
    made = sizes.copy()
    made[:, :2] = np.minimum(sizes[:, :2], wall[:, None])
    return made


def _by_size(values: Floats) -> dict[str, float]:
    return {name: float(value) for name, value in zip(LEARNT, values, strict=True)}


def _column(cases: Cases, key: str) -> Floats:
    return np.array([float(case[key]) for case in cases])


def _features(cases: Cases, spot: Floats, offsets: Floats) -> Floats:
    inputs = np.array([_column(cases, key) for key in _INPUTS]).T
    constants = np.array([list(asdict(case["constants"]).values()) for case in cases])
    width, root = column(spot, "fusion_width"), column(spot, "root_width")
    deep = ellipsoid_depth(
        column(spot, "penetration"), np.maximum(width, root), root, _column(cases, "thickness")
    )
    given = np.log(np.maximum(np.column_stack([deep, width]), _LEAST))
    return np.column_stack([np.log(inputs), _fit_up(offsets), constants, given])


def _fit_up(offsets: Floats) -> Floats:
    """Return what may be a line, a bend or a step in offset and gap, shape (n, 5)."""
    # tenths of a millimetre, so that no column is tiny
    offset, gap = 1e4 * offsets.T
    # to either side less of the joint is met; faces that touch conduct as one piece
    touching = offsets[:, 1] <= CONTACT_GAP
    return np.column_stack([offset, np.abs(offset), offset**2, gap, touching])
