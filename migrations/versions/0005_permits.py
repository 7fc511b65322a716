"""Permits with their taxa, animals, conditions and events; premises; overrides; expected broods; lists of permits and of people."""

from __future__ import annotations

from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

SERVICE_ROLE = "reedbed_service"
OWN_ORGANISATION = "(SELECT nullif(current_setting('reedbed.organisation', true), '')::bigint)"
ADDED = (
    "permit",
    "permit_taxon",
    "permit_animal",
    "permit_condition",
    "permit_event",
    "premises",
    "override",
    "expected_brood",
)
OCCASIONS = (
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
IMPORTED_BEFORE = ("sites", "enclosures", "equipment-models", "equipment", "taxa", "animals", "placements", "marks", "measurements")
IMPORTED = (*IMPORTED_BEFORE, "permits", "staff", "competences")


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


def _make_permits() -> None:
    op.create_table(
        "permit",
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("jurisdiction", sa.String(), nullable=False),
        sa.Column("authority", sa.String(120), nullable=False),
        sa.Column("number", sa.String(120), nullable=False),
        sa.Column("holder", sa.String(), nullable=True),
        sa.Column("holder_id", _uuid(), nullable=True),
        sa.Column("site_id", _uuid(), nullable=True),
        sa.Column("issued_on", sa.Date(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=True),
        sa.Column("inspected_on", sa.Date(), nullable=True),
        sa.Column("used_on", sa.Date(), nullable=True),
        sa.Column("withdrawn_on", sa.Date(), nullable=True),
        sa.Column("activities", sa.Text(), nullable=False),
        sa.Column("any_taxon", sa.Boolean(), nullable=False),
        sa.Column("total_number", sa.Integer(), nullable=True),
        sa.Column("replaces_id", _uuid(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("authority_key", sa.String(), nullable=False),
        sa.Column("number_key", sa.String(), nullable=False),
        *_keys("permit", site_id="site", holder_id="staff", replaces_id="permit"),
    )
    _unique_while_kept("permit", "kind", "authority_key", "number_key")
    _index("permit", "ix_permit_site", "site_id")
    _index("permit", "ix_permit_replaces", "replaces_id")


def _make_parts_of_permits() -> None:
    op.create_table(
        "permit_taxon",
        sa.Column("taxon_id", _uuid(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("permit_id", _uuid(), nullable=False),
        *_keys("permit_taxon", permit_id="permit", taxon_id="taxon"),
    )
    _unique_while_kept("permit_taxon", "permit_id", "taxon_id")
    _index("permit_taxon", "ix_permit_taxon_taxon", "taxon_id")

    op.create_table(
        "permit_animal",
        sa.Column("animal_id", _uuid(), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("permit_id", _uuid(), nullable=False),
        *_keys("permit_animal", permit_id="permit", animal_id="animal"),
    )
    _unique_while_kept("permit_animal", "permit_id", "animal_id")
    _index("permit_animal", "ix_permit_animal_animal", "animal_id")

    op.create_table(
        "permit_condition",
        sa.Column("text", sa.String(4000), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("every_months", sa.Integer(), nullable=True),
        sa.Column("first_due_on", sa.Date(), nullable=True),
        sa.Column("met_on", sa.Date(), nullable=True),
        sa.Column("met_by_id", _uuid(), nullable=True),
        sa.Column("proof", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("permit_id", _uuid(), nullable=False),
        sa.Column("follows_id", _uuid(), nullable=True),
        *_keys("permit_condition", permit_id="permit", met_by_id="staff", follows_id="permit_condition"),
    )
    _unique_while_kept("permit_condition", "follows_id")
    _index("permit_condition", "ix_permit_condition_permit", "permit_id")

    op.create_table(
        "permit_event",
        sa.Column("occasion", sa.Enum(*OCCASIONS, name="occasion", native_enum=False, create_constraint=True, length=32), nullable=False),
        sa.Column("happened_on", sa.Date(), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("permit_id", _uuid(), nullable=False),
        *_keys("permit_event", permit_id="permit"),
    )
    _index("permit_event", "ix_permit_event_permit", "permit_id")


def _make_what_is_beside() -> None:
    op.create_table(
        "premises",
        sa.Column("holder_kind", sa.String(), nullable=True),
        sa.Column("public_days", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("kinds", sa.Text(), nullable=True),
        sa.Column("site_id", _uuid(), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("until_on", sa.Date(), nullable=True),
        *_keys("premises", site_id="site"),
    )
    _index("premises", "ix_premises_days", "site_id", "from_on", "until_on")

    op.create_table(
        "override",
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
        *_of_every_record(),
        *_keys("override", animal_id="animal", site_id="site", staff_id="staff", document_id="document"),
    )
    _index("override", "ix_override_animal", "animal_id")
    _index("override", "ix_override_site", "site_id")

    op.create_table(
        "expected_brood",
        sa.Column("seen_on", sa.Date(), nullable=False),
        sa.Column("expected_on", sa.Date(), nullable=True),
        sa.Column("number_low", sa.Integer(), nullable=True),
        sa.Column("number_high", sa.Integer(), nullable=True),
        sa.Column("outcome_event_id", _uuid(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        *_of_every_record(),
        sa.Column("animal_id", _uuid(), nullable=False),
        *_keys("expected_brood", animal_id="animal", outcome_event_id="animal_event"),
    )
    _index("expected_brood", "ix_expected_brood_animal", "animal_id")


def _keep_apart() -> None:
    """Have the database refuse facts of one site's premises whose days overlap, but for those that were withdrawn."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "ALTER TABLE premises ADD CONSTRAINT ex_premises_days EXCLUDE USING gist "
            "(organisation_id WITH =, site_id WITH =, daterange(from_on, until_on, '[]') WITH &&) WHERE (ended_on IS NULL)"
        )
        return
    alike = "o.organisation_id = NEW.organisation_id AND o.site_id = NEW.site_id AND o.id <> NEW.id AND o.ended_on IS NULL"
    shared = "o.from_on <= coalesce(NEW.until_on, '9999-12-31') AND coalesce(o.until_on, '9999-12-31') >= NEW.from_on"
    others = f"SELECT 1 FROM premises AS o WHERE {alike} AND {shared}"  # noqa: S608 - our names
    for act in ("INSERT", "UPDATE"):
        op.execute(
            f"CREATE TRIGGER ex_premises_days_{act.lower()} BEFORE {act} ON premises "
            f"WHEN NEW.ended_on IS NULL AND EXISTS ({others}) BEGIN SELECT RAISE(ABORT, 'ex_premises_days'); END"
        )


def _guard_and_admit() -> None:
    if op.get_bind().dialect.name == "sqlite":
        return
    for table in ADDED:
        own = f"organisation_id = {OWN_ORGANISATION}"
        op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
        op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY own_organisation ON {table} USING ({own}) WITH CHECK ({own})")
        op.execute(f"GRANT SELECT, INSERT, UPDATE ON {table} TO {SERVICE_ROLE}")


def _import_run() -> sa.Table:
    """Return the table of imports but for the check of their kinds: SQLite makes a table anew to change one, and forgets the unsaid."""
    states = ("waiting", "running", "done", "failed")
    return sa.Table(
        "import_run",
        sa.MetaData(),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", _uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("file_name", sa.String(200), nullable=False),
        sa.Column("file_sha256", sa.String(64), nullable=False),
        sa.Column("options", sa.Text(), nullable=False),
        sa.Column("state", sa.String(32), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=True),
        sa.Column("error", sa.String(), nullable=True),
        sa.CheckConstraint(f"state IN {states!r}", name=op.f("ck_import_run_work_state")),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_import_run__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_import_run")),
    )


def _import(kinds: tuple[str, ...]) -> None:
    """Have imports be of these kinds and no other."""
    if op.get_bind().dialect.name == "postgresql":
        op.drop_constraint(op.f("ck_import_run_import_kind"), "import_run", type_="check")
    with op.batch_alter_table("import_run", copy_from=_import_run(), recreate="auto") as batch_op:
        batch_op.create_check_constraint(op.f("ck_import_run_import_kind"), f"kind IN {kinds!r}")


def _import_less() -> None:
    """Let imports be of the kinds of before. Those of later kinds, whose reports stay, become the nearest that was known."""
    forced = op.get_bind().dialect.name == "postgresql"
    if forced:
        op.execute("ALTER TABLE import_run NO FORCE ROW LEVEL SECURITY")
    op.execute("UPDATE import_run SET kind = 'animals' WHERE kind = 'permits'")
    op.execute("UPDATE import_run SET kind = 'sites' WHERE kind IN ('staff', 'competences')")
    if forced:
        op.execute("ALTER TABLE import_run FORCE ROW LEVEL SECURITY")
    _import(IMPORTED_BEFORE)


def upgrade() -> None:
    """Let imports be of more kinds, make the tables, then the guards."""
    _import(IMPORTED)
    _make_permits()
    _make_parts_of_permits()
    _make_what_is_beside()
    _keep_apart()
    _guard_and_admit()


def downgrade() -> None:
    """Take the tables away, and the kinds of imports."""
    for table in reversed(ADDED):
        op.drop_table(table)
    _import_less()
