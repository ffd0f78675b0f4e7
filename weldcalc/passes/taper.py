"""How far the energy has to come down as the seam warms up, so that penetration stays level."""

from __future__ import annotations

import numpy as np
from attrs import frozen

from weldcalc.passes.response import Floats, PassResponse, Pulse, PulseAt

CLOSE = 0.003  # relative distance from the level at which the search stops
_MOST_RUNS = 6
_LEAST_FACTOR = 0.3

END_RAMP = 0.3
"""Share of the energy that the very last pulse keeps [-] (common practice, no source)."""

LEAST_RAMP = 5
"""Pulses that an end ramp needs at least [-] (common practice, no source)."""


@frozen
class Level:
    """What is held level along the seam.

    Parameters
    ----------
    name : {"root_width", "penetration"}
        Root width where the coldest pulse goes through the wall, for depth is capped there.
    value : float
        Of the coldest pulse at nominal energy [m].
    """

    name: str
    value: float

    def ratio(self, pulse: Pulse) -> float:
        """Return a pulse's own value over the level [-]."""
        return float(getattr(pulse, self.name)) / self.value


def level_of(pulse: Pulse) -> Level | None:
    """Return what to hold level, from the coldest pulse of a pass; None where nothing melts."""
    name = "root_width" if pulse.full_penetration and pulse.root_width > 0 else "penetration"
    value = float(getattr(pulse, name))
    return Level(name, value) if value > 0 else None


def tapered_response(response: PassResponse, run: PulseAt, level: Level) -> PassResponse:
    """Find at each preheat the energy that holds the level.

    Parameters
    ----------
    response : PassResponse
        At nominal energy.
    run : callable
        Engine, from `weldcalc.passes.response.pulse_runner`.
    level : Level
        What to hold.

    Returns
    -------
    PassResponse
        With the energy factors and what the pulses then do.
    """
    factors: list[float] = []
    pulses: list[Pulse] = []
    for number, preheat in enumerate(response.preheat):
        guess = _guess(response.preheat, factors, number)
        factor, pulse = _hold(run, float(preheat), level, response.pulses[number], guess)
        factors.append(factor)
        pulses.append(pulse)
    return PassResponse(
        preheat=response.preheat,
        factor=np.array(factors),
        pulses=tuple(pulses),
        thickness=response.thickness,
    )


def _guess(preheats: Floats, factors: list[float], number: int) -> float:
    if number < 2:
        # heat to melt titanium or steel from cold, latent heat included, is some 2200 K worth
        return 1.0 - float(preheats[number] - preheats[0]) / 2200.0
    slope = (factors[-1] - factors[-2]) / (preheats[number - 1] - preheats[number - 2])
    return float(factors[-1] + slope * (preheats[number] - preheats[number - 1]))


def _hold(
    run: PulseAt, preheat: float, level: Level, nominal: Pulse, guess: float
) -> tuple[float, Pulse]:
    """Return energy factor and pulse nearest to the level, by secants kept between two sides."""
    tried = [(1.0, level.ratio(nominal), nominal)]
    for _ in range(_MOST_RUNS):
        factor, _, pulse = min(tried, key=lambda one: abs(one[1] - 1.0))
        if abs(level.ratio(pulse) - 1.0) <= CLOSE:
            break
        step = guess if len(tried) == 1 else _secant(tried)
        factor = float(np.clip(step, _LEAST_FACTOR, 1.5))
        pulse = run(preheat, factor)
        tried.append((factor, level.ratio(pulse), pulse))
    factor, _, pulse = min(tried, key=lambda one: abs(one[1] - 1.0))
    return factor, pulse


def _secant(tried: list[tuple[float, float, Pulse]]) -> float:
    below = [one for one in tried if one[1] < 1.0]
    above = [one for one in tried if one[1] >= 1.0]
    if below and above:
        low, high = max(below, key=lambda one: one[0]), min(above, key=lambda one: one[0])
    else:
        low, high = sorted(tried, key=lambda one: abs(one[1] - 1.0))[:2]
    if abs(high[1] - low[1]) < 1e-6:
        return 0.9 * low[0]
    return float(low[0] + (1.0 - low[1]) * (high[0] - low[0]) / (high[1] - low[1]))


def end_ramp(*, pulses: int, overlap: int) -> Floats:
    """Return the energy factors of a pass's pulses for the ramp at its end.

    Parameters
    ----------
    pulses : int
        In the pass.
    overlap : int
        Of them, on metal that the pass has welded already and safely past the start.

    Returns
    -------
    ndarray, shape (pulses,)
        1 up to the ramp, then down evenly to `END_RAMP`; all 1 where the overlap is too short.
    """
    factors = np.ones(pulses)
    if overlap >= LEAST_RAMP:
        factors[pulses - overlap :] = np.linspace(1.0, END_RAMP, overlap + 1)[1:]
    return factors
