"""Competences of staff through the doors: who sees and writes them, and that reading them is written down."""

from __future__ import annotations

import pytest

from api.passwords import Passwords
from domain.rules.permissions import Role
from tests import makers
from tests.people import CHEAP, person, signed_in

STATED = {
    "title": "Venomous snakes",
    "hazard": "venomous",
    "from_on": "2025-06-01",
    "expires_on": "2027-05-31",
    "assessed_by": "B. Assessor",
}


@pytest.fixture
def member(client, site_id):
    return client.post("/v1/staff", {"name": "A. Keeper", "role": "keeper", "site_id": site_id}).json()["id"]


def test_a_competence_is_put_on_record_corrected_and_ended(client, member):
    here = f"/v1/staff/{member}/competences"
    made = client.post(here, STATED)

    assert made.status_code == 201
    kept = made.json()
    assert {**kept, **STATED} == kept
    assert kept["staff_id"] == member
    assert client.get(here, params={"hazard": "venomous"}).json()["items"] == [kept]
    assert client.get(here, params={"hazard": "dangerous"}).json()["items"] == []
    assert client.get(f"{here}/{kept['id']}").json() == kept
    changed = client.patch(f"{here}/{kept['id']}", {"expires_on": "2026-01-31"}, If_Match='"1"')
    assert (changed.status_code, changed.json()["expires_on"]) == (200, "2026-01-31")
    assert client.post(f"{here}/{kept['id']}/end", {"reason": "another person's"}).status_code == 200
    assert client.get(here).json()["items"] == []


@pytest.mark.parametrize(
    ("stated", "pointer"),
    [({"expires_on": "2025-05-31"}, "/expires_on"), ({"from_on": "2026-03-02"}, "/from_on"), ({"title": " "}, "/title")],
)
def test_a_competence_that_cannot_be_is_refused_by_the_field(client, member, stated, pointer):
    answer = client.post(f"/v1/staff/{member}/competences", {**STATED, "expires_on": None, **stated})

    assert (answer.status_code, [one["pointer"] for one in answer.json()["errors"]]) == (422, [pointer])


def test_a_competence_is_another_persons_under_no_name_but_its_own(client, member, site_id):
    other = client.post("/v1/staff", {"name": "C. Keeper", "role": "keeper", "site_id": site_id}).json()["id"]
    kept = client.post(f"/v1/staff/{member}/competences", STATED).json()

    assert client.get(f"/v1/staff/{other}/competences").json()["items"] == []
    assert client.get(f"/v1/staff/{other}/competences/{kept['id']}").status_code == 404


def test_another_organisations_staff_has_none_to_show(stranger, member):
    assert stranger.get(f"/v1/staff/{member}/competences").status_code == 404


@pytest.mark.parametrize(
    ("role", "reads", "writes"),
    [
        ("viewer", 403, 403),
        ("keeper", 403, 403),
        ("veterinarian", 403, 403),
        ("auditor", 200, 403),
        ("curator", 200, 201),
        ("registrar", 200, 201),
    ],
)
def test_competences_are_read_and_written_by_those_who_answer_for_staff(app, caller, client, store, member, site_id, role, reads, writes):
    app.state.house.passwords = Passwords(CHEAP)
    elsewhere = client.post("/v1/sites", {"name": "Saltings Hall", "zone": "UTC"}).json()["id"]
    other = client.post("/v1/staff", {"name": "C. Keeper", "role": "keeper", "site_id": elsewhere}).json()["id"]
    someone = signed_in(caller, person(store, role=Role(role), site_id=site_id))

    assert someone.get(f"/v1/staff/{member}/competences").status_code == reads
    assert someone.post(f"/v1/staff/{member}/competences", STATED).status_code == writes
    for answer in (someone.get(f"/v1/staff/{other}/competences"), someone.post(f"/v1/staff/{other}/competences", STATED)):
        assert answer.status_code == 403


def test_who_reads_competences_is_written_down(client, member, store):
    client.get(f"/v1/staff/{member}/competences")

    with store.snapshot(makers.origin()) as unit:
        unit.cursor.execute("SELECT action FROM reading_log WHERE action = 'list_competences'", {})
        assert len(unit.cursor.fetchall()) == 1
