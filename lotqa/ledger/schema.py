"""The tables of the ledger, commented column by column.

Every table is append-only: triggers refuse UPDATE, DELETE and REPLACE.  A lot is measured again
by entering a further inspection; nothing that was entered is ever changed.

Units stand at the end of a column's name.  NULL means 'not known'; only the five parts of a
lot's identity use '' for it, because NULLs would never be equal and so never be unique.  Times
are text, UTC, ISO 8601 with microseconds, so that they sort as text on every database.

The migrations build these tables; this module describes them for queries, and a test holds
that the two agree.
"""

from typing import Any

import sqlalchemy as sa

metadata = sa.MetaData()


def _column(name: str, kind: type[sa.types.TypeEngine[Any]], comment: str) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=True, comment=comment)


def _needed(name: str, kind: type[sa.types.TypeEngine[Any]], comment: str) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=False, comment=comment)


def _rows_of_an_inspection() -> tuple[sa.Column[Any], sa.Column[Any]]:
    """The key of a table that holds many rows of one inspection, in the order they came."""
    return (
        sa.Column(
            "inspection_id",
            sa.Integer,
            sa.ForeignKey("inspection.id"),
            primary_key=True,
            autoincrement=False,
            comment="the inspection this row belongs to",
        ),
        sa.Column(
            "n",
            sa.Integer,
            primary_key=True,
            autoincrement=False,
            comment="1, 2, ... in the order of entry",
        ),
    )


lot = sa.Table(
    "lot",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, comment="number of the lot in this ledger"),
    _needed("supplier", sa.Text, "who sold it"),
    _needed("product", sa.Text, "the name it is sold under"),
    _needed("material", sa.Text, "PLA, PETG, ..."),
    _needed("colour", sa.Text, "as the supplier names it"),
    _needed("lot", sa.Text, "lot code of the maker, or self-assigned"),
    _needed("entered_at", sa.Text, "when the lot was first entered"),
    sa.UniqueConstraint("supplier", "product", "material", "colour", "lot", name="uq_lot_identity"),
    sa.Index("ix_lot_lot", "lot"),
)

inspection = sa.Table(
    "inspection",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, comment="number of the inspection"),
    sa.Column(
        "lot_id", sa.Integer, sa.ForeignKey("lot.id"), nullable=False, comment="the lot inspected"
    ),
    sa.Column(
        "content_hash",
        sa.String(64),
        nullable=False,
        comment="sha256 over the files, the lot sheet as used, and the criteria",
    ),
    _needed("inspected_at", sa.Text, "when the inspection was made"),
    _needed("entered_at", sa.Text, "when it was entered here"),
    _needed("program_version", sa.Text, "the lotqa that took the verdict"),
    _needed("criteria_name", sa.Text, "name of the criteria file"),
    sa.Column("criteria_sha256", sa.String(64), nullable=False, comment="sha256 of criteria_text"),
    _needed("criteria_text", sa.Text, "the criteria applied, whole"),
    _needed("lot_sheet", sa.Text, "the lot sheet as it was used, options included, JSON"),
    _needed("document", sa.Text, "the inspection document, JSON, lotqa.inspection.v1"),
    _needed("lot_date", sa.Date, "received, else the day of the lot's first inspection"),
    _column("received", sa.Date, "when the lot came"),
    _column("claim_until", sa.Date, "last day of the claim window"),
    _needed("verdict", sa.Text, "of the lot: accept, tune or reject"),
    _needed("standing", sa.Text, "firm or provisional"),
    _column("spools_received", sa.Integer, "spools in the lot"),
    _column("spools_inspected", sa.Integer, "spools inspected"),
    _column("accepted", sa.Integer, "spools accepted"),
    _column("tuned", sa.Integer, "spools to tune"),
    _column("rejected", sa.Integer, "spools rejected"),
    _column("nominal_mm", sa.Float, "nominal diameter"),
    _column("tolerance_mm", sa.Float, "half width of the tolerance"),
    _column("label_net_g", sa.Float, "net mass on the label"),
    _column("mean_mm", sa.Float, "mean diameter of the lot"),
    _column("mean_lo_mm", sa.Float, "lower end of its 95 % interval"),
    _column("mean_hi_mm", sa.Float, "upper end of its 95 % interval"),
    _column("between_spool_sd_mm", sa.Float, "standard deviation between spools"),
    _column("within_spool_sd_mm", sa.Float, "standard deviation within a spool"),
    _column("ovality_mm", sa.Float, "mean of the spools' ovalities"),
    _column("net_g", sa.Float, "mean net mass of a spool"),
    _column("shortfall_g", sa.Float, "mean of the spools' shortfalls against the label"),
    _column("price", sa.Float, "price of one spool"),
    _column("currency", sa.Text, "currency of the price"),
    _column("price_per_litre", sa.Float, "price of a litre of filament"),
    _column("readings_file", sa.Text, "file that the readings came from"),
    _needed("n_readings", sa.Integer, "rows entered in reading; a lost or added row shows"),
    _needed("n_weigh_ins", sa.Integer, "rows entered in weigh_in"),
    _needed("n_findings", sa.Integer, "rows entered in finding"),
    _needed("n_pin_checks", sa.Integer, "rows entered in pin_check"),
    _needed("n_problems", sa.Integer, "rows entered in problem"),
    _needed("n_files", sa.Integer, "rows entered in source_file"),
    sa.UniqueConstraint("content_hash", name="uq_inspection_content_hash"),
    sa.Index("ix_inspection_lot_id", "lot_id"),
)

