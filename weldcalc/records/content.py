"""The content of a record, computed from nothing but its input files.

Making a record and rechecking one run the same code here, so that they can differ only where the
inputs, the data or weldcalc itself differ.
"""

from __future__ import annotations

import os
import platform
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

from attrs import field, frozen

from weldcalc import __version__
from weldcalc.canonical import computed_digest, parse_json, plain, record_digest, sha256_of_bytes
from weldcalc.errors import InputError
from weldcalc.records.fields import MATERIAL_ROLES, record_items, schedule_fields
from weldcalc.records.files import text_of
from weldcalc.records.results import cautions_of, computed_results, estimated, model_facts
from weldcalc.records.sign_off import (
    DRAFT,
    SIGNED,
    SignOff,
    check_what_is_signed,
    read_sign_off,
    what_is_open,
)
from weldcalc.records.sources import material_rows, materials_used, source_rows
from weldcalc.reference import manifest_sha256, read_toml
from weldcalc.schedules.toml_file import toml_from_bytes
from weldcalc.whole_files import by_its_name

if TYPE_CHECKING:
    from weldcalc.prediction import Estimate
    from weldcalc.schedule import Schedule

SCHEMA_VERSION = 1
KIND = "weldcalc record"
_PACKAGES = ("numpy", "scipy", "numba", "pint")

# where each kind of input is kept inside a record folder
INPUT_PATHS: Mapping[str, str] = {
    "schedule": "inputs/schedule.toml",
    "coupons": "inputs/coupons.csv",
    "acceptance": "inputs/acceptance.toml",
    "calibration": "inputs/calibration.json",
    "sign_off": "inputs/sign_off.toml",
    "previous": "inputs/previous_record.json",
}
# what other parts read of a record: a digest that fits does not show who computed it
_PARTS: Mapping[str, type] = {
    "number": str,
    "revision": str,
    "status": str,
    "computed_sha256": str,
    "input_files": list,
    "schedule": dict,
    "computed": dict,
}
LEFT_TO_THE_CODE = (
    "Which tests the procedure has to pass, on how many pieces, and by whom they are witnessed.",
    "Acceptance limits: weldcalc ships none; they are typed in from a licensed copy.",
    "Range of qualification: which changes need a new test.",
    "Approval of the procedure, of the operators and of the welding machine.",
)


@frozen
class InputFile:
    """One file that a record was computed from.

    Parameters
    ----------
    role : str
        Key of `INPUT_PATHS`, or one of `MATERIAL_ROLES`.
    name : str
        File name as given, without its folder.
    content : bytes
        Every byte as it was read.
    """

    role: str
    name: str
    content: bytes = field(repr=False)

    @property
    def path(self) -> str:
        """Return where the file is kept inside the record folder."""
        return INPUT_PATHS.get(self.role) or f"inputs/{self.name}"

    def to_json(self) -> dict[str, Any]:
        """Return role, name, path, digest and size [bytes]."""
        return {
            "role": self.role,
            "name": self.name,
            "path": self.path,
            "sha256": sha256_of_bytes(self.content),
            "bytes": len(self.content),
        }


def content_of(files: Sequence[InputFile], *, signed_for: str = "") -> dict[str, Any]:
    """Return the whole hashed part of a record, computed from its input files.

    Parameters
    ----------
    files : sequence of InputFile
        One schedule, and at most one of each other role.
    signed_for : str, optional
        Digest of results that signatures may stand for besides those computed here: on a recheck
        that of the record, whose last digits another machine may not reach.

    Returns
    -------
    dict
        As in record.json, with both digests, without time and platform.

    Raises
    ------
    InputError
        When an input cannot be used or does not fit the others.
    """
    with _staged(files) as staged:
        computed = _content({file.role: file for file in files}, staged, signed_for)
    content: dict[str, Any] = plain(computed)
    content["record_sha256"] = record_digest(content)
    return content


