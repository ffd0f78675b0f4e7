"""The scatter that is assumed where a schedule's [scatter] table is silent: not the shop's own."""

from __future__ import annotations

from collections.abc import Mapping

from attrs import frozen

from weldcalc.quantities import parse_quantity
from weldcalc.reference import read_toml
from weldcalc.schedules.parts import Laser, Scatter


@frozen
class Assumed:
    """One standard deviation that nobody of the shop gave.

    Parameters
    ----------
    value : float
        Share of the value [1], or length [m].
    standing : str
        How sure it is, such as "common practice".
    """

    value: float
    standing: str


def assumed_scatter(own: Scatter, laser: Laser) -> Mapping[str, Assumed]:
    """Return the shipped default of every input whose scatter the schedule does not give.

    Parameters
    ----------
    own : Scatter
        Table of the schedule.
    laser : Laser
        Its focus scatters only where wavelength and beam quality tell what that does to the spot.

    Returns
    -------
    mapping of str to Assumed
        By key of the table; empty where the shop gave all that has a default. The absorptivity
        has none: its spread is that of the surface.
    """
    return {
        key: Assumed(parse_quantity(entry["value"], f"scatter.{key}"), entry["standing"])
        for key, entry in read_toml("default_scatter.toml").items()
        if getattr(own, key) is None and (key != "focus" or laser.rayleigh_length is not None)
    }
