"""Papers that leave the house: the file of a transfer; the number that a paper is looked up by, and what it rests on and is sealed with."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

PRINTED_BEFORE = (
    *("replacement-due", "animal-record", "enclosure-labels", "stock-statement"),
    *("permit-register", "periodic-return", "inspection-file", "incident-sheet"),
)
PRINTED = (*PRINTED_BEFORE, "transfer-file")


def _uuid() -> sa.Uuid[UUID]:
    return sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite")


def _instant() -> sa.DateTime:
    return sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def _report(*more: sa.Column[object]) -> sa.Table:
    """Return the table of papers but for the check of their kinds: SQLite makes a table anew to change it, and forgets the unsaid."""
    states = ("waiting", "running", "done", "failed")
    referred = ("site", "animal", "incident")
    return sa.Table(
        "report",
        sa.MetaData(),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", _uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", _instant(), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("site_id", _uuid(), nullable=True),
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
        sa.Column("requirement_code", sa.String(64), nullable=True),
        sa.Column("incident_id", _uuid(), nullable=True),
        *more,
        sa.CheckConstraint(f"state IN {states!r}", name=op.f("ck_report_work_state")),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_report__organisation")),
        *(
            sa.ForeignKeyConstraint(
                ["organisation_id", f"{one}_id"], [f"{one}.organisation_id", f"{one}.id"], name=op.f(f"fk_report_{one}_id_{one}")
            )
            for one in referred
        ),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_report")),
        sa.Index("ix_report_site", "organisation_id", "site_id", "id"),
    )


def _issued() -> tuple[sa.Column[object], ...]:
    return (
        sa.Column("transfer_id", _uuid(), nullable=True),
        sa.Column("paper_id", sa.String(40), nullable=True),
        sa.Column("issued_at", _instant(), nullable=True),
        sa.Column("rules", sa.Text(), nullable=True),
        sa.Column("sealed_with", sa.String(64), nullable=True),
        sa.Column("unsealed_sha256", sa.String(64), nullable=True),
    )


_TRANSFER = "fk_report_transfer_id_transfer"


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
    """Let papers be of transfers, and be looked up by whoever holds them."""
    _drop_check()
    with op.batch_alter_table("report", copy_from=_report(), recreate="auto") as batch_op:
        for column in _issued():
            batch_op.add_column(column)
        batch_op.create_foreign_key(op.f(_TRANSFER), "transfer", ["organisation_id", "transfer_id"], ["organisation_id", "id"])
        batch_op.create_check_constraint(op.f("ck_report_report_kind"), f"kind IN {PRINTED!r}")
    with op.batch_alter_table("report", schema=None) as batch_op:
        batch_op.create_index("ix_report_paper_id", ["organisation_id", "paper_id"], unique=True)
        batch_op.create_index("ix_report_issued", ["organisation_id", "kind", "issued_at"], unique=False)


def downgrade() -> None:
    """Take that away. The papers stay, as what was known."""
    with _rows_shown("report"):
        op.execute("UPDATE report SET kind = 'stock-statement' WHERE kind = 'transfer-file'")
    _drop_check()
    with op.batch_alter_table("report", schema=None) as batch_op:
        batch_op.drop_index("ix_report_issued")
        batch_op.drop_index("ix_report_paper_id")
    with op.batch_alter_table("report", copy_from=_report(*_issued()), recreate="auto") as batch_op:
        if op.get_bind().dialect.name == "postgresql":
            batch_op.drop_constraint(op.f(_TRANSFER), type_="foreignkey")
        for column in _issued():
            batch_op.drop_column(column.name)
        batch_op.create_check_constraint(op.f("ck_report_report_kind"), f"kind IN {PRINTED_BEFORE!r}")