def estimate_of(files: Sequence[InputFile]) -> Estimate:
    """Return the estimate behind a record, computed from its input files.

    Parameters
    ----------
    files : sequence of InputFile
        As for `content_of`.

    Raises
    ------
    InputError
        When an input cannot be used.
    """
    from weldcalc.schedule import load_schedule

    with _staged(files) as staged:
        return estimated(load_schedule(staged["schedule"]), staged.get("calibration"))


@contextmanager
def _staged(files: Sequence[InputFile]) -> Iterator[dict[str, Path]]:
    """Yield copies of the input files by role, in a passing folder of their own."""
    _refuse_foreign_materials(files)
    with tempfile.TemporaryDirectory(prefix="weldcalc-") as name:
        staged = {file.role: _stage(file, Path(name)) for file in files}
        try:
            yield staged
        except InputError as error:  # nobody knows the passing folder
            raise error.relative_to(f"{name}{os.sep}") from None


def material_files_of(schedule_text: str, where: str) -> dict[str, str]:
    """Return the material files that a schedule names, by role.

    Parameters
    ----------
    schedule_text : str
        TOML of the schedule.
    where : str
        Name of the file, quoted in the error.

    Returns
    -------
    dict of str to str
        From "material" or "plate_material" to the file as typed; shipped grades do not count.

    Raises
    ------
    InputError
        When the text is no TOML.
    """
    joint = toml_from_bytes(schedule_text.encode("utf-8"), where).get("joint")
    typed = {role: joint.get(role) for role in MATERIAL_ROLES} if isinstance(joint, dict) else {}
    found: dict[str, str] = {}
    for role, name in typed.items():
        is_file = isinstance(name, str) and name.lower().endswith(".toml")
        if is_file and name not in found.values():
            found[role] = str(name)
    return found


def _refuse_foreign_materials(files: Sequence[InputFile]) -> None:
    """Refuse a schedule that would make the loader read a file that is no input of the record."""
    schedule = next(file for file in files if file.role == "schedule")
    named = material_files_of(text_of(schedule.content, schedule.path), schedule.path)
    kept = {file.role: file.name for file in files if file.role in MATERIAL_ROLES}
    for role, name in named.items():
        if kept.get(role) != name:
            raise InputError.of(f"{schedule.path}: joint.{role}", "is not kept in the record", name)


def _stage(file: InputFile, folder: Path) -> Path:
    path = folder / file.path
    path.parent.mkdir(exist_ok=True)
    try:
        path.write_bytes(file.content)
    except OSError as error:  # a full disk is told without the name of the file
        raise by_its_name(error, path, path) from None
    return path


def _content(
    files: Mapping[str, InputFile], staged: Mapping[str, Path], signed_for: str
) -> dict[str, Any]:
    from weldcalc.schedule import load_schedule

    schedule = load_schedule(staged["schedule"])
    code = {"name": schedule.code.name, "edition": schedule.code.edition}
    made = estimated(schedule, staged.get("calibration"))
    computed = computed_results(
        made, coupons=staged.get("coupons"), acceptance=staged.get("acceptance")
    )
    digest = computed_digest(computed)
    sign_off = _sign_off(files.get("sign_off"), (digest, *filter(None, [signed_for])))
    fields = schedule_fields(schedule)
    items = record_items(fields | _headings(schedule), sign_off.items)
    metals = materials_used(schedule.joint)
    still_open = what_is_open(sign_off, code=code, items=items, computed=computed)
    return {
        "schema_version": SCHEMA_VERSION,
        "kind": KIND,
        "record_sha256": "",
        "number": schedule.number,
        "revision": schedule.revision,
        "title": schedule.title,
        "status": DRAFT if still_open else SIGNED,
        "still_open": still_open,
        "weldcalc_version": __version__,
        "governing_code": {**code, "left_to_it": LEFT_TO_THE_CODE},
        "previous_record": _previous(files.get("previous"), schedule, fields),
        "input_files": [file.to_json() for file in files.values()],
        "schedule": fields,
        "reference_data": {
            "manifest_sha256": manifest_sha256(),
            "materials": material_rows(metals),
        },
        "model": model_facts(made),
        "computed_sha256": digest,
        "computed": computed,
        "cautions": cautions_of(metals, schedule.shielding.gas),
        "items": items,
        "items_source": {
            key: read_toml("record_items.toml")[key] for key in ("source", "standing")
        },
        "sources": source_rows(metals, computed["findings"]),
        "sign_off": sign_off.to_json(),
    }


