"""Reminders through the door: one list, and what people do about them."""

from __future__ import annotations

from datetime import date
from uuid import UUID

import pytest

from api.bodies.records import with_disclaimer
from api.bodies.reminders import Reminder, ReminderPage
from api.passwords import Passwords
from domain.records.sites import Site
from domain.rules.permissions import Role
from domain.rules.reminders import ReminderKind, ReminderState, Stage
from tests import makers
from tests.api.routes.of_animals import pointers
from tests.people import CHEAP, person, signed_in

SAID = "Not legal advice: local codes, the issuing authority and licensed practice come first."


@pytest.fixture
def kept(store, organisation, site_id):
    """Return reminders by name: two of a site, one of another, and one of the whole organisation."""
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        here, there = unit.fetch(Site, UUID(site_id)), makers.site(unit, name="Elsewhere")
        return {
            "late": makers.reminder(unit, here, due_on=date(2026, 4, 1), stage=Stage.AHEAD, kind=ReminderKind.RETURN),
            "soon": makers.reminder(unit, here, role=Role.TECHNICIAN),
            "there": makers.reminder(unit, there, due_on=date(2026, 3, 5)),
            "whole": makers.reminder(unit, due_on=date(2026, 3, 20), kind=ReminderKind.RENEWAL, state=ReminderState.ACKNOWLEDGED),
        }


@pytest.fixture
def at_site(app, caller, store, site_id):
    """Return a keeper of the site."""
    app.state.house.passwords = Passwords(CHEAP)
    return signed_in(caller, person(store, role=Role.KEEPER, site_id=site_id))


def names(kept, answer):
    by_id = {str(one.id): name for name, one in kept.items()}
    return [by_id[one["id"]] for one in answer.json()["items"]]


def test_the_list_is_in_the_order_of_what_is_due_first(client, kept):
    answer = client.get("/v1/reminders")

    assert names(kept, answer) == ["there", "soon", "whole", "late"]
    assert ReminderPage.model_validate_json(answer.content).disclaimer == SAID
    assert names(kept, client.get("/v1/reminders?sort=id")) == ["late", "soon", "there", "whole"]


def test_it_goes_on_page_by_page_in_that_order(client, kept):
    found, path = [], "/v1/reminders?limit=1"
    while path:
        page = client.get(path)
        found += names(kept, page)
        path = page.links["next"]["url"] if page.json()["next"] else None

    assert found == ["there", "soon", "whole", "late"]


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({"kind": "return"}, ["late"]),
        ({"state": "acknowledged"}, ["whole"]),
        ({"stage": "ahead"}, ["late"]),
        ({"due_by": "2026-03-10"}, ["there", "soon"]),
        ({"due_by": "2026-03-09"}, ["there"]),
        ({"role": "technician"}, ["soon"]),
        ({"due_by": "2026-03-31", "kind": "renewal"}, ["whole"]),
        ({"subject": "equipment"}, []),
    ],
    ids=str,
)
def test_it_is_filtered_by_what_one_looks_for(client, kept, asked, expected):
    assert names(kept, client.get("/v1/reminders", params=asked)) == expected


def test_it_is_filtered_by_site_and_by_what_it_is_about(client, kept, site_id):
    assert names(kept, client.get(f"/v1/reminders?site_id={site_id}")) == ["soon", "late"]
    assert names(kept, client.get(f"/v1/reminders?subject_id={kept['there'].subject_id}")) == ["there"]


@pytest.mark.parametrize(
    ("asked", "code"),
    [("due_by=soon", "invalid-parameter"), ("kind=party", "invalid-parameter"), ("due_on=2026-03-01", "unknown-parameter")],
)
def test_a_filter_that_cannot_be_is_refused_by_its_name(client, asked, code):
    answer = client.get(f"/v1/reminders?{asked}")

    assert (answer.status_code, pointers(answer)) == (422, [(f"/query/{asked.partition('=')[0]}", code)])


def test_a_cursor_of_another_order_or_of_no_day_is_refused(client, kept):
    cursor = client.get("/v1/reminders?limit=1").json()["next"]

    assert client.get(f"/v1/reminders?sort=id&cursor={cursor}").json()["code"] == "cursor-foreign"
    assert client.get("/v1/reminders?cursor=x").json()["code"] == "cursor-malformed"


