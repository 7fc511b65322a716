"""The counted stock of a small invented collection, with every number worked out by hand."""

from __future__ import annotations

import csv
from collections import Counter
from datetime import date
from io import StringIO
from uuid import UUID, uuid4, uuid5

import pytest

from domain.actions.groups import SplitStated, split_animal
from domain.records.taxa import Taxon
from domain.rules.lives import Grouping, LifeStage
from domain.rules.stock import COLUMNS, IN, OUT
from tests import makers
from tests.api.routes.of_animals import pointers
from tests.people import key

HOSTILE = "=cmd|' /C calc'!A0, \"so\"; <b>x</b>"
PERIOD = {"from_on": "2026-01-01", "until_on": "2026-02-28"}


@pytest.fixture
def house(store, organisation):
    """Register two sites with tortoises, a clutch and toads; return their ids by name.

    Of twelve toads five go to the other site, and of those that stay nine are seen where seven should be. A tortoise moves and dies, of
    twenty eggs six hatch, and one tortoise has no place yet.
    """
    with store.transaction(makers.origin()) as unit:
        reed, salt = makers.site(unit), makers.site(unit, name="Saltings Hall", zone="Europe/London")
        pond, box = makers.enclosure(unit, reed), makers.enclosure(unit, salt, name="Box 1")
        genus = makers.taxon(unit, "Testudo", rank="genus")
        tortoise = makers.taxon(
            unit, "Testudo fictiva", parent_id=str(genus.id), common_name="marsh tortoise", name_authorship="Reed, 1901"
        )
        toad = makers.taxon(unit, "Bombina ficta", common_name=HOSTILE)
        grown = {"life_stage": "adult", "acquired_on": "2025-06-01", "enclosure_id": pond.id}
        first = makers.animal(unit, tortoise, tag="=T-1", sex="female", name="Sedge", locality="Heron Bend, spring 4", **grown)
        second = makers.animal(unit, tortoise, tag="T-2", sex="male", **grown)
        laid = {"came_by": "laid", "acquired_on": "2026-01-05", "life_stage": "egg"}
        clutch = makers.group(unit, tortoise, 20, tag="C-1", enclosure_id=pond.id, **laid)
        toads = makers.group(unit, toad, 12, enclosure_id=pond.id, acquired_on="2025-07-01", life_stage="juvenile")
        makers.animal(unit, tortoise, tag="T-3", acquired_on="2026-02-10")
        split(unit, toads, "2026-01-10", 5, tag="G-2", enclosure_id=box.id)
        makers.move(unit, second, box, "2026-01-20")
        makers.event(unit, toads, "estimated", "2026-02-01", number=9)
        split(unit, clutch, "2026-02-15", 6, tag="H-1", hatched=True, life_stage=LifeStage.NEONATE)
        makers.event(unit, second, "died", "2026-02-20")
    made = {"reed": reed, "salt": salt, "genus": genus, "tortoise": tortoise, "toad": toad, "first": first, "second": second}
    return {name: str(one.id) for name, one in made.items()}


def split(unit, group, on, number, **rest):
    return split_animal(unit, group.id, SplitStated(happened_on=date.fromisoformat(on), number=number, grouping=Grouping.GROUP, **rest))


