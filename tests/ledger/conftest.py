"""Small lots and documents, as the rest of the program would hand them to the ledger."""

import copy
import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lotqa.ledger import EffortChange, Entry, Ledger
from lotqa.model import (
    Finding,
    Instrument,
    Label,
    LotInput,
    LotSheet,
    PinCheck,
    Problem,
    Readings,
    SourceFile,
    WeighIn,
)

NOW = datetime(2026, 3, 1, 10, 22, tzinfo=UTC)
CRITERIA = "# limits of the workshop\n[diameter]\ncp = 1.33\n"

READINGS_CSV = """spool,position_m,d0_mm,d90_mm
007,0.5,"1,74",1.75
007,10,1.76,1.77
NA,0.5,+001.75, 1.74
NA,10,1.73,1.72
"""
LOT_TOML = '[lot]\nsupplier = "Kranich Filament"\n'


def source(name: str, content: bytes, rows: int = 0) -> SourceFile:
    return SourceFile(name, content, hashlib.sha256(content).hexdigest(), rows, rows, 0)


def small_readings() -> Readings:
    """The eight readings of READINGS_CSV."""
    return Readings(
        spools=("007", "NA"),
        spool=np.repeat([0, 1], 4),
        place=np.repeat([0, 1, 2, 3], 2),
        position_m=np.repeat([0.5, 10.0, 0.5, 10.0], 2),
        direction_deg=np.tile([0.0, 90.0], 4),
        diameter_mm=np.array([1.74, 1.75, 1.76, 1.77, 1.75, 1.74, 1.73, 1.72]),
        trial=np.ones(8, dtype=np.int64),
        operators=("east",),
        operator=np.array([0, 0, -1, -1, 0, 0, 0, 0]),
        file="readings.csv",
        line=np.repeat([2, 3, 4, 5], 2),
    )


def no_readings() -> Readings:
    none_f, none_i = np.empty(0), np.empty(0, dtype=np.int64)
    return Readings(
        (), none_i, none_i, none_f, none_f, none_f, none_i, (), none_i, "readings.csv", none_i
    )


def small_sheet() -> LotSheet:
    return LotSheet(
        supplier="Kranich Filament",
        product="Basic",
        material="PLA",
        colour="slate",
        lot="K-0412",
        received=date(2026, 2, 20),
        spools_received=10,
        claim_days=14,
        price=17.9,
        currency="EUR",
        label=Label(1.75, 0.05, 1000.0),
        instruments=(Instrument("caliper", "bench 1", resolution_mm=0.01),),
    )


def small_lot() -> LotInput:
    return LotInput(
        sheet=small_sheet(),
        readings=small_readings(),
        weigh_ins=(
            WeighIn("007", "gross", 1212.5, scale_step_g=0.1, file="weighings.csv", line=2),
            WeighIn("007", "tare", 220.0, note="card core", file="weighings.csv", line=3),
        ),
        findings=(Finding("NA", "lump", "major", 2, 3.5, "hard", "findings.csv", 2),),
        pin_checks=(PinCheck("bench 1", "before", 1.75, 1.752, "pin_checks.csv", 2),),
        problems=(Problem("readings.csv", 4, "d0_mm", "+001.75", "read as 1.75", True),),
        files=(
            source("readings.csv", READINGS_CSV.encode(), 4),
            source("lot.toml", LOT_TOML.encode()),
        ),
    )


def spool_block(name: str, **changed: Any) -> dict[str, Any]:
    block: dict[str, Any] = {
        "spool": name,
        "verdict": "accept",
        "standing": "firm",
        "more_places": None,
        "action": "print as it is",
        "reasons": [],
        "diameter": {
            "places": 2,
            "readings": 4,
            "mean_mm": 1.755,
            "mean_ci95_mm": [1.741, 1.769],
            "sd_observed_mm": 0.014,
            "sd_mm": 0.0125,
            "sd_ci95_mm": [0.005, None],
            "min_mm": 1.74,
            "max_mm": 1.77,
            "cp": 1.4,
            "cpk": 1.2,
            "uncertainty_mean_mm": 0.03,
            "fraction_outside": 0.001,
        },
        "ovality": {"mean_mm": 0.012, "mean_ci95_mm": [0.01, 0.02], "method": "two directions"},
        "flow": {"error_pct": 0.57, "swing_pct": 1.1, "multiplier": 0.994},
        "weight": {
            "net_g": 992.5,
            "net_ci95_g": [990.0, 995.0],
            "shortfall_g": 7.5,
            "shortfall_ci95_g": [5.0, 10.0],
            "length_m": 330.5,
        },
        "moisture": None,
        "findings": {"critical": 0, "major": 1, "minor": 0, "items": []},
    }
    return {**block, **changed}


