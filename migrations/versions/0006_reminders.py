"""Reminders of what must be done by when, and the calendars that people subscribe to."""

from __future__ import annotations

from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

SERVICE_ROLE = "reedbed_service"
OWN_ORGANISATION = "(SELECT nullif(current_setting('reedbed.organisation', true), '')::bigint)"
ADDED = ("reminder", "calendar_feed")
KINDS = (
    "renewal",
    "condition",
    "return",
    "inspection",
    "competence",
    "check",
    "drill",
    "retention_end",
    "replacement",
    "head_room",
)
STAGES = ("ahead", "soon", "due", "overdue")
STATES = ("open", "acknowledged", "deferred", "closed")
ROLES = ("viewer", "keeper", "technician", "veterinarian", "curator", "registrar", "auditor", "administrator")


def _uuid() -> sa.Uuid[UUID]:
    return sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite")


def _instant() -> sa.DateTime:
    return sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def _words(name: str, *words: str) -> sa.Enum:
    return sa.Enum(*words, name=name, native_enum=False, create_constraint=True, length=32)


def _of_every_record() -> tuple[sa.Column[object], ...]:
    return (
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", _uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", _instant(), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
    )


def _keys(table: str, **referred: str) -> tuple[sa.Constraint, ...]:
    """Return the keys of a table; ``referred`` are the tables that its columns point at."""
    return (
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f(f"fk_{table}__organisation")),
        *(
            sa.ForeignKeyConstraint(
                ["organisation_id", column], [f"{other}.organisation_id", f"{other}.id"], name=op.f(f"fk_{table}_{column}_{other}")
            )
            for column, other in referred.items()
        ),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f(f"pk_{table}")),
    )


def _index(table: str, name: str, *columns: str) -> None:
    with op.batch_alter_table(table, schema=None) as batch_op:
        batch_op.create_index(name, ["organisation_id", *columns], unique=False)


def _make_reminders() -> None:
    op.create_table(
        "reminder",
        *_of_every_record(),
        sa.Column("subject", sa.String(32), nullable=False),
        sa.Column("subject_id", _uuid(), nullable=False),
        sa.Column("kind", _words("reminder_kind", *KINDS), nullable=False),
        sa.Column("occurrence", sa.String(200), nullable=False),
        sa.Column("stage", _words("stage", *STAGES), nullable=False),
        sa.Column("site_id", _uuid(), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("sentence", sa.String(), nullable=False),
        sa.Column("state", _words("reminder_state", *STATES), nullable=False),
        sa.Column("deferred_until", sa.Date(), nullable=True),
        sa.Column("reason", sa.String(), nullable=True),
        sa.Column("role", _words("role", *ROLES), nullable=True),
        sa.Column("changed_at", _instant(), nullable=False),
        *_keys("reminder", site_id="site"),
        sa.UniqueConstraint("organisation_id", "subject", "subject_id", "kind", "occurrence", "stage", name=op.f("uq_reminder_key")),
    )
    _index("reminder", "ix_reminder_site", "site_id", "due_on")
    _index("reminder", "ix_reminder_due", "due_on", "id")


def _make_calendars() -> None:
    op.create_table(
        "calendar_feed",
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("site_id", _uuid(), nullable=True),
        *_of_every_record(),
        sa.Column("kinds", sa.Text(), nullable=True),
        sa.Column("staff_id", _uuid(), nullable=False),
        sa.Column("secret_sha256", sa.String(64), nullable=False),
        *_keys("calendar_feed", staff_id="staff", site_id="site"),
        sa.UniqueConstraint("organisation_id", "secret_sha256", name=op.f("uq_calendar_feed_secret")),
    )
    _index("calendar_feed", "ix_calendar_feed_staff", "staff_id")


def _guard_and_admit() -> None:
    if op.get_bind().dialect.name == "sqlite":
        return
    for table in ADDED:
        own = f"organisation_id = {OWN_ORGANISATION}"
        op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
        op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY own_organisation ON {table} USING ({own}) WITH CHECK ({own})")
        op.execute(f"GRANT SELECT, INSERT, UPDATE ON {table} TO {SERVICE_ROLE}")


def upgrade() -> None:
    """Make the tables, then the guards."""
    _make_reminders()
    _make_calendars()
    _guard_and_admit()


def downgrade() -> None:
    """Take the tables away."""
    for table in reversed(ADDED):
        op.drop_table(table)
