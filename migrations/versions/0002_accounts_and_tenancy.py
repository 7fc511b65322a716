"""Accounts of people, finer keys, the journal's private part, and the tenant guarded by the database itself."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

SERVICE_ROLE = "reedbed_service"
APPENDED_ONLY = ("journal_checkpoint", "reading_log")
ADDED = (
    "account",
    "account_identity",
    "account_secret",
    "approval",
    "journal_checkpoint",
    "journal_private",
    "key_use",
    "legal_hold",
    "reading_log",
    "retention_rule",
    "role_grant",
    "sign_in_session",
)
STANDING = (
    "animal",
    "api_key",
    "enclosure",
    "equipment",
    "equipment_check",
    "equipment_model",
    "forecast",
    "hour_reading",
    "idempotency",
    "import_file",
    "import_run",
    "journal",
    "journal_head",
    "life_support_system",
    "nightly_run",
    "organisation",
    "output_reading",
    "report",
    "report_file",
    "site",
    "spare",
    "staff",
    "taxon",
)
SEEN_AT_THE_DOOR = ("api_key", "organisation")
"""What has to be read before it is known whose request it is: by two functions of the owner, never by the service itself."""

OWN_ORGANISATION = "(SELECT nullif(current_setting('reedbed.organisation', true), '')::bigint)"

KEY_AT_THE_DOOR = """
CREATE FUNCTION key_at_the_door(asked text)
RETURNS TABLE (organisation_id bigint, id uuid, name text, access text, secret_sha256 text, expires_on date, ended_on date,
               scopes text, site_ids text)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT k.organisation_id, k.id, k.name::text, k.access::text, k.secret_sha256::text, k.expires_on, k.ended_on, k.scopes, k.site_ids
    FROM api_key AS k WHERE k.public_id = asked
