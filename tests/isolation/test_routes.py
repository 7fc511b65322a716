"""One organisation learns nothing of another by asking, at no route, in no slot, through none of its callers."""

from __future__ import annotations

from itertools import takewhile

from api.app import DOORS
from domain.records.base import metadata
from tests.isolation.probing import callers, marks_in, probe_everything, raw, seen
from tests.isolation.slots import ORGANISATIONS, WITHOUT_IDS, asked, id_places, neighbour, operations, slots
from tests.isolation.world import CANARY, JURISDICTION, A, B, rows_of, serving
from tests.permissions.doors import REQUESTS

OURS_TO_SAY = {
    "access", "action", "activities", "actor", "asked_by", "base_currency", "binding", "cautions", "checks", "code_sha256", "conflict",
    "counts", "credential", "digest", "enclosure_kinds", "field", "file_sha256", "fitness",
    "form", "given_by", "hash", "headers", "holidays", "kind", "media_type", "paper_id",
    "part", "password_hash", "public_id", "received_sha256", "record_hash", "request_id", "request_sha256", "rest_days", "result", "role",
    "run_schedule", "salt", "scopes", "sealed_with", "secret_sha256", "sha256", "shape", "site_ids", "stage_key", "subject", "token_sha256",
    "unsealed_sha256", "zone",
}  # fmt: skip
"""Columns of text that nobody writes freely: words of ours, numbers made at random, digests, ids."""
NEVER_SAID = {
    ("animal_state", "end_reason"): "a state follows from events, and is made anew with them",
    ("approval", "end_reason"): "an approval is used, never ended",
    ("calendar_feed", "kinds"): "words of ours",
    ("document_kind", "content"): "words of ours, and spans",
    ("document_kind", "end_reason"): "a kind of document is corrected, never ended",
    ("import_run", "end_reason"): "an import is never ended",
    ("import_run", "error"): "a sentence of ours",
    ("jurisdiction", "end_reason"): "a jurisdiction is corrected, never ended",
    ("legal_hold", "end_reason"): "two people end a hold",
    ("mark", "warning"): "a sentence of ours",
    ("notification", "obligation_code"): "the code of an obligation",
    ("nightly_run", "end_reason"): "a night is never ended",
    ("reminder", "end_reason"): "a reminder is never ended",
    ("report", "end_reason"): "a report is never ended",
    ("report", "error"): "a sentence of ours",
    ("requirement", "end_reason"): "a requirement is given its last day, and stays",
    ("rule_pack", "end_reason"): "a rule pack stays",
    ("transfer", "party_jurisdiction"): "the code of a jurisdiction",
    ("transfer", "report_after_days"): "numbers",
    ("transfer", "source"): "where it came from as a paper; none of these did",
    ("transfer_paper", "transfer_animal_ids"): "ids",
}
FORGOTTEN = {"import_file": "the file is let go of once the import is over"}


def test_their_every_table_has_rows_and_every_text_of_theirs_is_a_canary(place):
    with place.store() as store:
        rows = rows_of(store, B)
    bare = set()
    for table in metadata.sorted_tables:
        for at, column in enumerate(table.columns):
            texts = [str(row[at]) for row in rows[table.name] if isinstance(row[at], (str, dict, list))]
            if not any(CANARY in text or JURISDICTION in text for text in texts) and _may_be_text(column):
                bare.add((table.name, column.name))

    assert {name for name, found in rows.items() if not found} == set(FORGOTTEN)
    assert {one for one in bare if one[1] not in OURS_TO_SAY and one[0] not in FORGOTTEN} == set(NEVER_SAID)


def _may_be_text(column):
    kind = getattr(column.type, "impl", column.type)
    return type(kind).__name__ in {"String", "AutoString", "Text"} and type(column.type).__name__ != "InstantColumn"


