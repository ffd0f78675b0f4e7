"""Strategies: values as people and programs get them wrong, and whole files of them."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from attrs import frozen
from hypothesis import strategies as st

UNITS = ("mm", "um", "µm", "m", "ms", "s", "min", "W", "kW", "J", "Hz", "mm/s", "mm/min", "rpm",
         "deg", "°", "degC", "°C", "K", "%", "ppm", "L/min", "mL", "MPa", "HV", "furlong", "C",
         "MM", "m m", "mm^2", "1/s", "", "e", "mm mm mm mm mm")  # fmt: skip
NUMBERS = ("0", "1", "-1", "0.4", "5,0", "1.000,5", "1 000", "1e400", "-1e400", "1e-400", "1e999",
           "9" * 70, "0." + "0" * 50 + "1", "nan", "inf", "-inf", "Infinity", "1e", "0x10", ".5",
           "5.", "--5", "½", "٣", "１", "1_000", "±5", "5±1", "1/2", "", "∞")  # fmt: skip
ODD_TEXTS = ("", " ", "\t", "a\nb", "\x1b[31mred", "\x00", "\x7f", "naïve", "Größe", "日本語",
             "🙂", "\u202emm", "\ufeff", "e\u0301", "x" * 500, "=1+1", "{}", "{0}", "%s", "%",
             "'", '"', "\\", "../x.toml", "/dev/null.toml", "nul", "a.toml", "none")  # fmt: skip
ODD_NUMBERS = (0, -1, 1, 10**20, 10**400, -(10**400), 0.0, -0.0, 5e-324, 1e308, math.inf, -math.inf,
               math.nan, 1.5)  # fmt: skip


@frozen
class Raw:
    """Text that stands in a TOML file as it is."""

    text: str


RAWS = tuple(map(Raw, ("0.4 mm", "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z",
                       "0x" + "f" * 4000, "1_0", "{}", "[]", "[[]]", "{a.b.c = 1}",
                       "[" * 60 + "]" * 60, "'''x\n'''",
                       '"""x\n"""', '"\\u0000"', '"\\ud800"', "0xFF", "True", "")))  # fmt: skip

typed_quantity = st.builds(
    "{}{}{}".format, st.sampled_from(NUMBERS), st.sampled_from(["", " ", "\u00a0"]),
    st.sampled_from(UNITS),
)  # fmt: skip
broken_value = st.recursive(
    typed_quantity
    | st.sampled_from(ODD_TEXTS)
    | st.sampled_from(ODD_NUMBERS)
    | st.sampled_from(RAWS)
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3)
    ),
    max_leaves=4,
)


def toml_text(data: Mapping[str, Any]) -> str:
    """Return any content as a TOML file: top keys, tables and lists of tables."""
    top = [f"{_key(key)} = {_inline(value)}" for key, value in data.items() if not _is_table(value)]
    parts = ["\n".join(top)]
    for key, value in data.items():
        if _is_table(value):
            many = isinstance(value, list)
            heading = f"[[{_key(key)}]]" if many else f"[{_key(key)}]"
            parts += ["\n".join([heading, *_lines(one)]) for one in (value if many else [value])]
    return "\n\n".join(parts) + "\n"


def _is_table(value: object) -> bool:
    if isinstance(value, list):
        return bool(value) and all(isinstance(item, dict) for item in value)
    return isinstance(value, dict)


def _lines(table: Mapping[str, Any]) -> list[str]:
    return [f"{_key(key)} = {_inline(value)}" for key, value in table.items()]


def _key(key: str) -> str:
    plain = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return key if plain else _text(key)


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _inline(value: Any) -> str:
    if isinstance(value, Raw):
        return value.text
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return "{" + ", ".join(_lines(value)) + "}"
    if isinstance(value, Sequence):
        return "[" + ", ".join(map(_inline, value)) + "]"
    return repr(value)


@st.composite
def damaged(draw: st.DrawFn, text: str) -> bytes:
    """Return the bytes of a text file after up to three accidents."""
    content = text.encode("utf-8", "surrogatepass")
    for accident in draw(st.lists(st.sampled_from(ACCIDENTS), max_size=3)):
        place = draw(st.integers(0, len(content)))
        content = accident(content, place)
    return content


def _line_twice(content: bytes, place: int) -> bytes:
    start = content.rfind(b"\n", 0, place) + 1
    end = content.find(b"\n", place) + 1 or len(content)
    return content[:end] + content[start:end] + content[end:]


def _line_gone(content: bytes, place: int) -> bytes:
    start = content.rfind(b"\n", 0, place) + 1
    return content[:start] + content[(content.find(b"\n", place) + 1 or len(content)) :]


ACCIDENTS = (
    lambda content, place: b"\xef\xbb\xbf" + content,
    lambda content, place: content.replace(b"\n", b"\r\n"),
    lambda content, place: content.replace(b"\n", b"\r"),
    lambda content, place: content[:place] + b"\x00" + content[place:],
    lambda content, place: content[:place] + b"\xff\xfe" + content[place:],
    lambda content, place: content[:place] + "\u2028".encode() + content[place:],
    lambda content, place: content[:place] + b'"' + content[place:],
    lambda content, place: content[:place] + b"," + content[place:],
    lambda content, place: content[:place] + b"[" * 2000 + content[place:],
    lambda content, place: content[:place] + b"\na" + b".a" * 3000 + b" = 1\n" + content[place:],
    lambda content, place: content[:place],
    lambda content, place: content[place:],
    lambda content, place: content.replace(b".", b","),
    lambda content, place: content.replace(b",", b";"),
    lambda content, place: content.replace(b",", b"\t"),
    lambda content, place: content.decode("utf-8", "replace").encode("utf-16"),
    lambda content, place: content.decode("utf-8", "replace").encode("latin-1", "replace"),
    lambda content, place: content + content,
    _line_twice,
    _line_gone,
)


CELLS = (
    st.sampled_from(NUMBERS)
    | typed_quantity
    | st.sampled_from(ODD_TEXTS)
    | st.sampled_from(["0.4", "5e-3", "-0.1", "silver", "tight", "none", "2017;100", "2026-02-30",
                       "14:05", "2026-03-31T14:05", "2026-03-31T14:05+02:00", "24:00", "nan"])
)  # fmt: skip
_HEADINGS = st.builds(
    "{}{}".format,
    st.sampled_from(["coupon", "penetration", "penetration_u", "haz_width", "gap", "preheat",
                     "note", "vickers_hardness", "pulse_energy", "segments", "date", "welded", "x",
                     ""]),
    st.sampled_from(["", " [mm]", " [um]", "[m]", " [degC]", " [J]", " []", " [furlong]", " [mm"]),
)  # fmt: skip


@st.composite
def broken_table(draw: st.DrawFn, text: str, most: int = 8) -> bytes:
    """Return a table with its comments gone, few rows, some cells and headings changed."""
    lines = [line for line in csv.reader(io.StringIO(text)) if not line[0].startswith("#")]
    heads, rows = lines[0], lines[1:]
    first = draw(st.integers(0, max(len(rows) - most, 0)))
    table = [list(line) for line in (heads, *rows[first : first + draw(st.integers(0, most))])]
    for _ in range(draw(st.integers(0, 4))):
        row = draw(st.integers(0, len(table) - 1))
        column = draw(st.integers(0, len(heads) - 1))
        table[row][column] = draw(_HEADINGS if row == 0 else CELLS)
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(table)
    return draw(damaged(out.getvalue())) if draw(st.booleans()) else out.getvalue().encode()
