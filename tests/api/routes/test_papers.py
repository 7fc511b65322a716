"""What whoever holds a paper that left the house is told at its number, as JSON and as a page; and that it tells of nobody and nowhere."""

from __future__ import annotations

import time
from collections import Counter
from datetime import timedelta
from hashlib import sha256
from io import BytesIO
from types import SimpleNamespace
from uuid import UUID

import pypdf
import pytest

from api.bodies.papers import PaperCheck
from api.issuing import NUMBER, Press
from api.limits import Kind, Limits
from api.paper_page import POLICY, wants_page
from api.sealing import Seal
from domain.actions.night import PaperFile, keep_files
from domain.errors import StorageBusy
from domain.records import nights as records
from domain.records.nights import LEAVE_THE_HOUSE, ReportKind
from domain.records.sites import Site
from domain.rules.law.decision import DISCLAIMER
from domain.rules.law.jurisdictions import Jurisdiction, Level
from reports.words import in_eights
from tests import makers, people
from tests.seals import PASSWORD, certificate_of, is_whole, key_of, seal_file

AS_PAGE = {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}
AS_JSON = {"Accept": "application/json"}
ADDRESS = "https://records.example"
OTHER_NUMBER = f"{makers.ORGANISATION}-{'a' * 20}"


@pytest.fixture
def pack(store, organisation):
    with store.transaction(makers.origin()) as unit:
        makers.pack(unit, "canary-pack", version="2026-01")
        makers.requirement(unit, "XR-9", citation="canary-citation")


@pytest.fixture
def site(store, organisation, pack):
    """Return the id of a site at which every text that can locate or name somebody is a canary."""
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit, name="canary-site", address="canary-address", jurisdiction="XR")
        place = makers.enclosure(unit, at, name="canary-enclosure")
        makers.animal(unit, makers.taxon(unit, "Canarius fictus"), tag="canary-animal", enclosure_id=place.id)
        makers.permit(unit, number="canary-permit", authority="canary-authority", holder="canary-holder", site_id=str(at.id))
    return str(at.id)


@pytest.fixture
def nobody(caller, organisation):
    return caller(None)


@pytest.fixture
def seal(tmp_path):
    return Seal.read(seal_file(tmp_path), PASSWORD)


def made(client, **said):
    answer = client.post("/v1/reports", said)
    assert answer.status_code == 202, answer.text
    for _ in range(400):
        found = client.get(answer.headers["Location"]).json()
        if found["state"] in {"done", "failed"}:
            return found
        time.sleep(0.02)
    raise AssertionError("the paper is never finished")


def register(client, site=None, **said):
    return made(client, kind="permit-register", **({"site_id": site} if site else {}), **said)


def inspection(client, site, until_on="2026-02-28"):
    return made(client, kind="inspection-file", site_id=site, from_on="2025-01-01", until_on=until_on)


def file_of(client, report, form="pdf"):
    return client.get(f"/v1/reports/{report['id']}/file", params={"form": form}).content


def text_of(pdf):
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(BytesIO(pdf)).pages)


def check(client, report):
    answer = client.get(f"/v/{report['paper_id']}", headers=AS_JSON)
    assert answer.status_code == 200, answer.text
    return answer.json()


def later(app, minutes):
    app.state.house.clock = lambda: makers.NOON + timedelta(minutes=minutes)


def test_only_papers_that_leave_the_house_have_a_number(client, site):
    others = [{"kind": "replacement-due"}, {"kind": "stock-statement", "from_on": "2025-01-01", "until_on": "2026-02-28"}]
    told = ("paper_id", "issued_at", "rules", "sealed_with", "unsealed_sha256")

    for said in others:
        assert [made(client, site_id=site, **said)[name] for name in told] == [None] * 5
    for report in (register(client, site), inspection(client, site)):
        assert NUMBER.fullmatch(report["paper_id"])[1] == str(makers.ORGANISATION)
        assert ReportKind(report["kind"]) in LEAVE_THE_HOUSE


