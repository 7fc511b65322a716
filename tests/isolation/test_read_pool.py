"""A reading connection serves one organisation after another, and none of them ever sees a row of the one before."""

from __future__ import annotations

import asyncio
import contextlib

import psycopg
import pytest
import sqlalchemy as sa

from domain.errors import StorageBusy
from domain.records.base import table_of
from domain.records.journal import Origin
from domain.records.sites import Site
from domain.records.statements import OpenStatement, Statement
from tests import makers
from tests.isolation.layers import DATABASE, LayeredPostgres, Layers
from tests.isolation.world import A, B
from tests.postgres_server import dsn

BARE = Layers("the database alone on one connection", predicate=False, guard=False)
NAMES = Statement(sa.select(table_of(Site).c.organisation_id).where(table_of(Site).c.organisation_id == sa.bindparam("organisation_id")))
FAILING = OpenStatement(sa.select(sa.literal_column("1 / 0")).where(sa.bindparam("organisation_id", type_=sa.BigInteger()) > 0))
SLEEPING = OpenStatement(sa.select(sa.func.pg_sleep(30)).where(sa.bindparam("organisation_id", type_=sa.BigInteger()) > 0))
TOLD = OpenStatement(sa.select(sa.func.current_setting("reedbed.organisation", sa.true())))
NOBODY = B + 1
KILL = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE usename = 'reedbed_service' AND datname = current_database()"


@pytest.fixture
def pool_of_one(postgres_place):
    """Return a function that opens a store whose only layer is the database's, with one connection of each kind."""

    @contextlib.asynccontextmanager
    async def opened():
        with postgres_place.copied() as (url, unbound_url):
            store = LayeredPostgres(sa.make_url(url), pool_size=1, layers=DATABASE)
            await store.open()
            try:
                yield store, unbound_url
            finally:
                await store.close_reads()
                store.close()

    return opened


async def owners(store, organisation_id):
    """Return whose rows an organisation is shown by a statement that asks for no one's."""
    return {owner for (owner, *_) in await store.read(NAMES, organisation_id=organisation_id)}


def run(work):
    """Run a test's work on a loop of its own."""
    return asyncio.run(work())


def test_two_organisations_take_turns_on_one_connection(pool_of_one):
    async def work():
        async with pool_of_one() as (store, _):
            seen = [(number, await owners(store, number)) for number in (A, B, A, A, B, NOBODY, A, NOBODY, B) * 5]
            together = await asyncio.gather(*(owners(store, (A, B, NOBODY)[turn % 3]) for turn in range(60)))
            return seen, together

    seen, together = run(work)
    assert all(found == ({number} if number != NOBODY else set()) for number, found in seen)
    assert together == [{A}, {B}, set()] * 20


def test_after_a_statement_that_failed_the_next_is_told_anew(pool_of_one):
    async def work():
        async with pool_of_one() as (store, _):
            found = []
            for number, other in ((A, B), (B, A), (A, A)):
                found.append(await owners(store, number))
                with pytest.raises(psycopg.errors.DivisionByZero):
                    await store.read(FAILING, organisation_id=other)
                found.append(await owners(store, number))
            return found

    assert run(work) == [{A}, {A}, {B}, {B}, {A}, {A}]


def test_after_a_request_that_was_given_up_nobody_is_shown_its_rows(pool_of_one):
    async def work():
        async with pool_of_one() as (store, _):
            found = []
            for number, other in ((A, B), (B, A)):
                with pytest.raises(TimeoutError):
                    await asyncio.wait_for(store.read(SLEEPING, organisation_id=other), 0.3)
                found.append(await owners(store, number))
            return found

    assert run(work) == [{A}, {B}]


def test_a_request_that_is_given_up_at_any_moment_leaves_no_wrong_memory(pool_of_one):
    """The moment may lie between the telling and the statement, so many are tried."""

    async def work():
        async with pool_of_one() as (store, _):
            found = []
            for turn in range(40):
                task = asyncio.ensure_future(owners(store, B))
                for _ in range(turn % 12):
                    await asyncio.sleep(0)
                task.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await task
                found.append(await owners(store, A))
            return found

    assert run(work) == [{A}] * 40


def test_after_a_connection_was_killed_the_new_one_is_told(pool_of_one):
    async def work():
        async with pool_of_one() as (store, unbound_url):
            found = [await owners(store, A)]
            for number in (B, A):
                with psycopg.connect(dsn(unbound_url), autocommit=True) as superuser:
                    superuser.execute(KILL)
                for _ in range(50):
                    try:
                        found.append(await owners(store, number))
                        break
                    except (StorageBusy, psycopg.Error):
                        await asyncio.sleep(0.05)
            return found

    assert run(work) == [{A}, {B}, {A}]


def test_what_is_read_at_the_door_is_told_nothing_and_changes_nothing(pool_of_one):
    async def work():
        async with pool_of_one() as (store, _):
            found = [await owners(store, A)]
            directory = len(
                await store.enter(
                    {"postgresql": OpenStatement(sa.select(sa.func.count()).select_from(sa.text("organisation_directory()")))}
                )
            )
            return found, directory, await owners(store, A), await owners(store, B)

    assert run(work) == ([{A}], 1, {A}, {B})


def test_a_writing_connection_forgets_its_organisation_when_its_transaction_ends(pool_of_one):
    async def work():
        async with pool_of_one() as (store, _):
            told = []
            for end in (None, ValueError):
                with contextlib.suppress(ValueError), store.transaction(makers.origin()) as unit:
                    told.append(unit.rows(TOLD))
                    if end is not None:
                        raise end
                with store.snapshot(Origin(B, makers.NOON, actor="test", request_id="test")) as unit:
                    told.append(unit.rows(TOLD))
                with store._writing.connection() as connection:
                    told.append(connection.execute("SELECT current_setting('reedbed.organisation', true)").fetchall())
                    told.append(connection.execute("SELECT count(*) FROM site").fetchall())
            return told

    once = [[(str(A),)], [(str(B),)], [("",)], [(0,)]]
    assert run(work) == once + once


class Forgetful(LayeredPostgres):
    """A store that trusts what it remembers although the statement failed, as one that sets plainly and never clears would."""

    async def read(self, statement, *, organisation_id, **parameters):
        """Read as whoever was told of first."""
        compiled = self.compiled(statement)
        async with self._reading.connection() as connection:
            if connection not in self._read_of:
                await connection.execute(self._told(organisation_id, local=""))
                self._read_of[connection] = organisation_id
            cursor = await connection.execute(compiled.sql, compiled.bound({"organisation_id": organisation_id, **parameters}))
            return compiled.own(await cursor.fetchall(), organisation_id)


def test_a_store_that_forgets_to_tell_is_found(postgres_place):
    async def work():
        with postgres_place.copied() as (url, _):
            store = Forgetful(sa.make_url(url), pool_size=1, layers=BARE)
            await store.open()
            try:
                return [await owners(store, number) for number in (A, B)]
            finally:
                await store.close_reads()
                store.close()

    assert run(work) == [{A}, {A}]
