"""Overrides of one edition of a requirement, for some activities; that a permitted number was exceeded."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

OCCASIONS_BEFORE = (
    "birth",
    "death",
    "arrival",
    "departure",
    "escape",
    "bite",
    "injury",
    "outage",
    "contamination",
    "address_change",
    "owner_change",
)
OCCASIONS = (*OCCASIONS_BEFORE, "number_exceeded")
KEEPING = '["hold"]'
"""What overrides were for that were registered before they could say so."""
_CHECK = "ck_permit_event_occasion"


def _uuid() -> sa.Uuid[UUID]:
    return sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite")


def _permit_event() -> sa.Table:
    """Return the table of events of permits but for the check of their occasions: SQLite makes a table anew, and forgets the unsaid."""
    return sa.Table(
        "permit_event",
        sa.MetaData(),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", _uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("occasion", sa.String(32), nullable=False),
        sa.Column("happened_on", sa.Date(), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("permit_id", _uuid(), nullable=False),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_permit_event__organisation")),
        sa.ForeignKeyConstraint(
            ["organisation_id", "permit_id"], ["permit.organisation_id", "permit.id"], name=op.f("fk_permit_event_permit_id_permit")
        ),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_permit_event")),
        sa.Index("ix_permit_event_permit", "organisation_id", "permit_id"),
    )


def _override(*more: sa.Column[object]) -> sa.Table:
    referred = {"animal_id": "animal", "site_id": "site", "staff_id": "staff", "document_id": "document"}
    return sa.Table(
        "override",
        sa.MetaData(),
        sa.Column("requirement_code", sa.String(), nullable=False),
        sa.Column("animal_id", _uuid(), nullable=True),
        sa.Column("site_id", _uuid(), nullable=True),
        sa.Column("staff_id", _uuid(), nullable=False),
        sa.Column("reason", sa.String(4000), nullable=False),
        sa.Column("evidence", sa.String(4000), nullable=False),
        sa.Column("document_id", _uuid(), nullable=True),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("expires_on", sa.Date(), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", _uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        *more,
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_override__organisation")),
        *(
            sa.ForeignKeyConstraint(
                ["organisation_id", column], [f"{other}.organisation_id", f"{other}.id"], name=op.f(f"fk_override_{column}_{other}")
            )
            for column, other in referred.items()
        ),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_override")),
        sa.Index("ix_override_animal", "organisation_id", "animal_id"),
        sa.Index("ix_override_site", "organisation_id", "site_id"),
    )


def _said(*, nullable: bool) -> tuple[sa.Column[object], ...]:
    return sa.Column("activities", sa.Text(), nullable=nullable), sa.Column("edition", sa.String(), nullable=nullable)


@contextmanager
def _rows_shown(*tables: str) -> Iterator[None]:
    """Show the owner the rows of every organisation; on PostgreSQL forced row-level security shows it none."""
    forced = op.get_bind().dialect.name == "postgresql"
    for table in tables if forced else ():
        op.execute(f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")
    yield
    for table in tables if forced else ():
        op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")


def _check_occasions(words: tuple[str, ...]) -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.drop_constraint(op.f(_CHECK), "permit_event", type_="check")
    with op.batch_alter_table("permit_event", copy_from=_permit_event(), recreate="auto") as batch_op:
        batch_op.create_check_constraint(op.f(_CHECK), f"occasion IN {words!r}")


def upgrade() -> None:
    """Bind overrides to activities and an edition: those on record to keeping, and to the edition in force on their first day."""
    with op.batch_alter_table("override", copy_from=_override(), recreate="auto") as batch_op:
        for column in _said(nullable=True):
            batch_op.add_column(column)
    in_force = (
        "SELECT r.edition FROM requirement AS r WHERE r.organisation_id = override.organisation_id AND r.code = override.requirement_code "
        "AND r.ended_on IS NULL AND r.applies_from <= override.from_on "
        "AND (r.applies_until IS NULL OR r.applies_until >= override.from_on) LIMIT 1"
    )
    with _rows_shown("override", "requirement"):
        op.execute(f"UPDATE override SET activities = '{KEEPING}', edition = coalesce(({in_force}), '')")  # noqa: S608 - our names
    with op.batch_alter_table("override", copy_from=_override(*_said(nullable=True)), recreate="auto") as batch_op:
        batch_op.alter_column("activities", existing_type=sa.Text(), nullable=False)
        batch_op.alter_column("edition", existing_type=sa.String(), nullable=False)
    _check_occasions(OCCASIONS)


def downgrade() -> None:
    """Take that away. A number that was exceeded stays, as a change of the owner: that ends a permit as well."""
    with _rows_shown("permit_event"):
        op.execute("UPDATE permit_event SET occasion = 'owner_change' WHERE occasion = 'number_exceeded'")
    _check_occasions(OCCASIONS_BEFORE)
    with op.batch_alter_table("override", copy_from=_override(*_said(nullable=False)), recreate="auto") as batch_op:
        for column in _said(nullable=False):
            batch_op.drop_column(column.name)
