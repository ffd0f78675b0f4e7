"""Every schedule that keeps the rules is answered: no crash, no number that cannot be."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

from any_schedule import schedules_as_typed
from harmless import STEM, cases, check_numbers, command, json_of, with_file
from hypothesis import given
from written import toml_text

from weldcalc.schedule import load_schedule

_NO_NUMBER = re.compile(r"\b(nan|inf)\b", re.IGNORECASE)


@cases(10)
@given(schedules_as_typed())
def test_any_valid_schedule_is_answered(typed: dict[str, Any]) -> None:
    def use(path: Path) -> None:
        done = command("estimate", path, "--instant")
        assert done.exit_code == 0, done.output
        answers = [" ".join(line.split()[-4:]) for line in done.stdout.splitlines()[2:]]
        assert not any(map(_NO_NUMBER.search, answers)), done.stdout
        made = load_schedule(path)
        for one in made.passes:
            run = made.pass_run(one)
            assert run.pulses >= 1
            for size in (run.segment_length, run.weld_time, one.average_power, one.pulse_energy):
                assert 0 < size < math.inf
        compared = command("compare", STEM, path, "--json")
        assert compared.exit_code in (0, 1)
        check_numbers(json_of(compared))

    with_file(toml_text(typed).encode(), "valid.toml", use)
