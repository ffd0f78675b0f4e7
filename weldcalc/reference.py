"""Finds the shipped reference data and proves that they are unchanged.

Every file under ``reference_data`` is listed with its sha256 in ``MANIFEST.sha256`` (the form that
``sha256sum -c`` reads). A file is hashed when it is first read in a process, and a file that is
not listed or does not match is refused. The hash of the manifest itself stands for the whole
set of data and is quoted in records.

``python -m weldcalc.reference`` rewrites the manifest of a source checkout.
"""

from __future__ import annotations

import hashlib
import sys
import tomllib
from functools import cache
from pathlib import Path, PurePosixPath
from typing import Any

from attrs import frozen

from weldcalc.errors import InputError, ReferenceDataError
from weldcalc.reference_rows import Row, rows_with_source

MANIFEST_NAME = "MANIFEST.sha256"
_PACKAGE = Path(__file__).resolve().parent


@frozen
class DataFolder:
    """A folder of reference data with its manifest.

    Parameters
    ----------
    root : pathlib.Path
        Folder that holds ``MANIFEST.sha256``.
    """

    root: Path

    def manifest(self) -> dict[str, str]:
        """Return relative path (with forward slashes) to sha256, as listed.

        Raises
        ------
        ReferenceDataError
            When the manifest is missing or holds a line of another form.
        """
        listed: dict[str, str] = {}
        for number, line in enumerate(self._manifest_bytes().decode("utf-8").splitlines(), 1):
            digest, _, name = line.partition("  ")
            if len(digest) != 64 or not name:
                raise ReferenceDataError.of(
                    f"{self.root / MANIFEST_NAME}:{number}",
                    "is not a line of the form 'sha256  path'; " + _REMEDY,
                    line,
                )
            listed[name] = digest
        return listed

    def manifest_sha256(self) -> str:
        """Return the sha256 of the manifest file: one number for the whole set of data."""
        return hashlib.sha256(self._manifest_bytes()).hexdigest()

    def path(self, relative: str) -> Path:
        """Return the absolute path of a file inside the folder; says nothing about its content.

        Parameters
        ----------
        relative : str
            Path inside the folder, with forward slashes.

        Raises
        ------
        ReferenceDataError
            When the path is absolute or leads out of the folder.
        """
        parts = PurePosixPath(relative).parts
        root = self.root.resolve()
        target = root.joinpath(*parts).resolve()
        if not parts or ".." in parts or "\\" in relative or not target.is_relative_to(root):
            raise ReferenceDataError.of(
                relative, f"has to be a relative path with forward slashes inside {self.root}"
            )
        return target

    def read(self, relative: str) -> bytes:
        """Return the content of a listed file after comparing its sha256 with the manifest.

        Parameters
        ----------
        relative : str
            Path inside the folder, with forward slashes.

        Raises
        ------
        ReferenceDataError
            When the file is missing, not listed or changed; names the file, the hash
            expected, the hash found and the remedy.
        """
        path = self.path(relative)
        expected = self.manifest().get(PurePosixPath(relative).as_posix())
        if expected is None:
            raise ReferenceDataError.of(
                str(path), f"is not listed in {MANIFEST_NAME}; if you added it on purpose, {_RENEW}"
            )
        if not path.is_file():
            raise ReferenceDataError.of(str(path), f"is listed but missing; {_REMEDY}")
        content = path.read_bytes()
        _compare(path, content, expected)
        return content

    def files(self) -> tuple[str, ...]:
        """Return every data file that is there, as sorted relative paths."""
        found = (path for path in self.root.rglob("*") if path.is_file())
        relative = (path.relative_to(self.root) for path in found)
        return tuple(sorted(path.as_posix() for path in relative if _is_data(path)))

    def rewrite_manifest(self) -> int:
        """List every file anew and return how many there are."""
        names = self.files()
        lines = (f"{_sha256_of(self.root / name)}  {name}\n" for name in names)
        (self.root / MANIFEST_NAME).write_text("".join(lines), encoding="utf-8", newline="\n")
        return len(names)

    def _manifest_bytes(self) -> bytes:
        path = self.root / MANIFEST_NAME
        if not path.is_file():
            raise ReferenceDataError.of(str(path), f"is missing; {_REMEDY}")
        return path.read_bytes()


_REMEDY = "install weldcalc again or restore reference_data from version control"
_RENEW = "run 'python -m weldcalc.reference' in the checkout and commit the manifest"


