"""TOML files: read with errors that say what to do, and single values written back."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from weldcalc.errors import InputError

LARGEST = 1_000_000
_DEEPEST = 16  # tables and lists inside each other; a schedule has three
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_LINE = re.compile(r"\(at (?:line (\d+), column \d+|end of document)\)")
_BARE_QUANTITY = re.compile(r"=\s*[+-]?[0-9][0-9.,]*\s*[A-Za-zµ°%]|=\s*[+-]?[0-9]*,[0-9]")
_DECIMAL_COMMA = re.compile(r"=\s*[+-]?[0-9]*,[0-9]")
_IN_QUOTES = 'a value with a unit stands in quotes, for example "0.4 mm"'
_WITH_A_POINT = (
    "a value with a unit stands in quotes and has a decimal point, not a decimal comma, for "
    'example "0.4 mm"'
)
# what the parser says at its start, and what a person does about it
_REMEDIES = (
    ("Cannot declare", "this table stands twice; keep one, or write [[pass]] over every pass"),
    ("Cannot", "this key is given twice; keep one"),
    ("Illegal character '\\n'", "the quote at the end of the text is missing"),
    ("Unterminated string", "the quote at the end of the text is missing"),
    ('Expected "\'"', "the quote at the end of the text is missing"),
    ("Invalid value", f'text stands in quotes, for example "butt"; {_IN_QUOTES}'),
    (
        "Expected newline",
        'a value is followed by nothing but a comment, as in gap = "0.02 mm" # most',
    ),
    ("Expected '=' after a key", 'write key = "value", the key in one word'),
    ("Expected ']'", "a closing bracket is missing"),
    ("Unclosed array", "a closing bracket is missing"),
    ("Invalid statement", 'write key = "value", the key in plain letters and underscores'),
)


def read_toml_file(path: Path) -> tuple[bytes, dict[str, Any]]:
    """Read a TOML file that a user wrote.

    Parameters
    ----------
    path : pathlib.Path
        File, at most 1 MB, in UTF-8 (a byte order mark is allowed).

    Returns
    -------
    tuple of bytes and dict
        Content as it stands, and what it says.

    Raises
    ------
    InputError
        When there is no such file, it is too large, is not UTF-8 or breaks the rules of TOML; names
        the file and, where there is one, the line.
    """
    content = _content(path)
    return content, toml_from_bytes(content, str(path))


def toml_from_bytes(content: bytes, where: str) -> dict[str, Any]:
    """Read the bytes of a TOML file that a user wrote.

    Parameters
    ----------
    content : bytes
        In UTF-8; a byte order mark is allowed.
    where : str
        Name of the file, for messages.

    Returns
    -------
    dict
        What it says: whole numbers of 64 bits at most, as TOML asks for, and no endless nesting.

    Raises
    ------
    InputError
        When it is not UTF-8 or breaks the rules of TOML; names the file and, where there is one,
        the line or the key.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        why = f"is not UTF-8 text (first seen in line {line}); save it as UTF-8"
        raise InputError.of(where, why) from None
    try:
        data = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        raise _syntax_error(where, text, str(error)) from None
    except (ValueError, RecursionError):  # numbers of thousands of digits; brackets without end
        raise InputError.of(where, "holds a number or a nesting without end") from None
    _refuse_endless(data, where)
    return data


def _refuse_endless(data: dict[str, Any], where: str) -> None:
    """Refuse what the parser takes and no reader can use or even show."""
    waiting: list[tuple[str, Any, int]] = [("", data, 0)]
    while waiting:
        path, value, depth = waiting.pop()
        if depth > _DEEPEST:
            raise InputError.of(f"{where}, {path}", "is nested too deeply")
        if isinstance(value, dict):
            inner = [(key_path(path, key), item) for key, item in value.items()]
        elif isinstance(value, list):
            inner = [(f"{path}[{number}]", item) for number, item in enumerate(value)]
        else:
            inner = []
            if isinstance(value, int) and not -(2**63) <= value < 2**63:
                raise InputError.of(f"{where}, {path}", "is a whole number of more than 64 bits")
        waiting += [(name, item, depth + 1) for name, item in inner]


def _content(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise InputError.of(str(path), "is a folder; give the file itself")
        if not path.exists():
            raise InputError.of(str(path), "there is no such file; check the name and the folder")
        if not path.is_file():
            raise InputError.of(str(path), "is not an ordinary file")
        if path.stat().st_size > LARGEST:
            raise InputError.of(str(path), f"is larger than {LARGEST // 1_000_000} MB")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError.of(str(path), f"cannot be read: {reason}") from None


def _syntax_error(where: str, text: str, message: str) -> InputError:
    found = _LINE.search(message)
    number = int(found[1]) if found and found[1] else text.count("\n") + 1
    lines = text.splitlines()
    line = lines[number - 1].strip() if 0 < number <= len(lines) else ""
    bare = message.startswith(("Expected newline", "Invalid value")) and _BARE_QUANTITY.search(line)
    remedies = (remedy for start, remedy in _REMEDIES if message.startswith(start))
    in_quotes = _WITH_A_POINT if _DECIMAL_COMMA.search(line) else _IN_QUOTES
    remedy = in_quotes if bare else next(remedies, "")
    said = f"TOML cannot be read: {_LINE.sub('', message).strip()}"
    why = "; ".join(filter(None, [said, remedy]))
    return InputError.of(f"{where}, line {number}", why, line or None)


def key_path(table: str, key: str) -> str:
    """Return the path of a key for messages, an odd key in quotes as it stands in the file.

    Parameters
    ----------
    table : str
        Path of its table; empty for the top of the file.
    key : str
        As typed.

    Examples
    --------
    >>> key_path("joint", "gap"), key_path("", "wall thickness")
    ('joint.gap', '"wall thickness"')
    """
    shown = key if _BARE_KEY.fullmatch(key) else toml_value(key)
    return f"{table}.{shown}" if table else shown


def toml_value(value: object) -> str:
    """Return a value as TOML.

    Parameters
    ----------
    value : str, bool, int, float or sequence of these
        Value to write.

    Raises
    ------
    TypeError
        When TOML has no such value.
    """
    if isinstance(value, str):
        # a TOML basic string is a JSON string, but for the delete character
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(float(value))  # numpy's floats would name their type
    if isinstance(value, int):
        return repr(value)
    if isinstance(value, Sequence):
        return f"[{', '.join(toml_value(item) for item in value)}]"
    raise TypeError(f"TOML has no value for {type(value).__name__}")
