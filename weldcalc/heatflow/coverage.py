"""How often the published figures lie inside the intervals that the constants' spread gives."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from attrs import evolve, frozen
from numpy.typing import NDArray

from weldcalc.heatflow.constants import ModelConstants, ModelError
from weldcalc.heatflow.published import PublishedPulse
from weldcalc.heatflow.pulse_result import PulseResult

Array = NDArray[np.float64]

POWER_SD = 0.02  # of a published power: meters hold 2 to 3 %, common practice, no source
SPOT_SD = 0.03  # of a published spot diameter, common practice, no source
NOMINAL = 0.90
SPREAD_OVER = 20  # draws of the model error for each run


@frozen
class Checked:
    """One published figure beside its computed interval.

    Parameters
    ----------
    key, quantity : str
        Row and which figure of it.
    measured, low, high : float
        The figure and the interval that holds nine results in ten, in one unit.
    """

    key: str
    quantity: str
    measured: float
    low: float
    high: float

    @property
    def inside(self) -> bool:
        """Whether the figure is in the interval."""
        return self.low <= self.measured <= self.high


def check_intervals(
    pulses: Sequence[PublishedPulse],
    sample: Sequence[ModelConstants],
    error: ModelError,
    *,
    seed: int,
) -> list[Checked]:
    """Compute the interval of every published size and absorptance.

    Parameters
    ----------
    pulses : sequence of PublishedPulse
        Cases.
    sample : sequence of ModelConstants
        Draws of the constants; each is run once with a draw of power and spot.
    error : ModelError
        Added to each run.
    seed : int
        Of the random generator.

    Returns
    -------
    list of Checked
    """
    generator = np.random.default_rng(seed)
    found: list[Checked] = []
    for pulse in pulses:
        scatter = generator.normal(size=(len(sample), 2)) * (POWER_SD, SPOT_SD) + 1.0
        runs = [
            evolve(
                pulse,
                peak_power=pulse.peak_power * float(power),
                spot_diameter=pulse.spot_diameter * float(spot),
            ).run(constants)
            for constants, (power, spot) in zip(sample, scatter, strict=True)
        ]
        found.extend(_checks(pulse, runs, error, generator))
    return found


def _checks(
    pulse: PublishedPulse,
    runs: Sequence[PulseResult],
    error: ModelError,
    generator: np.random.Generator,
) -> Iterator[Checked]:
    tail = 50.0 * (1.0 - NOMINAL)
    off = generator.normal(size=(3, SPREAD_OVER, len(runs)))
    depth, width = np.exp(error.depth * off[0]), np.exp(error.width * off[1])
    for quantity, measured, values in (
        ("depth", pulse.depth, depth * [run.penetration for run in runs]),
        ("width", pulse.width, width * [run.fusion_width for run in runs]),
        ("depression", pulse.depression, depth * [run.depression_depth for run in runs]),
        (
            "absorptance",
            pulse.absorptance,
            error.absorptance * off[2] + [run.absorptance for run in runs],
        ),
    ):
        if measured is not None:
            low, high = np.percentile(values, (tail, 100.0 - tail))
            yield Checked(pulse.key, quantity, measured, float(low), float(high))
