"""Sizes of sampled pulses: by direct runs, or by a checked stand-in where the section decides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor

import numpy as np
from attrs import evolve, field, frozen
from numpy.typing import NDArray

from weldcalc.batch import Progress
from weldcalc.heatflow.spot_sizes import SIZES
from weldcalc.tolerances.model_error import with_model_error
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.scatter import PassScatter, Pulses
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
        return run_samples(
            [self.scatter] * len(samples),
            samples,
            shifts,
            surrogate=self.surrogate,
            grid=self.grid,
            executor=self.executor,
            progress=self.progress,
        )


def run_samples(
    scatters: Sequence[PassScatter],
    samples: Sequence[Floats],
    shifts: Sequence[Mapping[str, float]] | None = None,
    *,
    surrogate: SectionSurrogate | None,
    grid: float | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> tuple[list[Floats], list[Pulses]]:
    """Return the sizes and the pulses of several samples, each about its own setting of a pass.

    Parameters
    ----------
    scatters : sequence of PassScatter, length m
        Of the same causes.
    samples : sequence of ndarray, length m, shape (n, k)
        Standard normal numbers.
    shifts : sequence of mapping, length m, optional
        Added to the middle of a cause [1 or m].
    surrogate : SectionSurrogate or None
        None where the axisymmetric engine runs directly.
    grid : float, optional
        Edge of the axisymmetric engine's cells under the spot [m].
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.

    Returns
    -------
    tuple of (list of ndarray, shape (n, 10); list of Pulses)
    """
    moved = shifts or [{}] * len(samples)
    asked = list(zip(scatters, samples, moved, strict=True))
    pulses = [one.pulses(normals, shifts=shift, grid=grid) for one, normals, shift in asked]
    cases = [case for one in pulses for case in one.cases]
    rows = run_pulses(cases, executor=executor, progress=progress)
    ends = np.cumsum([len(one.cases) for one in pulses])[:-1]
    if surrogate is not None:
        offsets = [section_offsets(*one) for one in asked]
        noise = [normals[:, one.causes.index("surrogate")] for one, normals, _ in asked]
        # all at once: thousands of samples of one draw each would take as many calls
        rows = surrogate.sizes(cases, rows, np.concatenate(offsets), np.concatenate(noise))
        # gap and offset are in the section already
        pulses = [evolve(one, distance=one.half_pitch) for one in pulses]
    sizes = [
        with_model_error(one, normals, part, made, on_section=surrogate is not None)
        for (one, normals, _), part, made in zip(
            asked, np.split(rows.reshape(-1, len(SIZES)), ends), pulses, strict=True
        )
    ]
    return sizes, pulses


def sampler_for(
    scatter: PassScatter,
    *,
    seed: int,
    grid: float | None = None,
    section_runs: tuple[int, int] | None = None,
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
    section_runs : tuple of (int, int), optional
        As `runs` of `section_surrogate`.
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.
    """
    if not scatter.needs_section:
        return Sampler(scatter, None, grid, executor, progress)
    made = section_surrogate(
        scatter, seed=seed, runs=section_runs, executor=executor, progress=progress
    )
    return Sampler(with_surrogate(scatter), made, grid, executor, progress)


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
        scatter = with_surrogate(scatter)
    return evolve(sampler, scatter=scatter)


def with_surrogate(scatter: PassScatter) -> PassScatter:
    """Return a scatter in which the error of a stand-in is one more cause."""
    return evolve(scatter, sigma={**scatter.sigma, "surrogate": 1.0})