def _headings(schedule: Schedule) -> dict[str, dict[str, str]]:
    texts = {"record.number": schedule.number, "record.revision": schedule.revision}
    return {
        path: {"name": path.rpartition(".")[2], "shown": text, "standing": "typed"}
        for path, text in texts.items()
    }


def _sign_off(file: InputFile | None, digests: Sequence[str]) -> SignOff:
    if file is None:
        return SignOff()
    sign_off = read_sign_off(text_of(file.content, file.name), file.name)
    check_what_is_signed(sign_off, digests, file.name)
    return sign_off


def _previous(
    file: InputFile | None, schedule: Schedule, fields: Mapping[str, Mapping[str, Any]]
) -> dict[str, Any] | None:
    if file is None:
        return None
    before = parse_json(text_of(file.content, file.name), file.name)
    check_intact(before, file.name)
    if before["number"] != schedule.number:
        raise InputError.of(file.name, "is the record of another schedule", before["number"])
    changes = _changes(before["schedule"], fields)
    if changes and before["revision"] == schedule.revision:
        raise InputError.of(
            "revision", "is that of the record before, yet the schedule changed", schedule.revision
        )
    keys = ("number", "revision", "status", "record_sha256", "computed_sha256")
    return {**{key: before[key] for key in keys}, "changes": changes}


def _changes(
    before: Mapping[str, Mapping[str, Any]], now: Mapping[str, Mapping[str, Any]]
) -> list[dict[str, str]]:
    absent = {"si": None, "shown": "not given"}
    rows = []
    for path in dict.fromkeys([*before, *now]):
        old, new = before.get(path, absent), now.get(path, absent)
        if (plain(old.get("si")), old["shown"]) != (plain(new["si"]), new["shown"]):
            rows.append({"field": path, "before": old["shown"], "now": new["shown"]})
    return rows


def check_intact(record: Any, where: str) -> None:
    """Refuse what is no record, or a record that was altered after it was made.

    Parameters
    ----------
    record : object
        As parsed.
    where : str
        Name of the file, quoted in errors.

    Raises
    ------
    InputError
        When it is no record of a schema known here, or its digest does not fit its content.
    """
    if not isinstance(record, dict) or record.get("kind") != KIND:
        raise InputError.of(where, "is not a record of weldcalc")
    if record.get("schema_version") != SCHEMA_VERSION:
        raise InputError.of(
            f"{where}: schema_version",
            f"this weldcalc reads version {SCHEMA_VERSION}; use the one that made the record, "
            f"{record.get('weldcalc_version')}",
            record.get("schema_version"),
        )
    if record.get("record_sha256") != record_digest(record):
        raise InputError.of(where, "was altered after it was made: its digest does not fit")
    for key, kind in _PARTS.items():
        if not isinstance(record.get(key), kind):
            raise InputError.of(f"{where}: {key}", "is not what stands there in a record")
    _refuse_odd_rows(record["input_files"], ("role", "name", "path", "sha256"), where)
    _refuse_odd_rows(record["schedule"].values(), ("name", "shown"), where)
    if "schedule" not in [named["role"] for named in record["input_files"]]:
        raise InputError.of(f"{where}: input_files", "names no schedule")


def _refuse_odd_rows(rows: Iterable[Any], texts: Sequence[str], where: str) -> None:
    for row in rows:
        if not isinstance(row, dict) or not all(isinstance(row.get(key), str) for key in texts):
            raise InputError.of(where, f"holds a row without the texts {', '.join(texts)}")


def environment() -> dict[str, Any]:
    """Return what the last digits of a number may depend on: machine and computing libraries."""
    return {
        "python": platform.python_version(),
        "system": platform.system(),
        "machine": platform.machine(),
        "packages": dict(_versions()),
    }


@cache
def _versions() -> dict[str, str]:
    return {name: metadata.version(name) for name in _PACKAGES}
