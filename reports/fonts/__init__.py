"""The faces papers are set in, kept in this folder so that a change of machine never changes a paper."""

from collections.abc import Mapping
from enum import StrEnum
from functools import cache
from pathlib import Path
from threading import Lock

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

FOLDER = Path(__file__).parent


class Face(StrEnum):
    """A face by the name of its file."""

    # An enum's own hash is a Python call, and faces are part of every key the line breaker looks up.
    __hash__ = str.__hash__

    REGULAR = "DejaVuSansCondensed"
    BOLD = "DejaVuSansCondensed-Bold"
    OBLIQUE = "DejaVuSansCondensed-Oblique"
    MONO = "DejaVuSansMono"
    FALLBACK = "DroidSansFallbackFull"


_chains = {
    Face.REGULAR: (Face.REGULAR, Face.FALLBACK),
    Face.BOLD: (Face.BOLD, Face.REGULAR, Face.FALLBACK),
    Face.OBLIQUE: (Face.OBLIQUE, Face.REGULAR, Face.FALLBACK),
    Face.MONO: (Face.MONO, Face.REGULAR, Face.FALLBACK),
    Face.FALLBACK: (Face.FALLBACK, Face.REGULAR),
}
# reportlab writes no searchable text for characters beyond the first plane.
_last_searchable = 0xFFFF
_registering = Lock()


def chain(face: Face) -> tuple[Face, ...]:
    """Return the faces to ask for a character, the wished one first."""
    return _chains[face]


@cache
def glyphs(face: Face) -> Mapping[int, int]:
    """Return the glyph number of every code point the face holds; loads and registers the face once a process."""
    with _registering:
        if face.value not in pdfmetrics.getRegisteredFontNames():
            file = FOLDER / f"{face.value}.ttf"
            pdfmetrics.registerFont(TTFont(face.value, str(file), asciiReadable=True, shapable=False))
        held: Mapping[int, int] = pdfmetrics.getFont(face.value).face.charToGlyph
        return held


def face_for(character: str, *, wished: Face) -> Face | None:
    """Return the first face of the chain that can draw the character; None when none can."""
    code = ord(character)
    if code > _last_searchable:
        return None
    return next((face for face in chain(wished) if code in glyphs(face)), None)
