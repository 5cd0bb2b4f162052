"""Empty reels weighed by hand, append-only like the rest; a slip is withdrawn by a further row."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "lotqa_0003"
down_revision = "lotqa_0002"
branch_labels = None
depends_on = None

TABLE = "tare"


def upgrade() -> None:
    op.create_table(
        TABLE,
        sa.Column("id", sa.Integer, primary_key=True),
        _known("content_hash", sa.String(64)),
        _known("supplier", sa.Text),
        _known("supplier_key", sa.Text),
        _maybe("reel_kind", sa.Text),
        _known("reel_kind_key", sa.Text),
        _maybe("reel_material", sa.Text),
        _maybe("lot_id", sa.Integer),
        _maybe("lot", sa.Text),
        _maybe("spool", sa.Text),
        _known("mass_g", sa.Float),
        _maybe("scale_step_g", sa.Float),
        _maybe("limit_of_error_g", sa.Float),
        _known("weighed_at", sa.Date),
        _known("entered_at", sa.Text),
        _maybe("note", sa.Text),
        _maybe("withdraws", sa.Integer),
        _known("program_version", sa.Text),
        _known("row_sha256", sa.String(64)),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"]),
        sa.ForeignKeyConstraint(["withdraws"], ["tare.id"]),
        sa.UniqueConstraint("content_hash", name="uq_tare_content_hash"),
    )
    op.create_index("ix_tare_supplier_key", TABLE, ["supplier_key"])
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            f"CREATE TRIGGER {TABLE}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {TABLE} "
            "FOR EACH STATEMENT EXECUTE FUNCTION lotqa_append_only()"
        )
        return
    for action in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {TABLE}_no_{action.lower()} BEFORE {action} ON {TABLE} BEGIN "
            f"SELECT RAISE(ABORT, 'the ledger is append-only: no {action} on {TABLE}'); END"
        )
    op.execute(
        f"CREATE TRIGGER {TABLE}_no_replace BEFORE INSERT ON {TABLE} "
        f"WHEN EXISTS (SELECT 1 FROM {TABLE} WHERE (id = NEW.id) OR "
        "(content_hash = NEW.content_hash)) BEGIN "
        f"SELECT RAISE(ABORT, 'the ledger is append-only: that row of {TABLE} exists'); END"
    )


def downgrade() -> None:
    raise NotImplementedError("a ledger is never taken apart: restore a backup instead")


def _known(name: str, kind: Any) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=False)


def _maybe(name: str, kind: Any) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=True)
