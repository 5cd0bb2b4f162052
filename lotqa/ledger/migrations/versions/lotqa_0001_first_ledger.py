"""The first ledger: lots, inspections, spools, readings and everything kept as it came.

Also the guards that make every table append-only.  A guard against inserting over an existing
key stands beside those against UPDATE and DELETE: on a connection with recursive_triggers off,
INSERT OR REPLACE removes the old row without firing a DELETE trigger.
"""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "lotqa_0001"
down_revision = None
branch_labels = None
depends_on = None

# Tables with the keys that a new row must not share with an old one.
KEYS: dict[str, tuple[tuple[str, ...], ...]] = {
    "lot": (("id",), ("supplier", "product", "material", "colour", "lot")),
    "inspection": (("id",), ("content_hash",)),
    "spool_result": (("id",), ("inspection_id", "spool")),
    "reading": (("inspection_id", "n"),),
    "weigh_in": (("inspection_id", "n"),),
    "finding": (("inspection_id", "n"),),
    "pin_check": (("inspection_id", "n"),),
    "problem": (("inspection_id", "n"),),
    "source_file": (("inspection_id", "n"),),
}


def upgrade() -> None:
    _tables()
    if op.get_bind().dialect.name == "postgresql":
        _guards_postgresql()
    else:
        _guards_sqlite()


def downgrade() -> None:
    raise NotImplementedError("a ledger is never taken apart: restore a backup instead")


def _known(name: str, kind: type[sa.types.TypeEngine[Any]]) -> sa.Column[Any]:
    return sa.Column(name, kind(), nullable=False)


def _maybe(name: str, kind: type[sa.types.TypeEngine[Any]]) -> sa.Column[Any]:
    return sa.Column(name, kind(), nullable=True)


