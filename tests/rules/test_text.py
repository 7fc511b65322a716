"""What text may be kept, and when two names are one."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.errors import Unfit
from domain.rules.text import fitted, kept_line, kept_lines, same_name

SOME = settings(max_examples=100, deadline=None, derandomize=True)


@pytest.mark.parametrize(
    ("stated", "kept"),
    [
        ("Hall A", "Hall A"),
        ("  Hall A\t", "Hall A"),
        ("\u00a0Łąka\u2003", "Łąka"),
        ("e\u0301le\u0300ve", "élève"),
        ("الواحة", "الواحة"),
        ("爬虫館", "爬虫館"),
        ("frog 🐸", "frog 🐸"),
        ("می\u200cخواهم", "می\u200cخواهم"),
        ("क्\u200dष", "क्\u200dष"),
        ("ن\u200cم", "ن\u200cم"),
        ("vet 👩\U0001f3fd\u200d⚕\ufe0f", "vet 👩\U0001f3fd\u200d⚕\ufe0f"),
    ],
)
def test_a_line_is_kept_trimmed_and_composed(stated, kept):
    assert kept_line(stated) == kept


HIDDEN = {
    "NUL": "Hall\0A",
    "tab": "Hall\tÄ",
    "escape": "Hall \x1b[31mA",
    "newline": "Hall\nA",
    "carriage return": "Hall\rA",
    "control of the second set": "Hall\x9bA",
    "line separator": "Hall\u2028A",
    "paragraph separator": "Hall\u2029A",
    "override": "Hall \u202eA",
    "isolate": "Hall \u2066A\u2069",
    "half a character": "Hall \ud800",
    "blank of no width": "T\u200b1",
    "byte order mark": "T\ufeff1",
    "soft hyphen": "T\u00ad1",
    "mark of direction": "T\u200f1",
    "joiner beside a digit": "T\u200d1",
    "joiner at the end": "Ta\u200d",
    "joiner at the beginning": "\u200cTa",
    "two joiners": "T\u200d\u200da",
    "filler": "T\u31641",
    "blank pattern": "T\u28001",
    "tag character": "T\U000e00411",
    "separator of the first set at the beginning": "\x1cHall A",
    "control of the second set at the end": "Hall A\x85",
    "form feed at the end": "Hall A\x0c",
}


@pytest.mark.parametrize("stated", HIDDEN.values(), ids=HIDDEN.keys())
def test_a_character_that_could_not_be_printed_honestly_is_refused_in_a_line(stated):
    with pytest.raises(ValueError, match="contains"):
        kept_line(stated)


@pytest.mark.parametrize(
    ("stated", "sentence", "code"),
    [
        ("", "there is no text", "no-text"),
        ("Hall \ud800", "contains half a character (a lone surrogate)", "half-character"),
        ("Hall\x07A", "contains a control character (U+0007)", "control-character"),
        ("Hall \u202eA", "contains a character that hides or reorders text (U+202E)", "hidden-character"),
    ],
)
def test_a_refusal_says_what_is_wrong_and_bears_its_code(stated, sentence, code):
    with pytest.raises(Unfit) as refused:
        kept_line(stated)

    assert (str(refused.value), refused.value.code) == (sentence, code)


@pytest.mark.parametrize("stated", ["\u200b", "\ufeff", "\u2060", "\u00ad", "\u3164", "\u200d"])
def test_a_line_of_what_cannot_be_seen_is_refused(stated):
    with pytest.raises(ValueError, match="hides"):
        kept_line(stated)


@pytest.mark.parametrize("stated", ["", "   ", "\n", "\u00a0", "\u3000\t", "\ufe0f", "\ufe0f \ufe0f", "\U000e0100"])
def test_a_line_of_nothing_is_refused(stated):
    with pytest.raises(ValueError, match="no text"):
        kept_line(stated)


@pytest.mark.parametrize(
    ("stated", "kept"),
    [
        ("", ""),
        (" one\n two ", "one\n two"),
        ("one\r\ntwo\rthree\u2028four\u2029five\x85six", "one\ntwo\nthree\nfour\nfive\nsix"),
        ("name\tvalue", "name\tvalue"),
        ("e\u0301", "é"),
    ],
)
def test_lines_are_kept_with_one_kind_of_line_break(stated, kept):
    assert kept_lines(stated) == kept


@pytest.mark.parametrize(
    "name",
    [
        "NUL", "escape", "override", "isolate", "half a character", "control of the second set", "blank of no width", "byte order mark",
        "soft hyphen", "mark of direction", "joiner beside a digit", "filler",
        "separator of the first set at the beginning", "form feed at the end",
    ],
)  # fmt: skip
def test_a_character_that_could_not_be_printed_honestly_is_refused_in_lines(name):
    with pytest.raises(ValueError, match="contains"):
        kept_lines(HIDDEN[name])


@pytest.mark.parametrize("other", ["REEDMERE HOUSE", "reedmere  house", "Reedmere\u00a0House", "Ｒeedmere House", " Reedmere House "])
def test_spellings_of_one_name_are_the_same(other):
    assert same_name(other) == same_name("Reedmere House")


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Straße", "STRASSE"),
        ("e\u0301lan", "Élan"),
        ("ﬁlter", "Filter"),
        ("Ha\u200cll", "Hall"),
        ("T\ufe0f1", "T1"),
    ],
)
def test_spellings_beyond_ascii_are_the_same(one, other):
    assert same_name(one) == same_name(other)


@pytest.mark.parametrize("other", ["Reedmere Hause", "ReedmereHouse", "Reedmere-House", "Réedmere House"])
def test_other_names_stay_other_names(other):
    assert same_name(other) != same_name("Reedmere House")


@SOME
@given(st.text(max_size=30))
def test_what_is_kept_stays_as_it_is_when_kept_again(stated):
    try:
        kept = kept_lines(stated)
    except ValueError:
        return

    assert kept_lines(kept) == kept
    assert unicodedata.is_normalized("NFC", kept)
    assert "\r" not in kept


@SOME
@given(st.text(st.characters(codec="ascii"), max_size=30))
def test_plain_letters_are_compared_as_all_others_are(stated):
    # The second spelling takes the way of text that is not plain; its last word is left out of the comparison.
    assert same_name(stated + " é").split()[:-1] == same_name(stated).split()


def test_a_text_that_is_too_long_ends_where_it_is_full_and_says_so():
    assert (fitted("abc", 3), fitted("abcd", 3), fitted("ab cd", 4)) == ("abc", "ab…", "ab…")
    assert fitted("कक्\N{ZERO WIDTH JOINER}षम", 5) == "कक्…"


@SOME
@given(st.text(max_size=30), st.integers(1, 30))
def test_what_was_fitted_may_be_kept(stated, most):
    try:
        kept = kept_lines(stated)
    except Unfit:
        return

    assert len(kept_lines(fitted(kept, most))) <= most
