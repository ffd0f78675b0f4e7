"""What every command owes its user, whatever lies in the files: checks for the fuzz tests."""

from __future__ import annotations

import json
import math
import os
import re
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from click.testing import CliRunner, Result
from hypothesis import HealthCheck, settings

from weldcalc.cli import main
from weldcalc.errors import InputError
from weldcalc.fields import FIELDS, Field, json_key, to_json

DEMO = Path(__file__).resolve().parents[2] / "reference_data" / "demo"
STEM = DEMO / "level_gauge_stem.toml"
FLANGE = DEMO / "level_gauge_flange.toml"

# a long search, with other cases every time: WELDCALC_FUZZ=100 for hundred times as many
_TIMES = int(os.environ.get("WELDCALC_FUZZ", "0"))
_SLOW = (HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much)


def cases(count: int) -> settings:
    """Return settings for a number of cases: always the same ones, unless a search is asked for."""
    return settings(
        max_examples=count * max(_TIMES, 1),
        derandomize=not _TIMES,
        database=None,
        deadline=None,
        suppress_health_check=_SLOW,
        print_blob=bool(_TIMES),
    )


def with_file(content: bytes, name: str, use: Callable[[Path], None]) -> None:
    """Call a function with a file of some content in a folder of its own."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        use(path)


def command(*arguments: object) -> Result:
    """Run a command in this process and check what holds for any input."""
    done = CliRunner().invoke(main, [str(argument) for argument in arguments])
    told = f"weldcalc {' '.join(map(str, arguments))}\n{done.output[-2000:]}"
    assert done.exception is None or isinstance(done.exception, SystemExit), told
    assert done.exit_code in (0, 1, 2), told
    assert "Traceback" not in done.output, told
    if done.exit_code == 2:
        assert not done.stdout, told
        check_refusal(done.stderr)
    return done


def check_refusal(text: str) -> None:
    """Check a refusal: short lines that can be printed, each with a place and a reason."""
    assert text.startswith(("weldcalc: ", "Usage: ")), text
    for line in text.splitlines():
        assert line.isprintable(), repr(line)
        assert len(line) < 2000, line
        if line.startswith("  "):
            assert re.match(r"  \S.*: \S", line), line


def refused(call: Callable[[], object]) -> InputError | None:
    """Call a reader; return its refusal, None when it took the file. Nothing else may come."""
    try:
        call()
    except InputError as error:
        refusal = error
    else:
        return None
    assert refusal.problems
    for problem in refusal.problems:
        assert problem.where
        assert problem.why
        assert str(problem).isprintable(), repr(str(problem))
    return refusal


_BY_JSON_KEY: dict[str, Field] = {json_key(key): made for key, made in FIELDS.items()}


def check_numbers(data: Any, where: str = "") -> None:
    """Check that no number is endless, and none below what its field may be."""
    for path, key, value in _numbers(data, where, ""):
        assert math.isfinite(value), f"{path} = {value}"
        made = _BY_JSON_KEY.get(key)
        if made is not None:
            low = to_json(made.low, made.key)
            assert low is None or value >= low - 1e-9 * abs(low), f"{path} = {value} < {low}"


def _numbers(data: Any, path: str, key: str) -> Iterator[tuple[str, str, float]]:
    if isinstance(data, dict):
        for name, item in data.items():
            yield from _numbers(item, f"{path}.{name}", name)
    elif isinstance(data, list | tuple):
        for number, item in enumerate(data):
            yield from _numbers(item, f"{path}[{number}]", key)
    elif isinstance(data, int | float) and not isinstance(data, bool):
        yield path, key, data


def json_of(done: Result) -> Any:
    """Return the one JSON object that a command printed."""
    return json.loads(done.stdout, parse_constant=_no_constant)


def _no_constant(name: str) -> Any:
    raise AssertionError(f"{name} in JSON")
