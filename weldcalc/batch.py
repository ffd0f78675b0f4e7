"""Many computations at once: on this machine's cores, or on any executor that is handed in.

Work goes out in chunks of plain data to a function of a module, so that any executor of
`concurrent.futures` can run it: threads, processes, or a running cluster. There is no queue of
our own. Results come back in the order of the items, so they never depend on who did what.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    CancelledError,
    Executor,
    Future,
    ThreadPoolExecutor,
    wait,
)
from contextlib import contextmanager
from typing import Any, TypeVar

from weldcalc.errors import InputError

Item = TypeVar("Item")
Result = TypeVar("Result")
Progress = Callable[[int], object]

CHUNKS_PER_WORKER = 8  # enough that no worker idles at the end, few enough that posting is cheap
SMALLEST_CHUNK = 8
LARGEST_CHUNK = 128  # seconds of work, so that a progress bar moves and Ctrl-C is prompt
_WAIT = 10.0  # s for a scheduler to answer
_NO_WORKER = 60.0  # s without a result and without a worker; a worker that restarts is back sooner


def run_batch(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    *,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> list[Result]:
    """Apply a function to every item, many at once.

    Parameters
    ----------
    work : callable
        Function of a module; gets one item. Items and results must be plain data if the executor
        runs in other processes.
    items : sequence, length n
        What to work on.
    executor : concurrent.futures.Executor, optional
        Where to run; None takes threads on all cores of this machine (the heat-flow kernels do not
        hold the interpreter's lock). It is left open.
    progress : callable, optional
        Called with the number of items just finished.

    Returns
    -------
    list, length n
        Results in the order of the items, the same for any executor.

    Notes
    -----
    An error or Ctrl-C cancels what has not begun, waits for what has (at most one chunk for each
    worker of our own), and goes on up: nothing is left running.
    """
    if executor is not None:
        return _spread(work, items, executor, _size(len(items), _workers(executor)), progress)
    cores = os.cpu_count() or 1
    with ThreadPoolExecutor(max_workers=cores) as own:
        return _spread(work, items, own, _size(len(items), cores), progress)


def _workers(executor: Executor) -> int:
    """Return how many workers an executor has, as far as it tells."""
    client: Any = getattr(executor, "_client", None)
    if client is not None:
        return max(1, sum(int(threads) for threads in client.nthreads().values()))
    return int(getattr(executor, "_max_workers", 0) or os.cpu_count() or 1)


def _size(count: int, workers: int) -> int:
    return min(LARGEST_CHUNK, max(SMALLEST_CHUNK, count // (workers * CHUNKS_PER_WORKER)))


def _spread(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    executor: Executor,
    size: int,
    progress: Progress | None,
) -> list[Result]:
    parts = [items[first : first + size] for first in range(0, len(items), size)]
    jobs: list[Future[list[Result]]] = [executor.submit(_chunk, work, part) for part in parts]
    try:
        for job in _as_completed(jobs, executor):
            done = len(job.result())
            if progress is not None:
                progress(done)
    except BaseException:
        for job in jobs:
            job.cancel()
        raise
    return [result for job in jobs for result in job.result()]


def _as_completed(jobs: Sequence[Future[Any]], executor: Executor) -> Iterator[Future[Any]]:
    """Yield each job when it is done; a cluster whose workers are all gone would never say so."""
    client: Any = getattr(executor, "_client", None)
    waiting = set(jobs)
    while waiting:
        patience = None if client is None else _NO_WORKER
        done, waiting = wait(waiting, patience, FIRST_COMPLETED)
        if not done and client is not None and not client.nthreads():
            why = f"no worker was there for {_NO_WORKER:g} s; start workers and try again"
            raise InputError.of("scheduler", why, client.scheduler.address)
        yield from done


def _chunk(work: Callable[[Item], Result], part: Sequence[Item]) -> list[Result]:
    return [work(item) for item in part]


@contextmanager
def cluster_executor(address: str | None) -> Iterator[Executor | None]:
    """Yield an executor on a running cluster, or None to use this machine's cores.

    Parameters
    ----------
    address : str or None
        Of the scheduler of a running dask cluster ("tcp://host:8786"); its workers need the
        same version of weldcalc.

    Raises
    ------
    InputError
        When the cluster's library is not installed, no scheduler answers at the address, or the
        cluster is lost before the batch is done.
    """
    if address is None:
        yield None
        return
    with _connected(address) as client:
        from distributed import KilledWorker
        from distributed.comm import CommClosedError

        try:
            yield client.get_executor()
        except KilledWorker:
            why = "a job ended every worker that took it; their logs say why (often memory)"
            raise InputError.of("scheduler", why, address) from None
        except (CancelledError, CommClosedError):
            why = "the scheduler was lost before the batch was done; start it and try again"
            raise InputError.of("scheduler", why, address) from None


def _connected(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        why = 'a cluster needs the extra "cluster": pip install "weldcalc[cluster]"'
        raise InputError.of("scheduler", why, address) from None
    # a lost cluster is told in one line; its own log would add the way through its code
    logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
    try:
        return Client(address, timeout=_WAIT, set_as_default=False)
    except (OSError, ValueError) as error:
        why = f"no scheduler answers there ({str(error) or type(error).__name__})"
        raise InputError.of("scheduler", why, address) from None
