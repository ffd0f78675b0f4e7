"""How long a whole estimate takes, one processor, after compilation.

Not part of the test run: ``pytest tests/benchmarks/test_bench_estimate.py``. The limits are process
time, summed over threads: that of one processor.
"""

from __future__ import annotations

import time

import pytest

from weldcalc.prediction import estimate
from weldcalc.reference import data_folder
from weldcalc.schedule import load_schedule

LIMITS = {"stem": 0.3, "flange": 3.0}  # s


@pytest.mark.parametrize("name", LIMITS)
def test_estimate_of_a_demo(benchmark, name):
    schedule = load_schedule(data_folder() / "demo" / f"level_gauge_{name}.toml")
    spent = []

    def run():
        start = time.process_time()
        made = estimate(schedule)
        spent.append(time.process_time() - start)
        return made

    made = benchmark.pedantic(run, rounds=5, warmup_rounds=1)
    assert made.passes
    benchmark.extra_info.update(processor_s=min(spent))
    assert min(spent) < LIMITS[name]


def test_estimate_of_a_butt_with_the_beam_aside(benchmark):
    schedule = load_schedule(data_folder() / "demo" / "level_gauge_stem.toml")
    aside = schedule.with_pass(0, beam_offset=0.05e-3)
    benchmark.pedantic(estimate, (aside,), rounds=3, warmup_rounds=1)