def test_every_route_is_asked_and_every_place_for_an_id_has_an_entry(place):
    with place.store() as store, serving(store) as service:
        description = service.app.openapi()
        every = slots(description)
        known = {operation["operationId"] for _, _, operation in operations(description)}

    asked_at = {slot.operation for slot in every}
    assert {(slot.operation, slot.place, slot.name) for slot in every} == {
        one for one in id_places(description) if one[0] not in ORGANISATIONS
    }
    assert known == asked_at | WITHOUT_IDS | set(ORGANISATIONS) | _lists_without_ids(description)
    assert {door.operation_id for door in DOORS} <= known
    assert len(every) >= 150


def _lists_without_ids(description):
    """Return the lists that take no id but a cursor, which are probed by theirs."""
    return {
        operation["operationId"]
        for method, path, operation in operations(description)
        if method == "GET" and "{" not in path and any(one["name"] == "cursor" for one in operation.get("parameters", ()))
    }


def test_a_field_without_an_entry_is_found(place):
    with place.store() as store, serving(store) as service:
        description = service.app.openapi()
    schema = description["components"]["schemas"]["NewSite"]["properties"]
    schema["keeper_id"] = {"type": "string"}
    schema["near"] = {"anyOf": [{"type": "array", "items": {"type": "string", "format": "uuid"}}, {"type": "null"}]}

    found = id_places(description)

    assert {("register_site", "body", "keeper_id"), ("register_site", "body", "near")} <= found


def test_nothing_is_learned_of_another_organisation_and_nothing_of_it_changes(place):
    world = place.world
    with place.store() as store:
        before = rows_of(store, B)
        with serving(store) as service:
            leaks = probe_everything(service, world)
        after = rows_of(store, B)

    assert [str(leak) for leak in leaks] == []
    assert after == before


def test_every_slot_is_one_that_an_id_of_ours_gets_through(place):
    """Otherwise equal refusals would say nothing: the request might be refused for something else."""
    world = place.world
    refused = {}
    with place.store() as store, serving(store) as service:
        known = callers(service, world.ours)
        by_operation = {operation: number for number, operation in enumerate(REQUESTS)}
        for slot in sorted(slots(service.app.openapi()), key=lambda slot: by_operation[slot.operation]):
            if (slot.place, slot.name) != ("body", "id"):
                value = world.ours.ids[slot.noun]
                answers = (asked(slot, world.ours, value).sent_by(client) for client in known.values())
                said = [*takewhile(_says_absent, answers)]
                if len(said) == len(known):
                    refused[str(slot)] = [answer.text for answer in said]

    assert refused == {}


def _says_absent(answer):
    """Return whether an answer says that there is no such record, whichever it means."""
    return answer.status_code in {401, 404} or "reference-unknown" in answer.text or "unknown-field" in answer.text


def test_what_their_paper_tells_whoever_has_its_number_is_of_nobody_and_the_number_alone_leads_there(place):
    world = place.world
    number = world.theirs.ids["paper"]
    ours = f"{A}{number.removeprefix(str(B))}"
    with place.store() as store, serving(store) as service:
        told = [client.get(f"/v/{number}") for client in callers(service, world.ours).values()]
        answers = [[service.caller(world.ours.key).get(f"/v/{one}"), one] for one in (ours, neighbour(ours), neighbour(number))]

    assert {answer.status_code for answer in told} == {200}
    assert [marks_in(world, _besides(answer), said={number}) for answer in told] == [set()] * len(told)
    assert {answer.status_code for answer, _ in answers} == {404}
    assert len({seen(answer, said)[2] for answer, said in answers}) == 1


def _besides(answer):
    """Return what is said of a paper besides what it may be told by: its digests, and the versions of the rules that it rests on."""
    paper, text = answer.json(), raw(answer)
    for told in (paper["record_hash"], *(one["edition"] for one in paper["rules"]), *(file["sha256"] for file in paper["files"])):
        text = text.replace(f'"{told}"'.encode(), b'""')
    return text


