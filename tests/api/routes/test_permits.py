"""Permits, and what they are made of, through the door."""

from __future__ import annotations

from uuid import UUID

import pytest

from api.bodies.permits import Permit, PermitAnimal, PermitCondition, PermitEvent, PermitTaxon
from api.bodies.records import with_disclaimer
from api.passwords import Passwords
from domain.records.sites import Site
from domain.rules.permissions import Role
from tests import makers
from tests.api.routes.of_animals import pointers
from tests.memory_files import MemoryFiles
from tests.people import CHEAP, person, signed_in
from tests.pictures import PDF

STATED = {"kind": "keeping", "jurisdiction": "XR-LOW", "authority": "Reed County", "number": "RC 2025/17", "issued_on": "2025-03-01"}


@pytest.fixture(autouse=True)
def law(store, organisation):
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        makers.document_kind(unit)
        makers.document_kind(unit, "selling")


@pytest.fixture
def permit(client, site_id):
    """Return the path of a permit."""
    return client.post("/v1/permits", {**STATED, "site_id": site_id}).headers["Location"]


@pytest.fixture
def animal(store, organisation, site_id):
    """Return an animal at the site, with its taxon."""
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        place = makers.enclosure(unit, unit.fetch(Site, UUID(site_id)))
        return makers.animal(unit, makers.taxon(unit), enclosure_id=str(place.id), acquired_on="2025-05-01")


def test_a_permit_is_registered_read_corrected_and_ended(client, site_id):
    said = {**STATED, "site_id": site_id, "activities": ["hold"], "total_number": 12, "holder": "Marshlight Trust"}
    made = client.post("/v1/permits", said)
    at = made.headers["Location"]

    kept = with_disclaimer(Permit).model_validate_json(made.content).model_dump(mode="json")
    assert (made.status_code, {**kept, **said}) == (201, kept)
    assert (kept["valid_from"], kept["valid_until"], kept["any_taxon"]) == ("2025-03-01", None, False)
    assert client.get(at).content == made.content
    changed = client.patch(at, {"withdrawn_on": "2026-02-01", "valid_until": "2026-12-31"}, If_Match='"1"')
    assert (changed.status_code, changed.json()["withdrawn_on"]) == (200, "2026-02-01")
    assert client.patch(at, {"note": "n"}, If_Match='"1"').status_code == 412
    assert client.post(f"{at}/end", {"reason": "entered twice"}).status_code == 200
    assert client.get("/v1/permits").json()["items"] == []


def test_permits_are_found_by_what_stands_on_them(client, site_id):
    client.post("/v1/permits", {**STATED, "site_id": site_id})
    client.post("/v1/permits", {**STATED, "kind": "selling", "authority": "Tern County", "jurisdiction": "XR"})

    def found(**query):
        return sorted(one["kind"] for one in client.get("/v1/permits", params=query).json()["items"])

    assert found() == ["keeping", "selling"]
    assert found(site_id=site_id) == found(kind="keeping") == found(authority="reed  COUNTY") == found(jurisdiction="XR-LOW") == ["keeping"]
    assert found(number="rc 2025/17", kind="selling") == ["selling"]
    assert found(number="RC 2025/18") == []


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({"kind": "unheard-of"}, ("/kind", "kind-unknown")),
        ({"number": " "}, ("/number", "no-text")),
        ({"authority": None}, ("/authority", "not-text")),
        ({"jurisdiction": "xr"}, ("/jurisdiction", "string-pattern-mismatch")),
        ({"issued_on": "2026-03-02"}, ("/issued_on", "in-future")),
        ({"valid_until": "2025-02-28"}, ("/valid_until", "not-together")),
        ({"total_number": 2.0}, ("/total_number", "not-whole-number")),
        ({"any_taxon": "yes"}, ("/any_taxon", "not-true-false")),
        ({"good_until": "2026-03-02"}, ("/good_until", "unknown-field")),
        ({"number_key": "x"}, ("/number_key", "unknown-field")),
    ],
)
def test_a_permit_that_cannot_be_is_refused_by_the_field(client, said, expected):
    answer = client.post("/v1/permits", {**STATED, **said})

    assert (answer.status_code, pointers(answer)) == (422, [expected])


def test_a_number_is_on_record_once(client, permit):
    answer = client.post("/v1/permits", STATED)

    assert (answer.status_code, pointers(answer)) == (409, [("/number", "already-there")])


