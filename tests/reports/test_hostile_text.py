"""Hundreds of hostile texts stand on the paper as they were typed, and printing them opens nothing but the fonts."""

from __future__ import annotations

import json
import os
import random
import re
import subprocess
import sys
import unicodedata
from collections import Counter
from collections.abc import Callable, Sequence
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import pytest
from reportlab.lib.styles import getSampleStyleSheet
from reportlab.platypus import Paragraph, SimpleDocTemplate

from domain.rules.lives import EventKind
from reports.animal_record import AnimalRecordSheet, animal_record_pdf
from reports.due_list import due_list_pdf
from reports.labels import EnclosureLabel, LabelTaxon, Targets, labels_pdf
from reports.stock_statement import MovementLine, StockLine, StockStatementSheet, stock_statement_pdf
from tests.reports.makers import (
    animal_record,
    document_line,
    due_row,
    due_sheet,
    enclosure_label,
    event_line,
    holding_line,
    label_sheet,
    label_taxon,
    letters_of,
    mark_line,
    measurement_line,
    name_line,
    offspring_line,
    parent_line,
    placement_line,
    squeezed,
    stock_line,
    stock_movement,
    stock_statement,
    text_fields,
)

ROOT = Path(__file__).parents[2]
TEXTS = 600
SEED = 20260301
PIECES = (
    "<b>", "</b>", "<i>x</i>", "<br/>", "<foo>", "<!-- gone? -->", "<para>", "</para>", "<onDraw name=x/>", "<![CDATA[x]]>", "<unknown>",
    "<img src='/etc/passwd'/>", '<img src="http://127.0.0.1/x"/>', "<a href='javascript:x'>y</a>", "<font color='white' size=1>",
    "<strike>not</strike>",
    "&amp;", "&lt;", "&#60;", "&nbsp;", "&", "<", ">", "5<b>0</b> mg", ") Tj ET (", "\\(", "\\n", "%PDF", "%s", "{0}", "${x}", "#{x}",
    "שלום", "עולם", "مرحبا", "الواحة", "水族馆", "龟", "かめ", "Żaba", "Łąka", "élève", "e\u0301", "q\u0323", "o\u0302\u0323", "Ωμέγα",
    "Ёж", "½", "µg", "≤",
    "=1+1", "@x", "../../x", "W" * 30, "i" * 60, "x-" * 15, "a", "B", "7", "(", ")", "[", "]", "'", '"', ";", ",",
)  # fmt: skip
DROPPED = ("\0", "\x07", "\x1b[0m", "\u202e", "\u2066", "\u200b", "\ufeff", "\xad", "\x9b")
"""What the paper leaves out: characters that show nothing, or show the rest in another order."""
RIGHT_TO_LEFT = re.compile("[\u0590-\u06ff]")
MIRRORED = str.maketrans(")>]}", "(<[{")


def hostile_texts() -> list[str]:
    """Return texts of a few pieces each, always the same."""
    chance = random.Random(SEED)  # noqa: S311 - which pieces meet is no secret
    return [
        "".join(chance.choice((*PIECES, *DROPPED)) + chance.choice(("", " ")) for _ in range(chance.randint(1, 4))) for _ in range(TEXTS)
    ]


def as_printed(text: str) -> str:
    """Return a text as the paper is documented to print it, without its white space: shown characters only, composed."""
    shown = "".join(one for one in text if unicodedata.category(one) not in {"Cc", "Cf"})
    return squeezed(unicodedata.normalize("NFC", shown))


def is_said(text: str, printed: str) -> bool:
    """Return whether what was extracted holds a text. From the right it is drawn in visual order, so its characters are counted."""
    expected = as_printed(text)
    if not RIGHT_TO_LEFT.search(text):
        return expected in printed
    drawn = sorted(unicodedata.normalize("NFKC", printed).translate(MIRRORED))
    wanted = sorted(unicodedata.normalize("NFKC", expected).translate(MIRRORED))
    return all(drawn.count(one) >= wanted.count(one) for one in set(wanted))


def lost(texts: list[str], printer: Callable[[list[str]], list[str]]) -> list[str]:
    """Return the texts that are not in what a printer's paper says in their places."""
    return [text for text, printed in zip(texts, printer(texts), strict=True) if not is_said(text, printed)]


def printed_by_us(texts: list[str]) -> list[str]:
    rows = [due_row(number=number, tag=f"@{number:04}@", reason=text) for number, text in enumerate(texts)]
    letters = letters_of(due_list_pdf(due_sheet(*rows)))
    places = [letters.index(f"@{number:04}@") for number in range(len(texts))] + [len(letters)]
    return [letters[start:end] for start, end in pairwise(places)]


