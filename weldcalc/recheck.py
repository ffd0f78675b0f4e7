"""Recomputes a record from the inputs kept in its folder and compares field by field.

Nothing found in the folder is executed. Only the files that the record names and the table of
pulses are read, only inside the folder, and what is recomputed is computed from copies of the bytes
that were read.
"""

from __future__ import annotations

import os
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from attrs import asdict, evolve, frozen

from weldcalc.canonical import UNHASHED, computed_digest, leaves, parse_json, record_digest
from weldcalc.errors import InputError, WeldcalcError
from weldcalc.pulse_table import PulseTable, pulse_table
from weldcalc.records.content import (
    INPUT_PATHS,
    KIND,
    SCHEMA_VERSION,
    InputFile,
    content_of,
    environment,
    estimate_of,
)
from weldcalc.records.differences import Difference, difference_of, tolerance_between
from weldcalc.records.fields import MATERIAL_ROLES
from weldcalc.records.files import (
    CARD_NAME,
    NOTEBOOK_NAME,
    PAGE_NAME,
    PULSES_NAME,
    read_inside,
    text_of,
)
from weldcalc.records.pulses import pulse_differences
from weldcalc.records.repeat import repeat_command

Answer = Literal["reproduced", "differs", "cannot be read"]

# what a record was computed with: a change here is told, the results decide whether it matters
_CIRCUMSTANCES = ("weldcalc_version", "reference_data", "model")
# texts taken from the reference data: compared only where those are the same
_FROM_THE_DATA = ("sources", "items_source", "cautions")
_DIGESTS = ("record_sha256", "computed_sha256")
_MOST_LINES = 40
_WIDTH = 100  # columns of a terminal
_COMMAND = "  "  # and no line of it is wrapped: it is to be copied
_VIEWS = (PAGE_NAME, NOTEBOOK_NAME, CARD_NAME)


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
        How many fields and cells of the pulse table were compared.
    not_compared : str
        Which files of the folder were not, and which are missing, in one sentence.
    repeat : str
        Command that makes all of them anew; for the record's folder.
    """

    answer: Answer
    words: str
    title: str = ""
    differences: Sequence[Difference] = ()
    changes: Sequence[Change] = ()
    still_open: Sequence[str] = ()
    compared: int = 0
    not_compared: str = ""
    repeat: str = ""

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
    if result.not_compared:
        yield result.not_compared
        yield "To make all of them anew, in the record's folder:"
        yield _COMMAND + result.repeat
    if result.changes:
        yield "Not the same here as when the record was made:"
        yield from (f"  {c.what}: {c.recorded} then, {c.now} here" for c in result.changes)
    if result.still_open:
        yield "Still to be checked by people, against the governing code:"
        yield from (f"  {words}" for words in result.still_open)


def _wrapped(line: str) -> str:
    if line.startswith(f"{_COMMAND}weldcalc "):
        return line
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
        one place. The pulse table counts as fields do; page, notebook and card are not compared.
    """
    folder = Path(folder)
    try:
        recorded, files = _read(folder)
    except InputError as error:
        return Recheck(answer="cannot be read", words=f"The record cannot be read: {error}")
    told: dict[str, Any] = {
        "not_compared": _not_compared(folder),
        "repeat": repeat_command({file.role: file.path for file in files}),
    }
    damage = _damage(recorded)
    tolerance = tolerance_between(recorded.get("environment"), environment())
    try:
        recomputed = content_of(files, signed_for=str(recorded.get("computed_sha256") or ""))
        pulses = _pulse_table(folder, files)
        damage += pulse_differences(folder, pulses, tolerance) if pulses else []
    except (WeldcalcError, RecursionError) as error:  # the latter: brackets without end in TOML
        return evolve(_not_recomputed(recorded, files, damage, error), **told)
    cells = sum(len(row) for row in pulses.rows) if pulses else 0
    return evolve(_compared(recorded, recomputed, damage, tolerance, cells), **told)


def _not_compared(folder: Path) -> str:
    *others, last = _VIEWS
    missing = [name for name in (*_VIEWS, PULSES_NAME) if not os.path.lexists(folder / name)]
    here = f"; missing here: {', '.join(missing)}" if missing else ""
    return f"{', '.join(others)} and {last} only show the record and are not compared{here}."


def _pulse_table(folder: Path, files: Sequence[InputFile]) -> PulseTable | None:
    """Return the pulse table of the inputs, where the folder holds one to compare it with."""
    if not os.path.lexists(folder / PULSES_NAME):
        return None
    made = estimate_of(files)
    return pulse_table(made.schedule, made=made)


def refuse_unless_record(folder: Path | str) -> None:
    """Refuse a folder that is not there or holds no record, and say how one is made.

    Parameters
    ----------
    folder : Path or str
        The record folder.

    Raises
    ------
    InputError
        When there is no such folder, it is a file, or there is no record.json in it.
    """
    folder = Path(folder)
    if folder.name == "record.json" or os.path.lexists(folder / "record.json"):
        return  # whoever reads it says what else is wrong
    why = "there is no such folder"
    if folder.exists():
        why = "holds no record.json" if folder.is_dir() else "is a file"
    raise InputError.of(
        str(folder),
        f"{why}; give a record's folder, with record.json and inputs in it, such as "
        "weldcalc record SCHEDULE.toml -o FOLDER makes",
    )


def _read(folder: Path) -> tuple[dict[str, Any], list[InputFile]]:
    refuse_unless_record(folder)
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
    recorded: Mapping[str, Any],
    recomputed: Mapping[str, Any],
    damage: Sequence[Difference],
    tolerance: float,
    cells: int,
) -> Recheck:
    same_data = recorded.get("reference_data") == recomputed["reference_data"]
    then, now = _results(recorded, same_data), _results(recomputed, same_data)
    found = [difference_of(path, then, now, tolerance) for path in dict.fromkeys([*then, *now])]
    differences = [*damage, *(difference for difference in found if difference is not None)]
    changes = list(_changes(recorded, recomputed, environment()))
    return Recheck(
        answer="differs" if differences else "reproduced",
        words=_words(differences, len(found), cells, tolerance),
        title=_title(recorded),
        differences=differences,
        changes=changes,
        still_open=[*recomputed["still_open"], *recomputed["governing_code"]["left_to_it"]],
        compared=len(found) + cells,
    )


def _words(differences: Sequence[Difference], fields: int, cells: int, tolerance: float) -> str:
    rule = f"texts and digests exactly, numbers to {tolerance:.0e} relative"
    compared = f"{fields} fields" + (f" and {cells} cells of {PULSES_NAME}" if cells else "")
    if not differences:
        return f"All {compared} compared came out the same ({rule})."
    return f"{len(differences)} of {compared} did not come out the same ({rule})."


def _title(recorded: Mapping[str, Any]) -> str:
    return f"{recorded.get('number')} revision {recorded.get('revision')}"


def _results(record: Mapping[str, Any], same_data: bool) -> dict[str, Any]:
    left_out = {*UNHASHED, *_DIGESTS, *_CIRCUMSTANCES, *(() if same_data else _FROM_THE_DATA)}
    return dict(leaves({key: item for key, item in record.items() if key not in left_out}))


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