def asked(client, view="", **query):
    answer = client.get(f"/v1/census{view}", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def in_words(line):
    """Return a line without its ids and its trace."""
    return tuple(line[name] for name in ("scientific_name", "site", "sex", "life_stage", "status", "number", "records", "estimated"))


def account(**numbers):
    """Return an account as an answer shows it; what is not said is none."""
    whole = {**dict.fromkeys(COLUMNS, 0), **numbers}
    return {**whole, "reckoned": whole["closing"], "balances": True}


def accounts(statement):
    """Return the accounts of a statement's lines by species, sex and stage."""
    lines = {tuple(one[name] for name in ("scientific_name", "sex", "life_stage")): one for one in statement["lines"]}
    return {line: {name: one[name] for name in (*COLUMNS, "reckoned", "balances")} for line, one in lines.items()}


def movements(client, *, limit=200, **query):
    """Return all movements of a statement, and how many pages they came on."""
    found, path, pages = [], "/v1/census/movements", 0
    params = {**PERIOD, **query, "limit": limit}
    while path:
        answer = client.get(path, params=params)
        assert answer.status_code == 200, answer.text
        found += answer.json()["items"]
        assert ("Link" in answer.headers) == (answer.json()["next"] is not None)
        path = answer.headers["Link"][1:].partition(">")[0] if "Link" in answer.headers else None
        params, pages = None, pages + 1
    return found, pages


def rows(answer):
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    return list(csv.DictReader(StringIO(answer.content.decode("utf-8-sig"), newline="")))


def as_cells(line):
    """Return the members of a line as the cells of a spreadsheet have them."""
    words = {None: "", True: "yes", False: "no"}
    cells = {name: words[value] if value is None or isinstance(value, bool) else str(value) for name, value in line.items()}
    return {name: f"'{text}" if text[:1] in {"=", "+", "-", "@"} else text for name, text in cells.items()}


def test_the_stock_of_today_is_told_line_by_line(client, house):
    found = asked(client)

    assert (found["as_of"], found["site_id"], found["taxon_id"]) == ("2026-03-01", None, None)
    assert [in_words(line) for line in found["lines"]] == [
        ("Bombina ficta", "Reedmere House", "unknown", "juvenile", "present", 9, 1, 9),
        ("Bombina ficta", "Saltings Hall", "unknown", "juvenile", "present", 5, 1, 0),
        ("Testudo fictiva", "Reedmere House", "female", "adult", "present", 1, 1, 0),
        ("Testudo fictiva", "Reedmere House", "unknown", "egg", "present", 14, 1, 0),
        ("Testudo fictiva", "Reedmere House", "unknown", "neonate", "present", 6, 1, 0),
        ("Testudo fictiva", None, "unknown", "unknown", "present", 1, 1, 0),
    ]
    assert found["totals"] == {"animals": 22, "eggs": 14, "estimated": 9, "records": 6}
    assert [line["common_name"] for line in found["lines"][1:3]] == [HOSTILE, "marsh tortoise"]


def test_a_past_day_is_counted_as_it_was(client, house):
    found = asked(client, as_of="2026-01-15")

    assert [in_words(line)[:4] + in_words(line)[5:] for line in found["lines"]] == [
        ("Bombina ficta", "Reedmere House", "unknown", "juvenile", 7, 1, 0),
        ("Bombina ficta", "Saltings Hall", "unknown", "juvenile", 5, 1, 0),
        ("Testudo fictiva", "Reedmere House", "female", "adult", 1, 1, 0),
        ("Testudo fictiva", "Reedmere House", "male", "adult", 1, 1, 0),
        ("Testudo fictiva", "Reedmere House", "unknown", "egg", 20, 1, 0),
    ]
    assert asked(client, as_of="2025-05-31")["lines"] == []


def test_what_happens_later_leaves_a_past_day_as_it_was(client, house):
    views = (
        "/v1/census?as_of=2026-01-15",
        "/v1/census/specimens?as_of=2026-01-15",
        "/v1/census/statement?from_on=2025-12-01&until_on=2026-01-15",
    )
    before = [client.get(view).content for view in views]

    told = {"kind": "died", "happened_on": "2026-02-25"}
    assert client.post(f"/v1/animals/{house['first']}/events", told).status_code == 201

    assert [client.get(view).content for view in views] == before
    assert asked(client)["totals"]["animals"] == 21


def test_a_census_is_of_one_site_or_of_a_taxon_with_what_lies_in_it(client, house):
    at_salt = asked(client, site_id=house["salt"], as_of="2026-02-19")
    of_genus = asked(client, taxon_id=house["genus"])

    assert [in_words(line)[:6] for line in at_salt["lines"]] == [
        ("Bombina ficta", "Saltings Hall", "unknown", "juvenile", "present", 5),
        ("Testudo fictiva", "Saltings Hall", "male", "adult", "present", 1),
    ]
    assert at_salt["site_id"] == house["salt"]
    assert {line["scientific_name"] for line in of_genus["lines"]} == {"Testudo fictiva"}
    assert of_genus["totals"] == {"animals": 8, "eggs": 14, "estimated": 0, "records": 4}


def test_the_trace_of_each_line_leads_to_the_records_behind_it(client, house):
    for as_of in ("2026-01-15", "2026-02-19", "2026-03-01"):
        for line in asked(client, as_of=as_of)["lines"]:
            behind = [one for one in client.get(line["trace"]).json()["items"] if line["site_id"] or one["enclosure_id"] is None]
            assert (len(behind), sum(one["count"] for one in behind)) == (line["records"], line["number"]), line["trace"]


def test_the_trace_of_a_line_leads_to_those_of_its_status_alone(client, store, house):
    with store.transaction(makers.origin()) as unit:
        place = client.get(f"/v1/animals/{house['first']}").json()["enclosure_id"]
        stated = {"tag": "T-4", "sex": "female", "life_stage": "adult", "acquired_on": "2026-01-01", "enclosure_id": place}
        makers.animal(unit, unit.fetch(Taxon, UUID(house["tortoise"])), **stated)
    client.post(f"/v1/animals/{house['first']}/events", {"kind": "sent_away", "happened_on": "2026-02-27"})

    lines = [one for one in asked(client, as_of="2026-02-27")["lines"] if one["sex"] == "female"]
    behind = [[one["tag"] for one in client.get(line["trace"]).json()["items"]] for line in lines]
    assert [(line["site"], line["status"]) for line in lines] == [("Reedmere House", "present"), ("Reedmere House", "away")]
    assert behind == [["T-4"], ["=T-1"]]


def test_a_statement_whose_counts_do_not_agree_says_so(client, store, house):
    with store.transaction(makers.origin()) as unit:
        makers.behind(unit, "UPDATE animal_event SET change = 0 WHERE kind = 'died'")

    found = asked(client, "/statement", **PERIOD)
    assert found["balances"] is False
    assert [(one["sex"], one["reckoned"], one["closing"]) for one in found["lines"] if not one["balances"]] == [("male", 1, 0)]


def test_the_statement_of_the_whole_organisation_tells_no_sites_apart(client, house):
    found = asked(client, "/statement", **PERIOD)

    assert accounts(found) == {
        ("Bombina ficta", "unknown", "juvenile"): account(opening=12, changed_in=5, changed_out=5, counted_more=2, closing=14),
        ("Testudo fictiva", "female", "adult"): account(opening=1, closing=1),
        ("Testudo fictiva", "male", "adult"): account(opening=1, deaths=1),
        ("Testudo fictiva", "unknown", "egg"): account(births=20, hatched_out=6, closing=14),
        ("Testudo fictiva", "unknown", "neonate"): account(births=6, closing=6),
        ("Testudo fictiva", "unknown", "unknown"): account(arrivals=1, closing=1),
    }
    assert {line["site_id"] for line in found["lines"]} == {None}
    assert found["balances"] is True
    assert found["total"] == {
        "animals": account(opening=14, births=6, arrivals=1, changed_in=5, counted_more=2, deaths=1, changed_out=5, closing=22),
        "eggs": account(births=20, hatched_out=6, closing=14),
    }
    assert [(one["scientific_name"], one["animals"]["closing"], one["eggs"]["closing"]) for one in found["taxa"]] == [
        ("Bombina ficta", 14, 0),
        ("Testudo fictiva", 8, 14),
    ]


def test_the_statements_of_the_sites_tell_who_moved(client, house):
    reed, salt = (asked(client, "/statement", **PERIOD, site_id=house[name]) for name in ("reed", "salt"))

    assert accounts(reed) == {
        ("Bombina ficta", "unknown", "juvenile"): account(opening=12, changed_out=5, counted_more=2, closing=9),
        ("Testudo fictiva", "female", "adult"): account(opening=1, closing=1),
        ("Testudo fictiva", "male", "adult"): account(opening=1, moved_out=1),
        ("Testudo fictiva", "unknown", "egg"): account(births=20, hatched_out=6, closing=14),
        ("Testudo fictiva", "unknown", "neonate"): account(births=6, closing=6),
    }
    assert accounts(salt) == {
        ("Bombina ficta", "unknown", "juvenile"): account(changed_in=5, closing=5),
        ("Testudo fictiva", "male", "adult"): account(moved_in=1, deaths=1),
    }
    assert {line["site"] for line in salt["lines"]} == {"Saltings Hall"}


def test_closing_is_what_the_census_of_the_last_day_counts(client, house):
    for query in ({}, {"site_id": house["reed"]}, {"taxon_id": house["toad"]}):
        closing = asked(client, "/statement", **PERIOD, **query)["total"]
        counted = asked(client, as_of=PERIOD["until_on"], **query)["totals"]
        assert (closing["animals"]["closing"], closing["eggs"]["closing"]) == (counted["animals"], counted["eggs"])


@pytest.mark.parametrize("query", [{}, {"site_id": "reed"}, {"site_id": "salt"}, {"taxon_id": "genus"}])
@pytest.mark.parametrize("limit", [1, 2, 200])
def test_the_movements_of_all_pages_add_up_to_the_statement(client, house, query, limit):
    query = {name: house[value] for name, value in query.items()}
    found, pages = movements(client, limit=limit, **query)

    said = Counter()
    for line in asked(client, "/statement", **PERIOD, **query)["lines"]:
        said.update({(*_line(line), name): line[name] for name in (*IN, *OUT) if line[name]})
    summed = Counter()
    for one in found:
        summed.update({(*_line(entry), entry["column"]): one["number"] for entry in one["entries"]})
    assert summed == said
    assert len(found) >= 3
    assert pages == -(-len(found) // limit)
    assert [one["on"] for one in found] == sorted(one["on"] for one in found)


def _line(shown):
    return tuple(shown[name] for name in ("site_id", "taxon_id", "sex", "life_stage"))


def test_a_movement_says_which_animal_how_many_by_what_and_where_it_is_on_record(client, house):
    found, _ = movements(client, site_id=house["reed"], taxon_id=house["tortoise"])

    moved = next(one for one in found if one["kind"] == "came")
    assert (moved["animal_id"], moved["tag"], moved["on"], moved["number"], moved["event_kind"]) == (
        house["second"],
        "T-2",
        "2026-01-20",
        1,
        None,
    )
    assert [(one["site"], one["column"], one["sex"]) for one in moved["entries"]] == [("Reedmere House", "moved_out", "male")]
    assert [(one["event_kind"], one["number"]) for one in found if one["kind"] == "event"] == [
        ("laid", 20),
        ("hatched_out", 6),
        ("hatched", 6),
    ]
    for one in movements(client, site_id=house["salt"])[0]:
        shown = client.get(one["trace"]).json()
        assert (shown["id"], shown["animal_id"]) == (one["id"], one["animal_id"]), one["trace"]


def test_what_sex_and_stage_turned_into_is_traced_to_the_state_since(client, house):
    client.post(f"/v1/animals/{house['first']}/events", {"kind": "sexed", "sex": "male", "happened_on": "2026-02-03"})

    [turned] = [one for one in movements(client)[0] if one["kind"] == "turned"]
    [state] = client.get(turned["trace"]).json()["items"]
    assert [(one["sex"], one["column"]) for one in turned["entries"]] == [("female", "changed_out"), ("male", "changed_in")]
    assert (state["id"], state["sex"], state["from_on"]) == (turned["id"], "male", "2026-02-03")


def test_the_trace_of_a_statements_line_leads_to_its_movements(client, house):
    line = next(one for one in asked(client, "/statement", **PERIOD, site_id=house["salt"])["lines"] if one["moved_in"])

    found = client.get(line["trace"]).json()["items"]
    assert [(one["tag"], one["entries"][0]["column"]) for one in found] == [("T-2", "moved_in"), ("T-2", "deaths")]


def test_records_are_told_in_the_terms_of_darwin_core(client, house):
    found = asked(client, "/specimens")

    first = found["items"][0]
    assert first == {
        "occurrenceID": f"urn:uuid:{uuid5(UUID(house['first']), '2026-03-01')}",
        "basisOfRecord": "LivingSpecimen",
        "occurrenceStatus": "present",
        "eventDate": "2026-03-01",
        "institutionCode": "Marshlight Trust",
        "catalogNumber": "=T-1",
        "organismID": f"urn:uuid:{house['first']}",
        "organismName": "Sedge",
        "scientificName": "Testudo fictiva",
        "scientificNameAuthorship": "Reed, 1901",
        "taxonRank": "species",
        "vernacularName": "marsh tortoise",
        "individualCount": 1,
        "sex": "female",
        "lifeStage": "adult",
        "degreeOfEstablishment": "captive",
        "locationID": f"urn:uuid:{house['reed']}",
        "locality": "Reedmere House",
    }
    assert [(one["catalogNumber"], one["individualCount"]) for one in found["items"]] == [
        ("=T-1", 1), ("C-1", 14), ("G-1", 9), ("T-3", 1), ("G-2", 5), ("H-1", 6)
    ]  # fmt: skip
    assert (found["as_of"], found["next"]) == ("2026-03-01", None)
    assert "Heron Bend" not in str(found)


def test_a_missing_animal_is_in_no_place_and_not_said_to_be_captive(client, house):
    client.post(f"/v1/animals/{house['first']}/events", {"kind": "escaped", "happened_on": "2026-02-03"})

    first = asked(client, "/specimens")["items"][0]
    assert [first[name] for name in ("degreeOfEstablishment", "locationID", "locality")] == [None, None, None]
    assert ("Testudo fictiva", None, "female", "adult", "missing", 1, 1, 0) in [in_words(line) for line in asked(client)["lines"]]


def test_pages_of_records_are_of_the_day_of_the_first(app, caller, house, client):
    whole = asked(client, "/specimens")["items"]

    found, query = [], {"limit": 4}
    while query:
        page = asked(client, "/specimens", **query)
        found += page["items"]
        query = page["next"] and {"limit": 4, "cursor": page["next"]}
        app.state.house.clock = lambda: makers.NOON.replace(day=2)
    assert found == whole
    assert asked(client, "/specimens")["as_of"] == "2026-03-02"


def test_csv_holds_what_json_holds_and_runs_nothing(client, house):
    census = rows(client.get("/v1/census?form=csv"))
    statement = rows(client.get("/v1/census/statement", params={**PERIOD, "form": "csv", "site_id": house["reed"]}))
    specimens = rows(client.get("/v1/census/specimens?form=csv"))

    assert census == [{"as_of": "2026-03-01", **as_cells(line)} for line in asked(client)["lines"]]
    assert statement == [{**PERIOD, **as_cells(line)} for line in asked(client, "/statement", **PERIOD, site_id=house["reed"])["lines"]]
    assert specimens == [as_cells(one) for one in asked(client, "/specimens")["items"]]
    assert {row["common_name"] for row in census} == {f"'{HOSTILE}", "marsh tortoise"}
    assert specimens[0]["catalogNumber"] == "'=T-1"


def test_a_line_break_that_got_into_a_name_stays_in_its_cell(client, store, house):
    with store.transaction(makers.origin()) as unit:
        makers.behind(unit, "UPDATE taxon SET common_name = '=1+1\r\nA \"quoted\", line' WHERE scientific_name = 'Bombina ficta'")

    found = rows(client.get("/v1/census?form=csv"))
    assert [row["common_name"] for row in found[:2]] == ['\'=1+1\r\nA "quoted", line'] * 2
    assert len(found) == 6
    assert asked(client)["lines"][0]["common_name"] == '=1+1\r\nA "quoted", line'


def test_csv_of_records_goes_on_page_by_page(client, house):
    first = client.get("/v1/census/specimens?form=csv&limit=4")
    second = client.get(first.headers["Link"][1:].partition(">")[0])

    assert [row["catalogNumber"] for row in (*rows(first), *rows(second))] == ["'=T-1", "C-1", "G-1", "T-3", "G-2", "H-1"]
    assert "Link" not in second.headers


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("?as_of=2026-03-02", [("/query/as_of", "in-future")]),
        ("?as_of=1.3.2026", [("/query/as_of", "invalid-parameter")]),
        ("?form=pdf", [("/query/form", "invalid-parameter")]),
        ("?limit=5", [("/query/limit", "unknown-parameter")]),
        ("?taxon_id=019ca945-0a00-7303-9a41-d18b21ab2c01", [("/query/taxon_id", "reference-unknown")]),
        ("/statement", [("/query/from_on", "required"), ("/query/until_on", "required")]),
        ("/statement?from_on=2026-01-01", [("/query/until_on", "required")]),
        ("/statement?from_on=2026-02-02&until_on=2026-02-01", [("/query/until_on", "not-together")]),
        ("/statement?from_on=2026-03-01&until_on=2026-03-02", [("/query/until_on", "in-future")]),
        ("/statement?from_on=2016-02-28&until_on=2026-02-28", [("/query/from_on", "period-too-long")]),
        ("/movements?until_on=2026-02-28", [("/query/from_on", "required")]),
        ("/movements?from_on=2026-01-01&until_on=2026-02-28&limit=201", [("/query/limit", "invalid-parameter")]),
        ("/movements?from_on=2026-01-01&until_on=2026-02-28&form=csv", [("/query/form", "unknown-parameter")]),
        ("/specimens?as_of=2026-03-02", [("/query/as_of", "in-future")]),
        ("/specimens?sex=male", [("/query/sex", "unknown-parameter")]),
    ],
)
def test_what_cannot_be_asked_is_refused_by_the_parameter(client, house, path, expected):
    answer = client.get(f"/v1/census{path}")

    assert (answer.status_code, pointers(answer)) == (422, expected)


