"""Grants that come at the same time."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor, wait

from domain.actions.accounts import register_grant
from domain.actions.staff import register_staff
from domain.errors import Conflict
from domain.records.accounts import RoleGrantStated
from domain.records.staff import StaffStated
from domain.rules.permissions import Role
from tests import makers


def test_a_role_that_two_grant_at_once_is_granted_once(store, organisation):
    with store.transaction(makers.origin()) as unit:
        stated = RoleGrantStated(staff_id=register_staff(unit, StaffStated(name="A. Keeper", role=Role.KEEPER)).id, role=Role.CURATOR)

    def grant_too() -> str:
        try:
            with store.transaction(makers.origin()) as unit:
                register_grant(unit, stated)
        except Conflict as refused:
            return refused.code
        return "granted twice"

    with ThreadPoolExecutor(1) as threads:
        with store.transaction(makers.origin()) as unit:
            register_grant(unit, stated)
            other = threads.submit(grant_too)
            wait([other], timeout=0.3)

        assert other.result() == "granted"
