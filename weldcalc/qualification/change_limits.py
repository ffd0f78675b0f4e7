"""How far each variable may move before a new test is needed, as typed by the user."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from pathlib import Path

from attrs import Factory, evolve, frozen

from weldcalc.errors import Problems
from weldcalc.fields import nearest
from weldcalc.qualification.typed import Entry, load_typed
from weldcalc.quantities import field, parse
from weldcalc.schedules.table import keys_of

MOVES = ("change_at_most", "increase_at_most", "decrease_at_most")
COMPARED = ("code", "joint", "goal", "laser", "shielding", "preparation", "pass")
"""Tables of the schedule file that are compared."""

COUNTED = "passes.count"
ORDERED = "passes.order"

_TEXTS = ("path", "name", "clause", "note")
_KEYS = (*_TEXTS, *MOVES, "from", "to", "allowed", "may_change")
_TOP = ("title", "document", "typed_by", "source", "standing", "variable")
_SHARE = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*%\s*")
# fields of the same unit whose range starts at zero: a small change is no implausible value
_CHANGE_FIELDS = {
    "m": "penetration",
    "s": "solidification_time",
    "W": "average_power",
    "J": "absorbed_energy",
    "K": "temperature_rise",
    "rad": "closing_overlap",
    "1": "penetration_fraction",
}


@frozen
class Move:
    """A limit on how far a value may move.

    Parameters
    ----------
    value : float
        Share of the old value [-] where `is_share` is set, else a size [SI].
    is_share : bool
        How it was typed.
    typed : str
        As typed.
    """

    value: float
    is_share: bool
    typed: str


@frozen
class VariableLimit:
    """Limits of one variable.

    Parameters
    ----------
    path : str
        "joint.gap", or "pass.peak_power" for that value in every pass; empty for a variable that
        a person has to compare.
    name, clause, note : str
        As typed.
    moves : mapping of str to Move
        By `MOVES`, those typed.
    low, high : float or None
        Ends of the qualified range [SI].
    allowed : tuple of str
        Words qualified.
    may_change : bool or None
        Whether any change is allowed; None where blank.
    """

    path: str
    name: str = ""
    clause: str = ""
    note: str = ""
    moves: Mapping[str, Move] = Factory(dict)
    low: float | None = None
    high: float | None = None
    allowed: tuple[str, ...] = ()
    may_change: bool | None = None

    @property
    def has_range(self) -> bool:
        """Return True when a qualified range or qualified words were typed."""
        return self.low is not None or self.high is not None or bool(self.allowed)

    @property
    def is_blank(self) -> bool:
        """Return True when nothing was typed."""
        return not (self.moves or self.has_range or self.may_change is not None)


@frozen
class ChangeLimits:
    """The file of limits.

    Parameters
    ----------
    name, sha256 : str
        Of the file.
    title, document, typed_by : str
        As typed.
    variables : tuple of VariableLimit
        In the order of the file.
    """

    name: str = ""
    sha256: str = ""
    title: str = ""
    document: str = ""
    typed_by: str = ""
    variables: tuple[VariableLimit, ...] = ()

    def of(self, path: str) -> VariableLimit | None:
        """Return the limits of a path in the form "pass.peak_power"; None where none stand."""
        return next((item for item in self.variables if item.path == path), None)


def read_change_limits(path: Path) -> ChangeLimits:
    """Read limits of change.

    Parameters
    ----------
    path : pathlib.Path
        TOML file made from ``reference_data/qualification/essential_variables_template.toml``.

    Returns
    -------
    ChangeLimits
        Blank limits stay blank.

    Raises
    ------
    InputError
        With every problem of the file.
    """
    file = load_typed(path)
    problems = Problems()
    top = Entry(file.data, "", problems)
    top.only(_TOP)
    variables = tuple(_variable(entry) for entry in top.children("variable"))
    paths = [item.path for item in variables if item.path]
    for twice in sorted({path for path in paths if paths.count(path) > 1}):
        problems.add("variable", "this path stands more than once; keep one", twice)
    limits = ChangeLimits(
        name=file.name,
        sha256=file.sha256,
        title=top.text("title"),
        document=top.text("document"),
        typed_by=top.text("typed_by"),
        variables=variables,
    )
    problems.raise_if_any(str(path))
    return limits


def is_quantity(path: str) -> bool:
    """Return True when a path names a single number with a unit, or a count.

    Parameters
    ----------
    path : str
        In the form "pass.peak_power".
    """
    if path in (COUNTED, ORDERED) or path.endswith("_range"):
        return False
    return field(path).kind in ("quantity", "number", "count")


def _variable(entry: Entry) -> VariableLimit:
    entry.only(_KEYS)
    path, name, clause, note = (entry.text(key) for key in _TEXTS)
    plain = VariableLimit(path=path, name=name, clause=clause, note=note)
    why = _path_problem(path) if path else ""
    if why:
        entry.note("path", why)
        return plain
    if not path:
        if entry.table.keys() - set(_TEXTS):
            entry.note("path", "a limit needs the path of a value of the schedule file")
        return plain
    worded = evolve(plain, allowed=entry.words("allowed"), may_change=_yes_or_no(entry))
    return _with_numbers(worded, entry)


def _with_numbers(plain: VariableLimit, entry: Entry) -> VariableLimit:
    typed = [key for key in (*MOVES, "from", "to") if entry.table.get(key)]
    if not is_quantity(plain.path):
        if typed:
            entry.note(typed[0], "this value is no quantity; use allowed or may_change")
        return plain
    low, high = (entry.size(key, plain.path) for key in ("from", "to"))
    if low is not None and high is not None and low > high:
        entry.note("from", f'lies above to = "{entry.table["to"]}"; nothing would be qualified')
    moves = {key: move for key in MOVES if (move := _move(entry, key, plain.path))}
    return evolve(plain, moves=moves, low=low, high=high)


def _path_problem(path: str) -> str:
    if path in (COUNTED, ORDERED):
        return ""
    table, _, leaf = path.partition(".")
    known = [f"{name}.{key}" for name in COMPARED for key in keys_of(name)]
    if table in COMPARED and leaf in keys_of(table):
        return ""
    close = nearest(path, known)
    return "no value of the schedule file" + (f"; nearest: {', '.join(close)}" if close else "")


def _move(entry: Entry, key: str, path: str) -> Move | None:
    given, unit = entry.table.get(key, ""), field(path).si_unit
    plain = field(path).kind in ("number", "count")
    share = _SHARE.fullmatch(given) if isinstance(given, str) else None
    if plain and not share:
        return _plain_move(entry, key)
    text = entry.text(key)
    if not text:
        return None
    if share and field(path).is_temperature:
        entry.note(key, 'a share of a temperature says nothing; give a size, such as "20 K"')
        return None
    if share and (plain or unit != "1"):
        return Move(float(share[1]) / 100.0, True, text)
    size = parse(
        text, _CHANGE_FIELDS.get(unit, path), where=entry.path(key), problems=entry.problems
    )
    return None if size is None else Move(size, False, text)


def _plain_move(entry: Entry, key: str) -> Move | None:
    given = entry.table.get(key, "")
    if given == "":
        return None
    if isinstance(given, int | float) and not isinstance(given, bool) and 0 <= given < math.inf:
        return Move(float(given), False, f"{given:g}")
    entry.note(key, 'write a share, such as "10 %", or a number without quotes')
    return None


def _yes_or_no(entry: Entry) -> bool | None:
    word = entry.text("may_change").lower()
    if word not in ("", "yes", "no"):
        entry.note("may_change", 'write "yes" or "no", or leave it blank')
    return {"yes": True, "no": False}.get(word)
