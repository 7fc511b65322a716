import re
import time
from functools import reduce
from operator import add

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.fonts import Face, face_for
from reports.text import CELL, LOOSE, NAME, clean, fitted, line_width, lines, measure, one_line, sized

ANY_TEXT = st.text(st.characters(), max_size=300)


def drawn(text, **stated):
    setting = {"face": Face.REGULAR, "size": 8.0, "width": 100.0} | stated
    return ["".join(run.text for run in line) for line in lines(text, **setting)]


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("plain", "plain"),
        ("<b>&amp;</b>", "<b>&amp;</b>"),
        ("e\u0301", "é"),
        ("bad \ud800!", "bad \ufffd!"),
        ("nul \x00 bell \x07 del \x7f c1 \x9b", "nul  bell  del  c1 "),
        ("zero\u200bwidth\u200d\ufeff\u2060\u00ad", "zerowidth"),
        ("a\u202eb\u2066c\u2069d\u200fe", "abcde"),
        ("one\u2028two\u2029three\r\nfour\rfive", "one\ntwo\nthree\nfour\nfive"),
        ("tab\there", "tab here"),
        ("q" + "\u0323" * 9 + "x", "q" + "\u0323" * 3 + "x"),
        ("a\u200d\u0301", "á"),
        ("\u0323" * 9 + "x", "\u0323" * 3 + "x"),
        ("a\ufe0fb\u3164c", "abc"),
        ("🐍 ₂ ≤ µ", "[snake] ₂ ≤ µ"),
        ("ตา", "[thai character to tao][thai character sara aa]"),
        ("\U000f0000", "□"),
        ("水 かめ", "水 かめ"),
        ("한", "[han]"),
    ],
)
def test_text_is_made_safe_and_keeps_its_meaning(typed, printed):
    assert clean(typed) == printed


@pytest.mark.parametrize("letter", ["x", "é"])
@pytest.mark.parametrize(("length", "kept", "end"), [(9, 9, ""), (10, 10, ""), (11, 9, "…")])
def test_text_longer_than_the_limit_ends_in_an_ellipsis(letter, length, kept, end):
    assert clean(letter * length, limit=10) == letter * kept + end


def test_text_hidden_behind_characters_that_are_dropped_is_marked_as_cut():
    assert clean("\u200b" * 10_000 + "end", limit=10) == "…"
    assert drawn("\u200b" * 110 + "end", limit=10) == ["…"]


@pytest.mark.parametrize(("dropped", "printed"), [(103, "e…"), (104, "…")])
def test_four_times_the_limit_and_sixty_four_more_characters_are_looked_at(dropped, printed):
    assert clean("\u200b" * dropped + "end", limit=10) == printed


@pytest.mark.parametrize(("length", "kept", "end"), [(NAME, NAME, ""), (NAME + 1, NAME - 1, "…")])
def test_one_line_is_no_longer_than_a_name_unless_said(length, kept, end):
    assert one_line("x" * length) == "x" * kept + end
    assert one_line("x\ny" * length, limit=4) == "x y…"


def test_a_hostile_million_characters_cost_no_more_than_the_limit():
    started = time.process_time()
    for character in ("\u0301", "\u200b", "W", "🐍"):
        drawn("a" + character * 1_000_000)

    assert time.process_time() - started < 1


@given(ANY_TEXT)
def test_safe_text_is_safe_already(text):
    once = clean(text)

    assert clean(once) == once
    assert len(once) <= CELL


@given(ANY_TEXT)
def test_every_character_drawn_has_a_glyph_in_the_face_it_is_drawn_in(text):
    for line in lines(text, face=Face.BOLD, size=8.0, width=100.0):
        for run in line:
            assert all(face_for(character, wished=run.face) == run.face for character in run.text)


@given(ANY_TEXT, st.floats(20, 300))
def test_no_line_is_wider_than_its_column(text, width):
    for line in lines(text, face=Face.REGULAR, size=8.0, width=width):
        assert line_width(line, size=8.0) <= width + 1e-6


@given(st.text(st.characters(codec="latin-1", exclude_categories=["Cc", "Cf"]), max_size=200))
def test_breaking_loses_nothing_but_the_spaces_it_breaks_at(text):
    broken = drawn(text, most=1_000)

    assert "".join(broken).replace(" ", "") == clean(text).replace(" ", "")


def test_lines_break_at_spaces_only_and_hold_no_break_spaces_together():
    width = measure("run 9\u00a0180", face=Face.REGULAR, size=8.0)

    assert drawn("run 9\u00a0180\u202fh today", width=width) == ["run", "9\u00a0180\u202fh", "today"]


def test_a_word_wider_than_the_line_is_broken_where_the_line_is_full():
    width = measure("WWWW", face=Face.REGULAR, size=8.0)

    assert drawn("an WWWWWWW", width=width) == ["an", "WWWW", "WWW"]
    assert drawn("W" * 9, width=width) == ["WWWW", "WWWW", "W"]


def test_only_the_first_part_of_a_broken_word_follows_on_a_line():
    width = measure("W", face=Face.REGULAR, size=8.0)

    assert drawn("i iW", width=width) == ["i i", "W"]


@pytest.mark.parametrize(
    ("just", "more", "set_lines"),
    [
        ("an ox", -0.01, ["an", "ox", "an", "ox"]),
        ("an ox", 0, ["an ox", "an ox"]),
        ("an ox", 0.01, ["an ox", "an ox"]),
        ("an ox an", -0.01, ["an ox", "an ox"]),
        ("an ox an", 0, ["an ox an", "ox"]),
    ],
)
def test_words_stand_on_one_line_where_they_just_fit(just, more, set_lines):
    parts = [measure(part, face=Face.REGULAR, size=8.0) for part in re.split("( )", just)]

    assert drawn("an ox an ox", width=reduce(add, parts) + more) == set_lines


