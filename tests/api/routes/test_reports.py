"""A paper is asked for, made in the background and fetched in each of its forms."""

from __future__ import annotations

import base64
import json
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from hashlib import sha256
from io import BytesIO
from threading import Event
from uuid import UUID, uuid4

import pypdf
import pytest

from api.context import House
from api.routes.reports import fail_report, make, resume
from api.settings import Settings
from api.work import Work
from domain.errors import StorageBusy
from domain.records import nights as records
from domain.records.engine import Store
from domain.records.sites import Site
from domain.rules.law.requirements import Consequence, Duty, Entry, Obligation, Occasion, Period, Selector
from domain.rules.law.spans import Span, Unit
from domain.rules.taxonomy import TaxonRank
from tests import makers, people
from tests.api.conftest import BusyStore


@pytest.fixture
def site(store: Store, organisation: int) -> str:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit, name="Łąka <b>House</b>", jurisdiction="XR")
        returned = Obligation(
            code="return", duty=Duty.REPORT, period=Period.CALENDAR_YEAR, due_month=1, due_day=31, fields=("taxon", "number")
        )
        makers.requirement(unit, "XR-9", consequence=Consequence.REPORT, obligations=(returned,))
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
    "permit-register": ("pdf", "csv", "json"),
    "periodic-return": ("pdf", "csv", "json"),
    "inspection-file": ("pdf", "csv", "json"),
}


