"""Files and folders that appear only when they are whole, also when the program is stopped.

Everything is written under a hidden name beside its place and renamed at the end. What a killed run
leaves behind starts with ``.weldcalc-`` and may be deleted.
"""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from weldcalc.errors import InputError


def numbered(path: Path, number: int) -> Path:
    """Return a path for one of several files: the first as given, then with -2, -3 and so on.

    Parameters
    ----------
    path : pathlib.Path
        Of the first.
    number : int
        From 1.
    """
    return path if number == 1 else path.with_name(f"{path.stem}-{number}{path.suffix}")


def refuse_existing(path: Path, *, suffix: str = "") -> None:
    """Refuse a file or folder that is there already, before anything is computed for it.

    Parameters
    ----------
    path : pathlib.Path
        Must not exist yet.
    suffix : str, optional
        That the name has to end with, where only one kind of file is written.

    Raises
    ------
    InputError
        When it does, could not be made, or its name would tell another kind of file.
    """
    if suffix and path.suffix.lower() != suffix:
        raise InputError.of("output", f"is no name for this file; end it with {suffix}", str(path))
    if os.path.lexists(path):
        raise InputError.of("output", "exists already; choose a new name", str(path))
    refuse_unwritable(path)


def refuse_unwritable(path: Path) -> None:
    """Refuse a place that cannot be written, before anything is computed for it.

    Parameters
    ----------
    path : pathlib.Path
        Of a file or folder to make; folders on the way to it need not exist.

    Raises
    ------
    InputError
        When nothing can be made there.
    """
    there = next(folder for folder in path.absolute().parents if os.path.lexists(folder))
    if not there.is_dir():
        raise InputError.of("output", f"cannot be made: {there} is not a folder", str(path))
    if not os.access(there, os.W_OK | os.X_OK):
        raise InputError.of("output", f"cannot be made: {there} is not yours to write", str(path))


@contextmanager
def whole_folder(folder: Path) -> Iterator[Path]:
    """Yield an empty folder beside the wanted one, and rename it at the end.

    Parameters
    ----------
    folder : pathlib.Path
        Must not exist yet.

    Raises
    ------
    InputError
        When the folder exists.
    OSError
        When it cannot be written; names the wanted folder.
    """
    refuse_existing(folder)
    draft = _beside(folder)
    try:
        draft.mkdir(parents=True)
        yield draft
        draft.rename(folder)
    except OSError as error:
        shutil.rmtree(draft, ignore_errors=True)
        raise by_its_name(error, draft, folder) from error
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise


def write_whole(path: Path, content: str | bytes) -> Path:
    """Write a file so that it is either whole or not there; an older one is replaced.

    Parameters
    ----------
    path : pathlib.Path
        File to write; folders on the way to it are made.
    content : str or bytes
        What it holds; text is written as UTF-8.

    Raises
    ------
    OSError
        When it cannot be written; names the wanted file.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    draft = _beside(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with draft.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())  # else a loss of power may leave the new name without content
        draft.replace(path)
    except OSError as error:
        _remove(draft)
        raise by_its_name(error, draft, path) from error
    except BaseException:
        _remove(draft)
        raise
    return path


def _beside(path: Path) -> Path:
    # not from tempfile: what appears in the end must be readable for all whom the umask allows
    return path.parent / f".weldcalc-{secrets.token_hex(6)}"


def _remove(draft: Path) -> None:
    with suppress(OSError):
        draft.unlink(missing_ok=True)


def by_its_name(error: OSError, draft: Path, path: Path) -> OSError:
    """Return a failure to write with the name that the user gave, not the hidden one.

    Parameters
    ----------
    error : OSError
        What happened; one about another file is returned as it is.
    draft, path : pathlib.Path
        Hidden file or folder, and the wanted one.
    """
    if error.filename is not None and not str(error.filename).startswith(str(draft)):
        return error
    return OSError(error.errno, error.strerror or str(error), str(path))
