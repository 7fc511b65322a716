"""Requests generated from the service's own description, sent through its whole stack, and what was wrong with the answers."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Any

import schemathesis
from fastapi import FastAPI
from hypothesis import strategies as st
from schemathesis.config import SchemathesisConfig
from schemathesis.engine import events, from_schema
from schemathesis.python.asgi import shutdown_lifespans

from domain.rules.calendar import _zone_names
from domain.rules.text import kept_line, kept_lines

NO_CURSOR = "MA"
"""Cursors are opaque, so none can be generated: one that is shorter than any of ours is taken out of the request again."""
_SHORT_CURSOR = re.compile("[A-Za-z0-9_-]{1,16}")

_CHARACTERS = st.sampled_from("abcXYZ019 -_.,'\"%\\<>&;=+@/(){}éŁж水龟שלוםمرحبا🐍₂")


def _fitting(keep: Any) -> Any:
    def fits(text: str) -> bool:
        try:
            keep(text)
        except ValueError:
            return False
        return True

    return fits


FORMATS = {
    "line": st.text(_CHARACTERS, min_size=1, max_size=40).filter(_fitting(kept_line)),
    "lines": st.text(_CHARACTERS | st.just("\n"), max_size=60).filter(_fitting(kept_lines)),
    "iana-time-zone": st.sampled_from(sorted(_zone_names())),
    "cursor": st.just(NO_CURSOR),
    "date-time": st.dates(date(1901, 1, 1), date(2199, 12, 31)).map(lambda day: f"{day}T12:30:00Z"),
    "date": st.dates(date(1900, 1, 1), date(2200, 12, 31)).map(str),
}
for _name, _texts in FORMATS.items():
    schemathesis.openapi.format(_name, _texts)

BEYOND_A_SCHEMA = {
    "not-together": "A rule between two fields or parameters; OpenAPI could only say it by listing every pair of them.",
    "repeated": "A rule between the elements of a list, by one of their members.",
    "required": "A field that is needed because of another.",
    "shape-impossible": "A rule of solid geometry between dimensions.",
    "not-date": "A month and a day apart, of which no year has such a day.",
    "not-whole-number": "JSON Schema counts 1.0 as whole. It is refused here, because it would come back as 1.",
    "reference-unknown": "An id of no record of this organisation.",
    "reference-ended": "An id of a record that has ended.",
    "in-future": "A date that has not come yet at the site.",
    "period-too-long": "A rule between two dates.",
    "cursor-malformed": "A cursor is opaque: only one that a page gave is taken.",
    "cursor-foreign": "It is taken by the list that gave it alone.",
    "idempotency-key-reused": "The key was used for another request.",
    "before-installation": "A date that is compared with a date on record.",
    "counter-fell": "A counter that is compared with what is on record.",
    "stays-at-site": "What others at a site refer to does not move to another.",
    "reason-malformed": "A header may hold any bytes; a reason is one line of text in UTF-8.",
    "file-kind-unknown": "What a file is only its content says.",
    "file-empty": "A file of no bytes.",
    "kind-unknown": "A kind of record that there is not or that bears no documents, or a kind of document that no rule pack has.",
    "rank-order": "A rank that is compared with that of another taxon.",
    "circular": "A taxon that would lie above itself, by what is on record of others.",
    "synonym": "A name that stands for another taxon, as is on record.",
    "has-synonyms": "An accepted taxon, as is on record of others.",
    "same-taxon": "A taxon that its own name covers.",
    "of-accepted": "A rule between two fields: a synonym has no hazard class.",
    "not-in-form": "A form that papers of the report's kind do not come in.",
    "none-there": "A day on which there were none of these animals.",
    "before-arrival": "A day that is compared with the day on which an animal came.",
    "after-end": "A day that is compared with the day on which an animal died or left.",
    "before-hatching": "A day that is compared with the day of hatching.",
    "born-later": "Days of hatching of two records that are compared.",
    "here-already": "What is here cannot come once more.",
    "not-departed": "Only what departed, as is on record, returns.",
    "not-so": "It is not in the state that this ends.",
    "not-here": "It is away, missing or gone, as is on record.",
    "not-eggs": "Only what is on record as eggs hatches.",
    "not-a-group": "A record that is of one animal.",
    "another-taxon": "Two records whose taxa are compared.",
    "individual": "A number that only a group can have.",
    "individual-only": "What only one animal can have, not a group.",
    "not-mixed": "A sex that only a group can have.",
    "too-many": "A number that is compared with how many there are.",
    "own-parent": "A record that names itself.",
    "unit-slip": "A value that is compared with those on record, and asked back.",
    "unfit": "What an enclosure is for, as is on record.",
    "codes-differ": "A rule between two fields: a code is typed twice.",
    "code-length": "A transponder's code, of as many digits as its standard says.",
    "code-not-digits": "A transponder's code, of digits alone.",
    "code-too-large": "A transponder's code, of no more than its standard has room for.",
    "kind-unsuited": "What an enclosure is for, as is on record.",
    "lives-singly": "Who lives there, as is on record.",
    "kept-apart": "Who lives there, as is on record.",
    "floor-too-small": "How large an enclosure is, as is on record.",
    "water-too-little": "How large an enclosure is, as is on record.",
    "closure-too-weak": "How an enclosure closes, as is on record.",
    "nobody-competent": "Who of the staff is competent, as is on record.",
    "out-of-quarantine": "Where they were before, as is on record.",
    "past-quarantine": "Where they were before, as is on record.",
    "any-taxon": "A permit that is for any taxon, as is on record.",
    "taxa-listed": "A permit that lists taxa, as is on record.",
    "holder-fixed": "Whose permit it is, as is on record.",
    "before-issue": "A day that is compared with the day on which a permit was issued.",
    "requirement-unknown": "A requirement that no rule pack on record has.",
    "not-female": "An animal that is on record as a male.",
    "not-a-birth": "An event of another kind, as is on record.",
    "before-expected": "A day that is compared with that of an event on record.",
    "before-found": "An instant that is compared with that at which an incident was found.",
    "before-visit": "A day that is compared with that of a visit.",
    "too-late": "A day that is compared with today at the site.",
    "transfer-blocked": "What is open of a transfer, as is on record.",
    "not-read-back": "The animals of a transfer, as are on record.",
    "not-accounted-for": "The animals of a transfer, as are on record.",
    "not-received": "The animals of a transfer, as are on record.",
    "no-transfer-file": "What a document is, as is on record.",
    "answers-unfit": "Answers to what a document, as is on record, does not leave open.",
    "not-agreed": "The reports that were agreed on, as are on record.",
    "not-done": "What is left of a transfer, as is on record.",
    "not-later": "A day that is compared with today at the site.",
    "mapping-invalid": "The mapping of an import is TOML, which JSON Schema cannot look into.",
}
"""Why what fits its schema may still be refused with 400 or 422, by the code of the refusal; with any other code it is a failure."""

STATUSES = {
    "positive_data_acceptance": ["2xx", "3xx", "401", "403", "404", "409", "412", "429"],
    "negative_data_rejection": ["400", "401", "403", "404", "405", "406", "409", "412", "413", "415", "422", "428", "429"],
    "missing_required_header": ["400", "401", "403", "404", "406", "412", "415", "422", "428"],
}
"""What the checks expect: besides what they do by themselves 412 and 428, which tell of a version that is not the present one (RFC 9110,
section 13; RFC 6585); and never a 5xx."""


@dataclass
class Findings:
    """What came of a run."""

    cases: Counter[str] = field(default_factory=Counter)
    answers: Counter[int] = field(default_factory=Counter)
    operations: set[str] = field(default_factory=set)
    checks: set[str] = field(default_factory=set)
    failures: dict[tuple[str, str], str] = field(default_factory=dict)
    errors: list[str] = field(default_factory=list)
    excused: Counter[str] = field(default_factory=Counter)
    refusals: list[tuple[int, str, Mapping[str, Any], bytes]] = field(default_factory=list)
    """Answers without success: status, operation, headers and body."""
    bare: list[str] = field(default_factory=list)
    """Operations that answered without one of the headers that every answer carries."""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What is sent: from which seed, how many requests to each operation at random, and which are spared their systematic cases.

    The two callers, ``keys`` by their names, must not see each other's records. ``known`` are ids of records that there are, by the names
    of parameters and fields.
    """

    keys: Mapping[str, str]
    known: Mapping[str, str]
    seed: int
    each: int
    spared: Collection[str] = ()
    repeats: bool = True


