"""From what people typed to lines that may be drawn: made safe, spelt out, wrapped and put in visual order.

Only this file makes a ``Line``, and only lines are drawn, so no text reaches a paper uncleaned and none is ever
read as markup.
"""

import re
import unicodedata
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import groupby
from typing import Literal, NamedTuple

from arabic_reshaper import ArabicReshaper
from bidi.algorithm import get_display
from reportlab.pdfbase.pdfmetrics import stringWidth

from reports.fonts import Face, face_for, glyphs

CELL = 400  # most characters in a table cell
NAME = 120  # in a name, a heading or one line of furniture
NOTE = 2_000
MOST_LINES = 10  # of one text in a table cell
MARKS_PER_LETTER = 3
LOOSE = 1.15  # from line to line, in sizes of the type
ELLIPSIS = "…"
BOX = "□"

Tone = Literal["ink", "muted", "alarm", "white"]

_line_ends = re.compile("\r\n|[\r\v\f\x1c-\x1e\x85\u2028\u2029]")
_surrogates = re.compile("[\ud800-\udfff]")
_selectors = re.compile("[\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180f\u3164\uffa0\ufe00-\ufe0f\U000e0000-\U000e0fff]")
_drawn_format_characters = frozenset("\u0600\u0601\u0602\u0603\u0604\u0605\u06dd\u070f\u0890\u0891\u08e2")
_right_to_left = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff]")
_joiner = ArabicReshaper({"delete_harakat": False, "delete_tatweel": False})


class Run(NamedTuple):
    """A stretch of one face and tone, in the order it is drawn."""

    face: Face
    text: str
    tone: Tone = "ink"


Line = tuple[Run, ...]


def clean(text: str, *, limit: int = CELL) -> str:
    """Return the text as it may stand on a paper, at most ``limit`` characters and the last one ``…`` when it was cut.

    NFC. Lone surrogates become U+FFFD. Controls, zero-width characters, bidi overrides and isolates are dropped, line
    and paragraph separators become a newline, a tab a space. A letter keeps its first three combining marks. A
    character no face of ours holds is spelt out by its Unicode name in brackets, or is a box when it has none.
    """
    if len(text) <= limit and text.isascii() and text.isprintable():
        return text
    # Normalising is quadratic in a run of marks, so the cut comes first as well as last.
    cut = text[: 4 * limit + 64]
    visible = "".join(_visible(_surrogates.sub("\ufffd", _line_ends.sub("\n", cut))))
    whole = unicodedata.normalize("NFC", visible)
    drawn = "".join(_spelt(character) for character in _with_few_marks(whole))
    if len(drawn) <= limit and len(cut) == len(text):
        return drawn
    return drawn[: limit - 1] + ELLIPSIS


def one_line(text: str, *, limit: int = NAME) -> str:
    """Return the text made safe, its line ends turned into spaces."""
    return clean(text, limit=limit).replace("\n", " ")


def _visible(text: str) -> Iterator[str]:
    for character in _selectors.sub("", text.replace("\t", " ")):
        kept = character == "\n" or character in _drawn_format_characters
        if kept or unicodedata.category(character) not in {"Cc", "Cf"}:
            yield character


def _with_few_marks(characters: str) -> Iterator[str]:
    marks = 0
    for character in characters:
        marks = marks + 1 if unicodedata.category(character)[0] == "M" else 0
        if marks <= MARKS_PER_LETTER:
            yield character


@lru_cache(maxsize=8_192)
def _spelt(character: str) -> str:
    if character == "\n" or face_for(character, wished=Face.REGULAR) is not None:
        return character
    name = unicodedata.name(character, "").removeprefix("HANGUL SYLLABLE ")
    return f"[{name.lower()}]" if name else BOX


def lines(
    text: str,
    *,
    face: Face,
    size: float,
    width: float,
    limit: int = CELL,
    most: int = MOST_LINES,
    tone: Tone = "ink",
) -> tuple[Line, ...]:
    """Return the text made safe and wrapped to ``width`` [pt], in drawing order.

    Breaks at U+0020 only, so a no-break space holds figure and unit together; a word wider than the line is broken
    where it is full, never between a letter and its marks. More than ``most`` lines end in ``…``. Empty text is no
    line at all.
    """
    broken = _lines(text[: 4 * limit + 65], (face, size, width), limit, most)
    if tone == "ink":
        return broken
    return tuple(tuple(run._replace(tone=tone) for run in line) for line in broken)


def fitted(text: str, *, face: Face, size: float, width: float, tone: Tone = "ink") -> Line:
    """Return the text as one line no wider than ``width`` [pt], cut with ``…`` when it is longer."""
    set_lines = lines(one_line(text), face=face, size=size, width=width, most=1, tone=tone)
    return set_lines[0] if set_lines else ()


