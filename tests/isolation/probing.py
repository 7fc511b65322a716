"""Asking as one organisation with the other's ids and with ids of nothing, and comparing what comes back."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tests.isolation.slots import Slot, asked, neighbour, operations, slots
from tests.isolation.world import CANARY, JURISDICTION, SHORTEST_MARK, B, Service, Side, World
from tests.permissions.doors import NEEDED, REQUESTS

CHANGING_HEADERS = frozenset({"x-request-id", "date"})
_ID = re.compile(rb"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_NEW = re.compile(rb'"key":"rbk_[^"]+"|"public_id":"[^"]+"|"code":"[a-z0-9-]{30,}"|"role":"[a-z]+"|fresh \d')
"""What differs between two answers because their requests did, or because it is made at random."""


@dataclass(frozen=True, slots=True)
class Leak:
    """What one organisation could learn of another: by which request, and how."""

    caller: str
    request: str
    how: str

    def __str__(self) -> str:
        return f"{self.caller}: {self.request}: {self.how}"


CALLERS = ("key", "person", "bound key")


def callers(service: Service, side: Side) -> dict[str, Any]:
    """Return a side's callers: a key for everything, a person with every role, and a key that is bound to one site."""
    proofs = {"key": side.key, "person": side.token, "bound key": side.bound_key}
    return {name: service.caller(proof) for name, proof in proofs.items()}


def probe_slots(service: Service, world: World, chosen: Iterable[Slot], by: Sequence[str] = CALLERS) -> Iterator[Leak]:
    """Ask with the other organisation's id, then with one of nothing, in every slot, and yield where the answers differ or show too much.

    What reads comes first, so that what an accepted request leaves among our own records is in no answer.
    """
    known = callers(service, world.ours)
    for slot in sorted(chosen, key=lambda slot: REQUESTS[slot.operation].method != "GET"):
        for name in by:
            theirs = world.theirs.ids[slot.noun]
            both = [(asked(slot, world.ours, one).sent_by(known[name]), one) for one in (theirs, neighbour(theirs))]
            yield from _compared(world, name, str(slot), *both)


def _compared(world: World, caller: str, request: str, theirs: tuple[Any, str], nobodys: tuple[Any, str]) -> Iterator[Leak]:
    answers = [seen(answer, said) for answer, said in (theirs, nobodys)]
    if answers[0] != answers[1]:
        yield Leak(caller, request, f"differs: {_difference(*answers)}")
    if theirs[0].status_code >= 500:
        yield Leak(caller, request, f"fails with {theirs[0].status_code}")
    shown = marks_in(world, raw(theirs[0]), said={theirs[1]})
    if shown:
        yield Leak(caller, request, f"shows {sorted(shown)[:3]}")


def raw(answer: Any) -> bytes:
    """Return everything an answer says: status, headers and body."""
    return b"\n".join([str(answer.status_code).encode(), *(b"%s: %s" % one for one in answer.headers.raw), answer.content])


def seen(answer: Any, said: str) -> tuple[int, Mapping[str, str], bytes]:
    """Return an answer as it can be compared: without what is new with each request, and without what was said."""
    marked = answer.content.replace(said.encode(), b"{said}")
    headers = {key: value.replace(said, "{said}") for key, value in answer.headers.items() if key not in CHANGING_HEADERS}
    if answer.status_code in {201, 202}:
        marked = _NEW.sub(b"{new}", _ID.sub(b"{new}", marked))
        headers = {key: _ID.sub(b"{new}", value.encode()).decode() for key, value in headers.items()}
    return answer.status_code, headers, marked


def marks_in(world: World, text: bytes, *, said: Iterable[str] = ()) -> set[str]:
    """Return what a text shows of the other organisation's."""
    folded = text.decode("utf-8", errors="replace").casefold()
    words = set(re.findall(rf"[\w$=,+/.:-]{{{SHORTEST_MARK},}}", folded)) | {one.decode() for one in _ID.findall(text)}
    found = {mark for mark in words if mark in _folded(world)} | set(re.findall(rf"{CANARY}\d+", folded))
    if JURISDICTION.casefold() in folded:
        found.add(JURISDICTION)
    return found - {one.casefold() for one in said}


def _folded(world: World) -> set[str]:
    if not world.folded:
        world.folded = {mark.casefold() for mark in world.marks}
    return world.folded


