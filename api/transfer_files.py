"""From the bytes that a transfer file has attached to what is kept of it: strictly read, in the words of notes where there is no field."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any
from uuid import UUID

from pydantic import ValidationError

from api.bodies.transfer_files import GoingAnimal, GoingPaper, Licence, MarkToRead, TransferFile
from api.errors import Malformed
from api.filing.attachments import Found
from api.filing.opened_pdf import Seal
from api.settings import PUBLIC_ADDRESS
from api.strict_json import FAULTS_MOST, read_json
from domain.actions.transfers.from_file import IN_FILE, PAPERS_IN_FILE, PLAN_IN_FILE, FiledAnimal, FiledPaper, FiledTransfer
from domain.errors import Fault, RuleBroken, Unfit
from domain.records.columns import NAME_LENGTH, NOTE_LENGTH
from domain.records.marks import TRANSPONDERS
from domain.records.stated import faults_of, read_stated
from domain.records.transfers import FileToRead, TransferPaperStated, TransferStated
from domain.rules.calendar import in_words
from domain.rules.text import fitted
from domain.rules.transfers import TransferBasis
from domain.rules.transponders import code_key, kept_code
from reports.transfer_file.sheet import FORM, VERSION

POINTER_LONGEST, SENTENCE_LONGEST = 200, 300
"""Of what is told of a fault in a file: a hostile one has members of any length."""
_TO_COME = frozenset({"draft", "complete", "approved", "dispatched"})
"""Stages of a transfer whose animals are still to arrive."""
_READ = (1, VERSION)
_MADE_UP = "authorised"
"""What files of version 1 have for the number of an authorisation of which only the last day is on record."""


def transfer_file(raw: bytes) -> TransferFile:
    """Return what a transfer file tells.

    Raises:
        RuleBroken: It is none, of another version, or has members that cannot be taken; the pointers lead into it, behind ``/file``.
    """
    try:
        value = read_json(raw)
        _refuse_another_form(value)
        return read_stated(TransferFile, raw)
    except Malformed as refused:
        told = Fault("/document_id", refused.code, fitted(refused.detail.replace("The body", "What is attached"), SENTENCE_LONGEST))
        raise RuleBroken("The transfer file is damaged, or was not made as one.", code="file-unfit", faults=(told,)) from None
    except RuleBroken as refused:
        raise _of_file(refused.faults, code=refused.code) from None


def filed(file: TransferFile, found: Found, said: FileToRead, *, sha256: str) -> FiledTransfer:
    """Return what is kept of a transfer file whose document has a digest, once it is known what it leaves open.

    Raises:
        RuleBroken: It tells what cannot be, or of animals that stay within one organisation.
    """
    if file.basis is TransferBasis.MOVE:
        sentence = "These animals go between sites of one organisation: whoever receives them has the transfer on record already."
        raise RuleBroken(sentence, code="own-file", faults=(Fault(f"{IN_FILE}/basis", "own-file", sentence),))
    if file.stage not in _TO_COME:
        how = file.stage.replace("_", " ")
        sentence = f"By this file the transfer is {how}: no animals are to come with it. Ask the sender for the one that goes with them."
        raise RuleBroken(sentence, code="not-to-come", faults=(Fault(f"{IN_FILE}/stage", "not-to-come", sentence),))
    if file.sealed and found.seal is Seal.NONE:
        sentence = "This file says that it is sealed, and bears no seal: it was changed or cut off. Ask the sender for it as it was issued."
        raise RuleBroken(sentence, code="seal-broken", field="document_id")
    _refuse_unclear_numbers(file)
    source: dict[str, Any] = {
        "document_id": str(said.document_id),
        "sha256": sha256,
        "paper_id": file.paper_id,
        "transfer_id": str(file.transfer_id),
        "form_version": file.form_version,
        "seal": found.seal.value,
        "sealed_with": found.sealed_with,
        "check_at": file.check_at if file.check_at is not None and PUBLIC_ADDRESS.fullmatch(file.check_at) else None,
    }
    return FiledTransfer(
        transfer_id=file.transfer_id,
        plan=_plan(file, to_site_id=said.to_site_id, reference=said.reference or file.reference),
        animals=[_animal(one) for one in file.animals],
        papers=[_paper(one, place=place) for place, one in enumerate(file.papers)],
        source=source,
    )


def _refuse_another_form(value: Any) -> None:  # noqa: ANN401 - any JSON value
    if not isinstance(value, dict) or value.get("form") != FORM:
        raise _unfit("/form", "no-transfer-file", "What is attached is no transfer file of this kind.")
    version = value.get("form_version")
    if version not in _READ or isinstance(version, bool):
        read = " and ".join(map(str, _READ))
        sentence = f"The file is of version {fitted(str(version), 20)} of its form; this installation reads versions {read}."
        raise _unfit("/form_version", "form-version", sentence)


def _refuse_unclear_numbers(file: TransferFile) -> None:
    """Refuse a file in which nobody could say which animal is meant by a number.

    Raises:
        RuleBroken: Two have one number, or a paper is for one that does not go.
    """
    faults, known = [], set()
    for place, animal in enumerate(file.animals):
        if animal.number in known:
            faults.append(Fault(f"/animals/{place}/number", "repeated", "Another animal of the file has this number."))
        known.add(animal.number)
    for place, paper in enumerate(file.papers):
        if not known.issuperset(paper.covers):
            faults.append(Fault(f"/papers/{place}/covers", "reference-unknown", "The file has no animal of this number."))
        elif len(set(paper.covers)) < len(paper.covers):
            faults.append(Fault(f"/papers/{place}/covers", "repeated", "Each animal may be said once."))
    if faults:
        raise _of_file(tuple(faults), code="file-unfit")


def _unfit(pointer: str, code: str, sentence: str) -> RuleBroken:
    return RuleBroken(sentence, code=code, faults=(Fault(pointer, code, sentence),))


def _of_file(faults: tuple[Fault, ...], *, code: str) -> RuleBroken:
    """Return the refusal that tells of faults in a file, their places behind ``/file``."""
    told = [
        Fault(fitted(f"{IN_FILE}{one.pointer}", POINTER_LONGEST), one.code, fitted(one.detail, SENTENCE_LONGEST))
        for one in faults[:FAULTS_MOST]
    ]
    alone = told[0].detail if len(told) == 1 else "Some of what the file tells cannot be taken."
    return RuleBroken(alone, code="file-unfit" if code == "invalid" else code, faults=tuple(told))


# ------------------------------------------------------------------------------------------------------------- the plan


def _plan(file: TransferFile, *, to_site_id: UUID, reference: str) -> TransferStated:
    sender, carriage = file.sender, file.carriage
    licence = next(iter(_numbered_first(sender.licences)), None)
    facts: dict[str, Any] = {
        "party": sender.name,
        "party_address": fitted("\n".join(one for one in (sender.site, sender.address) if one), NOTE_LENGTH),
        "party_contact": sender.contact,
        "party_licence": None if licence is None else licence.number,
        "party_licence_until": None if licence is None else licence.until_on,
        "party_jurisdiction": sender.jurisdiction,
        "carrier": carriage.carrier,
        "carrier_contact": carriage.contact,
        "carrier_authorisation": _authorisation(file),
        "carrier_until": None if carriage.authorisation is None else carriage.authorisation.until_on,
        "container": carriage.container,
        "least_c": carriage.least_c,
        "most_c": carriage.most_c,
        "note": fitted("\n".join(_of_plan(file)), NOTE_LENGTH),
    }
    same = (
        "basis",
        "dispatch_on",
        "arrive_on",
        "buffer_days",
        "care",
        "quarantine_days",
        "due_back_on",
        "offspring_split",
        "report_after_days",
    )
    facts |= {name: getattr(file, name) for name in same}
    try:
        return TransferStated(to_site_id=to_site_id, reference=reference, **facts)
    except ValidationError as refused:
        raise _misstated(refused, "", PLAN_IN_FILE) from None


def _numbered_first(licences: Sequence[Licence]) -> list[Licence]:
    return sorted(licences, key=lambda one: one.number is None)


def _authorisation(file: TransferFile) -> str | None:
    """Return the number under which the carrier is authorised, ``None`` where the sender has none on record."""
    number = None if file.carriage.authorisation is None else file.carriage.authorisation.number
    return None if file.form_version == 1 and number == _MADE_UP else number


def _of_plan(file: TransferFile) -> Iterator[str]:
    """Yield what the file tells besides the plan's fields. Nobody is named: a note is no place for particulars of people."""
    if file.note:
        yield file.note
    yield f"Read from the transfer file {file.paper_id}; the sender's reference is {file.reference}."
    for one in _numbered_first(file.sender.licences)[1:]:
        until = "" if one.until_on is None else f", until {in_words(one.until_on)}"
        yield f"The sender is also licensed by {one.number or 'one whose number is not on record'}{until}."


