"""The product's source code holds nothing by which what somebody sends could become code, SQL or trust."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.security.source import (
    code_from_text,
    expressions_from_values,
    hashes,
    imported,
    secrets_compared,
    sql_put_together,
    unchecked_trust,
    unpacks_into_files,
)

HOUSE = Path(__file__).parents[2]
PRODUCT = ("api", "domain", "migrations", "reports", "seed")
TREES = {
    path.relative_to(HOUSE).as_posix(): ast.parse(path.read_text(encoding="utf-8"))
    for folder in PRODUCT
    for path in sorted((HOUSE / folder).rglob("*.py"))
}

NAMES_IN_SQL = {
    # The names of the service's own tables, columns, roles, settings and guards: SQL takes no parameters in their places.
    "api/routes/health.py": {"name"},
    "domain/records/backups/rows.py": {
        "', '.join('?' * len(table.columns))",
        "', '.join((column.name for column in table.columns))",
        "names",
        "table.name",
        "values",
    },
    "domain/records/backups/whole.py": {"TELL_POSTGRES.format(local='LOCAL', organisation_id=organisation_id)", "pragma"},
    "domain/records/belonging.py": {"listed", "wanted"},
    "domain/records/engine.py": {"pragma"},
    "domain/records/tenancy.py": {"REFUSAL", "act", "act.lower()", "foreign", "owner", "table"},
    "domain/records/unit.py": {"name", "value"},
    "migrations/versions/0001_the_first_schema.py": {"SERVICE_ROLE", "act", "act.lower()", "acts", "table"},
    "migrations/versions/0002_accounts_and_tenancy.py": {
        "'' if table in APPENDED_ONLY else ', UPDATE'",
        "SERVICE_ROLE",
        "own",
        "signature",
        "table",
    },
    "migrations/versions/0003_lives_of_animals.py": {
        "SERVICE_ROLE",
        "act",
        "act.lower()",
        "alike",
        "check",
        "kind",
        "name",
        "others",
        "own",
        "shared",
        "table",
    },
    "migrations/versions/0004_law_as_data.py": {"SERVICE_ROLE", "act", "act.lower()", "alike", "others", "own", "shared", "table"},
    "migrations/versions/0011_papers_that_leave.py": {"table"},
    "migrations/versions/0010_overrides.py": {"KEEPING", "in_force", "table"},
    "migrations/versions/0009_transfers.py": {"SERVICE_ROLE", "own", "table"},
    "migrations/versions/0008_papers_for_authorities.py": {"first", "nowhere", "table"},
    "migrations/versions/0007_inspections_and_incidents.py": {"SERVICE_ROLE", "own", "table"},
    "migrations/versions/0006_reminders.py": {"SERVICE_ROLE", "own", "table"},
    "migrations/versions/0005_permits.py": {"SERVICE_ROLE", "act", "act.lower()", "alike", "others", "own", "shared", "table"},
}
ESCAPED_IN_EXPRESSIONS = {"api/importing/totals.py": {"'|'.join([_WORDS, *map(re.escape, words)])"}}
"""Words that a mapping file adds, each escaped."""
SPREADS_LOAD_OR_INVENTS = {"api/admission.py", "domain/records/driver_errors.py", "seed/demo.py", "seed/demo_animals.py"}
"""What may use ``random``: pauses that should differ, and the demo's data, which should be the same each time."""


def found_in(look):
    return {name: found for name, tree in TREES.items() if (found := set(look(tree)))}


def test_no_value_is_put_into_a_text_of_sql():
    found = found_in(sql_put_together)

    assert {name: values - NAMES_IN_SQL.get(name, set()) for name, values in found.items() if values - NAMES_IN_SQL.get(name, set())} == {}


def test_the_organisation_is_put_into_a_setting_as_a_whole_number_only():
    from domain.records.tenancy import TELL_POSTGRES  # noqa: PLC0415 - only here

    assert TELL_POSTGRES.format(local="LOCAL", organisation_id=7).endswith("= '7'")
    with pytest.raises(ValueError, match="format code"):
        TELL_POSTGRES.format(local="LOCAL", organisation_id="7'; DROP TABLE site; --")


