"""Who reads what is sensitive, or takes a file away, is on record before the answer leaves; other reads leave nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from uuid import UUID

import pytest
import sqlalchemy as sa

from api.app import DOORS
from api.permissions import Undeclared, permissions
from api.reading_log import refuse_unlogged
from domain.actions.night import PaperFile, keep_paper
from domain.records.base import table_of
from domain.records.journal import ReadingLog
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.rules.permissions import Grant, Matrix, Role
from tests import makers
from tests.api.conftest import BusyStore
from tests.permissions.doors import REQUESTS

MATRIX = permissions().matrix
LOGGED = {
    "list_staff",
    "get_staff_member",
    "list_competences",
    "get_competence",
    "list_accounts",
    "get_account",
    "list_identities",
    "list_grants",
    "list_keys",
    "get_key",
    "get_report_file",
}
NAMED = {
    "get_staff_member": "staff",
    "list_competences": "staff",
    "get_competence": "competence",
    "get_account": "account",
    "list_identities": "account",
    "list_grants": "staff",
    "get_key": "key",
}
_log = table_of(ReadingLog)
READINGS = Statement(sa.select(_log).where(_log.c.organisation_id == sa.bindparam("organisation_id")).order_by(_log.c.id))


def readings(world):
    with world.store.snapshot(makers.origin()) as unit:
        return unit.all(ReadingLog, READINGS)


def with_a_paper(world):
    """Return the world's names, with a finished paper among them."""
    with world.store.transaction(makers.origin()) as unit:
        site = unit.fetch(Site, UUID(world.here["site"]))
        files = [PaperFile("pdf", b"%PDF"), PaperFile("csv", b"tag\n")]
        paper = keep_paper(unit, site, files, report_id=unit.new_id(), today=date(2026, 3, 1), record_hash="0" * 64, nightly_run_id=None)
    return {**world.here, "report": str(paper.id)}


def test_the_matrix_marks_what_is_sensitive_and_nothing_else():
    assert {action for action, row in MATRIX.actions.items() if row.logged} == LOGGED
    assert {action for action, row in MATRIX.actions.items() if row.files_logged} == {
        "list_replacements",
        "get_document_file",
        "get_census",
        "get_stock_statement",
        "list_specimens",
    }


def test_the_marked_doors_leave_a_row_and_the_others_do_not(world):
    names, reader = with_a_paper(world), world.key()

    logged = {}
    for action, request in REQUESTS.items():
        if request.method != "GET":
            continue
        before = {one.id for one in readings(world)}
        answer = request.sent_by(reader, names)
        left = [one for one in readings(world) if one.id not in before]
        if answer.status_code == 200:
            logged[action] = [(one.action, one.subject_id and str(one.subject_id)) for one in left]

    expected = {action: [(action, names.get(NAMED.get(action, "")))] if action in LOGGED else [] for action in logged}
    expected["get_report_file"] = [("get_report_file", names["report"])]
    expected["get_document_file"] = [("get_document_file", names["document"])]
    assert logged == expected
    assert set(logged) >= LOGGED
    assert len(logged) > 30


def test_a_row_says_who_by_what_for_whom_when_and_in_which_request(world):
    person, program = world.person(Grant(Role.ADMINISTRATOR)), world.key()

    by_person = person.get("/v1/staff", headers={"X-Request-Id": "reading-one"})
    for_person = program.get("/v1/staff", headers={"X-Request-Id": "reading-two", "Reedbed-On-Behalf-Of": person.staff_id})

    assert (by_person.status_code, for_person.status_code) == (200, 200)
    first, second = sorted(readings(world), key=lambda one: one.request_id)
    assert (first.actor, first.credential.partition(":")[0], first.on_behalf_of) == (f"staff:{person.staff_id}", "session", None)
    assert (second.actor, second.credential, second.on_behalf_of) == (second.actor, second.actor, UUID(person.staff_id))
    assert [(one.action, one.request_id, one.at) for one in (first, second)] == [
        ("list_staff", "reading-one", makers.NOON),
        ("list_staff", "reading-two", makers.NOON),
    ]


@pytest.mark.parametrize(
    ("path", "as_csv", "action"),
    [
        ("/v1/replacements?due_by=2030-01-01", "format=csv", "list_replacements"),
        ("/v1/census?as_of=2026-03-01", "form=csv", "get_census"),
        ("/v1/census/statement?from_on=2026-01-01&until_on=2026-02-28", "form=csv", "get_stock_statement"),
        ("/v1/census/specimens?as_of=2026-03-01", "form=csv", "list_specimens"),
    ],
)
def test_a_list_that_leaves_as_a_file_is_logged_and_in_json_it_is_not(world, path, as_csv, action):
    reader = world.key()

    assert reader.get(path).status_code == 200
    assert readings(world) == []
    assert reader.get(f"{path}&{as_csv}").status_code == 200

    assert [one.action for one in readings(world)] == [action]


def test_a_question_whether_it_has_changed_and_one_without_a_body_are_readings_too(world):
    path = f"/v1/staff/{world.here['staff']}"

    assert world.key().get(path, headers={"If-None-Match": '"1"'}).status_code == 304
    assert world.key().request("HEAD", path).status_code == 200

    assert [one.action for one in readings(world)] == ["get_staff_member"] * 2


def test_what_is_refused_was_not_read(world):
    assert world.key().get(f"/v1/staff/{world.theirs['staff']}").status_code == 404
    assert world.person(Grant(Role.VIEWER)).get("/v1/staff").status_code == 403
    assert world.key(sites=[world.here["site"]]).get(f"/v1/staff/{world.there['staff']}").status_code == 403

    assert readings(world) == []


def test_what_cannot_be_written_down_is_not_answered(world, app):
    reader, house = world.key(), app.state.house
    free = house.store
    house.store = BusyStore(free, times=1_000)

    refused = reader.get(f"/v1/staff/{world.here['staff']}")
    unlogged = reader.get(f"/v1/sites/{world.here['site']}")
    house.store = free

    assert (refused.status_code, "Keeper of" in refused.text) == (503, False)
    assert unlogged.status_code == 200
    assert reader.get(f"/v1/staff/{world.here['staff']}").status_code == 200
    assert len(readings(world)) == 1


def test_readings_leave_no_entry_in_the_journal_and_are_no_other_organisations(world):
    before = world.position()
    world.key(organisation_id=makers.OTHER_ORGANISATION).get("/v1/staff")

    assert (world.position(), readings(world)) == (before, [])


@pytest.mark.parametrize("action", ["change_site", "get_import_template"])
def test_the_service_does_not_start_where_something_should_be_logged_that_no_door_reads(action):
    marked = replace(MATRIX.actions[action], logged=True)
    known = replace(permissions(), matrix=Matrix({**MATRIX.actions, action: marked}, MATRIX.fields))

    refuse_unlogged(DOORS, permissions())
    with pytest.raises(Undeclared, match=f"{action} should be logged"):
        refuse_unlogged(DOORS, known)