def printed_as_markup(texts: list[str]) -> list[str]:
    """Print each text as reportlab takes it when nobody escapes it; what it cannot read as markup comes to nothing."""
    found = []
    for text in texts:
        page = BytesIO()
        try:
            SimpleDocTemplate(page).build([Paragraph(text, getSampleStyleSheet()["Normal"])])
            found.append(letters_of(page.getvalue()))
        except (ValueError, AttributeError, OSError):
            found.append("")
    return found


def test_what_the_texts_are_made_of_is_hostile():
    texts = hostile_texts()

    assert len(set(texts)) >= 500
    for piece in (*PIECES, *DROPPED):
        assert any(piece in text for text in texts), piece


def test_hundreds_of_hostile_texts_are_extracted_as_they_were_typed():
    assert lost(hostile_texts(), printed_by_us) == []


def test_a_paper_that_takes_text_as_markup_is_found_out():
    texts = ["dose 5<b>0</b> mg", "Sex <unknown>", "<strike>not</strike> approved", "a &lt; b", "plain"]

    assert lost(texts, printed_as_markup) == texts[:-1]


def marked(number: int, text: str) -> str:
    """Return a text behind a mark by which it is found again on the paper."""
    return f"Q{number:04}Q{text}"


def lost_of_marked(texts: Sequence[str], pdf: bytes, *, times: int) -> list[str]:
    """Return the texts that do not stand behind their mark so many times."""
    parts = re.split(r"Q(\d{4})Q", letters_of(pdf))
    found = Counter(int(number) for number, printed in zip(parts[1::2], parts[2::2], strict=True) if is_said(texts[int(number)], printed))
    return [text for number, text in enumerate(texts) if found[number] < times]


def test_a_text_that_is_not_as_often_on_the_paper_is_found_out():
    pdf = animal_record_pdf(animal_record(events=(event_line(cause=marked(0, "one <b>"), note=marked(1, "two")),)))

    assert lost_of_marked(["one <b>", "two"], pdf, times=1) == []
    assert lost_of_marked(["one <b>", "two"], pdf, times=2) == ["one <b>", "two"]
    assert lost_of_marked(["one <i>", "two"], pdf, times=1) == ["one <i>"]


LINES = {
    "names": (name_line, {}),
    "marks": (mark_line, {}),
    "placements": (placement_line, {}),
    "measurements": (measurement_line, {}),
    "parents here": (parent_line, {"elsewhere": None}),
    "parents elsewhere": (parent_line, {"tag": None, "scientific_name": None}),
    "offspring": (offspring_line, {}),
    "holdings": (holding_line, {}),
    "events": (event_line, {"kind": EventKind.SPLIT_FROM}),
    "documents": (document_line, {}),
}
"""The lists of an animal record, how a line of each is made, and what is left as it is in it."""
NOT_TYPED = {"rank", "hatched_precision", "sha256"}
"""Texts of a line that nobody types: they choose how the others are set, or are computed."""


@pytest.mark.parametrize("name", LINES)
def test_every_text_of_every_list_of_an_animal_record_is_extracted_as_it_was_typed(name):
    make, left = LINES[name]
    texts = hostile_texts()[::3]
    typed = [field for field in text_fields(type(make())) if field not in NOT_TYPED | left.keys()]
    lines = tuple(make(**left | dict.fromkeys(typed, marked(number, text))) for number, text in enumerate(texts))

    pdf = animal_record_pdf(animal_record(**{name.split()[0]: lines}))

    assert len(typed) >= 2
    assert lost_of_marked(texts, pdf, times=len(typed)) == []


ABOUT = ("tag", "name", "scientific_name", "name_authorship", "common_name", "name_as_printed", "origin", "locality", "note")


def test_every_text_about_an_animal_is_extracted_as_it_was_typed():
    for text in hostile_texts()[::12]:
        typed = {field: marked(number, text) for number, field in enumerate(ABOUT)}

        assert lost_of_marked([text] * len(ABOUT), animal_record_pdf(animal_record(**typed)), times=1) == []


def test_every_text_about_an_animal_is_among_them():
    furniture = {"paper_id", "organisation", "zone"}

    assert set(text_fields(AnimalRecordSheet)) == {*ABOUT} | furniture | {"animal_id", "rank", "hatched_precision"}


@pytest.mark.parametrize("field", ["code", "place", "life_support_system", "scientific_name", "water"])
def test_every_text_of_a_label_is_extracted_as_it_was_typed(field):
    texts = hostile_texts()[::6]

    pdf = labels_pdf(label_sheet(*(_labelled(field, marked(number, text)) for number, text in enumerate(texts))))

    assert lost_of_marked(texts, pdf, times=1) == []


