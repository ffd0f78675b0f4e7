"""Strategies: a content with some of its values replaced, added or taken out."""

from __future__ import annotations

import copy
from collections.abc import Iterable
from typing import Any

from any_schedule import LINE
from hypothesis import strategies as st

Place = tuple[str | int, ...]
GONE = object()  # takes a value out

JSON_VALUES = st.sampled_from(
    [None, True, False, 0, 1, -1, 0.0, -1.5, 1e-300, 1e200, 1e308, 10**30, "", "a", "0.4 mm",
     "\x00", "\x1b[31m", "日本語", "../x", "x" * 3000, [], {}, [[]], [None], {"": 1}, [0, 1],
     ["a", "b"], float("nan"), float("inf"), GONE]
)  # fmt: skip


def places(data: Any, before: Place = ()) -> list[Place]:
    """Return the path of every value and table of a content."""
    found = [before] if before else []
    for key, value in _items(data):
        found += places(value, (*before, key))
    return found


def _items(data: Any) -> Iterable[tuple[str | int, Any]]:
    if isinstance(data, dict):
        return data.items()
    return enumerate(data) if isinstance(data, list) else ()


def put(data: Any, path: Place, value: object) -> Any:
    """Return a copy of a content with one value changed or taken out."""
    made = copy.deepcopy(data)
    inner = made
    for key in path[:-1]:
        inner = inner[key]
    if value is GONE:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return made


@st.composite
def altered(draw: st.DrawFn, base: Any, values: st.SearchStrategy[Any], most: int = 3) -> Any:
    """Return a content with up to a few values replaced and sometimes one added."""
    data = base
    for _ in range(draw(st.integers(0, most))):
        known = places(data)
        if known:
            data = put(data, draw(st.sampled_from(known)), draw(values))
    named = [path for path in places(data) if isinstance(path[-1], str)]
    if named and draw(st.integers(0, 3)) == 0:
        table = draw(st.sampled_from(named))[:-1]
        key = draw(LINE | st.sampled_from(["", "a\nb"]))
        added = draw(values)
        data = data if added is GONE else put(data, (*table, key), added)
    return data
