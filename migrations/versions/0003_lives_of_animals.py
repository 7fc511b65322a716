"""Lives of animals: events, states, placements, marks, measurements, parents; what taxa need; competences; documents."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

SERVICE_ROLE = "reedbed_service"
OWN_ORGANISATION = "(SELECT nullif(current_setting('reedbed.organisation', true), '')::bigint)"
ADDED = (
    "containment",
    "concept_member",
    "document",
    "husbandry_target",
    "separation",
    "attachment",
    "competence",
    "animal_event",
    "animal_state",
    "call_name",
    "holding",
    "mark",
    "measurement",
    "parent",
    "placement",
)
APART = {
    "animal_state": ("animal_id",),
    "call_name": ("animal_id",),
    "containment": ("hazard",),
    "holding": ("animal_id",),
    "husbandry_target": ("taxon_id", "stage_key"),
    "placement": ("animal_id",),
}
"""Tables of dated intervals, each with the columns within which no two overlap."""
GROWN = {
    "animal": (
        ("hatched_on", "DATE"),
        ("hatched_precision", "VARCHAR(32) NOT NULL DEFAULT 'day'", ("date_precision", "day", "month", "year")),
        ("origin", "VARCHAR(32) NOT NULL DEFAULT 'unknown'", ("origin", "captive_bred", "farmed", "wild", "unknown")),
        ("locality", "VARCHAR"),
        ("name_as_printed", "VARCHAR"),
        ("estimated", "BOOLEAN NOT NULL DEFAULT FALSE"),
        ("sex", "VARCHAR(32) NOT NULL DEFAULT 'unknown'", ("sex", "female", "male", "hermaphrodite", "mixed", "unknown")),
        (
            "life_stage",
            "VARCHAR(32) NOT NULL DEFAULT 'unknown'",
            ("life_stage", "egg", "larva", "neonate", "juvenile", "subadult", "adult", "unknown"),
        ),
        (
            "status",
            "VARCHAR(32) NOT NULL DEFAULT 'present'",
            ("status", "present", "away", "missing", "dead", "departed", "merged"),
        ),
        ("came_on", "DATE"),
    ),
    "enclosure": (
        ("capacity", "INTEGER"),
        ("closure", "VARCHAR(32)", ("closure", "open", "covered", "latched", "locked", "locked_twice")),
        ("quarantine", "BOOLEAN NOT NULL DEFAULT FALSE"),
    ),
}
"""Columns that tables get, each with its type and, where it is a word, its check's name and the words."""
RANKS_BEFORE = ("order", "family", "genus", "species", "subspecies", "hybrid")
RANKS = ("class", "order", "suborder", "family", "subfamily", "genus", "species", "subspecies", "hybrid")

IMPORTED_BEFORE = ("sites", "enclosures", "equipment-models", "equipment")
IMPORTED = (*IMPORTED_BEFORE, "taxa", "animals", "placements", "marks", "measurements")

PRINTED = ("replacement-due", "animal-record", "enclosure-labels", "stock-statement")

REFRESH_STATISTICS = """
CREATE FUNCTION refresh_statistics() RETURNS void
LANGUAGE plpgsql VOLATILE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
    ANALYZE (SKIP_LOCKED) taxon, animal, animal_event, animal_state, placement, mark, measurement, call_name;
END
$$
"""
"""By which the service has the owner count what a long import has written, since PostgreSQL plans by what was counted."""


def _grow() -> None:
    for table, columns in GROWN.items():
        for name, kind, *words in columns:
            check = f" CONSTRAINT ck_{table}_{words[0][0]} CHECK ({name} IN {words[0][1:]!r})" if words else ""
            op.execute(f"ALTER TABLE {table} ADD COLUMN {name} {kind}{check}")


def _shrink() -> None:
    for table, columns in GROWN.items():
        for name, *_ in reversed(columns):
            op.execute(f"ALTER TABLE {table} DROP COLUMN {name}")


