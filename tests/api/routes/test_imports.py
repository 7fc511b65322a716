"""A file is taken, imported in the background, and its report found where the answer said."""

from __future__ import annotations

import time
from threading import Event
from uuid import UUID, uuid4

import pytest

from api.app import build_app
from api.context import House
from api.importing.running import resume, run_recorded
from api.importing.targets import names_of
from api.passwords import Passwords
from api.settings import Settings
from api.work import Work
from domain.actions.imports.rows import ImportFileFacts
from domain.actions.imports.runs import FILE, ask_for_import, start_import
from domain.errors import StorageBusy
from domain.records.nights import ImportKind, ImportRun, WorkState
from domain.rules.permissions import Role, Scope
from tests import makers
from tests.api.conftest import BusyStore
from tests.importing.conftest import DATA, KIT_MAP, text
from tests.people import CHEAP, key, person, signed_in

MODELS = (DATA / "kit-models.json").read_bytes()
SITES = text(("name", "zone"), ["Reedmere House", "Europe/Lisbon"], ["Quillback Rescue", "Europe/London"])
NO_CHOICES = {"dry_run": False, "skip_invalid": False, "create_enclosures": False, "mapping": None, "asked_by": "test"}


def house_of(store):
    return House(store, Settings(), lambda: makers.NOON, Work(threads=1, waiting=1))


def ask(client, content, *, kind, mapping=None, file_name="list.csv", headers=None, **flags):
    files = {"file": (file_name, content)}
    query = {"kind": kind, **dict.fromkeys(flags, "true")}
    return client.request(
        "POST", "/v1/imports", params=query, files=files, data={"mapping": mapping} if mapping else None, headers=headers or {}
    )


def ended(client, answer):
    assert answer.status_code == 202, answer.text
    for _ in range(400):
        found = client.get(answer.headers["Location"])
        if found.json()["state"] in {"done", "failed"}:
            return found.json()
        time.sleep(0.02)
    raise AssertionError("the import does not end")


def test_the_kit_list_comes_in_by_the_door(client):
    ended(client, ask(client, SITES, kind="sites"))
    ended(client, ask(client, MODELS, kind="equipment-models", file_name="kit-models.json"))

    answer = ask(
        client, (DATA / "kit-list.xlsx").read_bytes(), kind="equipment", mapping=KIT_MAP, file_name="kit-list.xlsx", skip_invalid=True
    )

    assert answer.json()["state"] == "waiting"
    found = ended(client, answer)
    outcome = found["outcome"]
    assert (found["state"], outcome["written"], outcome["created"], outcome["refused"]) == ("done", True, 176, 5)
    assert [remark["index"] for remark in outcome["refusals"]] == [50, 140, 162, 175, 180]
    assert found["file_sha256"] == outcome["sha256"]
    assert len(client.get("/v1/equipment", params={"limit": 200}).json()["items"]) == 176


def test_a_refusal_writes_nothing_and_a_dry_run_neither(client):
    content = text(("name", "zone"), ["A", "Europe/Lisbon"], ["B", "nowhere"])

    refused = ended(client, ask(client, content, kind="sites"))["outcome"]
    dry = ended(client, ask(client, SITES, kind="sites", dry_run=True))["outcome"]

    assert (refused["written"], refused["created"], refused["refusals"][0]["code"]) == (False, 1, "zone-unknown")
    assert (dry["written"], dry["dry_run"], dry["created"]) == (False, True, 2)
    assert client.get("/v1/sites").json()["items"] == []


def test_a_file_that_cannot_be_read_fails_with_its_sentence(client):
    found = ended(client, ask(client, b"\xff\xfe\xff", kind="sites"))

    assert (found["state"], found["outcome"]) == ("failed", None)
    assert found["error"]


def test_the_file_is_let_go_of_when_the_import_has_ended(client, store):
    done = ended(client, ask(client, SITES, kind="sites"))
    failed = ended(client, ask(client, b"nothing of use", kind="sites"))

    with store.snapshot(makers.origin()) as unit:
        assert [unit.rows(FILE, import_run_id=UUID(run["id"])) for run in (done, failed)] == [[], []]


def test_imports_are_listed_and_filtered(client):
    ended(client, ask(client, SITES, kind="sites"))
    ended(client, ask(client, MODELS, kind="equipment-models"))

    listed = client.get("/v1/imports", params={"kind": "sites"}).json()["items"]

    assert [(one["kind"], one["state"], one["file_name"]) for one in listed] == [("sites", "done", "list.csv")]


