"""Strategies: every schedule that the rules of the schedule file allow, as it would be typed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from hypothesis import strategies as st
from schedules import sheet, tube

from weldcalc.fields import FIELDS, Field
from weldcalc.quantities import shortest_text
from weldcalc.schedules.reader import PLATE_KEYS, SPOT_KEYS, STACK_KEYS
from weldcalc.schedules.table import keys_of

LINE = st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=20)
_METALS = ("Ti Grade 1", "Ti Grade 2", "Ti-6Al-4V", "316L")
_ROUND = ("arc", "segments", "segment_pause", "closing_overlap")
_IN_PASS = ("spot_diameter", "profile", "beam_offset", "beam_angle", "pulse_shape", "preheat",
            "pause_before")  # fmt: skip
_PLAIN_TABLES = ("code", "shielding", "preparation", "scatter")


def value_of(made: Field) -> st.SearchStrategy[Any]:
    """Return any value that a field may have, as it is typed."""
    if made.key == "pulse_duration_range":
        ends = st.tuples(st.floats(made.low, 5e-3), st.floats(6e-3, made.high))
        return ends.map(lambda pair: [shortest_text(end, made.key) for end in pair])
    if made.kind == "quantity":
        return between(made).map(lambda value: shortest_text(value, made.key))
    others = {
        "choice": st.sampled_from(made.choices or ("",)),
        "count": st.integers(1, 100),
        "number": between(made),
        "corners": st.sampled_from(["square", [[0, 1], [1, 0.5]], [[0, 0], [0.2, 1], [1, 1]]]),
        "text": LINE,
    }
    return others[made.kind]


def between(made: Field) -> st.SearchStrategy[float]:
    """Return values [SI] from the whole range of a field, small ones as often as large ones."""
    ends = st.sampled_from([made.low, made.high])
    if made.low > 0:
        low, high = math.log(made.low), math.log(made.high)
        inner = st.floats(low, high).map(lambda x: min(max(math.exp(x), made.low), made.high))
        return ends | inner
    return ends | st.floats(made.low, made.high, allow_nan=False)


def _some(draw: st.DrawFn, table: str, keys: Sequence[str]) -> dict[str, Any]:
    """Return some of the keys of a table, with any allowed values."""
    return {
        key: draw(value_of(FIELDS.get(f"{table}.{key}") or FIELDS[key]))
        for key in keys
        if draw(st.booleans())
    }


def _all(draw: st.DrawFn, table: str, keys: Sequence[str]) -> dict[str, Any]:
    return {key: draw(value_of(FIELDS.get(f"{table}.{key}") or FIELDS[key])) for key in keys}


def _joint(draw: st.DrawFn, form: str) -> dict[str, Any]:
    wall = draw(st.floats(2e-5, 1e-2))
    joint: dict[str, Any] = {
        "material": draw(st.sampled_from(_METALS)),
        "wall_thickness": shortest_text(wall, "wall_thickness"),
        **_some(draw, "joint", ("gap", "mismatch")),
    }
    if form == "sheet":
        return joint | _all(draw, "joint", ["seam_length"])
    outside = draw(st.floats(max(3e-4, 2.01 * wall), 0.5))
    joint["outside_diameter"] = shortest_text(outside, "outside_diameter")
    if form in ("flush", "fillet"):
        plate = {"plate_material": draw(st.sampled_from(_METALS))}
        joint |= {"type": "tube-to-plate", "form": form, **plate}
        joint |= _all(draw, "joint", [key for key in PLATE_KEYS if key not in plate])
    if form in ("tube", "fillet"):
        joint |= _stack(draw)
    return joint


def _stack(draw: st.DrawFn) -> dict[str, Any]:
    """Return tolerances of the parts: each of them needs another beside it."""
    made = _some(draw, "joint", STACK_KEYS)
    if "set_gap" not in made:
        made.pop("length_tolerance", None)
    if not {"face_squareness", "length_tolerance"} & set(made):
        return {}
    return made


def _goals(form: str, *, has_gap: bool) -> list[str]:
    """Return the goals that may be asked of a joint."""
    gone = {"underfill"} if not has_gap else set()
    gone |= {"root_width"} if form in ("flush", "fillet") else set()
    return [key for key in keys_of("goal") if key not in gone]


def _laser(draw: st.DrawFn) -> dict[str, Any]:
    plain = [key for key in keys_of("laser") if key not in (*SPOT_KEYS, "spot_diameter")]
    spot = draw(value_of(FIELDS["spot_diameter"]))
    return {"spot_diameter": spot, **_some(draw, "laser", plain)}


def _pass(draw: st.DrawFn, name: str, form: str) -> dict[str, Any]:
    power = draw(st.floats(1, 1e4))
    duration = draw(st.floats(1e-4, 0.05))
    speed = draw(value_of(FIELDS["travel_speed"]))
    return {
        "name": name,
        "peak_power": shortest_text(power, "peak_power"),
        "pulse_duration": shortest_text(duration, "pulse_duration"),
        "repetition_rate": draw(value_of(FIELDS["repetition_rate"])),
        "travel_speed": speed,
        **_some(draw, "pass", _IN_PASS if form == "sheet" else (*_IN_PASS, *_ROUND)),
    }


@st.composite
def schedules_as_typed(draw: st.DrawFn) -> dict[str, Any]:
    """Return tables and keys of a schedule of any form, every rule of the reader kept."""
    form = draw(st.sampled_from(["tube", "sheet", "flush", "fillet"]))
    base = sheet() if form == "sheet" else tube()
    typed = base | {key: draw(LINE) for key in keys_of("")}
    typed["joint"] |= _joint(draw, form)
    typed["laser"] = _laser(draw)
    typed |= {name: _some(draw, name, keys_of(name)) for name in _PLAIN_TABLES}
    typed["goal"] = _some(draw, "goal", _goals(form, has_gap="gap" in typed["joint"]))
    names = draw(st.lists(LINE, min_size=1, max_size=3, unique=True))
    typed["pass"] = [_pass(draw, name, form) for name in names]
    return typed
