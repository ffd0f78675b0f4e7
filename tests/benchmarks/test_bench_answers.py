"""How long drafts, windows and tolerances take on this machine, and what a second worker gives.

Not part of the test run: ``pytest tests/benchmarks/test_bench_answers.py``. The targets are for two
free cores and stand beside each case; a busy machine misses them.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from weldcalc import reference
from weldcalc.batch import cluster_executor
from weldcalc.drafting import draft
from weldcalc.schedule import load_schedule
from weldcalc.tolerance import tolerance
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.scatter import column, normal_points, pass_scatter
from weldcalc.tolerances.section_pulses import section_pulses
from weldcalc.tolerances.surrogate import (
    LEARNT,
    bridged,
    relative_misfit,
    section_offsets,
    section_surrogate,
)
from weldcalc.window import window

DEMO = Path(reference.data_folder()) / "demo"
STEM = load_schedule(DEMO / "level_gauge_stem.toml")
# the demo flange, with power enough for its goal
FLANGE = load_schedule(DEMO / "level_gauge_flange.toml").with_pass(0, peak_power=620.0)
ROOT = STEM.passes[0].name
SEAL = FLANGE.passes[0].name


@pytest.fixture(scope="module", autouse=True)
def compiled():
    """Compile every kernel before the clock runs."""
    for schedule in (STEM, FLANGE):
        scatter = pass_scatter(schedule, schedule.passes[0])
        normals = np.zeros((1, len(scatter.causes)))
        run_pulses([*scatter.pulses(normals).cases, *section_pulses(scatter, normals).cases])


def once(benchmark, target: float, work):
    """Run a job once and note the target [s] beside its time."""
    benchmark.extra_info["target_s"] = target
    return benchmark.pedantic(work, rounds=1, iterations=1)


def test_draft_of_the_demo_tube(benchmark):
    made = once(benchmark, 15.0, lambda: draft(STEM))
    assert made.drafted


def test_window_of_60_by_60(benchmark):
    made = once(benchmark, 8.0, lambda: window(STEM, cells=(60, 60)))
    assert made.region.shape == (60, 60)


def test_tolerance_of_10_000_samples_of_a_tube_butt(benchmark):
    made = once(benchmark, 15.0, lambda: tolerance(STEM, passes=[ROOT], samples=10_000))
    assert made.passes[0].samples > 9_900


def test_tolerance_of_10_000_samples_of_a_tube_in_a_plate(benchmark):
    made = once(benchmark, 60.0, lambda: tolerance(FLANGE, passes=[SEAL], samples=10_000))
    assert made.passes[0].samples > 9_900


def test_a_second_dask_worker(benchmark):
    """Direct section runs on one worker process and on two."""
    distributed = pytest.importorskip("distributed")
    scatter = pass_scatter(FLANGE, FLANGE.passes[0], with_model=False)
    cases = section_pulses(scatter, normal_points(96, len(scatter.causes), 5)).cases
    took = {}

    def both():
        for workers in (1, 2):
            with distributed.LocalCluster(
                n_workers=workers, threads_per_worker=1, dashboard_address=None
            ) as cluster:
                took[workers] = _timed(cluster.scheduler_address, cases)

    once(benchmark, 0.0, both)
    benchmark.extra_info["speed_up"] = took[1] / took[2]
    benchmark.extra_info["speed_up_target"] = 1.7


def _timed(address: str, cases) -> float:
    with cluster_executor(address) as executor:
        run_pulses(cases[:8], executor=executor)  # workers load and compile
        start = time.perf_counter()
        run_pulses(cases[8:], executor=executor)
        return time.perf_counter() - start


@pytest.mark.parametrize("with_model", [False, True])
def test_stand_in_against_200_fresh_section_runs(benchmark, with_model):
    scatter = pass_scatter(FLANGE, FLANGE.passes[0], with_model=with_model)
    made = once(benchmark, 60.0, lambda: section_surrogate(scatter, seed=1))
    normals = np.clip(np.random.default_rng(77).normal(size=(200, len(scatter.causes))), -3, 3)
    pulses, offsets = scatter.pulses(normals), section_offsets(scatter, normals)
    truth = run_pulses(section_pulses(scatter, normals).cases)
    found = made.sizes(pulses.cases, run_pulses(pulses.cases), offsets, np.zeros(200))
    whole = bridged(pulses.cases, offsets, share=made.share, plate=made.plate)
    learnt = [np.array([column(rows, name) for name in LEARNT]).T for rows in (found, truth)]
    off = relative_misfit(*learnt)[whole]
    for name, values in zip(LEARNT, off.T, strict=True):
        benchmark.extra_info[name] = {
            "median": float(np.median(values)),
            "stated": made.error[name],
            "inside": float(np.mean(values <= made.error[name])),
        }
