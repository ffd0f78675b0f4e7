"""Files of a record: read only what is named and only inside its folder; written whole or not."""

from __future__ import annotations

import glob
import os
import re
import secrets
import shutil
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from weldcalc.errors import InputError
from weldcalc.whole_files import by_its_name, refuse_unwritable

# what a record folder holds besides its data; nothing of it is read again but the pulses
NOTEBOOK_NAME = "record.ipynb"
PAGE_NAME = "record.html"
CARD_NAME = "setup_card.pdf"
PULSES_NAME = "pulses.csv"

LARGEST_FILE = 8 * 1024 * 1024  # bytes; coupon lists and schedules are a few kilobytes

_NAME = re.compile(r"(?:inputs/)?[A-Za-z0-9][A-Za-z0-9_-]{0,60}(?:\.[A-Za-z0-9]{1,8})?")
_UNFINISHED = "unfinished"


def is_plain_name(name: str) -> bool:
    """Tell whether a file name is harmless everywhere: no folder, no climbing, nothing odd."""
    return "/" not in name and _NAME.fullmatch(name) is not None


def read_inside(folder: Path, name: str, *, limit: int = LARGEST_FILE) -> bytes:
    """Return the bytes of a file that lies inside a record folder.

    Parameters
    ----------
    folder : Path
        The record folder.
    name : str
        Such as "record.json" or "inputs/schedule.toml": letters, digits, "-" and "_" only, no
        climbing, no other folder than inputs.
    limit : int, optional
        Largest size that is read [bytes].

    Returns
    -------
    bytes
        The content.

    Raises
    ------
    InputError
        When the folder is none, the name climbs, or the file is a link or no plain file, is missing
        or is too large.
    """
    if not isinstance(name, str) or not _NAME.fullmatch(name):
        raise InputError.of("record.json", "names a file that no record writes", str(name)[:60])
    if folder.is_file():
        raise InputError.of(str(folder), f"is a file; give the record's folder, {folder.parent}")
    if not folder.is_dir():
        raise InputError.of(str(folder), "is not a folder; give the record's folder")
    path = folder
    for part in name.split("/"):
        path = path / part
        if path.is_symlink():
            raise InputError.of(name, "is a link; a record holds plain files only")
    return _read_plain(path, name, limit)


def _read_plain(path: Path, name: str, limit: int) -> bytes:
    # O_NOFOLLOW and O_NONBLOCK: neither a link slipped in late nor a pipe can catch the reader
    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    try:
        handle = os.open(path, flags | getattr(os, "O_BINARY", 0))
    except OSError as error:
        raise InputError.of(name, f"cannot be read: {error.strerror}") from None
    with os.fdopen(handle, "rb") as file:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise InputError.of(name, "is not a plain file")
        content = file.read(limit + 1)
    if len(content) > limit:
        raise InputError.of(name, f"is larger than {limit // 1024} KiB, too large for a record")
    return content


def text_of(content: bytes, name: str) -> str:
    """Return bytes as UTF-8 text.

    Parameters
    ----------
    content : bytes
        What the file holds.
    name : str
        Name of the file, quoted in the error.

    Returns
    -------
    str
        The text.

    Raises
    ------
    InputError
        When the bytes are no UTF-8.
    """
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise InputError.of(name, f"is not UTF-8 text (byte {error.start})") from None


def unfinished_folders(target: Path) -> tuple[Path, ...]:
    """Return what interrupted runs left beside a record folder; all of it may be deleted."""
    pattern = f".{glob.escape(target.name)}.{_UNFINISHED}-*"
    return tuple(sorted(target.parent.glob(pattern))) if target.parent.is_dir() else ()


def write_folder(target: Path, fill: Callable[[Path], None]) -> None:
    """Make a folder that is either whole or not there, whatever happens on the way.

    Parameters
    ----------
    target : Path
        The folder to make; its parent must exist, it must not.
    fill : callable
        Called with an empty folder beside the target, to write everything into.

    Raises
    ------
    InputError
        When the target exists, its parent does not, or another run was quicker.
    """
    refuse_unless_new(target)
    draft = target.parent / f".{target.name}.{_UNFINISHED}-{secrets.token_hex(4)}"
    try:
        with _unfinished(draft):
            fill(draft)
            _flush_to_disk(draft)
            _rename(draft, target)
    except OSError as error:
        raise by_its_name(error, draft, target) from error
    _flush(target.parent)


def _rename(draft: Path, target: Path) -> None:
    try:
        draft.rename(target)
    except OSError:
        if not os.path.lexists(target):
            raise
        raise InputError.of(
            str(target), "another run wrote this folder first; nothing of it was changed"
        ) from None


def refuse_unless_new(target: Path) -> None:
    """Refuse a record folder that is there already or cannot be made.

    Parameters
    ----------
    target : Path
        The folder to make; its parent must exist, it must not.

    Raises
    ------
    InputError
        When it cannot be written as a new folder.
    """
    if os.path.lexists(target):
        raise InputError.of(
            str(target),
            "exists already, and a record is never overwritten; name a new folder, and for a new "
            "revision name this one as the previous record",
        )
    if not target.parent.is_dir():
        raise InputError.of(str(target.parent), "is not a folder; make it first")
    refuse_unwritable(target)


@contextmanager
def _unfinished(draft: Path) -> Iterator[None]:
    # made with mkdir and not mkdtemp: the record must be readable for all whom the umask allows
    draft.mkdir()
    try:
        yield
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def _flush_to_disk(folder: Path) -> None:
    for path in sorted(folder.rglob("*")):
        _flush(path)
    _flush(folder)


def _flush(path: Path) -> None:
    if path.is_dir() and os.name == "nt":  # folders cannot be opened there
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
