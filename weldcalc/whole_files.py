"""Files and folders that appear only when they are whole, also when the program is stopped."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from weldcalc.errors import InputError


def refuse_existing(folder: Path) -> None:
    """Refuse a folder that is there already, before anything is computed for it.

    Parameters
    ----------
    folder : pathlib.Path
        Must not exist yet.

    Raises
    ------
    InputError
        When it does.
    """
    if folder.exists():
        raise InputError.of("output", "exists already; name a new folder", str(folder))


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
    """
    refuse_existing(folder)
    folder.parent.mkdir(parents=True, exist_ok=True)
    draft = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        yield draft
        draft.chmod(0o755)
        draft.rename(folder)
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise


def write_whole(path: Path, text: str) -> Path:
    """Write a text file so that it is either whole or not there; an older one is replaced.

    Parameters
    ----------
    path : pathlib.Path
        File to write.
    text : str
        What it holds.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return path
