"""Marks through the door: codes as they are entered, found and corrected."""

from __future__ import annotations

import pytest

from api.bodies.marks import Mark, MarkPage
from tests import people
from tests.api.routes.of_animals import pointers, two_animals

CHIP = "985112003456789"


@pytest.fixture
def marks(store, organisation):
    """Return the paths of the marks of two animals at two sites."""
    return [f"{path}/marks" for path in two_animals(store, organisation)[0]]


def stated(**rest):
    return {"kind": "transponder", "code": "985 1120 0345 6789", "reading": "scanner", "from_on": "2025-06-01", **rest}


def test_a_mark_is_recorded_read_corrected_and_ended(client, marks):
    made = client.post(marks[0], stated(is_primary=True, body_site="left thigh"))
    at = made.headers["Location"]

    assert (made.status_code, at) == (201, f"{marks[0]}/{made.json()['id']}")
    assert Mark.model_validate_json(made.content).code == CHIP
    assert client.get(at).content == made.content
    assert {"code_again", "code_key", "live_key"} & made.json().keys() == set()
    changed = client.patch(at, {"body_site": "left shoulder"}, If_Match='"1"')
    assert (changed.status_code, changed.json()["body_site"], changed.headers["ETag"]) == (200, "left shoulder", '"2"')
    assert client.patch(at, {"note": "n"}, If_Match='"1"').status_code == 412
    ended = client.post(f"{at}/end", {"reason": "another animal's"})
    assert (ended.status_code, ended.json()["ended_on"]) == (200, "2026-03-01")
    assert client.patch(at, {"note": "n"}, If_Match='"3"').json()["code"] == "ended"


def test_a_code_is_typed_twice_and_the_second_typing_is_not_kept(client, marks):
    assert pointers(client.post(marks[0], stated(reading=None))) == [("/code_again", "required")]
    assert pointers(client.post(marks[0], stated(reading=None, code_again="985112003456788"))) == [("/code_again", "codes-differ")]
    made = client.post(marks[0], stated(reading=None, code_again=CHIP))

    assert made.status_code == 201
    assert (made.json()["reading"], "code_again" in made.json()) == ("typed_twice", False)


@pytest.mark.parametrize("code", ["9851120O3456789", "98511200345678", "985999999999999"])
def test_what_is_no_code_is_named(client, marks, code):
    answer = client.post(marks[0], stated(code=code))

    assert (answer.status_code, [pointer for pointer, _ in pointers(answer)]) == (422, ["/code"])


def test_a_code_that_another_animal_bears_is_a_conflict_that_names_it(client, marks):
    assert client.post(marks[0], stated()).status_code == 201
    answer = client.post(marks[1], stated())

    assert (answer.status_code, answer.json()["code"], pointers(answer)) == (409, "mark-taken", [("/code", "mark-taken")])
    assert "T-1" in answer.json()["detail"]


def test_a_keeper_of_another_site_is_told_that_it_is_taken_and_not_by_whom(store, organisation, client, caller):
    (here, there), (own_site, _) = two_animals(store, organisation)
    client.post(f"{there}/marks", stated())
    bound = caller(people.key(store, scopes=["records.read", "records.write"], site_ids=[own_site]))

    answer = bound.post(f"{here}/marks", stated())
    assert (answer.status_code, answer.json()["code"]) == (409, "mark-taken")
    assert "T-2" not in answer.text
    assert bound.get("/v1/marks?code=985112003456789").json()["items"] == []
    assert bound.post(f"{there}/marks", stated(kind="other", code=None, reading=None)).json()["code"] == "other-site"


@pytest.mark.parametrize("code", [CHIP, "985+1120+0345+6789", "985%20112003456789"])
def test_a_code_finds_its_bearers_living_and_dead(client, marks, code):
    animal = marks[0].removesuffix("/marks")
    client.post(marks[0], stated())
    client.post(f"{animal}/events", {"kind": "died", "happened_on": "2025-10-01"})
    client.post(marks[1], stated())
    client.post(marks[1], stated(kind="scute_notch", code="R1", scheme="marginals", reading=None))

    found = MarkPage.model_validate_json(client.get(f"/v1/marks?code={code}").content).items
    assert {(str(one.animal_id), str(one.until_on)) for one in found} == {
        (animal.removeprefix("/v1/animals/"), "2025-10-01"),
        (marks[1].split("/")[3], "None"),
    }


def test_a_list_holds_the_animals_own_marks_by_kind_and_day(client, marks):
    client.post(marks[0], stated(until_on="2025-08-01", until_reason="came out"))
    client.post(marks[0], stated(kind="photograph", code=None, reading=None, view="plastron", scale_mm=50))
    client.post(marks[1], stated())

    def kinds(query):
        return sorted(one["kind"] for one in client.get(f"{marks[0]}{query}").json()["items"])

    assert kinds("") == ["photograph", "transponder"]
    assert kinds("?kind=photograph") == ["photograph"]
    assert kinds("?as_of=2025-08-01") == ["photograph", "transponder"]
    assert kinds("?as_of=2025-08-02") == ["photograph"]
    assert kinds("?as_of=2025-05-31") == []


def test_a_mark_is_found_below_its_animal_only(client, marks, stranger):
    made = client.post(marks[0], stated()).json()["id"]

    assert client.get(f"{marks[1]}/{made}").status_code == 404
    assert client.patch(f"{marks[1]}/{made}", {"note": "n"}, If_Match='"1"').status_code == 404
    assert client.post(f"{marks[1]}/{made}/end", {"reason": "x"}).status_code == 404
    assert stranger.get(f"{marks[0]}/{made}").status_code == 404
    assert stranger.get(marks[0]).status_code == 404
    assert stranger.get(f"/v1/marks?code={CHIP}").json() == {"items": [], "next": None}


@pytest.mark.parametrize("code", ["%E2%80%AE985", "", "%00"])
def test_a_code_that_cannot_be_asked_for_is_named(client, code):
    answer = client.get(f"/v1/marks?code={code}")

    assert (answer.status_code, pointers(answer)) == (422, [("/query/code", "invalid-parameter")])
