"""The qualification record: computed by the package alone, written whole, never overwritten."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from attrs import evolve, field, frozen

from weldcalc.canonical import parse_json, sha256_of_bytes
from weldcalc.errors import InputError, WeldcalcError
from weldcalc.records.content import (
    InputFile,
    check_intact,
    content_of,
    environment,
    material_files_of,
)
from weldcalc.records.files import (
    LARGEST_FILE,
    is_plain_name,
    read_inside,
    text_of,
    unfinished_folders,
    write_folder,
)
from weldcalc.records.results import estimated
from weldcalc.records.sign_off import form, read_sign_off

if TYPE_CHECKING:
    from weldcalc.prediction import Estimate
    from weldcalc.schedule import Schedule

RECORD_NAME = "record.json"
FORM_NAME = "sign_off_form.toml"

View = Callable[[Path], None]


@frozen
class Record:
    """A record in memory: its data and the input files they were computed from.

    Parameters
    ----------
    data : dict
        What record.json holds.
    files : sequence of InputFile
        Kept beside it, byte for byte.
    """

    data: dict[str, Any] = field(repr=False)
    files: Sequence[InputFile] = ()

    @property
    def status(self) -> str:
        """Return the status in words."""
        return str(self.data["status"])

    @property
    def sha256(self) -> str:
        """Return the digest of the record."""
        return str(self.data["record_sha256"])


@frozen
class WrittenRecord:
    """A record on disk.

    Parameters
    ----------
    folder : Path
        Where it lies.
    record : Record
        What was written.
    notes : sequence of str
        What a person should know: views that could not be made, leftovers of interrupted runs.
    """

    folder: Path
    record: Record
    notes: Sequence[str] = ()

    @property
    def status(self) -> str:
        """Return the status in words."""
        return self.record.status


def make_record(
    schedule: Schedule | Path | str,
    *,
    coupons: Path | None = None,
    acceptance: Path | None = None,
    calibration: Path | None = None,
    sign_off: Path | None = None,
    previous: Path | None = None,
) -> Record:
    """Compute a qualification record from a schedule and the files that belong to it.

    Parameters
    ----------
    schedule : Schedule or path
        A loaded schedule, or its TOML file.
    coupons : Path, optional
        CSV of measured coupons.
    acceptance : Path, optional
        TOML of acceptance criteria, typed in by the user from a licensed copy.
    calibration : Path, optional
        JSON of a calibration.
    sign_off : Path, optional
        TOML with what people filled in: answers, requirements, names and dates.
    previous : Path, optional
        Folder of the record that this one revises or signs, or its record.json.

    Returns
    -------
    Record
        Complete; nothing is written yet.

    Raises
    ------
    InputError
        When an input cannot be used or does not fit the others.
    """
    given = {
        "coupons": coupons,
        "acceptance": acceptance,
        "calibration": calibration,
        "sign_off": sign_off,
    }
    _refuse_unusable(schedule, given)
    files = [_schedule_file(schedule)]
    files += _material_files(files[0], schedule)
    files += [_input_file(role, Path(path)) for role, path in given.items() if path is not None]
    if previous is not None:
        files.append(_previous_file(Path(previous)))
    return Record(data=_with_circumstances(content_of(files)), files=tuple(files))


def _refuse_unusable(schedule: Schedule | Path | str, given: Mapping[str, Path | None]) -> None:
    """Read every input once before anything is computed, so that it is named as the user does."""
    from weldcalc.calibrating.file import read_calibration
    from weldcalc.qualification.acceptance import read_acceptance
    from weldcalc.qualification.coupons import read_coupons
    from weldcalc.schedule import load_schedule

    loaded = load_schedule(schedule) if isinstance(schedule, Path | str) else schedule
    wall, plate = loaded.joint.wall_thickness, loaded.joint.plate_thickness
    readers: dict[str, Callable[[Path], object]] = {
        "coupons": lambda path: read_coupons(path, wall_thickness=wall, plate_thickness=plate),
        "acceptance": read_acceptance,
        "calibration": read_calibration,
        "sign_off": lambda path: read_sign_off(
            text_of(_input_file("sign_off", path).content, path.name), path.name
        ),
    }
    for role, path in given.items():
        if path is not None:
            readers[role](Path(path))


def _schedule_file(schedule: Schedule | Path | str) -> InputFile:
    if isinstance(schedule, Path | str):
        return _input_file("schedule", Path(schedule))
    from weldcalc.schedule import load_schedule

    path = schedule.source_path
    if path is not None and path.is_file() and load_schedule(path) == schedule:
        return _input_file("schedule", path)
    # built or changed in Python: its own text is the input, not the file it once came from
    text = schedule.to_toml().encode("utf-8")
    return InputFile(role="schedule", name="schedule.toml", content=text)


def _material_files(file: InputFile, schedule: Schedule | Path | str) -> list[InputFile]:
    """Return the user's own material files, which a record keeps under their own names."""
    folder = Path(schedule).parent if isinstance(schedule, Path | str) else schedule.folder
    found = []
    for role, name in material_files_of(text_of(file.content, file.name), file.name).items():
        if not is_plain_name(name):
            raise InputError.of(
                f"joint.{role}",
                "a record keeps its inputs in one folder: put the file beside the schedule, under "
                "a name of letters, digits, - and _",
                name,
            )
        found.append(InputFile(role=role, name=name, content=read_inside(folder, name)))
    return found


