"""How whoever holds a paper finds out whether it is what was issued: the box near its end, its code, and its footer."""

from __future__ import annotations

import re

import pypdfium2
import pytest

from reports.check_box import SIDE, UNSEALED, ask, draw_check_box
from reports.inspection_file import inspection_file_pdf
from reports.page import FOOTER, LYING, UPRIGHT, Paper
from reports.permit_register import permit_register_pdf
from reports.qr import QUIET, modules
from reports.transfer_file import transfer_file_pdf
from tests.reports.makers import going_animal, inspection_file, opened, permit_register, squeezed, text_of, transfer_file
from tests.reports.qr_reader import read
from tests.reports.test_page import furniture

NUMBER = "1099511627777-abcdefghjkmnpqrstuvw"
CHECK_AT = f"https://records.example/v/{NUMBER}"
LONGEST = f"{'https://'.ljust(63, 'm')}/v/{'9' * 19}-{'m' * 20}"
RECORD = "0123456789abcdef" * 4
MM = 72 / 25.4
PAPERS = {
    "register": lambda **stated: permit_register_pdf(permit_register(paper_id=NUMBER, **stated)),
    "transfer": lambda **stated: transfer_file_pdf(transfer_file(going_animal(), paper_id=NUMBER, **stated)),
    "file": lambda **stated: inspection_file_pdf(inspection_file(paper_id=NUMBER, **stated)),
}


def plain(text):
    return " ".join(text.split())


@pytest.fixture(params=PAPERS)
def printed(request):
    return PAPERS[request.param]


def boxed(*, size=LYING, check_at=CHECK_AT, sealed=False, lines=0):
    paper = Paper(furniture(check_at=check_at), size=size)
    for number in range(lines):
        paper.sentence(f"Line {number}")
    draw_check_box(paper, paper_id=NUMBER, record_hash=RECORD, check_at=check_at, sealed=sealed)
    return paper.finished()


def test_a_paper_leads_to_where_it_is_checked_and_says_how(printed):
    text = plain(text_of(printed(check_at=CHECK_AT)))

    assert "Check this file" in text
    assert "A print cannot be compared" in text
    assert text.count(CHECK_AT) >= 2
    assert f"check at {CHECK_AT}" in text


def test_the_box_says_that_the_rules_are_those_behind_the_paper(printed):
    text = plain(text_of(printed(check_at=CHECK_AT)))

    assert "the editions of the rules behind it" in text
    assert "rules on record" not in text


def test_a_paper_without_an_address_says_whom_to_ask_with_which_number(printed):
    pdf = printed(check_at=None)

    assert ask(NUMBER) in plain(text_of(pdf))
    assert "/v/" not in text_of(pdf)
    assert b"/URI" not in pdf


@pytest.mark.parametrize(("sealed", "said", "unsaid"), [(True, "The PDF bears a seal", UNSEALED), (False, UNSEALED, "bears a seal")])
def test_a_paper_says_whether_it_bears_a_seal(printed, sealed, said, unsaid):
    text = plain(text_of(printed(check_at=CHECK_AT, sealed=sealed)))

    assert said in text
    assert unsaid not in text


def test_equal_sheets_give_equal_bytes(printed):
    assert printed(check_at=CHECK_AT, sealed=True) == printed(check_at=CHECK_AT, sealed=True)
    assert printed(check_at=CHECK_AT, sealed=True) != printed(check_at=CHECK_AT, sealed=False)


@pytest.mark.parametrize("check_at", [CHECK_AT, LONGEST], ids=["usual", "longest"])
@pytest.mark.parametrize("size", [LYING, UPRIGHT], ids=["lying", "upright"])
def test_the_code_is_read_from_the_printed_page(size, check_at):
    """Rendered in grey at 300 dots an inch, as an office printer does, the middle of each module is looked at."""
    scale = 300 / 72
    left, top = size[0] - 34 - 8 - SIDE, None
    page = pypdfium2.PdfDocument(boxed(size=size, check_at=check_at))[0]
    picture = page.render(scale=scale, grayscale=True).to_numpy()
    rows = modules(check_at, "M")
    module = SIDE / (len(rows) + 2 * QUIET)
    top = size[1] - (size[1] - 34 - 24 - 8)
    middle = [(QUIET + number + 0.5) * module * scale for number in range(len(rows))]

    seen = [[picture[int(top * scale + y), int(left * scale + x)] < 128 for x in middle] for y in middle]

    assert read([[bool(dark) for dark in row] for row in seen]) == check_at
    assert SIDE >= 25 * MM
    assert module >= 0.5 * MM


@pytest.mark.parametrize("size", [LYING, UPRIGHT], ids=["lying", "upright"])
def test_the_address_is_never_cut_and_never_runs_into_the_code(size):
    pdf = boxed(size=size, check_at=LONGEST)
    with opened(pdf) as paper:
        [page] = paper.pages
        words = [word for word in page.extract_words() if "mmmmm" in word["text"] and word["bottom"] < size[1] - FOOTER]
        said = page.extract_text()

    assert max(word["x1"] for word in words) <= size[0] - 34 - 8 - SIDE
    assert LONGEST in squeezed("".join(word["text"] for word in words))
    assert "…" not in said


def test_an_address_that_has_room_in_smaller_letters_is_in_the_footer():
    longish = CHECK_AT.replace("records", "the-records-of-our-collections.animal-trust")

    assert plain(text_of(boxed(size=UPRIGHT, check_at=longish))).count(longish) == 2


def test_the_record_hash_stands_whole_in_the_box_in_groups_that_can_be_read_back(printed):
    [digest] = set(re.findall(r"JSON\): ((?:[0-9a-f]{8} ?){8})", plain(text_of(printed(check_at=CHECK_AT)))))

    assert digest.replace(" ", "")[:16] in text_of(printed(check_at=CHECK_AT))
    assert len(digest.replace(" ", "")) == 64


def test_a_long_address_is_in_the_footer_only_where_it_has_room():
    short, long = (plain(text_of(boxed(size=UPRIGHT, check_at=check_at))) for check_at in (CHECK_AT, LONGEST))

    assert f"check at {CHECK_AT}" in short
    assert "where to check it is said at its end" in long


@pytest.mark.parametrize("lines", [0, 30, 38, 40, 42, 44])
def test_the_box_stays_whole(lines):
    with opened(boxed(sealed=True, lines=lines)) as paper:
        pages = [page.extract_text() for page in paper.pages]

    [box] = [page for page in pages if "Check this file" in page]
    assert "No authority attests its time." in box


@pytest.mark.parametrize("number", [NUMBER, f"{'9' * 19}-{'m' * 20}"])
def test_a_number_is_whole_on_every_page(number):
    assert text_of(permit_register_pdf(permit_register(paper_id=number))).count(number) >= 1
