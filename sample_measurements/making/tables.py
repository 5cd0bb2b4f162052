"""The files of a lot as text: the lot sheet, and each table as rows of cells."""

import csv
import io
from collections.abc import Sequence

from sample_measurements.making.scenario import (
    DRAWN_SINCE,
    FINE_SCALE,
    HAND_KNOWN_SINCE,
    HUNG_M,
    KINDS,
    KNOWN_MASS_G,
    LIMIT_OF_ERROR_G,
    LIMIT_OF_ERROR_MM,
    MICROMETER,
    PARCEL_SCALE,
    PIN_MM,
    TOOLS,
    WATER_C,
    SampleDrying,
    SampleLot,
)
from sample_measurements.making.simulated import SCALES, Simulated, lump_positions_m
from tests.simulator import FloatArray, Measured

Cells = tuple[str, ...]


def _drawn(lot: SampleLot) -> list[str]:
    if lot.received < DRAWN_SINCE or len(lot.spools) == lot.spools_received:
        return []
    names = ", ".join(f'"{spool}"' for spool in lot.drawn or lot.spools)
    return [f"drawn = [{names}]"]


def lot_sheet(lot: SampleLot) -> str:
    """lot.toml as text."""
    tool = TOOLS[lot.tool]
    lines = [
        "# Invented: this supplier and these spools do not exist, the readings are simulated.",
        "[lot]",
        f'supplier = "{lot.supplier}"',
        f'product = "{lot.product}"',
        f'material = "{lot.material}"',
        f'colour = "{lot.colour}"',
        f'lot = "{lot.lot}"',
        f"ordered = {lot.ordered.isoformat()}",
        f"received = {lot.received.isoformat()}",
        f"spools_received = {lot.spools_received}",
        *_drawn(lot),
        f"claim_days = {lot.claim_days}",
        f"price = {lot.price:.2f}",
        'currency = "EUR"',
        "",
        "[label]",
        "nominal_mm = 1.75",
        f"tolerance_mm = {lot.tolerance_mm}",
        f"net_g = {lot.label_net_g:g}",
    ]
    if lot.label_ovality_mm is not None:
        lines.append(f"ovality_mm = {lot.label_ovality_mm}")
    if lot.reel_stated:
        lines += [
            "",
            "[reel]",
            f'kind = "{lot.reel_kind}"',
            f'material = "{lot.reel_material}"',
        ]
    lines += [
        "",
        "[[instrument]]",
        f'kind = "{KINDS[lot.tool]}"',
        f'name = "{lot.tool}"',
        f"resolution_mm = {tool.step_mm}",
        f"limit_of_error_mm = {LIMIT_OF_ERROR_MM[lot.tool]}",
    ]
    # The micrometer's maker states it; that of a calliper depends on the hand, and the workshop
    # found its own in spring 2026 by reading one piece again and again.
    if lot.tool == MICROMETER or lot.received >= HAND_KNOWN_SINCE:
        lines.append(f"repeatability_sd_mm = {tool.scatter_sd_mm}")
    for scale in scales_used(lot):
        lines += [
            "",
            "[[instrument]]",
            'kind = "scale"',
            f'name = "{scale}"',
            f"resolution_g = {SCALES[scale].step_g:g}",
            f"limit_of_error_g = {LIMIT_OF_ERROR_G[scale]:g}",
        ]
    lines += [
        "",
        "[print]",
        "line_width_mm = 0.45",
        "layer_height_mm = 0.2",
        "set_diameter_mm = 1.75",
    ]
    return "\n".join(lines) + "\n"


def scales_used(lot: SampleLot) -> list[str]:
    """The scales that a lot was weighed on; pieces go on the fine one."""
    return [PARCEL_SCALE, FINE_SCALE] if lot.cut or lot.hung else [PARCEL_SCALE]


def reading_rows(lot: SampleLot, measured: Measured) -> list[Cells]:
    """Header and rows of the readings, as text with the digits of the display."""
    digits = 3 if TOOLS[lot.tool].step_mm < 0.01 else 2
    if lot.layout == "wide":
        rows = [("spool", "position_m", *(f"d{d}_mm" for d in lot.directions_deg))]
        for i, spool in enumerate(lot.spools):
            for x, values in zip(measured.position_m[i], measured.diameter_mm[i], strict=True):
                rows.append((spool, f"{x:.2f}", *(f"{d:.{digits}f}" for d in values)))
        return rows
    rows = [("spool", "position_m", "direction_deg", "diameter_mm")]
    for i, spool in enumerate(lot.spools):
        for x, values in zip(measured.position_m[i], measured.diameter_mm[i], strict=True):
            for direction, d in zip(lot.directions_deg, values, strict=True):
                rows.append((spool, f"{x:.2f}", str(direction), f"{d:.{digits}f}"))
    return rows