def small_document() -> dict[str, Any]:
    return {
        "schema": "lotqa.inspection.v1",
        "program_version": "0.1.0",
        "inspected_at": "2026-03-01T10:22:00+00:00",
        "lot": {
            "supplier": "Kranich Filament",
            "product": "Basic",
            "material": "PLA",
            "colour": "slate",
            "lot": "K-0412",
            "lot_self_assigned": False,
            "ordered": None,
            "received": "2026-02-20",
            "claim_days": 14,
            "claim_until": "2026-03-06",
            "price": 17.9,
            "currency": "EUR",
            "verdict": "tune",
            "standing": "provisional",
            "reasons": [],
            "spools_received": 10,
            "spools_inspected": 2,
            "accepted": 1,
            "tuned": 1,
            "rejected": 0,
            "mean_mm": 1.745,
            "mean_ci95_mm": [1.73, 1.76],
            "between_spool_sd_mm": 0.01,
            "within_spool_sd_mm": 0.012,
            "net_g": 992.5,
            "price_per_litre": 22.4,
        },
        "label": {
            "nominal_mm": 1.75,
            "tolerance_mm": 0.05,
            "net_g": 1000.0,
            "ovality_mm": None,
            "sources": {"nominal_mm": "lot sheet"},
        },
        "print": {"set_diameter_mm": 1.75, "multiplier": None},
        "criteria": {"name": "workshop", "sha256": "", "text": CRITERIA, "limits": []},
        "spools": [
            spool_block("007"),
            spool_block(
                "NA",
                verdict="tune",
                ovality={"mean_mm": 0.014, "mean_ci95_mm": [0.01, 0.02], "method": "x"},
                weight=None,
                findings=None,
            ),
        ],
        "files": [{"name": "readings.csv"}, {"name": "lot.toml"}],
        "problems": [{"file": "readings.csv", "line": 4}],
        "ledger": None,
    }


STUDY_CSV = "place,trial,diameter_mm\n1,1,1.75\n1,2,1.76\n2,1,1.74\n2,2,1.74\n"


def small_study(**changed: Any) -> dict[str, Any]:
    """The document of a gauge study, as far as the ledger looks into it."""
    document: dict[str, Any] = {
        "schema": "lotqa.gauge.v1",
        "program_version": "0.1.0",
        "studied_at": NOW.isoformat(),
        "instrument": "Bench 1",
        "places": 2,
        "operators": ["one hand"],
        "trials": 2,
        "step_mm": 0.01,
        "tolerance_mm": None,
        "scatter": {"sd_mm": 0.0041, "df": 2},
        "components": [
            {"name": "repeatability", "sd_mm": 0.005},
            {"name": "gauge", "sd_mm": 0.005},
            {"name": "place", "sd_mm": 0.0102},
            {"name": "total", "sd_mm": 0.0113},
        ],
    }
    return {**document, **changed}


def study_file(content: str = STUDY_CSV) -> SourceFile:
    return source("study.csv", content.encode(), 4)


@dataclass(frozen=True)
class Delivery:
    """A lot with its document, easily varied."""

    lot: LotInput = field(default_factory=small_lot)
    document: dict[str, Any] = field(default_factory=small_document)
    criteria: str = CRITERIA
    now: datetime = NOW

    def entered_in(self, ledger: Ledger, effort: EffortChange | None = None) -> Entry:
        return ledger.record(
            self.lot, self.document, now=self.now, criteria_text=self.criteria, effort=effort
        )

    def varied(
        self, remark: str = "", *, now: datetime | None = None, **lot_fields: Any
    ) -> "Delivery":
        """Other content (``remark`` goes into a file) and other fields of the document's lot."""
        files = (*self.lot.files, source("remark.txt", remark.encode())) if remark else None
        document = copy.deepcopy(self.document)
        document["lot"].update(lot_fields)
        if now is not None:
            document["inspected_at"] = now.isoformat()
        keys = ("supplier", "product", "material", "colour", "lot")
        sheet = replace(self.lot.sheet, **{k: v for k, v in lot_fields.items() if k in keys})
        lot = replace(self.lot, sheet=sheet, files=files or self.lot.files)
        return replace(self, lot=lot, document=document, now=now or self.now)


@pytest.fixture
def delivery() -> Delivery:
    return Delivery()


@pytest.fixture
def location(tmp_path: Path) -> str:
    return str(tmp_path / "ledger.sqlite")


@pytest.fixture
def ledger(location: str) -> Iterator[Ledger]:
    with Ledger.open(location) as opened:
        yield opened


@pytest.fixture
def plant(location: str) -> Callable[[str], None]:
    """Run SQL from outside, as another program would: no pragmas, guards removed first."""
    import sqlite3

    def run(sql: str, *, guarded: bool = False) -> None:
        with sqlite3.connect(location) as connection:
            if not guarded:
                names = connection.execute("SELECT name FROM sqlite_master WHERE type='trigger'")
                for (name,) in names.fetchall():
                    connection.execute(f"DROP TRIGGER {name}")
            connection.execute(sql)
        connection.close()

    return run