def test_its_taxa_and_animals_are_put_on_and_taken_off(client, permit, animal):
    taxon = client.post(f"{permit}/taxa", {"taxon_id": str(animal.taxon_id), "number": 3})
    named = client.post(f"{permit}/animals", {"animal_id": str(animal.id)})

    assert with_disclaimer(PermitTaxon).model_validate_json(taxon.content).number == 3
    assert str(with_disclaimer(PermitAnimal).model_validate_json(named.content).permit_id) == permit.rpartition("/")[2]
    assert client.patch(taxon.headers["Location"], {"number": None}, If_Match='"1"').json()["number"] is None
    assert client.patch(named.headers["Location"], {"note": "n"}, If_Match='"1"').status_code == 405
    assert pointers(client.post(f"{permit}/taxa", {"taxon_id": str(animal.taxon_id)})) == [("/taxon_id", "already-there")]
    for made, path in ((taxon, "taxa"), (named, "animals")):
        assert client.get(made.headers["Location"]).status_code == 200
        assert client.post(f"{made.headers['Location']}/end", {"reason": "misread"}).status_code == 200
        assert client.get(f"{permit}/{path}").json()["items"] == []


def test_a_condition_that_recurs_opens_anew_when_it_is_met(client, permit):
    made = client.post(f"{permit}/conditions", {"text": "Send the list of stock.", "every_months": 12, "first_due_on": "2026-01-31"})
    assert with_disclaimer(PermitCondition).model_validate_json(made.content).model_dump(mode="json")["due_on"] == "2026-01-31"

    assert client.patch(made.headers["Location"], {"met_on": "2026-01-20"}, If_Match='"1"').status_code == 200

    opened, met = sorted(client.get(f"{permit}/conditions").json()["items"], key=lambda one: one["met_on"] or "")
    assert (met["met_on"], opened["met_on"], opened["due_on"], opened["follows_id"]) == ("2026-01-20", None, "2027-01-31", met["id"])
    assert pointers(client.post(f"{permit}/conditions", {"text": "x", "every_months": 12})) == [("/first_due_on", "required")]


def test_what_happened_is_kept_with_the_permit(client, permit):
    made = client.post(f"{permit}/events", {"occasion": "owner_change", "happened_on": "2026-02-01", "note": "sold"})

    assert with_disclaimer(PermitEvent).model_validate_json(made.content).occasion == "owner_change"
    assert [one["id"] for one in client.get(f"{permit}/events?occasion=owner_change").json()["items"]] == [made.json()["id"]]
    assert client.get(f"{permit}/events?occasion=escape").json()["items"] == []
    assert pointers(client.post(f"{permit}/events", {"occasion": "party", "happened_on": "2026-02-01"})) == [("/occasion", "not-one-of")]


def test_a_part_is_found_under_its_own_permit_alone(client, permit):
    other = client.post("/v1/permits", {**STATED, "number": "RC 2025/18"}).headers["Location"]
    made = client.post(f"{permit}/conditions", {"text": "Lock the door."}).json()["id"]

    assert client.get(f"{permit}/conditions/{made}").status_code == 200
    assert client.get(f"{other}/conditions/{made}").status_code == 404
    assert client.post(f"{other}/conditions/{made}/end", {"reason": "x"}).status_code == 404


def test_a_scan_of_a_permit_is_attached_to_it(app, client, permit):
    app.state.house.files = MemoryFiles()
    facts = {"title": "Scan of the permit", "subject": "permit", "subject_id": permit.rpartition("/")[2], "role": "scan"}
    made = client.request("POST", "/v1/documents", files={"file": ("permit.pdf", PDF)}, data=facts)

    assert made.status_code == 201, made.text
    found = client.get("/v1/documents", params={"subject": "permit", "subject_id": permit.rpartition("/")[2]}).json()["items"]
    assert [one["id"] for one in found] == [made.json()["id"]]


@pytest.mark.parametrize(("role", "writes"), [("viewer", 403), ("keeper", 403), ("auditor", 403), ("curator", 201), ("registrar", 201)])
def test_permits_are_read_by_all_at_the_site_and_written_by_those_who_answer_for_them(
    app, caller, client, store, site_id, permit, role, writes
):
    app.state.house.passwords = Passwords(CHEAP)
    elsewhere = client.post("/v1/sites", {"name": "Saltings Hall", "zone": "UTC"}).json()["id"]
    other = client.post("/v1/permits", {**STATED, "number": "2", "site_id": elsewhere}).headers["Location"]
    someone = signed_in(caller, person(store, role=Role(role), site_id=site_id))

    assert [one["id"] for one in someone.get("/v1/permits").json()["items"]] == [permit.rpartition("/")[2]]
    assert someone.post("/v1/permits", {**STATED, "number": "3", "site_id": site_id}).status_code == writes
    assert someone.post(f"{permit}/conditions", {"text": "Lock the door."}).status_code == writes
    for answer in (someone.get(other), someone.get(f"{other}/taxa"), someone.post(f"{other}/conditions", {"text": "x"})):
        assert answer.status_code == 403


def test_another_organisation_has_none_to_show(stranger, permit):
    for path in (permit, f"{permit}/taxa", f"{permit}/conditions"):
        assert stranger.get(path).status_code == 404
    assert stranger.get("/v1/permits").json()["items"] == []
