"""The law as data: rule packs, jurisdictions, kinds of documents, and requirements in dated editions."""

from __future__ import annotations

from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

SERVICE_ROLE = "reedbed_service"
OWN_ORGANISATION = "(SELECT nullif(current_setting('reedbed.organisation', true), '')::bigint)"
ADDED = ("rule_pack", "jurisdiction", "document_kind", "requirement")


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


def _keys(table: str, *, of_a_pack: bool = True) -> tuple[sa.Constraint, ...]:
    own = (
        sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"], name=op.f(f"fk_{table}__organisation")),
        sa.PrimaryKeyConstraint("organisation_id", "id", name=op.f(f"pk_{table}")),
    )
    if not of_a_pack:
        return own
    name = op.f(f"fk_{table}_pack_id_rule_pack")
    return (*own, sa.ForeignKeyConstraint(["organisation_id", "pack_id"], ["rule_pack.organisation_id", "rule_pack.id"], name=name))


def _words(name: str, *words: str) -> sa.Enum:
    return sa.Enum(*words, name=name, native_enum=False, create_constraint=True, length=32)


def _unique_while_kept(table: str, *columns: str) -> None:
    with op.batch_alter_table(table, schema=None) as batch_op:
        batch_op.create_index(
            f"uq_{table}_{'_'.join(columns)}",
            ["organisation_id", *columns],
            unique=True,
            sqlite_where=sa.text("ended_on IS NULL"),
            postgresql_where=sa.text("ended_on IS NULL"),
        )


def _make() -> None:
    op.create_table(
        "rule_pack",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("edition", sa.String(), nullable=False),
        sa.Column("title", sa.String(120), nullable=False),
        sa.Column("fictional", sa.Boolean(), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        *_of_every_record(),
        *_keys("rule_pack", of_a_pack=False),
    )
    _unique_while_kept("rule_pack", "name", "edition")

    op.create_table(
        "jurisdiction",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("level", _words("level", "supranational", "state", "subdivision", "local_authority"), nullable=False),
        sa.Column("parent_code", sa.String(), nullable=True),
        sa.Column("fictional", sa.Boolean(), nullable=False),
        sa.Column("zone", sa.String(64), nullable=False),
        *_of_every_record(),
        sa.Column("rest_days", sa.Text(), nullable=False),
        sa.Column("holidays", sa.Text(), nullable=False),
        sa.Column("pack_id", _uuid(), nullable=False),
        *_keys("jurisdiction"),
    )
    _unique_while_kept("jurisdiction", "code")

    op.create_table(
        "document_kind",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("jurisdiction", sa.String(), nullable=False),
        sa.Column("title", sa.String(120), nullable=False),
        sa.Column("citation", sa.String(120), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        *_of_every_record(),
        sa.Column("pack_id", _uuid(), nullable=False),
        *_keys("document_kind"),
    )
    _unique_while_kept("document_kind", "code")

    consequences = ("prohibited", "document", "mark", "notify", "report", "record", "inspect", "exempt")
    op.create_table(
        "requirement",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("edition", sa.String(), nullable=False),
        sa.Column("jurisdiction", sa.String(), nullable=False),
        sa.Column("instrument", sa.String(120), nullable=False),
        sa.Column("title", sa.String(120), nullable=False),
        sa.Column("citation", sa.String(120), nullable=False),
        sa.Column("consequence", _words("consequence", *consequences), nullable=False),
        sa.Column("listed_on", sa.Date(), nullable=True),
        sa.Column("applies_from", sa.Date(), nullable=False),
        sa.Column("applies_until", sa.Date(), nullable=True),
        sa.Column("reviewed_on", sa.Date(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        *_of_every_record(),
        sa.Column("pack_id", _uuid(), nullable=False),
        *_keys("requirement"),
    )
    _unique_while_kept("requirement", "code", "edition")
    with op.batch_alter_table("requirement", schema=None) as batch_op:
        batch_op.create_index("ix_requirement_days", ["organisation_id", "jurisdiction", "applies_from", "applies_until"], unique=False)


def _keep_apart() -> None:
    """Have the database refuse two editions of one requirement that apply on one day."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "ALTER TABLE requirement ADD CONSTRAINT ex_requirement_days EXCLUDE USING gist "
            "(organisation_id WITH =, code WITH =, daterange(applies_from, applies_until, '[]') WITH &&) WHERE (ended_on IS NULL)"
        )
        return
    alike = "o.organisation_id = NEW.organisation_id AND o.code = NEW.code AND o.id <> NEW.id AND o.ended_on IS NULL"
    shared = "o.applies_from <= coalesce(NEW.applies_until, '9999-12-31') AND coalesce(o.applies_until, '9999-12-31') >= NEW.applies_from"
    others = f"SELECT 1 FROM requirement AS o WHERE {alike} AND {shared}"  # noqa: S608 - our names
    for act in ("INSERT", "UPDATE"):
        op.execute(
            f"CREATE TRIGGER ex_requirement_days_{act.lower()} BEFORE {act} ON requirement "
            f"WHEN NEW.ended_on IS NULL AND EXISTS ({others}) BEGIN SELECT RAISE(ABORT, 'ex_requirement_days'); END"
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


def upgrade() -> None:
    """Make the tables, then the guards."""
    _make()
    _keep_apart()
    _guard_and_admit()


def downgrade() -> None:
    """Take the tables away."""
    for table in reversed(ADDED):
        op.drop_table(table)