def told(kind: str, *, site: str, animal: str) -> dict[str, object]:
    more = {
        "animal-record": {"animal_id": animal},
        "enclosure-labels": {"site_id": site, "first_label": 3},
        "stock-statement": {"site_id": site, "from_on": "2025-01-01", "until_on": "2026-02-28"},
        "permit-register": {"site_id": site},
        "periodic-return": {"site_id": site, "requirement_code": "XR-9", "year": 2025},
        "inspection-file": {"site_id": site, "from_on": "2025-01-01", "until_on": "2026-02-28"},
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
        ({"kind": "permit-register", "site_id": "site", "local_date": "2026-03-02"}, "/local_date", "in-future"),
        ({"kind": "permit-register", "from_on": "2026-01-01"}, "/from_on", None),
        ({"kind": "periodic-return", "site_id": "site", "year": 2025}, "/requirement_code", "required"),
        ({"kind": "periodic-return", "requirement_code": "XR-9", "year": 2025}, "/site_id", "required"),
        ({"kind": "periodic-return", "site_id": "site", "requirement_code": "XR-9"}, "/from_on", "required"),
        (
            {"kind": "periodic-return", "site_id": "site", "requirement_code": "XR-9", "year": 2025, "from_on": "2025-01-01"},
            "/from_on",
            "required",
        ),
        (
            {"kind": "periodic-return", "site_id": "site", "requirement_code": "XR-0", "year": 2025},
            "/requirement_code",
            "reference-unknown",
        ),
        ({"kind": "periodic-return", "site_id": "site", "requirement_code": "XR-9", "year": 2026}, "/year", "in-future"),
        (
            {"kind": "periodic-return", "site_id": "site", "requirement_code": "XR-9", "from_on": "2025-04-01"},
            "/from_on",
            "not-in-period",
        ),
        ({"kind": "inspection-file", "site_id": "site", "from_on": "2025-01-01"}, "/until_on", "required"),
        ({"kind": "inspection-file", "site_id": "site", "from_on": "2025-01-01", "until_on": "2026-03-02"}, "/until_on", "in-future"),
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
    year = {"from_on": date(2025, 1, 1), "until_on": date(2025, 12, 31), "requirement_code": "XR-9"}
    left = {
        "animal-record": {"animal_id": UUID(animal)},
        "enclosure-labels": {},
        "stock-statement": period,
        "permit-register": {},
        "periodic-return": year,
        "inspection-file": period,
    }
    reports = [waiting_report(store, site, kind=records.ReportKind(kind), **stated) for kind, stated in left.items()]

    resume(house)

    assert [report_of(store, one).state for one in reports] == [records.WorkState.DONE] * len(left)


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


def test_a_return_says_the_period_that_its_rule_has(client, site):
    by_year = client.post("/v1/reports", told("periodic-return", site=site, animal="")).json()
    by_day = {"kind": "periodic-return", "site_id": site, "requirement_code": "XR-9", "from_on": "2025-01-01"}

    for said in (by_year, client.post("/v1/reports", by_day).json()):
        assert (said["from_on"], said["until_on"], said["requirement_code"]) == ("2025-01-01", "2025-12-31", "XR-9")


def test_a_register_of_the_whole_organisation_is_for_who_reaches_all_of_it(client, caller, store, site):
    bound = caller(people.key(store, name="bound", scopes=["reports.read", "reports.write"], site_ids=[site]))

    report = finished(client, client.post("/v1/reports", {"kind": "permit-register"}))

    assert (report["state"], report["site_id"]) == ("done", None)
    sheet = client.get(f"/v1/reports/{report['id']}/file", params={"form": "json"}).json()
    assert (sheet["site"], sheet["zone"]) == (None, "UTC")
    for refused in (
        bound.post("/v1/reports", {"kind": "permit-register"}),
        bound.get(f"/v1/reports/{report['id']}"),
        bound.get(f"/v1/reports/{report['id']}/file"),
    ):
        assert (refused.status_code, refused.json()["code"]) == (403, "other-site")
    assert bound.get("/v1/reports").json()["items"] == []


def test_a_register_is_as_of_the_day_that_is_asked_for(client, store, site):
    with store.transaction(makers.origin()) as unit:
        makers.permit(unit, site_id=site, valid_until="2026-02-01")

    def standing_on(day: str) -> str:
        asked = {"kind": "permit-register", "site_id": site, "local_date": day}
        report = finished(client, client.post("/v1/reports", asked))
        (permit,) = client.get(f"/v1/reports/{report['id']}/file", params={"form": "json"}).json()["permits"]
        return permit["standing"]

    assert [standing_on(day) for day in ("2025-06-01", "2026-02-01", "2026-02-02")] == ["good", "ending", "ended"]


def test_what_a_permit_register_shows_of_a_permit_is_what_is_on_record_of_it(client, store, site, animal):
    with store.transaction(makers.origin()) as unit:
        permit = makers.permit(unit, site_id=site, holder="Ms <b>Warden</b>", activities=["hold"], note="A note.")
        condition = makers.permit_condition(unit, permit, due_on="2026-01-01", proof="A letter.")
        document = makers.document(unit, permit)

    report = finished(client, client.post("/v1/reports", {"kind": "permit-register", "site_id": site}))
    (shown,) = client.get(f"/v1/reports/{report['id']}/file", params={"form": "json"}).json()["permits"]

    assert (shown["id"], shown["holder"], shown["activities"], shown["note"]) == (str(permit.id), "Ms <b>Warden</b>", ["hold"], "A note.")
    (told_condition,), (scan,) = shown["conditions"], shown["scans"]
    assert (told_condition["id"], told_condition["due_on"], told_condition["proof"]) == (str(condition.id), "2026-01-01", "A letter.")
    assert (scan["id"], scan["sha256"], scan["title"]) == (str(document.id), document.sha256, document.title)


def test_an_inspection_file_leads_from_every_animal_to_its_record(client, store, site, animal):
    asked = {**told("inspection-file", site=site, animal=animal), "until_on": "2026-03-01"}
    report = finished(client, client.post("/v1/reports", asked))

    sheet = client.get(f"/v1/reports/{report['id']}/file", params={"form": "json"}).json()

    (shown,) = sheet["animals"]
    assert (shown["id"], shown["tag"], shown["enclosure"]) == (animal, "T <b>7", "Basin 1")
    assert client.get(f"/v1/animals/{animal}/events/{shown['source_id']}").status_code == 200
    assert (sheet["incidents"], sheet["findings"]) == ([], [])
    assert sheet["journal_position"] > 0


def test_an_inspection_file_holds_the_incidents_of_the_period_and_the_findings_that_are_open(client, store, site, animal):
    with store.transaction(makers.origin()) as unit:
        at = unit.fetch(Site, UUID(site))
        found = makers.inspection_finding(unit, makers.inspection(unit, at), due_on="2026-02-20")
        makers.corrective_action(unit, found)
        happened = makers.incident(unit, at, persons_hurt=2)
        makers.incident(unit, at, found_at="2026-03-01T08:00:00Z")
    report = finished(client, client.post("/v1/reports", told("inspection-file", site=site, animal=animal)))

    sheet = client.get(f"/v1/reports/{report['id']}/file", params={"form": "json"}).json()

    (incident,), (finding,) = sheet["incidents"], sheet["findings"]
    assert (incident["id"], incident["on"], incident["people"]) == (f"/v1/incidents/{happened.id}", "2026-02-10", "2 hurt")
    assert (finding["due_on"], finding["action"]) == ("2026-02-20", "Fit a new lock. (open)")
    assert client.get(finding["id"]).status_code == client.get(incident["id"]).status_code == 200


def test_an_inspection_file_of_a_past_period_is_as_it_was_at_its_end(client, store, site, animal):
    with store.transaction(makers.origin()) as unit:
        at = unit.fetch(Site, UUID(site))
        visit = makers.inspection(unit, at, visited_on="2025-05-01")
        makers.inspection(unit, at, visited_on="2026-01-15")
        later = makers.inspection_finding(unit, visit, text="Closed later.", closed_on="2026-01-10", closing="Put right.")
        makers.inspection_finding(unit, visit, text="Closed in it.", closed_on="2025-06-01", closing="Seen to.", requirement_code="XR-9")
        makers.inspection_finding(unit, makers.inspection(unit, at, visited_on="2026-02-01"), text="Found later.")
    with store.transaction(makers.origin()) as unit:
        done = makers.inspection_finding(unit, visit, text="With proof.")
        makers.corrective_action(unit, done, done_on="2025-05-20", proof="A photograph.")
        makers.corrective_action(unit, done, text="Paint it.", done_on="2026-01-20", proof="A bill.")
    asked = {**told("inspection-file", site=site, animal=animal), "from_on": "2025-01-01", "until_on": "2025-12-31"}
    report = finished(client, client.post("/v1/reports", asked))

    sheet = client.get(f"/v1/reports/{report['id']}/file", params={"form": "json"}).json()

    assert {one["id"].rpartition("/")[2] for one in sheet["findings"]} == {str(later.id), str(done.id)}
    assert {one["closing"] for one in sheet["findings"]} == {""}
    (proved,) = (one["action"] for one in sheet["findings"] if one["id"].endswith(str(done.id)))
    assert proved == "Fit a new lock. (done 2025-05-20: A photograph.); Paint it. (open)"
    (closed,) = sheet["closed"]
    assert (closed["closed_on"], closed["closing"], closed["requirement"]) == ("2025-06-01", "Seen to.", "XR-9")
    (seen,) = sheet["visits"]
    assert (seen["on"], seen["found"], seen["open"]) == ("2025-05-01", 3, 2)


def test_the_tile_of_a_register_is_the_sum_of_its_rows_and_each_need_stands_for_itself(client, store, site, animal):
    with store.transaction(makers.origin()) as unit:
        at = unit.fetch(Site, UUID(site))
        for kind in ("keeping", "trade"):
            makers.document_kind(unit, kind)
            makers.requirement(unit, f"XR-{kind}", consequence=Consequence.DOCUMENT, documents=(kind,))
        place = makers.enclosure(unit, at, name="Pen")
        of = makers.taxon(unit, "Boa ficta")
        makers.animal(unit, of, tag="G-1", acquired_on="2025-01-10", enclosure_id=str(place.id), grouping="group", count=38)
        makers.permit(unit, site_id=at.id, kind="keeping", total_number=100)
        makers.permit(unit, site_id=at.id, kind="trade", total_number=37, number="P-2")

    report = finished(client, client.post("/v1/reports", {"kind": "permit-register", "site_id": site}))
    sheet = client.get(f"/v1/reports/{report['id']}/file", params={"form": "json"}).json()

    assert sheet["animals_open"] == sum(one["uncovered"] for one in sheet["uncovered"])
    assert sheet["animals_open"] < sheet["animals"]
    assert all(len(need) == 1 for one in sheet["uncovered"] for need in one["needs"])


def test_the_sheet_of_an_incident_says_to_whom_it_has_to_be_told_and_whom_it_was_told(client, store, site):
    with store.transaction(makers.origin()) as unit:
        owed = Obligation(code="tell", duty=Duty.NOTIFY, occasion=Occasion.ESCAPE, within=Span(1, Unit.HOURS))
        makers.requirement(unit, "XR-T", consequence=Consequence.NOTIFY, obligations=(owed,))
        happened = makers.incident(unit, unit.fetch(Site, UUID(site)))
        makers.notification(unit, happened, reference="R-77", requirement_code="XR-T")
        makers.notification(unit, happened, told_to="A neighbour", told_at="2026-02-10T10:00:00Z", way="in person")
    report = finished(client, client.post("/v1/reports", {"kind": "incident-sheet", "incident_id": str(happened.id)}))

    sheet = client.get(f"/v1/reports/{report['id']}/file", params={"form": "json"}).json()

    (notice,) = sheet["notices"]
    assert (notice["jurisdiction"], notice["standing"]) == ("XR", "told")
    assert notice["place"] == "Arvenne (fictional)"
    assert [(one["told_to"], one["way"], one["reference"], one["requirement"]) for one in sheet["told"]] == [
        ("Reed County", "telephone", "R-77", "XR-T"),
        ("A neighbour", "in person", None, None),
    ]


def test_the_sheet_of_an_incident_is_filed_at_its_site_for_who_reaches_that(client, caller, store, site):
    with store.transaction(makers.origin()) as unit:
        happened = makers.incident(unit, unit.fetch(Site, UUID(site)))
        elsewhere = makers.site(unit, name="Quillback")
    asked = {"kind": "incident-sheet", "incident_id": str(happened.id)}

    report = finished(client, client.post("/v1/reports", asked))
    bound = caller(people.key(store, scopes=["reports.write", "reports.read"], site_ids=[str(elsewhere.id)]))

    assert (report["state"], report["site_id"], report["incident_id"]) == ("done", site, str(happened.id))
    assert client.get(f"/v1/reports/{report['id']}/file").content.startswith(b"%PDF")
    assert client.get(f"/v1/reports/{report['id']}/file", params={"form": "json"}).json()["kind"] == "escape"
    assert bound.post("/v1/reports", asked).json()["code"] == "other-site"
    (fault,) = client.post("/v1/reports", {"kind": "incident-sheet", "incident_id": str(uuid4())}).json()["errors"]
    assert (fault["pointer"], fault["code"]) == ("/incident_id", "reference-unknown")


def test_the_file_of_a_transfer_is_filed_where_it_is_to_be_acted_next_and_holds_its_own_data(client, caller, store, site):
    with store.transaction(makers.origin()) as unit:
        makers.requirement(unit, selector=Selector(any_of=(Entry(name="Boa ficta", rank=TaxonRank.SPECIES),)))
        at = unit.fetch(Site, UUID(site))
        home = makers.enclosure(unit, at)
        plan = makers.transfer(unit, at, None)
        makers.transfer_animal(unit, plan, makers.animal(unit, makers.taxon(unit), enclosure_id=str(home.id), acquired_on="2025-01-10"))
        elsewhere = makers.site(unit, name="Quillback")
    asked = {"kind": "transfer-file", "transfer_id": str(plan.id)}

    report = finished(client, client.post("/v1/reports", asked))
    bound = caller(people.key(store, scopes=["reports.write", "reports.read"], site_ids=[str(elsewhere.id)]))
    pdf, data = (client.get(f"/v1/reports/{report['id']}/file", params={"form": form}).content for form in ("pdf", "json"))

    assert (report["state"], report["site_id"], report["transfer_id"]) == ("done", site, str(plan.id))
    assert pypdf.PdfReader(BytesIO(pdf)).attachments == {"transfer-file.json": [data]}
    assert sha256(data).hexdigest() == report["record_hash"]
    assert json.loads(data)["reference"] == "T-1"
    assert bound.post("/v1/reports", asked).json()["code"] == "other-site"
    listed = client.get("/v1/reports", params={"transfer_id": str(plan.id)}).json()["items"]
    assert [one["id"] for one in listed] == [report["id"]]
    (fault,) = client.post("/v1/reports", {"kind": "transfer-file", "transfer_id": str(uuid4())}).json()["errors"]
    assert (fault["pointer"], fault["code"]) == ("/transfer_id", "reference-unknown")
