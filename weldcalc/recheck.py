"""Recomputes a record from the inputs kept in its folder and compares field by field.

Nothing found in the folder is executed. Only the files that the record names are read, only
inside the folder, and what is recomputed is computed from copies of the bytes that were read.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from attrs import asdict, frozen

from weldcalc.canonical import UNHASHED, computed_digest, leaves, parse_json, record_digest
from weldcalc.errors import InputError, WeldcalcError
from weldcalc.records.content import (
    INPUT_PATHS,
    KIND,
    SCHEMA_VERSION,
    InputFile,
    content_of,
    environment,
)
from weldcalc.records.fields import MATERIAL_ROLES
from weldcalc.records.files import read_inside, text_of

Answer = Literal["reproduced", "differs", "cannot be read"]

SAME_PLATFORM = 1e-9
OTHER_PLATFORM = 1e-6
# ends of intervals, windows and chances come from seeded draws: the same to the last digit on the
# same platform; elsewhere a draw or a place right at an edge may fall to the other side. Allowed
# then: for sizes the error that the draws state for themselves, for shares and chances one draw of
# the twenty behind a place of a map, for the row of a map one place next to an edge
SAMPLED = 0.03
SAMPLED_SHARE = 0.06
_SAMPLED_FIELD = re.compile(
    r"_interval(_[A-Za-z0-9]+)*\[[01]\]$"
    r"|^computed\.(window|scatter|whole_weld\.fit_up\.stacked)\."
)
_SHARE_FIELD = re.compile(r"^computed\.(window|scatter)\..*(chance|interval_95|share)")
_MAP_ROW = "computed.window.map.region["
_ABSOLUTE = 1e-12  # a number that is all rounding error, such as a closed balance, has no digits

# what a record was computed with: a change here is told, the results decide whether it matters
_CIRCUMSTANCES = ("weldcalc_version", "reference_data", "model")
# texts taken from the reference data: compared only where those are the same
_FROM_THE_DATA = ("sources", "items_source", "cautions")
_DIGESTS = ("record_sha256", "computed_sha256")
_MOST_LINES = 40
_WIDTH = 100  # columns of a terminal


@frozen
class Difference:
    """A field that did not come out the same.

    Parameters
    ----------
    field : str
        Path in record.json.
    recorded, recomputed : object
        The two values; None where one is missing.
    how : str
        By how much, in words.
    """

    field: str
    recorded: object
    recomputed: object
    how: str


@frozen
class Change:
    """Something around the results that is not the same here as when the record was made.

    Parameters
    ----------
    what : str
        Such as "weldcalc_version".
    recorded, now : object
        The two values.
    """

    what: str
    recorded: object
    now: object


@frozen
class Recheck:
    """What a recheck found.

    Parameters
    ----------
    answer : {"reproduced", "differs", "cannot be read"}
        In one word.
    words : str
        In one sentence.
    title : str
        Number and revision of the record, as far as known.
    differences : sequence of Difference
        Every field that did not come out the same.
    changes : sequence of Change
        Versions, data and platform that are not the same here.
    still_open : sequence of str
        What people still have to do, and what is left to the governing code.
    compared : int
        How many fields were compared.
    """

    answer: Answer
    words: str
    title: str = ""
    differences: Sequence[Difference] = ()
    changes: Sequence[Change] = ()
    still_open: Sequence[str] = ()
    compared: int = 0

    @property
    def exit_code(self) -> int:
        """Return 0 when reproduced, 1 when it differs, 2 when it cannot be read."""
        return {"reproduced": 0, "differs": 1, "cannot be read": 2}[self.answer]

    def to_json(self) -> dict[str, Any]:
        """Return plain values."""
        return asdict(self)

    def to_text(self) -> str:
        """Return the result as lines for a terminal; control characters are made harmless.

        What cannot be read is told in one line, as every error is.
        """
        lines = [_printable(line) for line in _lines(self)]
        return "\n".join(lines if self.answer == "cannot be read" else map(_wrapped, lines))


def _lines(result: Recheck) -> Iterator[str]:
    if result.answer == "cannot be read":
        yield "; ".join(result.words.splitlines())
        return
    yield f"{result.title}: {result.answer}"
    yield result.words
    for difference in result.differences[:_MOST_LINES]:
        yield f"  {difference.field}: {difference.how}"
    if len(result.differences) > _MOST_LINES:
        yield f"  and {len(result.differences) - _MOST_LINES} more; --json lists all"
    if result.changes:
        yield "Not the same here as when the record was made:"
        yield from (f"  {c.what}: {c.recorded} then, {c.now} here" for c in result.changes)
    if result.still_open:
        yield "Still to be checked by people, against the governing code:"
        yield from (f"  {words}" for words in result.still_open)


def _wrapped(line: str) -> str:
    indent = "    " if line.startswith("  ") else ""
    return textwrap.fill(
        line, _WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )


def _printable(line: str) -> str:
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line)


def recheck(folder: Path | str) -> Recheck:
    """Recompute a record from the inputs kept in its folder and compare field by field.

    Parameters
    ----------
    folder : Path or str
        The record folder.

    Returns
    -------
    Recheck
        Strings and digests count exactly; numbers to 1e-9 relative; on another platform to 1e-6,
        sampled sizes to 3 %, sampled shares and chances to 0.06, and a row of the window's map to
        one place.
    """
    try:
        recorded, files = _read(Path(folder))
    except InputError as error:
        return Recheck(answer="cannot be read", words=f"The record cannot be read: {error}")
    damage = _damage(recorded)
    try:
        recomputed = content_of(files, signed_for=str(recorded.get("computed_sha256") or ""))
    except (WeldcalcError, RecursionError) as error:  # the latter: brackets without end in TOML
        return _not_recomputed(recorded, files, damage, error)
    return _compared(recorded, recomputed, damage)


def _read(folder: Path) -> tuple[dict[str, Any], list[InputFile]]:
    if not folder.is_dir():
        raise InputError.of(str(folder), "is not a folder")
    recorded = parse_json(text_of(read_inside(folder, "record.json"), "record.json"), "record.json")
    _refuse_unknown_form(recorded)
    files = [_read_input(folder, named) for named in recorded["input_files"]]
    roles = [file.role for file in files]
    if "schedule" not in roles or len(set(roles)) < len(roles):
        raise InputError.of("record.json: input_files", "one schedule, and every role once")
    return recorded, files


def _refuse_unknown_form(recorded: Any) -> None:
    if not isinstance(recorded, dict) or recorded.get("kind") != KIND:
        raise InputError.of("record.json", "is not a record of weldcalc")
    version = recorded.get("schema_version")
    if version != SCHEMA_VERSION:
        raise InputError.of(
            "record.json: schema_version",
            f"this weldcalc reads version {SCHEMA_VERSION}; use the one that made the record",
            version,
        )
    named = recorded.get("input_files")
    if not isinstance(named, list) or not all(isinstance(item, dict) for item in named):
        raise InputError.of("record.json: input_files", "does not list the input files")


def _read_input(folder: Path, named: Mapping[str, Any]) -> InputFile:
    role, name, path = (named.get(key) for key in ("role", "name", "path"))
    if not (isinstance(role, str) and isinstance(name, str)):
        raise InputError.of("record.json: input_files", "lists a file without role or name")
    expected = INPUT_PATHS.get(role) or (f"inputs/{name}" if role in MATERIAL_ROLES else None)
    if path != expected:
        raise InputError.of("record.json: input_files", "lists a file no record writes", path)
    content = read_inside(folder, str(path))
    text_of(content, str(path))
    return InputFile(role=role, name=name, content=content)


def _damage(recorded: Mapping[str, Any]) -> list[Difference]:
    """Return the digests that no longer fit what they stand for."""
    stated = {name: recorded.get(name) for name in _DIGESTS}
    actual = {
        "record_sha256": record_digest(recorded),
        "computed_sha256": computed_digest(recorded.get("computed")),
    }
    how = "record.json was altered after it was made"
    return [
        Difference(field=name, recorded=stated[name], recomputed=actual[name], how=how)
        for name in _DIGESTS
        if stated[name] != actual[name]
    ]


def _not_recomputed(
    recorded: Mapping[str, Any],
    files: Sequence[InputFile],
    damage: Sequence[Difference],
    error: Exception,
) -> Recheck:
    """Return the answer where nothing could be recomputed: altered inputs are told first."""
    altered = [*damage, *_altered_inputs(recorded, files)]
    cut = _cut_short(recorded, files)
    return Recheck(
        answer="differs" if altered and not cut else "cannot be read",
        words=f"Nothing could be recomputed from the inputs: {'; '.join([*cut, str(error)])}",
        title=_title(recorded),
        differences=altered,
    )


def _cut_short(recorded: Mapping[str, Any], files: Sequence[InputFile]) -> list[str]:
    """Return in words which inputs are shorter than they were: lost on the way, not edited."""
    sizes = [
        (named.get("bytes"), file)
        for named, file in zip(recorded["input_files"], files, strict=True)
    ]
    return [
        f"{file.path} is cut short, {len(file.content)} of {size} bytes"
        for size, file in sizes
        if isinstance(size, int) and len(file.content) < size
    ]


def _altered_inputs(
    recorded: Mapping[str, Any], files: Sequence[InputFile]
) -> Iterator[Difference]:
    for named, file in zip(recorded["input_files"], files, strict=True):
        found = file.to_json()["sha256"]
        if named.get("sha256") != found:
            where = f"input_files[{file.role}].sha256"
            yield Difference(where, named.get("sha256"), found, "the input file was altered")


def _compared(
    recorded: Mapping[str, Any], recomputed: Mapping[str, Any], damage: Sequence[Difference]
) -> Recheck:
    here = environment()
    tolerance = _tolerance(recorded.get("environment"), here)
    same_data = recorded.get("reference_data") == recomputed["reference_data"]
    then, now = _results(recorded, same_data), _results(recomputed, same_data)
    found = [_difference(path, then, now, tolerance) for path in dict.fromkeys([*then, *now])]
    differences = [*damage, *(difference for difference in found if difference is not None)]
    changes = list(_changes(recorded, recomputed, here))
    return Recheck(
        answer="differs" if differences else "reproduced",
        words=_words(differences, len(found), tolerance),
        title=_title(recorded),
        differences=differences,
        changes=changes,
        still_open=[*recomputed["still_open"], *recomputed["governing_code"]["left_to_it"]],
        compared=len(found),
    )


def _words(differences: Sequence[Difference], compared: int, tolerance: float) -> str:
    rule = f"texts and digests exactly, numbers to {tolerance:.0e} relative"
    if not differences:
        return f"All {compared} fields compared came out the same ({rule})."
    return f"{len(differences)} of {compared} fields did not come out the same ({rule})."


def _title(recorded: Mapping[str, Any]) -> str:
    return f"{recorded.get('number')} revision {recorded.get('revision')}"


def _tolerance(then: object, here: Mapping[str, Any]) -> float:
    return SAME_PLATFORM if then == here else OTHER_PLATFORM


def _results(record: Mapping[str, Any], same_data: bool) -> dict[str, Any]:
    left_out = {*UNHASHED, *_DIGESTS, *_CIRCUMSTANCES, *(() if same_data else _FROM_THE_DATA)}
    return dict(leaves({key: item for key, item in record.items() if key not in left_out}))


def _difference(
    path: str, then: Mapping[str, Any], now: Mapping[str, Any], tolerance: float
) -> Difference | None:
    if path not in then:
        return Difference(path, None, now[path], "is not in the record")
    if path not in now:
        return Difference(path, then[path], None, "is not computed any more")
    old, new = then[path], now[path]
    elsewhere = tolerance == OTHER_PLATFORM
    if _is_number(old) and _is_number(new):
        relative, absolute = _allowed(path, tolerance) if elsewhere else (tolerance, _ABSOLUTE)
        if math.isclose(old, new, rel_tol=relative, abs_tol=absolute):
            return None
        return Difference(path, old, new, _how_much(old, new))
    if (type(old) is type(new) and old == new) or (elsewhere and _is_same_row(path, old, new)):
        return None
    return Difference(path, old, new, f'"{old}" in the record, "{new}" recomputed')


def _allowed(path: str, tolerance: float) -> tuple[float, float]:
    """Return the relative and the absolute difference allowed on another platform."""
    if not _SAMPLED_FIELD.search(path):
        return tolerance, _ABSOLUTE
    return SAMPLED, SAMPLED_SHARE if _SHARE_FIELD.search(path) else _ABSOLUTE


def _is_same_row(path: str, old: object, new: object) -> bool:
    """Tell whether two texts are a row of the window's map and differ in one place at most."""
    if not (path.startswith(_MAP_ROW) and isinstance(old, str) and isinstance(new, str)):
        return False
    return len(old) == len(new) and sum(a != b for a, b in zip(old, new, strict=True)) <= 1


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _two_digits(percent: float) -> str:
    return f"{percent:.0f}" if percent >= 10.0 else f"{percent:.2g}"


def _how_much(old: float, new: float) -> str:
    text = f"{old:.9g} in the record, {new:.9g} recomputed"
    if not old:
        return text
    percent = 100.0 * (new - old) / abs(old)
    return f"{text} ({_two_digits(abs(percent))} % {'more' if percent > 0 else 'less'})"


def _changes(
    recorded: Mapping[str, Any], recomputed: Mapping[str, Any], here: Mapping[str, Any]
) -> Iterator[Change]:
    then = {name: recorded.get(name) for name in _CIRCUMSTANCES}
    now = {name: recomputed[name] for name in _CIRCUMSTANCES}
    old = dict(leaves({**then, "environment": recorded.get("environment")}))
    new = dict(leaves({**now, "environment": dict(here)}))
    for path in dict.fromkeys([*old, *new]):
        if old.get(path) != new.get(path):
            yield Change(what=path, recorded=old.get(path), now=new.get(path))