def test_a_paper_has_its_number_from_when_it_is_asked_for_and_is_issued_when_it_is_made(client, site):
    asked = client.post("/v1/reports", {"kind": "permit-register", "site_id": site}).json()
    report = register(client, site)

    assert (asked["state"], bool(NUMBER.fullmatch(asked["paper_id"]))) == ("waiting", True)
    assert asked["paper_id"] != report["paper_id"]
    assert report["issued_at"] == "2026-03-01T12:00:00.000000Z"
    assert {(one["name"], one["edition"]) for one in report["rules"]} >= {("canary-pack", "2026-01")}
    assert all(len(one["digest"]) == 64 for one in report["rules"])


def test_the_rules_of_a_paper_are_those_of_its_law_and_its_documents_and_of_a_transfer_all(client, nobody, store, site):
    elsewhere = Jurisdiction(code="XQ", name="Elsewhere (fictional)", level=Level.STATE, zone="UTC", fictional=True)
    with store.transaction(makers.origin()) as unit:
        makers.pack(unit, "another-pack", version="9", jurisdictions=(elsewhere,))
        here, there = unit.fetch(Site, UUID(site)), makers.site(unit, name="Saltings Hall", jurisdiction="XQ")
        going = makers.transfer(unit, here, there).id
    whole = ["canary-pack", "kind-keeping", "rule-xr-9"]
    papers = [
        register(client, site),
        inspection(client, site),
        register(client),
        made(client, kind="transfer-file", transfer_id=str(going)),
    ]

    assert [[one["name"] for one in report["rules"]] for report in papers] == [whole, whole, *[["another-pack", *whole]] * 2]
    assert [check(nobody, report)["rules_of"] for report in papers] == [*["its_law"] * 3, "all_on_record"]
    assert "All rules on record then" in nobody.get(f"/v/{papers[-1]['paper_id']}", headers=AS_PAGE).text


def test_a_number_typed_in_capitals_leads_to_the_paper(client, nobody, site):
    report = register(client, site)

    assert nobody.get(f"/v/{report['paper_id'].upper()}", headers=AS_JSON).json()["paper_id"] == report["paper_id"]


def test_the_record_hash_of_a_paper_is_the_digest_of_its_json(client, nobody, site):
    for report in (register(client, site), inspection(client, site)):
        told = check(nobody, report)
        assert {one["form"]: one["sha256"] for one in told["files"]}["json"] == told["record_hash"]
        assert in_eights(told["record_hash"]) in " ".join(text_of(file_of(client, report)).split())


def test_the_number_stands_on_the_paper_in_each_of_its_forms(client, site):
    for report in (register(client, site), inspection(client, site)):
        text = text_of(file_of(client, report))

        assert text.count(report["paper_id"]) >= 2
        assert report["paper_id"].encode() in file_of(client, report, "json")


def test_whoever_may_read_reports_finds_one_by_its_number(client, caller, store, site):
    with store.transaction(makers.origin()) as unit:
        other = str(makers.site(unit, name="Saltings Hall").id)
    wanted, _ = register(client, site), register(client, other)
    bound = caller(people.key(store, name="bound", scopes=["reports.read"], site_ids=[other]))

    query = {"paper_id": wanted["paper_id"]}
    assert [one["id"] for one in client.get("/v1/reports", params=query).json()["items"]] == [wanted["id"]]
    assert client.get("/v1/reports", params={"paper_id": OTHER_NUMBER}).json()["items"] == []
    assert bound.get("/v1/reports", params=query).json()["items"] == []


