"""Gauge studies, kept by instrument and append-only like the rest."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "lotqa_0002"
down_revision = "lotqa_0001"
branch_labels = None
depends_on = None

TABLE = "gauge_study"


def upgrade() -> None:
    op.create_table(
        TABLE,
        sa.Column("id", sa.Integer, primary_key=True),
        _known("content_hash", sa.String(64)),
        _known("instrument", sa.Text),
        _known("instrument_key", sa.Text),
        _known("studied_at", sa.Text),
        _known("entered_at", sa.Text),
        _known("program_version", sa.Text),
        _known("n_places", sa.Integer),
        _known("n_operators", sa.Integer),
        _known("n_trials", sa.Integer),
        _known("step_mm", sa.Float),
        _maybe("tolerance_mm", sa.Float),
        _known("scatter_sd_mm", sa.Float),
        _known("scatter_df", sa.Float),
        _known("repeatability_sd_mm", sa.Float),
        _maybe("reproducibility_sd_mm", sa.Float),
        _known("gauge_sd_mm", sa.Float),
        _known("place_sd_mm", sa.Float),
        _known("study_document", sa.Text),
        _known("file", sa.Text),
        _known("file_sha256", sa.String(64)),
        _known("file_zlib", sa.LargeBinary),
        sa.UniqueConstraint("content_hash", name="uq_gauge_study_content_hash"),
    )
    op.create_index("ix_gauge_study_instrument_key", TABLE, ["instrument_key"])
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
