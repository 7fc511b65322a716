"""Taxa and what is said of them, through the doors."""

from __future__ import annotations

import pytest


@pytest.fixture
def genus(client):
    return registered(client, scientific_name="Lampropeltis", rank="genus", hazard="harmless")


@pytest.fixture
def getula(client, genus):
    return registered(client, scientific_name="Lampropeltis getula", rank="species", parent_id=genus)


@pytest.fixture
def splendida(client, genus):
    return registered(client, scientific_name="Lampropeltis splendida", rank="species", parent_id=genus)


def registered(client, **stated) -> str:
    answer = client.post("/v1/taxa", stated)
    assert answer.status_code == 201, answer.text
    return answer.json()["id"]


def names(answer) -> list[str]:
    """Return the names on a page in order; what was registered at one instant comes in no order of its own."""
    assert answer.status_code == 200, answer.text
    return sorted(one["scientific_name"] for one in answer.json()["items"])


def problems(answer) -> list[tuple[str, str]]:
    return [(one["pointer"], one["code"]) for one in answer.json()["errors"]]


def test_taxa_are_found_by_what_they_lie_in_stand_for_and_can_do(client, genus, getula, splendida):
    old = registered(client, scientific_name="Coluber getulus", rank="species", accepted_id=getula)

    assert names(client.get("/v1/taxa", params={"parent_id": genus})) == ["Lampropeltis getula", "Lampropeltis splendida"]
    assert names(client.get("/v1/taxa", params={"accepted_id": getula})) == ["Coluber getulus"]
    assert names(client.get("/v1/taxa", params={"hazard": "harmless"})) == ["Lampropeltis"]
    assert names(client.get("/v1/taxa", params={"hazard": "venomous"})) == []
    assert names(client.get("/v1/taxa", params={"rank": "genus"})) == ["Lampropeltis"]
    assert names(client.get("/v1/taxa", params={"scientific_name": "coluber  GETULUS"})) == ["Coluber getulus"]
    assert client.get(f"/v1/taxa/{old}").json()["accepted_id"] == getula


def test_a_taxon_in_one_of_no_higher_rank_is_refused_by_the_field(client, getula):
    answer = client.post("/v1/taxa", {"scientific_name": "Lampropeltis", "rank": "genus", "parent_id": getula})

    assert (answer.status_code, problems(answer)) == (422, [("/parent_id", "rank-order")])


def test_what_a_name_covers_is_said_and_taken_back(client, getula, splendida):
    here = f"/v1/taxa/{getula}/members"
    answer = client.post(here, {"member_id": splendida, "source": "List of 2022", "from_on": "2022-08-02"})

    assert answer.status_code == 201
    kept = answer.json()
    assert answer.headers["Location"] == f"{here}/{kept['id']}"
    assert (kept["taxon_id"], kept["member_id"], kept["from_on"], kept["note"]) == (getula, splendida, "2022-08-02", "")
    assert client.get(here).json()["items"] == [kept]
    assert client.get(f"{here}/{kept['id']}").json() == kept
    assert client.get(f"/v1/taxa/{splendida}/members/{kept['id']}").status_code == 404
    changed = client.patch(f"{here}/{kept['id']}", {"note": "as read by the authority"}, If_Match='"1"')
    assert (changed.status_code, changed.json()["version"]) == (200, 2)
    assert problems(client.post(here, {"member_id": splendida, "source": "again"})) == [("/member_id", "already-there")]
    assert client.post(f"{here}/{kept['id']}/end", {"reason": "misread"}).json()["end_reason"] == "misread"
    assert client.get(here).json()["items"] == []


TARGET = {"from_on": "2025-01-01", "uvi_low": 2.9, "uvi_high": 7.4, "least_floor_m2": 0.5, "source": "House guide"}


def test_what_animals_need_is_dated_and_a_new_target_takes_over(client, getula):
    here = f"/v1/taxa/{getula}/targets"
    first = client.post(here, {**TARGET, "enclosure_kinds": ["terrarium"]})
    second = client.post(here, {**TARGET, "from_on": "2026-02-01", "life_stage": None, "least_floor_m2": 0.75})

    assert (first.status_code, second.status_code) == (201, 201)
    assert (first.json()["enclosure_kinds"], second.json()["enclosure_kinds"]) == (["terrarium"], None)
    assert "stage_key" not in first.json()
    kept = client.get(here).json()["items"]
    assert sorted((one["from_on"], one["until_on"], one["least_floor_m2"]) for one in kept) == [
        ("2025-01-01", "2026-01-31", 0.5),
        ("2026-02-01", None, 0.75),
    ]
    for day, floor_m2 in (("2024-12-31", []), ("2026-01-31", [0.5]), ("2026-02-01", [0.75])):
        on_day = client.get(here, params={"as_of": day}).json()["items"]
        assert [one["least_floor_m2"] for one in on_day] == floor_m2, day


