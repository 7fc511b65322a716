from datetime import UTC, date, datetime

import pytest

from reports import words


def test_short_dates_have_month_letters_and_hold_together():
    assert words.short_date(date(2026, 4, 3)) == "3\u00a0Apr\u00a02026"


def test_long_dates_are_in_words():
    assert words.long_date(date(2026, 11, 24)) == "Tuesday 24 November 2026"


@pytest.mark.parametrize(
    ("day", "said"),
    [(22, "2 days late"), (23, "1 day late"), (24, "today"), (25, "tomorrow"), (26, "in 2 days")],
)
def test_a_day_is_said_as_its_distance_from_today(day, said):
    assert words.distance(date(2026, 11, day), today=date(2026, 11, 24)) == said


@pytest.mark.parametrize(
    ("zone", "said", "named"),
    [
        ("Pacific/Auckland", "24\u00a0Nov\u00a02026 02:00", "Pacific/Auckland"),
        ("No/Where", "23\u00a0Nov\u00a02026 13:00", "UTC"),
        ("../../etc/passwd", "23\u00a0Nov\u00a02026 13:00", "UTC"),
        ("", "23\u00a0Nov\u00a02026 13:00", "UTC"),
        ("a\x00b", "23\u00a0Nov\u00a02026 13:00", "UTC"),
    ],
)
def test_instants_are_said_in_the_zone_or_in_utc_when_it_is_not_known(zone, said, named):
    assert words.clock(datetime(2026, 11, 23, 13, 0, tzinfo=UTC), zone=zone) == said
    assert words.zone_name(zone) == named


@pytest.mark.parametrize(
    ("minor", "currency", "said"),
    [
        (123450, "EUR", "EUR\u00a01\u00a0234.50"),
        (900, "JPY", "JPY\u00a0900"),
        (1500, "KWD", "KWD\u00a01.500"),
        (5, "NZD", "NZD\u00a00.05"),
        (15000, "CLF", "CLF\u00a01.5000"),
    ],
)
def test_money_has_the_digits_of_its_currency(minor, currency, said):
    assert words.money(minor, currency=currency) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0, "0"),
        (12, "12"),
        (1140, "1 140"),
        (1_234_567.5, "1 234 567.5"),
        (0.42, "0.42"),
        (400.0, "400"),
        (1e-05, "0.00001"),
        (1e7, "10 000 000"),
        (0.1, "0.1"),
    ],
)
def test_a_number_is_written_as_it_was_entered(value, said):
    assert words.number(value) == said.replace(" ", "\u00a0")


def test_a_word_of_a_closed_list_is_spoken():
    assert words.spoken("straight_carapace_length") == "straight carapace length"


@pytest.mark.parametrize(
    ("rank", "italic"),
    [
        ("class", False),
        ("order", False),
        ("suborder", False),
        ("family", False),
        ("subfamily", False),
        ("genus", True),
        ("species", True),
        ("subspecies", True),
        ("hybrid", True),
    ],
)
def test_names_of_genera_and_below_are_in_italics(rank, italic):
    assert words.is_italic(rank) is italic