spool_result = sa.Table(
    "spool_result",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, comment="number of this row"),
    sa.Column(
        "inspection_id",
        sa.Integer,
        sa.ForeignKey("inspection.id"),
        nullable=False,
        comment="the inspection this row belongs to",
    ),
    _needed("n", sa.Integer, "1, 2, ... in the order of the document"),
    _needed("spool", sa.Text, "name of the spool"),
    _column("verdict", sa.Text, "accept, tune or reject; NULL if the document has no word on it"),
    _column("standing", sa.Text, "firm or provisional"),
    _column("places", sa.Integer, "places measured"),
    _column("readings", sa.Integer, "readings used"),
    _needed("n_readings", sa.Integer, "rows entered in reading for this spool"),
    _column("mean_mm", sa.Float, "mean diameter"),
    _column("mean_lo_mm", sa.Float, "lower end of its 95 % interval"),
    _column("mean_hi_mm", sa.Float, "upper end of its 95 % interval"),
    _column("u_mean_mm", sa.Float, "standard uncertainty of the mean, k = 1"),
    _column("sd_mm", sa.Float, "standard deviation along the filament, gauge scatter removed"),
    _column("sd_lo_mm", sa.Float, "lower end of its 95 % interval"),
    _column("sd_hi_mm", sa.Float, "upper end of its 95 % interval"),
    _column("sd_observed_mm", sa.Float, "plain standard deviation of the place means"),
    _column("min_mm", sa.Float, "smallest"),
    _column("max_mm", sa.Float, "largest"),
    _column("cp", sa.Float, "tolerance against spread"),
    _column("cpk", sa.Float, "the same, with centring"),
    _column("fraction_outside", sa.Float, "estimated share outside the tolerance"),
    _column("ovality_mm", sa.Float, "mean ovality"),
    _column("flow_error_pct", sa.Float, "mean flow error against the diameter set"),
    _column("flow_swing_pct", sa.Float, "swing of the flow along the filament"),
    _column("multiplier", sa.Float, "flow multiplier to enter"),
    _column("net_g", sa.Float, "net mass"),
    _column("net_lo_g", sa.Float, "lower end of its 95 % interval"),
    _column("net_hi_g", sa.Float, "upper end of its 95 % interval"),
    _column("shortfall_g", sa.Float, "label minus net mass"),
    _column("shortfall_lo_g", sa.Float, "lower end of its 95 % interval"),
    _column("shortfall_hi_g", sa.Float, "upper end of its 95 % interval"),
    _column("length_m", sa.Float, "length on the spool"),
    _column("moisture_loss_pct", sa.Float, "mass lost on drying"),
    _column("n_critical", sa.Integer, "critical findings"),
    _column("n_major", sa.Integer, "major findings"),
    _column("n_minor", sa.Integer, "minor findings"),
    sa.UniqueConstraint("inspection_id", "spool", name="uq_spool_result_spool"),
)

