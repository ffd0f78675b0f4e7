"""Where compiled kernels are kept: a folder of their own for each state of the sources.

numba compares only the file of the kernel itself. A kernel that calls another one from a changed
file would come out of the cache with the old code inside, and an upgrade or an edit would go on
giving the old numbers. So the folder is named by the digest of every source there is for kernels.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path

_SOURCES = Path(__file__).resolve().parent


@cache
def cache_folder() -> Path | None:
    """Return the folder for compiled kernels, made if need be; None where none can be written.

    Tried in this order: ``NUMBA_CACHE_DIR``, beside the sources, the user's cache folder. Folders
    of earlier states of the same sources are removed.
    """
    digest = source_digest(_SOURCES)
    for place in _places():
        folder = place / digest
        if _is_usable(folder):
            _remove_others(folder)
            return folder
    return None


def source_digest(folder: Path) -> str:
    """Return a digest of the names and contents of the Python files of a folder.

    Parameters
    ----------
    folder : Path
        Looked at without its sub-folders.
    """
    digest = hashlib.sha256()
    for path in sorted(folder.glob("*.py")):
        digest.update(f"{path.name}\0{path.stat().st_size}\0".encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _places() -> Iterator[Path]:
    # outside the package each installation has its own: two of them must not remove each other's
    own = Path("weldcalc") / hashlib.sha256(os.fsencode(_SOURCES)).hexdigest()[:16]
    if wished := os.environ.get("NUMBA_CACHE_DIR"):
        yield Path(wished).absolute() / own
    yield _SOURCES / "__pycache__" / "kernels"
    users = _users_cache()
    if users is not None:
        yield users / own


def _users_cache() -> Path | None:
    wished = os.environ.get("LOCALAPPDATA" if sys.platform == "win32" else "XDG_CACHE_HOME", "")
    if Path(wished).is_absolute():
        return Path(wished)
    try:
        return Path.home() / ".cache"
    except RuntimeError:  # a user without an account has no home
        return None


def _is_usable(folder: Path) -> bool:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=folder).close()
    except OSError:
        return False
    return True


def _remove_others(folder: Path) -> None:
    for other in folder.parent.iterdir():
        if other != folder:
            shutil.rmtree(other, ignore_errors=True)