def test_nobody_signs_in_to_see_what_is_on_record_about_a_paper(client, nobody, site):
    report = register(client, site, local_date="2026-02-01")

    told = nobody.get(f"/v/{report['paper_id']}", headers=AS_JSON)
    shown = PaperCheck.model_validate_json(told.content)

    assert (told.headers["Content-Type"], told.headers["X-Robots-Tag"]) == ("application/json", "noindex")
    assert {"Accept"} <= set(told.headers["Vary"].replace(",", " ").split())
    assert (shown.paper_id, shown.kind, shown.title) == (report["paper_id"], "permit-register", "Permit register")
    assert (shown.as_of.isoformat(), shown.issued_at, shown.disclaimer) == ("2026-02-01", makers.NOON, DISCLAIMER)
    assert (shown.record_hash, shown.sealed_with, shown.superseded_by) == (report["record_hash"], None, None)
    assert [(one.edition, one.packs) for one in shown.rules] == sorted(Counter(one["edition"] for one in report["rules"]).items())
    assert [one["digest"] for one in report["rules"] if one["digest"][:16] in told.text] == []
    files = {form: sha256(file_of(client, report, form)).hexdigest() for form in ("csv", "json", "pdf")}
    assert {one.form: one.sha256 for one in shown.files} == files
    assert shown.sha256 == files["pdf"]


def test_the_day_that_is_told_is_one_in_utc_whatever_the_date_at_the_site_is(client, nobody, store):
    with store.transaction(makers.origin()) as unit:
        east = makers.site(unit, name="East", zone="Pacific/Kiritimati")
    report = register(client, str(east.id))

    assert (report["local_date"], check(nobody, report)["as_of"]) == ("2026-03-02", "2026-03-01")


@pytest.mark.parametrize("day", ["2026-02-01", "2026-02-28"])
def test_a_register_of_an_earlier_day_is_as_of_that_day_however_near(client, nobody, site, day):
    assert check(nobody, register(client, site, local_date=day))["as_of"] == day


def test_each_edition_is_told_once_with_how_many_packs_are_of_it(client, nobody, site):
    report = register(client, site)

    assert sorted((one["name"], one["edition"]) for one in report["rules"]) == [
        ("canary-pack", "2026-01"),
        ("kind-keeping", "1"),
        ("rule-xr-9", "1"),
    ]
    assert check(nobody, report)["rules"] == [{"edition": "1", "packs": 2}, {"edition": "2026-01", "packs": 1}]
    page = nobody.get(f"/v/{report['paper_id']}", headers=AS_PAGE).text
    assert "edition 1 of 2 rule packs<br>edition 2026-01 of 1 rule pack<" in page


def test_neither_answer_names_a_person_an_animal_a_permit_a_pack_or_a_place(client, nobody, site):
    assert "Marshlight" in client.get("/v1/organisation").json()["name"]
    for report in (register(client, site), register(client), inspection(client, site)):
        printed = file_of(client, report, "json")
        assert b"canary-" in printed
        for accept in (AS_PAGE, AS_JSON):
            answer = nobody.get(f"/v/{report['paper_id']}", headers=accept)
            said = f"{answer.text} {answer.headers}".casefold()
            assert [word for word in ("canar", "marshlight", "arvenne", "xr-9", site, report["id"]) if word in said] == []


def test_the_page_says_the_same_and_comes_alone(client, nobody, site):
    report = register(client, site)
    told = check(nobody, report)

    page = nobody.get(f"/v/{report['paper_id']}", headers=AS_PAGE)

    assert (page.status_code, page.headers["Content-Type"]) == (200, "text/html; charset=utf-8")
    assert page.headers["Content-Security-Policy"] == POLICY
    assert (page.headers["Referrer-Policy"], page.headers["X-Robots-Tag"]) == ("no-referrer", "noindex")
    assert "Accept" in page.headers["Vary"]
    shown = ["Permit register", told["paper_id"], "2026-03-01 12:00:00 UTC", told["record_hash"], told["sha256"], DISCLAIMER]
    shown += [one["edition"] for one in told["rules"]] + [one["sha256"] for one in told["files"]]
    assert [text for text in shown if text not in page.text] == []
    assert "bears no seal" in page.text