def test_a_period_of_ten_years_and_of_one_day_are_taken(client, house):
    ten_years = asked(client, "/statement", from_on="2016-03-01", until_on="2026-02-28")
    one_day = asked(client, "/statement", from_on="2026-02-20", until_on="2026-02-20", taxon_id=house["tortoise"])

    assert ten_years["total"]["animals"]["opening"] == 0
    assert ten_years["total"]["animals"]["closing"] == 22
    assert one_day["total"]["animals"] == account(opening=9, deaths=1, closing=8)


@pytest.mark.parametrize("at", [None, "site"])
def test_today_is_the_latest_date_at_the_sites(client, store, organisation, at):
    with store.transaction(makers.origin()) as unit:
        makers.site(unit)
        far = makers.site(unit, name="Far Pools", zone="Pacific/Kiritimati")
    query = {"site_id": str(far.id)} if at else {}

    assert asked(client, **query)["as_of"] == "2026-03-02"
    assert client.get("/v1/census", params={**query, "as_of": "2026-03-03"}).status_code == 422


def test_without_a_site_today_is_that_of_utc(client, organisation):
    assert asked(client) == {
        "as_of": "2026-03-01",
        "site_id": None,
        "taxon_id": None,
        "lines": [],
        "totals": {"animals": 0, "eggs": 0, "estimated": 0, "records": 0},
    }
    assert asked(client, "/statement", **PERIOD)["total"]["animals"] == account()
    assert asked(client, "/specimens")["items"] == movements(client)[0] == []