def test_names_that_the_other_organisation_has_are_free(place):
    theirs = place.world.theirs.words
    ours = place.world.ours.ids
    taken = {
        "/v1/sites": {"name": theirs["site.name"], "zone": "UTC"},
        "/v1/enclosures": {"name": theirs["enclosure.name"], "site_id": ours["site"]},
        "/v1/life-support-systems": {"name": theirs["system.name"], "site_id": ours["site"]},
        "/v1/taxa": {"scientific_name": theirs["taxon.scientific_name"], "rank": "species"},
        "/v1/animals": {"tag": theirs["animal.tag"], "taxon_id": ours["taxon"]},
        f"/v1/animals/{ours['animal']}/marks": {
            "kind": "tag",
            "from_on": "2026-02-01",
            "code": theirs["mark.code"],
            "scheme": theirs["mark.scheme"],
        },
        "/v1/equipment-models": {"name": theirs["model.name"], "kind": "uvb-tube"},
        "/v1/equipment": {"tag": theirs["item.tag"], "model_id": ours["model"], "site_id": ours["site"]},
        "/v1/spares": {"shelf": theirs["spare.shelf"], "model_id": ours["model"], "site_id": ours["site"]},
        "/v1/accounts": {"sign_in_name": theirs["account.sign_in_name"], "staff_id": ours["staff"]},
        "/v1/permits": {
            "kind": "keeping",
            "jurisdiction": "XR",
            "authority": theirs["permit.authority"],
            "number": theirs["permit.number"],
            "issued_on": "2026-02-01",
        },
        f"/v1/accounts/{ours['account']}/identities": {
            "issuer": f"https://{theirs['identity.issuer']}.example",
            "subject": theirs["identity.subject"],
        },
    }
    with place.store() as store, serving(store) as service:
        client = service.caller(place.world.ours.key)
        statuses = {path: client.post(path, stated).status_code for path, stated in taken.items()}
        again = {path: client.post(path, stated).status_code for path, stated in taken.items()}

    assert statuses == dict.fromkeys(taken, 201)
    assert again == dict.fromkeys(taken, 409)


def test_a_record_under_an_id_that_is_theirs_as_well_is_ours_alone(place):
    world = place.world
    path = f"/v1/sites/{world.theirs.ids['site']}"
    with place.store() as store, serving(store) as service:
        before = rows_of(store, B)
        ours, theirs = service.caller(world.ours.key), service.caller(world.theirs.key)
        shown = theirs.get(path).content
        made = ours.post("/v1/sites", {"id": world.theirs.ids["site"], "name": "twin", "zone": "UTC"})
        changed = ours.patch(path, {"note": "ours"}, If_Match='"1"')
        ended = ours.post(f"{path}/end", {"reason": "twin"})
        answers = [made, changed, ended, ours.get(path)]
        assert theirs.get(path).content == shown
        after = rows_of(store, B)

    assert [answer.status_code for answer in answers] == [201, 200, 200, 200]
    assert [marks_in(world, raw(answer), said={world.theirs.ids["site"]}) for answer in answers] == [set()] * 4
    assert after == before


def test_a_comparison_sees_what_differs(place):
    """What is taken out before answers are compared hides neither a status nor a header nor a body."""
    world = place.world
    with place.store() as store, serving(store) as service:
        client = service.caller(world.ours.key)
        there, absent = client.get(f"/v1/sites/{world.ours.ids['site']}"), client.get("/v1/sites/none")
        other = client.get(f"/v1/sites/{world.ours.ids['other_site']}")

    assert seen(there, "") != seen(absent, "")
    assert seen(there, world.ours.ids["site"]) != seen(other, world.ours.ids["other_site"])
    assert marks_in(world, b'{"note":"QUOKKA003x"}') == {"quokka003", "quokka003x"}
    assert marks_in(world, world.theirs.ids["site"].encode()) == {world.theirs.ids["site"]}
    assert marks_in(world, raw(there)) == set()


def test_both_organisations_have_as_much(place):
    with place.store() as store:
        counts = [{name: len(found) for name, found in rows_of(store, number).items()} for number in (A, B)]

    assert counts[0] == counts[1]
