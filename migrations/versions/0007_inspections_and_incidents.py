"""Inspections with their findings and what is done about them; incidents with the animals concerned and whom they were told."""

from __future__ import annotations

from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

SERVICE_ROLE = "reedbed_service"
OWN_ORGANISATION = "(SELECT nullif(current_setting('reedbed.organisation', true), '')::bigint)"
ADDED = ("inspection", "inspection_finding", "corrective_action", "incident", "incident_animal", "notification")
VISITS = ("announced", "unannounced", "follow_up", "internal")
WEIGHTS = ("remark", "shortcoming", "grave")
INCIDENTS = ("escape", "bite", "injury", "death", "outage", "contamination")


def _words(name: str, words: tuple[str, ...]) -> sa.Enum:
    return sa.Enum(*words, name=name, native_enum=False, create_constraint=True, length=32)


def _instant() -> sa.DateTime:
    return sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def _uuid() -> sa.Uuid[UUID]:
    return sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite")


def _of_every_record() -> tuple[sa.Column[object], ...]:
    return (
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", _uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
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


def _unique_while_kept(table: str, *columns: str) -> None:
    with op.batch_alter_table(table, schema=None) as batch_op:
        batch_op.create_index(
            f"uq_{table}_{'_'.join(columns)}",
            ["organisation_id", *columns],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )


def _make_inspections() -> None:
    op.create_table(
        "inspection",
        sa.Column("site_id", _uuid(), nullable=False),
        sa.Column("visited_on", sa.Date(), nullable=False),
        sa.Column("kind", _words("visit_kind", VISITS), nullable=False),
        sa.Column("authority", sa.String(120), nullable=False),
        sa.Column("inspectors", sa.String(4000), nullable=False),
        sa.Column("reference", sa.String(), nullable=True),
        sa.Column("summary", sa.String(4000), nullable=False),
        *_of_every_record(),
        *_keys("inspection", site_id="site"),
    )
    _index("inspection", "ix_inspection_site", "site_id", "visited_on")

    op.create_table(
        "inspection_finding",
        sa.Column("text", sa.String(4000), nullable=False),
        sa.Column("weight", _words("weight", WEIGHTS), nullable=False),
        sa.Column("requirement_code", sa.String(), nullable=True),
        sa.Column("enclosure_id", _uuid(), nullable=True),
        sa.Column("animal_id", _uuid(), nullable=True),
        sa.Column("permit_id", _uuid(), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("closed_on", sa.Date(), nullable=True),
        sa.Column("closing", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("inspection_id", _uuid(), nullable=False),
        *_keys("inspection_finding", inspection_id="inspection", enclosure_id="enclosure", animal_id="animal", permit_id="permit"),
    )
    _index("inspection_finding", "ix_inspection_finding_inspection", "inspection_id")

    op.create_table(
        "corrective_action",
        sa.Column("finding_id", _uuid(), nullable=False),
        sa.Column("text", sa.String(4000), nullable=False),
        sa.Column("staff_id", _uuid(), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("done_on", sa.Date(), nullable=True),
        sa.Column("proof", sa.String(4000), nullable=False),
        sa.Column("document_id", _uuid(), nullable=True),
        *_of_every_record(),
        sa.Column("inspection_id", _uuid(), nullable=False),
        *_keys("corrective_action", inspection_id="inspection", finding_id="inspection_finding", staff_id="staff", document_id="document"),
    )
    _index("corrective_action", "ix_corrective_action_finding", "finding_id")
    _index("corrective_action", "ix_corrective_action_inspection", "inspection_id")


def _make_incidents() -> None:
    op.create_table(
        "incident",
        sa.Column("site_id", _uuid(), nullable=False),
        sa.Column("kind", _words("incident_kind", INCIDENTS), nullable=False),
        sa.Column("enclosure_id", _uuid(), nullable=True),
        sa.Column("persons_hurt", sa.Integer(), nullable=False),
        sa.Column("account", sa.String(4000), nullable=False),
        sa.Column("closed_on", sa.Date(), nullable=True),
        sa.Column("outcome", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("found_at", _instant(), nullable=False),
        *_keys("incident", site_id="site", enclosure_id="enclosure"),
    )
    _index("incident", "ix_incident_site", "site_id", "found_at")

    op.create_table(
        "incident_animal",
        sa.Column("animal_id", _uuid(), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("incident_id", _uuid(), nullable=False),
        *_keys("incident_animal", incident_id="incident", animal_id="animal"),
    )
    _unique_while_kept("incident_animal", "incident_id", "animal_id")
    _index("incident_animal", "ix_incident_animal_animal", "animal_id")

    op.create_table(
        "notification",
        sa.Column("told_to", sa.String(120), nullable=False),
        sa.Column("requirement_code", sa.String(), nullable=True),
        sa.Column("way", sa.String(120), nullable=False),
        sa.Column("reference", sa.String(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("incident_id", _uuid(), nullable=False),
        sa.Column("told_at", _instant(), nullable=False),
        *_keys("notification", incident_id="incident"),
    )
    _index("notification", "ix_notification_incident", "incident_id")


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
    _make_inspections()
    _make_incidents()
    _guard_and_admit()


def downgrade() -> None:
    """Take the tables away."""
    for table in reversed(ADDED):
        op.drop_table(table)
