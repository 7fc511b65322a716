"""The marks by which animals are known: recording, correcting and ending them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.animal_parts import (
    animal_to_describe,
    entered_anew,
    last_event,
    part_of,
    refuse_untimely,
    stated_of,
)
from domain.actions.lives import today_of
from domain.actions.recording import Ending, corrected, current, ended, recorded
from domain.errors import Conflict, NotAllowed, RuleBroken, Unfit
from domain.records.animals import Animal
from domain.records.base import row_of, table_of
from domain.records.belonging import refuse_beyond_reach
from domain.records.documents import Document
from domain.records.marks import TRANSPONDERS, Mark, MarkEntered, MarkKind, MarkReading, MarkStated, key_among_living
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.lives import Grouping
from domain.rules.transponders import code_key, read_code, read_other_code

_mark = table_of(Mark)
_own = _mark.c.organisation_id == sa.bindparam("organisation_id")
BORNE = Statement(sa.select(_mark).where(_own, _mark.c.live_key == sa.bindparam("live_key"), _mark.c.id != sa.bindparam("but_id")))
"""The mark with a code that a living animal bears, unless it is the one that is looked at."""
PRIMARY_OF = Statement(
    sa.select(_mark).where(
        _own,
        _mark.c.animal_id == sa.bindparam("animal_id"),
        _mark.c.is_primary.is_(True),
        _mark.c.ended_on.is_(None),
        _mark.c.id != sa.bindparam("but_id"),
    )
)
"""An animal's primary mark, unless it is the one that is looked at."""
NONE_YET = UUID(int=0)
"""The id of no mark: a new one is compared with all."""


def record_mark(unit: Unit, animal_id: UUID, stated: MarkEntered, *, record_id: UUID | None = None) -> Mark:
    """Put a mark of an animal on record and return it.

    A transponder's code comes from a scanner or is typed twice. What an animal bears that died or left was borne until then, and another
    may bear the same code. A new primary mark takes the place of the one that was primary before.

    Raises:
        RuleBroken: The code cannot be one, or was not read or typed twice; or the days cannot be.
        Conflict: Another living animal bears the code; it is named if the origin reaches it.
    """
    animal = animal_to_describe(unit, animal_id)
    said = stated_of(MarkStated, stated, reading=_how_it_was_read(stated))
    _refuse_untimely(unit, animal, said, before=None)
    if said.is_primary and said.until_on is not None:
        raise RuleBroken("A mark that is over is not the primary one.", code="not-together", field="is_primary")
    made, keys = _as_kept(unit, animal, said, before=None)
    _give_way(unit, animal, made, but_id=NONE_YET)
    return recorded(unit, Mark, made, record_id=record_id, animal_id=animal.id, **keys)


def change_mark(unit: Unit, mark_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int) -> Mark:
    """Apply a correction to a mark and return it. One that is said to be over is primary no more.

    Raises:
        NotFound: The animal has no such mark.
        RuleBroken: As for recording; a new code has to be read or typed twice as well.
        Conflict: As for recording.
    """
    part_of(unit, Mark, mark_id, owner_id=owner_id)
    found = current(unit, Mark, mark_id, expected_version=expected_version)
    animal = animal_to_describe(unit, owner_id)
    entered = entered_anew(MarkEntered, MarkStated, found, patch)
    said = stated_of(MarkStated, entered, reading=_how_it_is_read_now(entered, patch, before=found))
    _refuse_untimely(unit, animal, said, before=found)
    made, keys = _as_kept(unit, animal, said, before=found)
    if made.is_primary and made.until_on is not None and keys["closed_by_id"] is None:
        if patch.get("is_primary"):
            raise RuleBroken("A mark that is over is not the primary one.", code="not-together", field="is_primary")
        made = stated_of(MarkStated, made, is_primary=False)
    _give_way(unit, animal, made, but_id=found.id)
    return corrected(unit, found, made, **keys)


def end_mark(unit: Unit, mark_id: UUID, ending: Ending, *, owner_id: UUID) -> Mark:
    """Take a mark that was entered wrongly out of account and return it; another animal may bear its code.

    A mark that was lost or failed is no mistake: its ``until_on`` is corrected.

    Raises:
        NotFound: The animal has no such mark.
        Conflict: It was taken out of account already.
    """
    found = part_of(unit, Mark, mark_id, owner_id=owner_id)
    return ended(unit, found, ending, today=today_of(unit, unit.fetch(Animal, owner_id)), live_key=None)


def _how_it_was_read(stated: MarkEntered) -> MarkReading | None:
    """Return how a code came to be known.

    Raises:
        RuleBroken: It was to be typed twice and was not, or both typings differ.
    """
    again = stated.code_again
    if again is not None and (stated.code is None or code_key(again) != code_key(stated.code)):
        raise RuleBroken("This is not the code above; please look at both again.", code="codes-differ", field="code_again")
    if again is not None:
        return stated.reading or MarkReading.TYPED_TWICE
    if stated.reading is MarkReading.TYPED_TWICE or (stated.reading is None and stated.kind in TRANSPONDERS):
        raise RuleBroken(
            "Type the code again here, or say reading 'scanner' where a scanner read it: it has no check digit that would show a slip.",
            code="required",
            field="code_again",
        )
    return stated.reading


