"""Canonical bytes against RFC 8785, and the ids and keys that rest on them."""

from __future__ import annotations

import hashlib
import json
import math
import struct

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.model.identity import (
    _quickly,
    canonical,
    derived_key,
    frozen,
    is_frame_id,
    is_sha256_id,
    new_token,
    sha256_id,
    short,
)

# RFC 8785 §3.2.2, the sample input, and §3.2.4, its canonical form as UTF-8.
RFC_INPUT = r"""{
  "numbers": [333333333.33333329, 1E30, 4.50,
              2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}"""
RFC_BYTES = bytes.fromhex(
    "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a5b333333333333333333"
    "2e333333333333332c31652b33302c342e352c302e3030322c31652d32375d2c22737472696e67223a22e282ac245c753030"
    "30665c6e4127425c225c5c5c5c5c222f227d"
)

# RFC 8785 §3.2.3, the sample for the sorting of names.
RFC_NAMES = r"""{
  "\u20ac": "Euro Sign",
  "\r": "Carriage Return",
  "\ufb33": "Hebrew Letter Dalet With Dagesh",
  "1": "One",
  "\ud83d\ude00": "Emoji: Grinning Face",
  "\u0080": "Control",
  "\u00f6": "Latin Small Letter O With Diaeresis"
}"""
RFC_SORTED = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]

# RFC 8785 Appendix B: IEEE 754 bits and the text that they become.
RFC_NUMBERS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]


def test_the_sample_of_rfc_8785_gives_the_bytes_that_it_prints() -> None:
    assert canonical(json.loads(RFC_INPUT)) == RFC_BYTES


def test_names_are_sorted_by_utf_16_units_as_in_the_sample_of_rfc_8785() -> None:
    assert list(json.loads(canonical(json.loads(RFC_NAMES))).values()) == RFC_SORTED


@pytest.mark.parametrize(("bits", "text"), RFC_NUMBERS)
def test_a_number_of_rfc_8785_appendix_b_is_written_as_it_prints_it(bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(number) == text.encode()


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000", "fff0000000000000"])
def test_nan_and_infinities_of_rfc_8785_appendix_b_are_refused(bits: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    with pytest.raises(ValueError, match="not representable"):
        canonical(number)


@pytest.mark.parametrize("value", [2**53, -(2**53), "\ud800", {1: "one"}, b"bytes", {"at": object()}, {1}])
def test_what_json_cannot_hold_exactly_is_refused(value: object) -> None:
    with pytest.raises(ValueError):
        canonical(value)


def test_the_greatest_exact_integers_are_kept() -> None:
    assert canonical([2**53 - 1, -(2**53) + 1]) == b"[9007199254740991,-9007199254740991]"


def test_a_derived_key_is_the_sha_256_of_a_list_that_begins_with_what_it_is() -> None:
    assert derived_key("render", 1, None) == "sha256:" + hashlib.sha256(b'["render",1,null]').hexdigest()


def test_keys_of_different_kinds_differ_for_the_same_parts() -> None:
    assert derived_key("render", "a") != derived_key("file", "a")


def test_parts_of_a_derived_key_cannot_be_shifted_between_each_other() -> None:
    assert derived_key("k", ["a"], "b") != derived_key("k", "a", ["b"]) != derived_key("k", "ab")


def test_the_id_of_nothing_is_the_sha_256_of_the_empty_string() -> None:
    # FIPS 180-4, the empty message.
    assert sha256_id(b"") == "sha256:e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


@pytest.mark.parametrize(
    "text",
    [
        "xxh128:" + "a" * 31,
        "xxh128:" + "a" * 33,
        "xxh128:" + "A" * 32,
        "sha256:" + "a" * 64,
        "xxh128:" + "a" * 32 + "\n",
    ],
)
def test_what_is_not_exactly_a_frame_id_is_none(text: str) -> None:
    assert not is_frame_id(text)


def test_ids_are_told_apart_by_prefix_and_length() -> None:
    assert is_frame_id("xxh128:" + "0" * 32)
    assert is_sha256_id("sha256:" + "0" * 64)
    assert not is_sha256_id("xxh128:" + "0" * 32)
    assert not is_sha256_id("sha256:" + "0" * 64 + "\n")


@pytest.mark.parametrize("length", [8, 32])
def test_a_token_has_the_length_asked_for_and_does_not_come_twice(length: int) -> None:
    tokens = {new_token(length) for _ in range(50)}
    assert len(tokens) == 50
    assert all(len(token) == length and int(token, 16) >= 0 for token in tokens)


def test_an_id_is_shown_by_its_first_digits_without_its_kind() -> None:
    assert short("selection:sha256:0123456789abcdef") == "0123456789"
    assert short("xxh128:0123456789abcdef", 8) == "01234567"


def test_frozen_values_are_equal_when_the_documents_mean_the_same() -> None:
    one = frozen({"b": [1, {"c": 2}], "a": math.pi})
    two = frozen({"a": math.pi, "b": (1, {"c": 2})})
    assert one == two
    assert hash(one) == hash(two)
    assert one != frozen({"a": math.pi, "b": [1, {"c": 3}]})


_TEXTS = st.text(st.characters(exclude_categories=["Cs"]))


@settings(max_examples=60)
@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers(-(2**53) + 1, 2**53 - 1)
        | st.floats(allow_nan=False, allow_infinity=False)
        | _TEXTS,
        lambda below: st.lists(below) | st.dictionaries(_TEXTS, below),
        max_leaves=12,
    )
)
def test_the_quick_way_gives_what_the_slow_one_does(document: object) -> None:
    assert canonical(document) == rfc8785.dumps(document)  # type: ignore[arg-type]


def test_entries_as_they_are_written_go_the_quick_way() -> None:
    file = {"path": "100NOCTU/A.JPG", "size": 31457280, "digest": "xxh128:" + "1234567890" * 3 + "12"}
    for document in ({"files": [file] * 2, "exposure": 8.0, "gain": 0.25}, ["render", 1, None]):
        assert _quickly(document) == rfc8785.dumps(document)
    for odd in (1e-7, [10**16 * 1.5], "\U0001f30c", [2**53], {1: 2}):
        assert _quickly(odd) is None
