"""Turns tables of a property into one chain of straight lines from cold solid to hot liquid.

A curve is a pair of arrays of shape (n,): temperatures [K], rising, and values in the unit of the
property. Outside its ends a curve keeps its end value.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

ROOM_TEMPERATURE = 293.15
"""Room temperature [K]: 20 degC, where enthalpy is zero."""

_SLACK = 10.0  # [K] by which a table may miss room temperature and still count as starting there


@frozen(eq=False)
class Curve:
    """A property over temperature, made of straight lines.

    Parameters
    ----------
    temperatures : ndarray, shape (n,)
        Rising temperatures [K].
    values : ndarray, shape (n,)
        Values in the unit of the property.
    """

    temperatures: Array
    values: Array

    def at(self, temperature: ArrayLike) -> Array:
        """Return values; outside the ends of the curve its end values.

        Parameters
        ----------
        temperature : float or ndarray, any shape
            Temperature [K].

        Returns
        -------
        ndarray
            Values in the unit of the property, of the shape of `temperature`.
        """
        T = np.asarray(temperature, dtype=np.float64)
        return np.asarray(np.interp(T, self.temperatures, self.values))

    def integral(self, temperature: ArrayLike) -> Array:
        """Return the integral from room temperature, exact for a chain of straight lines.

        Parameters
        ----------
        temperature : float or ndarray, any shape
            Temperature [K].

        Returns
        -------
        ndarray
            Integral in the unit of the property times kelvin, of the shape of `temperature`.
        """
        return self._from_first(temperature) - self._from_first(ROOM_TEMPERATURE)

    def _from_first(self, temperature: ArrayLike) -> Array:
        T, values = self.temperatures, self.values
        wanted = np.asarray(temperature, dtype=np.float64)
        area = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(T))])
        inside = np.clip(wanted, T[0], T[-1])
        index = np.clip(np.searchsorted(T, inside, side="right") - 1, 0, T.size - 2)
        end = self.at(wanted)
        partial = 0.5 * (values[index] + end) * (inside - T[index])
        return np.asarray(area[index] + partial + end * (wanted - inside))


def fraction(band: tuple[float, float], temperature: ArrayLike) -> Array:
    """Return how far temperatures have come through a band, from 0 below to 1 above [-].

    Parameters
    ----------
    band : tuple of float
        Lower and upper temperature [K].
    temperature : float or ndarray, any shape
        Temperature [K].
    """
    T = np.asarray(temperature, dtype=np.float64)
    return np.asarray(np.clip((T - band[0]) / (band[1] - band[0]), 0.0, 1.0))


def from_room(solid: Curve, *, room_value: float, join_by: float | None) -> Curve:
    """Return the curve of a solid that begins with the grade's own room-temperature value.

    Parameters
    ----------
    solid : Curve
        Table of the solid.
    room_value : float
        Value at room temperature.
    join_by : float or None
        Temperature [K] up to which the ratio of `room_value` to the table fades out; None where
        the table belongs to the grade itself. Then `room_value` only serves a table that starts
        well above room temperature.
    """
    T = solid.temperatures
    if T[0] > ROOM_TEMPERATURE + _SLACK:
        return Curve(
            np.concatenate([[ROOM_TEMPERATURE], T]), np.concatenate([[room_value], solid.values])
        )
    if join_by is None:
        return solid
    knots = np.unique(np.concatenate([T, [ROOM_TEMPERATURE, join_by]]))
    left = 1.0 - fraction((ROOM_TEMPERATURE, join_by), knots)
    ratio = room_value / float(solid.at(ROOM_TEMPERATURE))
    return Curve(knots, solid.at(knots) * (1.0 + (ratio - 1.0) * left))


def spread_step(solid: Curve, *, step: float, band: tuple[float, float]) -> Curve:
    """Return a curve whose jump at one temperature is spread over a band.

    Parameters
    ----------
    solid : Curve
        Table with a jump.
    step : float
        Temperature of the jump [K].
    band : tuple of float
        Temperatures [K] at which the change starts and ends. The branch below the jump is followed
        up to the start, the one above it from the end, with a straight mix in between.
    """
    T, values = solid.temperatures, solid.values
    below, above = np.less(T, step), np.greater(T, step)
    cold, hot = Curve(T[below], values[below]), Curve(T[above], values[above])
    kept = T[(below & np.less(T, band[0])) | (above & np.greater(T, band[1]))]
    knots = np.union1d(kept, band)
    changed = fraction(band, knots)
    return Curve(knots, (1.0 - changed) * cold.at(knots) + changed * hot.at(knots))


def melted(solid: Curve, liquid: Curve, *, solidus: float, liquidus: float) -> Curve:
    """Return solid and liquid joined by a straight line over the melting range.

    Parameters
    ----------
    solid, liquid : Curve
        The property of either phase; the solid's is kept below the solidus, the liquid's above
        the liquidus.
    solidus, liquidus : float
        Melting range [K].
    """
    cold = np.less(solid.temperatures, solidus)
    hot = np.greater(liquid.temperatures, liquidus)
    ends = [float(solid.at(solidus)), float(liquid.at(liquidus))]
    return Curve(
        np.concatenate([solid.temperatures[cold], [solidus, liquidus], liquid.temperatures[hot]]),
        np.concatenate([solid.values[cold], ends, liquid.values[hot]]),
    )
