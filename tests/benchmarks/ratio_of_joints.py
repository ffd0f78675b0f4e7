"""How far the ratio method is off the 3-D engine, over draws of everything that intervals draw.

Not part of the test run: ``python tests/benchmarks/ratio_of_joints.py``. Prints, for each joint,
the root mean square and the mean of the logarithm of method over engine in depth (ended at the
joint line), width and heat-affected width, and what the method's own check run said.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
from attrs import evolve

sys.path.insert(0, str(Path(__file__).parents[1]))

from schedules import first_pass

from weldcalc.calibration_data import calibration_for
from weldcalc.passes.joint import joint_setup
from weldcalc.passes.ratio import computed_sizes, joint_ratio, sheet_pulse
from weldcalc.schedule import schedule_from_mapping

DRAWS, SEED, ROOM = 12, 20_261, 293.15
NAMES = ("depth", "fusion_width", "haz_width")
# one sigma: power, duration, spot [-], surface [-], beam place [m]; the surface's is that shipped
SIGMA = {"peak_power": 0.02, "pulse_duration": 0.01, "spot_diameter": 0.03}
SURFACE, PLACE = 0.18, 20e-6


def plate(form: str = "flush", wall: str = "0.4 mm", thick: str = "1.2 mm", **keys: Any) -> dict:
    made = first_pass(**keys)
    made["joint"] |= {"type": "tube-to-plate", "form": form, "plate_material": "Ti Grade 2"}
    made["joint"] |= {"wall_thickness": wall, "plate_thickness": thick}
    return made


THICK = {"peak_power": "900 W", "pulse_duration": "6 ms", "spot_diameter": "0.5 mm"}
JOINTS = {
    "flush, keyhole": plate(peak_power="640 W", pulse_duration="4 ms"),
    "flush, conduction": plate(peak_power="380 W"),
    "flush, 0.8 mm in 2 mm": plate(wall="0.8 mm", thick="2 mm", **THICK),
    "butt, 0.1 mm aside": first_pass(peak_power="540 W", beam_offset="0.1 mm"),
    "the same, not through": first_pass(peak_power="420 W", beam_offset="0.1 mm"),
    "butt, 20 deg": first_pass(peak_power="540 W", beam_angle="20 deg"),
    "fillet, 45 deg": plate("fillet", peak_power="700 W", beam_angle="45 deg"),
}


def errors(mapping: dict[str, Any]) -> tuple[np.ndarray, dict[str, float]]:
    """Return logarithms of method over engine, shape (draws, 3), and what the check run said."""
    schedule = schedule_from_mapping(mapping)
    setup = joint_setup(schedule, schedule.passes[0])
    method = joint_ratio(setup, setup.run(ROOM), ROOM, ROOM)
    constants = calibration_for(setup.metals[0], None).draws(DRAWS, SEED)
    normal = np.random.default_rng(SEED)
    rows = []
    for one in constants:
        changed = {
            key: setup.settings[key] * (1 + sigma * normal.normal()) for key, sigma in SIGMA.items()
        }
        share = setup.sheet["absorptivity"] / setup.sheet["constants"].absorptance
        taken = one.absorptance * share * max(1 + SURFACE * normal.normal(), 0.3)
        aside = PLACE * normal.normal()
        like = {"absorptivity": min(taken, 0.95), "constants": one}
        moved = {"beam_offset": setup.settings["beam_offset"] + aside}
        drawn = evolve(
            setup,
            sheet={**setup.sheet, **changed, **like},
            settings=setup.settings | changed | like | moved,
        )
        said = method.sizes(sheet_pulse(drawn, ROOM), ROOM, aside=aside)
        true = computed_sizes(drawn, drawn.run(ROOM))
        for sizes in (said, true):
            sizes["depth"] = min(max(sizes["depth"], 1e-5), setup.shape.joint_length)
        rows.append([np.log(said[name] / true[name]) for name in NAMES])
    return np.array(rows), dict(method.error)


def main() -> None:
    """Print the table."""
    for name, mapping in JOINTS.items():
        off, said = errors(mapping)
        spread, mean = np.sqrt((off**2).mean(axis=0)), off.mean(axis=0)
        line = f"{name}: {spread.round(3)} rms, {mean.round(3)} mean; check run {said}"
        sys.stdout.write(line + "\n")


if __name__ == "__main__":
    main()
