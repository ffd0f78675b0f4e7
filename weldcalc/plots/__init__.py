"""Pictures: results in, a `Picture` (figure and words for it) out; nothing is computed here."""

from weldcalc.plots.agreement import Compared, predicted_against_measured
from weldcalc.plots.control import Chart, control_charts
from weldcalc.plots.estimates import (
    estimate_fit_up,
    estimate_long_section,
    estimate_part_temperature,
    estimate_pulse_trains,
    estimate_round_the_joint,
    estimate_section,
)
from weldcalc.plots.fit_up import gap_distribution
from weldcalc.plots.focus import focus_curve
from weldcalc.plots.heat import part_temperature, round_the_joint
from weldcalc.plots.joint import Pool, joint_section
from weldcalc.plots.long import SeamPools, long_section
from weldcalc.plots.maps import REGIONS, LimitCurve, WindowPoint, window_map
from weldcalc.plots.recorded import recorded_causes, recorded_window
from weldcalc.plots.seam import plan_view, pulse_train
from weldcalc.plots.split import heat_split, recorded_heat_splits
from weldcalc.plots.spread import cause_ranking, result_spread
from weldcalc.plots.style import Picture

__all__ = [
    "REGIONS",
    "Chart",
    "Compared",
    "LimitCurve",
    "Picture",
    "Pool",
    "SeamPools",
    "WindowPoint",
    "cause_ranking",
    "control_charts",
    "estimate_fit_up",
    "estimate_long_section",
    "estimate_part_temperature",
    "estimate_pulse_trains",
    "estimate_round_the_joint",
    "estimate_section",
    "focus_curve",
    "gap_distribution",
    "heat_split",
    "joint_section",
    "long_section",
    "part_temperature",
    "plan_view",
    "predicted_against_measured",
    "pulse_train",
    "recorded_causes",
    "recorded_heat_splits",
    "recorded_window",
    "result_spread",
    "round_the_joint",
    "window_map",
]
