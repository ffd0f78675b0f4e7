"""One digit or letter changed, in every field of a record in turn and in its input files."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from record_samples import COUPONS, coupon_files, data_of, rewrite, write_schedule

from weldcalc import recheck as module
from weldcalc.canonical import UNHASHED, leaves
from weldcalc.recheck import Recheck, recheck
from weldcalc.record import make_record, write_record

Path_ = tuple[str | int, ...]

# says what computed the record: told as a change, while the digest tells that it was altered
TOLD_AS_CHANGE = ("weldcalc_version", "reference_data", "model")
# without these nothing can be read at all
WHAT_IT_IS = ("kind", "schema_version")
WHERE_IT_LIES = ("role", "path")


def leaves_of(value: Any, path: Path_ = ()) -> Iterator[Path_]:
    """Yield the place of every plain value and of every empty list or table."""
    if isinstance(value, dict) and value:
        for key, item in value.items():
            yield from leaves_of(item, (*path, key))
    elif isinstance(value, list) and value:
        for number, item in enumerate(value):
            yield from leaves_of(item, (*path, number))
    else:
        yield path


def altered(value: Any) -> Any:
    """Return a value with one digit or letter changed, or something in place of nothing."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    if isinstance(value, float):
        return value * (1 + 1e-6) if abs(value) > 1e-6 else value + 1e-6
    if isinstance(value, str):
        return value[:-1] + ("a" if value[-1:] != "a" else "b")
    return "x" if value is None else ["x"] if isinstance(value, list) else {"x": 1}


def alter(data: Any, path: Path_) -> None:
    *parents, last = path
    for step in parents:
        data = data[step]
    data[last] = altered(data[last])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record with coupons and limits; small, so that thousands of rechecks are quick."""
    work = tmp_path_factory.mktemp("every")
    record = make_record(write_schedule(work), **coupon_files(work))
    return write_record(record, work / "record").folder


@pytest.fixture
def _computed_once(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Recompute once for all: nothing that is changed here is an input."""
    recompute, known = module.content_of, {}

    def once(files, *, signed_for=""):
        key = tuple((file.role, file.name, file.content) for file in files)
        if key not in known:
            known[key] = recompute(files)
        return known[key]

    monkeypatch.setattr(module, "content_of", once)


def named(result: Recheck) -> list[str]:
    return [one.field for one in result.differences] + [one.what for one in result.changes]


def labels(data: Any) -> dict[Path_, str]:
    """Return what a recheck calls each place."""
    names = (name for name, _ in leaves(data))
    return dict(zip(leaves_of(data), names, strict=True))


def is_named(old: str, new: str | None, names: list[str]) -> bool:
    """Tell whether a field is named; what was empty and is filled stands one level deeper."""
    labels_ = [label for label in (old, new) if label]
    return any(
        name == label or name.startswith(f"{label}[") or name == f"{label}.x"
        for name in names
        for label in labels_
    )


def to_change(data: Any) -> list[Path_]:
    """Return all places inside the digest; of a list of plain values only both ends."""
    paths = [path for path in leaves_of(data) if path[0] not in UNHASHED]
    last = {path[:-1]: path[-1] for path in paths}
    return [
        path for path in paths if not isinstance(path[-1], int) or path[-1] in (0, last[path[:-1]])
    ]


AT_ONCE = 12
"""Fields far apart are changed together: each has to be named all the same."""


def groups(paths: list[Path_]) -> list[list[Path_]]:
    count = -(-len(paths) // AT_ONCE)
    return [paths[first::count] for first in range(count)]


def changed_and_rechecked(folder: Path, paths: list[Path_], *, sealed: bool) -> list[str]:
    """Return what a recheck does not name of the fields that are changed, and put all back."""
    before = (folder / "record.json").read_text(encoding="utf-8")
    whole = json.loads(before)
    rewrite(folder, lambda data: [alter(data, path) for path in paths], sealed=sealed)
    result, old, new = recheck(folder), labels(whole), labels(data_of(folder))
    (folder / "record.json").write_text(before, encoding="utf-8")
    names = named(result)
    missed = [old[path] for path in paths if not is_named(old[path], new.get(path), names)]
    if result.exit_code != 1 or ("record_sha256" in names) is sealed:
        missed.append(f"answer: {result.answer}")
    return missed


@pytest.mark.usefixtures("_computed_once")
def test_every_field_is_guarded(folder: Path) -> None:
    paths = [path for path in to_change(data_of(folder)) if not needed_to_read(path)]
    assert len(paths) > 1000
    by_digest = [path for path in paths if path[0] == "input_files" and path[-1] == "name"]
    missed = []
    # texts taken from other reference data are not compared, so these are changed by themselves
    data = [path for path in paths if path[0] == "reference_data"]
    rest = [path for path in paths if path not in by_digest and path not in data]
    for group in [*groups(rest), *([path] for path in data)]:
        missed += changed_and_rechecked(folder, group, sealed=False)
    assert missed == []
    # the name under which an input once lay is nowhere else, so that only the digest can tell
    for path in by_digest:
        (label,) = changed_and_rechecked(folder, [path], sealed=False)
        assert label.endswith(".name")


@pytest.mark.usefixtures("_computed_once")
def test_what_a_reader_needs_first_makes_a_record_unreadable(folder: Path) -> None:
    before = (folder / "record.json").read_text(encoding="utf-8")
    for path in filter(needed_to_read, to_change(json.loads(before))):
        rewrite(folder, lambda data, path=path: alter(data, path), sealed=False)
        result = recheck(folder)
        (folder / "record.json").write_text(before, encoding="utf-8")
        assert result.exit_code == 2
        assert "record.json" in result.words


def needed_to_read(path: Path_) -> bool:
    return path[0] in WHAT_IT_IS or (path[0] == "input_files" and path[-1] in WHERE_IT_LIES)


@pytest.mark.parametrize("key", ["record_sha256", "computed_sha256"])
def test_the_digests_themselves_are_guarded(folder: Path, key: str) -> None:
    before = (folder / "record.json").read_text(encoding="utf-8")
    rewrite(folder, lambda data: data.update({key: altered(data[key])}), sealed=False)
    result = recheck(folder)
    (folder / "record.json").write_text(before, encoding="utf-8")
    assert result.exit_code == 1
    assert key in named(result)


@pytest.mark.usefixtures("_computed_once")
def test_a_careful_forger_changes_no_result_unseen(folder: Path) -> None:
    """Digests made to fit: what is computed is compared field by field all the same."""
    told_otherwise = (*TOLD_AS_CHANGE, "input_files", "computed_sha256")
    paths = [path for path in to_change(data_of(folder)) if path[0] not in told_otherwise]
    missed = []
    for group in groups([path for path in paths if not needed_to_read(path)]):
        missed += changed_and_rechecked(folder, group, sealed=True)
    assert missed == []


def test_every_digit_of_the_coupon_list_is_guarded(folder: Path) -> None:
    file = folder / "inputs/coupons.csv"
    places = [n for n, letter in enumerate(COUPONS) if letter.isdigit()]
    for place in places[::4]:
        digit = str((int(COUPONS[place]) + 1) % 10)
        file.write_text(COUPONS[:place] + digit + COUPONS[place + 1 :], encoding="utf-8")
        result = recheck(folder)
        assert result.exit_code == 1
        assert "input_files[coupons].sha256" in named(result)
    file.write_text(COUPONS, encoding="utf-8")
    assert recheck(folder).answer == "reproduced"
