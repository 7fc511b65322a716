"""The first schema."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


SERVICE_ROLE = "reedbed_service"
"""The role the service signs in with on PostgreSQL: it owns nothing."""

NEVER_CHANGED = ("journal",)
MAY_BE_EMPTIED = ("forecast", "idempotency", "import_file")


def _guard_journal() -> None:
    """Make the journal append-only for everybody, the owner included."""
    if op.get_bind().dialect.name == "sqlite":
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER journal_refuses_{act.lower()} BEFORE {act} ON journal "
                "BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION journal_is_append_only() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'the journal is append-only'; END $$"
    )
    op.execute(
        "CREATE TRIGGER journal_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON journal "
        "FOR EACH STATEMENT EXECUTE FUNCTION journal_is_append_only()"
    )


def _admit_service() -> None:
    """Give the service's role what it needs and nothing else; it can neither change nor delete a journal entry."""
    if op.get_bind().dialect.name == "sqlite":
        return
    op.execute(
        f"DO $$ BEGIN IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '{SERVICE_ROLE}') "
        f"THEN CREATE ROLE {SERVICE_ROLE} NOLOGIN; END IF; END $$"
    )
    op.execute(f"GRANT USAGE ON SCHEMA public TO {SERVICE_ROLE}")
    op.execute(f"GRANT SELECT ON ALL TABLES IN SCHEMA public TO {SERVICE_ROLE}")
    for table in sa.inspect(op.get_bind()).get_table_names():
        if table == "alembic_version":
            continue
        acts = "INSERT" if table in NEVER_CHANGED else "INSERT, UPDATE"
        acts += ", DELETE" if table in MAY_BE_EMPTIED else ""
        op.execute(f"GRANT {acts} ON {table} TO {SERVICE_ROLE}")


def _release() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for act in ("UPDATE", "DELETE"):
            op.execute(f"DROP TRIGGER journal_refuses_{act.lower()}")
        return
    op.execute("DROP TRIGGER journal_append_only ON journal")
    op.execute("DROP FUNCTION journal_is_append_only()")