def test_who_is_bound_to_a_site_sees_that_alone(caller, client, store, house):
    bound = caller(key(store, scopes=["records.read"], site_ids=[house["salt"]]))

    for view, query in (("", {"as_of": "2026-02-19"}), ("/statement", PERIOD), ("/specimens", {}), ("/movements", PERIOD)):
        own, of_site = asked(bound, view, **query), asked(client, view, **query, site_id=house["salt"])
        assert {**own, "site_id": house["salt"]} == {**of_site, "site_id": house["salt"]}
        assert own.get("lines", own.get("items"))
        assert "Reedmere" not in str(own)
        beyond = bound.get(f"/v1/census{view}", params={**query, "site_id": house["reed"]})
        assert (beyond.status_code, beyond.json()["code"]) == (403, "other-site")


def test_who_is_bound_to_two_sites_sees_what_moved_between_them(caller, client, store, house):
    bound = caller(key(store, scopes=["records.read"], site_ids=[house["salt"], house["reed"]]))

    found = asked(bound, "/statement", **PERIOD)
    moved = [(one["site"], one["moved_in"], one["moved_out"]) for one in found["lines"] if one["sex"] == "male"]
    assert moved == [("Reedmere House", 0, 1), ("Saltings Hall", 1, 0)]
    assert found["balances"] is True
    assert found["total"]["animals"]["closing"] == 21
    assert [one["catalogNumber"] for one in asked(bound, "/specimens")["items"]] == ["=T-1", "C-1", "G-1", "G-2", "H-1"]


