"""Reads material files: one strict form for the shipped grades and for a user's own.

A file holds a ``[grade]`` table (who it is) and one table a property (value, unit, spread, source,
standing). Every problem is collected, so that a user sees all of them at once. A unit other than
the one of the form is refused rather than converted.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from itertools import pairwise
from typing import Any

from weldcalc.errors import Problems
from weldcalc.metals.form import (
    FAMILIES,
    FIELDS,
    FORMS,
    GRADE_FIELDS,
    GRADE_TEXTS,
    OPTIONAL_TEMPERATURES,
    OPTIONAL_TEXTS,
    RISING,
    STANDINGS,
    TEXTS,
    Alternative,
    Form,
    Grade,
    Pairs,
    Property,
    Value,
)
from weldcalc.schedules.toml_file import key_path

_STANDING = re.compile(
    r"published|common practice|from memory|own measurement|package:[\w.-]+", re.ASCII
)
_SPREAD = re.compile(r"(?P<number>\S+) (?P<unit>.+)")
_COLDEST, _HOTTEST = 200.0, 6000.0  # [K] a temperature outside is a slip of unit
_WARM = 350.0  # [K] a fade that ends below this would be a jump at room temperature


def read_material(
    document: Mapping[str, Any], where: str, problems: Problems
) -> tuple[Grade, dict[str, Property]]:
    """Return the grade and the properties of a material file, noting every problem.

    Parameters
    ----------
    document : mapping
        The file as read from TOML.
    where : str
        Name of the file, for messages.
    problems : Problems
        Receives what is wrong; the result is only fit for use when nothing was added.

    Returns
    -------
    grade : Grade
    properties : dict of str to Property
    """
    grade = _read_grade(document.get("grade"), f"{where}: grade", problems)
    tables = {key: raw for key, raw in document.items() if key != "grade"}
    _check_keys(tables, (*FORMS, "chemistry"), f"{where}: ", problems)
    _check_complete(tables, grade.family, where, problems)
    properties: dict[str, Property] = {}
    for key in (*FORMS, "chemistry"):
        if key in tables:
            found = _read_property(key, tables[key], f"{where}: {key}", problems)
            if found is not None:
                properties[key] = found
    _check_order(properties, where, problems)
    _check_special(properties, where, problems)
    return grade, properties


def _read_grade(raw: object, where: str, problems: Problems) -> Grade:
    if not isinstance(raw, Mapping):
        problems.add(where, "the table [grade] with key, name and family is missing")
        return Grade(key="", name="", family="")
    _check_keys(raw, GRADE_FIELDS, f"{where}.", problems)
    _check_texts(raw, GRADE_TEXTS, where, problems)
    family = raw.get("family")
    if _is_text(family) and family not in FAMILIES:
        problems.add(f"{where}.family", f"has to be one of: {', '.join(FAMILIES)}", family)
    aliases = raw.get("aliases", [])
    if not isinstance(aliases, list) or not all(_is_text(alias) for alias in aliases):
        problems.add(f"{where}.aliases", "has to be a list of texts", aliases)
        aliases = []
    return Grade(
        key=str(raw.get("key", "")),
        name=str(raw.get("name", "")),
        family=str(family),
        designation=str(raw.get("designation", "")),
        aliases=tuple(aliases),
    )


def _read_property(key: str, raw: object, where: str, problems: Problems) -> Property | None:
    if not isinstance(raw, Mapping):
        problems.add(where, "has to be a table with value, unit, source and standing", raw)
        return None
    before = len(problems.found)
    _check_fields(raw, where, problems)
    value, spread = _read_value(key, raw, where, problems)
    alternatives = _read_alternatives(
        raw.get("alternatives", []), f"{where}.alternatives", problems
    )
    if len(problems.found) > before or value is None:
        return None
    return Property(
        key=key,
        value=value,
        unit=raw["unit"],
        source=raw["source"],
        standing=raw["standing"],
        spread=spread,
        note="; ".join(raw[name] for name in ("note", "u_note", "read_in") if name in raw),
        derived=raw.get("derived", False),
        alternatives=alternatives,
        step=raw.get("step"),
        join_by=raw.get("join_by"),
        isotherm=raw.get("isotherm", ""),
    )


def _check_fields(raw: Mapping[str, Any], where: str, problems: Problems) -> None:
    _check_keys(raw, FIELDS, f"{where}.", problems)
    _check_texts(raw, TEXTS, where, problems)
    _check_standing(raw.get("standing"), f"{where}.standing", problems)
    _check_texts(raw, [name for name in OPTIONAL_TEXTS if name in raw], where, problems)
    for name in OPTIONAL_TEMPERATURES:
        if name in raw:
            _number(raw[name], _COLDEST, _HOTTEST, f"{where}.{name}", problems)
    if not isinstance(raw.get("derived", False), bool):
        problems.add(f"{where}.derived", "has to be true or false", raw["derived"])


def _read_value(
    key: str, raw: Mapping[str, Any], where: str, problems: Problems
) -> tuple[Value | None, float | None]:
    """Return value and relative spread; a composition has no spread."""
    given, form = raw.get("value"), FORMS.get(key)
    unit = "wt%" if form is None else form.unit
    if _is_text(raw.get("unit")) and raw["unit"] != unit:
        why = f'has to be "{unit}"; convert the value to that unit'
        problems.add(f"{where}.unit", why, raw["unit"])
    if form is None:
        return _composition(given, f"{where}.value", problems), None
    value = _number_or_pairs(given, form, f"{where}.value", problems)
    return value, _spread(raw.get("u"), value, unit, f"{where}.u", problems)


def _number_or_pairs(
    given: object, form: Form, where: str, problems: Problems
) -> float | Pairs | None:
    if given is None:
        problems.add(where, "is missing")
        return None
    if isinstance(given, list) and form.shape != "number":
        return _pairs(given, form, where, problems)
    if form.shape == "table":
        problems.add(where, "has to be a table [[temperature in K, value], ...]", given)
        return None
    return _number(given, form.low, form.high, where, problems)


def _number(given: object, low: float, high: float, where: str, problems: Problems) -> float | None:
    if isinstance(given, bool) or not isinstance(given, int | float) or not math.isfinite(given):
        problems.add(where, "has to be one finite number", given)
        return None
    if not low <= given <= high:
        problems.add(where, f"has to lie between {low:g} and {high:g}; check the unit", given)
        return None
    return float(given)


def _pairs(given: list[Any], form: Form, where: str, problems: Problems) -> Pairs | None:
    before = len(problems.found)
    if len(given) < 2:
        problems.add(where, "needs at least two pairs [temperature in K, value]", given)
    read = [_pair(raw, form, f"{where}[{i}]", problems) for i, raw in enumerate(given)]
    pairs = tuple(pair for pair in read if pair is not None)
    for (cold, _), (hot, _) in pairwise(pairs):
        if hot <= cold:
            problems.add(where, f"temperatures have to rise: {cold:g} K is followed by {hot:g} K")
    return pairs if len(problems.found) == before else None


def _pair(raw: object, form: Form, where: str, problems: Problems) -> tuple[float, float] | None:
    if not isinstance(raw, list) or len(raw) != 2:
        problems.add(where, "has to be a pair [temperature in K, value]", raw)
        return None
    temperature = _number(raw[0], _COLDEST, _HOTTEST, f"{where}[0] (temperature)", problems)
    value = _number(raw[1], form.low, form.high, f"{where}[1]", problems)
    return None if temperature is None or value is None else (temperature, value)


def _spread(
    given: object, value: float | Pairs | None, unit: str, where: str, problems: Problems
) -> float | None:
    match = _SPREAD.fullmatch(given) if isinstance(given, str) else None
    number = _as_number(match["number"]) if match else math.nan
    if match is None or match["unit"] not in ("%", unit) or not 0 < number < math.inf:
        why = f'has to be one standard deviation with its unit, as in "5 %" or "0.1 {unit}"'
        problems.add(where, why, "missing" if given is None else given)
        return None
    if match["unit"] == "%":
        return number / 100.0
    size = _size(value)
    if value is not None and size == 0:
        problems.add(where, "has no meaning as a share of a value of zero; give it in %", given)
    return number / size if size else None


def _size(value: float | Pairs | None) -> float:
    if value is None:
        return 0.0
    return abs(value) if isinstance(value, float) else abs(sum(v for _, v in value)) / len(value)


def _as_number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan


def _composition(
    given: object, where: str, problems: Problems
) -> tuple[tuple[Any, ...], ...] | None:
    form = '[["element", most], ["element", least, most], ...]'
    if not isinstance(given, list) or not given:
        problems.add(where, f"has to be a list {form}", given)
        return None
    before = len(problems.found)
    for index, row in enumerate(given):
        if not isinstance(row, list) or len(row) not in (2, 3) or not _is_text(row[0]):
            problems.add(f"{where}[{index}]", f"has to be of the form {form}", row)
            continue
        for share in row[1:]:
            _number(share, 0.0, 100.0, f"{where}[{index}]", problems)
    return tuple(map(tuple, given)) if len(problems.found) == before else None


def _any_value(given: object, where: str, problems: Problems) -> Value | None:
    """Return a number, pairs or a formula, of any size: it may stand there as rejected."""
    if isinstance(given, str) and _is_text(given):
        return given  # a formula
    wide = Form("", -math.inf, math.inf, "either")
    return _number_or_pairs(given, wide, where, problems)


def _read_alternatives(given: object, where: str, problems: Problems) -> tuple[Alternative, ...]:
    if not isinstance(given, list):
        problems.add(where, "has to be a list of tables, each with value, source, standing", given)
        return ()
    found = (_read_alternative(raw, f"{where}[{i}]", problems) for i, raw in enumerate(given))
    return tuple(alternative for alternative in found if alternative is not None)


def _read_alternative(raw: object, where: str, problems: Problems) -> Alternative | None:
    if not isinstance(raw, Mapping) or "value" not in raw:
        problems.add(where, "has to be a table with value, source and standing", raw)
        return None
    before = len(problems.found)
    known = ("value", "source", "standing", "note", "rejected")
    _check_keys(raw, known, f"{where}.", problems)
    _check_texts(raw, ("source", "standing"), where, problems)
    _check_standing(raw.get("standing"), f"{where}.standing", problems)
    value = _any_value(raw["value"], f"{where}.value", problems)
    if value is None or len(problems.found) > before:
        return None
    return Alternative(
        value=value,
        source=raw["source"],
        standing=raw["standing"],
        note=str(raw.get("note", "")),
        rejected=raw.get("rejected") is True,
    )


def _is_text(given: object) -> bool:
    return isinstance(given, str) and bool(given.strip())


def _check_keys(given: Iterable[str], known: Iterable[str], stem: str, problems: Problems) -> None:
    names = tuple(known)
    for key in given:
        if key not in names:
            near = get_close_matches(key, names, n=1)
            hint = f"did you mean {near[0]}?" if near else f"known are: {', '.join(names)}"
            problems.add(f"{stem}{key_path('', key)}", f"is not a known key; {hint}")


def _check_texts(
    raw: Mapping[str, Any], names: Iterable[str], where: str, problems: Problems
) -> None:
    for name in names:
        if name not in raw:
            problems.add(f"{where}.{name}", "is missing")
        elif not _is_text(raw[name]):
            problems.add(f"{where}.{name}", "has to be a text that is not empty", raw[name])


def _check_standing(given: object, where: str, problems: Problems) -> None:
    if isinstance(given, str) and given.strip() and not _STANDING.fullmatch(given):
        problems.add(where, f"has to be one of: {', '.join(STANDINGS)}", given)


def _check_complete(tables: Mapping[str, Any], family: str, where: str, problems: Problems) -> None:
    for key, form in FORMS.items():
        if key not in tables and family in form.needed_by:
            why = f"is missing; add a table [{key}] with value, unit ({form.unit}), u, source and "
            problems.add(f"{where}: {key}", why + "standing")


def _check_order(properties: Mapping[str, Property], where: str, problems: Problems) -> None:
    for chain in RISING:
        known = [(key, properties[key].value) for key in chain if key in properties]
        for (lower, low), (upper, high) in pairwise(known):
            if isinstance(low, float) and isinstance(high, float) and low >= high:
                why = f"has to lie below {upper}, which is {high:g} K"
                problems.add(f"{where}: {lower}.value", why, low)


def _check_special(properties: Mapping[str, Property], where: str, problems: Problems) -> None:
    """Note fields that only mean something on some properties, and have to be right there."""
    for key, found in properties.items():
        here = f"{where}: {key}"
        if found.step is not None and not _is_inside(found.step, found.value):
            problems.add(f"{here}.step", "has to lie inside the table of the property", found.step)
        if found.join_by is not None and not (key.endswith("_rt") and found.join_by > _WARM):
            why = f"belongs to a room-temperature value and has to lie above {_WARM:g} K"
            problems.add(f"{here}.join_by", why, found.join_by)
        if key == "haz_temperature" and not found.isotherm:
            problems.add(f"{here}.isotherm", "is missing; say what this temperature stands for")


def _is_inside(temperature: float, value: Value) -> bool:
    return isinstance(value, tuple) and bool(value[0][0] < temperature < value[-1][0])