ONE_AT_A_TIME = (
    "record_placement",
    "record_parent",
    "record_holding",
    "record_call_name",
    "record_attachment",
    "record_concept_member",
    "record_husbandry_target",
    "record_separation",
    "register_containment",
    "record_permit_taxon",
    "record_permit_animal",
    "record_incident_animal",
    "record_transfer_animal",
    "record_transfer_report",
    "record_premises",
)
"""What there is only one of, on a day or of a kind, before that one is ended."""


def probe_own_numbers(service: Service, world: World, chosen: Iterable[Slot]) -> Iterator[Leak]:
    """Register records under the other organisation's ids and under those of nothing; see ``probe_slots``."""
    client = service.caller(world.ours.key)
    for slot in chosen:
        theirs, answers = world.theirs.ids[slot.noun], []
        # What bears their id may not be ended by a layer that stands alone, so it comes last.
        for number, value in enumerate((neighbour(theirs), theirs)):
            request = _fresh(slot, world.ours, value, number)
            answers.append((request.sent_by(client), value))
            if slot.operation in ONE_AT_A_TIME:
                client.post(f"{request.path}/{value}/end", {"reason": "room for the next"})
        yield from _compared(world, "key", str(slot), *reversed(answers))


def _fresh(slot: Slot, side: Side, value: str, number: int) -> Any:
    """Return a request that registers something that there is not yet, of names of one length."""
    request = asked(slot, side, value)
    texts = {
        name: f"fresh {number}"
        for name in ("tag", "name", "scientific_name", "shelf", "sign_in_name", "number", "reference")
        if name in request.body
    }
    roles = {"role": ("curator", "auditor")[number]} if "role" in request.body and slot.noun != "parentage" else {}
    request.body.update({**texts, **roles})
    return request


def probe_headers(service: Service, world: World, by: Sequence[str] = CALLERS) -> Iterator[Leak]:
    """Ask with what the other organisation's callers say in headers, then with what nobody says; see ``probe_slots``."""
    known = callers(service, world.ours)
    for name, client in ((one, known[one]) for one in by):
        for header, theirs, nobodys in _said_in_headers(world):
            for path in ("/v1/me", f"/v1/sites/{world.ours.ids['site']}", f"/v1/reports/{world.ours.ids['report']}/file"):
                answers = [(client.get(path, headers={header: said}), said) for said in (theirs, nobodys)]
                yield from _compared(world, name, f"{path} {header}", *answers)
        for noun, path in (("site", "sites"), ("item", "equipment"), ("animal", "animals")):
            yield from _probe_versions(world, name, client, path=f"/v1/{path}/", theirs=world.theirs.ids[noun])
        bodies = [{"name": f"{name} {number}", "zone": "UTC"} for number in range(2)]
        said = (world.theirs.idempotency_key, "nobody000x")
        answers = [(client.post("/v1/sites", body, Idempotency_Key=one), one) for body, one in zip(bodies, said, strict=True)]
        yield from _compared(world, name, "/v1/sites Idempotency-Key", *[(_nameless(answer), one) for answer, one in answers])


def _said_in_headers(world: World) -> Iterator[tuple[str, str, str]]:
    theirs = world.theirs
    yield "Reedbed-On-Behalf-Of", theirs.ids["staff"], neighbour(theirs.ids["staff"])
    yield "If-None-Match", theirs.digest, f'"{"0" * (len(theirs.digest) - 2)}"'
    yield "Authorization", *_altered_proofs(theirs.key)
    yield "Authorization", *_altered_proofs(theirs.token)
    ours_said = theirs.token.replace(str(B), str(world.ours.organisation_id))
    yield "Authorization", f"Bearer {ours_said}", f"Bearer {ours_said[:-4]}0000"


def _altered_proofs(proof: str) -> tuple[str, str]:
    """Return a proof with another secret, and one that is nobody's at all, of the same length."""
    kind, public, secret = proof.split("_", 2)
    other = "9" + "0" * (len(public) - 1)
    return f"Bearer {kind}_{public}_{secret[:-4]}0000", f"Bearer {kind}_{other}_{secret[:-4]}0000"


def _probe_versions(world: World, caller: str, client: Any, *, path: str, theirs: str) -> Iterator[Leak]:
    for tag in ('"1"', '"2"', "*"):
        both = [(client.get(path + one, headers={"If-None-Match": tag}), one) for one in (theirs, neighbour(theirs))]
        yield from _compared(world, caller, f"GET {path} If-None-Match {tag}", *both)
        both = [(client.patch(path + one, {"note": "n"}, If_Match=tag), one) for one in (theirs, neighbour(theirs))]
        yield from _compared(world, caller, f"PATCH {path} If-Match {tag}", *both)