reading = sa.Table(
    "reading",
    metadata,
    *_rows_of_an_inspection(),
    sa.Column(
        "spool_id",
        sa.Integer,
        sa.ForeignKey("spool_result.id"),
        nullable=False,
        comment="the spool, a row of spool_result",
    ),
    _needed("place", sa.Integer, "numbers the places 0, 1, 2 ... through the whole inspection"),
    _column("position_m", sa.Float, "metres from the free end"),
    _column("direction_deg", sa.Float, "degrees round the filament"),
    _needed("diameter_mm", sa.Float, "as read, nothing corrected"),
    _needed("trial", sa.Integer, "1, 2, ... repeated readings of one place and direction"),
    _column("operator", sa.Text, "who read"),
    _needed("line", sa.Integer, "line in inspection.readings_file, header included"),
    sqlite_with_rowid=False,  # the key is the order on disk: an inspection is read in one sweep
)

weigh_in = sa.Table(
    "weigh_in",
    metadata,
    *_rows_of_an_inspection(),
    _needed("spool", sa.Text, "name of the spool"),
    _needed("kind", sa.Text, "gross, tare, net, cut, before_drying, after_drying or coupon"),
    _needed("mass_g", sa.Float, "as weighed"),
    _column("length_m", sa.Float, "length of the piece cut"),
    _column("hours", sa.Float, "hours of drying"),
    _column("temperature_c", sa.Float, "temperature of drying"),
    _column("scale_step_g", sa.Float, "smallest step of the scale"),
    _column("note", sa.Text, "remark"),
    _needed("file", sa.Text, "file it came from"),
    _needed("line", sa.Integer, "line in that file"),
)

finding = sa.Table(
    "finding",
    metadata,
    *_rows_of_an_inspection(),
    _needed("spool", sa.Text, "name of the spool"),
    _needed("finding", sa.Text, "what was seen or felt"),
    _needed("grade", sa.Text, "critical, major or minor"),
    _needed("count", sa.Integer, "how often"),
    _column("position_m", sa.Float, "metres from the free end"),
    _column("note", sa.Text, "remark"),
    _needed("file", sa.Text, "file it came from"),
    _needed("line", sa.Integer, "line in that file"),
)

pin_check = sa.Table(
    "pin_check",
    metadata,
    *_rows_of_an_inspection(),
    _needed("instrument", sa.Text, "name of the instrument"),
    _needed("when_read", sa.Text, "before or after the session"),
    _needed("reference_mm", sa.Float, "size of the pin"),
    _needed("reading_mm", sa.Float, "what the instrument showed"),
    _needed("file", sa.Text, "file it came from"),
    _needed("line", sa.Integer, "line in that file"),
)

problem = sa.Table(
    "problem",
    metadata,
    *_rows_of_an_inspection(),
    _needed("file", sa.Text, "file it is in"),
    _column("line", sa.Integer, "line in that file"),
    _column("column_name", sa.Text, "column in that file"),
    _column("value", sa.Text, "exactly as typed"),
    _needed("message", sa.Text, "what is wrong and what to do"),
    _needed("row_used", sa.Boolean, "false if the row fell out"),
)

source_file = sa.Table(
    "source_file",
    metadata,
    *_rows_of_an_inspection(),
    _needed("name", sa.Text, "name of the file"),
    sa.Column("sha256", sa.String(64), nullable=False, comment="sha256 of the file as it came"),
    _needed("n_bytes", sa.Integer, "size of the file as it came"),
    _needed("content_zlib", sa.LargeBinary, "the file exactly as it came, zlib-compressed"),
    _needed("rows_read", sa.Integer, "data rows read"),
    _needed("rows_used", sa.Integer, "data rows used"),
    _needed("rows_reported", sa.Integer, "data rows reported and not used"),
)

gauge_study = sa.Table(
    "gauge_study",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, comment="number of the study"),
    sa.Column(
        "content_hash",
        sa.String(64),
        nullable=False,
        comment="sha256 over the file, the instrument and the scatter found",
    ),
    _needed("instrument", sa.Text, "name of the instrument as typed"),
    _needed("instrument_key", sa.Text, "the same without case and extra blanks"),
    _needed("studied_at", sa.Text, "when the study was evaluated"),
    _needed("entered_at", sa.Text, "when it was entered here"),
    _needed("program_version", sa.Text, "the lotqa that evaluated it"),
    _needed("n_places", sa.Integer, "places read"),
    _needed("n_operators", sa.Integer, "people who read"),
    _needed("n_trials", sa.Integer, "times that each read each place"),
    _needed("step_mm", sa.Float, "step of the display"),
    _column("tolerance_mm", sa.Float, "half width that the shares are of"),
    _needed("scatter_sd_mm", sa.Float, "sd of one reading by one hand, rounding taken out"),
    _needed("scatter_df", sa.Float, "its degrees of freedom"),
    _needed("repeatability_sd_mm", sa.Float, "the same sd with the rounding in it"),
    _column("reproducibility_sd_mm", sa.Float, "sd between hands; NULL with one operator"),
    _needed("gauge_sd_mm", sa.Float, "both together"),
    _needed("place_sd_mm", sa.Float, "sd of the places read"),
    _needed("study_document", sa.Text, "the study, JSON, lotqa.gauge.v1"),
    _needed("file", sa.Text, "file that the readings came from"),
    sa.Column("file_sha256", sa.String(64), nullable=False, comment="sha256 of it as it came"),
    _needed("file_zlib", sa.LargeBinary, "the file exactly as it came, zlib-compressed"),
    sa.UniqueConstraint("content_hash", name="uq_gauge_study_content_hash"),
    sa.Index("ix_gauge_study_instrument_key", "instrument_key"),
)