def _how_it_is_read_now(entered: MarkEntered, patch: Mapping[str, Any], *, before: Mark) -> MarkReading | None:
    """Return how the code of a corrected mark came to be known; how an unchanged one did stays.

    Raises:
        RuleBroken: As for a new mark.
    """
    same = entered.kind is before.kind and entered.code is not None and code_key(entered.code) == before.code_key
    if (same or entered.code is None) and not {"reading", "code_again"} & patch.keys():
        return before.reading
    return _how_it_was_read(entered if "reading" in patch else stated_of(MarkEntered, entered, reading=None))


def _refuse_untimely(unit: Unit, animal: Animal, said: MarkStated, *, before: Mark | None) -> None:
    began, ended_then = (before.from_on, before.until_on) if before else (None, None)
    refuse_untimely(unit, animal, field="from_on", on=said.from_on, before=began)
    refuse_untimely(unit, animal, field="until_on", on=said.until_on, before=ended_then)


def _as_kept(unit: Unit, animal: Animal, said: MarkStated, *, before: Mark | None) -> tuple[MarkStated, dict[str, Any]]:
    """Return what is kept of a mark, and the columns that follow from it.

    Raises:
        RuleBroken: The code is none of its kind, a group cannot bear such a mark, or the document is not there.
        Conflict: Another living animal bears the code.
    """
    _refuse_on_group(animal, said, before=before)
    _refuse_other_document(unit, said, before=before)
    code, warning = _read(said)
    until_on, closed_by_id = _until(unit, animal, said, before=before)
    made = stated_of(MarkStated, said, code=code, until_on=until_on)
    key = None if code is None else code_key(code)
    live_key = key_among_living(made, key) if until_on is None else None
    _refuse_borne(unit, animal, live_key, but_id=NONE_YET if before is None else before.id)
    return made, {"code_key": key, "live_key": live_key, "closed_by_id": closed_by_id, "warning": warning}


def _refuse_on_group(animal: Animal, said: MarkStated, *, before: Mark | None) -> None:
    if animal.grouping is Grouping.GROUP and said.kind in TRANSPONDERS and (before is None or before.kind is not said.kind):
        raise RuleBroken(
            "A transponder is in one animal and this record is a group's; take the animal out of the group first.",
            code="individual-only",
            field="kind",
        )


def _refuse_other_document(unit: Unit, said: MarkStated, *, before: Mark | None) -> None:
    """Refuse a document that is not there, has ended, or is beyond the origin's reach; which of these is not said.

    Raises:
        RuleBroken: It is one of these.
    """
    if said.document_id is None or (before is not None and said.document_id == before.document_id):
        return
    found = unit.find(Document, said.document_id)
    if found is None or found.ended_on is not None or not _reached(unit, found):
        raise RuleBroken("There is no such document.", code="reference-unknown", field="document_id")


def _reached(unit: Unit, found: Animal | Document) -> bool:
    try:
        refuse_beyond_reach(unit, type(found), row_of(found))
    except NotAllowed:
        return False
    return True


def _read(said: MarkStated) -> tuple[str | None, str | None]:
    """Return a code as it is kept, and what whoever records it should know.

    Raises:
        RuleBroken: It is no code of its kind.
    """
    if said.code is None or said.kind not in TRANSPONDERS:
        return said.code, None
    try:
        if said.kind is MarkKind.OTHER_TRANSPONDER:
            return read_other_code(said.code), None
        found = read_code(said.code)
    except Unfit as wrong:
        sentence = str(wrong)
        raise RuleBroken(f"{sentence[:1].upper()}{sentence[1:]}.", code=wrong.code, field="code") from None
    return found.digits, found.warning


def _until(unit: Unit, animal: Animal, said: MarkStated, *, before: Mark | None) -> tuple[date | None, UUID | None]:
    """Return until when a mark is borne, and the event that ended it: an animal that died or left bore it until then."""
    if said.until_on is not None:
        stays = before is not None and before.until_on == said.until_on
        return said.until_on, before.closed_by_id if before is not None and stays else None
    event = last_event(unit, animal)
    return (None, None) if event is None else (animal.ended_on, event.id)


def _refuse_borne(unit: Unit, animal: Animal, live_key: str | None, *, but_id: UUID) -> None:
    """Refuse a code that a living animal bears.

    Raises:
        Conflict: One does. Its tag is said where the origin reaches it.
    """
    other = unit.first(Mark, BORNE, live_key=live_key, but_id=but_id) if live_key is not None else None
    if other is None:
        return
    bearer = unit.fetch(Animal, other.animal_id)
    if bearer.id == animal.id:
        raise Conflict("This code is on record for this animal already.", code="mark-taken", field="code")
    whose = f"Animal {bearer.tag} bears this code" if _reached(unit, bearer) else "Another animal of the organisation bears this code"
    raise Conflict(f"{whose}; one of the two was misread, or that one's mark is over.", code="mark-taken", field="code")


def _give_way(unit: Unit, animal: Animal, made: MarkStated, *, but_id: UUID) -> None:
    """Let a mark that was primary be so no more, where another one is to be."""
    if made.is_primary:
        for one in unit.all(Mark, PRIMARY_OF, animal_id=animal.id, but_id=but_id):
            unit.change(one, {"is_primary": False}, action="change_mark")
