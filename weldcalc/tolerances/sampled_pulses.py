"""Sizes of sampled pulses: by direct runs, or by a checked stand-in where the section decides."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Executor

import numpy as np
from attrs import evolve, field, frozen
from numpy.typing import NDArray

from weldcalc.batch import Progress
from weldcalc.heatflow.spot_sizes import SIZES
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.scatter import PassScatter, Pulses
from weldcalc.tolerances.section_pulses import needs_section
from weldcalc.tolerances.surrogate import SectionSurrogate, section_offsets, section_surrogate

Floats = NDArray[np.float64]

DIRECT = (
    "direct runs of the axisymmetric engine, one pulse on metal at the preheat of the pass; gap "
    "and beam offset decide where the joint has to be fused, they do not change the pool"
)
STAND_IN = (
    "a stand-in for the engine of cross-sections, learnt from its runs and checked on others; its "
    "error counts as one more cause; one pulse on metal at the preheat of the pass"
)


@frozen(eq=False)
class Sampler:
    """Turns draws of one pass into sizes.

    Parameters
    ----------
    scatter : PassScatter
        The pass and its scatter; with "surrogate" among its causes where that serves.
    surrogate : SectionSurrogate or None
        None where the axisymmetric engine runs directly.
    grid : float or None
        Edge of the axisymmetric engine's cells under the spot [m].
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.
    """

    scatter: PassScatter
    surrogate: SectionSurrogate | None
    grid: float | None = None
    executor: Executor | None = field(default=None, repr=False)
    progress: Progress | None = field(default=None, repr=False)

    @property
    def computed_by(self) -> str:
        """Return words for what computes the sizes."""
        return DIRECT if self.surrogate is None else STAND_IN

    def __call__(
        self, samples: list[Floats], shifts: list[Mapping[str, float]] | None = None
    ) -> tuple[list[Floats], list[Pulses]]:
        """Return the sizes, shape (n, 10), and the pulses of several samples at once.

        Parameters
        ----------
        samples : list of ndarray, shape (n, k)
            Standard normal numbers.
        shifts : list of mapping, optional
            One for each sample: added to the middle of a cause [1 or m].
        """
        moved = shifts or [{}] * len(samples)
        pulses = [
            self.scatter.pulses(normals, shifts=shift, grid=self.grid)
            for normals, shift in zip(samples, moved, strict=True)
        ]
        rows = run_pulses(
            [case for one in pulses for case in one.cases],
            executor=self.executor,
            progress=self.progress,
        )
        ends = np.cumsum([len(one.cases) for one in pulses])[:-1]
        sizes = np.split(rows.reshape(-1, len(SIZES)), ends)
        if self.surrogate is None:
            return sizes, pulses
        place = self.scatter.causes.index("surrogate")
        found = [
            self.surrogate.sizes(
                one, spot, section_offsets(self.scatter, normals, shift), normals[:, place]
            )
            for normals, shift, one, spot in zip(samples, moved, pulses, sizes, strict=True)
        ]
        # gap and offset are in the section already
        return found, [evolve(one, distance=one.half_pitch) for one in pulses]


def sampler_for(
    scatter: PassScatter,
    *,
    seed: int,
    grid: float | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Sampler:
    """Return what computes the samples of a pass.

    Parameters
    ----------
    scatter : PassScatter
        The pass and its scatter.
    seed : int
        Of the runs that a stand-in is learnt from.
    grid : float, optional
        Edge of the axisymmetric engine's cells under the spot [m].
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.
    """
    if not needs_section(scatter):
        return Sampler(scatter, None, grid, executor, progress)
    made = section_surrogate(scatter, seed=seed, executor=executor, progress=progress)
    widened = evolve(scatter, sigma={**scatter.sigma, "surrogate": 1.0})
    return Sampler(widened, made, grid, executor, progress)


def same_stand_in(sampler: Sampler, scatter: PassScatter) -> Sampler:
    """Return a sampler of narrower scatter that uses what another has learnt already.

    Parameters
    ----------
    sampler : Sampler
        Of the wider scatter.
    scatter : PassScatter
        The same pass with fewer causes.
    """
    if sampler.surrogate is not None:
        scatter = evolve(scatter, sigma={**scatter.sigma, "surrogate": 1.0})
    return evolve(sampler, scatter=scatter)
