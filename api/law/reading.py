"""From the text of a rule pack to the pack, and from what is wrong with it to the line where it stands."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256

from pydantic import ValidationError

from api.law.lines import Lines
from api.law.stated import RulePackFile
from domain.errors import Fault, RuleBroken
from domain.records.stated import faults_of
from domain.records.statements import json_text
from domain.rules.law.packs import OnRecord, RulePack, faults_in

LONGEST_PACK = 2_000_000
"""Characters that a pack may have."""
_MANY_DIGITS = re.compile(r"[0-9A-Fa-f_]{3000,}")
"""What Python may refuse to read, or to write as a decimal number; a hexadecimal one has fewer digits than that."""
_PLACE = re.compile(r" \(at (?:line (?P<line>[0-9]+), column [0-9]+|end of document)\)$")


@dataclass(frozen=True, slots=True)
class Flaw:
    """What is wrong with a pack, and in which line of which file."""

    file: str
    line: int
    reason: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.reason}"


class PackRefused(RuleBroken):
    """A rule pack that cannot be taken, with every flaw that was found."""

    code = "pack-unfit"

    def __init__(self, flaws: Sequence[Flaw]) -> None:
        super().__init__("\n".join(map(str, flaws)))
        self.flaws = flaws


@dataclass(frozen=True, slots=True)
class ReadPack:
    """A pack with the file that it was read from."""

    pack: RulePack
    file: str
    lines: Lines

    def refuse(self, faults: Iterable[Fault]) -> None:
        """Refuse the pack where there are faults.

        Raises:
            PackRefused: There are; each is said with its line.
        """
        flaws = _flaws(faults, file=self.file, lines=self.lines)
        if flaws:
            raise PackRefused(flaws)

    def check(self, known: OnRecord, *, today: date) -> OnRecord:
        """Return what is known once this pack is, too, taken on a day.

        Raises:
            PackRefused: It contradicts itself or what is known.
        """
        self.refuse(faults_in(self.pack, known, today=today))
        return known.with_pack(self.pack)


def read_pack(text: str, *, file: str) -> ReadPack:
    """Return the pack that a TOML text states; whether it makes sense is not asked yet.

    Raises:
        PackRefused: It is not TOML, or says what no pack may say.
    """
    if len(text) > LONGEST_PACK:
        raise PackRefused([Flaw(file, 1, f"A pack may have {LONGEST_PACK} characters at most.")])
    said = _as_json(text, file=file)
    lines = Lines(text)
    try:
        stated = RulePackFile.model_validate_json(said)
    except ValidationError as wrong:
        raise PackRefused(_flaws(faults_of(wrong.errors()), file=file, lines=lines)) from None
    unknown = _flaws(_unknown_instruments(stated), file=file, lines=lines)
    if unknown:
        raise PackRefused(unknown)
    return ReadPack(_made(stated, text), file, lines)


def _as_json(text: str, *, file: str) -> str:
    """Return what a TOML text says as JSON.

    Raises:
        PackRefused: It is not TOML, or has what cannot be read within reason.
    """
    try:
        return json_text(tomllib.loads(text))
    except tomllib.TOMLDecodeError as broken:
        raise PackRefused([_not_toml(str(broken), text, file=file)]) from None
    except RecursionError:
        raise PackRefused([Flaw(file, 1, "This is nested too deeply.")]) from None
    except ValueError:  # Python reads and writes no number of more than some thousands of digits
        found = _MANY_DIGITS.search(text)
        line = text.count("\n", 0, found.start()) + 1 if found else 1
        raise PackRefused([Flaw(file, line, "This number has too many digits.")]) from None


def _made(stated: RulePackFile, text: str) -> RulePack:
    titles = {one.code: one.title for one in stated.instrument}
    return RulePack(
        name=stated.pack.name,
        version=stated.pack.version,
        title=stated.pack.title,
        fictional=stated.pack.fictional,
        digest=sha256(text.encode()).hexdigest(),
        source=text,
        correction=stated.pack.correction,
        jurisdictions=tuple(one.made() for one in stated.jurisdiction),
        kinds=tuple(one.made() for one in stated.document_kind),
        requirements=tuple(one.made(pack=stated.pack.name, instrument=titles[one.instrument]) for one in stated.requirement),
    )


def _unknown_instruments(stated: RulePackFile) -> Iterator[Fault]:
    known = [one.code for one in stated.instrument]
    for place, code in enumerate(known):
        if code in known[:place]:
            yield Fault(f"/instrument/{place}/code", "repeated", f"{code} stands here twice.")
    for place, one in enumerate(stated.requirement):
        if one.instrument not in known:
            yield Fault(f"/requirement/{place}/instrument", "reference-unknown", f"There is no instrument {one.instrument}.")


def _flaws(faults: Iterable[Fault], *, file: str, lines: Lines) -> list[Flaw]:
    found = {Flaw(file, lines.of(one.pointer), f"{_named(one.pointer)}{one.detail.rstrip('.')}.") for one in faults}
    return sorted(found, key=lambda flaw: (flaw.line, flaw.reason))


def _named(pointer: str) -> str:
    """Return the key that a pointer ends with, as a sentence begins with it; nothing where it ends in a list or at the whole."""
    last = pointer.rpartition("/")[2].replace("~1", "/").replace("~0", "~")
    return f"{last}: " if last and not last.isdigit() else ""


def _not_toml(said: str, text: str, *, file: str) -> Flaw:
    found = _PLACE.search(said)
    line = int(found["line"]) if found and found["line"] else text.count("\n") + 1
    return Flaw(file, line, f"This is not TOML: {_PLACE.sub('', said)}.")
