"""Codes of transponders. ISO 11784 has fifteen digits: three that say who gave the code out, and twelve that number the animal.

There is no check digit: a code with one wrong digit looks as good as the right one. Hence the scanner, or the second typing.

Source:
    ISO 11784 (1996, third edition 2024), code structure: 64 bits, of which the first says that it is an animal's, the 17th to 26th are the
    code of a country or manufacturer, and the 27th to 64th the identification. ISO 11785 is how it is read through the air.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from domain.errors import Unfit
from domain.rules.country_codes import ASSIGNED
from domain.rules.text import same_name

DIGITS = 15
LARGEST_NUMBER = (1 << 38) - 1
"""274 877 906 943: what twelve digits can say and 38 bits cannot hold is on no transponder."""
MANUFACTURERS = range(900, 999)
TEST = 999
OTHER_LENGTHS = (9, 10)
"""Characters of the codes that were given out before ISO 11784, and are still borne."""
_LOOKS_LIKE = {"O": "0", "o": "0", "Q": "0", "D": "0", "I": "1", "i": "1", "l": "1", "Z": "2", "S": "5", "B": "8"}
_OTHER_MARKS = re.compile(r"[\s*.:-]+")
_OTHER = re.compile(r"[0-9A-Z]+")


class Issuer(StrEnum):
    """Who gives out the codes that begin with three digits."""

    COUNTRY = "country"
    MANUFACTURER = "manufacturer"
    TEST = "test"
    NOBODY = "nobody"


@dataclass(frozen=True, slots=True)
class TransponderCode:
    """A code as ISO 11784 has it: the three digits of a country or manufacturer, and the number that it gave."""

    issuer_code: int
    number: int

    @property
    def digits(self) -> str:
        """The fifteen digits."""
        return f"{self.issuer_code:03d}{self.number:012d}"

    @property
    def issuer(self) -> Issuer:
        """Who gives out such codes."""
        if self.issuer_code == TEST:
            return Issuer.TEST
        if self.issuer_code in MANUFACTURERS:
            return Issuer.MANUFACTURER
        return Issuer.COUNTRY if self.issuer_code in ASSIGNED else Issuer.NOBODY

    @property
    def is_legal_mark(self) -> bool:
        """Whether a law that asks for a transponder can be met by it; never by a test code, nor by one that nobody gives out."""
        return self.issuer in {Issuer.COUNTRY, Issuer.MANUFACTURER}

    @property
    def warning(self) -> str | None:
        """What whoever records it should know, in a sentence; ``None`` where there is nothing."""
        if self.issuer is Issuer.TEST:
            return "Codes that begin with 999 are for tests; this is no legal mark."
        if self.issuer is Issuer.NOBODY:
            return f"No country has the code {self.issuer_code:03d} (ISO 3166); please read the transponder again."
        return None

    def word(self, *, animal: bool = True) -> int:
        """Return the 64 bits that the transponder sends; ``animal`` is the first of them, and the reserved ones are zero."""
        return animal << 63 | self.issuer_code << 38 | self.number


def read_code(text: str) -> TransponderCode:
    """Return a code that is written with or without blanks.

    Raises:
        Unfit: It is not fifteen digits, or its number is larger than a transponder can hold; the sentence says what to look at.
    """
    written = "".join(text.split())
    for place, character in enumerate(written, start=1):
        if character not in "0123456789":
            raise Unfit(_not_a_digit(character, place), code="code-not-digits")
    if len(written) != DIGITS:
        raise Unfit(_wrong_length(len(written)), code="code-length")
    number = int(written[3:])
    if number > LARGEST_NUMBER:
        raise Unfit(f"the last twelve digits are at most {LARGEST_NUMBER}; one of them was misread", code="code-too-large")
    return TransponderCode(int(written[:3]), number)


def read_other_code(text: str) -> str:
    """Return the code of a transponder of before ISO 11784, in capitals and without blanks, stars, dots, colons and hyphens.

    Raises:
        Unfit: It is not nine or ten letters and digits.
    """
    written = _OTHER_MARKS.sub("", text).upper()
    if len(written) == DIGITS and written.isdigit():
        raise Unfit("fifteen digits are the code of a transponder after ISO 11784: say kind 'transponder'", code="code-length")
    if not _OTHER.fullmatch(written):
        raise Unfit("such a code has digits and the letters A to Z only", code="code-not-digits")
    if len(written) not in OTHER_LENGTHS:
        raise Unfit(f"such a code has 9 or 10 characters; this has {len(written)}", code="code-length")
    return written


def kept_code(text: str) -> str:
    """Return the form in which the code of a transponder is kept, be it after ISO 11784 or of before it.

    Raises:
        Unfit: It is neither.
    """
    try:
        return read_other_code(text)
    except Unfit:
        return read_code(text).digits


def code_key(text: str) -> str:
    """Return the form in which two spellings of one code are equal, whatever kind of mark bears it."""
    return "".join(same_name(text).split())


def is_same_code(one: str, other: str) -> bool:
    """Return whether two spellings are of one code: blanks and capitals do not matter, of older transponders' codes no stars or hyphens."""
    return not _spellings(one).isdisjoint(_spellings(other))


def _spellings(text: str) -> set[str]:
    try:
        return {code_key(text), code_key(kept_code(text))}
    except Unfit:
        return {code_key(text)}


def _not_a_digit(character: str, place: int) -> str:
    if character in _LOOKS_LIKE:
        return f"there is a letter {character} at place {place}; the code has digits only, so perhaps it is {_LOOKS_LIKE[character]}"
    if character.isdigit():
        return f"place {place} is not one of the digits 0 to 9; please write it with these"
    return f"place {place} is no digit; the code has digits only, and blanks between them where you like"


def _wrong_length(length: int) -> str:
    sentence = f"the code has {DIGITS} digits; this has {length}"
    older = "; one with 9 or 10 characters is said with kind 'other_transponder' and its reader"
    return sentence + older if length in OTHER_LENGTHS else sentence
