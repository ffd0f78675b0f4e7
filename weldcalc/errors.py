"""Exceptions and warnings of weldcalc: one small tree, each with the exit code it leads to."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any, ClassVar

from attrs import define, evolve, field, frozen

_LINE = re.compile(r", line (\d+)(?=,|$)")
_MOST_ALIKE = 3  # lines of a table with one and the same mistake that are told one by one


class WeldcalcError(Exception):
    """Base of all errors raised on purpose; on its own it means that weldcalc failed."""

    exit_code: ClassVar[int] = 3


class _Told(WeldcalcError):
    """What the message alone explains: a notebook shows it without the way through the code."""

    def _render_traceback_(self) -> list[str]:
        # asked for by IPython; a page of Python would hide the one line that helps
        return [f"{type(self).__name__}: {self}"]


class NegativeAnswer(_Told):
    """The question was understood and the answer is no (not reproduced, no schedule found)."""

    exit_code: ClassVar[int] = 1


@frozen
class Problem:
    """One thing that is wrong with an input.

    Parameters
    ----------
    where : str
        Path of the value: a dotted key, a CSV row and column, or a file.
    why : str
        What is wrong and what to do about it.
    given : object, optional
        The value as typed; None where there is none to show.
    """

    where: str
    why: str
    given: object = None

    def __str__(self) -> str:
        """Return one line: where = "given": why."""
        where, why = _one_line(self.where), _one_line(self.why)
        if self.given is None:
            return f"{where}: {why}"
        return f"{where} = {_shortened(_one_line(_shown(self.given)))}: {why}"


class InputError(_Told):
    """The input cannot be used; carries every problem found, not just the first.

    The text tells a mistake that is repeated down a table once.

    Parameters
    ----------
    problems : iterable of Problem
        At least one.
    file : str, optional
        File that all of them stand in, where the problems themselves do not name it.
    """

    exit_code: ClassVar[int] = 2

    def __init__(self, problems: Iterable[Problem], file: str = "") -> None:
        self.problems = tuple(problems)
        self.file = _one_line(file)
        stem = f"{self.file}: " if file else ""
        super().__init__("\n".join(f"{stem}{line}" for line in self.lines()))

    def lines(self) -> list[str]:
        """Return a line for each problem, and one for a mistake repeated down a table."""
        alike: dict[tuple[str, str], list[Problem]] = {}
        for one in self.problems:
            alike.setdefault((_LINE.sub("", one.where, 1), one.why), []).append(one)
        return [line for group in alike.values() for line in _told(group)]

    def __reduce__(self) -> tuple[Any, ...]:
        """Return how to build it again: it may come back from a worker process."""
        return type(self), (self.problems, self.file)

    @classmethod
    def of(cls, where: str, why: str, given: object = None) -> InputError:
        """Return an error with a single problem."""
        return cls([Problem(where=where, why=why, given=given)])

    def in_file(self, file: str) -> InputError:
        """Return the same refusal with the name of the file that the problems stand in."""
        return type(self)(self.problems, file)

    def relative_to(self, folder: str) -> InputError:
        """Return the same refusal with a folder, its separator at the end, left out of paths."""
        problems = [
            Problem(one.where.removeprefix(folder), one.why, one.given) for one in self.problems
        ]
        return type(self)(problems, self.file.removeprefix(folder))


class ReferenceDataError(InputError):
    """Shipped data are missing or do not match their manifest."""


@define
class Problems:
    """Collects problems so that all are reported at once."""

    found: list[Problem] = field(factory=list)

    def add(self, where: str, why: str, given: object = None) -> None:
        """Note one problem."""
        self.found.append(Problem(where=where, why=why, given=given))

    def raise_if_any(self, file: str = "") -> None:
        """Raise all problems found so far.

        Parameters
        ----------
        file : str, optional
            As for `InputError`.

        Raises
        ------
        InputError
            When at least one problem was noted.
        """
        if self.found:
            raise InputError(self.found, file)


def _told(alike: Sequence[Problem]) -> list[str]:
    if len(alike) <= _MOST_ALIKE or not _LINE.search(alike[0].where):
        return [str(one) for one in alike]
    first = alike[0]
    where = _LINE.sub(rf"\g<0> and {len(alike) - 1} more rows", first.where, 1)
    return [str(evolve(first, where=where))]


def _shown(given: object) -> str:
    if isinstance(given, str):
        return f'"{given}"'
    try:
        return repr(given)
    except (ValueError, RecursionError):  # numbers of thousands of digits; lists without end
        return "..."


def _one_line(text: str) -> str:
    """Return a text with its line ends and control characters written out, fit for a terminal."""
    if text.isprintable():
        return text
    return "".join(
        one if one.isprintable() else one.encode("unicode_escape").decode() for one in text
    )


def _shortened(text: str, most: int = 80) -> str:
    # a value that fills the screen hides the remedy behind it
    return text if len(text) <= most else text[: most - 1] + "…"