def run(app: FastAPI, plan: Plan, *, folder: Path, always: Any) -> Findings:
    """Send what is planned; ``always`` are the headers of every answer."""
    found = Findings()
    schema = schemathesis.openapi.from_asgi("/openapi.json", app, config=_config(plan, folder=folder))
    schema.hook(_excusing(found))
    with _served():
        for event in from_schema(schema).execute():
            _take(event, found, always)
    return found


@contextmanager
def _served() -> Iterator[None]:
    try:
        yield
    finally:
        shutdown_lifespans()


def _config(plan: Plan, *, folder: Path) -> SchemathesisConfig:
    identities = [{"name": name, "fixedHeaders": [{"name": "Authorization", "value": f"Bearer {key}"}]} for name, key in plan.keys.items()]
    path = folder / "identities.json"
    path.write_text(json.dumps({"auth": identities}), encoding="utf-8")
    ids = {name.replace("_", "-"): {"values": [one]} for name, one in plan.known.items()}
    bound = {
        f"{place}.{name}": {"dictionary": name.replace("_", "-"), "probability": 0.7} for name in plan.known for place in ("path", "body")
    }
    return SchemathesisConfig.from_dict(
        {
            "seed": plan.seed,
            "workers": 1,
            "continue-on-failure": True,
            "auth": {"wfc": {"path": str(path), "peers": list(plan.keys)}},
            "dictionaries": ids,
            "parameters": bound,
            "checks": {name: {"expected-statuses": statuses} for name, statuses in STATUSES.items()},
            "generation": {"max-examples": plan.each, "no-shrink": True, "deterministic": plan.repeats},
            "operations": [{"include-operation-id": one, "phases": {"coverage": {"enabled": False}}} for one in plan.spared],
            "phases": {"examples": {"fill-missing": True}, "stateful": {"generation": {"max-examples": 5 * plan.each}}},
        }
    )


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: Any) -> None:
    """Take out what would hide all the rest: cursors that no page gave, keys used for another request, entity tags that are none."""
    if case.query and _SHORT_CURSOR.fullmatch(str(case.query.get("cursor", ""))):
        del case.query["cursor"]
    if (case.headers or {}).get("If-Match") == "0" and not _is_about(case, "If-Match"):
        case.headers["If-Match"] = '"1"'
    key = (case.headers or {}).get("Idempotency-Key")
    if isinstance(key, str) and 1 <= len(key) <= 200 and key.isascii() and key.isprintable() and key == key.strip():
        case.headers["Idempotency-Key"] = sha256(f"{key} {case.formatted_path} {case.query} {case.body!r}".encode()).hexdigest()


