"""Planning transfers: the plan, the animals that go, and the papers that go with them. Whatever changes has to be checked anew."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar
from uuid import UUID

from domain.actions.approvals import end_approvals
from domain.actions.law import refuse_unknown_requirement
from domain.actions.permits import refuse_unknown_kind
from domain.actions.recording import (
    Ending,
    corrected,
    current,
    ended,
    kept_with,
    recorded,
    referred,
    referred_reached,
    refuse_later_than,
)
from domain.actions.sites import today_there
from domain.actions.transfers.lines import GOING, LINES_OF, PAPERS_OF, lines_of
from domain.actions.transfers.numbers import number_going
from domain.actions.transfers.taken import codes_taken, tags_taken
from domain.errors import Conflict, NotFound, RuleBroken, Unfit
from domain.records.animals import Animal
from domain.records.documents import Document
from domain.records.enclosures import Enclosure
from domain.records.sites import Site
from domain.records.stated import merged
from domain.records.taxa import Taxon
from domain.records.transfers import (
    ANIMALS_MOST,
    Transfer,
    TransferAnimal,
    TransferAnimalStated,
    TransferPaper,
    TransferPaperStated,
    TransferStated,
)
from domain.records.unit import Unit
from domain.rules.lives import Status
from domain.rules.text import same_name
from domain.rules.transfers import BEFORE_DISPATCH, TransferStage
from domain.rules.transponders import kept_code

P = TypeVar("P", TransferAnimal, TransferPaper)
_GONE = frozenset({Status.DEAD, Status.MERGED})


def register_transfer(
    unit: Unit, stated: TransferStated, *, record_id: UUID | None = None, source: Mapping[str, Any] | None = None
) -> Transfer:
    """Register the plan of a transfer, a draft, and return it. ``source`` says from which paper it was read.

    Raises:
        RuleBroken: It refers to nothing, or the enclosure on arrival is at another site.
        Conflict: Another transfer bears the reference.
    """
    _check(unit, stated, before=None)
    site_id = stated.from_site_id or stated.to_site_id
    derived = {"site_id": site_id, "reference_key": same_name(stated.reference), "source": source}
    return recorded(unit, Transfer, stated, record_id=record_id, **derived)


def change_transfer(unit: Unit, transfer_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Transfer:
    """Apply a correction to the plan of a transfer and return it, a draft again. From where it goes stays as it is.

    Raises:
        RuleBroken: As for registering; or the sender would be another.
        Conflict: The animals have left.
    """
    found = current(unit, Transfer, transfer_id, expected_version=expected_version)
    _refuse_under_way(found)
    said = merged(TransferStated, found, patch)
    if said.from_site_id != found.from_site_id:
        sentence = "From where animals go stays as it is. Call this transfer off, and register another."
        raise RuleBroken(sentence, code="stays-at-site", field="from_site_id")
    _check(unit, said, before=found)
    site_id = said.from_site_id or said.to_site_id
    end_approvals(unit, found.id)
    return corrected(unit, found, said, site_id=site_id, reference_key=same_name(said.reference), **_DRAFT)


def end_transfer(unit: Unit, transfer_id: UUID, ending: Ending) -> Transfer:
    """Call a transfer off whose animals have not left, and return it.

    Raises:
        Conflict: They have left, or it was called off already.
    """
    found = unit.fetch(Transfer, transfer_id)
    _refuse_under_way(found)
    return ended(unit, found, ending, today=today_there(unit, found.site_id))


def record_transfer_animal(unit: Unit, transfer_id: UUID, stated: TransferAnimalStated, *, record_id: UUID | None = None) -> TransferAnimal:
    """Put an animal or a whole group on a transfer and return that.

    Raises:
        RuleBroken: There is no such animal or taxon, it has died, not as many can go, or what is told of does not come from another party;
            or as many as one transfer takes are on it.
        NotAllowed: It is at a site that the origin does not reach.
        Conflict: It is on this transfer already or under way with another, its tag or code is another's, or the animals have left.
    """
    transfer = _planned(unit, transfer_id)
    _refuse_too_many(unit, transfer, stated)
    if stated.animal_id is None:
        said = _with_kept_code(stated)
        _check_coming(unit, transfer, said)
    else:
        animal = _check_going(unit, transfer, stated.animal_id)
        number = number_going(unit, animal, said=stated.number if "number" in stated.model_fields_set else None)
        said = stated.model_copy(update={"grouping": animal.grouping, "number": number})
    made = recorded(unit, TransferAnimal, said, record_id=record_id, transfer_id=transfer.id)
    _draft_again(unit, transfer)
    return made


def end_transfer_animal(unit: Unit, transfer_animal_id: UUID, ending: Ending, *, owner_id: UUID) -> TransferAnimal:
    """Take an animal off a transfer and return that. A paper for animals that have all been taken off goes with them.

    Raises:
        NotFound: The transfer has no such animal.
        Conflict: The animals have left.
    """
    gone = _ended(unit, TransferAnimal, transfer_animal_id, ending, owner_id=owner_id)
    going = {str(one.id) for one in unit.all(TransferAnimal, LINES_OF, transfer_id=owner_id)}
    for paper in unit.all(TransferPaper, PAPERS_OF, transfer_id=owner_id):
        if paper.transfer_animal_ids and going.isdisjoint(map(str, paper.transfer_animal_ids)):
            _ended(unit, TransferPaper, paper.id, Ending(reason="its animals were taken off"), owner_id=owner_id)
    return gone


def record_transfer_paper(unit: Unit, transfer_id: UUID, stated: TransferPaperStated, *, record_id: UUID | None = None) -> TransferPaper:
    """Put a paper on a transfer and return it.

    Raises:
        RuleBroken: No rule pack has its kind or requirement, it has not been issued yet, or it is for an animal that does not go.
        Conflict: The animals have left.
    """
    transfer = _planned(unit, transfer_id)
    _check_paper(unit, transfer, stated, before=None)
    made = recorded(unit, TransferPaper, _as_kept(stated), record_id=record_id, transfer_id=transfer.id)
    _draft_again(unit, transfer)
    return made


def change_transfer_paper(
    unit: Unit, transfer_paper_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int
) -> TransferPaper:
    """Apply a correction to a paper of a transfer and return it.

    Raises:
        NotFound: The transfer has no such paper.
        RuleBroken: As for recording.
        Conflict: The animals have left.
    """
    transfer = _planned(unit, owner_id)
    _refuse_of_another(unit, TransferPaper, transfer_paper_id, transfer)
    found = current(unit, TransferPaper, transfer_paper_id, expected_version=expected_version)
    said = merged(TransferPaperStated, found, patch)
    _check_paper(unit, transfer, said, before=found)
    changed = corrected(unit, found, _as_kept(said))
    _draft_again(unit, transfer)
    return changed


def end_transfer_paper(unit: Unit, transfer_paper_id: UUID, ending: Ending, *, owner_id: UUID) -> TransferPaper:
    """Take a paper off a transfer and return it.

    Raises:
        NotFound: The transfer has no such paper.
        Conflict: The animals have left.
    """
    return _ended(unit, TransferPaper, transfer_paper_id, ending, owner_id=owner_id)


_DRAFT: Mapping[str, Any] = {"stage": TransferStage.DRAFT, "approved_by": None}


def _draft_again(unit: Unit, transfer: Transfer) -> None:
    end_approvals(unit, transfer.id)
    unit.change(transfer, _DRAFT, action="change_transfer")


def _refuse_under_way(transfer: Transfer) -> None:
    if transfer.stage not in BEFORE_DISPATCH:
        raise Conflict("The animals have left: what they left with stays as it is.", code="under-way")


def _planned(unit: Unit, transfer_id: UUID) -> Transfer:
    """Return a transfer whose animals have not left.

    Raises:
        Conflict: They have, or it was called off.
    """
    found = unit.fetch_reached(Transfer, transfer_id)
    if found.ended_on is not None:
        raise Conflict(f"This transfer was called off on {found.ended_on.isoformat()}.", code="ended")
    _refuse_under_way(found)
    return found


def _check(unit: Unit, said: TransferStated, *, before: Transfer | None) -> None:
    if said.from_site_id is not None:
        referred_reached(unit, Site, said.from_site_id, field="from_site_id", kept=before.from_site_id if before else None)
    if said.to_site_id is not None:
        refer = referred if said.from_site_id is not None else referred_reached
        refer(unit, Site, said.to_site_id, field="to_site_id", kept=before.to_site_id if before else None)
    if said.quarantine_enclosure_id is not None:
        kept = before.quarantine_enclosure_id if before else None
        place = referred(unit, Enclosure, said.quarantine_enclosure_id, field="quarantine_enclosure_id", kept=kept)
        if place.site_id != said.to_site_id:
            raise RuleBroken("That enclosure is at another site.", code="other-site", field="quarantine_enclosure_id")


def _refuse_too_many(unit: Unit, transfer: Transfer, stated: TransferAnimalStated) -> None:
    if kept_with(unit, TransferAnimal, "transfer_id", transfer.id) >= ANIMALS_MOST:
        sentence = f"{ANIMALS_MOST} animals and groups are on this transfer, and no more go with one: plan another for the others."
        raise RuleBroken(sentence, code="too-many", field="tag" if stated.animal_id is None else "animal_id")


def _check_coming(unit: Unit, transfer: Transfer, stated: TransferAnimalStated) -> None:
    if transfer.from_site_id is not None:
        raise RuleBroken("Say which of our animals goes.", code="required", field="animal_id")
    assert stated.taxon_id is not None, "what comes has a taxon"  # noqa: S101 - its shape says so
    referred(unit, Taxon, stated.taxon_id, field="taxon_id")
    refuse_later_than(unit.origin.at.date(), field="hatched_on", on=stated.hatched_on)
    if stated.tag is not None and tags_taken(unit, [stated.tag]):
        sentence = f"The tag {stated.tag} is another animal's, on record or expected with a transfer. Say another."
        raise Conflict(sentence, code="tag-taken", field="tag")
    if stated.transponder is not None and codes_taken(unit, [stated.transponder]):
        sentence = (
            "An animal on record, or one that is expected, bears this code. Put the one on record on the transfer, or correct the code."
        )
        raise Conflict(sentence, code="mark-taken", field="transponder")


def _with_kept_code(stated: TransferAnimalStated) -> TransferAnimalStated:
    """Return what was stated with its transponder's code in the form in which codes are kept.

    Raises:
        RuleBroken: It is no code of a transponder.
    """
    if stated.transponder is None:
        return stated
    try:
        return stated.model_copy(update={"transponder": kept_code(stated.transponder)})
    except Unfit as wrong:
        sentence = f"This is no transponder's code: {wrong}. Other marks are said in other_mark."
        raise RuleBroken(sentence, code=wrong.code, field="transponder") from None


def _check_going(unit: Unit, transfer: Transfer, animal_id: UUID) -> Animal:
    animal = unit.find(Animal, animal_id)
    if animal is None:
        raise RuleBroken("There is no such animal.", code="reference-unknown", field="animal_id")
    unit.fetch_reached(Animal, animal_id)
    if animal.status in _GONE or (animal.status is Status.DEPARTED and transfer.from_site_id is not None):
        raise RuleBroken(f"It is {animal.status.value}.", code="reference-ended", field="animal_id")
    if any(one.animal_id == animal_id for one in lines_of(unit, transfer)):
        raise Conflict("This animal is on the transfer already.", code="already-there", field="animal_id")
    other = unit.first(Transfer, GOING, animal_id=animal_id)
    if other is not None:
        raise Conflict(f"This animal is under way with the transfer {other.reference}.", code="under-way", field="animal_id")
    return animal


def _check_paper(unit: Unit, transfer: Transfer, said: TransferPaperStated, *, before: TransferPaper | None) -> None:
    if said.kind is not None and (before is None or said.kind != before.kind):
        refuse_unknown_kind(unit, said.kind)
    refuse_unknown_requirement(unit, said.requirement_code, kept=before.requirement_code if before else None)
    today = today_there(unit, transfer.site_id)
    for name in ("issued_on", "inspected_on"):
        refuse_later_than(today, field=name, on=getattr(said, name))
    known = {one.id for one in lines_of(unit, transfer)}
    if not known.issuperset(said.transfer_animal_ids):
        sentence = "It is for an animal that is not on this transfer."
        raise RuleBroken(sentence, code="reference-unknown", field="transfer_animal_ids")
    if said.document_id is not None:
        referred_reached(unit, Document, said.document_id, field="document_id", kept=before.document_id if before else None)


def _as_kept(said: TransferPaperStated) -> TransferPaperStated:
    """Return what was stated with its list of ids as JSON has it."""
    return said.model_copy(update={"transfer_animal_ids": [str(one) for one in said.transfer_animal_ids]})


def _refuse_of_another(unit: Unit, record: type[P], record_id: UUID, transfer: Transfer) -> None:
    if unit.fetch(record, record_id).transfer_id != transfer.id:
        raise NotFound(f"There is no such {record.noun.replace('_', ' ')}.")


def _ended(unit: Unit, record: type[P], record_id: UUID, ending: Ending, *, owner_id: UUID) -> P:
    transfer = _planned(unit, owner_id)
    _refuse_of_another(unit, record, record_id, transfer)
    gone = ended(unit, unit.fetch(record, record_id), ending, today=today_there(unit, transfer.site_id))
    _draft_again(unit, transfer)
    return gone
