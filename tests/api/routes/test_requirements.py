"""The law on record through its doors: read by everybody who reads records, written by none."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from domain.actions.law import load_pack
from domain.rules.law.decision import DISCLAIMER
from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.packs import RulePack
from domain.rules.law.requirements import Activity, Duty, Exemption, Fact, Obligation, Period, Predicate, Relation
from domain.rules.law.spans import Span, Unit, WorkingDays
from domain.rules.permits import DocumentKind
from tests import makers
from tests.rules.law.stating import listing, requirement

STATE = Jurisdiction(code="XR", name="Arvenne (fictional)", level=Level.STATE, zone="Europe/Lisbon", fictional=True)
REST = WorkingDays(rest=frozenset((6,)), holidays=frozenset((date(2026, 4, 24),)))
PROVINCE = replace(STATE, code="XR-LOW", name="Lowland", level=Level.SUBDIVISION, parent_code="XR", working_days=REST)
KINDS = (
    DocumentKind(code="keeping", jurisdiction="XR", title="Permit", citation="s. 2", lasts=Span(24, Unit.MONTHS)),
    DocumentKind(code="showing", jurisdiction="XR-LOW", title="Licence", citation="s. 3", renewal_lead=Span(10, Unit.WORKING_DAYS)),
)
FIRST = requirement(
    "XR-1",
    listing("Testudo ficta", members=("Testudo alia",), applies_from=date(2021, 1, 1)),
    reviewed_on=date(2026, 1, 10),
    listed_on=date(2019, 6, 1),
    applies_until=date(2025, 12, 31),
    when=(Predicate(fact=Fact.NUMBER, relation=Relation.OVER, number=12.0),),
    exemptions=(Exemption(code="permit", document="keeping", activities=frozenset((Activity.HOLD,)), conditions=("No breeding",)),),
    obligations=(Obligation(code="return", duty=Duty.REPORT, period=Period.CALENDAR_YEAR, due_month=1, due_day=31, fields=("taxon",)),),
)
SECOND = replace(FIRST, version="2", applies_from=date(2026, 1, 1), applies_until=None)
OTHER = requirement("XR-2", jurisdiction="XR-LOW", applies_from=date(2026, 6, 1), reviewed_on=date(2026, 1, 10))


@pytest.fixture
def law(store, organisation):
    """Put a pack on record."""
    pack = RulePack(
        name="fiction",
        version="1",
        title="Invented law",
        fictional=True,
        digest="d",
        source="the text of the pack",
        jurisdictions=(STATE, PROVINCE),
        kinds=KINDS,
        requirements=(FIRST, SECOND, OTHER),
    )
    with store.transaction(makers.origin()) as unit:
        load_pack(unit, pack)


def listed(client, path="requirements", **query):
    answer = client.get(f"/v1/{path}", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()["items"]


def editions(client, **query):
    return sorted((one["code"], one["edition"]) for one in listed(client, **query))


@pytest.mark.usefixtures("law")
def test_requirements_are_found_by_code_place_consequence_and_day(client):
    assert editions(client) == [("XR-1", "1"), ("XR-1", "2"), ("XR-2", "1")]
    assert editions(client, code="XR-1") == [("XR-1", "1"), ("XR-1", "2")]
    assert editions(client, jurisdiction="XR-LOW") == [("XR-2", "1")]
    assert editions(client, consequence="mark") == []
    assert editions(client, code="XR-1", as_of="2025-12-31") == [("XR-1", "1")]
    assert editions(client, as_of="2026-01-01") == [("XR-1", "2")]
    assert editions(client, as_of="2026-06-01") == [("XR-1", "2"), ("XR-2", "1")]
    assert editions(client, as_of="2019-12-31") == []


@pytest.mark.usefixtures("law")
def test_pages_follow_one_another_and_each_says_that_it_is_no_advice(client):
    first = client.get("/v1/requirements", params={"limit": 2}).json()
    second = client.get("/v1/requirements", params={"limit": 2, "cursor": first["next"]}).json()

    assert (len(first["items"]), len(second["items"]), second["next"]) == (2, 1, None)
    assert first["disclaimer"] == second["disclaimer"] == client.get("/v1/document-kinds").json()["disclaimer"] == DISCLAIMER


@pytest.mark.usefixtures("law")
def test_one_requirement_is_shown_with_its_whole_content(client):
    [found] = listed(client, code="XR-1", as_of="2025-01-01")

    answer = client.get(f"/v1/requirements/{found['id']}")
    shown = answer.json()

    assert (shown["disclaimer"], shown["listed_on"], shown["applies_from"], shown["applies_until"], shown["reviewed_on"]) == (
        DISCLAIMER, "2019-06-01", "2020-01-01", "2025-12-31", "2026-01-10",
    )  # fmt: skip
    content = shown["content"]
    assert content["selector"]["any_of"] == [
        {"name": "Testudo ficta", "rank": "species", "members": ["Testudo alia"], "higher": [], "applies_from": "2021-01-01"}
    ]
    assert content["when"] == [
        {"fact": "number", "relation": "over", "number": 12.0, "day": None, "words": [], "measured_within_days": None}
    ]
    assert (content["exemptions"][0]["document"], content["exemptions"][0]["conditions"]) == ("keeping", ["No breeding"])
    assert (content["obligations"][0]["due_month"], content["obligations"][0]["fields"]) == (1, ["taxon"])
    assert "source" not in shown
    again = client.get(f"/v1/requirements/{found['id']}", headers={"If-None-Match": answer.headers["ETag"]})
    assert (answer.headers["ETag"], again.status_code) == ('"1"', 304)


@pytest.mark.usefixtures("law")
def test_jurisdictions_and_kinds_of_documents_are_listed(client):
    state, province = sorted(listed(client, "jurisdictions"), key=lambda one: one["code"])
    [below] = listed(client, "jurisdictions", parent_code="XR")
    [keeping] = listed(client, "document-kinds", jurisdiction="XR")
    [showing] = listed(client, "document-kinds", code="showing")

    assert (state["code"], state["level"], state["parent_code"], state["fictional"]) == ("XR", "state", None, True)
    assert (state["rest_days"], state["holidays"]) == (["saturday", "sunday"], [])
    assert below == province
    assert (province["rest_days"], province["holidays"], province["zone"]) == (["sunday"], ["2026-04-24"], "Europe/Lisbon")
    assert listed(client, "jurisdictions", level="local_authority") == []
    assert (keeping["citation"], keeping["content"]["lasts"], keeping["content"]["renewal_lead"]) == (
        "s. 2", {"number": 24, "unit": "months"}, None,
    )  # fmt: skip
    assert showing["content"]["renewal_lead"] == {"number": 10, "unit": "working_days"}


@pytest.mark.usefixtures("law")
def test_nobody_writes_law_by_these_doors(client):
    [found] = listed(client, code="XR-2")

    assert client.post("/v1/requirements", {}).status_code == 405
    assert client.patch(f"/v1/requirements/{found['id']}", {"title": "x"}, If_Match='"1"').status_code == 405
    assert client.post("/v1/jurisdictions", {}).status_code == 405
    assert client.post("/v1/document-kinds", {}).status_code == 405


@pytest.mark.usefixtures("law")
def test_another_organisations_law_is_not_there(client, stranger):
    [found] = listed(client, code="XR-2")

    assert stranger.get(f"/v1/requirements/{found['id']}").status_code == 404
    assert [listed(stranger, path) for path in ("requirements", "jurisdictions", "document-kinds")] == [[], [], []]


def test_what_the_filters_do_not_know_is_refused(client):
    answer = client.get("/v1/requirements", params={"consequence": "forbidden", "colour": "red"})

    assert (answer.status_code, [one["pointer"] for one in answer.json()["errors"]]) == (422, ["/query/consequence", "/query/colour"])
