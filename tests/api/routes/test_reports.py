"""A paper is asked for, made in the background and fetched in each of its forms."""

from __future__ import annotations

import base64
import json
import time
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256
from threading import Event
from uuid import UUID, uuid4

import pytest

from api.context import House
from api.routes.reports import fail_report, make, resume
from api.settings import Settings
from api.work import Work
from domain.errors import StorageBusy
from domain.records import nights as records
from domain.records.engine import Store
from tests import makers
from tests.api.conftest import BusyStore


@pytest.fixture
def site(store: Store, organisation: int) -> str:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit, name="Łąka <b>House</b>")
        makers.equipment(unit, makers.model(unit, life_months=12), at, tag="RE-1")
        makers.equipment(unit, makers.model(unit, name="Pump", kind="circulation-pump", life_months=13), at, tag="RE-2")
    return str(at.id)


def finished(client, answer):
    assert answer.status_code == 202, answer.text
    for _ in range(400):
        found = client.get(answer.headers["Location"])
        if found.json()["state"] in {"done", "failed"}:
            return found.json()
        time.sleep(0.02)
    raise AssertionError("the paper is never finished")


def test_a_paper_is_made_in_the_background(client, site):
    answer = client.post("/v1/reports", {"site_id": site, "later_days": 60})

    assert (answer.json()["state"], answer.json()["local_date"]) == ("waiting", "2026-03-01")
    report = finished(client, answer)
    assert (report["state"], report["later_days"], len(report["record_hash"])) == ("done", 60, 64)


def test_each_form_of_a_paper_is_there_to_be_saved(client, site):
    report = finished(client, client.post("/v1/reports", {"site_id": site, "later_days": 60}))

    files = {form: client.get(f"/v1/reports/{report['id']}/file", params={"form": form}) for form in ("pdf", "csv", "json", "orders")}

    assert files["pdf"].content.startswith(b"%PDF")
    assert files["pdf"].headers["content-disposition"] == 'attachment; filename="replacement-due-2026-03-01.pdf"'
    assert files["pdf"].headers["content-type"] == "application/pdf"
    assert [row["tag"] for row in json.loads(files["json"].content)["rows"]] == ["RE-1", "RE-2"]
    assert sha256(files["json"].content).hexdigest() == report["record_hash"]
    digest = base64.b64encode(sha256(files["csv"].content).digest()).decode()
    assert files["csv"].headers["repr-digest"] == f"sha-256=:{digest}:"


def test_a_file_that_the_caller_has_is_not_sent_again(client, site):
    report = finished(client, client.post("/v1/reports", {"site_id": site}))
    path = f"/v1/reports/{report['id']}/file"

    again = client.get(path, headers={"If-None-Match": client.get(path).headers["etag"]})

    assert (again.status_code, again.content) == (304, b"")


def test_a_paper_asked_for_twice_with_one_key_is_made_once(client, site):
    first, second = (client.post("/v1/reports", {"site_id": site}, Idempotency_Key="a") for _ in range(2))

    assert first.headers["location"] == second.headers["location"]
    finished(client, second)
    assert len(client.get("/v1/reports").json()["items"]) == 1


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"local_date": "2026-03-02"}, "/local_date"),
        ({"local_date": "1740787200"}, "/local_date"),
        ({"local_date": "0026-03-01"}, "/local_date"),
        ({"later_days": 3}, "/later_days"),
        ({"kind": "census"}, "/kind"),
        ({"site_id": str(uuid4())}, "/site_id"),
        ({"state": "done"}, "/state"),
    ],
)
def test_a_wrong_wish_is_refused_by_its_field(client, site, wrong, pointer):
    answer = client.post("/v1/reports", {"site_id": site, **wrong})

    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)


def test_another_organisations_paper_is_not_there(client, stranger, site):
    report = finished(client, client.post("/v1/reports", {"site_id": site}))

    assert stranger.get(f"/v1/reports/{report['id']}").status_code == 404
    assert stranger.get(f"/v1/reports/{report['id']}/file").status_code == 404
    assert stranger.post("/v1/reports", {"site_id": site}).status_code == 422


def waiting_report(store: Store, site: str) -> UUID:
    """Put a paper on record that nobody is making, and return its id."""
    with store.transaction(makers.origin()) as unit:
        report = records.Report(
            organisation_id=unit.organisation_id,
            id=unit.new_id(),
            created_at=unit.origin.at,
            kind=records.ReportKind.REPLACEMENT_DUE,
            site_id=UUID(site),
            local_date=makers.NOON.date(),
            state=records.WorkState.WAITING,
        )
        return unit.add(report, action="ask_for_report").id


def report_of(store: Store, report_id: UUID) -> records.Report:
    with store.snapshot(makers.origin()) as unit:
        return unit.fetch(records.Report, report_id)


def house_of(store: Store) -> House:
    return House(store, Settings(), lambda: makers.NOON, Work(threads=1, waiting=1))


@pytest.fixture
def house(store: Store) -> House:
    return house_of(store)


def test_a_paper_made_twice_at_once_is_made_once(store, site):
    report_id = waiting_report(store, site)
    houses = [house_of(store) for _ in range(2)] * 2

    with ThreadPoolExecutor(4) as makers_of_papers:
        list(makers_of_papers.map(lambda house: make(house, makers.ORGANISATION, report_id), houses))

    found = report_of(store, report_id)
    assert (found.state, found.error, found.version) == (records.WorkState.DONE, None, 2)


def test_a_finished_paper_does_not_fail_afterwards(store, site, house):
    report_id = waiting_report(store, site)
    make(house, makers.ORGANISATION, report_id)

    with store.transaction(makers.origin()) as unit:
        fail_report(unit, report_id, sentence="It was made twice.")

    assert report_of(store, report_id).state is records.WorkState.DONE


def test_a_busy_database_leaves_a_paper_waiting(house, store, site):
    report_id = waiting_report(store, site)
    house.store = BusyStore(store, times=1)

    with pytest.raises(StorageBusy):
        make(house, makers.ORGANISATION, report_id)

    assert report_of(store, report_id).state is records.WorkState.WAITING
    resume(house)
    assert report_of(store, report_id).state is records.WorkState.DONE


def test_a_paper_that_finds_the_queue_full_is_made_later(app, client, site):
    begun, release = Event(), Event()
    for _ in range(app.state.house.settings.work_threads):
        app.state.work.submit(lambda: (begun.set(), release.wait(20)))
    begun.wait(5)
    for _ in range(app.state.house.settings.work_waiting + 1):
        app.state.work.submit(int)

    answer = client.post("/v1/reports", {"site_id": site})

    release.set()
    assert finished(client, answer)["state"] == "done"