def _labelled(field: str, text: str) -> EnclosureLabel:
    taxon = label_taxon(
        **{"scientific_name": text} if field == "scientific_name" else {}, targets=Targets(water=text) if field == "water" else None
    )
    return enclosure_label(taxon, **{field: text} if field in text_fields(EnclosureLabel) else {})


def test_every_text_of_a_label_is_among_them():
    assert set(text_fields(EnclosureLabel)) == {"code", "place", "life_support_system", "short_id"}
    assert set(text_fields(LabelTaxon)) == {"scientific_name", "rank"}
    assert set(text_fields(Targets)) == {"water"}


STATED = ("site", "address")


def test_every_text_of_a_stock_statement_is_extracted_as_it_was_typed():
    texts = hostile_texts()[::3]
    lines = [stock_line(scientific_name=marked(number, text), common_name=marked(number, text)) for number, text in enumerate(texts)]
    moves = tuple(stock_movement(tag=marked(number, text), scientific_name=marked(number, text)) for number, text in enumerate(texts))

    assert lost_of_marked(texts, stock_statement_pdf(stock_statement(*lines, movements=moves)), times=4) == []
    for text in hostile_texts()[::30]:
        typed = {field: marked(number, text) for number, field in enumerate(STATED)}
        assert lost_of_marked([text] * len(STATED), stock_statement_pdf(stock_statement(**typed)), times=1) == []


def test_every_text_of_a_stock_statement_is_among_them():
    assert set(text_fields(StockStatementSheet)) == {*STATED, "paper_id", "organisation", "zone"}
    assert set(text_fields(StockLine)) == {"scientific_name", "rank", "common_name"}
    assert set(text_fields(MovementLine)) == {"tag", "scientific_name", "rank", "happening"}


@pytest.mark.parametrize(
    "printing",
    [
        "stock_statement_pdf(stock_statement(*[stock_line(scientific_name=text) for text in texts]))",
        "animal_record_pdf(animal_record(events=tuple(event_line(note=text, party=text) for text in texts), tag=texts[0]))",
        "labels_pdf(label_sheet(*[enclosure_label(label_taxon(scientific_name=text), code=text) for text in texts]))",
    ],
)
def test_records_and_labels_open_the_fonts_and_nothing_else(printing, tmp_path):
    texts = tmp_path / "texts.json"
    texts.write_text(json.dumps(hostile_texts()[:200]), encoding="utf-8")

    assert [each for each in _opened_by(printing, texts) if each[0] != "open" or not _may_be_opened(each[1])] == []


@pytest.mark.parametrize("planted", ["", "open", "socket"])
def test_printing_them_opens_the_fonts_and_nothing_else(planted, tmp_path):
    texts = tmp_path / "texts.json"
    texts.write_text(json.dumps(hostile_texts()[:200]), encoding="utf-8")
    plants = {"open": "open('/etc/hostname').close()", "socket": "__import__('socket').socket().close()", "": "None"}
    printing = "due_list_pdf(due_sheet(*[due_row(tag=str(number), reason=text) for number, text in enumerate(texts)]))"
    seen = _opened_by(f"({plants[planted]}, {printing})", texts)

    strange = [(event, what) for event, what in seen if event != "open" or not _may_be_opened(what)]
    assert bool(strange) == bool(planted), strange


def _opened_by(printing: str, texts: Path) -> list[tuple[str, str]]:
    """Return what a process of its own opens or starts while it prints: the event and what it is about."""
    program = f"""
import json, sys
from reports.animal_record import animal_record_pdf
from reports.due_list import due_list_pdf
from reports.labels import labels_pdf
from reports.stock_statement import stock_statement_pdf
from tests.reports.makers import *
texts = json.load(open({str(texts)!r}, encoding="utf-8"))
seen = []
def heard(event, details):
    if event in ("open", "os.system", "subprocess.Popen", "os.exec", "os.posix_spawn", "ctypes.dlopen") or event.startswith("socket."):
        seen.append((event, str(details[0])))
sys.addaudithook(heard)
{printing}
print(json.dumps(seen))
"""
    run = subprocess.run(
        [sys.executable, "-c", program],
        check=True,
        capture_output=True,
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"},
    )
    return [tuple(each) for each in json.loads(run.stdout)]


def _may_be_opened(path: str) -> bool:
    """Return whether a file is a font of ours, a time zone, or code that is imported late."""
    code = path.endswith((".py", ".pyc", ".so")) and path.startswith((sys.prefix, sys.base_prefix, str(ROOT)))
    return path.startswith(str(ROOT / "reports" / "fonts")) or "zoneinfo" in path or "tzdata" in path or code
