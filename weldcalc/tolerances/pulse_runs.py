"""Batches of pulses, each by the engine that it is for; the same pulse is run once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from weldcalc.batch import Progress, run_batch
from weldcalc.heatflow.spot_sizes import SIZES, spot_sizes

Floats = NDArray[np.float64]

_SHARED: Final = frozenset({"material", "plate", "pulse_shape"})


def pulse_sizes(case: Mapping[str, Any]) -> Floats:
    """Compute one pulse by the engine that its case is for, shape (10,).

    Parameters
    ----------
    case : mapping
        From `PassScatter.pulses`, or from `weldcalc.tolerances.section_pulses.section_pulses`.
    """
    if "joint" not in case:
        return spot_sizes(case)
    from weldcalc.tolerances.section_pulses import section_sizes

    return section_sizes(case)


def run_pulses(
    cases: Sequence[Mapping[str, Any]],
    *,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Floats:
    """Return the sizes of pulses; those that are the same pulse are run once.

    Parameters
    ----------
    cases : sequence of mapping, length n
        From `PassScatter.pulses`.
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.

    Returns
    -------
    ndarray, shape (n, 10)
        As `weldcalc.heatflow.spot_sizes.SIZES`.
    """
    # the same for all cases of a pass, and slow to compare
    keys = [tuple(v for k, v in case.items() if k not in _SHARED) for case in cases]
    unique = dict(zip(keys, cases, strict=True))
    found = run_batch(pulse_sizes, list(unique.values()), executor=executor, progress=progress)
    by_key = dict(zip(unique, found, strict=True))
    return np.array([by_key[key] for key in keys]).reshape(len(cases), len(SIZES))