def test_the_same_request_again_is_one_import(client):
    key = {"Idempotency-Key": "list-1"}

    first = ask(client, SITES, kind="sites", headers=key)
    again = ask(client, SITES, kind="sites", headers=key)
    other = ask(client, MODELS, kind="sites", headers=key)

    assert first.headers["Location"] == again.headers["Location"]
    assert other.status_code == 422
    assert ended(client, first)["outcome"]["created"] == 2
    assert len(client.get("/v1/imports").json()["items"]) == 1


@pytest.mark.parametrize(
    ("rest", "status", "code"),
    [
        ({"kind": "weather"}, 422, "invalid-query"),
        ({"kind": "sites", "mapping": '[columns]\nx = "y"'}, 422, "mapping-invalid"),
        ({"kind": "sites", "headers": {"X-Request-Id": "a" * 8}, "file_name": "../../etc/passwd"}, 202, None),
    ],
)
def test_what_is_asked_wrongly_is_refused_at_once(client, rest, status, code):
    answer = ask(client, SITES, **rest)

    assert answer.status_code == status
    assert answer.json().get("code") == code
    assert answer.json().get("file_name", "passwd") == "passwd"


def test_unknown_parameters_parts_and_media_are_refused(client):
    file = {"file": ("list.csv", SITES)}

    assert client.request("POST", "/v1/imports", files=file).status_code == 422
    assert client.request("POST", "/v1/imports", params={"kind": "sites", "x": "1"}, files=file).status_code == 422
    assert client.request("POST", "/v1/imports", params={"kind": "sites", "dry_run": "1"}, files=file).status_code == 422
    assert client.request("POST", "/v1/imports", params={"kind": "sites"}, files={"files": ("x", b"x")}).status_code == 422
    assert client.request("POST", "/v1/imports", params={"kind": "sites"}, files={}, data={"file": "x"}).status_code == 415
    assert client.post("/v1/imports?kind=sites", {"a": 1}).status_code == 415


def test_another_organisations_import_is_unknown(client, stranger):
    answer = ask(client, SITES, kind="sites")

    assert stranger.get(answer.headers["Location"]).status_code == 404
    assert stranger.get("/v1/imports").json()["items"] == []
    assert client.get(f"/v1/imports/{uuid4()}").status_code == 404
    ended(client, answer)
    assert stranger.get("/v1/sites").json()["items"] == []


@pytest.mark.parametrize(("form", "start"), [("xlsx", b"PK"), ("csv", b"\xef\xbb\xbftag,site,model")])
def test_a_template_is_given_to_be_saved(client, form, start):
    answer = client.get("/v1/imports/templates/equipment", params={"form": form})

    assert answer.status_code == 200
    assert answer.content.startswith(start)
    assert answer.headers["Content-Disposition"] == f'attachment; filename="equipment.{form}"'
    assert client.get("/v1/imports/templates/weather").status_code == 404
    assert client.get("/v1/imports/templates/equipment", params={"form": "pdf"}).status_code == 422


@pytest.mark.usefixtures("organisation")
@pytest.mark.parametrize("half_way", [False, True])
def test_what_a_stop_left_unfinished_is_taken_up_again(store, half_way):
    facts = ImportFileFacts("list.csv", "0" * 64)
    with store.transaction(makers.origin()) as unit:
        asked = ask_for_import(unit, SITES, kind=ImportKind.SITES, file=facts, options=NO_CHOICES)
    if half_way:
        with store.transaction(makers.origin()) as unit:
            start_import(unit, asked.id)
    house = house_of(store)

    resume(house)
    resume(house)

    with store.snapshot(makers.origin()) as unit:
        found = unit.fetch(ImportRun, asked.id)
    assert (found.state, found.outcome["created"], found.outcome["written"]) == (WorkState.DONE, 2, True)


def test_the_service_takes_up_what_was_left_when_it_starts(store):
    app = build_app(store, settings=Settings(), clock=lambda: makers.NOON)

    assert any(getattr(one, "func", None) is resume for one in app.state.resume)


@pytest.mark.usefixtures("organisation")
@pytest.mark.parametrize("free_before", [0, 1], ids=["at the beginning", "half-way"])
def test_a_busy_database_leaves_an_import_and_its_file_on_record(store, free_before):
    facts = ImportFileFacts("list.csv", "0" * 64)
    with store.transaction(makers.origin()) as unit:
        asked = ask_for_import(unit, SITES, kind=ImportKind.SITES, file=facts, options=NO_CHOICES)
    house = house_of(BusyStore(store, times=1, free_before=free_before))

    with pytest.raises(StorageBusy):
        run_recorded(house, makers.ORGANISATION, asked.id)

    with store.snapshot(makers.origin()) as unit:
        assert unit.fetch(ImportRun, asked.id).state in {WorkState.WAITING, WorkState.RUNNING}
    resume(house)
    with store.snapshot(makers.origin()) as unit:
        assert (unit.fetch(ImportRun, asked.id).state, unit.rows(FILE, import_run_id=asked.id)) == (WorkState.DONE, [])