def test_targets_are_found_by_the_stage_of_life(client, getula):
    here = f"/v1/taxa/{getula}/targets"
    client.post(here, TARGET)
    client.post(here, {**TARGET, "life_stage": "juvenile"})

    found = client.get(here, params={"life_stage": "juvenile"}).json()["items"]
    assert [one["life_stage"] for one in found] == ["juvenile"]


def test_a_target_that_would_hold_beside_another_is_a_conflict(client, getula):
    here = f"/v1/taxa/{getula}/targets"
    first = client.post(here, TARGET).json()

    answer = client.post(here, {**TARGET, "from_on": "2024-06-01"})
    assert (answer.status_code, answer.json()["code"], problems(answer)) == (409, "overlap", [("/from_on", "overlap")])
    assert client.get(f"{here}/{first['id']}").json() == first


def test_a_correction_takes_the_kinds_of_enclosure_as_a_whole(client, getula):
    here = f"/v1/taxa/{getula}/targets"
    made = client.post(here, {**TARGET, "enclosure_kinds": ["terrarium", "pen"]}).json()

    changed = client.patch(f"{here}/{made['id']}", {"enclosure_kinds": ["tub"]}, If_Match='"1"')
    assert (changed.status_code, changed.json()["enclosure_kinds"]) == (200, ["tub"])
    changed = client.patch(f"{here}/{made['id']}", {"enclosure_kinds": None, "uvi_high": 2.0}, If_Match='"2"')
    assert (changed.status_code, problems(changed)) == (422, [("/uvi_high", "not-together")])
    changed = client.patch(f"{here}/{made['id']}", {"enclosure_kinds": None}, If_Match='"2"')
    assert (changed.status_code, changed.json()["enclosure_kinds"]) == (200, None)


def test_a_separation_is_seen_and_mended_with_either_taxon(client, getula, splendida):
    stated = {"other_taxon_id": splendida, "from_on": "2025-01-01", "reason": "eats snakes", "source": "House rule 4"}
    kept = client.post(f"/v1/taxa/{getula}/separations", stated).json()
    other = f"/v1/taxa/{splendida}/separations"

    assert client.get(other).json()["items"] == client.get(f"/v1/taxa/{getula}/separations").json()["items"] == [kept]
    assert client.get(f"{other}/{kept['id']}").json() == kept
    back = {**stated, "other_taxon_id": getula}
    assert problems(client.post(other, back)) == [("/other_taxon_id", "already-there")]
    changed = client.patch(f"{other}/{kept['id']}", {"until_on": "2025-12-31"}, If_Match='"1"')
    assert (changed.status_code, changed.json()["taxon_id"], changed.json()["until_on"]) == (200, getula, "2025-12-31")
    assert client.get(other, params={"as_of": "2025-12-31"}).json()["items"] == [changed.json()]
    assert client.get(other, params={"as_of": "2026-01-01"}).json()["items"] == []
    assert client.post(f"{other}/{kept['id']}/end", {"reason": "misread"}).status_code == 200


def test_separations_of_others_are_not_there(client, genus, getula, splendida):
    stated = {"other_taxon_id": splendida, "from_on": "2025-01-01", "reason": "eats snakes", "source": "House rule 4"}
    kept = client.post(f"/v1/taxa/{getula}/separations", stated).json()

    assert client.get(f"/v1/taxa/{genus}/separations").json()["items"] == []
    assert client.get(f"/v1/taxa/{genus}/separations/{kept['id']}").status_code == 404
    assert client.post(f"/v1/taxa/{genus}/separations/{kept['id']}/end", {"reason": "r"}).status_code == 404


def test_a_page_of_what_is_said_of_a_taxon_goes_on(client, getula):
    here = f"/v1/taxa/{getula}/targets"
    for stage in ("egg", "juvenile", "adult"):
        client.post(here, {**TARGET, "life_stage": stage})

    seen, path = [], f"{here}?limit=2"
    while path:
        page = client.get(path).json()
        seen += [one["life_stage"] for one in page["items"]]
        path = page["next"] and f"{here}?limit=2&cursor={page['next']}"
    assert sorted(seen) == ["adult", "egg", "juvenile"]


@pytest.mark.parametrize("part", ["members", "targets", "separations"])
def test_another_organisations_taxon_has_nothing_to_show(stranger, getula, part):
    assert stranger.get(f"/v1/taxa/{getula}/{part}").status_code == 404


@pytest.mark.parametrize("part", ["members", "targets", "separations"])
def test_a_field_that_there_is_not_is_refused(client, getula, part):
    answer = client.post(f"/v1/taxa/{getula}/{part}", {"stage_key": "any"})

    assert answer.status_code == 422
    assert ("/stage_key", "unknown-field") in problems(answer)