def test_an_unknown_site_or_taxon_and_another_organisations_are_the_same(client, stranger, house):
    for view, query in (("", {}), ("/statement", PERIOD), ("/movements", PERIOD), ("/specimens", {})):
        foreign, unknown = (stranger.get(f"/v1/census{view}", params={**query, "site_id": one}) for one in (house["reed"], str(uuid4())))
        assert (foreign.status_code, foreign.content) == (404, unknown.content)
        assert not asked(stranger, view, **query).get("lines")
        assert not asked(stranger, view, **query).get("items")
    foreign, unknown = (stranger.get("/v1/census", params={"taxon_id": one}) for one in (house["toad"], str(uuid4())))
    assert (foreign.status_code, foreign.content) == (422, unknown.content)
    assert pointers(foreign) == [("/query/taxon_id", "reference-unknown")]


def test_a_cursor_is_of_its_list_period_and_organisation(client, stranger, house):
    asked_for = {**PERIOD, "limit": 1}
    cursor = {"cursor": asked(client, "/movements", **asked_for)["next"]}

    assert client.get("/v1/census/movements", params={**asked_for, **cursor, "limit": 2}).status_code == 200
    for answer in (
        stranger.get("/v1/census/movements", params={**asked_for, **cursor}),
        client.get("/v1/census/movements", params={**asked_for, **cursor, "from_on": "2026-01-02"}),
    ):
        assert (answer.status_code, answer.json()["code"]) == (400, "cursor-foreign")
    for view in ("/specimens", "/movements"):
        answer = client.get(f"/v1/census{view}", params={**(PERIOD if view == "/movements" else {}), "cursor": "bnVsbA"})
        assert (answer.status_code, answer.json()["code"]) == (400, "cursor-malformed")


def test_animals_are_listed_by_the_site_of_the_day(client, house):
    def tags(**query):
        return [one["tag"] for one in client.get("/v1/animals", params=query).json()["items"]]

    assert tags(site_id=house["salt"]) == ["G-2"]
    assert tags(site_id=house["salt"], as_of="2026-02-19") == ["T-2", "G-2"]
    assert tags(site_id=house["reed"], as_of="2026-01-19", sex="male") == ["T-2"]
