"""Intervals of a pass: what goes in widens them, and they stay consistent."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from attrs import evolve
from schedules import first_pass

from weldcalc.calibration_data import calibration_for
from weldcalc.heatflow.constants import NAMES, ModelError
from weldcalc.passes.pulse import joint_material, pulse_settings, run_pulse
from weldcalc.passes.spread import (
    Spread,
    ellipsoid_depth,
    pass_spread,
    root_of_ellipsoid,
    scatter_of,
)
from weldcalc.prediction import estimate
from weldcalc.records.fields import schedule_fields
from weldcalc.schedule import schedule_from_mapping
from weldcalc.texts.estimates import assumed_scatter_lines, estimate_text

NO_ERROR = ModelError(depth=0.0, width=0.0, absorptance=0.0)
QUIET = dict.fromkeys(
    ("power", "duration", "spot_diameter", "wall_thickness", "absorptivity"), "0 %"
)


def spread(
    scatter: dict[str, str],
    error: ModelError = NO_ERROR,
    laser: dict[str, Any] | None = None,
    count: int = 12,
    **keys: Any,
) -> Spread:
    """Return the spread with one set of constants, inside their range."""
    typed = first_pass(**keys) | {"scatter": scatter}
    schedule = schedule_from_mapping(typed | ({} if laser is None else {"laser": laser}))
    metal, (item,) = joint_material(schedule), schedule.passes
    shipped = calibration_for(metal, None)
    box = evolve(shipped.box, spot_diameter=(0, 1), pulse_duration=(0, 1), irradiance=(0, 1e15))
    row = np.array([[getattr(shipped.mean, name) for name in NAMES]])
    model = evolve(shipped, sample=row, box=box, error=error, sha256="0" * 64)
    settings = pulse_settings(schedule, item, metal, calibration=model)
    centre = run_pulse(metal, settings, cooling=0.2)
    return pass_spread(
        schedule, item, metal, centre=centre, preheat=293.15, calibration=model, count=count
    )


def test_nothing_varies_gives_no_interval() -> None:
    made = spread(QUIET)
    low, high = made.interval("fusion_width")
    assert (low, high) == pytest.approx((made.centre.fusion_width,) * 2, rel=1e-9)


@pytest.mark.parametrize("name", ["power", "spot_diameter", "absorptivity"])
def test_each_scatter_widens_the_interval(name: str) -> None:
    small, large = (spread(QUIET | {name: size}) for size in ("1 %", "4 %"))
    widths = [np.diff(one.interval("fusion_width"))[0] for one in (small, large)]
    assert 0 < widths[0] < widths[1]


def test_model_error_alone_gives_its_own_interval() -> None:
    """A log-normal of 10 % has 90 % of its values within exp(-/+1.645 * 0.1)."""
    made = spread(QUIET, ModelError(depth=0.1, width=0.1, absorptance=0.0))
    low, high = made.interval("fusion_width")
    centre = made.centre.fusion_width
    assert low / centre == pytest.approx(np.exp(-0.1645 * made.stretch), abs=0.03)
    assert high / centre == pytest.approx(np.exp(0.1645 * made.stretch), abs=0.03)


def test_the_stretch_is_a_power_on_the_factors_to_the_ends() -> None:
    made = spread({})
    low, high = made.interval("fusion_width")
    wide = evolve(made, stretch=2 * made.stretch).interval("fusion_width")
    centre = made.centre.fusion_width
    assert wide[0] / centre == pytest.approx((low / centre) ** 2)
    assert wide[1] / centre == pytest.approx((high / centre) ** 2)


def test_a_root_that_is_closed_in_the_middle_may_open_in_some_draws() -> None:
    made = spread({"power": "20 %"}, peak_power="430 W")
    assert made.centre.root_width == 0
    low, high = made.interval("root_width")
    assert low == 0
    assert high >= 0


def test_depth_never_passes_the_wall_and_its_chance_is_a_share() -> None:
    made = spread({}, ModelError(depth=0.3, width=0.1, absorptance=0.0), peak_power="600 W")
    assert np.all(made.values["penetration"] <= made.values["thickness"])
    # on a thicker wall of the scatter too the depth is told as that of the wall as drawn
    assert made.values["penetration"].max() > 0.4e-3
    assert made.interval("penetration")[1] == pytest.approx(0.4e-3, rel=1e-9)
    assert 0 < made.chance_of_share(1.0) <= 1
    assert made.chance_of_share(0.3) >= made.chance_of_share(1.0)


def test_what_goes_through_its_own_thinner_wall_goes_through() -> None:
    made = spread({"wall_thickness": "5 %"}, peak_power="900 W")
    assert made.values["thickness"].min() < 0.39e-3
    assert made.chance_of_share(1.0) == 1
    assert made.interval("penetration") == pytest.approx((0.4e-3, 0.4e-3), rel=1e-9)


def test_ellipsoid_there_and_back() -> None:
    depth, wall, top = np.full(3, 0.4), np.full(3, 0.4), np.full(3, 0.7)
    root = np.array([0.1, 0.3, 0.6])
    through = ellipsoid_depth(depth, top, root, wall)
    assert np.all(through > wall)
    assert root_of_ellipsoid(through, top, wall) == pytest.approx(root)
    # half an ellipsoid of semi-axes 0.35 and D is 0.05 wide, in radius, at depth 0.4
    assert (0.05 / 0.35) ** 2 + (0.4 / through[0]) ** 2 == pytest.approx(1.0)
    shallow = ellipsoid_depth(np.array([0.2]), np.array([0.7]), np.array([0.0]), np.array([0.4]))
    assert shallow == pytest.approx(0.2)
    assert root_of_ellipsoid(shallow, np.array([0.7]), np.array([0.4])) == pytest.approx(0.0)


def test_the_shops_own_scatter_goes_first() -> None:
    schedule = schedule_from_mapping(first_pass() | {"scatter": {"power": "7 %"}})
    found = scatter_of(schedule)
    assert found["power"] == pytest.approx(0.07)
    assert found["duration"] == pytest.approx(0.01)  # default_scatter.toml


def test_what_the_shop_did_not_give_is_named_as_a_default_of_common_practice() -> None:
    schedule = schedule_from_mapping(first_pass() | {"scatter": {"power": "7 %"}})
    (told,) = assumed_scatter_lines(schedule)
    told = told.replace("\n", " ")
    assert "spot diameter 4 %" in told  # default_scatter.toml
    assert "(default, common practice)" in told
    assert "power" not in told
    assert "focus" not in told  # without a beam quality no focus moves the spot
    rows = schedule_fields(schedule)
    assert rows["scatter.power"]["standing"] == "typed"
    assumed = rows["scatter.spot_diameter"]
    assert (assumed["typed"], assumed["shown"]) == (None, "4 %")
    assert assumed["si"] == pytest.approx(0.04)
    assert assumed["standing"] == "stated default, common practice"
    assert rows["scatter.focus"]["standing"] == "not given"


def test_an_estimate_says_which_scatter_is_not_the_shops_own() -> None:
    schedule = schedule_from_mapping(first_pass())
    (told,) = assumed_scatter_lines(schedule)
    assert told in estimate_text(estimate(schedule))
    own = dict.fromkeys(("power", "duration", "spot_diameter", "wall_thickness"), "1 %")
    own |= {"travel_speed": "1 %", "gap": "0.01 mm", "beam_offset": "0.02 mm"}
    assert assumed_scatter_lines(schedule_from_mapping(first_pass() | {"scatter": own})) == []
