"""What api/security.md says is what the code does: its figures, and that its lists are whole."""

from __future__ import annotations

import ast
import math
import re
from pathlib import Path

import pytest

from api import codes, issuing, key_sets, limits, passwords, query, seal_files, signin, strict_json, tokens
from api.filing import attachments, opened_pdf
from api.importing import archives
from api.logs import FACTS
from api.settings import Settings
from domain.actions.sessions import MOST_SESSIONS
from domain.records import engine
from domain.records.base import metadata
from domain.records.transfers import ANIMALS_MOST
from tests.security.source import imported
from tests.security.test_source import TREES

WRITTEN = (Path(__file__).parents[2] / "api/security.md").read_text(encoding="utf-8")
TEXT = " ".join(WRITTEN.split())
COSTS = passwords.DEFAULT_COSTS
SET = {name: field.default for name, field in Settings.model_fields.items()}
HOUR, MINUTE = 3600, 60
FIGURES = [
    f"Argon2id with {COSTS.memory_kib // 1024} MiB, {COSTS.passes} passes, {COSTS.lanes} lanes",
    f"at least {passwords.SHORTEST} and at most {passwords.LONGEST} characters",
    f"{codes.GROUPS * codes.GROUP} signs drawn at random; good for {codes.LASTS.total_seconds() / HOUR:.0f} hours",
    f"{signin.SECRET_BYTES} random bytes; ends after {signin.IDLE.total_seconds() / HOUR:.0f} hours without a request",
    f"after {signin.LONGEST.days} days, or at once; {MOST_SESSIONS} of one account",
    f"({tokens.LEEWAY.seconds} seconds of leeway)",
    (
        f"From the {SET['sign_ins_per_minute'] + 1}th attempt at a name from one address within a minute, "
        f"and the {SET['address_sign_ins_per_minute'] + 1}st"
    ),
    f"up to {limits.LONGEST_DELAY_S:.0f} seconds; nobody is locked out",
    f"| {SET['requests_per_minute']}, {SET['organisation_requests_per_minute']} |",
    f"imports of an organisation, an hour | {SET['imports_per_hour']} |",
    f"| {SET['max_body_bytes'] // 10**6} MB; {SET['max_upload_bytes'] // 10**6} MB |",
    f"| {opened_pdf.FILE_MOST // 10**6} MB; {opened_pdf.UNPACKED_MOST // 10**6} MB; {ANIMALS_MOST} |",
    (
        f"at most {opened_pdf.MEMORY_MOST // 10**9} GB of memory, {opened_pdf.SECONDS_MOST} s of processor time "
        f"and {attachments.WITHIN_S:.0f} s in all"
    ),
    f"| {archives.UNPACKED_MOST // 2**20} MB, {archives.RATIO_MOST} times, {archives.ENTRIES_MOST} |",
    f"| {archives.ROWS_MOST}, {archives.COLUMNS_MOST} |",
    f"| {strict_json.DEEPEST}; {query.LARGEST_PAGE} |",
    f"{2 * SET['pool_size']} at work in a process, as many wait for {SET['request_wait_s']} s",
    f"a write not begun, after {SET['request_deadline_s']:.0f} s",
    f"{SET['work_threads']} threads, {SET['work_waiting']} in line",
    f"{SET['pool_size']} to read and {SET['pool_size']} to write | {engine.POOL_WAIT_S:.0f} s for a connection",
    f"{engine.SESSION['statement_timeout'].removesuffix('s')} s a statement, {engine.SESSION['lock_timeout'].removesuffix('s')} s a lock",
    f"run up to {engine.TRIES} times",
    f"1 writer | {engine.BUSY_TIMEOUT_MS // 1000} s for its lock",
    f"{key_sets.LARGEST_SET // 1024} KiB, no redirects",
    f"asked again after {key_sets.AGAIN_AFTER.seconds} s",
    f"RSA from {key_sets.SMALLEST_RSA} bits",
    f"{issuing.DRAWN} letters drawn at random ({issuing.DRAWN * math.log2(len(issuing.LETTERS)):.0f} bits)",
    f"{SET['paper_checks_per_minute']} look-ups of an address, a minute",
    f"look-ups of papers by number from one address, a minute | {SET['paper_checks_per_minute']} |",
    f"RSA from {seal_files.SMALLEST_RSA} bits or ECDSA on P-256, P-384, P-521",
    f"here for {key_sets.FRESH_FOR.seconds // MINUTE} minutes",
]
CRYPTOGRAPHY = {"hashlib", "hmac", "secrets", "ssl", "cryptography", "argon2", "jwt"}
SAID_OF_PASSWORDS = {"a password was set by a code", "a password was set by its holder"}


@pytest.mark.parametrize("figure", FIGURES)
def test_a_figure_is_the_codes(figure):
    assert figure in TEXT


def test_the_inventory_of_cryptography_names_every_module_that_uses_any_and_no_other():
    section = TEXT.partition("## Secrets and cryptography")[2].partition("| secret |")[0]

    named = set(re.findall(r"`((?:api|domain|reports|seed|migrations)/[\w/]+\.py)`", section))

    assert named == {name for name, tree in TREES.items() if imported(tree) & CRYPTOGRAPHY}


def test_every_table_is_in_one_class_of_data():
    section = WRITTEN.partition("## Data")[2].partition("All of it belongs")[0]
    rows = [line.split("|") for line in section.splitlines() if line.startswith("|")]

    named = [name.strip() for row in rows[2:] for name in row[2].split(",")]

    assert sorted(named) == sorted(metadata.tables)


def test_the_inventory_of_logs_names_every_fact_and_every_event():
    section = TEXT.partition("## Logs")[2].partition("## Libraries")[0]

    assert re.findall(r"`(\w+)`(?=[,.] )", section.partition("Every request")[0]) == list(FACTS)
    assert set(re.findall(r"\*([^*]+)\*", section)) == events_of(TREES.values()) | SAID_OF_PASSWORDS


def events_of(trees):
    """Return every sentence that the log is given."""
    calls = [node for tree in trees for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)]
    said = [call.args[0] for call in calls if call.args and ast.unparse(call.func.value) == "log" and call.func.attr in LEVELS]
    return {one.value for sentence in said for one in ast.walk(sentence) if isinstance(one, ast.Constant) and isinstance(one.value, str)}


LEVELS = {"debug", "info", "warning", "error", "exception"}


def test_an_event_that_is_not_listed_would_be_found():
    assert events_of([ast.parse("log.info('somebody came', extra={})\nlog.warning('no' if x else 'yes')")]) == {
        "somebody came",
        "no",
        "yes",
    }
