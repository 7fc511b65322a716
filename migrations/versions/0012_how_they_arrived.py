"""How many animals of a transfer arrived and how many of them dead, when they were refused, and reminders of arrivals that are late."""

from __future__ import annotations

from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

ROLES = ("viewer", "keeper", "technician", "veterinarian", "curator", "registrar", "auditor", "administrator")
REMINDED_BEFORE = (
    *("renewal", "condition", "return", "inspection", "competence", "check", "drill", "retention_end", "replacement", "head_room"),
    *("loan", "report", "quarantine"),
)
REMINDED = (*REMINDED_BEFORE, "arrival")


def _words(name: str, words: tuple[str, ...]) -> sa.Enum:
    return sa.Enum(*words, name=name, native_enum=False, create_constraint=True, length=32)


def _instant() -> sa.DateTime:
    return sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def _uuid() -> sa.Uuid[UUID]:
    return sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite")


def _reminder() -> sa.Table:
    """Return the table of reminders but for the check of their kinds: SQLite makes a table anew to change it, and forgets the unsaid."""
    return sa.Table(
        "reminder",
        sa.MetaData(),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", _uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", _instant(), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("subject", sa.String(32), nullable=False),
        sa.Column("subject_id", _uuid(), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("occurrence", sa.String(200), nullable=False),
        sa.Column("stage", _words("stage", ("ahead", "soon", "due", "overdue")), nullable=False),
        sa.Column("site_id", _uuid(), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("sentence", sa.String(), nullable=False),
        sa.Column("state", _words("reminder_state", ("open", "acknowledged", "deferred", "closed")), nullable=False),
        sa.Column("deferred_until", sa.Date(), nullable=True),
        sa.Column("reason", sa.String(), nullable=True),
        sa.Column("role", _words("role", ROLES), nullable=True),
        sa.Column("changed_at", _instant(), nullable=False),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_reminder__organisation")),
        sa.ForeignKeyConstraint(["organisation_id", "site_id"], ["site.organisation_id", "site.id"], name=op.f("fk_reminder_site_id_site")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_reminder")),
        sa.UniqueConstraint("organisation_id", "subject", "subject_id", "kind", "occurrence", "stage", name=op.f("uq_reminder_key")),
        sa.Index("ix_reminder_site", "organisation_id", "site_id", "due_on"),
        sa.Index("ix_reminder_due", "organisation_id", "due_on", "id"),
    )


def _remind_of(kinds: tuple[str, ...]) -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.drop_constraint(op.f("ck_reminder_reminder_kind"), "reminder", type_="check")
    with op.batch_alter_table("reminder", copy_from=_reminder(), recreate="auto") as batch_op:
        batch_op.create_check_constraint(op.f("ck_reminder_reminder_kind"), f"kind IN {kinds!r}")


def upgrade() -> None:
    """Let it be said. Of what arrived or was refused before it is not known."""
    op.add_column("transfer", sa.Column("refused_at", _instant(), nullable=True))
    for name in ("arrived_number", "arrived_dead"):
        op.add_column("transfer_animal", sa.Column(name, sa.Integer(), nullable=True))
    _remind_of(REMINDED)


def downgrade() -> None:
    """Take that away; reminders of arrivals that are late go with it."""
    forced = op.get_bind().dialect.name == "postgresql"
    if forced:
        op.execute("ALTER TABLE reminder NO FORCE ROW LEVEL SECURITY")
    op.execute("DELETE FROM reminder WHERE kind = 'arrival'")
    if forced:
        op.execute("ALTER TABLE reminder FORCE ROW LEVEL SECURITY")
    _remind_of(REMINDED_BEFORE)
    for name in ("arrived_number", "arrived_dead"):
        op.drop_column("transfer_animal", name)
    op.drop_column("transfer", "refused_at")