def test_no_text_becomes_code_or_a_command_or_an_object():
    # One module starts a process: this interpreter with a file of ours, by its path; what strangers sent is only its input.
    assert found_in(code_from_text) == {"api/filing/attachments.py": {"subprocess"}}
    calls = [node for node in ast.walk(TREES["api/filing/attachments.py"]) if isinstance(node, ast.Call)]
    [started] = [one for one in calls if ast.unparse(one.func).startswith("subprocess.")]
    assert {one.arg for one in started.keywords} == {"input", "stdout", "stderr", "env", "timeout", "check"}


def test_nothing_is_unpacked_into_files():
    assert found_in(unpacks_into_files) == {}


def test_no_regular_expression_is_made_of_what_somebody_sent():
    assert found_in(expressions_from_values) == ESCAPED_IN_EXPRESSIONS


def test_no_check_of_trust_is_switched_off_and_no_mode_for_debugging_on():
    assert found_in(unchecked_trust) == {}


def test_only_hash_functions_that_nobody_has_broken_secure_anything():
    assert set().union(*map(hashes, TREES.values())) == {"sha256", "blake2b"}


def test_random_numbers_that_can_be_foreseen_secure_nothing():
    assert {name for name, tree in TREES.items() if "random" in imported(tree)} <= SPREADS_LOAD_OR_INVENTS


def test_secrets_are_compared_in_constant_time():
    assert found_in(secrets_compared) == {}


def test_two_modules_alone_ask_other_services_for_anything():
    clients = {"httpx", "requests", "aiohttp", "urllib3", "http.client", "urllib.request", "smtplib", "ftplib", "boto3"}
    whole_names = {
        name: {
            one.name if isinstance(node, ast.Import) else str(node.module)
            for node in ast.walk(tree)
            if isinstance(node, ast.Import | ast.ImportFrom)
            for one in node.names
        }
        for name, tree in TREES.items()
    }

    assert {name: found for name, imports in whole_names.items() if (found := imports & clients)} == {
        "api/key_sets.py": {"httpx"},
        "domain/records/files/bucket.py": {"boto3"},
    }


CONTROLS = [
    (sql_put_together, "execute(f\"SELECT * FROM site WHERE name = '{name}'\")"),
    (sql_put_together, "sa.text('SELECT ' + column)"),
    (sql_put_together, "cursor.execute('SELECT {}'.format(column))"),
    (sql_put_together, "cursor.execute('SELECT %s' % column)"),
    (code_from_text, "eval(said)"),
    (code_from_text, "import pickle"),
    (code_from_text, "from yaml import load"),
    (code_from_text, "os.system(said)"),
    (code_from_text, "import xml.etree.ElementTree"),
    (unpacks_into_files, "archive.extractall(folder)"),
    (expressions_from_values, "re.compile(said)"),
    (expressions_from_values, "re.search(f'{said}', text)"),
    (unchecked_trust, "httpx.get(url, verify=False)"),
    (unchecked_trust, "httpx.get(url, follow_redirects=True)"),
    (unchecked_trust, "settings = {'verify': False}"),
    (unchecked_trust, "FastAPI(debug=True)"),
    (unchecked_trust, "context.verify_mode = ssl.CERT_NONE"),
    (hashes, "from hashlib import md5\nmd5(said)"),
    (hashes, "from hashlib import md5\nmd5(said, usedforsecurity=False)\nmd5(said)"),
    (hashes, "hashlib.sha1(said)"),
    (secrets_compared, "given.token == kept.token"),
    (secrets_compared, "sha256(shown).hexdigest() != row.code_sha256"),
]


@pytest.mark.parametrize(("look", "source"), CONTROLS)
def test_what_is_looked_for_would_be_found(look, source):
    assert set(look(ast.parse(source)))


HARMLESS = [
    (sql_put_together, "sa.text('SELECT :name')"),
    (sql_put_together, "f'Selected {name}'"),
    (code_from_text, "re.compile('a')"),
    (expressions_from_values, "re.compile('a|b')\nre.compile(f'{_WORDS}+')"),
    (unchecked_trust, "httpx.AsyncClient(verify=tls, trust_env=False, follow_redirects=False)"),
    (hashes, "from hashlib import md5\nmd5(said, usedforsecurity=False)"),
    (secrets_compared, "hmac.compare_digest(given.token, kept.token)\ntable.c.token_sha256 == sa.bindparam('x')"),
]


@pytest.mark.parametrize(("look", "source"), HARMLESS)
def test_what_is_harmless_is_let_through(look, source):
    assert set(look(ast.parse(source))) == set()