def test_a_word_as_wide_as_the_line_is_not_broken_though_its_letters_alone_are_wider():
    width = measure("بببب", face=Face.REGULAR, size=8.0)

    assert drawn("بببب ب", width=width) == ["\ufe90\ufe92\ufe92\ufe91", "\ufe8f"]


def test_a_word_is_never_broken_between_a_letter_and_its_marks():
    width = measure("qq", face=Face.REGULAR, size=8.0)

    assert drawn("q\u0323q\u0323q\u0323", width=width) == ["q\u0323q\u0323", "q\u0323"]


def test_a_mark_that_has_a_width_of_its_own_stays_with_its_letter():
    width = measure("q\u0323q", face=Face.MONO, size=8.0)

    assert drawn("q\u0323q\u0323", face=Face.MONO, width=width) == ["q\u0323", "q\u0323"]


def test_lines_beyond_the_most_end_in_an_ellipsis():
    assert drawn("one two three", width=24.0, most=2) == ["one", "two…"]


@pytest.mark.parametrize("end", ["one…", "on…"])
def test_the_ellipsis_takes_the_place_of_as_many_letters_as_it_needs(end):
    width = measure(end, face=Face.REGULAR, size=8.0)

    assert drawn("one two", width=width, most=1) == [end]


def test_a_line_end_that_was_typed_is_kept():
    assert drawn("one\ntwo") == ["one", "two"]


def test_one_line_is_cut_to_its_width():
    line = fitted("a name far too long\nfor its place", face=Face.BOLD, size=9.0, width=60.0)

    assert line[-1].text.endswith("…")
    assert line_width(line, size=9.0) <= 60


def test_one_line_of_nothing_is_empty():
    assert fitted("", face=Face.BOLD, size=9.0, width=60.0) == ()


def test_text_is_drawn_in_its_tone():
    setting = {"face": Face.REGULAR, "size": 8.0, "width": 60.0}

    assert {run.tone for line in lines("overdue since 水曜日", **setting, tone="alarm") for run in line} == {"alarm"}
    assert {run.tone for run in fitted("overdue 水", **setting, tone="muted")} == {"muted"}
    assert {run.tone for run in fitted("overdue 水", **setting)} == {"ink"}


@pytest.mark.parametrize(
    ("typed", "seen"),
    [
        ("ש a", "a ש"),
        ("a ש", "a ש"),
        ("- ש a", "a ש -"),
        ("ب a", "a \ufe8f"),
        ("- a ב", "- a ב"),
        ("\u0663\u0664", "\u0663\u0664"),
    ],
)
def test_the_first_letter_with_a_direction_gives_the_paragraph_its_own(typed, seen):
    assert drawn(typed) == [seen]


def test_a_wrapped_line_keeps_the_direction_of_its_paragraph():
    width = measure("שלום", face=Face.REGULAR, size=8.0) + 1

    assert drawn("שלום a ש", width=width) == ["םולש", "ש a"]


def test_right_to_left_text_is_in_visual_order_with_its_brackets_mirrored():
    assert drawn("שלום (עולם)") == ["(םלוע) םולש"]


def test_arabic_letters_are_joined():
    assert drawn("بب") == ["\ufe90\ufe91"]


def test_right_to_left_text_is_wrapped_before_it_is_turned():
    width = measure("שלום", face=Face.REGULAR, size=8.0) + 1

    assert drawn("שלום עולם", width=width) == ["םולש", "םלוע"]


def test_a_word_in_another_script_keeps_the_face_around_it():
    (line,) = lines("Tank 水 A", face=Face.BOLD, size=8.0, width=100.0)

    assert [(run.face, run.text) for run in line] == [
        (Face.BOLD, "Tank "),
        (Face.FALLBACK, "水"),
        (Face.BOLD, " A"),
    ]


def test_a_text_is_set_at_the_largest_size_at_which_it_fits():
    assert sized("N-114", face=Face.BOLD, width=150, height=35, sizes=(30, 20, 10))[0] == 30
    assert sized("Aquarium 12", face=Face.BOLD, width=150, height=35, sizes=(30, 20, 10))[0] == 20


def test_it_takes_more_lines_only_where_they_fit_in_height():
    size, set_lines = sized("one two three four five six", face=Face.REGULAR, width=60, height=35, sizes=(30, 20, 10))

    assert size == 10
    assert len(set_lines) == 3
    assert len(set_lines) * size * LOOSE <= 35


def test_words_are_kept_whole_where_a_smaller_size_can():
    size, (line,) = sized("incubator", face=Face.BOLD, width=60, height=35, sizes=(15, 12, 10))

    assert size < 15
    assert "".join(run.text for run in line) == "incubator"


def test_a_word_that_no_size_keeps_whole_is_broken_and_not_cut():
    _, set_lines = sized("x" * 60, face=Face.REGULAR, width=60, height=60, sizes=(20, 10, 5))

    assert "".join(run.text for line in set_lines for run in line) == "x" * 60


def test_what_is_too_long_for_the_smallest_size_is_cut_and_says_so():
    size, set_lines = sized("x" * 400, face=Face.REGULAR, width=60, height=20, sizes=(20, 10))

    assert size == 10
    assert len(set_lines) == 1
    assert set_lines[-1][-1].text.endswith("…")


def test_a_text_of_which_nothing_is_left_is_no_line():
    assert sized("\u200b", face=Face.REGULAR, width=60, height=20, sizes=(20, 10)) == (20, ())
