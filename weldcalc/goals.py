"""Which goals a pulse of a pass meets: the one place where "sound" is decided for batches."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

import numpy as np
from attrs import frozen

from weldcalc.fields import percent
from weldcalc.heatflow.pulse_findings import HOLE
from weldcalc.schedule import Schedule, WeldPass
from weldcalc.tolerances.scatter import Bools, Floats, Pulses, column

GOALS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "penetration": "fused to the depth asked for, at the joint midway between two pulses",
        "root_width": "wide enough on the far side, midway between two pulses",
        "haz_width": "heat-affected width within its limit",
        "no_blow_through": f"less than {percent(HOLE)} of the beam leaves through the far side",
        "no_ejection": "no melt thrown out",
        "not_through": "a later pass does not melt the far side",
    }
)
"""Goals and what they mean."""

LACK: Final = frozenset({"penetration", "root_width"})
"""Goals that more heat helps; all others are missed by too much of it."""

_SLACK = 1.0 - 1e-9


@frozen
class PassGoals:
    """What one pass has to reach (SI); None where nothing is asked.

    Parameters
    ----------
    depth_share : float or None
        Depth as a share of the wall [1].
    root_width : float or None
        Least width on the far side midway between two pulses [m].
    haz_width : float or None
        Most heat-affected width each side [m].
    stays_inside : bool
        Whether the far side must not melt.
    """

    depth_share: float | None
    root_width: float | None
    haz_width: float | None
    stays_inside: bool

    @property
    def names(self) -> tuple[str, ...]:
        """Return the names of the goals that are asked, keys of `GOALS`."""
        asked = {
            "penetration": self.depth_share is not None,
            "root_width": self.root_width is not None,
            "haz_width": self.haz_width is not None,
            "no_blow_through": True,
            "no_ejection": True,
            "not_through": self.stays_inside,
        }
        return tuple(name for name in GOALS if asked[name])

    def met(self, sizes: Floats, pulses: Pulses) -> dict[str, Bools]:
        """Tell for every pulse which goals it meets.

        Parameters
        ----------
        sizes : ndarray, shape (n, 10)
            From `weldcalc.heatflow.spot_sizes.spot_sizes`.
        pulses : Pulses
            What was run.

        Returns
        -------
        dict of str to ndarray of bool, shape (n,)
            By the names that are asked.
        """
        found: dict[str, Bools] = {
            "no_blow_through": column(sizes, "transmitted_share") <= HOLE,
            "no_ejection": column(sizes, "ejection_ratio") < 1.0,
            "not_through": column(sizes, "root_width") <= 0.0,
        }
        if self.depth_share is not None:
            found["penetration"] = column(sizes, "fused_radius") >= pulses.distance * _SLACK
        if self.root_width is not None:
            least = np.hypot(0.5 * self.root_width, pulses.half_pitch)
            found["root_width"] = 0.5 * column(sizes, "root_width") >= least * _SLACK
        if self.haz_width is not None:
            found["haz_width"] = column(sizes, "haz_width") <= self.haz_width / _SLACK
        return {name: found[name] for name in self.names}


def pass_goals(schedule: Schedule, weld_pass: WeldPass) -> PassGoals:
    """Return what a pass has to reach.

    Parameters
    ----------
    schedule : Schedule
        Its goals of penetration and root width belong to the first pass; later ones cover it and
        stay inside the wall.
    weld_pass : WeldPass
        One of its passes, by name.
    """
    goal = schedule.goal
    first = not schedule.passes or weld_pass.name == schedule.passes[0].name
    full = (goal.penetration or 1.0) >= 1.0
    return PassGoals(
        depth_share=goal.penetration if first else None,
        root_width=goal.root_width if first and full else None,
        haz_width=goal.haz_width,
        stays_inside=not first,
    )


def all_met(met: Mapping[str, Bools], names: frozenset[str] | None = None) -> Bools:
    """Return which pulses meet all goals, or all of some.

    Parameters
    ----------
    met : mapping of str to ndarray of bool, shape (n,)
        From `PassGoals.met`, at least one goal.
    names : frozenset of str, optional
        Only these goals count.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    chosen = [values for name, values in met.items() if names is None or name in names]
    shape = next(iter(met.values())).shape
    return np.logical_and.reduce(chosen) if chosen else np.ones(shape, dtype=bool)


def chance_interval(met: float, count: float, *, confidence: float = 0.95) -> tuple[float, float]:
    """Return the interval of a chance that was found by sampling (exact binomial, two-sided).

    Parameters
    ----------
    met : float
        Samples that met the goal; may be a fraction where samples count less than one each.
    count : float
        All samples, above 0.
    confidence : float, optional
        Of the interval [1].

    Returns
    -------
    tuple of (float, float)
        Chances [1].

    References
    ----------
    Clopper and Pearson, Biometrika 26, 404 (1934), in its form with beta quantiles.
    """
    from scipy.special import betaincinv

    tail = 0.5 * (1.0 - confidence)
    low = float(betaincinv(met, count - met + 1.0, tail)) if met > 0 else 0.0
    high = float(betaincinv(met + 1.0, count - met, 1.0 - tail)) if met < count else 1.0
    return low, high
