"""The line of every table, key and element, so that whoever wrote a pack finds what is wrong."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.law.lines import Lines
from domain.records.stated import pointer_to

TEXT = '''\
# a comment with [brackets] and "quotes"
title = "one"    # and [[another]]
[a]
b.c = 1
"quoted key".'x.y' = 2 # a dot within quotes parts nothing

[[list]]
name = """
several
lines with \\""" and ""an end"""""
after = \'\'\'
raw \\\'\'\'
[[list]]
numbers = [
  1, # first
  [2,
   3],
  { x = 1, y = [4,
    5] },
]
[[list.inner]]
deep = true
[list.inner.table]
deeper = 1979-05-27 07:32:00
[[list.inner]]
inline = {p = 1, q.r = "}", s = ']'}
'''


@pytest.mark.parametrize(
    ("pointer", "line"),
    [
        ("", 1),
        ("/title", 2),
        ("/a", 3),
        ("/a/b", 4),
        ("/a/b/c", 4),
        ("/a/quoted key/x.y", 5),
        ("/list", 7),
        ("/list/0", 7),
        ("/list/0/name", 8),
        ("/list/0/after", 11),
        ("/list/1", 13),
        ("/list/1/numbers/0", 15),
        ("/list/1/numbers/1", 16),
        ("/list/1/numbers/1/1", 17),
        ("/list/1/numbers/2/y/1", 19),
        ("/list/1/inner/0/deep", 22),
        ("/list/1/inner/0/table/deeper", 24),
        ("/list/1/inner/1", 25),
        ("/list/1/inner/1/inline/s", 26),
        ("/list/1/inner/1/missing", 25),
        ("/nothing/of/this", 1),
    ],
)
def test_a_pointer_leads_to_its_line(pointer, line):
    tomllib.loads(TEXT)

    assert Lines(TEXT).of(pointer) == line


def test_ends_of_lines_of_another_kind_count_alike():
    assert Lines(TEXT.replace("\n", "\r\n")).of("/list/1/inner/1/inline/s") == 26


def test_a_text_that_ends_without_an_end_of_line_is_read_to_its_end():
    assert Lines("a = 1\nb = 2").of("/b") == 2
    assert Lines("a = 1\n# the end").of("/a") == 1


keys = st.text("abcdefghij-_0123456789", min_size=1, max_size=5)
texts = st.text("ab 1\"'\\#[]{}=,.\u00e9\u6f22\u2028", max_size=12)
values = st.recursive(
    st.integers(-5, 5) | st.booleans() | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=8,
)


def written(value) -> str:
    """Return a value as TOML, one element of a list in a line."""
    match value:
        case bool():
            return str(value).lower()
        case str():
            return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
        case list():
            return "[\n" + "".join(f"{written(one)}, # {place}\n" for place, one in enumerate(value)) + "]"
        case dict():
            return "{" + ", ".join(f"{key} = {written(one)}" for key, one in value.items()) + "}"
        case _:
            return str(value)


def places_in(value, place=()):
    """Yield every place in a value, with what is there."""
    yield place, value
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in inner:
        yield from places_in(one, (*place, key))


@given(st.lists(st.dictionaries(keys, values, max_size=4), min_size=1, max_size=4))
def test_every_place_of_any_document_has_a_line_on_which_it_stands(tables):
    text = "".join("[[t]]\n" + "".join(f"{key} = {written(value)}\n" for key, value in one.items()) for one in tables)
    assert tomllib.loads(text) == {"t": tables}
    lines, rows = Lines(text), text.split("\n")

    for place, value in places_in({"t": tables}):
        row = rows[lines.of(pointer_to(place)) - 1]
        if len(place) == 2:
            assert row == "[[t]]"
        elif place and isinstance(place[-1], str) and len(place) > 2:
            assert f"{place[-1]} = " in row
        elif isinstance(value, str | int) and place:
            assert row.startswith(written(value))
