"""JSON that two readers could understand differently is not read."""

from __future__ import annotations

import pytest

from api.errors import Malformed
from api.strict_json import DEEPEST, FAULTS_MOST, LARGEST, read_json
from domain.errors import RuleBroken


@pytest.mark.parametrize("raw", [b"{}", b"[]", '{"name": "Żaba \\ud83d\\udc38"}'.encode(), b'{"a": 1.5e3, "b": [null, true]}'])
def test_honest_json_is_read(raw):
    read_json(raw)


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        (b"", "not-json"),
        (b"{", "not-json"),
        (b"{} {}", "not-json"),
        (b"\xef\xbb\xbf{}", "not-json"),
        (b'{"a": NaN}', "not-json"),
        (b'{"a": -Infinity}', "not-json"),
        (b'{"a": 01}', "not-json"),
        (b"{'a': 1}", "not-json"),
        (b'{"a": "\x00"}', "not-json"),
        (b'{"a": ' + b"9" * 5000 + b"}", "not-json"),
        (b'{"a": "\xff"}', "not-utf-8"),
        (b'{"a": "\xed\xa0\x80"}', "not-utf-8"),
        (b'{"a": 1, "a": 1}', "duplicate-field"),
        (b'{"b": [{"a": 1, "\\u0061": 2}]}', "duplicate-field"),
    ],
)
def test_other_text_is_malformed(raw, code):
    with pytest.raises(Malformed) as refused:
        read_json(raw)

    assert refused.value.code == code


@pytest.mark.parametrize(
    ("raw", "pointer"),
    [
        (b'{"a": {"b": "\\ud800"}}', "/a/b"),
        (b'{"a": ["x", "\\udc00\\ud800"]}', "/a/1"),
        (b'{"\\ud800": 1}', ""),
        (b'{"a/b~": 9007199254740993}', "/a~1b~0"),
        (b'{"a": -9007199254740993}', "/a"),
        (b'{"a": 1e400}', "/a"),
    ],
)
def test_a_value_that_cannot_be_kept_is_named(raw, pointer):
    with pytest.raises(RuleBroken) as refused:
        read_json(raw)

    assert [fault.pointer for fault in refused.value.faults] == [pointer]


def test_the_largest_exact_number_is_read():
    assert read_json(b"[%d]" % LARGEST) == [LARGEST]


@pytest.mark.parametrize(("depth", "read"), [(DEEPEST - 1, True), (DEEPEST, True), (DEEPEST + 1, False), (200_000, False)])
def test_depth_is_limited(depth, read):
    raw = b"[" * depth + b"]" * depth

    if read:
        read_json(raw)
    else:
        with pytest.raises(Malformed, match="deeper"):
            read_json(raw)


def test_brackets_within_text_are_not_depth():
    assert read_json(b'["' + b"[{" * 100 + b'\\""]') == ["[{" * 100 + '"']


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        (b'["' + b"[" * 40 + b'\\"' * 500_000, "not-json"),
        (b'["' + b"[" * 40 + b'"' * 1_000_000, "not-json"),
        (b'["' + b"[" * 40 + b"\\" * 1_000_001, "not-json"),
        (b"{" + b",".join(b'"%d":0' % number for number in range(300_000)) + b',"0":0}', "duplicate-field"),
    ],
    ids=["quotation marks", "empty texts", "a last backslash", "very many fields"],
)
def test_a_long_body_is_read_in_one_pass(raw, code):
    # What looks at the body again for each of its characters is not done within the time that a test has.
    with pytest.raises(Malformed) as refused:
        read_json(raw)

    assert refused.value.code == code


def test_very_many_values_below_a_long_name_are_read_in_one_pass():
    assert len(read_json(b'{"' + b"x" * 2_000_000 + b'": [' + b"0," * 1_000_000 + b"0]}")["x" * 2_000_000]) == 1_000_001


def test_of_very_many_faults_the_first_are_named():
    with pytest.raises(RuleBroken) as refused:
        read_json(b"[" + b"1e400," * 1000 + b"1]")

    assert [fault.pointer for fault in refused.value.faults] == [f"/{number}" for number in range(FAULTS_MOST)]