def _rewrite(table: str, *statements: str) -> None:
    """Change rows of every organisation; on PostgreSQL forced row-level security shows the owner none of them."""
    forced = op.get_bind().dialect.name == "postgresql"
    if forced:
        op.execute(f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")
    for statement in statements:
        op.execute(statement)
    if forced:
        op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")


def _taxon(*more: sa.Column[object]) -> sa.Table:
    """Return the table of taxa but for the check of its ranks: SQLite makes a table anew to change one, and forgets what is not said."""
    return sa.Table(
        "taxon",
        sa.MetaData(),
        sa.Column("scientific_name", sa.String(120), nullable=False),
        sa.Column("rank", sa.String(32), nullable=False),
        sa.Column("common_name", sa.String(), nullable=True),
        sa.Column("parent_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("name_key", sa.String(), nullable=False),
        *more,
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_taxon__organisation")),
        sa.ForeignKeyConstraint(
            ["organisation_id", "parent_id"], ["taxon.organisation_id", "taxon.id"], name=op.f("fk_taxon_parent_id_taxon")
        ),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_taxon")),
        sa.Index(
            "uq_taxon_name_key",
            "organisation_id",
            "name_key",
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        ),
    )


def _names() -> tuple[sa.Column[object], ...]:
    return (
        sa.Column("name_authorship", sa.String(), nullable=True),
        sa.Column("according_to", sa.String(), nullable=True),
        sa.Column("accepted_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("hazard", sa.String(32), nullable=True),
    )


def _grow_taxa() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.drop_constraint(op.f("ck_taxon_taxon_rank"), "taxon", type_="check")
    with op.batch_alter_table("taxon", copy_from=_taxon(), recreate="auto") as batch_op:
        for column in _names():
            batch_op.add_column(column)
        batch_op.create_check_constraint(op.f("ck_taxon_taxon_rank"), f"rank IN {RANKS!r}")
        batch_op.create_check_constraint(op.f("ck_taxon_hazard"), "hazard IN ('harmless', 'can_injure', 'dangerous', 'venomous')")
        batch_op.create_foreign_key(
            op.f("fk_taxon_accepted_id_taxon"), "taxon", ["organisation_id", "accepted_id"], ["organisation_id", "id"]
        )
        batch_op.create_index("ix_taxon_accepted_id", ["organisation_id", "accepted_id"], unique=False)


def _shrink_taxa() -> None:
    """Take the names' columns away. Ranks that were not known before become the nearest that was."""
    _rewrite(
        "taxon",
        "UPDATE taxon SET rank = 'order' WHERE rank IN ('class', 'suborder')",
        "UPDATE taxon SET rank = 'family' WHERE rank = 'subfamily'",
    )
    if op.get_bind().dialect.name == "postgresql":
        op.drop_index("ix_taxon_accepted_id", "taxon")
        for name in ("ck_taxon_taxon_rank", "ck_taxon_hazard"):
            op.drop_constraint(op.f(name), "taxon", type_="check")
        op.drop_constraint(op.f("fk_taxon_accepted_id_taxon"), "taxon", type_="foreignkey")
    with op.batch_alter_table("taxon", copy_from=_taxon(*_names()), recreate="auto") as batch_op:
        batch_op.create_check_constraint(op.f("ck_taxon_taxon_rank"), f"rank IN {RANKS_BEFORE!r}")
        for column in reversed(_names()):
            batch_op.drop_column(column.name)


def _import_run() -> sa.Table:
    """Return the table of imports but for the check of their kinds; as for taxa, SQLite makes it anew."""
    states = ("waiting", "running", "done", "failed")
    return sa.Table(
        "import_run",
        sa.MetaData(),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
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
    _rewrite(
        "import_run",
        "UPDATE import_run SET kind = 'equipment-models' WHERE kind = 'taxa'",
        "UPDATE import_run SET kind = 'equipment' WHERE kind IN ('animals', 'placements', 'marks', 'measurements')",
    )
    _import(IMPORTED_BEFORE)


def _report(*more: sa.Column[object]) -> sa.Table:
    """Return the table of papers but for the check of their kinds; as for taxa, SQLite makes it anew."""
    states = ("waiting", "running", "done", "failed")
    return sa.Table(
        "report",
        sa.MetaData(),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("site_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("local_date", sa.Date(), nullable=False),
        sa.Column("later_days", sa.Integer(), nullable=True),
        sa.Column("state", sa.String(32), nullable=False),
        sa.Column("nightly_run_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("record_hash", sa.String(64), nullable=True),
        sa.Column("error", sa.String(), nullable=True),
        *more,
        sa.CheckConstraint(f"state IN {states!r}", name=op.f("ck_report_work_state")),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_report__organisation")),
        sa.ForeignKeyConstraint(["organisation_id", "site_id"], ["site.organisation_id", "site.id"], name=op.f("fk_report_site_id_site")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_report")),
        sa.Index("ix_report_site", "organisation_id", "site_id", "id"),
    )


def _asked() -> tuple[sa.Column[object], ...]:
    return (
        sa.Column("animal_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("from_on", sa.Date(), nullable=True),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.Column("first_label", sa.Integer(), nullable=True),
    )


def _print_more() -> None:
    """Let papers be of animals, labels and stock too."""
    if op.get_bind().dialect.name == "postgresql":
        op.drop_constraint(op.f("ck_report_report_kind"), "report", type_="check")
    with op.batch_alter_table("report", copy_from=_report(), recreate="auto") as batch_op:
        for column in _asked():
            batch_op.add_column(column)
        batch_op.create_check_constraint(op.f("ck_report_report_kind"), f"kind IN {PRINTED!r}")
        batch_op.create_foreign_key(
            op.f("fk_report_animal_id_animal"), "animal", ["organisation_id", "animal_id"], ["organisation_id", "id"]
        )


def _print_less() -> None:
    """Take away what papers of later kinds are of. The papers stay, under the one kind that was known."""
    _rewrite("report", "UPDATE report SET kind = 'replacement-due' WHERE kind <> 'replacement-due'")
    if op.get_bind().dialect.name == "postgresql":
        op.drop_constraint(op.f("ck_report_report_kind"), "report", type_="check")
        op.drop_constraint(op.f("fk_report_animal_id_animal"), "report", type_="foreignkey")
    with op.batch_alter_table("report", copy_from=_report(*_asked()), recreate="auto") as batch_op:
        batch_op.create_check_constraint(op.f("ck_report_report_kind"), "kind = 'replacement-due'")
        for column in reversed(_asked()):
            batch_op.drop_column(column.name)


def _keep_apart() -> None:
    """Have the database refuse intervals that overlap, but for those that were withdrawn."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute("CREATE SCHEMA IF NOT EXISTS reedbed_extensions")
        op.execute("CREATE EXTENSION IF NOT EXISTS btree_gist SCHEMA reedbed_extensions")
        for table, columns in APART.items():
            alike = ", ".join(f"{name} WITH =" for name in ("organisation_id", *columns))
            op.execute(
                f"ALTER TABLE {table} ADD CONSTRAINT ex_{table}_days "
                f"EXCLUDE USING gist ({alike}, daterange(from_on, until_on, '[]') WITH &&) WHERE (ended_on IS NULL)"
            )
        return
    for table, columns in APART.items():
        alike = " AND ".join(f"o.{name} = NEW.{name}" for name in ("organisation_id", *columns))
        others = f"SELECT 1 FROM {table} AS o WHERE {alike} AND o.id <> NEW.id AND o.ended_on IS NULL"  # noqa: S608 - our names
        shared = "o.from_on <= coalesce(NEW.until_on, '9999-12-31') AND coalesce(o.until_on, '9999-12-31') >= NEW.from_on"
        for act in ("INSERT", "UPDATE"):
            op.execute(
                f"CREATE TRIGGER ex_{table}_days_{act.lower()} BEFORE {act} ON {table} "
                f"WHEN NEW.ended_on IS NULL AND EXISTS ({others} AND {shared}) BEGIN SELECT RAISE(ABORT, 'ex_{table}_days'); END"
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
    op.execute(REFRESH_STATISTICS)
    op.execute("REVOKE ALL ON FUNCTION refresh_statistics() FROM PUBLIC")
    op.execute(f"GRANT EXECUTE ON FUNCTION refresh_statistics() TO {SERVICE_ROLE}")


def _make_what_is_shared() -> None:
    op.create_table(
        "containment",
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.Column(
            "hazard",
            sa.Enum("harmless", "can_injure", "dangerous", "venomous", name="hazard", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column(
            "least_closure",
            sa.Enum(
                "open", "covered", "latched", "locked", "locked_twice", name="closure", native_enum=False, create_constraint=True, length=32
            ),
            nullable=False,
        ),
        sa.Column("competence_needed", sa.Boolean(), nullable=False),
        sa.Column("source", sa.String(120), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_containment__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_containment")),
    )
    with op.batch_alter_table("containment", schema=None) as batch_op:
        batch_op.create_index("ix_containment_days", ["organisation_id", "hazard", "from_on", "until_on"], unique=False)

    op.create_table(
        "concept_member",
        sa.Column("member_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=True),
        sa.Column("source", sa.String(120), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("taxon_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "member_id"], ["taxon.organisation_id", "taxon.id"], name=op.f("fk_concept_member_member_id_taxon")
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "taxon_id"], ["taxon.organisation_id", "taxon.id"], name=op.f("fk_concept_member_taxon_id_taxon")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_concept_member__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_concept_member")),
    )
    with op.batch_alter_table("concept_member", schema=None) as batch_op:
        batch_op.create_index(
            "uq_concept_member_taxon_id_member_id",
            ["organisation_id", "taxon_id", "member_id"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )
        batch_op.create_index("ix_concept_member_member_id", ["organisation_id", "member_id"], unique=False)

    op.create_table(
        "document",
        sa.Column("title", sa.String(120), nullable=False),
        sa.Column("dated_on", sa.Date(), nullable=True),
        sa.Column("reference", sa.String(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("file_name", sa.String(120), nullable=False),
        sa.Column(
            "media_type",
            sa.Enum(
                "application/pdf",
                "image/jpeg",
                "image/png",
                "image/webp",
                "image/tiff",
                name="media_type",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("received_sha256", sa.String(64), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("site_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.ForeignKeyConstraint(["organisation_id", "site_id"], ["site.organisation_id", "site.id"], name=op.f("fk_document_site_id_site")),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_document__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_document")),
    )
    with op.batch_alter_table("document", schema=None) as batch_op:
        batch_op.create_index("ix_document_sha256", ["organisation_id", "sha256"], unique=False)

    op.create_table(
        "husbandry_target",
        sa.Column(
            "life_stage",
            sa.Enum(
                "egg",
                "larva",
                "neonate",
                "juvenile",
                "subadult",
                "adult",
                "unknown",
                name="life_stage",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=True,
        ),
        sa.Column("uvi_low", sa.Float(), nullable=True),
        sa.Column("uvi_high", sa.Float(), nullable=True),
        sa.Column("air_low_c", sa.Float(), nullable=True),
        sa.Column("air_high_c", sa.Float(), nullable=True),
        sa.Column("basking_low_c", sa.Float(), nullable=True),
        sa.Column("basking_high_c", sa.Float(), nullable=True),
        sa.Column("water_low_c", sa.Float(), nullable=True),
        sa.Column("water_high_c", sa.Float(), nullable=True),
        sa.Column("humidity_low_pct", sa.Float(), nullable=True),
        sa.Column("humidity_high_pct", sa.Float(), nullable=True),
        sa.Column("water", sa.String(), nullable=True),
        sa.Column("least_floor_m2", sa.Float(), nullable=True),
        sa.Column("floor_each_more_m2", sa.Float(), nullable=True),
        sa.Column("least_water_l", sa.Float(), nullable=True),
        sa.Column("water_each_more_l", sa.Float(), nullable=True),
        sa.Column("source", sa.String(120), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("enclosure_kinds", sa.Text(), nullable=False),
        sa.Column("taxon_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("stage_key", sa.String(), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "taxon_id"], ["taxon.organisation_id", "taxon.id"], name=op.f("fk_husbandry_target_taxon_id_taxon")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_husbandry_target__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_husbandry_target")),
    )
    with op.batch_alter_table("husbandry_target", schema=None) as batch_op:
        batch_op.create_index("ix_husbandry_target_days", ["organisation_id", "taxon_id", "stage_key", "from_on", "until_on"], unique=False)

    op.create_table(
        "separation",
        sa.Column("other_taxon_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.Column("reason", sa.String(120), nullable=False),
        sa.Column("source", sa.String(120), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("taxon_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "other_taxon_id"], ["taxon.organisation_id", "taxon.id"], name=op.f("fk_separation_other_taxon_id_taxon")
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "taxon_id"], ["taxon.organisation_id", "taxon.id"], name=op.f("fk_separation_taxon_id_taxon")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_separation__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_separation")),
    )
    with op.batch_alter_table("separation", schema=None) as batch_op:
        batch_op.create_index(
            "uq_separation_taxon_id_other_taxon_id",
            ["organisation_id", "taxon_id", "other_taxon_id"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.create_table(
        "attachment",
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("subject_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("role", sa.String(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("document_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "document_id"], ["document.organisation_id", "document.id"], name=op.f("fk_attachment_document_id_document")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_attachment__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_attachment")),
    )
    with op.batch_alter_table("attachment", schema=None) as batch_op:
        batch_op.create_index("ix_attachment_document", ["organisation_id", "document_id"], unique=False)
        batch_op.create_index("ix_attachment_subject", ["organisation_id", "subject", "subject_id"], unique=False)

    op.create_table(
        "competence",
        sa.Column("title", sa.String(120), nullable=False),
        sa.Column(
            "hazard",
            sa.Enum("harmless", "can_injure", "dangerous", "venomous", name="hazard", native_enum=False, create_constraint=True, length=32),
            nullable=True,
        ),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("expires_on", sa.Date(), nullable=True),
        sa.Column("assessed_by", sa.String(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("staff_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "staff_id"], ["staff.organisation_id", "staff.id"], name=op.f("fk_competence_staff_id_staff")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_competence__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_competence")),
    )
    with op.batch_alter_table("competence", schema=None) as batch_op:
        batch_op.create_index("ix_competence_staff", ["organisation_id", "staff_id"], unique=False)


def _make_what_is_of_animals() -> None:
    op.create_table(
        "animal_event",
        sa.Column(
            "kind",
            sa.Enum(
                "acquired",
                "born",
                "hatched",
                "laid",
                "split_from",
                "returned",
                "joined_by",
                "died",
                "departed",
                "split_off",
                "hatched_out",
                "joined",
                "counted",
                "estimated",
                "escaped",
                "found",
                "sent_away",
                "came_back",
                "sexed",
                "staged",
                name="event_kind",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("happened_on", sa.Date(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column(
            "sex",
            sa.Enum(
                "female", "male", "hermaphrodite", "mixed", "unknown", name="sex", native_enum=False, create_constraint=True, length=32
            ),
            nullable=True,
        ),
        sa.Column(
            "life_stage",
            sa.Enum(
                "egg",
                "larva",
                "neonate",
                "juvenile",
                "subadult",
                "adult",
                "unknown",
                name="life_stage",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=True,
        ),
        sa.Column(
            "basis",
            sa.Enum(
                "purchase",
                "sale",
                "gift",
                "exchange",
                "loan",
                "loan_return",
                "rescue",
                "confiscation",
                "found",
                "rehoming",
                "release",
                "lost",
                "other",
                "unknown",
                name="basis",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=True,
        ),
        sa.Column("party", sa.String(), nullable=True),
        sa.Column("cause", sa.String(), nullable=True),
        sa.Column("reference", sa.String(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("animal_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("change", sa.Integer(), nullable=False),
        sa.Column("other_animal_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("other_event_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("override_reason", sa.String(), nullable=True),
        sa.Column("fitness", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "animal_id"], ["animal.organisation_id", "animal.id"], name=op.f("fk_animal_event_animal_id_animal")
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "other_animal_id"],
            ["animal.organisation_id", "animal.id"],
            name=op.f("fk_animal_event_other_animal_id_animal"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_animal_event__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_animal_event")),
    )
    with op.batch_alter_table("animal_event", schema=None) as batch_op:
        batch_op.create_index("ix_animal_event_animal", ["organisation_id", "animal_id", "happened_on"], unique=False)
        batch_op.create_index("ix_animal_event_day", ["organisation_id", "happened_on"], unique=False)

    op.create_table(
        "animal_state",
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("animal_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column(
            "status",
            sa.Enum(
                "present",
                "away",
                "missing",
                "dead",
                "departed",
                "merged",
                name="status",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column(
            "sex",
            sa.Enum(
                "female", "male", "hermaphrodite", "mixed", "unknown", name="sex", native_enum=False, create_constraint=True, length=32
            ),
            nullable=False,
        ),
        sa.Column(
            "life_stage",
            sa.Enum(
                "egg",
                "larva",
                "neonate",
                "juvenile",
                "subadult",
                "adult",
                "unknown",
                name="life_stage",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "animal_id"], ["animal.organisation_id", "animal.id"], name=op.f("fk_animal_state_animal_id_animal")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_animal_state__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_animal_state")),
    )
    with op.batch_alter_table("animal_state", schema=None) as batch_op:
        batch_op.create_index("ix_animal_state_days", ["organisation_id", "animal_id", "from_on", "until_on"], unique=False)

    op.create_table(
        "call_name",
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("animal_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "animal_id"], ["animal.organisation_id", "animal.id"], name=op.f("fk_call_name_animal_id_animal")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_call_name__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_call_name")),
    )
    with op.batch_alter_table("call_name", schema=None) as batch_op:
        batch_op.create_index("ix_call_name_days", ["organisation_id", "animal_id", "from_on", "until_on"], unique=False)
        batch_op.create_index("ix_call_name_name", ["organisation_id", "name_key"], unique=False)

    op.create_table(
        "holding",
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.Column(
            "kind",
            sa.Enum(
                "owned", "loan_in", "loan_out", "in_custody", name="holding_kind", native_enum=False, create_constraint=True, length=32
            ),
            nullable=False,
        ),
        sa.Column("party", sa.String(), nullable=True),
        sa.Column("terms", sa.String(4000), nullable=False),
        sa.Column("due_back_on", sa.Date(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("animal_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "animal_id"], ["animal.organisation_id", "animal.id"], name=op.f("fk_holding_animal_id_animal")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_holding__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_holding")),
    )
    with op.batch_alter_table("holding", schema=None) as batch_op:
        batch_op.create_index("ix_holding_days", ["organisation_id", "animal_id", "from_on", "until_on"], unique=False)

    op.create_table(
        "mark",
        sa.Column(
            "kind",
            sa.Enum(
                "transponder",
                "other_transponder",
                "scute_notch",
                "scale_clip",
                "elastomer",
                "band",
                "tag",
                "tattoo",
                "photograph",
                "other",
                name="mark_kind",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("code", sa.String(), nullable=True),
        sa.Column("scheme", sa.String(), nullable=True),
        sa.Column("body_site", sa.String(), nullable=True),
        sa.Column("until_reason", sa.String(), nullable=True),
        sa.Column("is_primary", sa.Boolean(), nullable=False),
        sa.Column(
            "reading",
            sa.Enum("scanner", "typed_twice", name="mark_reading", native_enum=False, create_constraint=True, length=32),
            nullable=True,
        ),
        sa.Column("reader", sa.String(), nullable=True),
        sa.Column("applied_by", sa.String(), nullable=True),
        sa.Column("view", sa.String(), nullable=True),
        sa.Column("scale_mm", sa.Float(), nullable=True),
        sa.Column("document_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("animal_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("code_key", sa.String(), nullable=True),
        sa.Column("live_key", sa.String(), nullable=True),
        sa.Column("warning", sa.String(), nullable=True),
        sa.Column("closed_by_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "animal_id"], ["animal.organisation_id", "animal.id"], name=op.f("fk_mark_animal_id_animal")
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "document_id"], ["document.organisation_id", "document.id"], name=op.f("fk_mark_document_id_document")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_mark__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_mark")),
    )
    with op.batch_alter_table("mark", schema=None) as batch_op:
        batch_op.create_index("ix_mark_animal", ["organisation_id", "animal_id"], unique=False)
        batch_op.create_index("ix_mark_code_key", ["organisation_id", "code_key"], unique=False)
        batch_op.create_index("uq_mark_live_key", ["organisation_id", "live_key"], unique=True)
        batch_op.create_index(
            "uq_mark_primary",
            ["organisation_id", "animal_id"],
            unique=True,
            sqlite_where=sa.text("is_primary AND ended_on IS NULL"),
            postgresql_where=sa.text("is_primary AND ended_on IS NULL"),
        )

    op.create_table(
        "measurement",
        sa.Column(
            "kind",
            sa.Enum(
                "mass",
                "straight_carapace_length",
                "curved_carapace_length",
                "carapace_width",
                "plastron_length",
                "shell_height",
                "snout_vent_length",
                "tail_length",
                "total_length",
                "standard_length",
                "fork_length",
                "egg_length",
                "egg_width",
                name="measure_kind",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("mass_g", sa.Float(), nullable=True),
        sa.Column("length_mm", sa.Float(), nullable=True),
        sa.Column("measured_on", sa.Date(), nullable=False),
        sa.Column("method", sa.String(), nullable=True),
        sa.Column("staff_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("of_number", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("animal_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("surprising", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "animal_id"], ["animal.organisation_id", "animal.id"], name=op.f("fk_measurement_animal_id_animal")
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "staff_id"], ["staff.organisation_id", "staff.id"], name=op.f("fk_measurement_staff_id_staff")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_measurement__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_measurement")),
    )
    with op.batch_alter_table("measurement", schema=None) as batch_op:
        batch_op.create_index("ix_measurement_animal", ["organisation_id", "animal_id", "kind", "measured_on"], unique=False)

    op.create_table(
        "parent",
        sa.Column("role", sa.Enum("dam", "sire", name="parent_role", native_enum=False, create_constraint=True, length=32), nullable=False),
        sa.Column("parent_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("elsewhere", sa.String(), nullable=True),
        sa.Column(
            "certainty",
            sa.Enum("certain", "probable", "possible", name="certainty", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column("known_by", sa.String(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("animal_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "animal_id"], ["animal.organisation_id", "animal.id"], name=op.f("fk_parent_animal_id_animal")
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "parent_id"], ["animal.organisation_id", "animal.id"], name=op.f("fk_parent_parent_id_animal")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_parent__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_parent")),
    )
    with op.batch_alter_table("parent", schema=None) as batch_op:
        batch_op.create_index("ix_parent_animal", ["organisation_id", "animal_id"], unique=False)
        batch_op.create_index("ix_parent_parent", ["organisation_id", "parent_id"], unique=False)
        batch_op.create_index(
            "uq_parent_certain",
            ["organisation_id", "animal_id", "role"],
            unique=True,
            sqlite_where=sa.text("certainty = 'certain' AND ended_on IS NULL"),
            postgresql_where=sa.text("certainty = 'certain' AND ended_on IS NULL"),
        )

    op.create_table(
        "placement",
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("until_on", sa.Date(), nullable=True),
        sa.Column("enclosure_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("override_reason", sa.String(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("animal_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("fitness", sa.Text(), nullable=False),
        sa.Column("closed_by_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "animal_id"], ["animal.organisation_id", "animal.id"], name=op.f("fk_placement_animal_id_animal")
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "enclosure_id"],
            ["enclosure.organisation_id", "enclosure.id"],
            name=op.f("fk_placement_enclosure_id_enclosure"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_placement__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_placement")),
    )
    with op.batch_alter_table("placement", schema=None) as batch_op:
        batch_op.create_index("ix_placement_days", ["organisation_id", "animal_id", "from_on", "until_on"], unique=False)
        batch_op.create_index("ix_placement_enclosure", ["organisation_id", "enclosure_id", "from_on"], unique=False)


def upgrade() -> None:
    """Let the standing tables grow, make the new ones, then the guards."""
    _grow()
    _grow_taxa()
    _import(IMPORTED)
    _print_more()
    _make_what_is_shared()
    _make_what_is_of_animals()
    _keep_apart()
    _guard_and_admit()


def downgrade() -> None:
    """Take the new tables away, then the columns."""
    for table in reversed(ADDED):
        op.drop_table(table)
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP FUNCTION refresh_statistics()")
        op.execute("DROP SCHEMA reedbed_extensions CASCADE")
    _print_less()
    _import_less()
    _shrink_taxa()
    _shrink()
