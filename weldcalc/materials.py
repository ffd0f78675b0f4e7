"""Finds metals: the shipped grades by any common spelling, or a user's own file.

The shipped grades live in ``reference_data/materials``, one TOML file a grade; a user's own file
of the same form works as well.
"""

from __future__ import annotations

import hashlib
import re
from difflib import get_close_matches
from functools import cache
from pathlib import Path, PurePath
from typing import Any

from weldcalc import reference
from weldcalc.errors import InputError, Problems
from weldcalc.metals.file import read_material
from weldcalc.metals.form import Property
from weldcalc.metals.model import Material
from weldcalc.schedules.toml_file import read_toml_file, toml_from_bytes

__all__ = ["Material", "Property", "material", "material_names"]

_FOLDER = "materials"


def material(name_or_path: str | Path) -> Material:
    """Return a material by name, or from a user's own file.

    Parameters
    ----------
    name_or_path : str or pathlib.Path
        A grade in any common spelling ("Ti Grade 2", "ti_gr2", "Ti-6Al-4V", "316L"), or the path
        of a file that ends in ``.toml``.

    Returns
    -------
    Material

    Raises
    ------
    InputError
        When no grade has that name (the nearest are named), or the file cannot be used (every
        problem is listed).
    """
    if isinstance(name_or_path, PurePath) or name_or_path.lower().endswith(".toml"):
        return _from_file(Path(name_or_path))
    spellings = _spellings()
    wanted = _plain(name_or_path)
    if wanted in spellings:
        return _shipped(spellings[wanted])
    near = get_close_matches(wanted, spellings, n=3)
    names = list(dict.fromkeys(_shipped(spellings[spelling]).name for spelling in near))
    raise InputError.of(
        "material",
        (f"is not known; nearest: {', '.join(names)}; " if names else "is not known; ")
        + f"known are: {', '.join(material_names())}; or give the path of a .toml file",
        name_or_path,
    )


def material_names() -> tuple[str, ...]:
    """Return the names of the shipped grades.

    Raises
    ------
    ReferenceDataError
        When the shipped data are missing or changed.
    """
    names = (_shipped(path).name for path in _shipped_paths())
    return tuple(sorted(names, key=_in_order))


@cache
def _shipped_paths() -> tuple[str, ...]:
    return reference.listed(_FOLDER, ".toml")


@cache
def _shipped(path: str) -> Material:
    content = reference.read_bytes(path)
    return _made(content, toml_from_bytes(content, path), path)


@cache
def _spellings() -> dict[str, str]:
    found: dict[str, str] = {}
    for path in _shipped_paths():
        grade = _shipped(path).grade
        for spelling in (grade.key, grade.name, *grade.aliases):
            found[_plain(spelling)] = path
    return found


def _in_order(name: str) -> tuple[int, str]:
    # Grade 9 before Grade 23
    number = re.search(r"\d+", name)
    return (int(number[0]) if number else 0, name)


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.lower())


def _from_file(path: Path) -> Material:
    content, document = read_toml_file(path)
    return _made(content, document, str(path))


def _made(content: bytes, document: dict[str, Any], where: str) -> Material:
    problems = Problems()
    grade, properties = read_material(document, where, problems)
    problems.raise_if_any()
    digest = hashlib.sha256(content).hexdigest()
    return Material(grade=grade, properties=properties, path=where, sha256=digest)
