"""Codes of transponders; the published ones are in the vectors."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.errors import Unfit
from domain.rules.country_codes import ASSIGNED
from domain.rules.transponders import LARGEST_NUMBER, Issuer, TransponderCode, code_key, read_code, read_other_code

SOME = settings(max_examples=100, deadline=None, derandomize=True)
CODES = st.builds(TransponderCode, st.integers(0, 999), st.integers(0, LARGEST_NUMBER))


def refused(read, text):
    with pytest.raises(Unfit) as wrong:
        read(text)
    return wrong.value.code, str(wrong.value)


@SOME
@given(CODES, st.lists(st.integers(0, 15), max_size=4))
def test_a_code_is_read_back_wherever_blanks_stand(code, places):
    text = code.digits
    for place in places:
        text = f"{text[:place]} {text[place:]}"

    assert read_code(text) == code


@SOME
@given(CODES)
def test_a_word_holds_what_the_digits_say(code):
    word = code.word()

    assert word.bit_length() == 64
    assert (word >> 38 & 0x3FF, word & (1 << 38) - 1) == (code.issuer_code, code.number)
    assert code.word(animal=False) == word - (1 << 63)


@pytest.mark.parametrize(
    ("digits", "issuer", "legal"),
    [
        ("000000000000000", Issuer.NOBODY, False),
        ("276000000000001", Issuer.COUNTRY, True),
        ("277000000000001", Issuer.NOBODY, False),
        ("894000000000001", Issuer.COUNTRY, True),
        ("899000000000001", Issuer.NOBODY, False),
        ("900000000000001", Issuer.MANUFACTURER, True),
        ("998000000000001", Issuer.MANUFACTURER, True),
        ("999000000000001", Issuer.TEST, False),
    ],
)
def test_three_digits_say_who_gives_a_code_out_and_whether_it_can_be_a_legal_mark(digits, issuer, legal):
    code = read_code(digits)

    assert (code.issuer, code.is_legal_mark) == (issuer, legal)
    assert (code.warning is None) == legal


def test_the_warnings_say_what_is_wrong():
    assert "no legal mark" in read_code("999000000000001").warning
    assert "001" in read_code("001000000000001").warning


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("9851120O3456789", "code-not-digits", "a letter O at place 8; the code has digits only, so perhaps it is 0"),
        ("98511200345678l", "code-not-digits", "a letter l at place 15; the code has digits only, so perhaps it is 1"),
        ("985-112003456789", "code-not-digits", "place 4 is no digit"),
        ("X", "code-not-digits", "place 1 is no digit"),
        ("٩٨٥112003456789", "code-not-digits", "place 1 is not one of the digits 0 to 9"),
        ("98511200345678", "code-length", "this has 14"),
        ("9851120034567890", "code-length", "this has 16"),
        ("123456789", "code-length", "'other_transponder'"),
        ("1234567890", "code-length", "'other_transponder'"),
        ("985274877906944", "code-too-large", "at most 274877906943"),
    ],
)
def test_what_is_no_code_is_refused_with_what_to_look_at(text, code, said):
    found = refused(read_code, text)

    assert found[0] == code
    assert said in found[1]


def test_the_largest_number_is_a_code():
    assert read_code(f"985{LARGEST_NUMBER}").number == LARGEST_NUMBER == 274_877_906_943


@pytest.mark.parametrize(
    ("text", "kept"),
    [("012*345*678", "012345678"), ("4a 1b-2c.3d:4e", "4A1B2C3D4E"), ("0123456789", "0123456789")],
)
def test_older_codes_are_kept_in_one_form(text, kept):
    assert read_other_code(text) == kept == read_other_code(kept)


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("01234567", "code-length", "this has 8"),
        ("01234567890", "code-length", "this has 11"),
        ("985112003456789", "code-length", "kind 'transponder'"),
        ("01234567é", "code-not-digits", "A to Z only"),
        ("***", "code-not-digits", "A to Z only"),
    ],
)
def test_what_is_no_older_code_is_refused(text, code, said):
    found = refused(read_other_code, text)

    assert found[0] == code
    assert said in found[1]


def test_codes_are_compared_without_blanks_and_capitals():
    assert code_key(" Ab 12\u00a03 ") == code_key("aB123") == "ab123"
    assert code_key("ab12") != code_key("ab13")


def test_countries_are_below_those_of_manufacturers():
    assert len(ASSIGNED) == 249
    assert max(ASSIGNED) < 900
    assert {276, 826, 840, 620} <= ASSIGNED
