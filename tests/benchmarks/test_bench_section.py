"""How long the 3-D engine takes, one thread, default grid, after compilation.

Not part of the test run: ``pytest tests/benchmarks/test_bench_section.py``.
"""

from __future__ import annotations

from math import radians

import pytest

from weldcalc.heatflow.section import section_pulse, section_pulses_in_row
from weldcalc.section_shape import butt_section, fillet_section, flush_section

PULSE = {"pulse_duration": 5e-3, "spot_diameter": 0.4e-3}
TUBE = {"wall_thickness": 0.4e-3, "plate_thickness": 1.2e-3, "tube_material": "Ti Grade 2"}
BUTT = butt_section(thickness=0.4e-3, material="Ti Grade 2")
CASES = {
    "flush conduction": (flush_section(**TUBE), {"peak_power": 400.0}),
    "flush keyhole": (flush_section(**TUBE), {"peak_power": 800.0}),
    "flush gap offset": (
        flush_section(gap=0.02e-3, **TUBE),
        {"peak_power": 500.0, "beam_offset": 0.05e-3},
    ),
    "fillet": (fillet_section(**TUBE), {"peak_power": 400.0, "beam_angle": radians(45.0)}),
    "butt": (BUTT, {"peak_power": 400.0}),
    "butt travel": (BUTT, {"peak_power": 400.0, "travel_speed": 0.02}),
}
FLUSH_LIMIT = 0.3  # s


@pytest.mark.parametrize("name", CASES)
def test_one_pulse(benchmark, name):
    section, settings = CASES[name]
    result = benchmark.pedantic(
        section_pulse, (section,), PULSE | settings, rounds=5, warmup_rounds=1
    )
    assert abs(result.energy_balance) < 1e-3
    if name.startswith("flush"):
        assert benchmark.stats.stats.min < FLUSH_LIMIT


def test_five_pulses_in_a_row(benchmark):
    settings = {"pulses": 5, "pitch": 0.15e-3, "repetition_rate": 5.0, "peak_power": 400.0}
    row = benchmark.pedantic(
        section_pulses_in_row, (BUTT,), PULSE | settings, rounds=3, warmup_rounds=1
    )
    assert abs(row.energy_balance) < 1e-3
