"""Strict reading of TOML files that people fill in from a template; blank means "not stated"."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from attrs import frozen

from weldcalc.errors import Problems
from weldcalc.fields import nearest
from weldcalc.quantities import field, parse
from weldcalc.schedules.toml_file import key_path, read_toml_file


@frozen
class TypedFile:
    """A TOML file as read.

    Parameters
    ----------
    name : str
        File name.
    sha256 : str
        Digest of its bytes.
    data : mapping
        Its content.
    """

    name: str
    sha256: str
    data: Mapping[str, Any]


def load_typed(path: Path) -> TypedFile:
    """Read a TOML file of reasonable size.

    Parameters
    ----------
    path : pathlib.Path
        UTF-8 text.

    Returns
    -------
    TypedFile
        Content and digest.

    Raises
    ------
    InputError
        When it is missing, too large, not UTF-8, or not TOML.
    """
    content, data = read_toml_file(path)
    return TypedFile(name=path.name, sha256=hashlib.sha256(content).hexdigest(), data=data)


@frozen
class Entry:
    """One table of a typed file, read key by key; every problem is noted, none raised.

    Parameters
    ----------
    table : mapping
        What was typed.
    where : str
        Path of the table, for messages; empty for the top of the file.
    problems : Problems
        Collects what is wrong.
    """

    table: Mapping[str, Any]
    where: str
    problems: Problems

    def path(self, key: str) -> str:
        """Return the path of a key."""
        return key_path(self.where, key)

    def note(self, key: str, why: str) -> None:
        """Note a problem with a key."""
        self.problems.add(self.path(key), why, self.table.get(key))

    def only(self, known: Collection[str]) -> None:
        """Note every key that is not known, with the nearest names."""
        for key in self.table.keys() - set(known):
            close = nearest(key, known)
            why = "unknown key" + (f"; nearest: {', '.join(close)}" if close else "")
            self.note(key, f"{why}. Known here: {', '.join(known)}" if not close else why)

    def text(self, key: str) -> str:
        """Return a text; empty when it is missing or blank."""
        value = self.table.get(key, "")
        if isinstance(value, str):
            return value.strip()
        self.note(key, "write text in quotes")
        return ""

    def words(self, key: str) -> tuple[str, ...]:
        """Return a list of texts; empty when it is missing."""
        value = self.table.get(key, [])
        if isinstance(value, list) and all(isinstance(word, str) for word in value):
            return tuple(word.strip() for word in value if word.strip())
        self.note(key, 'write a list of texts, such as ["silver", "straw"]')
        return ()

    def size(self, key: str, name: str) -> float | None:
        """Return a value of the field `name` [SI]; None when it is missing or blank."""
        plain = field(name).kind in ("number", "count")
        given = self.table.get(key, "") if plain else self.text(key)
        if given == "":
            return None
        return parse(given, name, where=self.path(key), problems=self.problems)

    def share(self, key: str) -> float | None:
        """Return a share between 0 and 1 [-]; None when it is missing or blank."""
        value = self.size(key, "penetration_fraction")
        if value is None or 0.0 < value < 1.0:
            return value
        self.note(key, 'must lie between 0 % and 100 %, both excluded, such as "95 %"')
        return None

    def whole(self, key: str) -> int | None:
        """Return a whole number that is not negative; None when it is missing or blank."""
        value = self.table.get(key, "")
        if value == "":
            return None
        if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
            return value
        self.note(key, "write a whole number without quotes, 0 or more")
        return None

    def child(self, key: str) -> Entry:
        """Return a table inside this one; empty when it is missing."""
        value = self.table.get(key, {})
        if not isinstance(value, dict):
            self.note(key, f"write it as a table: [{self.path(key)}]")
            value = {}
        return Entry(value, self.path(key), self.problems)

    def children(self, key: str) -> tuple[Entry, ...]:
        """Return the tables of a list inside this one; empty when it is missing."""
        value = self.table.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            self.note(key, f"write each as [[{self.path(key)}]]")
            return ()
        return tuple(
            Entry(item, f"{self.path(key)}[{number}]", self.problems)
            for number, item in enumerate(value)
        )
