"""Drafts for six invented joints, held against 500 fresh direct runs each.

Not part of the test run: ``python tests/benchmarks/drafts_of_six_joints.py``. Prints, for every
joint, the drafted passes, the chance in fresh runs with its 95 % interval, and the time it took.
"""

from __future__ import annotations

import sys
import time
from typing import Any

from weldcalc.drafting import DraftedSchedule, draft
from weldcalc.drafts.options import cover_goals, root_goals
from weldcalc.drafts.proof import chance_of
from weldcalc.drafts.search import Search
from weldcalc.errors import NegativeAnswer
from weldcalc.goals import chance_interval
from weldcalc.schedule import Schedule, schedule_from_mapping
from weldcalc.tolerances.scatter import pass_scatter

FRESH = 500
SEED = 20_260

LASER = {
    "wavelength": "1064 nm",
    "beam_quality": 40,
    "peak_power_limit": "6 kW",
    "pulse_energy_limit": "60 J",
    "average_power_limit": "200 W",
    "pulse_duration_range": ["0.5 ms", "20 ms"],
    "repetition_rate_limit": "50 Hz",
}
# form, grade, wall, spot, the rest; every number invented
JOINTS: dict[str, dict[str, Any]] = {
    "0.25 mm titanium tube butt": {
        "joint": ("butt", "tube", "Ti Grade 2", "0.25 mm", {"outside_diameter": "6 mm"}),
        "spot": "0.3 mm",
    },
    "0.4 mm titanium tube butt": {
        "joint": ("butt", "tube", "Ti Grade 2", "0.4 mm", {"outside_diameter": "8 mm"}),
        "spot": "0.4 mm",
    },
    "1.0 mm Ti-6Al-4V sheet butt": {
        "joint": ("butt", "sheet", "Ti Grade 5", "1.0 mm", {"seam_length": "60 mm"}),
        "spot": "0.5 mm",
    },
    "0.5 mm 316L tube butt": {
        "joint": ("butt", "tube", "316L", "0.5 mm", {"outside_diameter": "12 mm"}),
        "spot": "0.4 mm",
    },
    "0.4 mm titanium tube flush in plate": {
        "joint": (
            "tube-to-plate",
            "flush",
            "Ti Grade 2",
            "0.4 mm",
            {"outside_diameter": "8 mm", "plate_thickness": "1.2 mm"},
        ),
        "spot": "0.4 mm",
    },
    "0.6 mm 316L tube flush in plate": {
        "joint": (
            "tube-to-plate",
            "flush",
            "316L",
            "0.6 mm",
            {"outside_diameter": "10 mm", "plate_thickness": "2 mm"},
        ),
        "spot": "0.5 mm",
    },
}


def wanted(name: str) -> Schedule:
    """Return the schedule without passes that asks for a draft."""
    kind, form, grade, wall, rest = JOINTS[name]["joint"]
    joint = {"type": kind, "form": form, "material": grade, "wall_thickness": wall, **rest}
    joint |= {"gap": "0.01 mm", "mismatch": "0.02 mm"}
    if kind == "tube-to-plate":
        joint["plate_material"] = grade
    goal = {"penetration": "100 %", "spot_overlap": "70 %", "haz_width": "0.35 mm"}
    mapping = {
        "title": f"Invented: {name}",
        "number": "SIX",
        "revision": "A",
        "joint": joint,
        "goal": {**goal, "part_temperature": "300 degC"},
        "laser": {**LASER, "spot_diameter": JOINTS[name]["spot"]},
        "scatter": {"power": "1.5 %", "spot_diameter": "2 %", "wall_thickness": "2 %"},
    }
    return schedule_from_mapping(mapping, require_passes=False)


def fresh(one: DraftedSchedule) -> list[tuple[str, float]]:
    """Return the chance of each pass in fresh direct runs."""
    schedule = one.schedule
    goals = (root_goals(schedule), cover_goals(schedule))
    found = []
    for weld_pass, item, asked in zip(schedule.passes, one.estimate.passes, goals, strict=True):
        scatter = pass_scatter(schedule, weld_pass, with_model=False)
        warmest = item.seam_preheat[1] - weld_pass.preheat
        chance, _, _ = chance_of(
            Search(scatter, 0.95, 1), scatter, asked, warmest=warmest, draws=FRESH, seed=SEED
        )
        found.append((weld_pass.name, chance))
    return found


def say(text: str) -> None:
    """Write a line at once, so that a long run can be followed."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def main() -> int:
    """Draft and check all joints; return 1 if one misses its chance."""
    missed = 0
    for name in JOINTS:
        start, cpu = time.perf_counter(), time.process_time()
        try:
            made = draft(wanted(name), keep=1)
        except NegativeAnswer as answer:
            say(f"{name}: {answer}")
            missed += 1
            continue
        took = f"{time.perf_counter() - start:.1f} s ({time.process_time() - cpu:.1f} s processor)"
        say(f"{name}: drafted in {took}")
        for one, (what, chance) in zip(
            made.drafted[0].schedule.passes, fresh(made.drafted[0]), strict=True
        ):
            low, high = chance_interval(FRESH * chance, FRESH)
            missed += high < made.chance
            say(
                f"  {what}: {one.peak_power:.0f} W, {1e3 * one.pulse_duration:.1f} ms, "
                f"{one.repetition_rate:g} Hz, {1e3 * one.travel_speed:.3g} mm/s, spot "
                f"{1e3 * one.spot_diameter:.2f} mm: {chance:.1%} ({low:.1%} to {high:.1%})"
            )
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
