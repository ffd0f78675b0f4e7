"""Workers, schedulers and jobs that die in mid-batch: no endless wait, one clear line."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from record_samples import write_schedule

from weldcalc import batch
from weldcalc.batch import cluster_executor, run_batch
from weldcalc.cli import main
from weldcalc.errors import InputError

# s, all different: a cluster does the same job only once
NAPS = [0.05 + 1e-6 * number for number in range(80)]


class Cluster:
    """A scheduler and its workers, each a process of its own that can be killed."""

    def __init__(self, folder: Path) -> None:
        self.where = folder / "scheduler.json"
        self.log = (folder / "log").open("w")
        quiet = ["--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
        self.scheduler = self._start("scheduler", *quiet, "--scheduler-file", str(self.where))
        self.workers: list[subprocess.Popen[bytes]] = []
        while not (self.where.is_file() and self.where.stat().st_size):
            assert self.scheduler.poll() is None
            time.sleep(0.05)
        self.address = str(json.loads(self.where.read_text(encoding="utf-8"))["address"])

    def _start(self, kind: str, *more: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{kind}", *more]
        return subprocess.Popen(command, stdout=self.log, stderr=self.log)

    def add_workers(self, count: int) -> None:
        """Start workers that nobody starts again, and wait until they are there."""
        quiet = ["--no-nanny", "--nthreads", "1", "--no-dashboard"]
        self.workers += [self._start("worker", self.address, *quiet) for _ in range(count)]
        import distributed

        with distributed.Client(self.address, set_as_default=False) as client:
            client.wait_for_workers(count, timeout=60)

    def end(self) -> None:
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()
        self.log.close()


@pytest.fixture
def cluster(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Cluster]:
    """Return a cluster without workers, and little patience with it."""
    monkeypatch.setattr(batch, "_NO_WORKER", 1.0)
    one = Cluster(tmp_path)
    yield one
    one.end()


@pytest.mark.parametrize("kind", ["never there", "killed"])
def test_cluster_without_a_worker_is_told(cluster: Cluster, kind: str) -> None:
    if kind == "killed":
        cluster.add_workers(1)
        threading.Timer(1.0, cluster.workers[0].kill).start()
    with (
        pytest.raises(InputError) as caught,
        cluster_executor(cluster.address) as executor,
    ):
        run_batch(time.sleep, NAPS, executor=executor)
    assert str(caught.value) == (
        f'scheduler = "{cluster.address}": no worker was there for 1 s; start workers and try again'
    )
    assert caught.value.exit_code == 2


def test_workers_that_are_busy_for_longer_are_waited_for(cluster: Cluster) -> None:
    cluster.add_workers(1)
    with cluster_executor(cluster.address) as executor:
        assert run_batch(time.sleep, [2.5], executor=executor) == [None]


def test_other_workers_take_over_from_one_that_is_killed(cluster: Cluster) -> None:
    cluster.add_workers(2)
    seen: list[int] = []
    with cluster_executor(cluster.address) as executor:
        threading.Timer(0.3, cluster.workers[0].kill).start()
        found = run_batch(time.sleep, NAPS, executor=executor, progress=seen.append)
    assert found == [None] * len(NAPS)
    assert sum(seen) == len(NAPS)
    assert cluster.workers[0].wait(timeout=10) < 0


def test_job_that_ends_its_worker_is_told(cluster: Cluster) -> None:
    cluster.add_workers(4)  # a cluster tries it on as many, each new one for the last
    with (
        pytest.raises(InputError, match="a job ended every worker that took it"),
        cluster_executor(cluster.address) as executor,
    ):
        run_batch(os._exit, [1], executor=executor)


def test_job_that_fails_on_a_worker_comes_back_as_it_is(cluster: Cluster) -> None:
    cluster.add_workers(1)
    with (
        pytest.raises(ValueError, match="invalid literal"),
        cluster_executor(cluster.address) as executor,
    ):
        run_batch(int, ["1", "one"], executor=executor)


LOST = """
import sys, threading, time, os, signal
from weldcalc.batch import cluster_executor, run_batch
from weldcalc.errors import InputError

address, scheduler = sys.argv[1], int(sys.argv[2])
try:
    with cluster_executor(address) as executor:
        threading.Timer(0.5, os.kill, (scheduler, signal.SIGKILL)).start()
        run_batch(time.sleep, [0.05 + 1e-6 * n for n in range(400)], executor=executor)
except InputError as error:
    print(error, file=sys.stderr)
"""


def test_scheduler_that_is_killed_is_told_in_one_line(cluster: Cluster) -> None:
    cluster.add_workers(1)
    done = subprocess.run(
        [sys.executable, "-c", LOST, cluster.address, str(cluster.scheduler.pid)],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert done.stdout == ""
    assert done.stderr == (
        f'scheduler = "{cluster.address}": the scheduler was lost before the batch was done; '
        "start it and try again\n"
    )


def test_command_on_a_cluster_without_workers(
    cluster: Cluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_schedule(tmp_path)
    monkeypatch.chdir(tmp_path)
    command = ["window", "schedule.toml", "-o", "made", "--scheduler", cluster.address]
    done = CliRunner().invoke(main, command)
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    (line,) = done.stderr.strip().splitlines()
    assert line.startswith(f'weldcalc: scheduler = "{cluster.address}": no worker was there')
    assert not (tmp_path / "made").exists()


FAILING = {
    "window": ["window", "schedule.toml", "-o", "made"],
    "tolerance": ["tolerance", "schedule.toml"],
    "draft": ["draft", "schedule.toml", "-o", "made.toml"],
}


@pytest.mark.parametrize("command", FAILING.values(), ids=FAILING)
def test_job_that_fails_in_a_thread_ends_the_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]
) -> None:
    def fail(work: object, part: object) -> None:
        raise FloatingPointError("no such pulse")

    write_schedule(tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WELDCALC_DEBUG", raising=False)
    monkeypatch.setattr(batch, "_chunk", fail)
    before = sorted(tmp_path.iterdir())
    done = CliRunner().invoke(main, command)
    assert done.exit_code == 3, done.output
    assert done.stdout == ""
    first, remedy = done.stderr.strip().splitlines()
    assert first == "weldcalc failed: FloatingPointError: no such pulse"
    assert "fault of weldcalc" in remedy
    assert sorted(tmp_path.iterdir()) == before
    # a progress bar keeps a thread of its own
    assert not [one for one in threading.enumerate() if one.name.startswith("ThreadPoolExecutor")]