def test_whoever_is_bound_to_a_site_sees_the_reminders_of_it_alone(at_site, kept):
    assert names(kept, at_site.get("/v1/reminders")) == ["soon", "late"]
    answers = {name: at_site.get(f"/v1/reminders/{one.id}") for name, one in kept.items()}
    assert {name: answer.status_code for name, answer in answers.items()} == {"late": 200, "soon": 200, "there": 403, "whole": 403}
    assert at_site.post(f"/v1/reminders/{kept['there'].id}/acknowledge", {}).json()["code"] == "other-site"
    assert at_site.post(f"/v1/reminders/{kept['soon'].id}/acknowledge", {}).status_code == 200


def test_another_organisations_reminder_is_not_there(stranger, kept):
    for path, body in (("", None), ("/acknowledge", {}), ("/defer", {"until": "2026-03-05", "reason": "x"}), ("/hand", {"role": "keeper"})):
        at = f"/v1/reminders/{kept['soon'].id}{path}"
        answer = stranger.get(at) if body is None else stranger.post(at, body)
        assert (path, answer.status_code) == (path, 404)
    assert stranger.get("/v1/reminders").json()["items"] == []


def test_one_is_read_with_its_version(client, kept):
    answer = client.get(f"/v1/reminders/{kept['soon'].id}")

    shown = with_disclaimer(Reminder).model_validate_json(answer.content)
    assert (shown.due_on, shown.kind, shown.stage, shown.disclaimer) == (date(2026, 3, 10), "inspection", "soon", SAID)
    assert client.get(f"/v1/reminders/{kept['soon'].id}", headers={"If-None-Match": answer.headers["ETag"]}).status_code == 304


def test_it_is_put_off_handed_over_and_acknowledged(client, kept):
    at = f"/v1/reminders/{kept['soon'].id}"

    put_off = client.post(f"{at}/defer", {"until": "2026-03-05", "reason": "the part is on its way"})
    handed = client.post(f"{at}/hand", {"role": "curator"})
    done = client.post(f"{at}/acknowledge", {}, Idempotency_Key="once")

    assert (put_off.status_code, put_off.json()["state"], put_off.json()["deferred_until"]) == (200, "deferred", "2026-03-05")
    assert (handed.json()["role"], handed.json()["state"]) == ("curator", "deferred")
    assert (done.json()["state"], done.json()["reason"], done.headers["ETag"]) == ("acknowledged", None, '"4"')
    assert client.get(at).content == done.content
    assert client.post(f"{at}/acknowledge", {}, Idempotency_Key="once").content == done.content
    assert client.post(f"{at}/acknowledge", {}).json()["code"] == "acknowledged"


@pytest.mark.parametrize(
    ("verb", "body", "expected"),
    [
        ("defer", {"until": "2026-03-01", "reason": "x"}, ("/until", "not-later")),
        ("defer", {"until": "2026-03-05"}, ("/reason", "required")),
        ("defer", {"until": "2026-03-05", "reason": " \n"}, ("/reason", "required")),
        ("defer", {"until": "soon", "reason": "x"}, ("/until", "not-date")),
        ("hand", {"role": "operator"}, ("/role", "not-one-of")),
        ("hand", {}, ("/role", "required")),
        ("acknowledge", {"note": "x"}, ("/note", "unknown-field")),
    ],
)
def test_what_cannot_be_is_refused_by_its_field(client, kept, verb, body, expected):
    answer = client.post(f"/v1/reminders/{kept['soon'].id}/{verb}", body)

    assert (answer.status_code, pointers(answer)) == (422, [expected])


@pytest.mark.parametrize("role", [Role.VIEWER, Role.AUDITOR])
def test_who_only_looks_does_nothing_about_it(app, caller, store, kept, role):
    app.state.house.passwords = Passwords(CHEAP)
    looking = signed_in(caller, person(store, role=role))

    assert len(looking.get("/v1/reminders").json()["items"]) == 4
    assert looking.post(f"/v1/reminders/{kept['soon'].id}/acknowledge", {}).status_code == 403
