"""How long the commands of the three journeys take: ``python tests/benchmarks/journeys.py``.

Each runs in a fresh process with warm kernels, `REPEATS` times; the median counts, and the largest
memory of any process. An empty notebook that is run and turned into a page in the same session is
the yardstick for a record: a busy or slow machine moves both.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from attrs import frozen

from weldcalc.reference import data_folder

REPEATS = 5
DEMO = Path(data_folder()) / "demo"
STEM = str(DEMO / "level_gauge_stem.toml")
MAIN = (sys.executable, "-c", "from weldcalc.cli import main; main()")
EMPTY = """
import sys, nbformat, papermill
from nbconvert import HTMLExporter
made = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("1 + 1")])
made.metadata.kernelspec = {"name": "python3", "display_name": "python3", "language": "python"}
nbformat.write(made, sys.argv[1] + "/empty.ipynb")
papermill.execute_notebook(
    sys.argv[1] + "/empty.ipynb", sys.argv[1] + "/run.ipynb", progress_bar=False
)
page, _ = HTMLExporter().from_filename(sys.argv[1] + "/run.ipynb")
open(sys.argv[1] + "/run.html", "w", encoding="utf-8").write(page)
"""


@frozen
class Taken:
    """What a command took, the median of its repeats.

    Parameters
    ----------
    seconds : float
        On the clock.
    memory : float
        Most that one of its processes held at a time [MB].
    """

    seconds: float
    memory: float


def taken(command: Sequence[str]) -> Taken:
    """Run a command several times, each with an empty folder of its own in place of `FOLDER`."""
    seconds, memory = [], []
    for _ in range(REPEATS):
        with tempfile.TemporaryDirectory() as folder:
            arguments = [part.replace("FOLDER", folder) for part in command]
            start = time.perf_counter()
            quiet = os.open(os.devnull, os.O_WRONLY)
            child = os.posix_spawn(
                arguments[0],
                arguments,
                os.environ,
                file_actions=[(os.POSIX_SPAWN_DUP2, quiet, 1), (os.POSIX_SPAWN_DUP2, quiet, 2)],
            )
            _, status, usage = os.wait4(child, 0)
            os.close(quiet)
            seconds.append(time.perf_counter() - start)
            memory.append(usage.ru_maxrss / 1024.0)
            if os.waitstatus_to_exitcode(status) not in (0, 1):
                raise SystemExit(f"failed: {' '.join(arguments)}")
    return Taken(statistics.median(seconds), max(memory))


def main() -> None:
    """Print a table of all commands."""
    coupons = ("--coupons", str(DEMO / "coupons_stem.csv"))
    limits = ("--acceptance", str(DEMO / "acceptance_stem.toml"))
    with tempfile.TemporaryDirectory() as kept:
        record = (*MAIN, "record", STEM, *coupons, *limits, "-o")
        subprocess.run([*record, f"{kept}/record"], check=True, capture_output=True)
        commands = {
            "empty notebook, run and turned into a page": (sys.executable, "-c", EMPTY, "FOLDER"),
            "weldcalc --help": (*MAIN, "--help"),
            "weldcalc estimate, demo tube": (*MAIN, "estimate", STEM),
            "weldcalc record, demo tube with coupons": (*record, "FOLDER/record"),
            "weldcalc recheck, that record": (*MAIN, "recheck", f"{kept}/record"),
        }
        found = {name: taken(command) for name, command in commands.items()}
    first = next(iter(found.values())).seconds
    sys.stdout.write("| what | seconds | of an empty notebook | memory [MB] |\n|---|---|---|---|\n")
    for name, one in found.items():
        row = f"| {name} | {one.seconds:.2f} | {one.seconds / first:.2f} | {one.memory:.0f} |"
        sys.stdout.write(f"{row}\n")


if __name__ == "__main__":
    main()
