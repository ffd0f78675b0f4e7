"""Batches on any executor: same results, same order, and nothing left behind when stopped."""

from __future__ import annotations

import threading
import time
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from schedules import tube

from weldcalc.batch import cluster_executor, run_batch
from weldcalc.errors import InputError
from weldcalc.schedule import schedule_from_mapping
from weldcalc.tolerances.pulse_runs import run_pulses
from weldcalc.tolerances.scatter import normal_points, pass_scatter
from weldcalc.whole_files import whole_folder, write_whole


def _square(number: int) -> int:
    time.sleep(0.001 * (number % 3))
    return number * number


class _Recorder(Executor):
    """Runs at once, in reverse order of completion, and counts what it was given."""

    def __init__(self) -> None:
        self.jobs = 0

    def submit(self, fn, /, *args, **kwargs):
        self.jobs += 1
        future: Future = Future()
        future.set_result(fn(*args, **kwargs))
        return future


def _cases(count: int = 12):
    schedule = schedule_from_mapping(tube())
    scatter = pass_scatter(schedule, schedule.passes[0])
    return scatter.pulses(normal_points(count, len(scatter.causes), 3), grid=6e-5).cases


class TestRunBatch:
    @pytest.mark.parametrize("count", [0, 1, 7, 200])
    def test_keeps_the_order_and_reports_every_item(self, count):
        seen: list[int] = []
        assert run_batch(_square, range(count), progress=seen.append) == [
            n * n for n in range(count)
        ]
        assert sum(seen) == count

    def test_takes_any_executor_and_leaves_it_open(self):
        recorder = _Recorder()
        assert run_batch(_square, range(50), executor=recorder) == [n * n for n in range(50)]
        assert recorder.jobs > 1

    def test_engine_runs_are_the_same_on_one_thread_two_threads_and_two_processes(self):
        cases = _cases()
        with (
            ThreadPoolExecutor(1) as one,
            ThreadPoolExecutor(2) as two,
            ProcessPoolExecutor(2) as apart,
        ):
            found = [run_pulses(cases, executor=pool) for pool in (one, two, apart)]
        assert np.array_equal(found[0], found[1])
        assert np.array_equal(found[0], found[2])

    def test_the_same_pulse_is_run_once(self):
        recorder = _Recorder()
        [case, *_] = _cases(2)
        rows = run_pulses([case] * 40, executor=recorder)
        assert recorder.jobs == 1
        assert np.ptp(rows, axis=0).max() == 0.0

    @pytest.mark.parametrize("error", [KeyboardInterrupt, ValueError])
    def test_stops_at_once_and_leaves_nothing_running(self, error):
        started: list[int] = []

        def work(number: int) -> int:
            started.append(number)
            if number == 3:
                raise error
            time.sleep(0.005)
            return number

        before = threading.active_count()
        with pytest.raises(error):
            run_batch(work, range(2000))
        assert threading.active_count() == before
        assert len(started) < 1000


class TestCluster:
    def test_no_address_means_this_machine(self):
        with cluster_executor(None) as executor:
            assert executor is None

    def test_nobody_at_the_address_is_a_clear_answer(self, monkeypatch):
        monkeypatch.setattr("weldcalc.batch._WAIT", 0.3)
        with (
            pytest.raises(InputError, match="no scheduler answers"),
            cluster_executor("tcp://127.0.0.1:9"),
        ):
            pass

    def test_runs_on_a_dask_cluster_and_gives_the_same(self):
        import distributed

        cases = _cases()
        with (
            distributed.LocalCluster(
                n_workers=2,
                threads_per_worker=1,
                processes=False,
                protocol="tcp",
                dashboard_address="127.0.0.1:0",
            ) as cluster,
            cluster_executor(cluster.scheduler_address) as executor,
        ):
            assert executor is not None
            found = run_pulses(cases, executor=executor)
        assert np.array_equal(found, run_pulses(cases))


def _stopped_half_way(folder: Path) -> None:
    with whole_folder(folder) as draft:
        (draft / "half").write_text("x", encoding="utf-8")
        raise KeyboardInterrupt


class TestWholeFiles:
    def test_a_folder_appears_only_when_whole(self, tmp_path):
        with pytest.raises(KeyboardInterrupt):
            _stopped_half_way(tmp_path / "made")
        assert list(tmp_path.iterdir()) == []
        with whole_folder(tmp_path / "made") as draft:
            (draft / "all").write_text("x", encoding="utf-8")
        assert [path.name for path in (tmp_path / "made").iterdir()] == ["all"]

    def test_an_existing_folder_is_refused(self, tmp_path):
        with pytest.raises(InputError, match="exists already"), whole_folder(tmp_path):
            pass

    def test_a_file_is_whole_or_the_old_one(self, tmp_path, monkeypatch):
        path = write_whole(tmp_path / "a.toml", "old")

        def stopped(*args: object, **kwargs: object) -> None:
            raise KeyboardInterrupt

        monkeypatch.setattr("pathlib.Path.replace", stopped)
        with pytest.raises(KeyboardInterrupt):
            write_whole(path, "new")
        assert path.read_text(encoding="utf-8") == "old"
        assert [one.name for one in tmp_path.iterdir()] == ["a.toml"]
