"""The box near the end of papers that leave the house: how whoever holds one finds out whether it is what was issued."""

from typing import Final

from reportlab.lib.units import mm

from reports.fonts import Face
from reports.page import BODY_SIZE, LEADING, RULE, Paper
from reports.qr import draw_code
from reports.text import LOOSE, Line, lines, sized
from reports.words import in_eights

SIDE: Final = 32 * mm
"""Of the code with its quiet zone [pt]."""
HEADING: Final = "Check this file"
LEADS: Final = (
    "The code and the address lead to what is on record about this file: when it was issued, the editions of the rules behind it, and the "
    "fingerprint (SHA-256) of its PDF. Compare that with the fingerprint of the file in hand; the page does so where you open it, and"
    " nothing is sent. A print cannot be compared: for that ask for the file."
)
SEALED: Final = (
    "The PDF bears a seal: programs that read PDFs show whether it was changed since it was issued. Whose seal it is, only those can tell "
    "who have the certificate from the issuer. No authority attests its time."
)
UNSEALED: Final = "This file bears no seal: nobody has configured a key."

_pad = 8.0
_heading = 15.0
_address_sizes = (9.0, 8.0, 7.0, 6.0)
_address_height = 2 * _address_sizes[0] * LOOSE


def ask(paper_id: str) -> str:
    """Return how a paper is checked that no address leads to."""
    return f"No address to check this file at is configured. Ask whoever issued it, and say its number: {paper_id}."


def recorded(record_hash: str) -> str:
    """Return a paper's record hash, to be read back, with what it is of."""
    return f"Record (SHA-256 of the data of this file as JSON): {in_eights(record_hash)}"


def draw_check_box(paper: Paper, *, paper_id: str, record_hash: str, check_at: str | None, sealed: bool) -> None:
    """Draw the box, whole on one page; without ``check_at``, the address to look the paper up at, it says whom to ask."""
    beside = 0.0 if check_at is None else SIDE + _pad
    width = paper.width - 2 * _pad - beside
    said = (ask(paper_id) if check_at is None else LEADS, SEALED if sealed else UNSEALED, recorded(record_hash))
    paragraphs = [lines(text, face=Face.REGULAR, size=BODY_SIZE, width=width, limit=len(text) + 1) for text in said]
    size, address = sized(check_at or "", face=Face.REGULAR, width=width, height=_address_height, sizes=_address_sizes)
    text_height = _heading + sum(LEADING * len(one) + 3 for one in paragraphs) + len(address) * size * LOOSE
    height = max(text_height, beside - _pad) + 2 * _pad
    paper.need(height)
    top = paper.y
    paper.canvas.setStrokeColor(RULE)
    paper.canvas.setLineWidth(0.8)
    paper.canvas.rect(paper.left, top - height, paper.width, height, stroke=1, fill=0)
    y = _write(paper, paragraphs, y=top - _pad - BODY_SIZE)
    if check_at is not None:
        paper.link(check_at, address, x=paper.left + _pad, y=y, size=size)
        _draw_code(paper, check_at, top=top - _pad)
    paper.skip(height + 10)


def _write(paper: Paper, paragraphs: list[tuple[Line, ...]], *, y: float) -> float:
    """Write the heading and the paragraphs, and return where the next line stands [pt]."""
    ink, x = paper.ink(), paper.left + _pad
    ink.tag("P")
    for line in lines(HEADING, face=Face.BOLD, size=9.5, width=paper.width):
        ink.write(line, x=x, y=y, size=9.5)
    y -= _heading
    for paragraph in paragraphs:
        ink.tag("P")
        for line in paragraph:
            ink.write(line, x=x, y=y, size=BODY_SIZE)
            y -= LEADING
        y -= 3
    ink.dry(paper.canvas)
    return y


def _draw_code(paper: Paper, check_at: str, *, top: float) -> None:
    left, bottom = paper.right - _pad - SIDE, top - SIDE
    with paper.drawing(f"QR code of {check_at}", box=(left, bottom, left + SIDE, top)):
        draw_code(paper.canvas, check_at, x=left, y=bottom, side=SIDE, level="M")
