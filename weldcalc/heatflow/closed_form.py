"""Closed forms of heat flow: one door to all of them.

They are exact for what they assume (constant properties, simple sources, no melting), so they
check the engines, and they give the instant answers. Every result names the form it came from.
"""

from __future__ import annotations

from weldcalc.heatflow.disc_source import (
    disc_axis_rise,
    disc_rise,
    disc_steady_rise,
    disc_time_to_rise,
    ierfc,
    plane_source_rise,
)
from weldcalc.heatflow.gaussian_source import (
    gaussian_rise,
    gaussian_time_to_rise,
    moving_gaussian_rise,
)
from weldcalc.heatflow.hot_column import (
    cavity_absorptance,
    column_depth,
    cylinder_heat_flow,
    hemisphere_heat_flow,
)
from weldcalc.heatflow.melting import (
    HANN_BOILING_304,
    HANN_BOILING_TI64,
    MELTING_EFFICIENCY_THICK,
    MELTING_EFFICIENCY_THIN,
    cylinder_volume,
    half_ellipsoid_volume,
    melting_efficiency,
    melting_energy,
    normalised_enthalpy,
)
from weldcalc.heatflow.moving_source import thick_plate_rise, thin_plate_rise
from weldcalc.heatflow.point_source import (
    continuous_point_rise,
    line_source_rise,
    point_source_rise,
)
from weldcalc.heatflow.weld_cooling import (
    ADAMS_CONSTANT,
    THICK_ABOVE,
    THIN_BELOW,
    adams_haz_width,
    adams_peak_temperature,
    cooling_rate_thick,
    cooling_rate_thin,
    plate_regime,
    relative_plate_thickness,
    solidification_time,
)

__all__ = [
    "ADAMS_CONSTANT",
    "HANN_BOILING_304",
    "HANN_BOILING_TI64",
    "MELTING_EFFICIENCY_THICK",
    "MELTING_EFFICIENCY_THIN",
    "THICK_ABOVE",
    "THIN_BELOW",
    "adams_haz_width",
    "adams_peak_temperature",
    "cavity_absorptance",
    "column_depth",
    "continuous_point_rise",
    "cooling_rate_thick",
    "cooling_rate_thin",
    "cylinder_heat_flow",
    "cylinder_volume",
    "disc_axis_rise",
    "disc_rise",
    "disc_steady_rise",
    "disc_time_to_rise",
    "gaussian_rise",
    "gaussian_time_to_rise",
    "half_ellipsoid_volume",
    "hemisphere_heat_flow",
    "ierfc",
    "line_source_rise",
    "melting_efficiency",
    "melting_energy",
    "moving_gaussian_rise",
    "normalised_enthalpy",
    "plane_source_rise",
    "plate_regime",
    "point_source_rise",
    "relative_plate_thickness",
    "solidification_time",
    "thick_plate_rise",
    "thin_plate_rise",
]
