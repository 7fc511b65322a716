from datetime import UTC, datetime
from io import BytesIO

import pypdf
import pytest
from reportlab import rl_config

from reports.page import LEADING, SECTION_HEIGHT, UPRIGHT, Figure, Furniture, Paper
from tests.reports.makers import opened, squeezed, text_of


def furniture(**stated):
    return Furniture(
        **{
            "paper_id": "RDL-1",
            "organisation": "Example Animal Trust",
            "name": "Replacement-due list",
            "title": "Replacement due",
            "data_as_of": datetime(2026, 11, 23, 12, 30, tzinfo=UTC),
            "generated_at": datetime(2026, 11, 23, 13, 0, tzinfo=UTC),
            "zone": "Pacific/Auckland",
            "record_hash": "0123456789abcdef" * 4,
        }
        | stated
    )


def three_pages(**stated):
    paper = Paper(furniture(**stated))
    for number in range(3):
        if number:
            paper.new_page()
        paper.section(f"Section {number}")
    return paper.finished()


def test_every_page_says_which_of_how_many_it_is():
    with opened(three_pages()) as paper:
        said = [page.extract_text() for page in paper.pages]

    assert ["page 1 of 3" in said[0], "page 2 of 3" in said[1], "page 3 of 3" in said[2]] == [True] * 3


def test_every_page_says_whose_it_is_and_of_when():
    with opened(three_pages()) as paper:
        for page in paper.pages:
            said = page.extract_text()
            assert "Example Animal Trust Replacement-due list" in said
            assert "RDL-1" in said
            assert "data as of 24 Nov 2026 01:30 · generated 24 Nov 2026 02:00 · times in Pacific/Auckland" in said
            assert "record 0123456789abcdef" in said


def test_the_file_states_language_title_instant_and_bookmarks():
    file = pypdf.PdfReader(BytesIO(three_pages()))

    assert file.trailer["/Root"]["/Lang"] == "en"
    assert file.metadata.title == "Replacement due"
    assert file.metadata.author == "Example Animal Trust"
    assert file.metadata.creation_date == datetime(2026, 11, 23, 13, 0, tzinfo=UTC)
    assert [entry.title for entry in file.outline] == ["Section 0", "Section 1", "Section 2"]
    assert [file.get_destination_page_number(entry) for entry in file.outline] == [0, 1, 2]


def test_every_font_is_embedded():
    for page in pypdf.PdfReader(BytesIO(three_pages())).pages:
        for font in page["/Resources"]["/Font"].values():
            assert "/FontFile2" in font["/FontDescriptor"]


@pytest.mark.parametrize("setting", ["SOURCE_DATE_EPOCH", "TZ"])
def test_the_surroundings_do_not_reach_the_file(monkeypatch, setting):
    before = three_pages()
    monkeypatch.setenv(setting, "1234567")

    assert three_pages() == before


def test_another_instant_is_another_file():
    assert three_pages(generated_at=datetime(2026, 11, 24, tzinfo=UTC)) != three_pages()


def test_no_address_is_trusted_and_no_colour_is_evaluated():
    assert rl_config.trustedHosts is None
    assert rl_config.trustedSchemes == []
    assert rl_config.toColorCanUse is None


def test_a_page_is_left_when_the_room_is_short_and_never_left_empty():
    paper = Paper(furniture())
    paper.need(10_000)
    paper.skip(paper.room - SECTION_HEIGHT + 1)
    paper.need(SECTION_HEIGHT)

    assert paper.is_fresh
    assert "page 2 of 2" in text_of(paper.finished())


def strip(*figures):
    paper = Paper(furniture())
    before = paper.y
    paper.figures(figures)
    height = before - paper.y
    return paper.finished(), height


def test_a_key_figure_may_be_words_and_shrinks_until_they_fit():
    pdf, _ = strip(
        Figure(7, "items"), Figure("2 350 g", "mass"), Figure("Garden 3, east pen by the river", "place"), Figure("kept here", "status")
    )

    with opened(pdf) as paper:
        chars = paper.pages[0].chars
    whole = "".join(letter["text"] for letter in chars)
    sizes = {word: chars[whole.index(word)]["size"] for word in ("7", "2 350 g", "Garden", "kept")}
    assert sizes["7"] == sizes["2 350 g"] == sizes["kept"] == 17
    assert sizes["Garden"] < 17
    assert "Garden3,eastpenbytheriver" in squeezed(whole)


def test_a_label_of_two_lines_takes_the_room_that_it_needs():
    _, one = strip(Figure(7, "items"), Figure(7, "items"))
    pdf, two = strip(Figure(7, "items"), Figure(7, "items that are far too many to be said on one line of the strip, so two"))

    assert two - one == LEADING
    assert "so two" in text_of(pdf)


def test_another_margin_moves_everything_on_the_page():
    paper = Paper(furniture(), margin=20)

    assert (paper.left, paper.right) == (20, UPRIGHT[0] - 20)
