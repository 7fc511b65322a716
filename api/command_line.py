"""The words of the command line, and what each does."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console

from api.bodies.keys import LONGEST_OVERLAP_DAYS
from api.commands import accounts, backups, demo, imports, journals, law, nights, organisations, proofs, retention, serving
from api.commands.trouble import Trouble
from api.logs import log_of_commands
from domain.errors import Refusal
from domain.records.nights import ImportKind
from domain.records.organisations import Access
from domain.rules.permissions import Role, Scope

BACKUP_HOLDS = (
    "A backup holds personal data, and the hashes of keys, passwords and sessions. Keep it as carefully as the database: "
    "only its owner may read it (mode 0600), and copies of it should lie encrypted."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Read the command line, do what it says and return the exit status."""
    words = _parser().parse_args(arguments)
    console = Console(stderr=bool(getattr(words, "json", False)), highlight=False)
    log_of_commands(sys.stderr)
    try:
        return int(words.does(words, console))
    except Trouble as trouble:
        _complain(str(trouble))
    except Refusal as refusal:
        _complain(refusal.detail)
        for fault in refusal.faults:
            if fault.pointer and fault.detail not in refusal.detail:
                _complain(f"  {fault.pointer[1:]}: {fault.detail}")
    except BrokenPipeError:
        # The reader of a pipe has seen enough; what was to be done is done.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as failed:
        _complain(f"{failed.filename}: {failed.strerror}" if failed.filename else str(failed))
    return 2


def _complain(sentence: str) -> None:
    Console(stderr=True, highlight=False).print(sentence, markup=False, soft_wrap=True)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="reedbed", description="Collection management for sites with reptiles, amphibians and fish.")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _add_demo(commands)
    _add_migrate(commands)
    _add_organisation(commands)
    _add_keys(commands)
    _add_accounts(commands)
    _add_import(commands)
    _add_law(commands)
    _add_serve(commands)
    _add_nightly(commands)
    _add_verify(commands)
    _add_backup(commands)
    _add_restore(commands)
    return parser


def _command(group: argparse._SubParsersAction[argparse.ArgumentParser], name: str, does: str) -> argparse.ArgumentParser:
    return group.add_parser(name, help=does, description=f"{does[0].upper()}{does[1:]}.")


