"""Visits and incidents over the API, and what has to be told by when."""

from __future__ import annotations

import pytest

from domain.rules.law.requirements import Consequence, Duty, Obligation, Occasion, Selector
from domain.rules.law.spans import Span, Unit
from tests import makers, people

DISCLAIMER = "Not legal advice: local codes, the issuing authority and licensed practice come first."


@pytest.fixture
def sites(store, organisation):
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        duty = Obligation(code="tell", duty=Duty.NOTIFY, occasion=Occasion.OUTAGE, within=Span(24, Unit.HOURS))
        makers.requirement(unit, consequence=Consequence.NOTIFY, selector=Selector(), obligations=(duty,))
        return [str(makers.site(unit, name=name, jurisdiction="XR").id) for name in ("Reedmere House", "Saltings Hall")]


def outage(client, site):
    said = {"site_id": site, "kind": "outage", "found_at": "2026-03-01T06:00:00+01:00", "account": "No power in hall A."}
    answer = client.post("/v1/incidents", said)
    assert answer.status_code == 201, answer.text
    return answer.headers["Location"]


def test_what_has_to_be_told_is_answered_with_its_source_and_its_instant(client, sites):
    path = outage(client, sites[0])

    told = client.get(f"{path}/notify-by").json()

    (notice,) = told["notices"]
    assert told["disclaimer"] == DISCLAIMER
    assert (notice["requirement"], notice["tell_by"], notice["standing"]) == ("XR-1", "2026-03-02T05:00:00Z", "open")
    assert notice["citation"]
    client.post(
        f"{path}/notifications",
        {"told_to": "Reed County", "told_at": "2026-03-01T11:00:00Z", "way": "telephone", "requirement_code": "XR-1"},
    )
    assert [one["standing"] for one in client.get(f"{path}/notify-by").json()["notices"]] == ["told"]


def test_who_is_bound_to_another_site_learns_nothing_of_an_incident(client, store, sites, caller, stranger):
    path = outage(client, sites[0])
    bound = caller(people.key(store, scopes=["records.read"], site_ids=[sites[1]]))

    assert bound.get("/v1/incidents").json()["items"] == []
    assert [bound.get(f"{path}{rest}").json()["code"] for rest in ("", "/notify-by", "/notifications")] == ["other-site"] * 3
    assert [stranger.get(f"{path}{rest}").status_code for rest in ("", "/notify-by", "/animals")] == [404] * 3


def test_a_visit_is_followed_from_its_finding_to_the_proof(client, sites):
    visit = client.post("/v1/inspections", {"site_id": sites[0], "visited_on": "2026-02-10", "authority": "Reed County"}).headers[
        "Location"
    ]
    finding = client.post(f"{visit}/findings", {"text": "The lid does not close.", "weight": "grave", "due_on": "2026-02-20"})
    about = {"finding_id": finding.json()["id"], "text": "Fit a new lid."}
    action = client.post(f"{visit}/corrective-actions", about)
    done = {"done_on": "2026-02-18", "proof": "Photograph of the new lid."}

    early = client.patch(finding.headers["Location"], {"closed_on": "2026-02-19", "closing": "seen"}, if_match=finding.headers["ETag"])
    client.patch(action.headers["Location"], done, if_match=action.headers["ETag"])
    closed = client.patch(finding.headers["Location"], {"closed_on": "2026-02-19", "closing": "seen"}, if_match=finding.headers["ETag"])

    assert (early.status_code, early.json()["code"]) == (409, "actions-open")
    assert (closed.status_code, closed.json()["closed_on"]) == (200, "2026-02-19")
    assert client.get(f"/v1/inspections?site_id={sites[1]}").json()["items"] == []