class _nameless:  # noqa: N801 - reads as what it does
    """An answer without the name that made its request differ from the one before."""

    def __init__(self, answer: Any) -> None:
        self.status_code, self.headers = answer.status_code, answer.headers
        self.content = re.sub(rb'"name":"[^"]*"', b'"name":""', answer.content)


def probe_cursors(service: Service, world: World, by: Sequence[str] = CALLERS) -> Iterator[Leak]:
    """Ask for the page after the other organisation's record: by its own cursor, and by one of ours that was forged."""
    known, description = callers(service, world.ours), service.app.openapi()
    for name, client in ((one, known[one]) for one in by):
        for path in _lists(description):
            ids = world.ours.ids
            parents = {"equipment_id": ids["item"], "staff_id": ids["person"], "account_id": ids["account"], "taxon_id": ids["taxon"]}
            parents |= {
                "permit_id": ids["permit"],
                "site_id": ids["site"],
                "inspection_id": ids["inspection"],
                "incident_id": ids["incident"],
                "transfer_id": ids["transfer"],
            }
            here, needed = path.format(animal_id=ids["animal"], document_id=ids["document"], **parents), NEEDED.get(path, {})
            theirs = world.theirs.cursors.get(path)
            if theirs is not None:
                both = [(client.get(here, params={**needed, "cursor": one}), one) for one in (theirs, _elsewhere(theirs))]
                yield from _compared(world, name, f"{path} their cursor", *both)
            ours = world.ours.cursors.get(path)
            their_id = world.theirs.ids[_LISTED.get(path, "site")]
            for cursors in [[_after(ours, one) for one in (their_id, neighbour(their_id))]] if ours else []:
                both = [(client.get(here, params={**needed, "cursor": one}), one) for one in cursors]
                yield from _compared(world, name, f"{path} forged cursor", *both)


_LISTED = {"/v1/equipment": "item", "/v1/animals": "animal", "/v1/staff": "staff", "/v1/replacements": "item", "/v1/keys": "key"} | {
    "/v1/census/specimens": "animal",
    "/v1/census/movements": "event",
}


def _lists(description: Mapping[str, Any]) -> list[str]:
    taking = [(method, path, operation) for method, path, operation in operations(description) if path.startswith("/v1/")]
    return [path for _, path, operation in taking if any(one["name"] == "cursor" for one in operation.get("parameters", ()))]


def _read(cursor: str) -> dict[str, Any]:
    return dict(json.loads(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4))))


def _written(cursor: Mapping[str, Any]) -> str:
    return base64.urlsafe_b64encode(json.dumps(cursor, separators=(",", ":")).encode()).rstrip(b"=").decode()


def _elsewhere(cursor: str) -> str:
    return _written({**_read(cursor), "of": "0" * len(_read(cursor)["of"])})


def _after(cursor: str, own_id: str) -> str:
    return _written({**_read(cursor), "id": own_id})


def probe_sign_in(service: Service, world: World) -> Iterator[Leak]:
    """Try to sign in at the other organisation, and at one that there is not, with names of ours and of theirs."""
    client = service.caller(None)
    names = [world.ours.words["account.sign_in_name"], world.theirs.words["account.sign_in_name"], "nobody000x"]
    for name in names:
        for path, more in (("/v1/sessions", {}), ("/v1/passwords", {"code": "AAAA-BBBB-CCCC-DDDD"})):
            bodies = [{"organisation_id": number, "sign_in_name": name, "password": "not the password 1", **more} for number in (B, B + 1)]
            yield from _compared(world, "nobody", f"{path} {name}", *[(client.post(path, body), name) for body in bodies])


def probe_everything(service: Service, world: World, by: Sequence[str] = CALLERS) -> list[Leak]:
    """Return all that callers of one organisation learn of the other by asking."""
    every = slots(service.app.openapi())
    numbered = [slot for slot in every if (slot.place, slot.name) == ("body", "id")]
    leaks = [*probe_slots(service, world, [slot for slot in every if slot not in numbered], by)]
    leaks += probe_cursors(service, world, by)
    leaks += probe_sign_in(service, world)
    leaks += probe_headers(service, world, by)
    leaks += probe_own_numbers(service, world, numbered)
    return leaks


def _difference(first: tuple[int, Mapping[str, str], bytes], second: tuple[int, Mapping[str, str], bytes]) -> str:
    return f"{first[0]} {first[2][:160]!r} and {second[0]} {second[2][:160]!r}"