def _previous_file(path: Path) -> InputFile:
    """Return the record before, from its folder or from the copy that a later record keeps."""
    if path.is_file():
        return evolve(_input_file("previous", path), name=RECORD_NAME)
    content = read_inside(path, RECORD_NAME)
    return InputFile(role="previous", name=RECORD_NAME, content=content)


def _input_file(role: str, path: Path) -> InputFile:
    with path.open("rb") as file:
        content = file.read(LARGEST_FILE + 1)
    if len(content) > LARGEST_FILE:
        raise InputError.of(str(path), f"is larger than {LARGEST_FILE // 1024} KiB")
    return InputFile(role=role, name=path.name, content=content)


def _with_circumstances(content: dict[str, Any]) -> dict[str, Any]:
    """Return a record with when and on what it was made: kept in it, outside its digest."""
    made = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return {**content, "made_utc": made, "environment": environment()}


def read_record(folder: Path | str) -> dict[str, Any]:
    """Return the data of a record, after checking that they were not altered.

    Parameters
    ----------
    folder : Path or str
        The record folder.

    Returns
    -------
    dict
        What record.json holds.

    Raises
    ------
    InputError
        When there is no record there or it was altered after it was made.
    """
    data = parse_json(text_of(read_inside(Path(folder), RECORD_NAME), RECORD_NAME), RECORD_NAME)
    check_intact(data, RECORD_NAME)
    return dict(data)


def write_record(
    record: Record,
    folder: Path | str,
    *,
    views: Sequence[View] = (),
    beside: Sequence[View] = (),
) -> WrittenRecord:
    """Write a record into a new folder: whole, or not at all.

    Parameters
    ----------
    record : Record
        From `make_record`.
    folder : Path or str
        Where it goes; must not exist yet.
    views : sequence of callable, optional
        Each is called with the unfinished folder and adds one view of the record (notebook, page,
        card). A view that fails leaves a note and no gap in the record itself.
    beside : sequence of callable, optional
        Views that need none of the others: they are made in a thread of their own meanwhile.

    Returns
    -------
    WrittenRecord
        With notes for whatever went wrong beside the record.

    Raises
    ------
    InputError
        When the folder exists, another run wrote it first, or somebody changed it on the way.
    """
    folder = Path(folder)
    notes = [
        f"{path}: left by an interrupted run; may be deleted" for path in unfinished_folders(folder)
    ]
    notes += [*_clock_notes(record), *_revision_notes(record)]
    contents = _contents_of(record)

    def fill(draft: Path) -> None:
        for name, content in contents.items():
            (draft / name).parent.mkdir(exist_ok=True)
            (draft / name).write_bytes(content)
        draft = draft.absolute()  # running a notebook changes the working folder meanwhile
        with ThreadPoolExecutor(max_workers=1) as pool:
            made = [pool.submit(_view_notes, view, draft) for view in beside]
            notes.extend(note for view in views for note in _view_notes(view, draft))
            notes.extend(note for one in made for note in one.result())
        _refuse_changed(contents, draft, folder)

    write_folder(folder, fill)
    return WrittenRecord(folder=folder, record=record, notes=tuple(notes))


