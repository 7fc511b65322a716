import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.qr import MOST_AT_M, MOST_CHARACTERS, modules
from tests.reports.qr_reader import BLOCKS, BLOCKS_M, read

PRINTABLE = st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=MOST_CHARACTERS)


@given(PRINTABLE)
@settings(max_examples=150, deadline=None)
def test_what_is_written_is_read(text):
    assert read(modules(text)) == text


@pytest.mark.parametrize(("characters", "version"), [(11, 1), (12, 2), (20, 2), (21, 3), (32, 3), (33, 4), (60, 5), (61, 6), (74, 6)])
def test_a_code_is_as_small_as_its_text_allows(characters, version):
    rows = modules("x" * characters)

    assert len(rows) == 17 + 4 * version
    assert read(rows) == "x" * characters
    assert version in BLOCKS


@pytest.mark.parametrize(("characters", "version"), [(1, 1), (14, 1), (15, 2), (26, 2), (42, 3), (62, 4), (84, 5), (85, 6), (106, 6)])
def test_at_level_m_a_code_of_the_same_size_holds_more(characters, version):
    rows = modules("x" * characters, "M")

    assert characters <= MOST_AT_M
    assert len(rows) == 17 + 4 * version
    assert read(rows) == "x" * characters
    assert version in BLOCKS_M


def test_each_level_has_its_own_limit():
    with pytest.raises(ValueError, match="1 to 106 printable"):
        modules("x" * 107, "M")
    with pytest.raises(ValueError, match="1 to 74 printable"):
        modules("x" * 75)


@pytest.mark.parametrize("text", ["", "x" * 75, "Żaba", "two\nlines", "bell\x07"])
def test_what_cannot_be_scanned_for_sure_is_refused(text):
    with pytest.raises(ValueError, match="printable ASCII"):
        modules(text)


def test_the_reader_refuses_a_code_with_one_module_wrong():
    rows = [list(row) for row in modules("https://records.example.org/e/7KQ4M0")]
    rows[20][20] = not rows[20][20]

    with pytest.raises(AssertionError):
        read(rows)