def upgrade() -> None:  # noqa: PLR0915 - one statement a table
    """Make every table, guard the journal, and let the service in."""
    op.create_table(
        "organisation",
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("base_currency", sa.String(), nullable=False),
        sa.Column("id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_organisation")),
    )
    op.create_table(
        "api_key",
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column(
            "access",
            sa.Enum("read", "write", name="access", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column("expires_on", sa.Date(), nullable=True),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("public_id", sa.String(24), nullable=False),
        sa.Column("secret_sha256", sa.String(64), nullable=False),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_api_key__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_api_key")),
        sa.UniqueConstraint("public_id", name="uq_api_key_public_id"),
    )
    op.create_table(
        "equipment_model",
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "uvb-tube",
                "uvb-compact-lamp",
                "mercury-vapour-lamp",
                "metal-halide-lamp",
                "halogen-lamp",
                "led-lamp",
                "uvc-lamp",
                "quartz-sleeve",
                "water-heater",
                "ceramic-heater",
                "radiant-panel",
                "heat-mat",
                "chiller",
                "thermostat",
                "circulation-pump",
                "air-pump",
                "filter",
                "mechanical-media",
                "biological-media",
                "carbon-media",
                "ph-probe",
                "oxygen-probe",
                "temperature-probe",
                "conductivity-probe",
                "logger",
                "reagent",
                "residual-current-device",
                "incubator",
                "generator",
                "battery",
                "other",
                name="equipment_kind",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("life_months", sa.Integer(), nullable=True),
        sa.Column("life_weeks", sa.Integer(), nullable=True),
        sa.Column("life_days", sa.Integer(), nullable=True),
        sa.Column("life_hours", sa.Float(), nullable=True),
        sa.Column("shelf_life_months", sa.Integer(), nullable=True),
        sa.Column("opened_life_days", sa.Integer(), nullable=True),
        sa.Column("output_unit", sa.String(), nullable=True),
        sa.Column("output_minimum", sa.Float(), nullable=True),
        sa.Column("output_minimum_share", sa.Float(), nullable=True),
        sa.Column("burn_in_hours", sa.Float(), nullable=True),
        sa.Column("checks", sa.Text(), nullable=False),
        sa.Column("warn_days", sa.Integer(), nullable=False),
        sa.Column("supplier", sa.String(), nullable=True),
        sa.Column("lead_days", sa.Integer(), nullable=True),
        sa.Column("unit_cost_minor", sa.BigInteger(), nullable=True),
        sa.Column("cautions", sa.Text(), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_equipment_model__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_equipment_model")),
    )
    with op.batch_alter_table("equipment_model", schema=None) as batch_op:
        batch_op.create_index(
            "uq_equipment_model_name_key",
            ["organisation_id", "name_key"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.create_table(
        "idempotency",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("key", sa.String(200), nullable=False),
        sa.Column("request_sha256", sa.String(64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers", sa.String(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_idempotency__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "key", name=op.f("pk_idempotency")),
    )
    op.create_table(
        "import_run",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column(
            "kind",
            sa.Enum(
                "sites",
                "enclosures",
                "equipment-models",
                "equipment",
                name="import_kind",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("file_name", sa.String(200), nullable=False),
        sa.Column("file_sha256", sa.String(64), nullable=False),
        sa.Column("options", sa.Text(), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "waiting",
                "running",
                "done",
                "failed",
                name="work_state",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("outcome", sa.Text(), nullable=True),
        sa.Column("error", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_import_run__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_import_run")),
    )
    op.create_table(
        "journal",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("position", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("subject", sa.String(32), nullable=False),
        sa.Column("subject_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_journal__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "position", name=op.f("pk_journal")),
    )
    op.create_table(
        "journal_head",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("position", sa.BigInteger(), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_journal_head__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", name=op.f("pk_journal_head")),
    )
    op.create_table(
        "site",
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("zone", sa.String(64), nullable=False),
        sa.Column("jurisdiction", sa.String(), nullable=True),
        sa.Column("address", sa.String(4000), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_site__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_site")),
    )
    with op.batch_alter_table("site", schema=None) as batch_op:
        batch_op.create_index(
            "uq_site_name_key",
            ["organisation_id", "name_key"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.create_table(
        "taxon",
        sa.Column("scientific_name", sa.String(120), nullable=False),
        sa.Column(
            "rank",
            sa.Enum(
                "order",
                "family",
                "genus",
                "species",
                "subspecies",
                "hybrid",
                name="taxon_rank",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
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
        sa.ForeignKeyConstraint(
            ["organisation_id", "parent_id"],
            ["taxon.organisation_id", "taxon.id"],
            name=op.f("fk_taxon_parent_id_taxon"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_taxon__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_taxon")),
    )
    with op.batch_alter_table("taxon", schema=None) as batch_op:
        batch_op.create_index(
            "uq_taxon_name_key",
            ["organisation_id", "name_key"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.create_table(
        "import_file",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("import_run_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "import_run_id"],
            ["import_run.organisation_id", "import_run.id"],
            name=op.f("fk_import_file_import_run_id_import_run"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_import_file__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "import_run_id", name=op.f("pk_import_file")),
    )
    op.create_table(
        "life_support_system",
        sa.Column("site_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("least_gap_days", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "site_id"],
            ["site.organisation_id", "site.id"],
            name=op.f("fk_life_support_system_site_id_site"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_life_support_system__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_life_support_system")),
    )
    with op.batch_alter_table("life_support_system", schema=None) as batch_op:
        batch_op.create_index(
            "uq_life_support_system_site_id_name_key",
            ["organisation_id", "site_id", "name_key"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.create_table(
        "nightly_run",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("site_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("local_date", sa.Date(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "waiting",
                "running",
                "done",
                "failed",
                name="work_state",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("digest", sa.String(64), nullable=True),
        sa.Column("counts", sa.Text(), nullable=False),
        sa.Column("error", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "site_id"],
            ["site.organisation_id", "site.id"],
            name=op.f("fk_nightly_run_site_id_site"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_nightly_run__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_nightly_run")),
        sa.UniqueConstraint("organisation_id", "site_id", "local_date", "revision", name="uq_nightly_run_revision"),
    )
    op.create_table(
        "report",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column(
            "kind",
            sa.Enum("replacement-due", name="report_kind", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column("site_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("local_date", sa.Date(), nullable=False),
        sa.Column("later_days", sa.Integer(), nullable=True),
        sa.Column(
            "state",
            sa.Enum(
                "waiting",
                "running",
                "done",
                "failed",
                name="work_state",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("nightly_run_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("record_hash", sa.String(64), nullable=True),
        sa.Column("error", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["organisation_id", "site_id"], ["site.organisation_id", "site.id"], name=op.f("fk_report_site_id_site")),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_report__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_report")),
    )
    with op.batch_alter_table("report", schema=None) as batch_op:
        batch_op.create_index("ix_report_site", ["organisation_id", "site_id", "id"], unique=False)

    op.create_table(
        "spare",
        sa.Column("site_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("model_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("shelf", sa.String(120), nullable=False),
        sa.Column("on_hand", sa.Integer(), nullable=False),
        sa.Column("on_order", sa.Integer(), nullable=False),
        sa.Column("reserved", sa.Integer(), nullable=False),
        sa.Column("reorder_point", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("shelf_key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "model_id"],
            ["equipment_model.organisation_id", "equipment_model.id"],
            name=op.f("fk_spare_model_id_equipment_model"),
        ),
        sa.ForeignKeyConstraint(["organisation_id", "site_id"], ["site.organisation_id", "site.id"], name=op.f("fk_spare_site_id_site")),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_spare__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_spare")),
    )
    with op.batch_alter_table("spare", schema=None) as batch_op:
        batch_op.create_index(
            "uq_spare_site_id_model_id_shelf_key",
            ["organisation_id", "site_id", "model_id", "shelf_key"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.create_table(
        "staff",
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column(
            "role",
            sa.Enum(
                "viewer",
                "keeper",
                "technician",
                "veterinarian",
                "curator",
                "registrar",
                "auditor",
                "administrator",
                name="role",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("site_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("contact", sa.String(4000), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["organisation_id", "site_id"], ["site.organisation_id", "site.id"], name=op.f("fk_staff_site_id_site")),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_staff__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_staff")),
    )
    op.create_table(
        "enclosure",
        sa.Column("site_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "aquarium",
                "terrarium",
                "paludarium",
                "pond",
                "tub",
                "pen",
                "rack",
                "incubator",
                "room",
                "other",
                name="enclosure_kind",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("shape", sa.Text(), nullable=False),
        sa.Column("displacement_fraction", sa.Float(), nullable=False),
        sa.Column("walking_order", sa.Integer(), nullable=True),
        sa.Column("parent_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("life_support_system_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.Column("volume_l", sa.Float(), nullable=True),
        sa.Column("floor_m2", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "life_support_system_id"],
            ["life_support_system.organisation_id", "life_support_system.id"],
            name=op.f("fk_enclosure_life_support_system_id_life_support_system"),
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "parent_id"],
            ["enclosure.organisation_id", "enclosure.id"],
            name=op.f("fk_enclosure_parent_id_enclosure"),
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "site_id"], ["site.organisation_id", "site.id"], name=op.f("fk_enclosure_site_id_site")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_enclosure__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_enclosure")),
    )
    with op.batch_alter_table("enclosure", schema=None) as batch_op:
        batch_op.create_index(
            "uq_enclosure_site_id_name_key",
            ["organisation_id", "site_id", "name_key"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.create_table(
        "report_file",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("report_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("form", sa.String(16), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "report_id"],
            ["report.organisation_id", "report.id"],
            name=op.f("fk_report_file_report_id_report"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_report_file__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "report_id", "form", name=op.f("pk_report_file")),
    )
    op.create_table(
        "animal",
        sa.Column("taxon_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("tag", sa.String(120), nullable=False),
        sa.Column("enclosure_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column(
            "grouping",
            sa.Enum("individual", "group", name="grouping", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("tag_key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "enclosure_id"],
            ["enclosure.organisation_id", "enclosure.id"],
            name=op.f("fk_animal_enclosure_id_enclosure"),
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "taxon_id"],
            ["taxon.organisation_id", "taxon.id"],
            name=op.f("fk_animal_taxon_id_taxon"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_animal__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_animal")),
    )
    with op.batch_alter_table("animal", schema=None) as batch_op:
        batch_op.create_index(
            "uq_animal_tag_key",
            ["organisation_id", "tag_key"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.create_table(
        "equipment",
        sa.Column("tag", sa.String(120), nullable=False),
        sa.Column("model_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("site_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("enclosure_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("life_support_system_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("position", sa.String(), nullable=True),
        sa.Column("serial", sa.String(), nullable=True),
        sa.Column("installed_on", sa.Date(), nullable=True),
        sa.Column("manufactured_on", sa.Date(), nullable=True),
        sa.Column("expires_on", sa.Date(), nullable=True),
        sa.Column("opened_on", sa.Date(), nullable=True),
        sa.Column("run_schedule", sa.Text(), nullable=False),
        sa.Column("counter_at_installation_h", sa.Float(), nullable=False),
        sa.Column("override_life_months", sa.Integer(), nullable=True),
        sa.Column("override_life_hours", sa.Float(), nullable=True),
        sa.Column("override_output_minimum", sa.Float(), nullable=True),
        sa.Column("override_reason", sa.String(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("tag_key", sa.String(), nullable=False),
        sa.Column("hours_per_day", sa.Float(), nullable=True),
        sa.Column("replaces_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "enclosure_id"],
            ["enclosure.organisation_id", "enclosure.id"],
            name=op.f("fk_equipment_enclosure_id_enclosure"),
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "life_support_system_id"],
            ["life_support_system.organisation_id", "life_support_system.id"],
            name=op.f("fk_equipment_life_support_system_id_life_support_system"),
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "model_id"],
            ["equipment_model.organisation_id", "equipment_model.id"],
            name=op.f("fk_equipment_model_id_equipment_model"),
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "replaces_id"],
            ["equipment.organisation_id", "equipment.id"],
            name=op.f("fk_equipment_replaces_id_equipment"),
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "site_id"], ["site.organisation_id", "site.id"], name=op.f("fk_equipment_site_id_site")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_equipment__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_equipment")),
    )
    with op.batch_alter_table("equipment", schema=None) as batch_op:
        batch_op.create_index("ix_equipment_site", ["organisation_id", "site_id", "id"], unique=False)
        batch_op.create_index(
            "uq_equipment_tag_key",
            ["organisation_id", "tag_key"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.create_table(
        "equipment_check",
        sa.Column(
            "kind",
            sa.Enum(
                "residual-current-test",
                "electrical-inspection",
                "calibration",
                name="check_kind",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column(
            "result",
            sa.Enum("passed", "failed", name="check_result", native_enum=False, create_constraint=True, length=32),
            nullable=False,
        ),
        sa.Column("interval_months", sa.Integer(), nullable=True),
        sa.Column("interval_days", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("equipment_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "equipment_id"],
            ["equipment.organisation_id", "equipment.id"],
            name=op.f("fk_equipment_check_equipment_id_equipment"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_equipment_check__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_equipment_check")),
    )
    with op.batch_alter_table("equipment_check", schema=None) as batch_op:
        batch_op.create_index("ix_equipment_check_equipment", ["organisation_id", "equipment_id", "done_on"], unique=False)

    op.create_table(
        "forecast",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("equipment_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("site_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column(
            "standing",
            sa.Enum(
                "overdue",
                "due",
                "due_soon",
                "good",
                "unknown",
                name="standing",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=False,
        ),
        sa.Column(
            "binding",
            sa.Enum(
                "age",
                "hours",
                "shelf",
                "output",
                "check",
                name="rule_kind",
                native_enum=False,
                create_constraint=True,
                length=32,
            ),
            nullable=True,
        ),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("no_later_than", sa.Date(), nullable=True),
        sa.Column("do_on", sa.Date(), nullable=True),
        sa.Column("order_by", sa.Date(), nullable=True),
        sa.Column("conflict", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "equipment_id"],
            ["equipment.organisation_id", "equipment.id"],
            name=op.f("fk_forecast_equipment_id_equipment"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_forecast__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "equipment_id", name=op.f("pk_forecast")),
    )
    with op.batch_alter_table("forecast", schema=None) as batch_op:
        batch_op.create_index("ix_forecast_site", ["organisation_id", "site_id", "due_on"], unique=False)

    op.create_table(
        "hour_reading",
        sa.Column("read_on", sa.Date(), nullable=False),
        sa.Column("counter_h", sa.Float(), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("equipment_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "equipment_id"],
            ["equipment.organisation_id", "equipment.id"],
            name=op.f("fk_hour_reading_equipment_id_equipment"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_hour_reading__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_hour_reading")),
    )
    with op.batch_alter_table("hour_reading", schema=None) as batch_op:
        batch_op.create_index("ix_hour_reading_equipment", ["organisation_id", "equipment_id", "read_on"], unique=False)

    op.create_table(
        "output_reading",
        sa.Column("measured_on", sa.Date(), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("method", sa.String(4000), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("equipment_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "equipment_id"],
            ["equipment.organisation_id", "equipment.id"],
            name=op.f("fk_output_reading_equipment_id_equipment"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_output_reading__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_output_reading")),
    )
    with op.batch_alter_table("output_reading", schema=None) as batch_op:
        batch_op.create_index("ix_output_reading_equipment", ["organisation_id", "equipment_id", "measured_on"], unique=False)
    _guard_journal()
    _admit_service()


def downgrade() -> None:  # noqa: PLR0915 - one statement a table
    """Take everything away again."""
    _release()
    with op.batch_alter_table("output_reading", schema=None) as batch_op:
        batch_op.drop_index("ix_output_reading_equipment")

    op.drop_table("output_reading")
    with op.batch_alter_table("hour_reading", schema=None) as batch_op:
        batch_op.drop_index("ix_hour_reading_equipment")

    op.drop_table("hour_reading")
    with op.batch_alter_table("forecast", schema=None) as batch_op:
        batch_op.drop_index("ix_forecast_site")

    op.drop_table("forecast")
    with op.batch_alter_table("equipment_check", schema=None) as batch_op:
        batch_op.drop_index("ix_equipment_check_equipment")

    op.drop_table("equipment_check")
    with op.batch_alter_table("equipment", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_equipment_tag_key",
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )
        batch_op.drop_index("ix_equipment_site")

    op.drop_table("equipment")
    with op.batch_alter_table("animal", schema=None) as batch_op:
        batch_op.drop_index("uq_animal_tag_key", sqlite_where=sa.text("ended_on IS NULL"), postgresql_where=sa.text("ended_on IS NULL"))

    op.drop_table("animal")
    op.drop_table("report_file")
    with op.batch_alter_table("enclosure", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_enclosure_site_id_name_key",
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.drop_table("enclosure")
    op.drop_table("staff")
    with op.batch_alter_table("spare", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_spare_site_id_model_id_shelf_key",
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.drop_table("spare")
    with op.batch_alter_table("report", schema=None) as batch_op:
        batch_op.drop_index("ix_report_site")

    op.drop_table("report")
    op.drop_table("nightly_run")
    with op.batch_alter_table("life_support_system", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_life_support_system_site_id_name_key",
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.drop_table("life_support_system")
    op.drop_table("import_file")
    with op.batch_alter_table("taxon", schema=None) as batch_op:
        batch_op.drop_index("uq_taxon_name_key", sqlite_where=sa.text("ended_on IS NULL"), postgresql_where=sa.text("ended_on IS NULL"))

    op.drop_table("taxon")
    with op.batch_alter_table("site", schema=None) as batch_op:
        batch_op.drop_index("uq_site_name_key", sqlite_where=sa.text("ended_on IS NULL"), postgresql_where=sa.text("ended_on IS NULL"))

    op.drop_table("site")
    op.drop_table("journal_head")
    op.drop_table("journal")
    op.drop_table("import_run")
    op.drop_table("idempotency")
    with op.batch_alter_table("equipment_model", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_equipment_model_name_key",
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.drop_table("equipment_model")
    op.drop_table("api_key")
    op.drop_table("organisation")
