"""Every published pulse computed with the shipped constants, beside what was measured."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from attrs import field, frozen

from weldcalc.heatflow.constants import draws, fitted_constants
from weldcalc.heatflow.coverage import NOMINAL, Checked, check_intervals
from weldcalc.heatflow.published import PublishedPulse, published_pulses
from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.model_check.statements import ONSET_FACTOR, Statement, check_statements

FAMILIES: Final = ("titanium", "stainless steel")
DRAWS: Final = 32
SEED: Final = 7  # another one than the fit used: coverage is of draws it has not seen

# how far off still counts as met: conventions of this program, about what models of this kind
# are expected to hold
_SIZE_LIMITS: Final = {
    "conduction": {"depth": 0.20, "width": 0.15},
    "transition": {"depth": 0.35, "width": 0.25},
    "keyhole": {"depth": 0.35, "width": 0.25},
}
_DEPRESSION_LIMIT: Final = 0.35
_ABSORPTANCE_LIMIT: Final = 0.10

KEYS: Final = {  # quantity to key of the field table
    "depth": "penetration",
    "width": "fusion_width",
    "depression": "depression_depth",
    "absorptance": "absorptance",
    "time to melt": "time_to_melt",
    "time to open": "time_to_keyhole",
}


@frozen
class Compared:
    """One published figure beside the computed one (SI).

    Parameters
    ----------
    quantity : str
        Key of `KEYS`.
    measured : float
        Published.
    predicted : float or None
        Computed; None where it never came about.
    interval : tuple of (float, float) or None
        That holds nine results in ten; None for times.
    limit : float
        How far off still counts as met: a share of the measured figure, for the absorptance a
        difference.
    """

    quantity: str
    measured: float
    predicted: float | None
    interval: tuple[float, float] | None
    limit: float

    @property
    def key(self) -> str:
        """Key of the field table."""
        return KEYS[self.quantity]

    @property
    def off(self) -> float:
        """How far the computed figure is off: as `limit`; minus one where it never came about."""
        if self.predicted is None:
            return -1.0
        difference = self.predicted - self.measured
        return difference if self.quantity == "absorptance" else difference / self.measured

    @property
    def is_met(self) -> bool:
        """Whether it is within the limit; a time also within the same factor downwards."""
        if self.quantity.startswith("time") and self.predicted is not None:
            return abs(float(np.log1p(self.off))) <= float(np.log1p(self.limit))
        return self.predicted is not None and abs(self.off) <= self.limit

    @property
    def is_inside(self) -> bool | None:
        """Whether the measured figure is in the interval; None where there is none."""
        if self.interval is None:
            return None
        low, high = self.interval
        return low <= self.measured <= high


@frozen(eq=False)
class RowCheck:
    """One published pulse, computed.

    Parameters
    ----------
    pulse : PublishedPulse
        What was published.
    run : PulseResult
        What was computed.
    figures : tuple of Compared
        All figures that the row states.
    """

    pulse: PublishedPulse
    run: PulseResult = field(repr=False)
    figures: tuple[Compared, ...]

    def figure(self, quantity: str) -> Compared | None:
        """Return the figure of a quantity; None where the row does not state it."""
        return next((one for one in self.figures if one.quantity == quantity), None)


@frozen(eq=False)
class ModelCheck:
    """The whole comparison.

    Parameters
    ----------
    rows : tuple of RowCheck
        In the order of the file, family after family.
    statements : tuple of Statement
        Limits and trends.
    """

    rows: tuple[RowCheck, ...]
    statements: tuple[Statement, ...]

    def figures(self, quantity: str, family: str = "") -> list[tuple[RowCheck, Compared]]:
        """Return all figures of a quantity, of one family or of all."""
        found = []
        for row in self.rows:
            one = row.figure(quantity)
            if one is not None and family in ("", row.pulse.material.family):
                found.append((row, one))
        return found

    def coverage(self, family: str) -> tuple[int, int]:
        """Return how many figures of a family lie in their interval, and how many there are."""
        inside = [
            one.is_inside
            for row in self.rows
            for one in row.figures
            if row.pulse.material.family == family and one.is_inside is not None
        ]
        return sum(inside), len(inside)


def check_model(*, interval_draws: int = DRAWS) -> ModelCheck:
    """Compute every published pulse and every statement that can be checked.

    Parameters
    ----------
    interval_draws : int, optional
        Engine runs for each interval, >= 1

    Returns
    -------
    ModelCheck
    """
    rows = [row for family in FAMILIES for row in _family_rows(family, interval_draws)]
    return ModelCheck(rows=tuple(rows), statements=check_statements())


def _family_rows(family: str, interval_draws: int) -> Iterator[RowCheck]:
    pulses = published_pulses(family)
    sample = draws(family, interval_draws, SEED)
    checks = check_intervals(pulses, sample, fitted_constants(family).error, seed=SEED)
    by_figure = {(one.key, one.quantity): one for one in checks}
    for pulse in pulses:
        run = pulse.run()
        yield RowCheck(pulse=pulse, run=run, figures=tuple(_figures(pulse, run, by_figure)))


def _figures(
    pulse: PublishedPulse, run: PulseResult, checks: dict[tuple[str, str], Checked]
) -> Iterator[Compared]:
    sizes = _SIZE_LIMITS[run.mode]
    for quantity, measured, predicted, limit in (
        ("depth", pulse.depth, run.penetration, sizes["depth"]),
        ("width", pulse.width, run.fusion_width, sizes["width"]),
        ("depression", pulse.depression, run.depression_depth, _DEPRESSION_LIMIT),
        ("absorptance", pulse.absorptance, run.absorptance, _ABSORPTANCE_LIMIT),
        ("time to melt", pulse.time_to_melt, run.time_to_melt, ONSET_FACTOR - 1.0),
        ("time to open", pulse.time_to_keyhole, run.time_to_keyhole, ONSET_FACTOR - 1.0),
    ):
        if measured is not None:
            held = checks.get((pulse.key, quantity))
            yield Compared(
                quantity=quantity,
                measured=measured,
                predicted=predicted,
                interval=None if held is None else (held.low, held.high),
                limit=limit,
            )


def median_off(pairs: list[tuple[RowCheck, Compared]]) -> float:
    """Return the median of how far figures are off, without sign; as `Compared.off`."""
    return float(np.median([abs(one.off) for _, one in pairs]))


__all__ = [
    "FAMILIES",
    "KEYS",
    "NOMINAL",
    "Compared",
    "ModelCheck",
    "RowCheck",
    "check_model",
    "median_off",
]