def with_typing_slips(rows: list[Cells]) -> tuple[list[Cells], list[dict[str, object]]]:
    """Plant a slipped point and a doubled Enter; also say where, lines counted from 1."""
    slipped = next(i for i, row in enumerate(rows) if i > 12 and row[-1] == "1.75")
    doubled = next(i for i, row in enumerate(rows) if i > slipped + 30)
    typed = [
        *rows[:slipped],
        (*rows[slipped][:-1], "17.5"),
        *rows[slipped + 1 : doubled + 1],
        *rows[doubled:],
    ]
    planted: list[dict[str, object]] = [
        {"file": "readings.csv", "line": slipped + 1, "slip": "point", "typed": "17.5"},
        {
            "file": "readings.csv",
            "line": doubled + 2,
            "slip": "doubled",
            "typed": rows[doubled][-1],
        },
    ]
    return typed, planted


def weighing_rows(lot: SampleLot, sim: Simulated) -> list[Cells]:
    """Header and rows of the weighings; columns that stay empty are left out."""
    step, fine = (f"{SCALES[s].step_g:g}" for s in (PARCEL_SCALE, FINE_SCALE))
    dried = {d.spool: d for d in lot.dried}
    header = (
        "spool",
        "kind",
        "mass_g",
        "length_m",
        "hours",
        "temperature_c",
        "scale_step_g",
        "note",
    )
    rows: list[Cells] = []
    for i, spool in enumerate(lot.spools):
        rows.append((spool, "gross", f"{sim.gross_read_g[i]:.0f}", "", "", "", step, ""))
        if spool in lot.tare_known:
            tare = f"{sim.tare_read_g[i]:.0f}"
            rows.append((spool, "tare", tare, "", "", "", step, lot.tare_note))
        if spool in dried:
            rows += _drying_rows(dried[spool], sim.dried_read_g[spool], step)
        if spool in lot.cut:
            cut = f"{sim.cut_read_g[i]:.2f}"
            rows.append((spool, "cut", cut, f"{lot.cut_m:g}", "", "", fine, ""))
        if spool in lot.hung:
            air, water = (f"{m:.2f}" for m in sim.hung_read_g[i])
            rows.append((spool, "in_air", air, "", "", "", fine, f"coil of {HUNG_M:g} m"))
            rows.append((spool, "in_water", water, "", "", f"{WATER_C:g}", fine, "bubbles wiped"))
    keep = [i for i in range(len(header)) if any(row[i] for row in rows)]
    return [tuple(row[i] for i in keep) for row in (header, *rows)]


def _drying_rows(drying: SampleDrying, read_g: FloatArray, step: str) -> list[Cells]:
    rows: list[Cells] = [
        (drying.spool, "before_drying", f"{read_g[0]:.0f}", "", "", "", step, "with its reel")
    ]
    for hours, mass_g in zip(drying.hours, read_g[1:], strict=True):
        after = (f"{mass_g:.0f}", "", f"{hours:g}", f"{drying.celsius:g}", step, "")
        rows.append((drying.spool, "after_drying", *after))
    return rows


def finding_rows(lot: SampleLot, measured: Measured) -> list[Cells]:
    """Header and rows of the findings."""
    rows: list[Cells] = [("spool", "finding", "class", "count", "position_m", "note")]
    for found in lot.findings:
        position_m = found.position_m
        if found.at_lump:
            position_m = lump_positions_m(lot, measured, found.spool)[0]
        where = "" if position_m is None else f"{position_m:.2f}"
        cells = (found.spool, found.finding, found.grade, str(found.count), where, found.note)
        rows.append(cells)
    return rows


def pin_rows(lot: SampleLot, pin_mm: FloatArray) -> list[Cells]:
    """Header and rows of the pin checks."""
    digits = 3 if TOOLS[lot.tool].step_mm < 0.01 else 2
    rows: list[Cells] = [("instrument", "when", "reference_mm", "reading_mm")]
    for when, values in zip(("before", "after"), pin_mm, strict=True):
        rows += [(lot.tool, when, f"{PIN_MM:.3f}", f"{d:.{digits}f}") for d in values]
    return rows


def mass_check_rows(lot: SampleLot, sim: Simulated) -> list[Cells]:
    """Header and rows of the known masses on each scale."""
    rows: list[Cells] = [("instrument", "when", "reference_g", "reading_g")]
    for scale in scales_used(lot):
        digits = 2 if SCALES[scale].step_g < 1 else 0
        for when, values in zip(("before", "after"), sim.mass_check_g[scale], strict=True):
            known = f"{KNOWN_MASS_G[scale]:.{digits}f}"
            rows += [(scale, when, known, f"{g:.{digits}f}") for g in values]
    return rows


def csv_text(rows: Sequence[Cells], *, semicolon: bool) -> str:
    """Rows as CSV; with semicolons, numbers get a decimal comma as that spreadsheet writes it."""
    if semicolon:
        rows = [tuple(decimal_comma(cell) for cell in row) for row in rows]
    out = io.StringIO()
    csv.writer(out, delimiter=";" if semicolon else ",", lineterminator="\n").writerows(rows)
    return out.getvalue()


def decimal_comma(cell: str) -> str:
    """A plain decimal number with a comma; any other text as it is.

    >>> decimal_comma("1.75"), decimal_comma("see 1.90 ring")
    ('1,75', 'see 1.90 ring')
    """
    return cell.replace(".", ",") if cell.replace(".", "", 1).isdigit() else cell
