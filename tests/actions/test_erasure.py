"""Who left can be erased: their particulars are nowhere in the database any more, and the journal goes on proving."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from typing import Any

import pytest

import migrations
from domain.actions.accounts import Code, end_account, register_account, register_identity
from domain.actions.erasure import FORMER, erase_staff
from domain.actions.permits import change_permit
from domain.actions.recording import Ending
from domain.actions.retention import end_legal_hold, register_legal_hold
from domain.actions.sessions import START
from domain.actions.staff import change_staff, end_staff, register_staff
from domain.errors import Conflict
from domain.records.accounts import Account, AccountIdentity, AccountIdentityStated, AccountStated, SignInSession
from domain.records.base import metadata, row_of
from domain.records.competences import Competence
from domain.records.engine import SqliteStore, Store
from domain.records.permits import Permit
from domain.records.retention import LegalHoldStated
from domain.records.staff import Staff, StaffStated
from domain.records.tables import make_ready
from domain.rules.permissions import Role
from tests import makers, people
from tests.actions.test_retention import KEEP_ANSWER
from tests.behind import Behind, proven

CANARY = "canary"
GONE = Ending(reason="moved away")


@pytest.fixture
def leaver(store: Store, organisation: int) -> tuple[Staff, Account, AccountIdentity]:
    return left(store)


def left(store: Store) -> tuple[Staff, Account, AccountIdentity]:
    """Return a person who left, with an account, an identity and a session: everything that could bear a name bears the canary."""
    people.person(store, "bo", role=Role.ADMINISTRATOR)
    with store.transaction(makers.origin()) as unit:
        ada = register_staff(unit, StaffStated(name="Ada Canary-Reed", role=Role.KEEPER, contact="ada@canary.example", note="canary"))
        change_staff(unit, ada.id, {"name": "Ada Canary"}, expected_version=1)
        account = register_account(unit, AccountStated(staff_id=ada.id, sign_in_name="ada.canary"), code=Code("0" * 64, makers.NOON))
        stated = AccountIdentityStated(account_id=account.id, issuer="https://id.example", subject="canary|7")
        identity = register_identity(unit, stated)
        session = SignInSession(
            organisation_id=unit.organisation_id, id=unit.new_id(), account_id=account.id, token_sha256="0" * 64,
            created_at=unit.origin.at, last_seen_at=unit.origin.at, expires_at=unit.origin.at,
        )  # fmt: skip
        unit.run(START, **row_of(session))
        for number, said in enumerate((ada.id, account.id, identity.id)):
            body = f'{{"id":"{said}","name":"Canary"}}'.encode()
            row = {"request_sha256": "0" * 64, "status": 201, "headers": "[]", "body": body, "created_at": unit.origin.at}
            unit.run(KEEP_ANSWER, key=f"key {number}", **row)
        unit.run(KEEP_ANSWER, key="other", **{**row, "body": b'{"name":"Bo"}'})
    with store.transaction(makers.origin()) as unit:
        end_account(unit, account.id, GONE)
        end_staff(unit, ada.id, GONE)
    return ada, account, identity


def test_what_somebody_was_assessed_to_be_able_to_do_goes_with_the_name(store, leaver, tampering):
    ada, *_ = leaver
    with store.transaction(makers.origin()) as unit:
        chief = makers.staff(unit, name="Cleo", role="administrator")
        member = makers.staff(unit, name="Eve Canary")
        made = makers.competence(unit, member, title="Canary snakes", assessed_by="Canary", note="canary", expires_on="2026-12-31")
        kept = makers.competence(unit, chief, title="Hook and tube")
        end_staff(unit, member.id, GONE)
    assert found_in(tampering, CANARY)["competence"] == 1

    for who in (ada, member):
        erase(store, who)

    assert found_in(tampering, CANARY) == {}
    assert proven(store).flaws == []
    with store.snapshot(makers.origin()) as unit:
        left = unit.fetch(Competence, made.id)
        assert (left.title, left.assessed_by, left.note) == ("Competence of a former member of staff", None, "")
        assert (left.hazard, left.from_on, left.expires_on) == (made.hazard, made.from_on, made.expires_on)
        assert unit.fetch(Competence, kept.id).title == "Hook and tube"


def test_a_permit_forgets_who_held_it_and_stays(store, leaver, tampering):
    ada, *_ = leaver
    with store.transaction(makers.origin()) as unit:
        member = makers.staff(unit, name="Eve Canary")
        made = makers.permit(unit, holder="Eve Canary", holder_id=str(member.id))
        made = change_permit(unit, made.id, {"holder": "E. Canary", "note": "original in the safe"}, expected_version=1)
        kept = makers.permit(unit, number="P-2", holder="Marshlight Trust")
        end_staff(unit, member.id, GONE)
    assert found_in(tampering, CANARY)["permit"] == 1

    for who in (ada, member):
        erase(store, who)

    assert found_in(tampering, CANARY) == {}
    assert proven(store).flaws == []
    with store.snapshot(makers.origin()) as unit:
        left = unit.fetch(Permit, made.id)
        assert (left.holder, left.holder_id, left.number, left.note) == (FORMER, member.id, made.number, "original in the safe")
        assert unit.fetch(Permit, kept.id).holder == "Marshlight Trust"


def erase(store: Store, who: Staff) -> Staff:
    with store.transaction(makers.origin()) as unit:
        return erase_staff(unit, who.id, reason="asked for it")


def found_in(run: Behind, word: str) -> dict[str, int]:
    """Return in how many rows of each table a word occurs, in whatever column and case."""
    counts = {}
    for table in metadata.sorted_tables:
        rows = run(f"SELECT * FROM {table.name}")  # noqa: S608 - our own names
        count = sum(word in repr([bytes(cell) if isinstance(cell, memoryview) else cell for cell in row]).lower() for row in rows)
        if count:
            counts[table.name] = count
    return counts


def test_what_is_erased_is_in_no_table_any_more_and_the_journal_still_proves(store, leaver, tampering):
    ada, account, identity = leaver
    # The name thrice over, contact and note, changed once; two columns of the account; one of the identity.
    assert found_in(tampering, CANARY) == {"account": 1, "account_identity": 1, "idempotency": 3, "journal_private": 8, "staff": 1}
    before = proven(store).entries

    left = erase(store, ada)

    assert (left.name, left.contact, left.note, left.role, left.ended_on) == (FORMER, "", "", Role.KEEPER, makers.NOON.date())
    assert found_in(tampering, CANARY) == {}
    assert tampering("SELECT key FROM idempotency") == [("other",)]
    assert tampering("SELECT count(*) FROM journal_private WHERE salt IS NULL AND value IS NULL") == [(8 + 3 + 2 + 1,)]
    assert (proven(store).flaws, proven(store).entries) == ([], before + 3)
    with store.snapshot(makers.origin()) as unit:
        assert unit.fetch(Account, account.id).sign_in_name == f"erased {account.id}"
        assert unit.fetch(AccountIdentity, identity.id).subject == f"erased-{identity.id}"


class ForgetfulStore(SqliteStore):
    """A store that leaves in its file what was deleted."""

    def connect(self) -> Any:
        connection = super().connect()
        connection.execute("PRAGMA secure_delete=OFF").fetchall()
        return connection


@pytest.mark.parametrize(("kind", "is_left"), [(SqliteStore, False), (ForgetfulStore, True)])
def test_what_is_erased_is_not_left_over_in_the_file(tmp_path, kind, is_left):
    migrations.upgrade(f"sqlite:///{tmp_path / 'reedbed.sqlite3'}")
    make_ready()
    with closing(kind(tmp_path / "reedbed.sqlite3")) as store:
        makers.organisation(store)
        erase(store, left(store)[0])

    files = [path.read_bytes().lower() for path in tmp_path.iterdir() if path.is_file()]

    assert any(CANARY.encode() in content for content in files) is is_left
    assert any(b"asked for it" in content for content in files)


def test_erasing_again_changes_nothing(store, leaver):
    erase(store, leaver[0])
    once = proven(store)

    again = erase(store, leaver[0])

    assert (again.name, proven(store)) == (FORMER, once)


def test_particulars_that_vanish_after_an_erasure_are_still_found(store, leaver, tampering):
    erase(store, leaver[0])
    with store.transaction(makers.origin()) as unit:
        register_staff(unit, StaffStated(name="Cy", role=Role.KEEPER))
    tampering("UPDATE journal_private SET salt = NULL, value = NULL WHERE position = %s", proven(store).entries)

    (flaw,) = proven(store).flaws

    assert (flaw.position, "has lost particulars of the staff" in flaw.sentence) == (proven(store).entries, True)


def test_an_erased_record_is_still_held_to_what_the_erasure_left(store, leaver, tampering):
    erase(store, leaver[0])
    tampering("UPDATE staff SET name = 'Somebody Else' WHERE name = %s", FORMER)

    (flaw,) = proven(store).flaws

    assert flaw.sentence.endswith("is not what the journal says it is: name.")


@pytest.mark.usefixtures("organisation")
def test_only_who_has_left_with_all_accounts_is_erased(store):
    with store.transaction(makers.origin()) as unit:
        ada = register_staff(unit, StaffStated(name="Ada", role=Role.KEEPER))
        account = register_account(unit, AccountStated(staff_id=ada.id, sign_in_name="ada"), code=Code("0" * 64, makers.NOON))
        with pytest.raises(Conflict, match="End this member of staff's record first"):
            erase_staff(unit, ada.id, reason="asked for it")
        unit.change(unit.fetch(Staff, ada.id), {"ended_on": makers.NOON.date(), "end_reason": "left"}, action="end_staff")
        with pytest.raises(Conflict, match="End the accounts of this member of staff first"):
            erase_staff(unit, ada.id, reason="asked for it")
        unit.change(unit.fetch(Account, account.id), {"ended_on": makers.NOON.date(), "end_reason": "left"}, action="end_account")
        assert erase_staff(unit, ada.id, reason="asked for it").name == FORMER


def test_a_hold_on_any_part_of_a_person_forbids_it_until_it_is_lifted(store, leaver):
    parts = [*({"kind": one.noun} for one in leaver), *({"subject_id": one.id} for one in leaver), {}]
    for stated in parts:
        with store.transaction(makers.origin()) as unit:
            hold = register_legal_hold(unit, LegalHoldStated(why="case 7", **stated))
        with pytest.raises(Conflict, match="This cannot be erased, it is held: case 7"):
            erase(store, leaver[0])
        with store.transaction(makers.origin()) as unit:
            end_legal_hold(unit, hold.id, GONE)

    assert erase(store, leaver[0]).name == FORMER


def test_a_hold_on_something_else_forbids_nothing(store, leaver):
    with store.transaction(makers.origin()) as unit:
        register_legal_hold(unit, LegalHoldStated(why="case 7", kind="animal"))

    assert erase(store, leaver[0]).name == FORMER


def test_an_erasure_waits_for_a_hold_that_is_about_to_be_on_record(store, leaver):
    sealed, waited = threading.Event(), threading.Event()

    def hold_everything() -> None:
        with store.transaction(makers.origin()) as unit:
            register_legal_hold(unit, LegalHoldStated(why="case 7"))
            unit.seal()
            sealed.set()
            waited.wait(0.3)

    with ThreadPoolExecutor(1) as pool:
        holding = pool.submit(hold_everything)
        assert sealed.wait(10)
        with pytest.raises(Conflict, match="it is held: case 7"):
            erase(store, leaver[0])
        assert holding.result(10) is None