def test_an_import_that_finds_the_queue_full_is_run_later_and_once(app, client):
    begun, release = Event(), Event()
    for _ in range(app.state.house.settings.work_threads):
        app.state.work.submit(lambda: (begun.set(), release.wait(20)))
    begun.wait(5)
    for _ in range(app.state.house.settings.work_waiting + 1):
        app.state.work.submit(int)

    answer = ask(client, SITES, kind="sites")

    release.set()
    assert ended(client, answer)["outcome"]["created"] == 2
    assert len(client.get("/v1/imports").json()["items"]) == 1


def test_animals_come_in_by_the_door_and_a_dry_run_leaves_none(client):
    ended(client, ask(client, text(("scientific_name", "rank"), ["Testudo fictiva", "species"]), kind="taxa"))
    animals = text(("tag", "taxon", "transponder_code"), ["T-1", "Testudo fictiva", "985112003456789"])
    scanned = '[defaults]\ntransponder_reading = "scanner"\n'

    dry = ended(client, ask(client, animals, kind="animals", mapping=scanned, dry_run=True))
    left = client.get("/v1/animals").json()["items"]
    wet = ended(client, ask(client, animals, kind="animals", mapping=scanned))

    assert (dry["outcome"]["created"], dry["outcome"]["written"], left) == (1, False, [])
    assert (wet["state"], wet["outcome"]["created"], wet["outcome"]["written"]) == ("done", 1, True)
    assert [one["tag"] for one in client.get("/v1/animals").json()["items"]] == ["T-1"]


@pytest.mark.parametrize("kind", [ImportKind.TAXA, ImportKind.ANIMALS, ImportKind.PLACEMENTS, ImportKind.MARKS, ImportKind.MEASUREMENTS])
def test_the_lists_of_lives_have_templates_behind_the_door(client, kind):
    answer = client.get(f"/v1/imports/templates/{kind.value}", params={"form": "csv"})

    assert answer.status_code == 200
    assert answer.text.removeprefix("\ufeff").splitlines() == [",".join(names_of(kind))]


PEOPLE = text(("name", "role"), ["Bo Reed", "keeper"], ["Cleo Tern", "administrator"])


@pytest.mark.parametrize(("role", "created", "refused"), [(Role.REGISTRAR, 1, [("role", "role-not-yours")]), (Role.ADMINISTRATOR, 2, [])])
def test_by_a_list_nobody_gives_a_role_that_is_not_theirs_to_give(app, caller, client, store, role, created, refused):
    app.state.house.passwords = Passwords(CHEAP)
    someone = signed_in(caller, person(store, role=role))

    outcome = ended(someone, ask(someone, PEOPLE, kind="staff", skip_invalid=True))["outcome"]

    assert (outcome["created"], [(one["column"], one["code"]) for one in outcome["refusals"]]) == (created, refused)
    names = {one["name"] for one in client.get("/v1/staff").json()["items"]}
    assert ("Cleo Tern" in names, "Bo Reed" in names) == (not refused, True)


def test_a_key_without_administration_gives_no_role_that_rules_others(caller, client, store, organisation):
    program = caller(key(store, organisation_id=organisation, name="lists", scopes=[Scope.IMPORTS_READ, Scope.IMPORTS_WRITE]))

    outcome = ended(program, ask(program, PEOPLE, kind="staff", skip_invalid=True))["outcome"]

    assert (outcome["created"], [one["code"] for one in outcome["refusals"]]) == (1, ["role-not-yours"])


def test_an_import_that_does_not_say_which_roles_may_be_given_gives_none(app, store, organisation):
    with store.transaction(makers.origin()) as unit:
        asked = ask_for_import(unit, PEOPLE, kind=ImportKind.STAFF, file=ImportFileFacts("list.csv", "0" * 64), options=NO_CHOICES)
    house = house_of(store)

    run_recorded(house, organisation, asked.id)

    with store.snapshot(makers.origin()) as unit:
        outcome = unit.fetch(ImportRun, asked.id).outcome
    assert (outcome["created"], [one["code"] for one in outcome["refusals"]]) == (0, ["role-not-yours"] * 2)


@pytest.mark.parametrize("kind", [ImportKind.PERMITS, ImportKind.STAFF, ImportKind.COMPETENCES])
def test_the_lists_of_permits_and_people_have_templates_behind_the_door(client, kind):
    answer = client.get(f"/v1/imports/templates/{kind.value}", params={"form": "csv"})

    assert answer.text.removeprefix("\ufeff").splitlines() == [",".join(names_of(kind))]
