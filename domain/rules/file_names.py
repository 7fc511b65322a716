"""Names of files as they are kept and given out: a name and no place, nothing hidden, and nothing that a system would take for a device."""

from __future__ import annotations

import re
import unicodedata

LONGEST = 120
LONGEST_BYTES = 240
"""In UTF-8: file systems take 255, and whoever saves the file may need some for a number."""
NAMELESS = "document"
_SUFFIXES = re.compile(r"\.(pdf|jpe?g|jfif|png|webp|tiff?)\Z", re.IGNORECASE)
_SHOWN = frozenset("LMNPSZ")
"""The first letters of the categories of characters that show: letters, marks, numbers, punctuation, symbols, blanks."""
_NOT_IN_NAMES = re.compile(r'[<>:"|?*]')
_DEVICE = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9\u00b9\u00b2\u00b3])\s*(\.|\Z)", re.IGNORECASE)
"""What Windows takes for a device whatever follows the dot.

Source:
    Microsoft, "Naming Files, Paths, and Namespaces".
"""


def kept_file_name(said: str, *, suffix: str) -> str:
    """Return the name that a file is shown and saved under, from the name it came with and the suffix of what it is, such as ``.pdf``.

    Of a path only its last part counts, whichever system wrote it. What hides or reorders text is left out, what no system takes in a name
    becomes an underscore, and the suffix is always that of the content. A name of which nothing is left is ``document``.
    """
    shown = "".join(map(_shown, unicodedata.normalize("NFC", said)))
    last = _NOT_IN_NAMES.sub("_", re.split(r"[/\\]", shown)[-1])
    stem = _trimmed(_SUFFIXES.sub("", _trimmed(last)))
    stem = _shortened(f"_{stem}" if _DEVICE.match(stem) else stem, suffix=suffix)
    return f"{stem or NAMELESS}{suffix}"


def _shown(character: str) -> str:
    category = unicodedata.category(character)
    if category in {"Zs", "Cc"} and character.isspace():
        return " "
    return character if category[0] in _SHOWN and category not in {"Zl", "Zp"} else ""


def _trimmed(name: str) -> str:
    """Return a name with single blanks, that begins neither hidden, nor as an option of a command, nor as somebody's home."""
    return " ".join(name.split()).lstrip(" .-~").rstrip(" .")


def _shortened(stem: str, *, suffix: str) -> str:
    short = stem[: LONGEST - len(suffix)]
    while len(short.encode()) > LONGEST_BYTES - len(suffix):
        short = short[:-1]
    return short.rstrip(" .")
