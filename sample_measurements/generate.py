"""Write the invented lots of the samples: ``python sample_measurements/generate.py``.

The same bytes every time: each lot has a generator of its own, seeded by SEED and its folder's
name, so that adding a lot leaves the others alone.
"""

import argparse
import json
import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
if __name__ == "__main__":  # run as a script, only this folder is on the path
    sys.path.insert(0, str(HERE.parent))

from sample_measurements.making.empties import EMPTIES, empty_rows
from sample_measurements.making.lots import LOTS
from sample_measurements.making.scenario import TOOLS, SampleLot
from sample_measurements.making.simulated import (
    SCALES,
    SEED,
    SPAN_SHARE,
    Simulated,
    density_g_cm3,
    lump_positions_m,
    simulate,
)
from sample_measurements.making.study import study_csv
from sample_measurements.making.tables import (
    csv_text,
    finding_rows,
    lot_sheet,
    mass_check_rows,
    pin_rows,
    reading_rows,
    scales_used,
    weighing_rows,
    with_typing_slips,
)
from sample_measurements.making.workbook import workbook_bytes
from tests.simulator import true_sd_mm


def lot_truth(
    lot: SampleLot, sim: Simulated, planted: list[dict[str, object]]
) -> dict[str, object]:
    """What is true of a lot and of each measured spool, for truth.json."""
    tool = TOOLS[lot.tool]
    total_sd_mm = float(true_sd_mm(sim.filament))
    means = np.asarray(sim.filament.mean_mm)
    reel_water_g = {d.spool: d.reel_water_g for d in lot.dried}
    spools = {
        spool: {
            "mean_mm": round(float(means[i]), 5),
            "sd_mm": round(total_sd_mm, 5),
            "irregular_sd_mm": lot.sd_mm,
            "drift_mm_per_m": lot.drift_mm_per_m,
            "wave_period_m": lot.wave_period_m if lot.wave_amplitude_mm else None,
            "wave_amplitude_mm": lot.wave_amplitude_mm,
            "ovality_mm": lot.ovality_mm,
            "lumps_at_m": lump_positions_m(lot, sim.measured, spool),
            "net_g": round(float(sim.net_g[i]), 2),
            "reel_g": round(float(sim.reel_g[i]), 2),
            "grams_per_m": round(float(sim.g_per_m[i]), 5) if spool in lot.cut else None,
            "moisture_pct": lot.moisture_pct if spool in reel_water_g else None,
            "reel_water_g": reel_water_g.get(spool),
        }
        for i, spool in enumerate(lot.spools)
    }
    return {
        "supplier": lot.supplier,
        "material": lot.material,
        "received": lot.received.isoformat(),
        "story": lot.story,
        "lot_mean_mm": round(lot.mean_mm, 5),
        "between_spool_sd_mm": lot.between_spool_sd_mm,
        "tool": {
            "name": lot.tool,
            "offset_mm": tool.offset_mm,
            "scatter_sd_mm": tool.scatter_sd_mm,
            "step_mm": tool.step_mm,
            "pin_checked": lot.pin_checked,
        },
        "scales": {
            scale: {
                "step_g": SCALES[scale].step_g,
                "scatter_sd_g": SCALES[scale].scatter_sd_g,
                "span_pct": 100 * SPAN_SHARE[scale],
                "mass_checked": lot.mass_checked,
            }
            for scale in scales_used(lot)
        },
        "density_g_cm3": density_g_cm3(lot),
        "reel": {"kind": lot.reel_kind, "material": lot.reel_material},
        "planted": planted,
        "spools": spools,
    }


def lot_files(lot: SampleLot, sim: Simulated) -> tuple[dict[str, bytes], dict[str, object]]:
    """All files of a lot by name, and its truth."""
    rows = reading_rows(lot, sim.measured)
    planted: list[dict[str, object]] = []
    if lot.typing_slips:
        rows, planted = with_typing_slips(rows)
    tables = {"readings.csv": rows, "weighings.csv": weighing_rows(lot, sim)}
    if lot.findings:
        tables["findings.csv"] = finding_rows(lot, sim.measured)
    if lot.pin_checked:
        tables["pin_checks.csv"] = pin_rows(lot, sim.pin_mm)
    if lot.mass_checked:
        tables["mass_checks.csv"] = mass_check_rows(lot, sim)
    files = {"lot.toml": lot_sheet(lot).encode()}
    if lot.layout == "workbook":
        head, *body = tables.pop("readings.csv")
        cells: list[tuple[str | float, ...]] = [head]
        cells.extend((row[0], *map(float, row[1:])) for row in body)
        files["readings.xlsx"] = workbook_bytes("readings", cells)
    for name, table in tables.items():
        files[name] = csv_text(table, semicolon=lot.layout == "semicolon").encode()
    return files, lot_truth(lot, sim, planted)


def lots_table() -> str:
    """The README's table of lots."""
    head = "| lot folder | measured of received | what is true |\n|---|---|---|\n"
    return head + "".join(
        f"| `{lot.folder}` | {len(lot.spools)} of {lot.spools_received} | {lot.story} |\n"
        for lot in LOTS
    )


def filled(text: str, mark: str, content: str) -> str:
    """``text`` with what stands between the comments ``mark`` and ``/mark`` replaced."""
    before, rest = text.split(f"<!-- {mark} -->\n")
    _, after = rest.split(f"<!-- /{mark} -->\n")
    return f"{before}<!-- {mark} -->\n{content}<!-- /{mark} -->\n{after}"


def write_samples(into: Path) -> None:
    """Write every lot folder, truth.json and the README's generated parts below ``into``."""
    truth: dict[str, object] = {}
    simulated = {lot.folder: (lot, simulate(lot)) for lot in LOTS}
    for lot, sim in simulated.values():
        files, truth[lot.folder] = lot_files(lot, sim)
        folder = into / lot.folder
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            (folder / name).write_bytes(content)
    (into / "gauge_study.csv").write_bytes(study_csv(SEED))
    empties = csv_text(empty_rows(simulated), semicolon=False)
    (into / "empty_reels.csv").write_bytes(empties.encode())
    note = "invented and simulated; mean and sd are those of the measured stretch, 0 to 25 m"
    reels = [{"weighed": day, "lot_folder": lot, "spool": spool} for day, lot, spool in EMPTIES]
    document = {"note": note, "seed": SEED, "lots": truth, "empty_reels": reels}
    (into / "truth.json").write_bytes((json.dumps(document, indent=1) + "\n").encode())
    excerpt = (into / LOTS[0].folder / "readings.csv").read_text(encoding="utf-8")
    excerpt = "\n".join(excerpt.splitlines()[:5])
    readme = (HERE / "README.md").read_text(encoding="utf-8")
    readme = filled(readme, "lots", lots_table())
    readme = filled(readme, "excerpt", f"```\n{excerpt}\n```\n")
    (into / "README.md").write_bytes(readme.encode())


def main() -> None:
    parser = argparse.ArgumentParser(description="Write the invented sample lots.")
    parser.add_argument("--into", type=Path, default=HERE, help="folder to write to")
    write_samples(parser.parse_args().into)


if __name__ == "__main__":
    main()
