"""What a person at a terminal sees while waiting: a notice and counters, on stderr only."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def engine_notice() -> Iterator[None]:
    """Tell a person at a terminal when the kernels are being compiled: it takes seconds.

    Where they cannot be kept every run takes longer: that is told to a log as well.
    """
    from weldcalc.heatflow.kernel_cache import cache_folder

    if sys.stderr.isatty() or cache_folder() is None:
        from weldcalc.heatflow.compiling import tell_when_compiling

        tell_when_compiling(lambda text: sys.stderr.write(f"{text}\n"))
    yield


@contextmanager
def progress(title: str) -> Iterator[Any]:
    """Yield a function to call with the name of each step; draws only on a terminal."""
    from tqdm import tqdm

    with tqdm(desc=title, unit="step", disable=not sys.stderr.isatty(), leave=False) as bar:

        def step(name: str) -> None:
            bar.set_postfix_str(name)
            bar.update()

        yield step


@contextmanager
def counter(title: str) -> Iterator[Any]:
    """Yield a function to call with the number of runs just finished; draws only on a terminal."""
    from tqdm import tqdm

    with tqdm(desc=title, unit="run", disable=not sys.stderr.isatty(), leave=False) as bar:
        yield bar.update
