"""One's own calendars, and what is found at their addresses."""

from __future__ import annotations

from datetime import date
from uuid import UUID

import pytest
import vobject

from api.bodies.calendars import CalendarFeed, MadeCalendarFeed
from api.limits import Kind, Limits
from api.passwords import Passwords
from domain.actions.accounts import end_account, register_grant
from domain.actions.recording import Ending
from domain.actions.reminders import remind_at
from domain.actions.staff import change_staff
from domain.records.accounts import RoleGrantStated
from domain.records.sites import Site
from domain.rules.permissions import Role
from domain.rules.reminders import ReminderKind, ReminderState, Stage
from tests import makers
from tests.api.routes.of_animals import pointers
from tests.people import CHEAP, person, signed_in

FEEDS = "/v1/calendar-feeds"
PUT_OFF = {"state": ReminderState.DEFERRED, "deferred_until": date(2026, 3, 5), "reason": "x"}


@pytest.fixture(autouse=True)
def cheap(app):
    app.state.house.passwords = Passwords(CHEAP)


@pytest.fixture
def curator(store, organisation):
    """Return a curator of the whole organisation."""
    return person(store, role=Role.CURATOR)


@pytest.fixture
def signed(caller, curator):
    return signed_in(caller, curator)


@pytest.fixture
def nobody(caller, organisation):
    return caller(None)


@pytest.fixture
def elsewhere(store, organisation):
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        return str(makers.site(unit, name="Elsewhere").id)


@pytest.fixture
def kept(store, organisation, site_id, elsewhere):
    """Put reminders on record: two of a site, one of another, one of the whole organisation, one that was noted, and one that is closed."""
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        here, there = unit.fetch(Site, UUID(site_id)), unit.fetch(Site, UUID(elsewhere))
        makers.reminder(unit, here, sentence="here")
        makers.reminder(unit, here, sentence="put off", occurrence="2", **PUT_OFF)
        makers.reminder(unit, there, sentence="there", kind=ReminderKind.DRILL)
        makers.reminder(unit, sentence="whole", kind=ReminderKind.RENEWAL)
        makers.reminder(unit, here, sentence="noted", occurrence="3", state=ReminderState.ACKNOWLEDGED)
        makers.reminder(unit, here, sentence="closed", occurrence="4", stage=Stage.DUE, state=ReminderState.CLOSED)


def made(client, **said):
    answer = client.post(FEEDS, {"name": "What is due", **said})
    assert answer.status_code == 201, answer.text
    return answer.json()


def said_at(client, path):
    """Return the sentences of a calendar, in its order."""
    answer = client.get(path)
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    events = vobject.readOne(answer.text).contents.get("vevent", ())
    return sorted(event.description.value.split("\n")[0] for event in events)


def test_a_calendar_is_made_and_its_address_told_once(signed, curator, site_id):
    said = {"name": "Mine", "site_id": site_id, "kinds": ["renewal", "check"]}
    answer = signed.post(FEEDS, said, Idempotency_Key="once")
    shown = MadeCalendarFeed.model_validate_json(answer.content)

    assert (answer.status_code, shown.staff_id, str(shown.site_id), shown.kinds) == (201, curator.staff_id, site_id, ["renewal", "check"])
    assert shown.path.startswith("/calendar/rbc_")
    assert signed.post(FEEDS, said, Idempotency_Key="once").json() == {**answer.json(), "path": None}
    again = signed.get(answer.headers["Location"])
    assert CalendarFeed.model_validate_json(again.content).name == "Mine"
    assert "path" not in again.json()
    assert "secret" not in again.text + signed.get(FEEDS).text
    assert [one["id"] for one in signed.get(FEEDS).json()["items"]] == [str(shown.id)]


def test_only_a_digest_of_the_address_is_kept(signed, store, organisation):
    token = made(signed)["path"].removeprefix("/calendar/").removesuffix(".ics")

    with store.snapshot(makers.origin(organisation_id=organisation)) as unit:
        for table in ("journal", "calendar_feed", "idempotency"):
            unit.cursor.execute(f"SELECT * FROM {table}", {})  # noqa: S608 - our own names
            assert token not in repr(unit.cursor.fetchall())


def test_it_shows_what_is_not_done_without_any_other_proof(signed, nobody, kept):
    path = made(signed)["path"]

    assert said_at(nobody, path) == ["here", "noted", "put off", "there", "whole"]
    assert said_at(signed, path) == ["here", "noted", "put off", "there", "whole"]


def test_it_is_of_a_site_or_of_some_kinds_where_that_is_said(signed, nobody, kept, site_id):
    assert said_at(nobody, made(signed, site_id=site_id)["path"]) == ["here", "noted", "put off"]
    assert said_at(nobody, made(signed, kinds=["drill", "renewal"])["path"]) == ["there", "whole"]
    assert said_at(nobody, made(signed, kinds=["drill"], site_id=site_id)["path"]) == []


