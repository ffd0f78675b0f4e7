"""Two simple pictures of one pulse on a sheet: a heated flat surface, and a column held open.

Both are sums of closed forms for a thick body. The two faces of the sheet are insulated, so the
source is mirrored at both, again and again; mirror images that lie deep are taken as points.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from math import ceil, pi, sqrt

import numpy as np
from attrs import frozen

from weldcalc.heatflow.arguments import Floats
from weldcalc.heatflow.disc_source import disc_axis_rise, disc_rise, disc_time_to_rise
from weldcalc.heatflow.gaussian_source import gaussian_rise, gaussian_time_to_rise
from weldcalc.heatflow.hot_column import cavity_absorptance, column_depth
from weldcalc.heatflow.point_source import continuous_point_rise
from weldcalc.materials import Material

# A place beside the pool is hottest a little after the pulse; ages in units of its duration.
_AGES = np.array([1.0, 1.01, 1.03, 1.07, 1.13, 1.25, 1.5, 2.0, 2.8, 4.0])
_REACH = 3.0  # images further away than this many diffusion lengths add less than 1e-4
_POINT_LIKE = 6.0  # depth over spot radius from which an image counts as a point: 1 % of its part


@frozen
class Means:
    """Mean properties of a metal over a range of temperature.

    Parameters
    ----------
    thermal_conductivity : float
        [W/(m K)].
    volumetric_heat : float
        Enthalpy difference over temperature difference [J/(m3 K)].
    """

    thermal_conductivity: float
    volumetric_heat: float

    @property
    def diffusivity(self) -> float:
        """Thermal diffusivity [m2/s]."""
        return self.thermal_conductivity / self.volumetric_heat

    @property
    def body(self) -> dict[str, float]:
        """Keywords that every closed form takes [W/(m K), m2/s]."""
        return {
            "thermal_conductivity": self.thermal_conductivity,
            "diffusivity": self.diffusivity,
        }

    @classmethod
    def over(cls, material: Material, low: float, high: float) -> Means:
        """Return the means between two temperatures [K], latent heats included."""
        temperature = np.linspace(low, high, 201)
        conductivity = material.thermal_conductivity(temperature)
        heat = float(material.enthalpy(high) - material.enthalpy(low))
        return cls(
            thermal_conductivity=float(np.trapezoid(conductivity, temperature)) / (high - low),
            volumetric_heat=material.density_rt * heat / (high - low),
        )


@frozen
class Pool:
    """Size of a pool in one picture.

    Parameters
    ----------
    depth, width : float
        Of the fusion zone [m].
    haz_width : float
        Of the heat-affected zone beside it at the top, each side [m].
    """

    depth: float
    width: float
    haz_width: float


@frozen(slots=False)
class PulseOnSheet:
    """One square pulse of a still beam on a sheet.

    Parameters
    ----------
    material : Material
        Of the sheet.
    power : float
        Peak power [W].
    duration : float
        [s].
    radius : float
        Half the spot diameter [m].
    thickness : float
        Of the sheet [m].
    gaussian : bool
        Gaussian beam, else top-hat.
    preheat : float
        Temperature before the pulse [K].
    """

    material: Material
    power: float
    duration: float
    radius: float
    thickness: float
    gaussian: bool
    preheat: float

    @property
    def melting_temperature(self) -> float:
        """Middle of the melting range [K]: where the engines draw the fusion boundary."""
        return (self.material.solidus + self.material.liquidus) / 2

    def boiling_ratio(self, absorptivity: float) -> float:
        """Return the rise of a flat surface over the rise to boiling [-].

        Parameters
        ----------
        absorptivity : float
            Of the flat surface [-].

        Returns
        -------
        float
            Rise at the centre of the spot, mean irradiance all over it, at the end of the pulse.
        """
        depths = 2 * self.thickness * np.arange(-self._images, self._images + 1)
        rise = disc_axis_rise(
            heat_flux=absorptivity * self.power / (pi * self.radius**2),
            radius=self.radius,
            time=self.duration,
            depth=np.abs(depths),
            **self._to_boiling.body,
        )
        return float(np.sum(rise)) / (self.material.boiling_point - self.preheat)

    def melting_time(self, absorptivity: float) -> float:
        """Return when the centre of the surface melts in thick metal [s]; infinite if never.

        Parameters
        ----------
        absorptivity : float
            Of the flat surface [-].

        Returns
        -------
        float
            Time since the start of the pulse [s], also where the pulse is over before.
        """
        rise = self.material.solidus - self.preheat
        body = Means.over(self.material, self.preheat, self.material.solidus).body
        absorbed = absorptivity * self.power
        if self.gaussian:
            return gaussian_time_to_rise(
                rise=rise, absorbed_power=absorbed, beam_radius=self.radius, **body
            )
        flux = absorbed / (pi * self.radius**2)
        return disc_time_to_rise(rise=rise, heat_flux=flux, radius=self.radius, **body)

    def conduction(self, absorptivity: float) -> Pool:
        """Return the pool under a flat surface of an absorptivity [-]."""
        absorbed = absorptivity * self.power
        places, rise = self._across
        depths, under = self._below
        melted = _crossing(places, rise, self._melting_rise / absorbed)
        return Pool(
            depth=_crossing(depths, under, self._melting_rise / absorbed),
            width=2 * melted,
            haz_width=_crossing(places, rise, self._haz_rise / absorbed) - melted,
        )

    def keyhole(self, absorptivity: float) -> Pool:
        """Return the pool round a column held open, flat surface of an absorptivity [-]."""
        depth = self._column(absorptivity)
        share = cavity_absorptance(
            absorptivity=absorptivity, depth=min(depth, self.thickness), radius=self.radius
        )
        absorbed = float(share) * self.power
        places, rise = self._around
        melted = _crossing(places, rise, self._melting_rise / absorbed)
        return Pool(
            depth=max(depth, self.conduction(absorptivity).depth),
            width=2 * melted,
            haz_width=_crossing(places, rise, self._haz_rise / absorbed) - melted,
        )

    def _column(self, absorptivity: float) -> float:
        # a deeper column absorbs more and more absorbed makes it deeper: from above, the iteration
        # falls onto the deepest depth that holds itself open
        depth, before = self._column_for(self.power), np.inf
        while before - depth > 1e-6 * self.radius:
            share = cavity_absorptance(absorptivity=absorptivity, depth=depth, radius=self.radius)
            before, depth = depth, self._column_for(float(share) * self.power)
        return depth

    def _column_for(self, absorbed: float) -> float:
        depth = column_depth(
            absorbed_power=absorbed,
            radius=self.radius,
            wall_rise=self.material.boiling_point - self.preheat,
            time=self.duration,
            **self._to_boiling.body,
        )
        return float(depth)

    @property
    def _melting_rise(self) -> float:
        return self.melting_temperature - self.preheat

    @property
    def _haz_rise(self) -> float:
        return self.material.haz_temperature - self.preheat

    @cached_property
    def _to_melting(self) -> Means:
        return Means.over(self.material, self.preheat, self.material.liquidus)

    @cached_property
    def _to_boiling(self) -> Means:
        return Means.over(self.material, self.preheat, self.material.boiling_point)

    @property
    def _spread(self) -> float:
        return 2 * sqrt(self._to_boiling.diffusivity * self.duration)

    @property
    def _images(self) -> int:
        longest = sqrt(float(_AGES[-1])) * self._spread
        return ceil(_REACH * longest / (2 * self.thickness))

    @cached_property
    def _across(self) -> tuple[Floats, Floats]:
        """Return places across the surface [m] and their peak rise per absorbed power [K/W]."""
        places = np.linspace(0.0, self.radius + 3 * self._spread, 60)
        return places, self._peak(places, np.zeros_like(places), as_point=False)

    @cached_property
    def _below(self) -> tuple[Floats, Floats]:
        """Return depths under the spot [m] and their peak rise per absorbed power [K/W]."""
        depths = np.linspace(0.0, self.thickness, 60)
        return depths, self._peak(np.zeros_like(depths), depths, as_point=False)

    @cached_property
    def _around(self) -> tuple[Floats, Floats]:
        """Return distances from a point source [m] and their peak rise per power [K/W]."""
        places = np.geomspace(0.02, 3.0, 200) * (self.radius + self._spread)
        return places, self._peak(places, np.zeros_like(places), as_point=True)

    def _peak(self, place: Floats, depth: Floats, *, as_point: bool) -> Floats:
        ages = self.duration * _AGES
        rise = np.zeros((place.size, ages.size))
        for below, weight in self._mirrored(depth):
            distant = float(below.min()) > _POINT_LIKE * self.radius
            of_source = self._point_rise if as_point or distant else self._spot_rise
            rise += weight * of_source(place[:, None], below[:, None], ages)
            rise -= weight * of_source(place[:, None], below[:, None], ages - self.duration)
        return np.asarray(rise.max(axis=1))

    def _mirrored(self, depth: Floats) -> Iterator[tuple[Floats, int]]:
        """Yield the depth under each image of the source, and how many images see it so."""
        at_surface = not np.any(depth)  # there the images above and below are alike
        for image in range(0 if at_surface else -self._images, self._images + 1):
            yield np.abs(depth + 2 * image * self.thickness), 2 if at_surface and image else 1

    def _point_rise(self, place: Floats, depth: Floats, time: Floats) -> Floats:
        rise = continuous_point_rise(
            power=1.0, distance=np.hypot(place, depth), time=time, **self._to_melting.body
        )
        return np.asarray(rise)

    def _spot_rise(self, place: Floats, depth: Floats, time: Floats) -> Floats:
        body = self._to_melting.body
        if self.gaussian:
            return np.asarray(
                gaussian_rise(
                    absorbed_power=1.0,
                    beam_radius=self.radius,
                    time=time,
                    radial_position=place,
                    depth=depth,
                    **body,
                )
            )
        flux = 1 / (pi * self.radius**2)
        if not np.any(place):
            rise = disc_axis_rise(
                heat_flux=flux, radius=self.radius, time=time, depth=depth, **body
            )
            return np.asarray(rise)
        rise = disc_rise(
            heat_flux=flux,
            radius=self.radius,
            time=time,
            radial_position=place,
            depth=depth,
            **body,
        )
        return np.asarray(rise)


def _crossing(places: Floats, rise: Floats, needed: float) -> float:
    """Return where a falling rise comes down to a value; 0 when it never is as high."""
    if needed >= rise[0]:
        return 0.0
    return float(np.interp(-needed, -rise, places))