@pytest.mark.parametrize(
    ("accept", "page"),
    [
        (AS_PAGE["Accept"], True),
        ("text/html", True),
        ("TEXT/HTML ;q=0.5", True),
        ("application/json", False),
        ("", False),
        ("*/*", False),
        ("text/html;q=0.5, application/json", False),
        ("application/json, text/html", True),
        ("text/html;q=0", False),
        ("text/html;level=1;q=0.9,application/json;q=0.8", True),
    ],
)
def test_a_page_is_for_who_would_rather_have_one(accept, page):
    assert wants_page(accept) is page


def test_numbers_that_lead_nowhere_answer_alike(client, nobody, stranger, store, site):
    report = register(client, site)
    drawn = report["paper_id"].partition("-")[2]
    unfinished = f"{makers.ORGANISATION}-{'b' * 20}"
    failed = f"{makers.ORGANISATION}-{'c' * 20}"
    with store.transaction(makers.origin()) as unit:
        for number, state in ((unfinished, records.WorkState.WAITING), (failed, records.WorkState.FAILED)):
            plain = {"organisation_id": unit.organisation_id, "id": unit.new_id(), "created_at": unit.origin.at}
            of_site = {"kind": ReportKind.PERMIT_REGISTER, "site_id": UUID(site), "local_date": makers.NOON.date()}
            unmade = unit.add(records.Report(**plain, **of_site, paper_id=number, state=state), action="ask_for_report")
            keep_files(unit, unmade.id, [PaperFile("pdf", b"%PDF")])
    numbers = [
        OTHER_NUMBER, unfinished, failed, f"{makers.OTHER_ORGANISATION}-{drawn}", f"{makers.OTHER_ORGANISATION + 7}-{drawn}",
        report["paper_id"][:-1], report["id"], "x", "1-", f"{'9' * 19}-{drawn}",
    ]  # fmt: skip

    for accept in (AS_PAGE, AS_JSON):
        answers = [asker.get(f"/v/{number}", headers=accept) for number in numbers for asker in (nobody, client, stranger)]
        assert {answer.status_code for answer in answers} == {404}
        bodies = {answer.text.replace(answer.request.url.path, "") for answer in answers}
        assert len(bodies) == 1
    assert nobody.get(f"/v/{report['paper_id']}").status_code == 200


def test_a_number_that_leads_nowhere_is_a_plain_page_for_browsers_and_a_problem_for_programs(nobody):
    page, problem = (nobody.get(f"/v/{OTHER_NUMBER}", headers=accept) for accept in (AS_PAGE, AS_JSON))

    assert (page.headers["Content-Type"], page.headers["Content-Security-Policy"]) == ("text/html; charset=utf-8", POLICY)
    assert "There is no such paper" in page.text
    assert "<script" not in page.text
    assert (problem.headers["Content-Type"], problem.json()["code"]) == ("application/problem+json", "not-found")


def test_a_later_paper_about_the_same_supersedes(app, client, nobody, site):
    first = register(client, site)
    later(app, 1)
    second = register(client, site)
    later(app, 2)
    third = register(client, site)

    assert [check(nobody, one)["superseded_by"] for one in (first, second, third)] == [third["paper_id"], third["paper_id"], None]
    page = nobody.get(f"/v/{first['paper_id']}", headers=AS_PAGE).text
    assert f'href="{third["paper_id"]}"' in page
    assert "A later paper" not in nobody.get(f"/v/{third['paper_id']}", headers=AS_PAGE).text


def test_papers_of_one_instant_supersede_by_their_ids(client, nobody, site):
    first, second = sorted((register(client, site) for _ in range(2)), key=lambda one: one["id"])

    assert [check(nobody, one)["superseded_by"] for one in (first, second)] == [second["paper_id"], None]