# ---------------------------------------------------------------------------------------------------------- the animals


def _animal(one: GoingAnimal) -> FiledAnimal:
    transponders = [mark for mark in one.marks if mark.kind in TRANSPONDERS and mark.code is not None]
    borne = next((mark for mark in transponders if _kept(mark) is not None), None)
    others = [_mark(mark) for mark in one.marks if mark is not borne]
    weight = max(one.weights, key=lambda each: each.measured_on, default=None)
    facts = {
        "grouping": one.grouping,
        "number": one.count,
        "sex": one.sex,
        "life_stage": one.life_stage,
        "origin": one.origin,
        "hatched_on": one.hatched_on,
        "hatched_precision": one.hatched_precision,
        "name_as_printed": one.name_as_printed or one.scientific_name,
        "transponder": None if borne is None else _kept(borne),
        "other_mark": fitted("; ".join(others), NAME_LENGTH) or None,
        "mass_g": None if weight is None else weight.mass_g,
    }
    return FiledAnimal(
        number=one.number,
        tag=one.tag,
        scientific_name=one.scientific_name,
        rank=one.rank,
        codes=frozenset(key for mark in transponders for key in _keys(mark)),
        facts=facts,
        note=fitted("\n".join(_of_animal(one, others)), NOTE_LENGTH),
    )


