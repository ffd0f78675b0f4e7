"""Files that cannot be read give one clear message with the file and, where it can, the line."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from weldcalc.errors import InputError
from weldcalc.schedules.toml_file import LARGEST, read_toml_file, toml_from_bytes, toml_value

BROKEN = [
    (b"\xff\xfea\x00", "is not UTF-8 text"),
    (b"a = 1\nb = '\xe9'\n", "first seen in line 2"),
    (b"a = 1\nb = 0.4 mm\n", 'stands in quotes, for example "0.4 mm"'),
    (b"a = 1\nb = 0,4\n", "line 2"),
    (b"a = 1\na = 2\n", "Cannot overwrite"),
    (b"[joint\n", "line 1"),
    (b"a = 'x", "line 1"),
    (b"a = " + b"1" * 5000, "a number or a nesting without end"),
    (b"a = " + b"[" * 60_000, "cannot be read|without end"),
]


@pytest.mark.parametrize(("content", "words"), BROKEN)
def test_broken_files(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "broken.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=words) as caught:
        read_toml_file(path)
    (problem,) = caught.value.problems
    assert problem.where.startswith(str(path))


def test_files_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_toml_file(tmp_path / "missing.toml")
    with pytest.raises(InputError, match="is a folder"):
        read_toml_file(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        read_toml_file(tmp_path / ("x" * 5000))
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * (LARGEST + 1))
    with pytest.raises(InputError, match="larger than 1 MB"):
        read_toml_file(large)
    large.write_bytes(b"#" * LARGEST)
    assert read_toml_file(large)[1] == {}


def test_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "windows.toml"
    path.write_bytes(b'\xef\xbb\xbftitle = "\xc2\xb5"\r\n[joint]\r\n')
    content, read = read_toml_file(path)
    assert read == {"title": "µ", "joint": {}}
    assert content == path.read_bytes()


@pytest.mark.parametrize(
    "value",
    ['a "b" \\ c', "µ ° ²", "tab\t\x7f\x01", "", 3, -0.25, 1e-300, 1e22, True, [[0, 1], [0.5, 1]]],
)
def test_values_read_back_by_the_standard_library(value: object) -> None:
    assert tomllib.loads(f"a = {toml_value(value)}")["a"] == value


def test_numbers_of_numpy_are_written_as_plain_ones() -> None:
    assert tomllib.loads(f"a = {toml_value([np.float64(0.5)])}")["a"] == [0.5]


def test_values_that_toml_does_not_have() -> None:
    assert math.isnan(tomllib.loads(f"a = {toml_value(math.nan)}")["a"])
    with pytest.raises(TypeError, match="NoneType"):
        toml_value(None)


@pytest.mark.parametrize(
    ("text", "line", "remedy"),
    [
        (
            'gap = "0.02 mm\nmismatch = "0.03 mm"\n',
            1,
            "the quote at the end of the text is missing",
        ),
        ("a = 1\ntype = butt\n", 2, 'text stands in quotes, for example "butt"'),
        ("gap = 0.02 mm\n", 1, "a value with a unit stands in quotes"),
        ("gap = 0,02\n", 1, "a value with a unit stands in quotes and has a decimal point, not a"),
        ("a = 1\ngap = 0,02 mm\n", 2, "has a decimal point, not a decimal comma"),
        ("gap = 0.02 mm # 0,02\n", 1, 'in quotes, for example "0.4 mm"'),
        ('a = "1"\ngap = "0.02 mm"\ngap = "0.03 mm"\n', 3, "this key is given twice; keep one"),
        ("[pass]\nx = 1\n[pass]\n", 3, "write [[pass]] over every pass"),
        ('gap = "0.02" mm\n', 1, "followed by nothing but a comment"),
        ("[joint\n", 1, "a closing bracket is missing"),
        ("a = [1", 1, "a closing bracket is missing"),
        ('wall thickness = "1 mm"\n', 1, "the key in one word"),
    ],
)
def test_a_slip_of_writing_is_told_with_its_line_and_a_remedy(
    text: str, line: int, remedy: str
) -> None:
    with pytest.raises(InputError) as caught:
        toml_from_bytes(text.encode(), "s.toml")
    assert str(caught.value).startswith(f"s.toml, line {line}")
    assert remedy in str(caught.value)