$$
"""
ORGANISATION_DIRECTORY = """
CREATE FUNCTION organisation_directory()
RETURNS TABLE (id bigint, name text, base_currency text, created_at timestamptz)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT o.id, o.name::text, o.base_currency::text, o.created_at FROM organisation AS o ORDER BY o.id
$$
"""


def _guard_tenants() -> None:
    """Have PostgreSQL itself show and take only rows of the organisation that the transaction is for, from the owner as well.

    SQLite has no such thing to store; there every connection is furnished with it when it is opened.
    """
    if op.get_bind().dialect.name == "sqlite":
        return
    for table in (*STANDING, *ADDED):
        own = f"{'id' if table == 'organisation' else 'organisation_id'} = {OWN_ORGANISATION}"
        op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
        op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY own_organisation ON {table} USING ({own}) WITH CHECK ({own})")
    for table in SEEN_AT_THE_DOOR:
        op.execute(f"CREATE POLICY at_the_door ON {table} FOR SELECT TO CURRENT_USER USING (true)")
    for definition, signature in ((KEY_AT_THE_DOOR, "key_at_the_door(text)"), (ORGANISATION_DIRECTORY, "organisation_directory()")):
        op.execute(definition)
        op.execute(f"REVOKE ALL ON FUNCTION {signature} FROM PUBLIC")
        op.execute(f"GRANT EXECUTE ON FUNCTION {signature} TO {SERVICE_ROLE}")


def _admit_service() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for table in APPENDED_ONLY:
            op.execute(
                f"CREATE TRIGGER {table}_refuses_update BEFORE UPDATE ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'the {table} is append-only'); END"
            )
        return
    for table in ADDED:
        op.execute(f"GRANT SELECT, INSERT{'' if table in APPENDED_ONLY else ', UPDATE'} ON {table} TO {SERVICE_ROLE}")


def _release_tenants() -> None:
    if op.get_bind().dialect.name == "sqlite":
        return
    op.execute("DROP FUNCTION key_at_the_door(text)")
    op.execute("DROP FUNCTION organisation_directory()")
    for table in SEEN_AT_THE_DOOR:
        op.execute(f"DROP POLICY at_the_door ON {table}")
    for table in STANDING:
        op.execute(f"DROP POLICY own_organisation ON {table}")
        op.execute(f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")
        op.execute(f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY")


def upgrade() -> None:
    """Make the tables, then the guards."""
    op.create_table(
        "approval",
        sa.Column("action", sa.String(120), nullable=False),
        sa.Column("subject_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("why", sa.String(120), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("asked_by", sa.String(64), nullable=False),
        sa.Column("given_by", sa.String(64), nullable=True),
        sa.Column("given_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=True),
        sa.Column("expires_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=True),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_approval__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_approval")),
    )
    op.create_table(
        "journal_checkpoint",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("position", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("key_id", sa.String(64), nullable=False),
        sa.Column("signature", sa.String(200), nullable=False),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_journal_checkpoint__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "position", name=op.f("pk_journal_checkpoint")),
    )
    op.create_table(
        "legal_hold",
        sa.Column("kind", sa.String(), nullable=True),
        sa.Column("subject_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("why", sa.String(120), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_legal_hold__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_legal_hold")),
    )
    op.create_table(
        "reading_log",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("actor", sa.String(64), nullable=False),
        sa.Column("credential", sa.String(64), nullable=True),
        sa.Column("on_behalf_of", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.Column("request_id", sa.String(64), nullable=False),
        sa.Column("action", sa.String(64), nullable=False),
        sa.Column("subject_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_reading_log__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_reading_log")),
    )
    with op.batch_alter_table("reading_log", schema=None) as batch_op:
        batch_op.create_index("ix_reading_log_at", ["organisation_id", "at"], unique=False)

    op.create_table(
        "retention_rule",
        sa.Column("kind", sa.String(120), nullable=False),
        sa.Column("keep_months", sa.Integer(), nullable=False),
        sa.Column("in_force_from", sa.Date(), nullable=True),
        sa.Column("source", sa.String(120), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_retention_rule__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_retention_rule")),
    )
    op.create_table(
        "journal_private",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("position", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("part", sa.String(16), nullable=False),
        sa.Column("field", sa.String(64), nullable=False),
        sa.Column("salt", sa.String(64), nullable=True),
        sa.Column("value", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "position"],
            ["journal.organisation_id", "journal.position"],
            name=op.f("fk_journal_private_position_journal"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_journal_private__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "position", "part", "field", name=op.f("pk_journal_private")),
    )
    op.create_table(
        "key_use",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("key_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("last_used_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation_id", "key_id"], ["api_key.organisation_id", "api_key.id"], name=op.f("fk_key_use_key_id_api_key")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_key_use__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "key_id", name=op.f("pk_key_use")),
    )
    op.create_table(
        "account",
        sa.Column("staff_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("sign_in_name", sa.String(120), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.Column("sign_in_name_key", sa.String(), nullable=False),
        sa.Column("password_set_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "staff_id"], ["staff.organisation_id", "staff.id"], name=op.f("fk_account_staff_id_staff")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_account__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_account")),
    )
    with op.batch_alter_table("account", schema=None) as batch_op:
        batch_op.create_index(
            "uq_account_sign_in_name_key",
            ["organisation_id", "sign_in_name_key"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.create_table(
        "role_grant",
        sa.Column("staff_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
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
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "site_id"], ["site.organisation_id", "site.id"], name=op.f("fk_role_grant_site_id_site")
        ),
        sa.ForeignKeyConstraint(
            ["organisation_id", "staff_id"], ["staff.organisation_id", "staff.id"], name=op.f("fk_role_grant_staff_id_staff")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_role_grant__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_role_grant")),
    )
    with op.batch_alter_table("role_grant", schema=None) as batch_op:
        batch_op.create_index("ix_role_grant_staff", ["organisation_id", "staff_id"], unique=False)

    op.create_table(
        "account_identity",
        sa.Column("account_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("issuer", sa.String(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("end_reason", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "account_id"],
            ["account.organisation_id", "account.id"],
            name=op.f("fk_account_identity_account_id_account"),
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_account_identity__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_account_identity")),
    )
    with op.batch_alter_table("account_identity", schema=None) as batch_op:
        batch_op.create_index(
            "uq_account_identity_issuer_subject",
            ["organisation_id", "issuer", "subject"],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )

    op.create_table(
        "account_secret",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("account_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("password_hash", sa.String(200), nullable=True),
        sa.Column("code_sha256", sa.String(64), nullable=True),
        sa.Column("code_expires_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "account_id"], ["account.organisation_id", "account.id"], name=op.f("fk_account_secret_account_id_account")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_account_secret__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "account_id", name=op.f("pk_account_secret")),
    )
    op.create_table(
        "sign_in_session",
        sa.Column("organisation_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("account_id", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=False),
        sa.Column("token_sha256", sa.String(64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("last_seen_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite"), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation_id", "account_id"], ["account.organisation_id", "account.id"], name=op.f("fk_sign_in_session_account_id_account")
        ),
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f("fk_sign_in_session__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f("pk_sign_in_session")),
        sa.UniqueConstraint("organisation_id", "token_sha256", name="uq_sign_in_session_token"),
    )
    with op.batch_alter_table("api_key", schema=None) as batch_op:
        batch_op.add_column(sa.Column("scopes", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("site_ids", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("successor_of", sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite"), nullable=True))
    _admit_service()
    _guard_tenants()


def downgrade() -> None:
    """Take the guards away, then the tables."""
    _release_tenants()
    with op.batch_alter_table("api_key", schema=None) as batch_op:
        batch_op.drop_column("successor_of")
        batch_op.drop_column("site_ids")
        batch_op.drop_column("scopes")

    op.drop_table("sign_in_session")
    op.drop_table("account_secret")
    with op.batch_alter_table("account_identity", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_account_identity_issuer_subject", sqlite_where=sa.text("ended_on IS NULL"), postgresql_where=sa.text("ended_on IS NULL")
        )

    op.drop_table("account_identity")
    with op.batch_alter_table("role_grant", schema=None) as batch_op:
        batch_op.drop_index("ix_role_grant_staff")

    op.drop_table("role_grant")
    with op.batch_alter_table("account", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_account_sign_in_name_key", sqlite_where=sa.text("ended_on IS NULL"), postgresql_where=sa.text("ended_on IS NULL")
        )

    op.drop_table("account")
    op.drop_table("key_use")
    op.drop_table("journal_private")
    op.drop_table("retention_rule")
    with op.batch_alter_table("reading_log", schema=None) as batch_op:
        batch_op.drop_index("ix_reading_log_at")

    op.drop_table("reading_log")
    op.drop_table("legal_hold")
    op.drop_table("journal_checkpoint")
    op.drop_table("approval")