def test_a_register_of_a_past_day_is_superseded_by_another_of_that_day_alone(app, client, nobody, site):
    past = register(client, site, local_date="2026-02-01")
    later(app, 1)
    register(client, site)
    assert check(nobody, past)["superseded_by"] is None

    later(app, 2)
    again = register(client, site, local_date="2026-02-01")
    assert check(nobody, past)["superseded_by"] == again["paper_id"]


def test_an_inspection_file_until_today_is_superseded_by_one_until_a_later_today(app, client, nobody, site):
    first = inspection(client, site, until_on="2026-03-01")
    later(app, 24 * 60)
    second = inspection(client, site, until_on="2026-03-02")

    assert [check(nobody, one)["superseded_by"] for one in (first, second)] == [second["paper_id"], None]


def test_papers_of_the_whole_organisation_supersede_each_other(app, client, nobody, site):
    first = register(client)
    later(app, 1)
    second = register(client)

    assert check(nobody, first)["superseded_by"] == second["paper_id"]


def test_a_paper_about_something_else_supersedes_nothing(app, client, nobody, store, site):
    with store.transaction(makers.origin()) as unit:
        other = str(makers.site(unit, name="Saltings Hall").id)
    papers = [register(client, site), inspection(client, site)]
    later(app, 1)
    register(client, other)
    register(client)
    register(client, site, local_date="2026-02-28")
    inspection(client, other)
    inspection(client, site, until_on="2026-02-27")

    assert [check(nobody, one)["superseded_by"] for one in papers] == [None, None]


def transfer_paper(store, site, transfer_id, number, *, minutes):
    """Put the issued file of a transfer on record, and return it as far as it is looked up."""
    at = makers.NOON + timedelta(minutes=minutes)
    with store.transaction(makers.origin()) as unit:
        report = records.Report(
            organisation_id=unit.organisation_id,
            id=unit.new_id(),
            created_at=at,
            kind=ReportKind.TRANSFER_FILE,
            site_id=UUID(site),
            transfer_id=transfer_id,
            local_date=makers.NOON.date() - timedelta(days=minutes),
            state=records.WorkState.DONE,
            paper_id=f"{unit.organisation_id}-{number * 20}",
            issued_at=at,
            rules=[],
            record_hash="0" * 64,
        )
        unit.add(report, action="make_report")
        keep_files(unit, report.id, [PaperFile("pdf", b"%PDF")])
    return {"paper_id": report.paper_id}


def test_the_file_of_a_transfer_is_superseded_by_the_next_wherever_that_is_filed(nobody, store, site):
    with store.transaction(makers.origin()) as unit:
        here = unit.fetch(Site, UUID(site))
        there = makers.site(unit, name="Saltings Hall")
        one, other = (makers.transfer(unit, here, there, reference=text).id for text in ("T-1", "T-2"))
    first = transfer_paper(store, site, one, "a", minutes=1)
    beside = transfer_paper(store, site, other, "b", minutes=2)
    second = transfer_paper(store, str(there.id), one, "c", minutes=3)

    assert [check(nobody, paper)["superseded_by"] for paper in (first, beside, second)] == [second["paper_id"], None, None]
    assert check(nobody, first)["title"] == "Transfer file"


def test_a_paper_is_sealed_where_there_is_a_key_and_says_so(app, client, nobody, site, seal):
    app.state.house.press = Press(ADDRESS, seal)

    for report in (register(client, site), inspection(client, site)):
        pdf = file_of(client, report)
        text = text_of(pdf)
        assert is_whole(pdf, seal.certificate)
        assert report["sealed_with"] == seal.certificate_sha256 == check(nobody, report)["sealed_with"]
        assert report["unsealed_sha256"] == sha256(pdf[: pdf.index(b"%%EOF") + 6]).hexdigest() != sha256(pdf).hexdigest()
        assert check(nobody, report)["sha256"] == sha256(pdf).hexdigest()
        assert "The PDF bears a seal" in text
        assert f"{ADDRESS}/v/{report['paper_id']}" in text
        assert seal.certificate_sha256 in nobody.get(f"/v/{report['paper_id']}", headers=AS_PAGE).text