def _is_about(case: Any, parameter: str) -> bool:
    """Return whether it is this parameter that a case says wrongly; the others are then only there to be there."""
    return bool(case.meta) and getattr(case.meta.phase.data, "parameter", None) == parameter


def _is_text_in_a_form(failure: Any, case: Any) -> bool:
    """Return whether the fault of a request is a part of a form that is no text: it is sent as the text of it, and is one."""
    of_kind = type(failure).__name__ == "AcceptedNegativeData" and "in body - violates `type` at /properties/" in failure.message
    return of_kind and case.media_type == "multipart/form-data"


def _excusing(found: Findings) -> Any:
    def filter_failure(context: Any, failure: Any, case: Any, response: Any) -> bool:
        if _is_text_in_a_form(failure, case):
            found.excused["text in a form"] += 1
            return False
        if type(failure).__name__ != "RejectedPositiveData" or response.status_code not in {400, 422}:
            return True
        problem = response.json()
        codes = {error["code"] for error in problem["errors"]} or {problem["code"]}
        found.excused.update(codes)
        return not codes <= set(BEYOND_A_SCHEMA)

    return filter_failure


def _take(event: Any, found: Findings, always: Any) -> None:
    if isinstance(event, events.NonFatalError):
        found.errors.append(f"{event.label}: {event.value}")
    elif isinstance(event, events.FatalError):
        found.errors.append(repr(event.exception))
    elif isinstance(event, events.SchemaAnalysisWarnings):
        found.errors += [repr(warning) for warning in event.warnings]
    elif isinstance(event, events.ScenarioFinished):
        _take_scenario(event, found, always)


def _take_scenario(event: Any, found: Findings, always: Any) -> None:
    recorder = event.recorder
    found.cases[event.phase.value] += len(recorder.interactions)
    for case_id, interaction in recorder.interactions.items():
        operation = recorder.cases[case_id].value.operation
        found.operations.add(operation.definition.raw["operationId"])
        answer = interaction.response
        found.answers[answer.status_code] += 1
        headers = {name.lower(): values for name, values in answer.headers.items()}
        if not all(value in ", ".join(headers.get(name, [])) for name, value in always):
            found.bare.append(operation.label)
        if answer.status_code >= 400:
            found.refusals.append((answer.status_code, operation.label, headers, answer.content))
    for nodes in recorder.checks.values():
        for node in nodes:
            found.checks.add(node.name)
            if node.failure_info is not None:
                failure = node.failure_info.failure
                said = f"{failure.title}: {failure.message}\n{node.failure_info.code_sample}"
                found.failures.setdefault((type(failure).__name__, failure.operation), said[:3000])
