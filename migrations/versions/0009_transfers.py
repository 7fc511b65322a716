"""Transfers of animals: their plans, animals, papers and reports; reminders of what follows them; which obligation a notification met."""

from __future__ import annotations

from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

SERVICE_ROLE = "reedbed_service"
OWN_ORGANISATION = "(SELECT nullif(current_setting('reedbed.organisation', true), '')::bigint)"
ADDED = ("transfer", "transfer_animal", "transfer_paper", "transfer_report")
BASES = ("move", "sale", "gift", "exchange", "loan", "placement", "return")
STAGES = ("draft", "complete", "approved", "dispatched", "received", "refused", "returned", "closed")
GROUPINGS = ("individual", "group")
SEXES = ("female", "male", "hermaphrodite", "mixed", "unknown")
LIFE_STAGES = ("egg", "larva", "neonate", "juvenile", "subadult", "adult", "unknown")
ORIGINS = ("captive_bred", "farmed", "wild", "unknown")
ROLES = ("viewer", "keeper", "technician", "veterinarian", "curator", "registrar", "auditor", "administrator")
PRECISIONS = ("day", "month", "year")
REMINDED_BEFORE = (
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
REMINDED = (*REMINDED_BEFORE, "loan", "report", "quarantine")


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


def _unique_while_kept(table: str, *columns: str) -> None:
    with op.batch_alter_table(table, schema=None) as batch_op:
        batch_op.create_index(
            f"uq_{table}_{'_'.join(columns)}",
            ["organisation_id", *columns],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )


def _make_transfers() -> None:
    op.create_table(
        "transfer",
        sa.Column("basis", _words("transfer_basis", BASES), nullable=False),
        sa.Column("reference", sa.String(120), nullable=False),
        sa.Column("from_site_id", _uuid(), nullable=True),
        sa.Column("to_site_id", _uuid(), nullable=True),
        sa.Column("party", sa.String(), nullable=True),
        sa.Column("party_address", sa.String(4000), nullable=False),
        sa.Column("party_contact", sa.String(), nullable=True),
        sa.Column("party_licence", sa.String(), nullable=True),
        sa.Column("party_licence_until", sa.Date(), nullable=True),
        sa.Column("party_jurisdiction", sa.String(), nullable=True),
        sa.Column("dispatch_on", sa.Date(), nullable=False),
        sa.Column("arrive_on", sa.Date(), nullable=False),
        sa.Column("buffer_days", sa.Integer(), nullable=False),
        sa.Column("carrier", sa.String(), nullable=True),
        sa.Column("carrier_contact", sa.String(), nullable=True),
        sa.Column("carrier_authorisation", sa.String(), nullable=True),
        sa.Column("carrier_until", sa.Date(), nullable=True),
        sa.Column("container", sa.String(), nullable=True),
        sa.Column("least_c", sa.Float(), nullable=True),
        sa.Column("most_c", sa.Float(), nullable=True),
        sa.Column("care", sa.String(4000), nullable=False),
        sa.Column("quarantine_enclosure_id", _uuid(), nullable=True),
        sa.Column("quarantine_days", sa.Integer(), nullable=True),
        sa.Column("quarantine_reason", sa.String(), nullable=True),
        sa.Column("due_back_on", sa.Date(), nullable=True),
        sa.Column("offspring_split", sa.String(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("report_after_days", sa.Text(), nullable=False),
        sa.Column("reference_key", sa.String(), nullable=False),
        sa.Column("site_id", _uuid(), nullable=False),
        sa.Column("stage", _words("transfer_stage", STAGES), nullable=False),
        sa.Column("approved_by", sa.String(64), nullable=True),
        sa.Column("dispatched_at", _instant(), nullable=True),
        sa.Column("dispatch_c", sa.Float(), nullable=True),
        sa.Column("arrived_at", _instant(), nullable=True),
        sa.Column("arrival_c", sa.Float(), nullable=True),
        sa.Column("refused_because", sa.String(), nullable=True),
        sa.Column("closed_on", sa.Date(), nullable=True),
        sa.Column("source", sa.Text(), nullable=True),
        *_keys("transfer", from_site_id="site", to_site_id="site", site_id="site", quarantine_enclosure_id="enclosure"),
    )
    _unique_while_kept("transfer", "reference_key")
    _index("transfer", "ix_transfer_site", "site_id", "stage")
    _index("transfer", "ix_transfer_stage", "stage")

    op.create_table(
        "transfer_animal",
        sa.Column("animal_id", _uuid(), nullable=True),
        sa.Column("taxon_id", _uuid(), nullable=True),
        sa.Column("tag", sa.String(), nullable=True),
        sa.Column("grouping", _words("grouping", GROUPINGS), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("sex", _words("sex", SEXES), nullable=False),
        sa.Column("life_stage", _words("life_stage", LIFE_STAGES), nullable=False),
        sa.Column("origin", _words("origin", ORIGINS), nullable=False),
        sa.Column("hatched_on", sa.Date(), nullable=True),
        sa.Column("hatched_precision", _words("date_precision", PRECISIONS), nullable=False),
        sa.Column("name_as_printed", sa.String(), nullable=True),
        sa.Column("transponder", sa.String(), nullable=True),
        sa.Column("other_mark", sa.String(), nullable=True),
        sa.Column("mass_g", sa.Float(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("transfer_id", _uuid(), nullable=False),
        sa.Column("mark_loaded", sa.String(), nullable=True),
        sa.Column("mark_arrived", sa.String(), nullable=True),
        sa.Column("arrived", sa.Boolean(), nullable=True),
        sa.Column("condition", sa.String(), nullable=True),
        sa.Column("discrepancy", sa.String(), nullable=True),
        sa.Column("quarantine_until", sa.Date(), nullable=True),
        *_keys("transfer_animal", transfer_id="transfer", animal_id="animal", taxon_id="taxon"),
    )
    _unique_while_kept("transfer_animal", "transfer_id", "animal_id")
    _index("transfer_animal", "ix_transfer_animal_animal", "animal_id")

    op.create_table(
        "transfer_paper",
        sa.Column("title", sa.String(120), nullable=False),
        sa.Column("kind", sa.String(), nullable=True),
        sa.Column("number", sa.String(120), nullable=False),
        sa.Column("authority", sa.String(), nullable=True),
        sa.Column("issued_on", sa.Date(), nullable=False),
        sa.Column("inspected_on", sa.Date(), nullable=True),
        sa.Column("valid_until", sa.Date(), nullable=True),
        sa.Column("requirement_code", sa.String(), nullable=True),
        sa.Column("document_id", _uuid(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("transfer_animal_ids", sa.Text(), nullable=False),
        sa.Column("transfer_id", _uuid(), nullable=False),
        *_keys("transfer_paper", transfer_id="transfer", document_id="document"),
    )
    _index("transfer_paper", "ix_transfer_paper_transfer", "transfer_id")

    op.create_table(
        "transfer_report",
        sa.Column("after_days", sa.Integer(), nullable=False),
        sa.Column("reported_on", sa.Date(), nullable=False),
        sa.Column("text", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("transfer_id", _uuid(), nullable=False),
        *_keys("transfer_report", transfer_id="transfer"),
    )
    _unique_while_kept("transfer_report", "transfer_id", "after_days")


def _guard_and_admit() -> None:
    if op.get_bind().dialect.name == "sqlite":
        return
    for table in ADDED:
        own = f"organisation_id = {OWN_ORGANISATION}"
        op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
        op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY own_organisation ON {table} USING ({own}) WITH CHECK ({own})")
        op.execute(f"GRANT SELECT, INSERT, UPDATE ON {table} TO {SERVICE_ROLE}")


def _reminder() -> sa.Table:
    """Return the table of reminders but for the check of their kinds: SQLite makes a table anew to change it, and forgets the unsaid."""
    return sa.Table(
        "reminder",
        sa.MetaData(),
        *_of_every_record(),
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
        *_keys("reminder", site_id="site"),
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
    """Make the tables, then the guards; then let reminders be of what follows a transfer."""
    _make_transfers()
    _guard_and_admit()
    _remind_of(REMINDED)
    op.add_column("notification", sa.Column("obligation_code", sa.String(), nullable=True))


def downgrade() -> None:
    """Take that away; reminders of what follows a transfer go with it."""
    forced = op.get_bind().dialect.name == "postgresql"
    if forced:
        op.execute("ALTER TABLE reminder NO FORCE ROW LEVEL SECURITY")
    op.execute("DELETE FROM reminder WHERE kind IN ('loan', 'report', 'quarantine')")
    if forced:
        op.execute("ALTER TABLE reminder FORCE ROW LEVEL SECURITY")
    _remind_of(REMINDED_BEFORE)
    with op.batch_alter_table("notification") as batch_op:
        batch_op.drop_column("obligation_code")
    for table in reversed(ADDED):
        op.drop_table(table)