def sized(
    text: str, *, face: Face, width: float, height: float, sizes: Sequence[float], limit: int = CELL, leading: float = LOOSE
) -> tuple[float, tuple[Line, ...]]:
    """Return the largest of the falling ``sizes`` [pt] at which the whole text fits into ``width`` and ``height`` [pt], and its lines.

    Words are broken only where no size would leave them whole, and the text is cut with ``…`` only where the smallest size is too large
    for it. Lines stand ``leading`` times their size apart.
    """
    whole = clean(text, limit=limit)
    fits = [size for size in sizes if _fits(whole, face=face, size=size, width=width, room=height // (size * leading))]
    keeps_words = [size for size in fits if all(measure(word, face=face, size=size) <= width for word in whole.split())]
    size = next(iter(keeps_words or fits), sizes[-1])
    return size, lines(whole, face=face, size=size, width=width, limit=limit, most=max(1, int(height // (size * leading))))


def _fits(text: str, *, face: Face, size: float, width: float, room: float) -> bool:
    return len(lines(text, face=face, size=size, width=width, limit=len(text) + 1, most=len(text) + 1)) <= room


@lru_cache(maxsize=16_384)
def _lines(text: str, measures: tuple[Face, float, float], limit: int, most: int) -> tuple[Line, ...]:
    face, size, width = measures
    whole = clean(text, limit=limit)
    if not whole:
        return ()
    if "\n" not in whole and measure(whole, face=face, size=size) <= width:
        return ((Run(face, whole),),) if whole.isascii() else (_drawn(whole, face, _base(whole)),)
    broken = [(part, _base(paragraph)) for paragraph in whole.split("\n") for part in _broken(paragraph, face=face, size=size, width=width)]
    if len(broken) > most:
        last, base = broken[most - 1]
        broken[most - 1 :] = [(_ending(last, face=face, size=size, width=width), base)]
    return tuple(_drawn(part, face, base) for part, base in broken)


def measure(text: str, *, face: Face, size: float) -> float:
    """Return how wide the text is drawn [pt]; letters that join are measured joined."""
    if text.isascii():
        glyphs(face)
        return float(stringWidth(text, face, size))
    return line_width(_runs(_joined(text), face), size=size)


def line_width(line: Line, *, size: float) -> float:
    """Return how wide a line is drawn [pt]."""
    return float(sum(stringWidth(run.text, run.face, size) for run in line))


def _broken(paragraph: str, *, face: Face, size: float, width: float) -> Iterator[str]:
    space = measure(" ", face=face, size=size)
    current, used = "", 0.0
    for piece, starts_word in _pieces(paragraph, face=face, size=size, width=width):
        wide = measure(piece, face=face, size=size)
        if starts_word and (not current or used + space + wide <= width):
            current, used = (f"{current} {piece}", used + space + wide) if current else (piece, wide)
            continue
        if current:
            yield current
        current, used = piece, wide
    yield current


def _pieces(paragraph: str, *, face: Face, size: float, width: float) -> Iterator[tuple[str, bool]]:
    """Yield the words, a word wider than the line in parts; only a word's first part may follow on a line."""
    for word in paragraph.split(" "):
        if measure(word, face=face, size=size) <= width:
            yield word, True
            continue
        for number, part in enumerate(_parts(word, face=face, size=size, width=width)):
            yield part, number == 0


def _parts(word: str, *, face: Face, size: float, width: float) -> Iterator[str]:
    part, used = "", 0.0
    for letter in _letters(word):
        wide = measure(letter, face=face, size=size)
        if part and used + wide > width:
            yield part
            part, used = "", 0.0
        part, used = part + letter, used + wide
    yield part


def _letters(word: str) -> Iterator[str]:
    letter = ""
    for character in word:
        if letter and unicodedata.category(character)[0] != "M":
            yield letter
            letter = ""
        letter += character
    yield letter


def _ending(text: str, *, face: Face, size: float, width: float) -> str:
    while text and measure(text + ELLIPSIS, face=face, size=size) > width:
        text = text[:-1]
    return text + ELLIPSIS


def _base(paragraph: str) -> str:
    for character in paragraph:
        direction = unicodedata.bidirectional(character)
        if direction in {"R", "AL"}:
            return "R"
        if direction == "L":
            return "L"
    return "L"


def _joined(text: str) -> str:
    if text.isascii() or not _right_to_left.search(text):
        return text
    joined: str = _joiner.reshape(text)
    return joined


def _drawn(text: str, face: Face, base: str) -> Line:
    joined = _joined(text)
    if joined.isascii() or not _right_to_left.search(joined):
        return _runs(joined, face)
    shown: str = get_display(joined, base_dir=base)
    return _runs(shown, face)


@lru_cache(maxsize=16_384)
def _runs(text: str, face: Face) -> Line:
    if text.isascii():
        glyphs(face)
        return (Run(face, text),)
    chosen = [(face_for(character, wished=face), character) for character in text]
    return tuple(
        Run(held or Face.REGULAR, "".join(character if held else BOX for _, character in stretch))
        for held, stretch in groupby(chosen, key=lambda pair: pair[0])
    )
