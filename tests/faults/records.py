"""What is in a database that nobody has open, once it has been examined."""

from __future__ import annotations

from pathlib import Path
from uuid import UUID

from api.nightly import SITES
from domain.actions.verify import prove
from domain.records.engine import SqliteStore
from domain.records.sites import Site
from tests import makers


def sites_in(database: Path) -> dict[UUID, str]:
    """Return the sites in a SQLite file by id; the file and the journal have to be whole."""
    store = SqliteStore(database)
    try:
        connection = store.connect()
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        connection.close()
        with store.snapshot(makers.origin()) as unit:
            assert prove(unit).flaws == []
            return {site.id: site.name for site in unit.all(Site, SITES)}
    finally:
        store.close()
