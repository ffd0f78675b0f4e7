"""What a pulse of a pass does as a function of the temperature it finds.

A few engine runs over the range of preheats, joined by straight lines; one more run between them
measures how far the lines are off.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, TypeAlias

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.materials import Material
from weldcalc.passes.joint import JointPulse
from weldcalc.passes.pulse import PulseSettings, run_pulse

Floats = NDArray[np.float64]
Pulse: TypeAlias = PulseResult | JointPulse
PulseAt: TypeAlias = Callable[[float, float], Pulse]

NODES = 5
CHECKED: Final = ("penetration", "fusion_width", "root_width", "haz_width", "heat_left")
# the engine needs solid metal to start from; above this the seam is one pool anyway
_HOTTEST = 0.95  # of the solidus
_NARROW = 1.0  # K; one run serves a narrower range of preheats


@frozen(eq=False)
class PassResponse:
    """Results of a pulse over the preheat.

    Parameters
    ----------
    preheat : ndarray, shape (k,)
        Temperatures that were run [K], rising.
    factor : ndarray, shape (k,)
        Energy of the pulse over the nominal one [-].
    pulses : tuple of PulseResult or JointPulse, length k
        What the engine gave.
    thickness : float
        That the margin of penetration is held against [m]: the wall, of a joint the thinner
        member.
    """

    preheat: Floats
    factor: Floats
    pulses: tuple[Pulse, ...] = field(repr=False)
    thickness: float

    def at(self, name: str, preheat: Floats | float) -> Floats:
        """Return a result at preheats [K]: a name of `CHECKED`, or "factor".

        Parameters
        ----------
        name : str
            Result.
        preheat : float or ndarray, shape (m,)
            [K]; outside the range that was run the nearest end holds.
        """
        nodes = self.factor if name == "factor" else self._nodes(name)
        found: Floats = np.asarray(np.interp(preheat, self.preheat, nodes))
        # the root opens at a bend; the margin runs straight through it
        return np.asarray(np.maximum(found, 0.0)) if name == "root_width" else found

    def heat_left(self) -> Callable[[float], float]:
        """Return a fast function from preheat [K] to the heat that a pulse leaves [J]."""
        preheat, nodes = self.preheat, self._nodes("heat_left")
        return lambda found: float(np.interp(found, preheat, nodes))

    def _nodes(self, name: str) -> Floats:
        return np.array([_value(pulse, name, self.thickness) for pulse in self.pulses])


def _value(pulse: Pulse, name: str, thickness: float) -> float:
    if name == "heat_left":
        return pulse.absorbed_energy - pulse.lost_energy
    if name == "root_width":
        return pulse.penetration_margin * thickness
    return float(getattr(pulse, name))


def pulse_runner(metal: Material, settings: PulseSettings, *, cooling: float) -> PulseAt:
    """Return a function from preheat [K] and energy factor [-] to the engine's result.

    Parameters
    ----------
    metal : Material
        Grade of the wall.
    settings : PulseSettings
        Of the nominal pulse; its preheat is replaced. The factor acts on the power.
    cooling : float
        Longest time that is followed after the pulse [s].
    """
    limit = _HOTTEST * metal.solidus

    def run(preheat: float, factor: float) -> PulseResult:
        power = settings["peak_power"] * factor
        changed: PulseSettings = {
            **settings,
            "preheat": min(preheat, limit),
            "peak_power": power,
        }
        return run_pulse(metal, changed, cooling=cooling)

    return run


def hottest_start(metal: Material) -> float:
    """Return the highest preheat that the engine is asked for [K]."""
    return _HOTTEST * metal.solidus


def pass_response(run: PulseAt, *, low: float, high: float, thickness: float) -> PassResponse:
    """Run the engine over a range of preheats.

    Parameters
    ----------
    run : callable
        From `pulse_runner`, or `weldcalc.passes.ratio.JointRatio.run`.
    low, high : float
        Ends of the range [K].
    thickness : float
        As in `PassResponse` [m].
    """
    count = NODES if high - low > _NARROW else 1
    preheats = np.linspace(low, high, count)
    return PassResponse(
        preheat=preheats,
        factor=np.ones(count),
        pulses=tuple(run(float(preheat), 1.0) for preheat in preheats),
        thickness=thickness,
    )


def interpolation_error(response: PassResponse, run: PulseAt) -> Mapping[str, float]:
    """Measure how far the straight lines are off, by one more run where results change most.

    Parameters
    ----------
    response : PassResponse
        At nominal energy.
    run : callable
        The same as it was made with.

    Returns
    -------
    mapping of str to float
        Interpolated less computed, over the computed value [-], for each of `CHECKED`; 0 where
        both are zero.
    """
    if response.preheat.size == 1:
        return dict.fromkeys(CHECKED, 0.0)
    margins = np.array([pulse.penetration_margin for pulse in response.pulses])
    widest = int(np.argmax(np.abs(np.diff(margins))))
    between = float(response.preheat[widest : widest + 2].mean())
    computed = run(between, 1.0)
    found = {}
    for name in CHECKED:
        true = _value(computed, name, response.thickness)
        true = max(true, 0.0) if name == "root_width" else true
        guess = float(response.at(name, between))
        scale = true if true > 0 else response.thickness
        found[name] = (guess - true) / scale
    return found
