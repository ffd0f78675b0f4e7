"""A measured section in, the likeliest cause out."""

from __future__ import annotations

import numpy as np
import pytest
from click.testing import CliRunner
from schedules import tube

from weldcalc.cli import main
from weldcalc.diagnosis import USUAL, explain, fault_spread
from weldcalc.errors import InputError
from weldcalc.heatflow.spot import spot_pulse
from weldcalc.passes.seam_shape import fused_depth
from weldcalc.schedule import schedule_from_mapping
from weldcalc.tolerances.scatter import pass_scatter

# the root just open, so that a section tells power, spot and place apart
GRID = 4e-5  # m; coarse, for speed: the same for section and diagnosis
INJECTED = [
    ("power", -1.5),
    ("power", 1.5),
    ("spot_diameter", -1.5),
    ("spot_diameter", 2.0),
    ("wall_thickness", -1.5),
    ("wall_thickness", 1.5),
    ("duration", -1.5),
    ("duration", 1.5),
    ("beam_offset", 2.0),
    ("beam_offset", 2.5),
]


@pytest.fixture(scope="module")
def schedule():
    typed = tube(goal={"penetration": "100 %"}, scatter={"power": "1.5 %", "spot_diameter": "2 %"})
    typed["pass"][0]["peak_power"] = "480 W"
    return schedule_from_mapping(typed)


def _section(schedule, cause: str, faults: float) -> dict[str, float]:
    """Return the section that the engine gives with one cause moved; all else as set."""
    scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
    shift = faults * fault_spread(scatter)[cause]
    still = np.zeros((1, len(scatter.causes)))
    [case] = scatter.pulses(still, shifts={cause: shift}, grid=GRID).cases
    case.pop("depth")
    made = spot_pulse(**case)
    aside = abs(shift) if cause == "beam_offset" else 0.0
    return {
        "penetration": fused_depth(made.fusion_outline, aside),
        "fusion_width": made.fusion_width,
        "root_width": made.root_width,
    }


def test_an_injected_cause_comes_first_in_eight_of_ten(schedule):
    found = []
    for number, (cause, faults) in enumerate(INJECTED):
        rng = np.random.default_rng(number)
        # read as a person reads a section: within a few micrometres
        read = {
            key: max(value + 4e-6 * rng.normal(), 0.0) if value else 0.0
            for key, value in _section(schedule, cause, faults).items()
        }
        top = explain(schedule, **read, grid=GRID).suspects[0]
        side = 1.0 if cause == "beam_offset" else np.sign(faults)
        found.append(top.cause == cause and top.side == side)
    assert sum(found) >= 8, dict(zip(INJECTED, found, strict=True))


def test_the_expected_section_points_to_nothing_unusual(schedule):
    made = explain(schedule, **_section(schedule, "power", 0.0), grid=GRID)
    assert made.measured == pytest.approx(made.expected, rel=1e-6)
    top = made.suspects[0]
    # causes that may have moved by nothing fit as well, so that no cause may beat it by much
    assert next(one for one in made.suspects if one.words == USUAL).plausibility >= (
        0.9 * top.plausibility
    )


def test_plausibilities_add_up_and_json_has_units(schedule):
    made = explain(schedule, penetration=0.31e-3, fusion_width=0.48e-3)
    assert sum(one.plausibility for one in made.suspects) == pytest.approx(1.0)
    data = made.to_json()
    assert data["measured"] == pytest.approx({"penetration_mm": 0.31, "fusion_width_mm": 0.48})
    by = {one["cause"]: one for one in data["suspects"]}
    assert abs(by["power"]["shift"]) < 0.5
    assert 0.0 < by["beam_offset"]["shift_mm"] < 0.4


def test_size_of_the_fault_is_found(schedule):
    section = _section(schedule, "power", -1.5)
    top = explain(schedule, **section, grid=GRID).suspects[0]
    scatter = pass_scatter(schedule, schedule.passes[0], with_model=False)
    assert top.shift == pytest.approx(-1.5 * fault_spread(scatter)["power"], rel=0.25)


def test_no_size_of_a_weld_is_refused(schedule):
    with pytest.raises(InputError, match="zero or more"):
        explain(schedule, penetration=-1e-4)


def test_command_line(tmp_path, schedule):
    path = tmp_path / "a.toml"
    path.write_text(schedule.to_toml(), encoding="utf-8")
    run = CliRunner().invoke(
        main, ["explain", str(path), "--penetration", "0.31 mm", "--width", "0.48 mm"]
    )
    assert run.exit_code == 0, run.output
    assert "Plausible" in run.stdout
    wrong = CliRunner().invoke(main, ["explain", str(path), "--penetration", "0,31 mm"])
    assert wrong.exit_code == 2
    assert "decimal point" in wrong.stderr