def test_it_shows_what_its_holder_may_see_when_it_is_asked_for(caller, store, organisation, nobody, kept, site_id, elsewhere):
    keeper = person(store, "nils", role=Role.KEEPER, site_id=site_id)
    path = made(signed_in(caller, keeper))["path"]
    assert said_at(nobody, path) == ["here", "noted", "put off"]

    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        register_grant(unit, RoleGrantStated(staff_id=keeper.staff_id, role=Role.VIEWER, site_id=UUID(elsewhere)))
    assert said_at(nobody, path) == ["here", "noted", "put off", "there"]

    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        change_staff(unit, keeper.staff_id, {"site_id": elsewhere}, expected_version=1)
    assert said_at(nobody, path) == ["there"]


def test_a_calendar_of_a_site_that_is_no_longer_reached_is_empty(caller, store, organisation, nobody, kept, site_id, elsewhere):
    keeper = person(store, "nils", role=Role.KEEPER, site_id=site_id)
    path = made(signed_in(caller, keeper), site_id=site_id)["path"]

    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        change_staff(unit, keeper.staff_id, {"site_id": elsewhere}, expected_version=1)

    assert said_at(nobody, path) == []


def test_nobody_makes_one_of_a_site_that_they_do_not_reach(caller, store, site_id, elsewhere):
    keeper = signed_in(caller, person(store, "nils", role=Role.KEEPER, site_id=site_id))

    answer = keeper.post(FEEDS, {"name": "x", "site_id": elsewhere})

    assert (answer.status_code, answer.json()["code"]) == (403, "other-site")


def test_unknown_ended_and_foreign_addresses_answer_alike(signed, nobody, store, caller, curator, stranger):
    live, cut, lost = made(signed)["path"], made(signed)["path"], made(signed)
    assert signed.post(f"{FEEDS}/{lost['id']}/end", {"reason": "lost the telephone"}).status_code == 200
    organisation, secret = live.split("_", 2)[1:]
    foreign = live.replace(organisation, str(makers.OTHER_ORGANISATION))
    unknown = f"/calendar/rbc_{organisation}_{'A' * 43}.ics"
    others = ["/calendar/x.ics", f"/calendar/rbc_0_{secret}", f"/calendar/rbc_{'9' * 19}_{secret}", f"{live[:-5]}.ics", "/calendar/.ics"]
    assert said_at(nobody, live) == []

    answers = [nobody.get(path) for path in (lost["path"], foreign, unknown, *others)]

    assert {answer.status_code for answer in answers} == {404}
    assert {(answer.json()["code"], answer.json()["detail"]) for answer in answers[:-1]} == {("not-found", "There is no such calendar.")}
    with store.transaction(makers.origin()) as unit:
        end_account(unit, curator.account_id, Ending(reason="left"))
    assert nobody.get(cut).status_code == 404


def test_calendars_are_ones_own(signed, caller, store, organisation):
    other = signed_in(caller, person(store, "nils", role=Role.ADMINISTRATOR))
    feed = made(signed)["id"]

    assert other.get(FEEDS).json()["items"] == []
    assert other.get(f"{FEEDS}/{feed}").status_code == 404
    assert other.post(f"{FEEDS}/{feed}/end", {"reason": "x"}).status_code == 404
    assert signed.post(f"{FEEDS}/{feed}/end", {"reason": "x"}).status_code == 200
    assert signed.post(f"{FEEDS}/{feed}/end", {"reason": "x"}).json()["code"] == "ended"
    assert signed.get(FEEDS).json()["items"] == []
    assert len(signed.get(f"{FEEDS}?ended=true").json()["items"]) == 1


def test_no_key_has_a_calendar(client):
    assert client.post(FEEDS, {"name": "x"}).json()["code"] == "people-only"
    assert client.get(FEEDS).json()["code"] == "people-only"


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({"kinds": []}, ("/kinds", "too-short")),
        ({"kinds": ["party"]}, ("/kinds/0", "not-one-of")),
        ({"name": " "}, ("/name", "no-text")),
        ({"staff_id": "x"}, ("/staff_id", "unknown-field")),
        ({"site_id": "019ca945-0a00-7303-9a41-d18b21ab2c01"}, ("/site_id", "reference-unknown")),
    ],
)
def test_what_cannot_be_is_refused_by_its_field(signed, said, expected):
    answer = signed.post(FEEDS, {"name": "x", **said})

    assert (answer.status_code, pointers(answer)) == (422, [expected])


def test_an_unchanged_calendar_is_not_sent_again(signed, nobody, kept, store, organisation, site_id):
    path = made(signed)["path"]
    first = nobody.get(path)

    again = nobody.get(path, headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        remind_at(unit, unit.fetch(Site, UUID(site_id)))
    assert nobody.get(path, headers={"If-None-Match": first.headers["ETag"]}).status_code == 200


def test_whoever_asks_too_often_has_to_wait(signed, nobody, app):
    path = made(signed)["path"]
    app.state.house.limits = Limits({Kind.CREDENTIAL: (2, 3600.0)})

    assert [nobody.get(path).status_code for _ in range(3)] == [200, 200, 429]
