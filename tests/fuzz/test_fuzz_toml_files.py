"""Schedule, acceptance and limits files of any kind: taken or refused clearly, never a crash."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from altered import Place, altered, places, put
from harmless import DEMO, STEM, cases, check_numbers, command, json_of, refused, with_file
from hypothesis import given
from hypothesis import strategies as st
from written import broken_value, damaged, toml_text

from weldcalc.qualification.acceptance import judge, read_acceptance
from weldcalc.qualification.change_limits import read_change_limits
from weldcalc.qualification.coupons import read_coupons
from weldcalc.schedule import load_schedule

SCHEDULE: dict[str, Any] = tomllib.loads(STEM.read_text(encoding="utf-8"))
ACCEPTANCE: dict[str, Any] = tomllib.loads(
    (DEMO / "acceptance_stem.toml").read_text(encoding="utf-8")
)
LIMITS: dict[str, Any] = tomllib.loads(
    (DEMO / "change_limits_stem.toml").read_text(encoding="utf-8")
)
COUPONS = read_coupons(DEMO / "coupons_stem.csv")


@st.composite
def broken(draw: st.DrawFn, base: Mapping[str, Any]) -> bytes:
    """Return a file with a few values replaced or added, and up to three accidents."""
    return draw(damaged(toml_text(draw(altered(base, broken_value)))))


@cases(25)
@given(broken(SCHEDULE))
def test_any_schedule_file_is_taken_or_refused(content: bytes) -> None:
    def use(path: Path) -> None:
        error = refused(lambda: load_schedule(path))
        done = command("estimate", path, "--instant")
        assert (done.exit_code == 2) == (error is not None), done.output
        if error is not None:
            assert path.name in done.stderr
        compared = command("compare", STEM, path, "--json")
        if compared.exit_code != 2:
            check_numbers(json_of(compared))

    with_file(content, "any schedule.toml", use)


@cases(25)
@given(broken(ACCEPTANCE))
def test_any_acceptance_file_is_taken_or_refused(content: bytes) -> None:
    def use(path: Path) -> None:
        error = refused(lambda: read_acceptance(path))
        if error is None:
            check_numbers(judge(read_acceptance(path), COUPONS, wall_thickness=4e-4).to_json())
        else:
            assert path.name in str(error)

    with_file(content, "any acceptance.toml", use)


@cases(25)
@given(broken(LIMITS))
def test_any_limits_file_is_taken_or_refused(content: bytes) -> None:
    def use(path: Path) -> None:
        error = refused(lambda: read_change_limits(path))
        done = command(
            "compare", STEM, DEMO / "level_gauge_flange.toml", "--limits", path, "--json"
        )
        assert (done.exit_code == 2) == (error is not None), done.output
        if error is None:
            check_numbers(json_of(done))
        else:
            assert path.name in done.stderr

    with_file(content, "any limits.toml", use)


@st.composite
def one_wrong(draw: st.DrawFn, base: Mapping[str, Any]) -> tuple[bytes, Place, object]:
    """Return a file with one single value replaced, where it stands, and the value."""
    leaves = [path for path in places(base) if isinstance(path[-1], str)]
    path = draw(st.sampled_from(leaves))
    value = draw(broken_value.filter(lambda item: isinstance(item, str | int | float)))
    return toml_text(put(base, path, value)).encode("utf-8", "surrogatepass"), path, value


def check_named(error: Any, path: Place, value: object, name: str) -> None:
    """Check that a refusal of one single value names the file, the key and the value."""
    text = str(error)
    assert name in text
    assert str(path[-1]) in text, text
    if isinstance(value, str) and value.isprintable() and 0 < len(value) < 40:
        assert value in text, (value, text)


@cases(25)
@given(st.sampled_from([SCHEDULE, ACCEPTANCE, LIMITS]).flatmap(one_wrong))
def test_a_refusal_names_file_key_and_value(drawn: tuple[bytes, Place, object]) -> None:
    content, path, value = drawn

    def use(file: Path) -> None:
        reader = {
            "joint": load_schedule,
            "criterion": read_acceptance,
            "variable": read_change_limits,
        }
        text = content.decode()
        kind = next(word for word in reader if f"[{word}]" in text or f"{word} =" in text)
        error = refused(lambda: reader[kind](file))
        if error is not None:
            check_named(error, path, value, file.name)

    with_file(content, "any.toml", use)