def _kept(mark: MarkToRead) -> str | None:
    """Return a transponder's code in the form in which such codes are kept, ``None`` where it is none."""
    try:
        return None if mark.code is None else kept_code(mark.code)
    except Unfit:
        return None


def _keys(mark: MarkToRead) -> set[str]:
    """Return what a transponder's code is compared by: as it is written, and as it is kept where it is one."""
    return {code_key(code) for code in (mark.code, _kept(mark)) if code is not None}


def _mark(mark: MarkToRead) -> str:
    said = " ".join(one for one in (mark.kind.value.replace("_", " "), mark.code) if one)
    more = [one for one in (mark.scheme, mark.body_site, mark.note) if one]
    return " ".join((f"{said} ({', '.join(more)})" if more else said).split())


def _of_animal(one: GoingAnimal, others: list[str]) -> Iterator[str]:
    """Yield what the file tells besides the fields of an animal that comes, what matters most first: a note is cut at its end."""
    if one.note:
        yield one.note
    told = {
        "Called": one.name,
        "At the sender": one.acquired,
        "Held": one.held,
        "Locality": one.locality,
        "Hazard class at the sender": None if one.hazard is None else one.hazard.value.replace("_", " "),
        "Lived in": one.lived_in,
        "Marks": "; ".join(others),
    }
    yield from (f"{name}: {said}" for name, said in told.items() if said)
    if one.estimated:
        yield "The number is estimated."
    for given in one.measured_there:
        yield f"Measured where it lived, {in_words(given.measured_on)}: {given.value:g} {given.unit or ''}".rstrip()
    for parent in one.parents:
        name = "" if parent.scientific_name is None else f" ({parent.scientific_name})"
        yield f"{parent.role.capitalize()}: {parent.who}{name}, {parent.certainty}."
    for happened in sorted(one.history, key=lambda each: each.on, reverse=True):
        yield f"{in_words(happened.on)}: {happened.what}"


# ----------------------------------------------------------------------------------------------------------- the papers


def _paper(one: GoingPaper, *, place: int) -> FiledPaper:
    same = ("title", "kind", "number", "authority", "issued_on", "inspected_on", "requirement_code")
    facts = {name: getattr(one, name) for name in same}
    note = fitted("\n".join(_of_paper(one)), NOTE_LENGTH)
    try:
        stated = TransferPaperStated(**facts, valid_until=_last_day(one), note=note)
    except ValidationError as refused:
        raise _misstated(refused, f"/papers/{place}", PAPERS_IN_FILE) from None
    return FiledPaper(stated=stated, covers=one.covers)


def _last_day(one: GoingPaper) -> Any:  # noqa: ANN401 - a day or none
    """Return until when a paper is good at the most: its kind may not be on record here, and then nothing else would say so."""
    return min((day for day in (one.valid_until, one.good_until) if day is not None), default=None)


def _of_paper(one: GoingPaper) -> Iterator[str]:
    if one.note:
        yield one.note
    if one.kind_title is not None:
        yield f"By the file: {one.kind_title}."
    if one.sha256 is not None:
        yield f"The sender's scan has the fingerprint (SHA-256) {one.sha256}."


def _misstated(refused: ValidationError, place: str, names: Mapping[str, str]) -> RuleBroken:
    faults = faults_of(refused.errors())
    fields = [one.pointer.removeprefix("/") for one in faults]
    told = [Fault(f"{place}/{names.get(name, name)}", one.code, one.detail) for name, one in zip(fields, faults, strict=True)]
    return _of_file(tuple(told), code="file-unfit")