def _add_demo(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = _command(commands, "demo", "build the invented demo organisation, run a night, and say what to try next")
    command.add_argument("--folder", type=Path, default=Path("reedbed-demo"), help="where to build it (default: reedbed-demo)")
    command.add_argument("--at", metavar="INSTANT", help="build it as of this instant (default: now)")
    command.set_defaults(does=demo.demo)


def _add_migrate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = _command(commands, "migrate", "bring the database's schema to its newest state")
    command.add_argument("--check", action="store_true", help="change nothing; exit with 1 if the schema is not the newest")
    command.set_defaults(does=organisations.migrate)


def _add_organisation(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    group = commands.add_parser("organisation", help="the organisations of this installation").add_subparsers(required=True, metavar="DO")
    command = _command(group, "create", "create an organisation with its first key; its costs are in EUR unless --currency says otherwise")
    command.add_argument("name", help="what it is called; one of that name must not be here yet")
    command.add_argument("--currency", default="EUR", metavar="CODE", help="ISO 4217 code of its costs (default: EUR)")
    command.add_argument("--administrator", metavar="NAME", help="the person who will administer it, with --sign-in-name")
    command.add_argument("--sign-in-name", metavar="NAME", help="what that person signs in with; the code for a password is shown once")
    command.add_argument("--json", action="store_true", help="answer as JSON")
    command.set_defaults(does=organisations.organisation_create)


def _add_keys(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    group = commands.add_parser("key", help="keys for programs").add_subparsers(required=True, metavar="DO")
    create = _command(group, "create", "create a key that a program signs in with; it is shown once and cannot be shown again")
    create.add_argument("--name", required=True, help="what the key is for, such as 'front end'")
    accesses = [one.value for one in Access]
    create.add_argument("--access", choices=accesses, default=Access.READ.value, help="read only, or write as well (default: read)")
    create.add_argument(
        "--expires-on", metavar="DATE", help="last day [UTC] on which it is good, YYYY-MM-DD (default: until it is revoked)"
    )
    scopes = ", ".join(scope.value for scope in Scope)
    create.add_argument("--scope", action="append", metavar="SCOPE", help=f"what it is for, instead of --access; may be repeated: {scopes}")
    create.add_argument("--site", action="append", default=[], metavar="SITE", help="only for this site, by name or id; may be repeated")
    create.set_defaults(does=organisations.key_create)
    listing = _command(group, "list", "list the keys, without their secrets")
    listing.set_defaults(does=organisations.key_list)
    revoke = _command(group, "revoke", "revoke a key; it is refused from the next request on")
    revoke.add_argument("key", metavar="KEY", help="its public id as listed, or the whole key")
    revoke.add_argument("--reason", default="revoked by command", help="kept in the journal (default: revoked by command)")
    revoke.set_defaults(does=organisations.key_revoke)
    rotate = _command(group, "rotate", "make the successor of a key, with the same facts; it is shown once and cannot be shown again")
    rotate.add_argument("key", metavar="KEY", help="its public id as listed, or the whole key")
    days = range(LONGEST_OVERLAP_DAYS + 1)
    rotate.add_argument(
        "--overlap-days",
        type=int,
        default=7,
        choices=days,
        metavar="DAYS",
        help=f"how long the old key is still good, 0 to {days[-1]}; 0 ends it at once (default: 7)",
    )
    rotate.set_defaults(does=organisations.key_rotate)
    for command in (create, listing, revoke, rotate):
        _add_choice_of_organisation(command)
        command.add_argument("--json", action="store_true", help="answer as JSON")


def _add_accounts(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    group = commands.add_parser("account", help="how people sign in").add_subparsers(required=True, metavar="DO")
    create = _command(group, "create", "make an account and show, once, the code that its holder sets a password by")
    create.add_argument("--staff", required=True, metavar="NAME", help="the member of staff, by name or id")
    create.add_argument("--role", choices=[role.value for role in Role], help="register the member of staff first, with this role")
    create.set_defaults(does=accounts.account_create)
    reset = _command(group, "reset", "void an account's password, end its sessions, and show a new code, once")
    reset.set_defaults(does=accounts.account_reset)
    end = _command(group, "end", "end an account; its holder is refused from the next request on")
    end.add_argument("--reason", default="ended by command", help="kept in the journal (default: ended by command)")
    end.set_defaults(does=accounts.account_end)
    password = _command(group, "password", "set an account's password; it is asked for, never an argument")
    password.set_defaults(does=accounts.account_password)
    for command in (create, reset, end, password):
        command.add_argument("--sign-in-name", required=True, metavar="NAME", help="the name that the account signs in with")
    listing = _command(group, "list", "list the accounts")
    listing.set_defaults(does=accounts.account_list)
    for command in (create, reset, end, password, listing):
        _add_choice_of_organisation(command)
    for command in (create, reset, listing):
        command.add_argument("--json", action="store_true", help="answer as JSON")


def _add_import(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    kinds = ", ".join(kind.value for kind in ImportKind)
    command = _command(commands, "import", "import a list from a spreadsheet, CSV or JSON")
    command.add_argument("file", type=Path)
    command.add_argument("--kind", required=True, help=f"what the rows are: {kinds}")
    command.add_argument("--map", type=Path, metavar="MAP.toml", help="how a list with other headings, dates or units is read")
    command.add_argument("--dry-run", action="store_true", help="write nothing, only report")
    command.add_argument("--skip-invalid", action="store_true", help="leave refused rows out instead of writing nothing")
    command.add_argument("--create-enclosures", action="store_true", help="make enclosures that are not on record")
    command.add_argument("--at", metavar="INSTANT", help="as of this instant (default: now)")
    command.add_argument("--json", action="store_true", help="answer with the whole report as JSON")
    _add_choice_of_organisation(command)
    command.set_defaults(does=imports.import_list)
    command = _command(commands, "template", "write an empty list with the headings that need no mapping")
    command.add_argument("kind", help=kinds)
    command.add_argument("file", type=Path, help="a new file, its name ending in .xlsx or .csv")
    command.set_defaults(does=imports.write_template)


def _add_law(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    group = commands.add_parser("law", help="rule packs: the law of jurisdictions as dated data").add_subparsers(
        required=True, metavar="DO"
    )
    check = _command(group, "check", "check rule packs, each beside those before it, and exit with 1 if one cannot be taken")
    check.set_defaults(does=law.check)
    load = _command(group, "load", "put rule packs on record, all of them or none; the very same again changes nothing")
    load.set_defaults(does=law.load)
    for command in (check, load):
        command.add_argument("files", type=Path, nargs="+", metavar="FILE", help="a rule pack (TOML)")
    schema = _command(group, "schema", "print the JSON Schema of rule packs")
    schema.set_defaults(does=law.schema)
    listing = _command(group, "list", "list the requirements on record, in all their versions")
    listing.add_argument("--json", action="store_true", help="answer as JSON")
    listing.set_defaults(does=law.list_law)
    for command in (load, listing):
        _add_choice_of_organisation(command)


def _add_serve(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = _command(commands, "serve", "serve the API")
    command.add_argument("--host", help="address to listen on (default: REEDBED_HOST or 127.0.0.1)")
    command.add_argument("--port", type=int, help="port to listen on, 1 to 65535 (default: REEDBED_PORT or 8000)")
    command.set_defaults(does=serving.serve)


def _add_nightly(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = _command(commands, "nightly", "run the night at every site and make the replacement-due lists")
    command.add_argument("--at", metavar="INSTANT", help="the night of this instant, such as 2026-03-01T12:00:00Z (default: now)")
    command.add_argument("--site", action="append", default=[], metavar="SITE", help="only this site, by name or id; may be repeated")
    command.add_argument(
        "--papers", type=Path, metavar="FOLDER", help="write the papers into this folder, also where the night has run before"
    )
    command.add_argument("--json", action="store_true", help="print every item's forecast as JSON")
    _add_choice_of_organisation(command)
    command.set_defaults(does=nights.nightly)


def _add_verify(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = _command(commands, "verify", "prove the journal's chain, the records against it, and the files of documents")
    command.add_argument(
        "--checkpoints",
        type=Path,
        metavar="FOLDER",
        help="also against the signed checkpoints in this second place (default: REEDBED_CHECKPOINT_FOLDER)",
    )
    command.add_argument(
        "--public-key",
        type=Path,
        action="append",
        metavar="FILE",
        help="a key [PEM] whose signatures count; may be repeated (default: REEDBED_SIGNING_KEY_FILE)",
    )
    _add_choice_of_organisation(command)
    command.set_defaults(does=proofs.verify)
    command = _command(commands, "journal", "print what was changed, by whom and why, one JSON object a line")
    command.add_argument("--of", metavar="ID", help="only of the record with this id")
    command.add_argument("--readings", action="store_true", help="instead, who read what is sensitive or took a file away")
    _add_choice_of_organisation(command)
    command.set_defaults(does=journals.journal)
    command = _command(commands, "retention", "let go of ended records whose longest period of keeping is over and that nothing holds")
    command.add_argument("--at", metavar="INSTANT", help="as of this instant (default: now)")
    command.add_argument("--dry-run", action="store_true", help="change nothing, only say what would be let go of")
    command.add_argument("--json", action="store_true", help="answer as JSON")
    _add_choice_of_organisation(command)
    command.set_defaults(does=retention.retention)
    command = _command(commands, "checkpoint", "sign where the journals stand, and write it down in the second place")
    _add_choice_of_organisation(command)
    command.set_defaults(does=proofs.checkpoint)


def _add_backup(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = _command(commands, "backup", "write every organisation's records and files into a new file, while the service goes on")
    command.epilog = BACKUP_HOLDS
    command.add_argument("file", type=Path, help="a new file; none is ever overwritten")
    command.add_argument("--check", action="store_true", help="write nothing: read FILE whole and say whether it is as it was written")
    command.add_argument("--json", action="store_true", help="answer as JSON")
    command.set_defaults(does=backups.backup)


def _add_restore(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = _command(commands, "restore", "check a backup and write it into an empty database of either kind, wholly or not at all")
    command.epilog = BACKUP_HOLDS
    command.add_argument("file", type=Path, help="a file that 'reedbed backup' wrote with this version's schema")
    command.add_argument("--json", action="store_true", help="answer as JSON")
    command.set_defaults(does=backups.restore)


def _add_choice_of_organisation(command: argparse.ArgumentParser) -> None:
    command.add_argument("--organisation", metavar="NAME", help="name or number; not needed where there is only one")
