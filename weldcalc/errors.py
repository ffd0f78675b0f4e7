"""Exceptions and warnings of weldcalc: one small tree, each with the exit code it leads to."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from attrs import define, field, frozen


class WeldcalcError(Exception):
    """Base of all errors raised on purpose; on its own it means that weldcalc failed."""

    exit_code: ClassVar[int] = 3


class NegativeAnswer(WeldcalcError):
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
        if self.given is None:
            return f"{self.where}: {self.why}"
        shown = f'"{self.given}"' if isinstance(self.given, str) else repr(self.given)
        return f"{self.where} = {_shortened(shown)}: {self.why}"


class InputError(WeldcalcError):
    """The input cannot be used; carries every problem found, not just the first.

    Parameters
    ----------
    problems : iterable of Problem
        At least one.
    """

    exit_code: ClassVar[int] = 2

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    @classmethod
    def of(cls, where: str, why: str, given: object = None) -> InputError:
        """Return an error with a single problem."""
        return cls([Problem(where=where, why=why, given=given)])


class ReferenceDataError(InputError):
    """Shipped data are missing or do not match their manifest."""


class ValidityWarning(UserWarning):
    """A formula or model was used outside the range it was checked in."""


@define
class Problems:
    """Collects problems so that all are reported at once."""

    found: list[Problem] = field(factory=list)

    def add(self, where: str, why: str, given: object = None) -> None:
        """Note one problem."""
        self.found.append(Problem(where=where, why=why, given=given))

    def raise_if_any(self) -> None:
        """Raise all problems found so far.

        Raises
        ------
        InputError
            When at least one problem was noted.
        """
        if self.found:
            raise InputError(self.found)


def _shortened(text: str, most: int = 80) -> str:
    # a value that fills the screen hides the remedy behind it
    return text if len(text) <= most else text[: most - 1] + "…"
