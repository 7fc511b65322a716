"""What text may be kept: normalised, without characters that hide or reorder what is read."""

from __future__ import annotations

import re
import unicodedata

from domain.errors import Unfit

_LINE_CONTROLS = frozenset("\n\t")
_LINE_BREAKS = re.compile("\r\n|\r|\u2028|\u2029|\u0085")
_PLAIN = re.compile(r"[ -~]*\Z")
_EDGES = " \t\n\r\u00a0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u2028\u2029\u202f\u205f\u3000"
"""Blanks that are not kept at the ends of a text: white space, without the control characters that Python counts to it."""
_JOINERS = "\N{ZERO WIDTH NON-JOINER}\N{ZERO WIDTH JOINER}"
_JOINED = frozenset("LMS")
"""Letters with their marks, and symbols: what a joiner may stand between, in Persian or Devanagari as in a composed emoji."""
_FILLERS = "\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0"
"""Letters, marks and symbols by their category that show nothing.

Source:
    Unicode, DerivedCoreProperties, Default_Ignorable_Code_Point; and the braille pattern without dots.
"""
_SELECTORS = "\u180b-\u180d\u180f\ufe00-\ufe0f\U000e0100-\U000e01ef"
"""Variation selectors: they choose how the character before them looks, and show nothing themselves."""
_UNSEEN = re.compile(f"[{_SELECTORS}{_JOINERS}]")


def kept_line(text: str) -> str:
    """Return one line of text as it is kept: NFC, trimmed.

    Raises:
        Unfit: Nothing is left to see, or a character could not be printed honestly: a control, a lone surrogate, or one that hides or
            reorders what is read. Of the format characters only joiners are kept, and those where they join; marks of direction are
            refused as well, since two names could differ by them alone.
    """
    line = seen = text.strip(_EDGES)
    if not _PLAIN.match(line):
        line = unicodedata.normalize("NFC", line).strip(_EDGES)
        _refuse_hidden(line, allowed=frozenset())
        seen = _UNSEEN.sub("", line).strip(_EDGES)
    if not seen:
        raise Unfit("there is no text", code="no-text")
    return line


def kept_lines(text: str) -> str:
    """Return text of several lines as it is kept: NFC, trimmed, line breaks as one newline; may be empty.

    Raises:
        Unfit: A character could not be printed honestly; see ``kept_line``.
    """
    lines = unicodedata.normalize("NFC", _LINE_BREAKS.sub("\n", text)).strip(_EDGES)
    _refuse_hidden(lines, allowed=_LINE_CONTROLS)
    return lines


def fitted(text: str, most: int) -> str:
    """Return a text as far as it fits into ``most`` characters; one that was cut ends in ``…``."""
    return text if len(text) <= most else f"{text[: most - 1].rstrip(_EDGES + _JOINERS)}…"


def same_name(text: str) -> str:
    """Return the form in which two spellings of one name are equal: compatibility-folded, case-folded, single spaces, nothing unseen."""
    if _PLAIN.match(text):
        return " ".join(text.lower().split())
    return " ".join(unicodedata.normalize("NFKC", _UNSEEN.sub("", text)).casefold().split())


def _refuse_hidden(text: str, *, allowed: frozenset[str]) -> None:
    for position, character in enumerate(text):
        category = unicodedata.category(character)
        if category == "Cs":
            raise Unfit("contains half a character (a lone surrogate)", code="half-character")
        if category == "Cc" and character not in allowed:
            raise Unfit(f"contains a control character (U+{ord(character):04X})", code="control-character")
        if _hides(character, category=category) and not (character in _JOINERS and _joins(text, position)):
            raise Unfit(f"contains a character that hides or reorders text (U+{ord(character):04X})", code="hidden-character")


def _hides(character: str, *, category: str) -> bool:
    return category in {"Cf", "Zl", "Zp"} or character in _FILLERS


def _joins(text: str, position: int) -> bool:
    beside = text[position - 1 : position + 2 : 2]
    return position > 0 and len(beside) == len(_JOINERS) and all(unicodedata.category(one)[0] in _JOINED for one in beside)