tare = sa.Table(
    "tare",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, comment="number of the weighing"),
    sa.Column(
        "content_hash",
        sa.String(64),
        nullable=False,
        comment="sha256 over the reel, its mass, the day and the note",
    ),
    _needed("supplier", sa.Text, "whose reel it is, as typed"),
    _needed("supplier_key", sa.Text, "the same without case and extra blanks"),
    _column("reel_kind", sa.Text, "the buyer's word for reels that are alike"),
    _needed("reel_kind_key", sa.Text, "the same without case and extra blanks; '' without one"),
    _column("reel_material", sa.Text, "plastic, cardboard, metal or none"),
    sa.Column("lot_id", sa.Integer, sa.ForeignKey("lot.id"), comment="the lot it came with"),
    _column("lot", sa.Text, "code of that lot"),
    _column("spool", sa.Text, "the spool that was on it"),
    _needed("mass_g", sa.Float, "mass of the empty reel"),
    _column("scale_step_g", sa.Float, "step of the scale"),
    _column("limit_of_error_g", sa.Float, "limit of error of the scale"),
    _needed("weighed_at", sa.Date, "day it was weighed"),
    _needed("entered_at", sa.Text, "when it was entered here"),
    _column("note", sa.Text, "remark as typed"),
    sa.Column(
        "withdraws",
        sa.Integer,
        sa.ForeignKey("tare.id"),
        comment="set if this row only says that the row of this number was a slip",
    ),
    _needed("program_version", sa.Text, "the lotqa that entered it"),
    sa.Column("row_sha256", sa.String(64), nullable=False, comment="sha256 over all of the row"),
    sa.UniqueConstraint("content_hash", name="uq_tare_content_hash"),
    sa.Index("ix_tare_supplier_key", "supplier_key"),
)

effort_change = sa.Table(
    "effort_change",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, comment="number of the change"),
    sa.Column(
        "inspection_id",
        sa.Integer,
        sa.ForeignKey("inspection.id"),
        nullable=False,
        comment="the inspection that brought it, entered in the same transaction",
    ),
    _needed("supplier", sa.Text, "whose lots it is about, as this lot was entered"),
    _needed("supplier_key", sa.Text, "the same without case and extra blanks"),
    _needed("material", sa.Text, "of the lots"),
    _needed("material_key", sa.Text, "the same without case and extra blanks"),
    _needed("lot", sa.Text, "code of the lot that brought it"),
    _needed("day", sa.Date, "the day of that lot, as in inspection.lot_date"),
    _needed("state_before", sa.Text, "normal, tightened, reduced or skip"),
    _needed("state_after", sa.Text, "the same, from the next lot on"),
    _needed("why", sa.Text, "the reason, in words"),
    _needed("is_correction", sa.Boolean, "true if it sets right what was recorded before"),
    _needed("entered_at", sa.Text, "when it was entered here"),
    _needed("program_version", sa.Text, "the lotqa that entered it"),
    sa.Column("row_sha256", sa.String(64), nullable=False, comment="sha256 over all of the row"),
    sa.UniqueConstraint("inspection_id", name="uq_effort_change_inspection_id"),
    sa.Index("ix_effort_change_keys", "supplier_key", "material_key"),
)

# Which column of `inspection` holds the number of rows of each table.
ROW_COUNTS: dict[str, sa.Table] = {
    "n_readings": reading,
    "n_weigh_ins": weigh_in,
    "n_findings": finding,
    "n_pin_checks": pin_check,
    "n_problems": problem,
    "n_files": source_file,
}