def data_folder() -> Path:
    """Return the folder of reference data in use: the checkout's own, else the packaged copy.

    The packaged copy comes second because an editable install leaves a frozen copy behind that
    would hide later edits.

    Raises
    ------
    ReferenceDataError
        When neither is there.
    """
    return _folder().root


def manifest_sha256() -> str:
    """Return the sha256 of the manifest in use, as quoted in records.

    Raises
    ------
    ReferenceDataError
        When there is no manifest.
    """
    return _folder().manifest_sha256()


@cache
def read_bytes(relative: str) -> bytes:
    """Return the verified content of a reference file; hashed once per process.

    Parameters
    ----------
    relative : str
        Path inside the data folder, with forward slashes.

    Raises
    ------
    ReferenceDataError
        When the path leads out of the folder, or the file is missing, not listed or changed.
    """
    return _folder().read(relative)


def listed(folder: str, suffix: str) -> tuple[str, ...]:
    """Return the sorted paths of the listed files of a sub-folder that end in a suffix.

    Parameters
    ----------
    folder : str
        Sub-folder, with forward slashes.
    suffix : str
        End of the file names, as in ".toml".

    Raises
    ------
    ReferenceDataError
        When there is no manifest.
    """
    names = _folder().manifest()
    return tuple(
        sorted(name for name in names if name.startswith(folder + "/") and name.endswith(suffix))
    )


def read_toml(relative: str) -> dict[str, Any]:
    """Return a verified TOML file as a dictionary; as for `read_bytes`.

    Parameters
    ----------
    relative : str
        Path inside the data folder, with forward slashes.

    Raises
    ------
    ReferenceDataError
        As for `read_bytes`, and when the file is not TOML.
    """
    try:
        return tomllib.loads(read_bytes(relative).decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ReferenceDataError.of(relative, f"cannot be read as TOML: {error}") from error


def read_csv(relative: str) -> tuple[Row, ...]:
    """Return the rows of a verified CSV file with a header line and a ``source`` column.

    Lines that start with ``#`` are remarks.

    Parameters
    ----------
    relative : str
        Path inside the data folder, with forward slashes.

    Raises
    ------
    ReferenceDataError
        As for `read_bytes`, and when a row has no source or the wrong number of cells.
    """
    text = read_bytes(relative).decode("utf-8")
    return tuple(rows_with_source(text, relative))


def main() -> int:
    """Rewrite the manifest of the checkout; return an exit code."""
    folder = DataFolder(root=_PACKAGE.parent / "reference_data")
    if not (_in_checkout() and folder.root.is_dir()):
        sys.stderr.write(f"{_PACKAGE} is no source checkout: its data are not to be edited\n")
        return InputError.exit_code
    count = folder.rewrite_manifest()
    sys.stdout.write(f"{folder.root / MANIFEST_NAME}: {count} files\n")
    return 0


@cache
def _folder() -> DataFolder:
    beside = _PACKAGE.parent / "reference_data"
    inside = _PACKAGE / "_reference_data"
    if _in_checkout() and (beside / MANIFEST_NAME).is_file():
        return DataFolder(root=beside)
    if (inside / MANIFEST_NAME).is_file():
        return DataFolder(root=inside)
    raise ReferenceDataError.of(
        MANIFEST_NAME, f"found neither in {beside} nor in {inside}; {_REMEDY}"
    )


def _in_checkout() -> bool:
    # site-packages could hold a stray reference_data of somebody else's, but no pyproject.toml
    return (_PACKAGE.parent / "pyproject.toml").is_file()


def _is_data(relative: Path) -> bool:
    hidden = any(part.startswith(".") or part == "__pycache__" for part in relative.parts)
    return not hidden and relative.name != MANIFEST_NAME


def _sha256_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _compare(path: Path, content: bytes, expected: str) -> None:
    found = hashlib.sha256(content).hexdigest()
    if found == expected:
        return
    unix = hashlib.sha256(content.replace(b"\r\n", b"\n")).hexdigest()
    cause = "only its line ends differ (CRLF instead of LF); " if unix == expected else ""
    raise ReferenceDataError.of(
        str(path),
        f"does not match {MANIFEST_NAME}: expected sha256 {expected}, found {found}; {cause}"
        f"{_REMEDY}; if you changed it on purpose, {_RENEW}",
    )


if __name__ == "__main__":
    sys.exit(main())
