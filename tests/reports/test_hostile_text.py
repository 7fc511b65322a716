"""Hundreds of hostile texts stand on the paper as they were typed, and printing them opens nothing but the fonts."""

from __future__ import annotations

import json
import os
import random
import re
import subprocess
import sys
import unicodedata
from collections.abc import Callable
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import pytest
from reportlab.lib.styles import getSampleStyleSheet
from reportlab.platypus import Paragraph, SimpleDocTemplate

from reports.due_list import due_list_pdf
from tests.reports.makers import due_row, due_sheet, letters_of, squeezed

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


@pytest.mark.parametrize("planted", ["", "open", "socket"])
def test_printing_them_opens_the_fonts_and_nothing_else(planted, tmp_path):
    texts = tmp_path / "texts.json"
    texts.write_text(json.dumps(hostile_texts()[:200]), encoding="utf-8")
    program = f"""
import json, sys
from reports.due_list import due_list_pdf
from tests.reports.makers import due_row, due_sheet
texts = json.load(open({str(texts)!r}, encoding="utf-8"))
seen = []
def heard(event, details):
    if event in ("open", "os.system", "subprocess.Popen", "os.exec", "os.posix_spawn", "ctypes.dlopen") or event.startswith("socket."):
        seen.append((event, str(details[0])))
sys.addaudithook(heard)
{"open('/etc/hostname').close()" if "open" in planted else ""}
{"import socket; socket.socket().close()" if "socket" in planted else ""}
due_list_pdf(due_sheet(*[due_row(tag=str(number), reason=text) for number, text in enumerate(texts)]))
print(json.dumps(seen))
"""
    run = subprocess.run(
        [sys.executable, "-c", program],
        check=True,
        capture_output=True,
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"},
    )
    seen = json.loads(run.stdout)

    strange = [(event, what) for event, what in seen if event != "open" or not _may_be_opened(what)]
    assert bool(strange) == bool(planted), strange


def _may_be_opened(path: str) -> bool:
    """Return whether a file is a font of ours, a time zone, or code that is imported late."""
    code = path.endswith((".py", ".pyc", ".so")) and path.startswith((sys.prefix, sys.base_prefix, str(ROOT)))
    return path.startswith(str(ROOT / "reports" / "fonts")) or "zoneinfo" in path or "tzdata" in path or code
