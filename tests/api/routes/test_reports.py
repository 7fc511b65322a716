"""A paper is asked for, made in the background and fetched in each of its forms."""

from __future__ import annotations

import base64
import json
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import date
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
from domain.records.sites import Site
from tests import makers, people
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
    assert files["pdf"].headers["content-disposition"].startswith('attachment; filename="replacement-due-2026-03-01.pdf";')
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


def waiting_report(store: Store, site: str, **stated: object) -> UUID:
    """Put a paper on record that nobody is making, and return its id."""
    with store.transaction(makers.origin()) as unit:
        report = records.Report(
            organisation_id=unit.organisation_id,
            id=unit.new_id(),
            created_at=unit.origin.at,
            site_id=UUID(site),
            local_date=makers.NOON.date(),
            state=records.WorkState.WAITING,
            **{"kind": records.ReportKind.REPLACEMENT_DUE} | stated,
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


@pytest.fixture
def animal(store: Store, organisation: int, site: str) -> str:
    with store.transaction(makers.origin()) as unit:
        place = makers.enclosure(unit, unit.fetch(Site, UUID(site)), name="Basin 1")
        found = makers.animal(unit, makers.taxon(unit), enclosure_id=place.id, tag="T <b>7")
    return str(found.id)


KINDS = {
    "animal-record": ("pdf", "json"),
    "enclosure-labels": ("pdf", "json"),
    "stock-statement": ("pdf", "csv", "json"),
}


def told(kind: str, *, site: str, animal: str) -> dict[str, object]:
    more = {
        "animal-record": {"animal_id": animal},
        "enclosure-labels": {"site_id": site, "first_label": 3},
        "stock-statement": {"site_id": site, "from_on": "2025-01-01", "until_on": "2026-02-28"},
    }
    return {"kind": kind, **more[kind]}


@pytest.mark.parametrize("kind", KINDS)
def test_a_paper_of_each_kind_comes_in_its_forms_and_in_no_other(client, site, animal, kind):
    report = finished(client, client.post("/v1/reports", told(kind, site=site, animal=animal)))

    assert (report["state"], report["kind"], report["site_id"], report["error"]) == ("done", kind, site, None)
    files = {form: client.get(f"/v1/reports/{report['id']}/file", params={"form": form}) for form in ("pdf", "csv", "json", "orders")}
    assert tuple(form for form, answer in files.items() if answer.status_code == 200) == KINDS[kind]
    for refused in (answer for answer in files.values() if answer.status_code != 200):
        (fault,) = refused.json()["errors"]
        assert (refused.status_code, fault["pointer"], fault["code"]) == (422, "/query/form", "not-in-form")
        assert fault["detail"].endswith(f"but in: {', '.join(sorted(KINDS[kind]))}.")
    assert files["pdf"].content.startswith(b"%PDF")
    name = f"{kind}-T _b_7-2026-03-01.pdf" if kind == "animal-record" else f"{kind}-2026-03-01.pdf"
    assert files["pdf"].headers["content-disposition"].startswith(f'attachment; filename="{name}";')
    assert sha256(files["json"].content).hexdigest() == report["record_hash"]


def test_papers_are_listed_by_what_they_are_and_of_whom(client, site, animal):
    wanted = finished(client, client.post("/v1/reports", told("animal-record", site=site, animal=animal)))
    finished(client, client.post("/v1/reports", told("stock-statement", site=site, animal=animal)))

    for query in ({"kind": "animal-record"}, {"animal_id": animal}):
        assert [one["id"] for one in client.get("/v1/reports", params=query).json()["items"]] == [wanted["id"]]


@pytest.mark.parametrize(
    ("stated", "pointer", "code"),
    [
        ({}, "/site_id", "required"),
        ({"kind": "animal-record"}, "/animal_id", "required"),
        ({"kind": "stock-statement", "site_id": "site", "from_on": "2025-01-01"}, "/until_on", "required"),
        ({"kind": "stock-statement", "site_id": "site", "from_on": "2025-01-02", "until_on": "2025-01-01"}, "/until_on", None),
        ({"kind": "stock-statement", "site_id": "site", "from_on": "2015-01-01", "until_on": "2026-01-01"}, "/until_on", None),
        ({"kind": "stock-statement", "site_id": "site", "from_on": "2025-01-01", "until_on": "2026-03-02"}, "/until_on", None),
        (
            {"kind": "stock-statement", "site_id": "site", "from_on": "2025-01-01", "until_on": "2025-12-31", "later_days": 30},
            "/later_days",
            None,
        ),
        ({"kind": "enclosure-labels", "site_id": "site", "first_label": 11}, "/first_label", None),
        ({"kind": "animal-record", "animal_id": str(uuid4())}, "/animal_id", "reference-unknown"),
        ({"kind": "animal-record", "animal_id": "animal", "local_date": "2026-01-01"}, "/local_date", None),
        ({"site_id": "site", "animal_id": "animal"}, "/animal_id", None),
    ],
)
def test_what_a_kind_of_paper_is_not_told_or_does_not_take_is_named(client, site, animal, stated, pointer, code):
    answer = client.post("/v1/reports", {key: {"site": site, "animal": animal}.get(value, value) for key, value in stated.items()})

    assert answer.status_code == 422, answer.text
    (fault,) = answer.json()["errors"]
    assert fault["pointer"] == pointer
    assert code is None or fault["code"] == code


def test_papers_of_every_kind_that_were_left_waiting_are_made(house, store, site, animal):
    period = {"from_on": date(2026, 1, 1), "until_on": date(2026, 2, 28)}
    left = {"animal-record": {"animal_id": UUID(animal)}, "enclosure-labels": {}, "stock-statement": period}
    reports = [waiting_report(store, site, kind=records.ReportKind(kind), **stated) for kind, stated in left.items()]

    resume(house)

    assert [report_of(store, one).state for one in reports] == [records.WorkState.DONE] * 3


def test_labels_are_as_of_the_day_that_is_asked_for(client, store, site, animal):
    with store.transaction(makers.origin()) as unit:
        moved = makers.animal(unit, makers.taxon(unit, "Natrix ficta"), tag="T-9", acquired_on="2026-01-10")
        makers.move(unit, moved, makers.enclosure(unit, unit.fetch(Site, UUID(site)), name="Basin 2"), "2026-01-20")

    def lodgers_on(day: str) -> list[str]:
        report = finished(client, client.post("/v1/reports", {"kind": "enclosure-labels", "site_id": site, "local_date": day}))
        assert report["local_date"] == day
        sheet = client.get(f"/v1/reports/{report['id']}/file", params={"form": "json"}).json()
        return [taxon["scientific_name"] for label in sheet["labels"] for taxon in label["taxa"]]

    assert "Natrix ficta" in lodgers_on("2026-01-20")
    assert "Natrix ficta" not in lodgers_on("2026-01-19")


def test_papers_of_animals_are_made_and_given_to_who_reaches_their_site(client, caller, store, site, animal):
    with store.transaction(makers.origin()) as unit:
        other = str(makers.site(unit, name="Saltings Hall").id)
    scopes = ["reports.read", "reports.write"]
    own, elsewhere = (caller(people.key(store, name=at, scopes=scopes, site_ids=[at])) for at in (site, other))

    for kind in KINDS:
        report = finished(own, own.post("/v1/reports", told(kind, site=site, animal=animal)))
        for refused in (
            elsewhere.post("/v1/reports", told(kind, site=site, animal=animal)),
            elsewhere.get(f"/v1/reports/{report['id']}"),
            elsewhere.get(f"/v1/reports/{report['id']}/file"),
        ):
            assert (refused.status_code, refused.json()["code"]) == (403, "other-site")
        assert own.get(f"/v1/reports/{report['id']}/file").status_code == 200
    assert elsewhere.get("/v1/reports").json()["items"] == []


def test_a_record_of_an_animal_that_was_in_no_enclosure_is_filed_where_it_is_said(client, store, site):
    with store.transaction(makers.origin()) as unit:
        animal = str(makers.animal(unit, makers.taxon(unit), tag="T-8").id)

    refused = client.post("/v1/reports", {"kind": "animal-record", "animal_id": animal})
    report = finished(client, client.post("/v1/reports", {"kind": "animal-record", "animal_id": animal, "site_id": site}))

    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (422, "/site_id")
    assert (report["state"], report["site_id"]) == ("done", site)
