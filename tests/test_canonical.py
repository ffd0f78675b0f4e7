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
        assert computed_digest(base) != computed_digest({"x": 1.23458, "text": "said so"})
