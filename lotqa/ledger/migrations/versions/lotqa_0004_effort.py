"""Changes of effort, append-only like the rest; a change is set right by a further row.

Lots of an older ledger get no rows: with which rules they would have been counted was not kept.
"""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "lotqa_0004"
down_revision = "lotqa_0003"
branch_labels = None
depends_on = None

TABLE = "effort_change"


def upgrade() -> None:
    op.create_table(
        TABLE,
        sa.Column("id", sa.Integer, primary_key=True),
        _known("inspection_id", sa.Integer),
        _known("supplier", sa.Text),
        _known("supplier_key", sa.Text),
        _known("material", sa.Text),
        _known("material_key", sa.Text),
        _known("lot", sa.Text),
        _known("day", sa.Date),
        _known("state_before", sa.Text),
        _known("state_after", sa.Text),
        _known("why", sa.Text),
        _known("is_correction", sa.Boolean),
        _known("entered_at", sa.Text),
        _known("program_version", sa.Text),
        _known("row_sha256", sa.String(64)),
        sa.ForeignKeyConstraint(["inspection_id"], ["inspection.id"]),
        sa.UniqueConstraint("inspection_id", name="uq_effort_change_inspection_id"),
    )
    op.create_index("ix_effort_change_keys", TABLE, ["supplier_key", "material_key"])
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
        "(inspection_id = NEW.inspection_id)) BEGIN "
        f"SELECT RAISE(ABORT, 'the ledger is append-only: that row of {TABLE} exists'); END"
    )


def downgrade() -> None:
    raise NotImplementedError("a ledger is never taken apart: restore a backup instead")


def _known(name: str, kind: Any) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=False)
