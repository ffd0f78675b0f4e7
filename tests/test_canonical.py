"""Canonical JSON and digests: one text for one content, read back strictly."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldcalc.canonical import (
    canonical_json,
    computed_digest,
    leaves,
    parse_json,
    plain,
    record_digest,
    sha256_of,
    sha256_of_bytes,
)
from weldcalc.errors import InputError, WeldcalcError

JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=20,
)


class TestCanonicalForm:
    def test_digest_is_that_of_the_published_example(self):
        # NIST FIPS 180-2, appendix B.1 (one-block message "abc"), published
        published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        assert sha256_of_bytes(b"abc") == published

    def test_keys_are_sorted_as_in_the_published_scheme(self):
        # RFC 8785, 3.2.3: members sorted by name, no white space (texts only: it writes numbers
        # as ECMAScript does, this form as Python does)
        assert canonical_json({"b": ["y", "x"], "a": {"d": None, "c": True}}) == (
            '{"a":{"c":true,"d":null},"b":["y","x"]}'
        )

    @given(JSON)
    def test_survives_being_written_and_read(self, content):
        text = canonical_json(content)
        assert canonical_json(json.loads(text)) == text

    @pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, np.float64("nan")])
    def test_number_that_is_not_finite_is_refused_with_its_path(self, value):
        with pytest.raises(WeldcalcError, match=r"passes\[1\]\.depth"):
            canonical_json({"passes": [{}, {"depth": value}]})

    def test_numpy_values_and_tuples_become_plain(self):
        given_ = {"a": np.array([1.0, 2.0]), "b": np.int64(3), "c": (np.float32(0.5),), "d": -0.0}
        assert plain(given_) == {"a": [1.0, 2.0], "b": 3, "c": [0.5], "d": 0.0}
        assert math.copysign(1.0, plain(-0.0)) == 1.0

    def test_other_types_are_refused(self):
        with pytest.raises(WeldcalcError, match="object"):
            canonical_json({"x": object()})

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ('{"a": NaN}', "finite"),
            ('{"a": Infinity}', "finite"),
            ('{"a": 1, "a": 2}', "twice"),
            ("[" * 100_000, "deep"),
            ('{"a": }', "JSON"),
            ('{"a": ' + "9" * 5000 + "}", "JSON"),
            ('{"a": ' + "9" * 400 + "}", "too large"),
            ('{"a": -1e999}', "too large"),
            ('{"a": "\\ud800"}', "JSON"),
            ('{"a": ' + "[" * 50 + "]" * 50 + "}", "deep"),
        ],
    )
    def test_reading_is_strict(self, text, words):
        with pytest.raises(InputError, match=words):
            parse_json(text, "record.json")

    def test_paths_name_the_pass_and_not_its_number(self):
        content = {"passes": [{"name": "root", "x": 1}, {"name": "cover", "x": 2}], "y": [3, 4]}
        assert dict(leaves(content))["passes[cover].x"] == 2
        assert dict(leaves(content))["y[1]"] == 4

    def test_digest_of_results_sees_six_digits_and_no_wording(self):
        base = {"x": 1.234567, "text": "said so"}
        assert computed_digest(base) == computed_digest({"x": 1.2345670001, "text": "said thus"})
        assert computed_digest(base) == computed_digest({"x": 1.234569, "text": "said so"})
        assert computed_digest(base) != computed_digest({"x": 1.23458, "text": "said so"})


def _nested(depth: int, *, opening: str, closing: str) -> str:
    return opening * depth + "0" + closing * depth


@pytest.mark.parametrize(("opening", "closing"), [("[", "]"), ('{"a":', "}")])
def test_nesting_is_taken_up_to_its_limit_and_no_deeper(opening: str, closing: str) -> None:
    parse_json(_nested(40, opening=opening, closing=closing), "record.json")
    with pytest.raises(InputError, match="nested too deeply"):
        parse_json(_nested(41, opening=opening, closing=closing), "record.json")


def test_the_name_that_stands_twice_is_told() -> None:
    with pytest.raises(InputError, match=r"record\.json: .*the name 'b' stands twice"):
        parse_json('{"c": 1, "b": 1, "a": 2, "b": 1}', "record.json")
    with pytest.raises(InputError, match=r"the name 'x' stands twice"):
        parse_json('{"a": [{"x": 1, "x": 1}]}', "record.json")
    with pytest.raises(InputError, match=r"the name 'd' stands twice"):  # the first of several
        parse_json('{"e": 1, "e": 1, "d": 1, "d": 1}', "record.json")


@pytest.mark.parametrize(("number", "taken"), [("9.99e299", True), ("1e300", False)])
def test_numbers_are_taken_up_to_their_limit(number: str, taken: bool) -> None:
    for text in (f'{{"a": {number}}}', f'{{"a": -{number}}}'):
        if taken:
            assert abs(parse_json(text, "record.json")["a"]) == float(number)
            continue
        with pytest.raises(InputError, match="a number is too large"):
            parse_json(text, "record.json")


@pytest.mark.parametrize(
    ("items", "labels"),
    [
        ([{"name": "root"}, {"name": "cover"}], ["root", "cover"]),
        ([{"role": "schedule", "name": "a"}, {"role": "coupons", "name": "a"}], None),
        ([{"name": "root"}, {"name": "root"}], ["0", "1"]),  # not one of their own
        ([{"name": "root"}, {"title": "cover"}], ["0", "1"]),  # one has none
        ([{"name": "root"}, 7], ["0", "1"]),  # one can have none
        ([{"name": 1}, {"name": 2}], ["0", "1"]),  # a number is no name
        ([{"name": "root", "key": "a"}, {"name": "root", "key": "b"}], ["a", "b"]),
        ([{"goal": "depth"}, {"goal": "width"}], ["depth", "width"]),
        ([{"field": "gap"}, {"field": "arc"}], ["gap", "arc"]),
    ],
)
def test_items_of_a_list_are_told_apart(items: list[object], labels: list[str] | None) -> None:
    wanted = labels or ["schedule", "coupons"]
    paths = [path for path, _ in leaves({"list": items})]
    first = list(dict.fromkeys(path.split("]")[0].removeprefix("list[") for path in paths))
    assert first == wanted


def test_long_lists_and_objects_are_read_and_told_like_short_ones() -> None:
    names = [f"C{number}" for number in range(400)]
    items = [{"name": name, "x": 1} for name in names]
    assert [path for path, _ in leaves(items)][1::2] == [f"[{name}].x" for name in names]
    content = dict.fromkeys(names, 1)
    assert parse_json(json.dumps(content), "record.json") == content


def test_an_empty_part_is_a_leaf() -> None:
    assert list(leaves({"a": {}, "b": [], "c": {"d": []}})) == [("a", {}), ("b", []), ("c.d", [])]


def test_order_of_a_set_does_not_matter_and_that_of_a_list_does() -> None:
    assert canonical_json({"a": {"y", "x"}}) == canonical_json({"a": frozenset(["x", "y"])})
    assert canonical_json(["y", "x"]) != canonical_json(["x", "y"])


def test_time_and_place_are_outside_the_digest_of_a_record_and_all_else_inside() -> None:
    record = {"record_sha256": "0", "made_utc": "now", "environment": {"os": "x"}, "title": "T"}
    same = {"record_sha256": "1", "made_utc": "then", "environment": {}, "title": "T"}
    assert record_digest(record) == record_digest(same)
    assert record_digest(record) != record_digest({**record, "title": "U"})
    assert record_digest(record) == sha256_of({"title": "T"})


def test_wording_is_outside_the_digest_of_results_at_any_depth() -> None:
    one = {"findings": [{"rule": "gap", "text": "so", "remedy": "do", "x": 0.1}]}
    other = {"findings": [{"rule": "gap", "text": "thus", "remedy": "leave", "x": 0.1}]}
    assert computed_digest(one) == computed_digest(other)
    changed = {"findings": [{"rule": "arc", "text": "so", "remedy": "do", "x": 0.1}]}
    assert computed_digest(one) != computed_digest(changed)
