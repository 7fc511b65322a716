"""What text may be kept: normalised, without characters that hide or reorder what is read."""

from __future__ import annotations

import re
import unicodedata

_BIDI_CONTROLS = frozenset(
    "\N{LEFT-TO-RIGHT EMBEDDING}\N{RIGHT-TO-LEFT EMBEDDING}\N{POP DIRECTIONAL FORMATTING}"
    "\N{LEFT-TO-RIGHT OVERRIDE}\N{RIGHT-TO-LEFT OVERRIDE}\N{LEFT-TO-RIGHT ISOLATE}"
    "\N{RIGHT-TO-LEFT ISOLATE}\N{FIRST STRONG ISOLATE}\N{POP DIRECTIONAL ISOLATE}"
)
_LINE_CONTROLS = frozenset("\n\t")
_LINE_BREAKS = re.compile("\r\n|\r|\u2028|\u2029|\u0085")
_PLAIN = re.compile(r"[ -~]*\Z")


def kept_line(text: str) -> str:
    """Return one line of text as it is kept: NFC, trimmed.

    Raises:
        ValueError: Nothing is left, or a character could not be printed honestly (control, NUL, lone surrogate, direction override).
    """
    line = text.strip()
    if not _PLAIN.match(line):
        line = unicodedata.normalize("NFC", line).strip()
        _refuse_hidden(line, allowed=frozenset())
    if not line:
        raise ValueError("there is no text")
    return line


def kept_lines(text: str) -> str:
    """Return text of several lines as it is kept: NFC, trimmed, line breaks as one newline; may be empty.

    Raises:
        ValueError: A character could not be printed honestly; see ``kept_line``.
    """
    lines = unicodedata.normalize("NFC", _LINE_BREAKS.sub("\n", text)).strip()
    _refuse_hidden(lines, allowed=_LINE_CONTROLS)
    return lines


def same_name(text: str) -> str:
    """Return the form in which two spellings of one name are equal: compatibility-folded, case-folded, single spaces."""
    if _PLAIN.match(text):
        return " ".join(text.lower().split())
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def _refuse_hidden(text: str, *, allowed: frozenset[str]) -> None:
    for character in text:
        category = unicodedata.category(character)
        if category == "Cs":
            raise ValueError("contains half a character (a lone surrogate)")
        if category == "Cc" and character not in allowed:
            raise ValueError(f"contains a control character (U+{ord(character):04X})")
        if character in _BIDI_CONTROLS or character in "\u2028\u2029":
            raise ValueError(f"contains a character that hides or reorders text (U+{ord(character):04X})")
