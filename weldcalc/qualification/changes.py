"""Two schedules: what changed, by how much, and whether the typed limits of change still hold."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from attrs import asdict, evolve, frozen

from weldcalc.fields import plain_name
from weldcalc.qualification.change_judging import (
    UNSTATED,
    Standing,
    standing_of,
    standing_of_word,
)
from weldcalc.qualification.change_limits import (
    COUNTED,
    ChangeLimits,
    VariableLimit,
    is_quantity,
    read_change_limits,
)
from weldcalc.qualification.flat import (
    Flat,
    FlatValue,
    family,
    flatten,
    is_number,
    pass_name,
    pass_names,
    same,
)
from weldcalc.quantities import field

if TYPE_CHECKING:
    from weldcalc.schedule import Schedule

__all__ = [
    "Change",
    "Comparison",
    "FlatValue",
    "compare",
    "compare_flat",
    "flatten",
    "read_change_limits",
]


@frozen
class Change:
    """One variable, in the old and the new schedule.

    Parameters
    ----------
    path : str
        "joint.gap" or "pass.root.peak_power".
    name, clause : str
        From the limits, where the variable stands there.
    old, new : str
        As typed.
    changed : bool
        False for a variable listed only because its qualified range was typed.
    difference : float or None
        New minus old [SI]; None for what is no number.
    relative : float or None
        Difference over the old value [-]; None where that is zero or no number.
    standing : {"within", "outside", "no limit stated"}
        Against the limits typed.
    reason : str
        Which limit decides.
    """

    path: str
    name: str
    clause: str
    old: str
    new: str
    changed: bool
    difference: float | None
    relative: float | None
    standing: Standing
    reason: str


@frozen
class Comparison:
    """Everything that changed between two schedules.

    Parameters
    ----------
    changes : tuple of Change
        In the order of the schedule.
    by_hand : tuple of str
        Variables of the limits that stand in no schedule and that a person has to compare.
    document : str
        What the limits were typed from; empty without limits.
    old, new : str
        Number and revision of the two schedules; empty where only values were compared.
    """

    changes: tuple[Change, ...]
    by_hand: tuple[str, ...]
    document: str = ""
    old: str = ""
    new: str = ""

    @property
    def requalify(self) -> bool:
        """Return True when a variable lies outside the limits typed."""
        return any(item.standing == "outside" for item in self.changes)

    @property
    def open(self) -> tuple[Change, ...]:
        """Return the changes for which no limit was typed."""
        return tuple(item for item in self.changes if item.standing == "no limit stated")

    def to_json(self) -> dict[str, Any]:
        """Return plain values; a difference is given with its unit, as text."""
        return {
            "old": self.old,
            "new": self.new,
            "requalification_needed": self.requalify,
            "changes": [_change_json(item) for item in self.changes],
            "compare_by_hand": list(self.by_hand),
            "document": self.document,
        }


def _change_json(change: Change) -> dict[str, Any]:
    plain = asdict(change)
    difference = plain.pop("difference")
    return plain | {
        "difference": None if difference is None else _size(difference, family(change.path))
    }


def compare(old: Schedule, new: Schedule, limits: ChangeLimits | None = None) -> Comparison:
    """Compare two schedules.

    Parameters
    ----------
    old, new : Schedule
        The qualified one and the one to be used.
    limits : ChangeLimits, optional
        As typed by the user; without them every change has "no limit stated".

    Returns
    -------
    Comparison
        Every changed variable, and every variable whose qualified range was typed.
    """
    titles = [f"{one.number} revision {one.revision}" for one in (old, new)]
    made = compare_flat(flatten(old), flatten(new), limits)
    return evolve(made, old=titles[0], new=titles[1])


def compare_flat(old: Flat, new: Flat, limits: ChangeLimits | None = None) -> Comparison:
    """Compare two sets of values by path.

    Parameters
    ----------
    old, new : mapping of str to FlatValue
        From `flatten`.
    limits : ChangeLimits, optional
        As typed by the user.

    Returns
    -------
    Comparison
        A pass that stands in one of them only is one change, not one for each of its values.
    """
    limits = limits or ChangeLimits()
    absent = FlatValue(None, "not given")
    whole = pass_names(old) ^ pass_names(new)
    changes = [
        change
        for path in dict.fromkeys((*old, *new))
        if pass_name(path) not in whole
        and (change := _change(path, old.get(path, absent), new.get(path, absent), limits))
    ]
    changes += [_whole_pass(name, name in pass_names(new), limits) for name in sorted(whole)]
    by_hand = tuple(_by_hand(item) for item in limits.variables if not item.path)
    return Comparison(changes=tuple(changes), by_hand=by_hand, document=limits.document)


def _by_hand(limit: VariableLimit) -> str:
    return f"{limit.name} ({limit.clause})" if limit.clause else limit.name


def _whole_pass(name: str, added: bool, limits: ChangeLimits) -> Change:
    limit = limits.of(COUNTED)
    standing, reason = standing_of_word(limit) if limit else UNSTATED
    words = ("absent", "present") if added else ("present", "absent")
    clause = limit.clause if limit else ""
    return Change(f"pass.{name}", "pass", clause, *words, True, None, None, standing, reason)


def _change(path: str, old: FlatValue, new: FlatValue, limits: ChangeLimits) -> Change | None:
    limit = limits.of(family(path))
    changed = not same(old.value, new.value)
    if not changed and (limit is None or not limit.has_range or new.value is None):
        return None
    difference = relative = None
    if changed and is_number(old.value) and is_number(new.value):
        difference = float(new.value - old.value)
        relative = _relative(difference, old.value, path)
    standing, reason = standing_of(limit, old, new, changed=changed, difference=difference)
    leaf = plain_name(path)
    return Change(
        path=path,
        name=limit.name if limit and limit.name else leaf,
        clause=limit.clause if limit else "",
        old=old.typed,
        new=new.typed,
        changed=changed,
        difference=difference,
        relative=relative,
        standing=standing,
        reason=reason,
    )


def _relative(difference: float, old: float, path: str) -> float | None:
    # a share of a temperature depends on where its scale starts
    absolute = is_quantity(family(path)) and field(family(path)).is_temperature
    return None if absolute or not old else difference / abs(old)


def _size(difference: float, path: str) -> str:
    if not is_quantity(path):  # a count, such as that of the passes
        return f"{difference:+.4g}"
    made = field(path)
    if made.is_temperature:
        return f"{difference:+.4g} K"
    return f"{difference * made.scale.per_si:+.4g} {made.shown_unit}".rstrip()
