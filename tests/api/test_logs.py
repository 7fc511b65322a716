"""What a line may hold, in both forms, and what it never does."""

from __future__ import annotations

import io
import json
import logging
import sys

import pytest

from api.logs import FACTS, fault_of, request_log, start_logs
from api.settings import Settings


class Screen(io.StringIO):
    """Somebody's terminal."""

    def isatty(self):
        return True


@pytest.fixture
def started():
    """Return a function that starts the logs as a service does; afterwards all is as before."""
    root, own = logging.getLogger(), logging.getLogger("reedbed")
    kept = root.handlers[:], root.level, own.level

    def start(*, form="json", level="info", stream=None):
        out = stream or io.StringIO()
        return out, start_logs(Settings(log_form=form, log_level=level), stream=out)

    yield start
    root.handlers[:] = kept[0]
    root.setLevel(kept[1])
    own.setLevel(kept[2])


def failed(sentence):
    """Return a fault with a cause, both of which quote what somebody sent."""
    try:
        return {}[f"{sentence} cause"]
    except KeyError as cause:
        return raised_from(cause, sentence)


def raised_from(cause, sentence):
    try:
        raise ValueError(sentence) from cause  # noqa: TRY301 - a fault with a place of its own
    except ValueError as fault:
        return fault


def test_a_line_holds_what_is_allowed_and_nothing_else(started):
    out, log = started()
    log.info("request", request_id="r", status=200, password="canary", body={"a": 1}, query="canary")

    line = json.loads(out.getvalue())
    assert set(line) == {"ts", "level", "event", "request_id", "status"}
    assert list(line) == [name for name in FACTS if name in line]


def test_a_fault_is_told_by_kind_and_place_and_not_by_what_it_says(started):
    out, _ = started()
    logging.getLogger("reedbed").error("request %s failed", "r-1", exc_info=failed("canary"))

    [line] = [json.loads(text) for text in out.getvalue().splitlines()]
    assert (line["level"], line["event"]) == ("error", "request r-1 failed")
    assert [one["kind"] for one in line["fault"]] == ["ValueError", "KeyError"]
    assert line["fault"][0]["at"][-1].startswith("tests/api/test_logs.py:")
    assert line["fault"][0]["at"][-1].endswith(" raised_from")
    assert "canary" not in out.getvalue()


def test_a_fault_among_the_values_of_a_sentence_is_told_by_its_kind(started):
    out, _ = started()
    logging.getLogger("reedbed").warning("the database does not answer: %s", failed("canary"))

    assert json.loads(out.getvalue())["event"] == "the database does not answer: ValueError"


def test_sentences_of_libraries_are_not_completed_with_values(started):
    out, _ = started()
    logging.getLogger("psycopg.pool").warning("error connecting in %r: %s", "pool-1", "password canary of user canary")

    assert json.loads(out.getvalue())["event"] == "error connecting in %r: %s"


def test_facts_that_a_record_brings_are_kept_where_they_are_allowed(started):
    out, _ = started()
    logging.getLogger("reedbed").warning("not ready", extra={"check": "disk", "secret": "canary"})

    line = json.loads(out.getvalue())
    assert (line["check"], "canary" in out.getvalue()) == ("disk", False)


@pytest.mark.parametrize(("level", "said"), [("debug", 3), ("info", 3), ("warning", 2), ("error", 1)])
def test_what_is_below_the_level_is_not_said(started, level, said):
    out, log = started(level=level)
    for say in (log.info, log.warning, log.error):
        say("request")
    own = logging.getLogger("reedbed.nightly")
    for say in (own.info, own.warning, own.error):
        say("x")

    assert len(out.getvalue().splitlines()) == 2 * said


@pytest.mark.parametrize("sentence", ["a\r\nb", "a\nb", 'a"}\n{"b', "a\u2028b", "a\x1b[31mb", "a\x00b", "a\x85b"])
@pytest.mark.parametrize("form", ["json", "text"])
def test_no_sentence_makes_a_second_line(started, form, sentence):
    out, log = started(form=form)
    log.info("request", request_id=sentence)
    logging.getLogger("reedbed").error("%s", sentence)

    assert len(out.getvalue().split("\n")) == 3
    assert "\x1b" not in out.getvalue()
    assert form == "text" or {json.loads(line)["event"] for line in out.getvalue().split("\n")[:2]} == {"request", sentence}


@pytest.mark.parametrize(("form", "stream", "is_json"), [("auto", io.StringIO, True), ("auto", Screen, False), ("json", Screen, True)])
def test_a_person_at_a_terminal_reads_text_and_a_program_reads_json(started, form, stream, is_json):
    out, log = started(form=form, stream=stream())
    log.warning("request", status=503)

    assert out.getvalue().startswith("{") == is_json
    assert "status" in out.getvalue()


def test_a_fault_in_text_is_told_over_lines_of_its_own(started):
    out, _ = started(form="text")
    logging.getLogger("reedbed").error("it failed", exc_info=failed("canary"))

    assert "    ValueError\n      tests/api/test_logs.py:" in out.getvalue()
    assert "canary" not in out.getvalue()


def test_a_chain_of_causes_ends_somewhere():
    first = last = ValueError()
    for _ in range(20):
        last.__cause__ = ValueError()
        last = last.__cause__

    assert len(fault_of(first)) == 4


def test_a_deep_stack_is_told_from_its_inner_end():
    def down(depth):
        return down(depth - 1) if depth else 1 / 0

    try:
        down(200)
    except ZeroDivisionError:
        places = fault_of(sys.exc_info()[1])[0]["at"]

    assert len(places) == 40
    assert all(place.endswith(" down") for place in places)


def test_a_log_of_requests_needs_nothing_else():
    out = io.StringIO()
    request_log(out).info("request", status=204)

    assert json.loads(out.getvalue())["status"] == 204