def _clock_notes(record: Record) -> list[str]:
    """Tell of a clock that was set back: nothing is computed from it, but people read the date."""
    made = record.data["made_utc"]
    for file in record.files:
        if file.role == "previous":
            before = parse_json(text_of(file.content, file.name), file.name).get("made_utc")
            if isinstance(before, str) and made < before:
                return [f"made_utc: {made} is before the previous record, {before}; set the clock"]
    return []


def _revision_notes(record: Record) -> list[str]:
    """Tell of a revision that is not raised: right for signing, yet two records bear one name."""
    data, before = record.data, record.data["previous_record"]
    if not before or before["revision"] != data["revision"]:
        return []
    return [
        f"caution: the revision letter {data['revision']} is unchanged from the previous record; "
        "raise it in the schedule unless this record only signs or completes that one"
    ]


def _contents_of(record: Record) -> dict[str, bytes]:
    """Return what a record folder holds besides its views, by path."""
    text = json.dumps(record.data, indent=1, ensure_ascii=False, allow_nan=False)
    blank = form(record.data["computed_sha256"], record.data["items"])
    own = {RECORD_NAME: f"{text}\n".encode(), FORM_NAME: blank.encode()}
    return {file.path: file.content for file in record.files} | own


def _refuse_changed(contents: Mapping[str, bytes], draft: Path, folder: Path) -> None:
    for name, content in contents.items():
        path = draft / name
        if not path.is_file() or path.read_bytes() != content:
            why = "was changed or removed while the record was made; nothing was kept, try again"
            raise InputError.of(str(folder / name), why)


def _view_notes(view: View, draft: Path) -> list[str]:
    try:
        view(draft)
    except WeldcalcError as error:
        return [str(error)]
    except Exception as error:  # a drawing that fails must not cost the record
        return [f"a view could not be made: {type(error).__name__}: {error}"]
    return []


def open_record(folder: Path | str, record_sha256: str = "") -> tuple[dict[str, Any], Estimate]:
    """Return the data of a record, and the estimate computed again from its input files.

    Parameters
    ----------
    folder : Path or str
        The record folder.
    record_sha256 : str, optional
        Digest that the record has to have; empty to take whatever is there.

    Returns
    -------
    tuple of (dict, Estimate)
        Data of record.json, and what the pictures are drawn from.

    Raises
    ------
    InputError
        When the record was altered, is another one, or an input is not the one it names.
    """
    from weldcalc.schedule import load_schedule

    data = read_record(folder)
    if record_sha256 and data["record_sha256"] != record_sha256:
        raise InputError.of(RECORD_NAME, "is not the record that was asked for", record_sha256)
    kept = {named["role"]: _intact_input(Path(folder), named) for named in data["input_files"]}
    return data, estimated(load_schedule(kept["schedule"]), kept.get("calibration"))


def _intact_input(folder: Path, named: Mapping[str, Any]) -> Path:
    path = str(named["path"])
    if sha256_of_bytes(read_inside(folder, path)) != named["sha256"]:
        raise InputError.of(path, "was altered after the record was made")
    return folder / path
