"""The bare melting pulse by the engine beside the same scheme in JAX jit, on one thread.

Not part of the test run: ``pytest tests/benchmarks/test_bench_jax.py -n 0``. JAX is needed for
this comparison only and is no dependency of the project: ``pip install jax``.

Both take the same cells, tables, super steps and stages, in float64. Two ratios are kept, medians
after compile: of the time loops alone, and of whole calls that lay out the cells and read off the
depth. JAX is given the lengths and stages of the steps, which the engine has to find.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from spot_scheme import runs_of_equal_stages, scheme, super_steps
from test_bench_spot import ENGINE, TI, bare_case, engine, reference_pulse

from weldcalc.heatflow import spot_solve
from weldcalc.heatflow.enthalpy import metal_tables

jax_engine = pytest.importorskip("jax_engine", reason="JAX is not installed")

BLOCKS, RUNS = 15, 20  # engine and JAX take turns block by block
RUNS_OF_STEPS = runs_of_equal_stages(super_steps(scheme(bare_case()), TI, ENGINE))
STAGES = [stages for stages, _ in RUNS_OF_STEPS]
LENGTHS = [lengths for _, lengths in RUNS_OF_STEPS]


def jax_depth(march):
    cells = scheme(bare_case())
    column = np.asarray(march(cells, LENGTHS))
    return reference_pulse.crossing(cells.z, column, metal_tables(TI).melting_enthalpy())


def seconds(call):
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


@pytest.fixture
def engine_times(monkeypatch):
    """Return a function that gives the seconds of one engine run, whole and in its time loop."""
    march, loop = spot_solve.march, []

    def timed(*arrays):
        start = time.perf_counter()
        result = march(*arrays)
        loop.append(time.perf_counter() - start)
        return result

    monkeypatch.setattr(spot_solve, "march", timed)
    return lambda: (seconds(engine), loop.pop())


def jax_times(march):
    """Return a function that gives the seconds of one run by JAX, whole and in its time loop."""
    ready = jax_engine.on_device((scheme(bare_case()), LENGTHS))
    return lambda: (
        seconds(lambda: jax_depth(march)),
        seconds(lambda: march(*ready).block_until_ready()),
    )


def block_of(run):
    """Return the median seconds of some runs in a row, whole and in the time loop."""
    return np.median([run() for _ in range(RUNS)], axis=0)


def threads_used(call):
    """Return processor time over wall time of many calls: above one if threads share the work."""
    wall, processor = time.perf_counter(), time.process_time()
    for _ in range(200):
        call()
    return (time.process_time() - processor) / (time.perf_counter() - wall)


@pytest.mark.parametrize("form", list(jax_engine.FORMS))
def test_engine_beside_jax(benchmark, engine_times, form):
    march = jax_engine.compiled_march(STAGES, form)
    assert jax_depth(march) == pytest.approx(engine(), rel=0.02)
    theirs_of = jax_times(march)
    block_of(engine_times), block_of(theirs_of)  # compile and warm up
    times = np.array([(block_of(engine_times), block_of(theirs_of)) for _ in range(BLOCKS)])
    ours, theirs = 1e3 * np.median(times, axis=0)
    ratios = times[:, 1] / times[:, 0]
    for i, part in enumerate(("whole", "loop")):
        benchmark.extra_info[part] = {
            "engine_ms": ours[i],
            "jax_ms": theirs[i],
            "ratio": np.median(ratios[:, i]),
            "least": ratios[:, i].min(),
            "most": ratios[:, i].max(),
        }
    benchmark.extra_info["threads"] = used = threads_used(lambda: jax_depth(march))
    benchmark.pedantic(jax_depth, args=(march,), rounds=20)
    assert used < 1.1
    assert np.median(ratios, axis=0).min() >= 1.0  # the engine is not slower
