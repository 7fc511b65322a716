"""``reedbed account``: how people sign in, for whoever operates the installation."""

from __future__ import annotations

import getpass
import sys
from argparse import Namespace

import sqlalchemy as sa
from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.codes import LASTS, new_code
from api.commands.session import opened, say_json
from api.commands.trouble import Trouble
from api.passwords import Passwords, refuse_weak
from domain.actions.accounts import end_account, register_account, reset_account, set_password
from domain.actions.recording import Ending
from domain.actions.staff import register_staff
from domain.records.accounts import Account, AccountStated
from domain.records.base import table_of
from domain.records.organisations import Organisation
from domain.records.staff import Staff, StaffStated
from domain.records.stated import read_stated
from domain.records.statements import Statement, json_text
from domain.records.unit import Unit
from domain.rules.text import same_name

_account, _staff = table_of(Account), table_of(Staff)
ACCOUNTS = Statement(sa.select(_account).where(_account.c.organisation_id == sa.bindparam("organisation_id")).order_by(_account.c.id))
STAFF = Statement(
    sa.select(_staff).where(_staff.c.organisation_id == sa.bindparam("organisation_id"), _staff.c.ended_on.is_(None)).order_by(_staff.c.id)
)


def account_create(words: Namespace, console: Console) -> int:
    """Make an account for a member of staff, and say the code that a password is set by."""
    with opened("account create") as session:
        organisation = session.organisation(words.organisation)
        with session.store.transaction(session.origin(organisation.id)) as unit:
            staff = _staff_meant(unit, words.staff) if words.role is None else _new_staff(unit, words.staff, role=words.role)
            code = made_account(unit, staff, sign_in_name=words.sign_in_name)
    _say_opened(console, words, organisation, code)
    return 0


def account_reset(words: Namespace, console: Console) -> int:
    """Void an account's password, end its sessions, and say the code that a new one is set by."""
    with opened("account reset") as session:
        organisation = session.organisation(words.organisation)
        text, code = new_code(session.now)
        with session.store.transaction(session.origin(organisation.id)) as unit:
            reset_account(unit, _account_meant(unit, words.sign_in_name).id, code=code)
    _say_opened(console, words, organisation, text)
    return 0


def account_list(words: Namespace, console: Console) -> int:
    """List the accounts."""
    with opened("account list") as session:
        organisation = session.organisation(words.organisation)
        with session.store.snapshot(session.origin(organisation.id)) as unit:
            accounts = unit.all(Account, ACCOUNTS)
            names = {one.id: one.name for one in (unit.fetch(Staff, account.staff_id) for account in accounts)}
    if words.json:
        shown = ("id", "staff_id", "sign_in_name", "password_set_at", "ended_on")
        say_json([{name: getattr(one, name) for name in shown} for one in accounts])
        return 0
    table = Table(box=None, pad_edge=False, header_style="dim")
    for heading in ("sign-in name", "password", "ended", "holder"):
        table.add_column(heading, overflow="fold")
    for one in accounts:
        password = f"set {one.password_set_at:%Y-%m-%d}" if one.password_set_at else "none yet"
        table.add_row(*(Text(cell) for cell in (one.sign_in_name, password, str(one.ended_on or ""), names[one.staff_id])))
    console.print(table)
    return 0


def account_end(words: Namespace, console: Console) -> int:
    """End an account; its holder is refused from the next request on."""
    with opened("account end") as session:
        organisation = session.organisation(words.organisation)
        with session.store.transaction(session.origin(organisation.id)) as unit:
            end_account(unit, _account_meant(unit, words.sign_in_name).id, Ending(reason=words.reason))
    console.print(f"the account {words.sign_in_name} has ended", markup=False)
    return 0


def account_password(words: Namespace, console: Console) -> int:
    """Set an account's password, which is asked for and not shown; its sessions end."""
    with opened("account password") as session:
        organisation = session.organisation(words.organisation)
        with session.store.snapshot(session.origin(organisation.id)) as unit:
            account = _account_meant(unit, words.sign_in_name)
        password = _asked()
        refuse_weak(password, said_about=[organisation.name, account.sign_in_name])
        hashed = Passwords().hashed(password)
        with session.store.transaction(session.origin(organisation.id)) as unit:
            set_password(unit, account.id, password_hash=hashed)
    console.print(f"the password of {account.sign_in_name} is set", markup=False)
    return 0


def made_account(unit: Unit, staff: Staff, *, sign_in_name: str) -> str:
    """Make an account for a member of staff and return the code that a password is set by."""
    text, code = new_code(unit.origin.at)
    register_account(unit, read_stated(AccountStated, json_text({"staff_id": staff.id, "sign_in_name": sign_in_name})), code=code)
    return text


def say_code(console: Console, organisation: Organisation, code: str) -> None:
    """Print a code and what is done with it."""
    console.print(f"code {code}", markup=False, soft_wrap=True)
    hours = int(LASTS.total_seconds() // 3600)
    where = f"POST /v1/passwords with organisation_id {organisation.id}, sign_in_name, code and password"
    console.print(f"A password is set by it, once, within {hours} hours: {where}.", markup=False, soft_wrap=True)


def _say_opened(console: Console, words: Namespace, organisation: Organisation, code: str) -> None:
    if words.json:
        say_json({"organisation_id": organisation.id, "sign_in_name": words.sign_in_name, "code": code})
        return
    console.print(f"account {words.sign_in_name} of {organisation.name} ({organisation.id})", markup=False, soft_wrap=True)
    say_code(console, organisation, code)


def _asked() -> str:
    """Return the password that is typed twice at a terminal, or is the first line of what a program hands in."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().removesuffix("\n")
    first, second = getpass.getpass("Password: "), getpass.getpass("Again: ")
    if first != second:
        raise Trouble("These are two different passwords; nothing was changed")
    return first


def _account_meant(unit: Unit, sign_in_name: str) -> Account:
    kept = [one for one in unit.all(Account, ACCOUNTS) if one.ended_on is None]
    found = next((one for one in kept if same_name(one.sign_in_name) == same_name(sign_in_name)), None)
    if found is None:
        raise Trouble(f"There is no account {sign_in_name!r}. List them with: reedbed account list")
    return found


def _staff_meant(unit: Unit, word: str) -> Staff:
    """Return the member of staff that a name or an id means."""
    every = unit.all(Staff, STAFF)
    found = [one for one in every if str(one.id) == word.lower() or same_name(one.name) == same_name(word)]
    if not found:
        raise Trouble(f"There is no member of staff {word!r}. With --role ROLE one is registered")
    if len(found) > 1:
        raise Trouble(f"Several members of staff are called {word!r}; say which by id: {', '.join(str(one.id) for one in found)}")
    return found[0]


def _new_staff(unit: Unit, name: str, *, role: str) -> Staff:
    return register_staff(unit, read_stated(StaffStated, json_text({"name": name, "role": role})))
