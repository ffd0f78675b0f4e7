"""A focus that moves: what it does to the spot, in an estimate as in a tolerance, and when not."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from schedules import first_pass
from test_pass_spread import QUIET, spread

from weldcalc.passes.focus import spot_growth
from weldcalc.prediction import estimate
from weldcalc.schedule import Schedule, schedule_from_mapping
from weldcalc.schedules.parts import Laser
from weldcalc.texts.answers import tolerance_text
from weldcalc.texts.estimates import estimate_text
from weldcalc.tolerance import Tolerance, tolerance
from weldcalc.tolerances.result import LEVEL

BEAM = {"spot_diameter": "0.4 mm", "wavelength": "1064 nm", "beam_quality": 40}
STILL = {"travel_speed": "0 %", "gap": "0 mm", "beam_offset": "0 mm"}
LEFT_OUT = "focus-scatter-left-out"


def _schedule(focus: str, laser: dict[str, Any]) -> Schedule:
    scatter = QUIET | STILL | {"focus": focus}
    return schedule_from_mapping(first_pass() | {"laser": laser, "scatter": scatter})


def _sampled(focus: str, laser: dict[str, Any], **keys: Any) -> Tolerance:
    choice = {"samples": 240, "with_model": False, "with_drifts": False, "grid": 5e-5}
    return tolerance(_schedule(focus, laser), **(choice | keys))


def test_growth_of_the_spot_by_hand() -> None:
    """ISO 11146-1: d^2 = d0^2 (1 + (z / zR)^2)."""
    laser = Laser(spot_diameter=0.4e-3, wavelength=1064e-9, beam_quality=40.0)
    reach = laser.rayleigh_length
    assert reach is not None
    at_focus = spot_growth(laser, 0.4e-3, np.array([0.0, reach, -reach]))
    assert at_focus == pytest.approx([1.0, 2**0.5, 2**0.5])
    # a spot twice the waist lies sqrt 3 Rayleigh lengths off, and shrinks on its way to focus
    off_focus = spot_growth(laser, 0.8e-3, reach * np.array([0.0, -(3**0.5), 8**0.5 - 3**0.5]))
    assert off_focus == pytest.approx([1.0, 0.5, 1.5])


def test_it_widens_the_interval_of_an_estimate() -> None:
    small, large = (spread(QUIET | {"focus": size}, laser=BEAM) for size in ("0.5 mm", "2 mm"))
    widths = [np.diff(one.interval("fusion_width"))[0] for one in (small, large)]
    assert 0 < widths[0] < 0.5 * widths[1]


def test_estimate_and_tolerance_spread_alike() -> None:
    """Off focus, where it moves the spot most; by two samplings of their own."""
    keys = {"spot_diameter": "0.5 mm"}
    drawn = spread(QUIET | {"focus": "0.5 mm"}, laser=BEAM, count=128, **keys)
    schedule = _schedule("0.5 mm", BEAM).with_pass(0, spot_diameter=0.5e-3)
    made = tolerance(schedule, samples=240, with_model=False, with_drifts=False)
    tail = (1 - LEVEL) / 2
    ends = np.quantile(drawn.values["fusion_width"], [tail, 1 - tail])
    assert ends == pytest.approx(made.passes[0].interval("fusion_width"), rel=0.02)
    assert ends[1] - ends[0] > 0.1 * drawn.centre.fusion_width


@pytest.mark.parametrize(
    ("gone", "remedy"),
    [
        (("wavelength",), "give wavelength in [laser]"),
        (("wavelength", "beam_quality"), "give wavelength and beam_quality in [laser]"),
    ],
)
def test_what_cannot_be_drawn_is_told_with_its_key_and_remedy(
    gone: tuple[str, ...], remedy: str
) -> None:
    laser = {key: value for key, value in BEAM.items() if key not in gone}
    made = estimate(_schedule("2 mm", laser))
    (found,) = (one for one in made.all_findings() if one.code == LEFT_OUT)
    assert found.weight == "caution"
    assert found.text.startswith("scatter.focus of 2.00 mm is left out")
    assert found.remedy == remedy
    assert "scatter.focus" in estimate_text(made)


def test_a_tolerance_tells_it_too() -> None:
    laser = {"spot_diameter": "0.4 mm"}
    made = _sampled("2 mm", laser, with_model=True, samples=320)
    assert [one.code for one in made.findings] == [LEFT_OUT]
    assert [one["code"] for one in made.to_json()["findings"]] == [LEFT_OUT]
    text = tolerance_text(made)
    assert "CAUTION scatter.focus of 2.00 mm is left out" in text
    assert max(map(len, text.splitlines())) <= 100


@pytest.mark.parametrize(
    ("focus", "laser"), [("2 mm", BEAM), ("0 mm", {"spot_diameter": "0.4 mm"})]
)
def test_nothing_is_said_where_nothing_is_left_out(focus: str, laser: dict[str, Any]) -> None:
    made = estimate(_schedule(focus, laser))
    assert LEFT_OUT not in [one.code for one in made.all_findings()]


def test_a_spot_typed_in_the_passes_alone_leaves_the_caustic_open() -> None:
    laser = {"wavelength": "1064 nm", "beam_quality": 40}
    typed = first_pass(spot_diameter="0.4 mm") | {"laser": laser, "scatter": {"focus": "1 mm"}}
    (found,) = (
        one for one in estimate(schedule_from_mapping(typed)).findings if one.code == LEFT_OUT
    )
    assert found.remedy == "give spot_diameter in [laser]"
