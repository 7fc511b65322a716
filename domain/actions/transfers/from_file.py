"""The animal transfer file of another organisation becomes a draft; what it leaves open is asked, and until then nothing is kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.documents import record_attachment
from domain.actions.law import Law, law_as_of
from domain.actions.recording import referred, referred_reached
from domain.actions.taxonomy import asked_in_turns, is_among
from domain.actions.transfers.plan import record_transfer_animal, record_transfer_paper, register_transfer
from domain.actions.transfers.taken import codes_taken, tags_taken
from domain.errors import Conflict, Fault, NotAllowed, RuleBroken
from domain.records import journal
from domain.records.animals import Animal
from domain.records.base import row_of, table_of
from domain.records.belonging import refuse_beyond_reach
from domain.records.columns import NAME_LENGTH, NOTE_LENGTH
from domain.records.documents import AttachmentStated, Document
from domain.records.marks import TRANSPONDERS, Mark
from domain.records.nights import Report
from domain.records.stated import read_stated
from domain.records.statements import Statement, json_text
from domain.records.taxa import Taxon
from domain.records.transfers import (
    AnimalAnswer,
    FileAnswers,
    FileToRead,
    Transfer,
    TransferAnimalStated,
    TransferPaperStated,
    TransferStated,
)
from domain.records.unit import Unit
from domain.rules.lives import Status
from domain.rules.taxonomy import TaxonRank
from domain.rules.text import fitted, same_name

ROLE = "transfer file"
"""What the document is to the transfer that was read from it."""
IN_FILE = "/file"
"""How a pointer begins that leads into the file and not into what was said."""
_KINDS = [sa.literal(one.value, type_=sa.String()) for one in sorted(TRANSPONDERS)]
_FROM_OTHERS = frozenset({Status.AWAY, Status.DEPARTED})

_mark, _report, _taxon, _transfer = (table_of(one) for one in (Mark, Report, Taxon, Transfer))


def _own(table: sa.Table) -> sa.ColumnElement[bool]:
    return table.c.organisation_id == sa.bindparam("organisation_id")


TAXA_NAMED = Statement(
    sa.select(_taxon.c.name_key, _taxon.c.id).where(_own(_taxon), _taxon.c.ended_on.is_(None), is_among(_taxon.c.name_key))
)
CODES_BORNE = Statement(
    sa.select(_mark.c.code_key, _mark.c.animal_id)
    .where(_own(_mark), _mark.c.ended_on.is_(None), _mark.c.kind.in_(_KINDS), is_among(_mark.c.code_key))
    .order_by(_mark.c.id)
)
"""Who bears, or bore, the codes of some transponders; none of them is passed over."""
READ_BEFORE = Statement(
    sa.select(_transfer)
    .where(_own(_transfer), _transfer.c.ended_on.is_(None), _transfer.c.source != sa.literal(json_text(None), type_=sa.Text()))
    .order_by(_transfer.c.id)
)
"""The transfers that were read from a file."""
PAPER_OF_OURS = Statement(sa.select(_report.c.id).where(_own(_report), _report.c.paper_id == sa.bindparam("paper_id")))


@dataclass(frozen=True, slots=True, kw_only=True)
class FiledAnimal:
    """An animal as a file tells of it. ``codes`` are the keys of its transponders' codes, ``facts`` what is kept of one that comes.

    ``note`` is all that is kept of one that is on record.
    """

    number: int
    tag: str
    scientific_name: str
    rank: TaxonRank
    codes: frozenset[str]
    facts: Mapping[str, Any]
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FiledPaper:
    """A paper as a file tells of it, for the animals with the numbers ``covers``, for all where there are none."""

    stated: TransferPaperStated
    covers: Sequence[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class FiledTransfer:
    """What a transfer file tells: the plan as far as it is ours to keep, the animals, the papers, and what is kept of the file itself."""

    transfer_id: UUID
    plan: TransferStated
    animals: Sequence[FiledAnimal]
    papers: Sequence[FiledPaper]
    source: Mapping[str, Any]


PLAN_IN_FILE: Mapping[str, str] = {
    "party": "sender/name",
    "party_address": "sender/address",
    "party_contact": "sender/contact",
    "party_licence": "sender/licences/0/number",
    "party_licence_until": "sender/licences/0/until_on",
    "party_jurisdiction": "sender/jurisdiction",
    "carrier": "carriage/carrier",
    "carrier_contact": "carriage/contact",
    "carrier_authorisation": "carriage/authorisation/number",
    "carrier_until": "carriage/authorisation/until_on",
    "container": "carriage/container",
    "least_c": "carriage/least_c",
    "most_c": "carriage/most_c",
}
ANIMALS_IN_FILE: Mapping[str, str] = {"taxon_id": "scientific_name", "number": "count", "mass_g": "weights", "transponder": "marks"}
PAPERS_IN_FILE: Mapping[str, str] = {"transfer_animal_ids": "covers"}
"""Where in the file stands what bears another name on record."""


def read_transfer_file(unit: Unit, said: FileToRead, filed: FiledTransfer) -> Transfer:
    """Keep what a transfer file tells as a draft of animals that come, with its document attached, and return the transfer.

    Raises:
        RuleBroken: Something is left open (``questions``), an answer fits no question, the file is one of our own, or what it tells cannot
            be kept; the faults point into what was said, or with ``/file`` into the file.
        Conflict: The file was read already, or another transfer bears the reference.
        NotAllowed: The site, the document or an animal is where the origin does not reach.
    """
    unit.row(journal.LOCK_HEAD)  # No two readings of one file pass each other.
    document = referred_reached(unit, Document, said.document_id, field="document_id")
    _refuse_own(unit, filed)
    _refuse_read(unit, filed)
    answered = _Answering(unit, filed, said.answers)
    taxa, animals = answered.taxa(), answered.animals()
    answered.refuse_open()
    with _in_file("", PLAN_IN_FILE, but={"to_site_id": "/to_site_id", "reference": "/reference"}):
        made = register_transfer(unit, _plan_here(law_as_of(unit), filed.plan), source=filed.source)
    _Keeping(unit, made).keep(filed, taxa=taxa, animals=animals)
    record_attachment(unit, document.id, AttachmentStated(subject=made.noun, subject_id=made.id, role=ROLE))
    return unit.fetch(Transfer, made.id)


def _refuse_own(unit: Unit, filed: FiledTransfer) -> None:
    if unit.find(Transfer, filed.transfer_id) is not None or unit.row(PAPER_OF_OURS, paper_id=filed.source["paper_id"]) is not None:
        sentence = "This file is one of your own: its transfer is on record here, and is not read in again."
        raise RuleBroken(sentence, code="own-file", field="document_id")


def _refuse_read(unit: Unit, filed: FiledTransfer) -> None:
    for one in unit.all(Transfer, READ_BEFORE):
        if any(one.source.get(name) == filed.source[name] for name in ("sha256", "paper_id", "transfer_id")):
            which = f"as the transfer {one.reference}" if _reached(unit, one) else "for a site that you do not reach"
            raise Conflict(f"This file was read already, {which}.", code="read-already", field="document_id")


def _reached(unit: Unit, found: Transfer | Animal) -> bool:
    try:
        refuse_beyond_reach(unit, type(found), row_of(found))
    except NotAllowed:
        return False
    return True


def _plan_here(law: Law, plan: TransferStated) -> TransferStated:
    """Return the plan with what is not on record here left out, and said in its note."""
    if plan.party_jurisdiction is None or plan.party_jurisdiction in law.jurisdictions:
        return plan
    missing = f"The sender is under the law of {plan.party_jurisdiction}, which is not on record here."
    return plan.model_copy(update={"party_jurisdiction": None, "note": fitted(f"{missing}\n{plan.note}", NOTE_LENGTH)})


def _paper_here(law: Law, paper: TransferPaperStated) -> TransferPaperStated:
    """Return a paper with codes that are not on record here left out, and said in its note."""
    known = {one.code for one in law.requirements}
    missing = {}
    if paper.kind is not None and paper.kind not in law.kinds:
        missing["kind"] = f"Of the kind {paper.kind}, which no rule pack here knows."
    if paper.requirement_code is not None and paper.requirement_code not in known:
        missing["requirement_code"] = f"For the requirement {paper.requirement_code}, which no rule pack here has."
    if not missing:
        return paper
    note = fitted("\n".join((*missing.values(), paper.note)), NOTE_LENGTH)
    return paper.model_copy(update={**dict.fromkeys(missing), "note": note})


@contextmanager
def _in_file(place: str, names: Mapping[str, str], *, but: Mapping[str, str] | None = None) -> Iterator[None]:
    """Have what is refused of a field be told of its place in the file, or ``but`` for some in what was said."""
    try:
        yield
    except (RuleBroken, Conflict) as refused:
        faults = refused.faults or (Fault("", refused.code, refused.detail),)
        told = []
        for one in faults:
            field = one.pointer.removeprefix("/")
            pointer = (but or {}).get(field) or f"{IN_FILE}{place}/{names.get(field, field)}".rstrip("/")
            told.append(Fault(pointer, one.code, one.detail))
        raise type(refused)(refused.detail, code=refused.code, faults=tuple(told)) from None


class _Answering:
    """What a file leaves open, beside the answers to it; what is wrong with these and what is open still is collected."""

    def __init__(self, unit: Unit, filed: FiledTransfer, answers: FileAnswers) -> None:
        self._unit, self._filed, self._answers = unit, filed, answers
        self._unfit: list[Fault] = []
        self._open: list[Fault] = []
        self._taxa: Mapping[str, UUID] = {}

    def refuse_open(self) -> None:
        """Refuse the file where an answer fits no question, or a question has no answer.

        Raises:
            RuleBroken: So it is.
        """
        if self._unfit:
            raise RuleBroken("Some answers fit nothing that was asked.", code="answers-unfit", faults=tuple(self._unfit))
        if self._open:
            sentence = "The file leaves open what you have to say. Nothing was kept: answer and send it again."
            raise RuleBroken(sentence, code="questions", faults=tuple(self._open))

    # ------------------------------------------------------------------------------------------------------ the taxa

    def taxa(self) -> Mapping[str, UUID]:
        """Return the accepted taxon of each name in the file, by the key of the name."""
        named = {same_name(one.scientific_name): one for one in self._filed.animals}
        rows = asked_in_turns(self._unit, TAXA_NAMED, named)
        known = {key: self._unit.fetch(Taxon, taxon_id) for key, taxon_id in rows}
        found = {key: taxon for key, taxon in known.items() if taxon.rank is named[key].rank}
        answered = self._answered_taxa(named.keys() - found.keys())
        for key, one in named.items():
            if key not in found and key not in answered:
                self._open.append(_taxon_question(one, known.get(key)))
        self._taxa = {key: taxon.accepted_id or taxon.id for key, taxon in {**found, **answered}.items()}
        return self._taxa

    def _answered_taxa(self, asked: set[str]) -> Mapping[str, Taxon]:
        found: dict[str, Taxon] = {}
        for place, one in enumerate(self._answers.taxa):
            pointer, key = f"/answers/taxa/{place}", same_name(one.scientific_name)
            if key not in asked:
                self._unfit.append(Fault(f"{pointer}/scientific_name", "not-asked", "This name was not asked for."))
            elif key in found:
                self._unfit.append(Fault(pointer, "repeated", "This name is answered twice."))
            else:
                try:
                    found[key] = referred(self._unit, Taxon, one.taxon_id, field="taxon_id")
                except RuleBroken as refused:
                    self._unfit.append(Fault(f"{pointer}/taxon_id", refused.code, refused.detail))
        return found

    # --------------------------------------------------------------------------------------------------- the animals

    def animals(self) -> Mapping[int, UUID | str]:
        """Return for each number in the file the animal on record that it is, or the tag under which it comes."""
        unit, filed = self._unit, self._filed.animals
        places = self._places()
        given = {one.tag for one in self._answers.animals if one.tag is not None}
        tags = dict(tags_taken(unit, given | {one.tag for one in filed}))
        borne: dict[str, dict[UUID, None]] = {}
        for key, animal_id in asked_in_turns(unit, CODES_BORNE, {code for one in filed for code in one.codes}):
            borne.setdefault(key, {})[animal_id] = None
        expected = {key for key, animal_id in codes_taken(unit, {code for one in filed for code in one.codes}).items() if animal_id is None}
        found: dict[int, UUID | str] = {}
        for one in filed:
            bearers = [animal_id for code in sorted(one.codes) for animal_id in borne.get(code, ())]
            found[one.number] = self._one_animal(one, bearers, tags, place=places.get(one.number), is_expected=bool(one.codes & expected))
            if isinstance(tag := found[one.number], str):
                tags.setdefault(same_name(tag), None)
                expected |= one.codes
        return found

    def _places(self) -> Mapping[int, int]:
        """Return where in the answers what is said of each number stands."""
        numbers = {one.number for one in self._filed.animals}
        found: dict[int, int] = {}
        for place, one in enumerate(self._answers.animals):
            if one.number not in numbers:
                self._unfit.append(Fault(f"/answers/animals/{place}/number", "not-asked", "The file has no animal of this number."))
            elif one.number in found:
                self._unfit.append(Fault(f"/answers/animals/{place}", "repeated", "This animal is answered for twice."))
            else:
                found[one.number] = place
        return found

    def _one_animal(
        self, one: FiledAnimal, bearers: Sequence[UUID], tags: Mapping[str, UUID | None], *, place: int | None, is_expected: bool
    ) -> UUID | str:
        """Return which animal on record one of the file is, or the tag under which it comes; ``tags`` are those that are taken, by whom.

        ``is_expected`` says that another bears its code that is expected with a transfer, or stands before it in the file.
        """
        answer = AnimalAnswer.model_construct(number=one.number) if place is None else self._answers.animals[place]
        own = same_name(one.tag)
        asked_about = {*bearers, *([tags[own]] if tags.get(own) is not None else [])}
        pointer = f"/answers/animals/{place}"
        if answer.animal_id is not None:
            self._refuse_unfit_animal(one, answer.animal_id, asked_about, pointer=pointer)
            return answer.animal_id
        if answer.is_another and not bearers and not is_expected:
            self._unfit.append(Fault(f"{pointer}/is_another", "not-asked", "No animal on record bears its code, so this was not asked."))
        if answer.tag is not None and own not in tags:
            self._unfit.append(Fault(f"{pointer}/tag", "not-asked", f"The tag {one.tag} is free, so no other was asked for."))
        if bearers and not answer.is_another:
            self._open.append(self._mark_question(one, bearers))
        elif is_expected and not answer.is_another:
            self._open.append(_twin_question(one))
        if same_name(answer.tag or one.tag) in tags:
            self._open.append(_tag_question(one, answer))
        return answer.tag or one.tag

    def _refuse_unfit_animal(self, one: FiledAnimal, animal_id: UUID, asked_about: set[UUID | None], *, pointer: str) -> None:
        found = self._unit.find(Animal, animal_id) if animal_id in asked_about else None
        if found is None:
            sentence = "This animal was not asked about: it bears neither the code nor the tag."
            self._unfit.append(Fault(f"{pointer}/animal_id", "not-asked", sentence))
        elif _reached(self._unit, found) and found.status not in _FROM_OTHERS:
            sentence = f"{found.tag} is {found.status.value}: it cannot come from the other party."
            self._unfit.append(Fault(f"{pointer}/animal_id", "not-away", sentence))
        elif _reached(self._unit, found) and self._is_of_another_taxon(one, found):
            sentence = f"{found.tag} is on record as another taxon than {one.scientific_name}. Correct that first, or say is_another."
            self._unfit.append(Fault(f"{pointer}/animal_id", "other-taxon", sentence))

    def _is_of_another_taxon(self, one: FiledAnimal, found: Animal) -> bool:
        """Return whether an animal on record is of another accepted taxon than one of the file; a taxon not known yet is asked for."""
        taxon = self._unit.fetch(Taxon, found.taxon_id)
        return self._taxa.get(same_name(one.scientific_name), taxon.accepted_id or taxon.id) != (taxon.accepted_id or taxon.id)

    def _mark_question(self, one: FiledAnimal, bearers: Sequence[UUID]) -> Fault:
        found = [self._unit.fetch(Animal, animal_id) for animal_id in bearers]
        told = [f"{animal.tag} ({animal.status.value}, {animal.id})" for animal in found if _reached(self._unit, animal)]
        whose = " and ".join(told) or "an animal of the organisation that you do not reach"
        sentence = (
            f"Animal {one.number} of the file, {one.tag}, bears a code that is on record for {whose}. "
            f"Is it that one? Say animal_id for the number {one.number} in answers.animals; or is_another if it is not."
        )
        return Fault("/answers/animals", "code-borne", sentence)


def _taxon_question(one: FiledAnimal, known: Taxon | None) -> Fault:
    on_record = "is not on record" if known is None else f"is on record as a {known.rank.value}"
    sentence = (
        f"{one.scientific_name}, a {one.rank.value} by the file, {on_record}. "
        "Say in answers.taxa which taxon it is, by scientific_name and taxon_id; register it first where there is none."
    )
    return Fault("/answers/taxa", "taxon-unknown", sentence)


def _twin_question(one: FiledAnimal) -> Fault:
    sentence = (
        f"Animal {one.number} of the file, {one.tag}, bears a code that another bears before it in the file, or that is expected with "
        f"another transfer. Ask the sender; where it is another animal all the same, say is_another for the number {one.number} in "
        "answers.animals."
    )
    return Fault("/answers/animals", "code-borne", sentence)


def _tag_question(one: FiledAnimal, answer: AnimalAnswer) -> Fault:
    sentence = (
        f"Animal {one.number} of the file would bear the tag {answer.tag or one.tag}, which another bears here, or before it in the file. "
        f"Say another tag for the number {one.number} in answers.animals; or animal_id if it is the one that bears it here."
    )
    return Fault("/answers/animals", "tag-taken", sentence)


class _Keeping:
    """Puts the animals and papers of a file on the transfer; what is wrong is collected, so that all of it is said at once."""

    def __init__(self, unit: Unit, transfer: Transfer) -> None:
        self._unit, self._transfer = unit, transfer
        self._law = law_as_of(unit)
        self._faults: list[Fault] = []

    def keep(self, filed: FiledTransfer, *, taxa: Mapping[str, UUID], animals: Mapping[int, UUID | str]) -> None:
        """Keep them.

        Raises:
            RuleBroken: Something cannot be kept; each fault leads into the file.
        """
        lines: dict[int, UUID] = {}
        for place, one in enumerate(filed.animals):
            with self._collecting(f"/animals/{place}", ANIMALS_IN_FILE):
                stated = self._line(one, animals[one.number], taxon_id=taxa[same_name(one.scientific_name)])
                lines[one.number] = record_transfer_animal(self._unit, self._transfer.id, stated).id
        for place, paper in enumerate(filed.papers):
            with self._collecting(f"/papers/{place}", PAPERS_IN_FILE):
                covered = [lines[number] for number in paper.covers if number in lines]
                stated_paper = _paper_here(self._law, paper.stated).model_copy(update={"transfer_animal_ids": covered})
                record_transfer_paper(self._unit, self._transfer.id, stated_paper)
        if self._faults:
            raise RuleBroken("What the file tells cannot be kept.", code="file-unfit", faults=tuple(self._faults))

    def _line(self, one: FiledAnimal, who: UUID | str, *, taxon_id: UUID) -> TransferAnimalStated:
        if isinstance(who, UUID):
            has_departed = self._unit.fetch(Animal, who).status is Status.DEPARTED
            return TransferAnimalStated(animal_id=who, note=one.note, **({"number": one.facts["number"]} if has_departed else {}))
        facts, code = dict(one.facts), one.facts.get("transponder")
        if code is not None and codes_taken(self._unit, [code]):
            told = (f"transponder {code} by its papers, which another animal bears", one.facts.get("other_mark"))
            facts |= {"transponder": None, "other_mark": fitted("; ".join(filter(None, told)), NAME_LENGTH)}
        return read_stated(TransferAnimalStated, json_text({**facts, "taxon_id": taxon_id, "tag": who, "note": one.note}))

    @contextmanager
    def _collecting(self, place: str, names: Mapping[str, str]) -> Iterator[None]:
        try:
            with self._unit.attempt(), _in_file(place, names):
                yield
        except (RuleBroken, Conflict) as refused:
            self._faults += refused.faults