def _key() -> tuple[sa.schema.SchemaItem, ...]:
    return (
        sa.Column("inspection_id", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("n", sa.Integer(), nullable=False, autoincrement=False),
        sa.ForeignKeyConstraint(["inspection_id"], ["inspection.id"]),
        sa.PrimaryKeyConstraint("inspection_id", "n"),
    )


def _tables() -> None:
    op.create_table(
        "lot",
        sa.Column("id", sa.Integer(), primary_key=True),
        _known("supplier", sa.Text),
        _known("product", sa.Text),
        _known("material", sa.Text),
        _known("colour", sa.Text),
        _known("lot", sa.Text),
        _known("entered_at", sa.Text),
        sa.UniqueConstraint(
            "supplier", "product", "material", "colour", "lot", name="uq_lot_identity"
        ),
    )
    op.create_index("ix_lot_lot", "lot", ["lot"])
    op.create_table(
        "inspection",
        sa.Column("id", sa.Integer(), primary_key=True),
        _known("lot_id", sa.Integer),
        sa.Column("content_hash", sa.String(64), nullable=False),
        _known("inspected_at", sa.Text),
        _known("entered_at", sa.Text),
        _known("program_version", sa.Text),
        _known("criteria_name", sa.Text),
        sa.Column("criteria_sha256", sa.String(64), nullable=False),
        _known("criteria_text", sa.Text),
        _known("lot_sheet", sa.Text),
        _known("document", sa.Text),
        _known("lot_date", sa.Date),
        _maybe("received", sa.Date),
        _maybe("claim_until", sa.Date),
        _known("verdict", sa.Text),
        _known("standing", sa.Text),
        _maybe("spools_received", sa.Integer),
        _maybe("spools_inspected", sa.Integer),
        _maybe("accepted", sa.Integer),
        _maybe("tuned", sa.Integer),
        _maybe("rejected", sa.Integer),
        _maybe("nominal_mm", sa.Float),
        _maybe("tolerance_mm", sa.Float),
        _maybe("label_net_g", sa.Float),
        _maybe("mean_mm", sa.Float),
        _maybe("mean_lo_mm", sa.Float),
        _maybe("mean_hi_mm", sa.Float),
        _maybe("between_spool_sd_mm", sa.Float),
        _maybe("within_spool_sd_mm", sa.Float),
        _maybe("ovality_mm", sa.Float),
        _maybe("net_g", sa.Float),
        _maybe("shortfall_g", sa.Float),
        _maybe("price", sa.Float),
        _maybe("currency", sa.Text),
        _maybe("price_per_litre", sa.Float),
        _maybe("readings_file", sa.Text),
        _known("n_readings", sa.Integer),
        _known("n_weigh_ins", sa.Integer),
        _known("n_findings", sa.Integer),
        _known("n_pin_checks", sa.Integer),
        _known("n_problems", sa.Integer),
        _known("n_files", sa.Integer),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"]),
        sa.UniqueConstraint("content_hash", name="uq_inspection_content_hash"),
    )
    op.create_index("ix_inspection_lot_id", "inspection", ["lot_id"])
    op.create_table(
        "finding",
        *_key(),
        _known("spool", sa.Text),
        _known("finding", sa.Text),
        _known("grade", sa.Text),
        _known("count", sa.Integer),
        _maybe("position_m", sa.Float),
        _maybe("note", sa.Text),
        _known("file", sa.Text),
        _known("line", sa.Integer),
    )
    op.create_table(
        "pin_check",
        *_key(),
        _known("instrument", sa.Text),
        _known("when_read", sa.Text),
        _known("reference_mm", sa.Float),
        _known("reading_mm", sa.Float),
        _known("file", sa.Text),
        _known("line", sa.Integer),
    )
    op.create_table(
        "problem",
        *_key(),
        _known("file", sa.Text),
        _maybe("line", sa.Integer),
        _maybe("column_name", sa.Text),
        _maybe("value", sa.Text),
        _known("message", sa.Text),
        _known("row_used", sa.Boolean),
    )
    op.create_table(
        "source_file",
        *_key(),
        _known("name", sa.Text),
        sa.Column("sha256", sa.String(64), nullable=False),
        _known("n_bytes", sa.Integer),
        _known("content_zlib", sa.LargeBinary),
        _known("rows_read", sa.Integer),
        _known("rows_used", sa.Integer),
        _known("rows_reported", sa.Integer),
    )
    op.create_table(
        "spool_result",
        sa.Column("id", sa.Integer(), primary_key=True),
        _known("inspection_id", sa.Integer),
        _known("n", sa.Integer),
        _known("spool", sa.Text),
        _maybe("verdict", sa.Text),
        _maybe("standing", sa.Text),
        _maybe("places", sa.Integer),
        _maybe("readings", sa.Integer),
        _known("n_readings", sa.Integer),
        _maybe("mean_mm", sa.Float),
        _maybe("mean_lo_mm", sa.Float),
        _maybe("mean_hi_mm", sa.Float),
        _maybe("u_mean_mm", sa.Float),
        _maybe("sd_mm", sa.Float),
        _maybe("sd_lo_mm", sa.Float),
        _maybe("sd_hi_mm", sa.Float),
        _maybe("sd_observed_mm", sa.Float),
        _maybe("min_mm", sa.Float),
        _maybe("max_mm", sa.Float),
        _maybe("cp", sa.Float),
        _maybe("cpk", sa.Float),
        _maybe("fraction_outside", sa.Float),
        _maybe("ovality_mm", sa.Float),
        _maybe("flow_error_pct", sa.Float),
        _maybe("flow_swing_pct", sa.Float),
        _maybe("multiplier", sa.Float),
        _maybe("net_g", sa.Float),
        _maybe("net_lo_g", sa.Float),
        _maybe("net_hi_g", sa.Float),
        _maybe("shortfall_g", sa.Float),
        _maybe("shortfall_lo_g", sa.Float),
        _maybe("shortfall_hi_g", sa.Float),
        _maybe("length_m", sa.Float),
        _maybe("moisture_loss_pct", sa.Float),
        _maybe("n_critical", sa.Integer),
        _maybe("n_major", sa.Integer),
        _maybe("n_minor", sa.Integer),
        sa.ForeignKeyConstraint(["inspection_id"], ["inspection.id"]),
        sa.UniqueConstraint("inspection_id", "spool", name="uq_spool_result_spool"),
    )
    op.create_table(
        "weigh_in",
        *_key(),
        _known("spool", sa.Text),
        _known("kind", sa.Text),
        _known("mass_g", sa.Float),
        _maybe("length_m", sa.Float),
        _maybe("hours", sa.Float),
        _maybe("temperature_c", sa.Float),
        _maybe("scale_step_g", sa.Float),
        _maybe("note", sa.Text),
        _known("file", sa.Text),
        _known("line", sa.Integer),
    )
    op.create_table(
        "reading",
        *_key(),
        _known("spool_id", sa.Integer),
        _known("place", sa.Integer),
        _maybe("position_m", sa.Float),
        _maybe("direction_deg", sa.Float),
        _known("diameter_mm", sa.Float),
        _known("trial", sa.Integer),
        _maybe("operator", sa.Text),
        _known("line", sa.Integer),
        sa.ForeignKeyConstraint(["spool_id"], ["spool_result.id"]),
        sqlite_with_rowid=False,
    )


def _guards_sqlite() -> None:
    for table, keys in KEYS.items():
        for action in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{action.lower()} BEFORE {action} ON {table} BEGIN "
                f"SELECT RAISE(ABORT, 'the ledger is append-only: no {action} on {table}'); END"
            )
        same = " OR ".join(
            "(" + " AND ".join(f"{column} = NEW.{column}" for column in key) + ")" for key in keys
        )
        op.execute(
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) BEGIN "
            f"SELECT RAISE(ABORT, 'the ledger is append-only: that row of {table} exists'); END"
        )


def _guards_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION lotqa_append_only() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION 'the ledger is append-only: no % on %', TG_OP, TG_TABLE_NAME; END $$"
    )
    for table in KEYS:
        op.execute(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION lotqa_append_only()"
        )
