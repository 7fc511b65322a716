"""Papers for authorities: of permits, returns, inspections and incidents; of a requirement; and of the whole organisation, at no site."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

PRINTED_BEFORE = ("replacement-due", "animal-record", "enclosure-labels", "stock-statement")
PRINTED = (*PRINTED_BEFORE, "permit-register", "periodic-return", "inspection-file", "incident-sheet")


def _uuid() -> sa.Uuid[UUID]:
    return sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite")


def _report(*more: sa.Column[object], at_a_site: bool) -> sa.Table:
    """Return the table of papers but for the check of their kinds: SQLite makes a table anew to change it, and forgets the unsaid."""
    states = ("waiting", "running", "done", "failed")
    return sa.Table(
        "report",
        sa.MetaData(),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", _uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("site_id", _uuid(), nullable=not at_a_site),
        sa.Column("local_date", sa.Date(), nullable=False),
        sa.Column("later_days", sa.Integer(), nullable=True),
        sa.Column("state", sa.String(32), nullable=False),
        sa.Column("nightly_run_id", _uuid(), nullable=True),
        sa.Column("record_hash", sa.String(64), nullable=True),
        sa.Column("error", sa.String(), nullable=True),
        sa.Column("animal_id", _uuid(), nullable=True),
        sa.Column("from_on", sa.Date(), nullable=True),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.Column("first_label", sa.Integer(), nullable=True),
        *more,
        sa.CheckConstraint(f"state IN {states!r}", name=op.f("ck_report_work_state")),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_report__organisation")),
        sa.ForeignKeyConstraint(["organisation_id", "site_id"], ["site.organisation_id", "site.id"], name=op.f("fk_report_site_id_site")),
        sa.ForeignKeyConstraint(
            ["organisation_id", "animal_id"], ["animal.organisation_id", "animal.id"], name=op.f("fk_report_animal_id_animal")
        ),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_report")),
        sa.Index("ix_report_site", "organisation_id", "site_id", "id"),
    )


def _asked() -> tuple[sa.Column[object], ...]:
    return sa.Column("requirement_code", sa.String(64), nullable=True), sa.Column("incident_id", _uuid(), nullable=True)


_INCIDENT = "fk_report_incident_id_incident"


@contextmanager
def _rows_shown(*tables: str) -> Iterator[None]:
    """Show the owner the rows of every organisation; on PostgreSQL forced row-level security shows it none."""
    forced = op.get_bind().dialect.name == "postgresql"
    for table in tables if forced else ():
        op.execute(f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")
    yield
    for table in tables if forced else ():
        op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")


def _drop_check() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.drop_constraint(op.f("ck_report_report_kind"), "report", type_="check")


def upgrade() -> None:
    """Let papers be of more kinds, of a requirement, and at no site."""
    _drop_check()
    with op.batch_alter_table("report", copy_from=_report(at_a_site=True), recreate="auto") as batch_op:
        for column in _asked():
            batch_op.add_column(column)
        batch_op.create_foreign_key(op.f(_INCIDENT), "incident", ["organisation_id", "incident_id"], ["organisation_id", "id"])
        batch_op.alter_column("site_id", existing_type=_uuid(), nullable=True)
        batch_op.create_check_constraint(op.f("ck_report_report_kind"), f"kind IN {PRINTED!r}")


def downgrade() -> None:
    """Take that away. The papers stay, as what was known and at the organisation's first site; without any site they go."""
    with _rows_shown("report", "report_file", "site"):
        op.execute("UPDATE report SET kind = 'stock-statement' WHERE kind IN ('periodic-return', 'inspection-file', 'incident-sheet')")
        op.execute("UPDATE report SET kind = 'replacement-due' WHERE kind = 'permit-register'")
        first = "SELECT s.id FROM site AS s WHERE s.organisation_id = report.organisation_id ORDER BY s.id LIMIT 1"
        op.execute(f"UPDATE report SET site_id = ({first}) WHERE site_id IS NULL")  # noqa: S608 - our names
        nowhere = "SELECT 1 FROM report AS r WHERE r.organisation_id = report_file.organisation_id AND r.id = report_file.report_id"
        op.execute(f"DELETE FROM report_file WHERE EXISTS ({nowhere} AND r.site_id IS NULL)")  # noqa: S608 - our names
        op.execute("DELETE FROM report WHERE site_id IS NULL")
    _drop_check()
    with op.batch_alter_table("report", copy_from=_report(*_asked(), at_a_site=False), recreate="auto") as batch_op:
        if op.get_bind().dialect.name == "postgresql":
            batch_op.drop_constraint(op.f(_INCIDENT), type_="foreignkey")
        for column in _asked():
            batch_op.drop_column(column.name)
        batch_op.alter_column("site_id", existing_type=_uuid(), nullable=False)
        batch_op.create_check_constraint(op.f("ck_report_report_kind"), f"kind IN {PRINTED_BEFORE!r}")
