"""Canonical JSON and digests: one text for one content, so that two people can compare hashes."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from weldcalc.errors import InputError, WeldcalcError

# left out of the digest: they say when and where a record was made, not what it holds
UNHASHED = ("record_sha256", "made_utc", "environment")

# a digest that is the same for millimetres and inches must not see the last bits of a float:
# the conversion alone moves them, and the engines carry that through a few thousand steps
DIGEST_DIGITS = 6

_DEEPEST = 40
_LARGEST = 1e300

# keys that name an item of a list, so that a difference is told as passes[root], not passes[0]
_NAMING = ("role", "name", "key", "goal", "field")


def sha256_of_bytes(content: bytes) -> str:
    """Return the SHA-256 digest of bytes as 64 hexadecimal digits."""
    return hashlib.sha256(content).hexdigest()


def plain(value: Any, where: str = "") -> Any:
    """Return a value made of dict, list, str, int, float, bool and None only.

    Parameters
    ----------
    value : object
        Nested mappings, sequences, numpy scalars and arrays, and plain values.
    where : str, optional
        Path of the value, quoted in the error.

    Returns
    -------
    object
        The same content in JSON's own types; minus zero becomes zero.

    Raises
    ------
    WeldcalcError
        For a number that is not finite or a type that JSON does not have.
    """
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, Mapping):
        return {str(key): plain(item, f"{where}.{key}") for key, item in value.items()}
    if hasattr(value, "tolist"):  # numpy scalars and arrays
        return plain(value.tolist(), where)
    if isinstance(value, Sequence | frozenset | set) and not isinstance(value, bytes):
        items = sorted(value) if isinstance(value, frozenset | set) else value
        return [plain(item, f"{where}[{index}]") for index, item in enumerate(items)]
    if isinstance(value, int):
        return value
    if isinstance(value, float):
        return _finite(value, where)
    raise WeldcalcError(f"{where.lstrip('.')}: a record cannot hold a {type(value).__name__}")


def _finite(value: float, where: str) -> float:
    if not math.isfinite(value):
        raise WeldcalcError(f"{where.lstrip('.')}: {value} is not a finite number")
    return value + 0.0


def canonical_json(data: Any) -> str:
    """Return the one JSON text of some content: sorted keys, no blanks, finite numbers only.

    Parameters
    ----------
    data : object
        What `plain` takes.

    Returns
    -------
    str
        Unicode text; encode as UTF-8 to hash it.

    Raises
    ------
    WeldcalcError
        For a number that is not finite or a type that JSON does not have.

    Examples
    --------
    >>> canonical_json({"b": 1, "a": [0.5, None]})
    '{"a":[0.5,null],"b":1}'
    """
    return json.dumps(
        plain(data), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def sha256_of(data: Any) -> str:
    """Return the SHA-256 digest of the canonical JSON of some content."""
    return sha256_of_bytes(canonical_json(data).encode("utf-8"))


def record_digest(record: Mapping[str, Any]) -> str:
    """Return the digest of a record without its own digest, its time and its platform."""
    return sha256_of({key: item for key, item in record.items() if key not in UNHASHED})


def computed_digest(computed: Any) -> str:
    """Return a digest of computed results that does not depend on the units typed in.

    Parameters
    ----------
    computed : object
        Results; numbers count to six significant digits, and wording is left out.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    return sha256_of(_rounded(plain(computed)))


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.{DIGEST_DIGITS}g}")
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items() if key not in ("text", "remedy")}
    if isinstance(value, list):
        return [_rounded(item) for item in value]
    return value


def leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield every plain value of a nested content with its path, in order.

    Parameters
    ----------
    value : object
        Nested dicts and lists.
    path : str, optional
        Where the value stands.

    Yields
    ------
    tuple of (str, object)
        Such as ("computed.passes[root].penetration_mm", 0.41); an empty dict or list is a leaf.
    """
    if isinstance(value, dict) and value:
        for key, item in value.items():
            yield from leaves(item, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list) and value:
        for label, item in zip(_labels(value), value, strict=True):
            yield from leaves(item, f"{path}[{label}]")
    else:
        yield path, value


def _labels(items: list[Any]) -> list[str]:
    """Return a name for each item of a list where all have one of their own, else its number."""
    for key in _NAMING:
        names = [item.get(key) for item in items if isinstance(item, dict)]
        if len(names) == len(items) == len({name for name in names if isinstance(name, str)}):
            return [str(name) for name in names]
    return [str(index) for index in range(len(items))]


def parse_json(text: str, where: str) -> Any:
    """Read JSON strictly: no NaN, no name twice in one object, no endless nesting.

    Parameters
    ----------
    text : str
        The JSON text.
    where : str
        Name of the file, quoted in the error.

    Returns
    -------
    object
        The content.

    Raises
    ------
    InputError
        When the text is not such JSON.
    """
    try:
        content = json.loads(
            text, parse_constant=_refuse_constant, object_pairs_hook=_no_name_twice
        )
        _refuse_what_no_record_holds(content)
    except RecursionError:
        raise InputError.of(where, "is nested too deeply to be a record") from None
    except ValueError as error:
        raise InputError.of(where, f"is not readable as JSON: {error}") from None
    return content


def _refuse_what_no_record_holds(content: Any) -> None:
    """Refuse values that would pass the parser and fail later: half characters, endless numbers."""
    waiting = [(content, 0)]
    while waiting:
        value, depth = waiting.pop()
        if depth > _DEEPEST:
            raise RecursionError
        if isinstance(value, dict):
            waiting += [(item, depth + 1) for pair in value.items() for item in pair]
        elif isinstance(value, list):
            waiting += [(item, depth + 1) for item in value]
        elif isinstance(value, str):
            value.encode("utf-8")  # a lone surrogate is a UnicodeEncodeError, which is a ValueError
        elif isinstance(value, int | float) and not abs(value) < _LARGEST:
            raise ValueError("a number is too large")


def _refuse_constant(name: str) -> Any:
    raise ValueError(f"{name} is not a finite number")


def _no_name_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    content = dict(pairs)
    if len(content) < len(pairs):
        names = [name for name, _ in pairs]
        twice = sorted({name for name in names if names.count(name) > 1})
        raise ValueError(f"the name {twice[0]!r} stands twice in one object")
    return content
