"""Numbers of papers that leave the house, and the press that makes papers fit for that."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from pydantic import ValidationError

from api.issuing import DRAWN, LETTERS, NO_PRESS, Dated, Imprint, Press, canonical, new_paper_id, organisation_in, supersedes
from api.settings import LONGEST_PUBLIC_URL, Settings
from domain.records.nights import ReportKind
from reports.qr import MOST_AT_M, modules
from tests.seals import PASSWORD, seal_file

LARGEST = (1 << 63) - 1
FIRST = date(2026, 3, 1)
NUMBER = "1-abcdefghjkmnpqrstuvw"


def test_a_number_is_its_organisations_and_more_than_ninety_eight_bits_of_chance():
    assert math.log2(len(set(LETTERS)) ** DRAWN) > 98
    assert not set(LETTERS) & set("01ilo")
    assert organisation_in(new_paper_id(LARGEST)) == LARGEST
    assert len(new_paper_id(LARGEST)) == 40


def test_no_two_numbers_are_alike_and_every_letter_comes_up_everywhere():
    drawn = [new_paper_id(7).removeprefix("7-") for _ in range(3000)]

    assert len(set(drawn)) == len(drawn)
    for place in range(DRAWN):
        counts = Counter(one[place] for one in drawn)
        assert set(counts) == set(LETTERS)
        assert max(counts.values()) < 3 * len(drawn) / len(LETTERS)


@pytest.mark.parametrize(
    "text",
    [
        "", "1", NUMBER[2:], f"0{NUMBER}", f"-{NUMBER}", f"{NUMBER}w", NUMBER[:-1], NUMBER.upper(), f"{NUMBER}\n", f" {NUMBER}",
        f"{1 << 63}-{NUMBER[2:]}", f"١{NUMBER[1:]}", NUMBER.replace("a", "l"), f"{NUMBER[:-1]}ą",
    ],
)  # fmt: skip
def test_what_is_no_number_is_of_no_organisation(text):
    assert organisation_in(text) is None


def test_a_number_may_be_typed_in_capitals_and_no_other_letter_is_taken_for_one_of_it():
    assert canonical(NUMBER.upper()) == NUMBER
    assert organisation_in(canonical(NUMBER.replace("k", "\N{KELVIN SIGN}"))) is None


def register_of(on, *, asked_on=FIRST):
    return Dated(kind=ReportKind.PERMIT_REGISTER, local_date=on, from_on=None, until_on=None, asked_on=asked_on)


def inspection_of(from_on, until_on, *, asked_on):
    return Dated(kind=ReportKind.INSPECTION_FILE, local_date=asked_on, from_on=from_on, until_on=until_on, asked_on=asked_on)


DAY = timedelta(days=1)
BEFORE, NEXT = FIRST - DAY, FIRST + DAY


@pytest.mark.parametrize(
    ("later", "paper", "does"),
    [
        (register_of(NEXT, asked_on=NEXT), register_of(FIRST), True),
        (register_of(FIRST), register_of(FIRST), True),
        (register_of(FIRST, asked_on=NEXT), register_of(FIRST), True),
        (register_of(FIRST), register_of(BEFORE), False),
        (register_of(BEFORE), register_of(FIRST), False),
        (register_of(BEFORE, asked_on=NEXT), register_of(BEFORE), True),
        (inspection_of(BEFORE, FIRST, asked_on=FIRST), inspection_of(BEFORE, FIRST, asked_on=FIRST), True),
        (inspection_of(BEFORE, NEXT, asked_on=NEXT), inspection_of(BEFORE, FIRST, asked_on=FIRST), True),
        (inspection_of(FIRST, NEXT, asked_on=NEXT), inspection_of(BEFORE, FIRST, asked_on=FIRST), False),
        (inspection_of(BEFORE, FIRST, asked_on=NEXT), inspection_of(BEFORE, FIRST, asked_on=FIRST), True),
        (inspection_of(BEFORE, NEXT, asked_on=NEXT), inspection_of(BEFORE, BEFORE, asked_on=FIRST), False),
    ],
)
def test_a_later_paper_supersedes_one_of_the_same_days_and_one_of_now_another_of_now(later, paper, does):
    assert supersedes(later, paper) is does


def test_a_file_of_a_transfer_is_always_of_now():
    first = Dated(kind=ReportKind.TRANSFER_FILE, local_date=BEFORE, from_on=None, until_on=None, asked_on=FIRST)

    assert supersedes(replace(first, local_date=FIRST), first)


def test_a_press_says_where_a_paper_is_looked_up():
    numbered, other = SimpleNamespace(paper_id=NUMBER), SimpleNamespace(paper_id=None)
    press = Press("https://records.example/reedbed")

    assert press.check_at(numbered) == f"https://records.example/reedbed/v/{NUMBER}"
    assert press.check_at(other) is None
    assert NO_PRESS.check_at(numbered) is None
    assert NO_PRESS.imprint(numbered) == Imprint(NUMBER, None, sealed=False)


def test_the_press_is_as_it_is_set(tmp_path):
    made = Press.of(Settings(public_url="https://records.example", seal_file=seal_file(tmp_path), seal_password=PASSWORD))

    assert made.imprint(SimpleNamespace(paper_id=NUMBER)) == Imprint(NUMBER, f"https://records.example/v/{NUMBER}", sealed=True)
    assert Press.of(Settings()) == NO_PRESS


@pytest.mark.parametrize(
    "address",
    [
        "https://records.example",
        "https://records.example:8443/reedbed",
        "http://127.0.0.1:8000",
        "http://[::1]:1",
        "https://x.example/a.b/..c",
    ],
)
def test_a_public_address_is_taken(address):
    assert Settings(public_url=address).public_url == address


@pytest.mark.parametrize(
    "address",
    [
        "http://records.example", "records.example", "https://", "https://records.example/", "https://records.example/x/", "ftp://localhost",
        "https://records.example?x=1", "https://records.example#x", "https://user@records.example", "https://zażółć.example",
        "https://records.example:0", "https://records.example:", "https://records.example:65536", "https://records.example:+80",
        "https://records.example:0443", "https://records.example/%0a", "https://records.example/..", "https://records.example/../x",
        "https://records.example/./x", "https://records.example//x", "https://records..example", "https://-records.example",
        "https://[::1", "https://records.example/a b", 'https://records.example/"', "javascript:alert(1)", "https://" + "m" * 52 + ".org",
    ],
)  # fmt: skip
def test_a_public_address_that_is_none_is_refused(address):
    with pytest.raises(ValidationError, match=r"REEDBED_PUBLIC_URL|at most"):
        Settings(public_url=address)


def test_the_longest_address_of_a_paper_fits_into_a_code():
    longest = f"{'https://'.ljust(LONGEST_PUBLIC_URL, 'm')}/v/{new_paper_id(LARGEST)}"

    assert len(longest) == MOST_AT_M
    assert modules(longest, "M")


def test_a_password_without_a_seal_is_refused():
    with pytest.raises(ValidationError, match="REEDBED_SEAL_FILE"):
        Settings(seal_password="x")