def test_without_a_key_the_paper_says_that_it_bears_no_seal(client, site):
    for report in (register(client, site), inspection(client, site)):
        pdf = file_of(client, report)
        text = text_of(pdf)
        assert (report["sealed_with"], report["unsealed_sha256"]) == (None, sha256(pdf).hexdigest())
        assert "This file bears no seal: nobody has configured a key." in text
        assert "Ask whoever issued it" in text
        assert "/v/" not in text


def test_papers_that_stay_in_the_house_are_never_sealed(app, client, site, seal):
    app.state.house.press = Press(ADDRESS, seal)
    report = made(client, kind="stock-statement", site_id=site, from_on="2025-01-01", until_on="2026-02-28")

    assert report["sealed_with"] is None
    assert b"/Sig" not in file_of(client, report)


def test_a_paper_that_cannot_be_sealed_any_more_is_not_issued(app, client, nobody, tmp_path, site):
    ended = seal_file(tmp_path, certificate=certificate_of(key_of(), until_days=-1))
    app.state.house.press = Press(ADDRESS, Seal.read(ended, PASSWORD))
    report = register(client, site)

    told = "The paper could not be made: the seal's certificate expired on"
    assert (report["state"], report["error"].startswith(told)) == ("failed", True)
    assert nobody.get(f"/v/{report['paper_id']}", headers=AS_JSON).status_code == 404


def test_a_browser_that_is_refused_gets_a_page_that_says_nothing_about_the_paper(app, nobody):
    app.state.house.limits = Limits({Kind.PAPER_ADDRESS: (1, 3600.0)})
    nobody.get("/v/x")
    page, problem = (nobody.get("/v/x", headers=accept) for accept in (AS_PAGE, AS_JSON))

    assert (page.status_code, page.headers["Content-Type"]) == (429, "text/html; charset=utf-8")
    assert (page.headers["Content-Security-Policy"], page.headers["Retry-After"]) == (POLICY, problem.headers["Retry-After"])
    assert "This says nothing about the paper." in page.text
    assert f"Load this page again in {page.headers['Retry-After']} s." in page.text
    assert "Accept" in page.headers["Vary"]
    assert (problem.status_code, problem.headers["Content-Type"]) == (429, "application/problem+json")


@pytest.mark.parametrize(("fault", "status"), [(StorageBusy("The storage is busy."), 503), (RuntimeError("canary"), 500)])
def test_what_goes_wrong_behind_the_page_is_a_page_as_well(app, nobody, monkeypatch, fault, status):
    async def read(*_arguments, **_parameters):
        raise fault

    monkeypatch.setattr(app.state.house, "store", SimpleNamespace(read=read, dialect=app.state.house.store.dialect))
    page = nobody.get(f"/v/{OTHER_NUMBER}", headers=AS_PAGE)

    assert (page.status_code, page.headers["Content-Type"]) == (status, "text/html; charset=utf-8")
    assert "This says nothing about the paper." in page.text
    assert "canary" not in page.text
    assert nobody.get(f"/v/{OTHER_NUMBER}", headers=AS_JSON).headers["Content-Type"] == "application/problem+json"
    assert nobody.get("/v1/sites", headers=AS_PAGE).headers["Content-Type"] == "application/problem+json"


def test_who_looks_up_too_often_has_to_wait(app, client, nobody, site):
    report = register(client, site)
    app.state.house.limits = Limits({Kind.PAPER_ADDRESS: (3, 3600.0)})

    paths = [f"/v/{report['paper_id']}", f"/v/{OTHER_NUMBER}", "/v/x", f"/v/{report['paper_id']}"]

    assert [nobody.get(path).status_code for path in paths] == [200, 404, 404, 429]
