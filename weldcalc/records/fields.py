"""What a record says about its inputs: every field as typed and in SI, and the item list."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import attrs

from weldcalc.fields import FIELDS, plain_name, pretty_unit, show, to_shown
from weldcalc.quantities import shortest_text
from weldcalc.reference import read_toml
from weldcalc.schedules.assumed_scatter import assumed_scatter

if TYPE_CHECKING:
    from weldcalc.schedule import Schedule

TABLES = ("joint", "goal", "laser", "shielding", "preparation", "scatter")
# fields that may name a file; such a file is kept under its own name, as the schedule calls it
MATERIAL_ROLES = ("material", "plate_material")
NOT_GIVEN = "not given"
TYPED = "typed"
FOLLOWS = "follows from the rest"
DEFAULT = "stated default"

OPEN = "open"
PARTLY = "partly"
TO_CONFIRM = "default, to be confirmed"
FROM_SCHEDULE = "from the schedule"
BY_A_PERSON = "filled in by a person"
UNSETTLED = (OPEN, PARTLY, TO_CONFIRM)

# never a default: worked out from the other of a pair, from the optics, or taken from [laser]
_WORKED_OUT = frozenset(
    {"peak_power", "pulse_energy", "travel_speed", "rotation", "spot_diameter", "profile"}
)
_TYPED_DIGITS = 9  # more than anybody types, fewer than the rounding of a float
_NOT_A_FIELD = frozenset({"name", "given"})


def schedule_fields(schedule: Schedule) -> dict[str, dict[str, Any]]:
    """Return every field of a schedule as typed, in SI and as shown.

    Parameters
    ----------
    schedule : Schedule
        As loaded.

    Returns
    -------
    dict of str to dict
        From "joint.gap" or "pass.root.peak_power" to a row with the keys name, typed, si, si_unit,
        shown and standing ("typed", "follows from the rest", "stated default" or "not given"; of
        scatter that is assumed "stated default, common practice", or what else it rests on).
    """
    rows: dict[str, dict[str, Any]] = {}
    for table in TABLES:
        typed = schedule.typed.get(table, {})
        rows |= {
            f"{table}.{leaf}": row for leaf, row in _rows(getattr(schedule, table), table, typed)
        }
    for leaf, assumed in assumed_scatter(schedule.scatter, schedule.laser).items():
        path = f"scatter.{leaf}"
        told = {
            "shown": shortest_text(assumed.value, path),
            "standing": f"{DEFAULT}, {assumed.standing}",
        }
        rows[path] = _row(assumed.value, path, None) | told
    for weld_pass, typed in zip(schedule.passes, schedule.typed.get("pass", []), strict=True):
        path = f"pass.{weld_pass.name}"
        rows |= {f"{path}.{leaf}": row for leaf, row in _rows(weld_pass, "pass", typed)}
    return rows


def _rows(part: Any, table: str, typed: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for attribute in attrs.fields(type(part)):
        leaf = attribute.name
        if leaf not in _NOT_A_FIELD:
            yield leaf, _row(getattr(part, leaf), f"{table}.{leaf}", typed.get(leaf))


def _row(value: Any, path: str, typed: Any) -> dict[str, Any]:
    leaf = path.rpartition(".")[2]
    key = path if path in FIELDS else leaf
    if leaf in MATERIAL_ROLES and typed is not None:
        value = typed  # a loaded schedule holds the path of a user's own file: not for a record
    is_quantity = key in FIELDS and FIELDS[key].kind in ("quantity", "number", "count")
    return {
        "name": plain_name(leaf),
        "typed": typed,
        "si": value if is_quantity else None,
        "si_unit": FIELDS[key].si_unit if is_quantity else None,
        "shown": _shown(value, key, typed) if is_quantity else _words(value, typed),
        "standing": _standing(leaf, value, typed),
    }


def _standing(leaf: str, value: Any, typed: Any) -> str:
    if typed is not None:
        return TYPED
    if value is None:
        return NOT_GIVEN
    return FOLLOWS if leaf in _WORKED_OUT else DEFAULT


def _shown(value: Any, key: str, typed: Any) -> str:
    """Return a quantity for people: what was typed is never rounded, a gas of 99.999 % least."""
    if value is None or typed is None:
        return show(value, key)
    ends = value if isinstance(value, tuple) else (value,)
    numbers = " to ".join(f"{to_shown(end, key):.{_TYPED_DIGITS}g}" for end in ends)
    return f"{numbers} {pretty_unit(FIELDS[key].shown_unit)}".rstrip()


def _words(value: Any, typed: Any) -> str:
    if value is None:
        return NOT_GIVEN
    if isinstance(typed, list):  # corners of a pulse shape
        return ", ".join(f"{power:g} at {time:g}" for time, power in typed)
    return value if isinstance(value, str) else str(typed if typed is not None else value)


def record_items(
    fields: Mapping[str, Mapping[str, Any]], answers: Mapping[str, str]
) -> list[dict[str, str]]:
    """Return the items a welding procedure specification has to state, and where each stands.

    Parameters
    ----------
    fields : mapping
        From `schedule_fields`, with "record.number" and the like added.
    answers : mapping of str to str
        What a person filled in, by item key ("6.1").

    Returns
    -------
    list of dict
        Keys: key, group, text, state ("from the schedule", "filled in by a person", "default, to be
        confirmed", "partly" or "open") and answer.

    References
    ----------
    .. [1] ISO 15609-4:2009; groups from memory, to be verified by the user.
    """
    items = read_toml("record_items.toml")["item"]
    return [_item(item, fields, str(answers.get(item["key"], "")).strip()) for item in items]


def _item(
    item: Mapping[str, Any], fields: Mapping[str, Mapping[str, Any]], answer: str
) -> dict[str, str]:
    state, known = _known(item, fields)
    if answer:
        state, known = BY_A_PERSON, "; ".join(filter(None, [answer, known]))
    return {
        "key": item["key"],
        "group": item["group"],
        "text": item["text"],
        "state": state,
        "answer": known,
    }


def _known(item: Mapping[str, Any], fields: Mapping[str, Mapping[str, Any]]) -> tuple[str, str]:
    if "fixed" in item:
        return FROM_SCHEDULE, item["fixed"]
    rows = {path: fields[path] for path in _paths(item, fields)}
    stated = {path: row for path, row in rows.items() if row["standing"] != NOT_GIVEN}
    typed = {path: row for path, row in stated.items() if row["standing"] == TYPED}
    if item.get("any_of") and typed:
        stated = typed
    text = "; ".join(f"{_label(path)}{row['shown']}" for path, row in stated.items())
    missing = [row["name"] for row in rows.values() if row["standing"] == NOT_GIVEN]
    if not stated:
        return OPEN, ""
    if missing and not item.get("any_of"):
        return PARTLY, f"{text}; still open: {', '.join(dict.fromkeys(missing))}"
    is_default = all(row["standing"] == DEFAULT for row in stated.values())
    return TO_CONFIRM if is_default else FROM_SCHEDULE, text


def _paths(item: Mapping[str, Any], fields: Mapping[str, Any]) -> list[str]:
    """Return the fields behind an item, each "pass.x" once for every pass."""
    found = []
    for wanted in item.get("filled_by", []):
        table, _, leaf = wanted.partition(".")
        if table == "pass":
            found += [path for path in fields if _is_pass_field(path, leaf)]
        elif wanted in fields:
            found.append(wanted)
    return found


def _is_pass_field(path: str, leaf: str) -> bool:
    return path.startswith("pass.") and path.rsplit(".", 1)[1] == leaf


def _label(path: str) -> str:
    return f"{path.removeprefix('pass.').rsplit('.', 1)[0]}: " if path.startswith("pass.") else ""
