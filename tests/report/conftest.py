"""A lot of three invented spools, one for each verdict, as document and strips.

The strips are drawn from a seeded generator and the numbers of the document are worked out from
the same strips here, so that page and plots tell one story.  Suppliers are invented.
"""

import copy
from typing import Any

import numpy as np
import pytest

from lotqa.report.strip import Strip, SupplierLot

NOMINAL_MM, TOLERANCE_MM = 1.75, 0.05
CRITERIA_TEXT = "[diameter]\ncp = 1.33  # spread first: no setting cures it\n"


def make_strip(
    spool: str,
    mean_mm: float,
    sd_mm: float,
    verdict: str,
    standing: str,
    n: int = 20,
    seed: int = 1,
) -> Strip:
    rng = np.random.default_rng(seed)
    position_m = np.sort(rng.uniform(0.05, 9.6, n)).round(2)
    centre = rng.normal(mean_mm, sd_mm, n)
    half = np.abs(rng.normal(0.0, 0.008, n))
    low, high = (centre - half).round(2), (centre + half).round(2)
    mean = (low + high) / 2
    room = 2.1 * mean.std(ddof=1) / np.sqrt(n) + 0.003 if n > 1 else np.nan
    centre_mm = float(mean.mean())
    return Strip(
        spool=spool,
        position_m=position_m,
        position_known=True,
        low_mm=low,
        high_mm=high,
        mean_mm=mean,
        verdict=verdict,
        standing=standing,
        mean_ci95_mm=(centre_mm - room, centre_mm + room),
    )


def make_reason(check: str, outcome: str, value: Any, limit: Any, unit: str, text: str) -> dict:
    standing = "provisional" if outcome == "undecided" else "firm"
    return {
        "check": check,
        "outcome": outcome,
        "value": value,
        "limit": limit,
        "unit": unit,
        "text": text,
        "standing": standing,
    }


def make_spool(strip: Strip, reasons: list[dict], action: str, more_places: int | None) -> dict:
    mean, sd = float(strip.mean_mm.mean()), float(strip.mean_mm.std(ddof=1))
    n = len(strip.mean_mm)
    cp = TOLERANCE_MM / (3 * sd)
    cpk = (TOLERANCE_MM - abs(mean - NOMINAL_MM)) / (3 * sd)
    flow = (mean / NOMINAL_MM) ** 2 * 100 - 100
    net = {"1": 1003.2, "2": 998.0, "3": 981.4}.get(strip.spool, 1000.0)
    return {
        "spool": strip.spool,
        "verdict": strip.verdict,
        "standing": strip.standing,
        "more_places": more_places,
        "action": action,
        "reasons": reasons,
        "diameter": {
            "places": n,
            "readings": 2 * n,
            "directions": [0.0, 90.0],
            "mean_mm": mean,
            "mean_ci95_mm": list(strip.mean_ci95_mm),
            "sd_observed_mm": sd,
            "sd_mm": sd * 0.94,
            "sd_ci95_mm": [sd * 0.74, sd * 1.46],
            "min_mm": float(strip.low_mm.min()),
            "max_mm": float(strip.high_mm.max()),
            "median_mm": float(np.median(strip.mean_mm)),
            "quantiles_mm": {"p05": mean - 1.6 * sd, "p95": mean + 1.6 * sd},
            "cp": cp,
            "cp_ci95": [cp * 0.69, cp * 1.31],
            "cpk": cpk,
            "cpk_ci95": [cpk * 0.65, cpk * 1.35],
            "cpm": cpk * 0.97,
            "cpm_ci95": [cpk * 0.6, None],
            "uncertainty_mean_mm": 0.0071,
            "tolerance_interval_mm": [mean - 2.75 * sd, mean + 2.75 * sd],
            "distribution_free": {
                "lo_mm": float(strip.low_mm.min()),
                "hi_mm": float(strip.high_mm.max()),
                "coverage_pct": 78.4,
            },
            "fraction_outside": 0.00004 if strip.verdict == "accept" else 0.021,
            "fraction_outside_ci95": [0.0, 0.112],
            "quantile_index": None,
            "normality": {"statistic": 0.31, "p": 0.52, "judged": True},
            "outliers": [{"place": 7, "position_m": 3.11, "mean_mm": 1.792}]
            if strip.verdict == "reject"
            else [],
            "order": {
                "runs_p": 0.36,
                "trend_mm_per_m": 0.0004,
                "trend_ci95": [-0.0007, 0.0015],
                "trend_p": 0.46,
                "lag1": 0.11,
                "lag1_p": 0.61,
                "positions_known": True,
            },
        },
        "ovality": {
            "mean_mm": 0.0142,
            "mean_ci95_mm": [0.0101, 0.0190],
            "max_mm": 0.041,
            "method": "two directions at 90 degrees",
        },
        "flow": {
            "error_pct": flow,
            "error_ci95_pct": [flow - 0.9, flow + 0.9],
            "swing_pct": 8.3 * sd / 0.0125,
            "multiplier": (NOMINAL_MM / mean) ** 2,
            "set_diameter_mm": mean,
        },
        "weight": {
            "net_g": net,
            "net_ci95_g": [net - 9, net + 9],
            "uncertainty_g": 9.2,
            "shortfall_g": 1000 - net,
            "shortfall_ci95_g": [1000 - net - 9, 1000 - net + 9],
            "gross_g": net + 224,
            "tare_g": 224.0,
            "tare_source": "three empty reels of this kind",
            "length_m": 331.0,
            "length_ci95_m": [327.0, 336.0],
            "volume_ml": net / 1.24,
            "linear_density_g_per_m": 2.98,
            "apparent_density_g_cm3": 1.239,
            "density_g_cm3": 1.24,
            "text": "Net mass is the gross mass less the mean of three empty reels.",
        },
        "moisture": {
            "loss_g": 1.1,
            "loss_pct": 0.14,
            "loss_ci95_pct": [0.10, 0.18],
            "hours": 6.0,
            "temperature_c": 45.0,
            "text": "Lost 1.1 g in 6 hours; the loss was still going on slowly.",
        }
        if strip.spool == "2"
        else None,
        "findings": {
            "critical": 0,
            "major": 1,
            "minor": 1,
            "items": [
                {
                    "finding": "crossed winding",
                    "class": "major",
                    "count": 1,
                    "position_m": 41.0,
                    "note": "two wraps under the next layer",
                },
                {
                    "finding": "dust",
                    "class": "minor",
                    "count": 3,
                    "position_m": None,
                    "note": None,
                },
            ],
        }
        if strip.verdict == "reject"
        else None,
    }


def make_strips() -> list[Strip]:
    return [
        make_strip("1", 1.752, 0.009, "accept", "firm", seed=11),
        make_strip("2", 1.774, 0.008, "tune", "provisional", seed=12),
        make_strip("3", 1.749, 0.026, "reject", "firm", seed=13),
    ]


def make_document(strips: list[Strip]) -> dict[str, Any]:
    reasons = {
        "1": [
            make_reason(
                "diameter.spread",
                "pass",
                1.71,
                1.33,
                "",
                "Spread is small enough: Cp is 1.71, at least 1.33 is asked.",
            ),
            make_reason(
                "diameter.flow", "pass", 0.2, 2.0, "%", "Flow is off by +0.2 %, within 2 %."
            ),
            make_reason(
                "feed.thick",
                "pass",
                1.78,
                1.90,
                "mm",
                "The thickest place read is 1.78 mm, below 1.90 mm.",
            ),
            make_reason(
                "weight.net",
                "pass",
                1003.2,
                1000.0,
                "g",
                "Net mass is 1003.2 g, the label says 1000 g.",
            ),
            make_reason(
                "feed.thin",
                "pass",
                1.73,
                1.60,
                "mm",
                "The thinnest place read is 1.73 mm, above 1.60 mm.",
            ),
        ],
        "2": [
            make_reason(
                "diameter.spread",
                "pass",
                1.92,
                1.33,
                "",
                "Spread of spool 2 is small enough: Cp is 1.92, at least 1.33 is asked.",
            ),
            make_reason(
                "diameter.flow",
                "tune",
                2.7,
                2.0,
                "%",
                "Flow is off by +2.7 %, more than 2 %: enter a multiplier of 0.974.",
            ),
            make_reason(
                "ovality.mean",
                "undecided",
                0.0142,
                None,
                "mm",
                "Ovality was read in two directions only, which shows part of it.",
            ),
            make_reason(
                "moisture.loss",
                "not_checked",
                None,
                0.3,
                "%",
                "Moisture was not judged: no limit is known for this material.",
            ),
        ],
        "3": [
            make_reason(
                "diameter.spread",
                "reject",
                0.0249,
                0.0125,
                "mm",
                "Spread s is 0.0249 mm, more than 0.0125 mm; no setting cures it.",
            ),
            make_reason(
                "findings.major",
                "reject",
                1,
                0,
                "",
                "1 major finding, 0 are accepted: crossed winding.",
            ),
            make_reason(
                "feed.thick",
                "pass",
                1.81,
                1.90,
                "mm",
                "The thickest place read of spool 3 is 1.81 mm, below 1.90 mm.",
            ),
        ],
    }
    actions = {
        "1": "Shelve it and print with the usual settings.",
        "2": "Enter the multiplier 0.974 or the diameter 1.774 mm, never both.",
        "3": "Keep it aside, unopened ones too, and write to the supplier.",
    }
    spools = [
        make_spool(s, reasons[s.spool], actions[s.spool], 6 if s.spool == "2" else None)
        for s in strips
    ]
    return {
        "schema": "lotqa.inspection.v1",
        "program_version": "0.1.0",
        "inspected_at": "2026-03-01T10:22:00+00:00",
        "lot": {
            "supplier": "Kranich Filament",
            "product": "Everyday PLA",
            "material": "PLA",
            "colour": "slate grey",
            "lot": "KF-26-0217",
            "lot_self_assigned": False,
            "ordered": "2026-02-12",
            "received": "2026-02-20",
            "claim_days": 14,
            "claim_until": "2026-03-06",
            "price": 17.9,
            "currency": "EUR",
            "verdict": "reject",
            "standing": "provisional",
            "reasons": [
                make_reason(
                    "lot.spools",
                    "reject",
                    1,
                    0,
                    "",
                    "1 of 3 spools measured is rejected; none is allowed.",
                ),
                make_reason(
                    "lot.sample",
                    "pass",
                    3,
                    3,
                    "",
                    "3 of 10 spools were measured, as the plan asks.",
                ),
            ],
            "action": "Send the lot back or claim for it until 6 March 2026. Spool 1 may be "
            "printed as it is.",
            "spools_received": 10,
            "spools_inspected": 3,
            "accepted": 1,
            "tuned": 1,
            "rejected": 1,
            "mean_mm": 1.7583,
            "mean_ci95_mm": [1.7242, 1.7925],
            "between_spool_sd_mm": 0.0129,
            "within_spool_sd_mm": 0.0166,
            "multiplier": None,
            "net_g": 994.2,
            "price_per_litre": 22.32,
            "unopened": {
                "spools": 7,
                "bad_upper95": 5,
                "text": "Of the 7 spools not opened, up to 5 may be bad with 95 % confidence.",
            },
        },
        "label": {
            "nominal_mm": NOMINAL_MM,
            "tolerance_mm": TOLERANCE_MM,
            "net_g": 1000.0,
            "ovality_mm": None,
            "sources": {
                "nominal_mm": "lot sheet",
                "tolerance_mm": "lot sheet",
                "net_g": "lot sheet",
                "ovality_mm": "criteria",
            },
        },
        "print": {
            "line_width_mm": 0.45,
            "layer_height_mm": 0.2,
            "set_diameter_mm": 1.75,
            "multiplier": 1.0,
        },
        "criteria": {
            "name": "workshop defaults",
            "sha256": "3f" * 32,
            "text": CRITERIA_TEXT,
            "limits": [
                {
                    "key": "diameter.cp",
                    "value": 1.33,
                    "unit": "",
                    "why": "Below it walls show bands, whatever is set.",
                },
                {
                    "key": "diameter.flow",
                    "value": 2.0,
                    "unit": "%",
                    "why": "Less than the eye and a press fit notice.",
                },
                {
                    "key": "feed.thick",
                    "value": 1.90,
                    "unit": "mm",
                    "why": "Guide tubes of 1.9 and 2.0 mm bore jam above it.",
                },
                {
                    "key": "feed.thin",
                    "value": 1.60,
                    "unit": "mm",
                    "why": "The drive wheel loses its grip below it.",
                },
            ],
        },
        "instruments": [
            {
                "kind": "calliper",
                "name": "bench calliper",
                "resolution_mm": 0.01,
                "limit_of_error_mm": 0.02,
                "repeatability_sd_mm": 0.008,
                "repeatability_source": "typed in the lot sheet",
                "offset_mm": 0.004,
                "offset_uncertainty_mm": 0.0031,
                "pin_readings": 10,
                "shift_mm": 0.001,
                "text": "Offset found on a pin of 1.750 mm and taken off every reading.",
            },
            {
                "kind": "scale",
                "name": "shelf scale",
                "resolution_g": 1.0,
                "limit_of_error_g": 2.0,
                "text": "Good to check goods, not to sell by.",
            },
        ],
        "spools": spools,
        "files": [
            {
                "name": "lot.toml",
                "sha256": "a1" * 32,
                "bytes": 512,
                "rows_read": 0,
                "rows_used": 0,
                "rows_reported": 0,
            },
            {
                "name": "readings.csv",
                "sha256": "b2" * 32,
                "bytes": 3481,
                "rows_read": 121,
                "rows_used": 120,
                "rows_reported": 1,
            },
        ],
        "missing": ["No cut length was weighed: the density of the material is not checked."],
        "cautions": [
            "Spot readings do not find lumps; pull some metres through a ring of 1.85 mm.",
            "Only the outer wraps were reached.",
        ],
        "problems": [
            {
                "file": "readings.csv",
                "line": 31,
                "column": "diameter_mm",
                "value": "17.5",
                "message": "outside 0.5 to 5 mm: a slip for 1.75?",
                "row_used": False,
            }
        ],
        "ledger": {
            "ledger": "lotqa.db",
            "inspection": 12,
            "lot_id": 9,
            "new": True,
            "earlier_inspections": 0,
        },
    }


def make_supplier_lots() -> list[SupplierLot]:
    lots = []
    for k in range(9):
        verdict = (
            "accept",
            "accept",
            "tune",
            "accept",
            "tune",
            "tune",
            "reject",
            "tune",
            "reject",
        )[k]
        mean, sd = 1.751 - 0.004 * k, 0.008 if k < 6 else 0.018
        strips = tuple(
            make_strip(str(s + 1), mean + 0.002 * s, sd, verdict, "firm", n=16, seed=100 * k + s)
            for s in range(3)
        )
        lots.append(
            SupplierLot(
                lot=f"BP-{25 + k // 6}{1 + 2 * k % 12:02d}",
                received=f"{2025 + k // 6}-{1 + 2 * k % 12:02d}-14",
                product="Harbour PETG",
                material="PETG",
                verdict=verdict,
                standing="firm" if k % 2 else "provisional",
                mean_mm=mean,
                mean_ci95_mm=(mean - 0.009, mean + 0.009),
                sd_mm=sd,
                sd_ci95_mm=(sd * 0.8, sd * 1.3),
                net_shortfall_g=None if k == 3 else 4.0 * k - 5,
                price_per_litre=21.5 + 0.4 * k,
                currency="EUR",
                nominal_mm=1.75,
                tolerance_mm=0.05,
                strips=strips,
                sd_limit_mm=0.0125,
            )
        )
    return lots


@pytest.fixture(scope="session")
def _strips() -> list[Strip]:
    return make_strips()


@pytest.fixture
def strips(_strips: list[Strip]) -> list[Strip]:
    return list(_strips)


@pytest.fixture
def document(_strips: list[Strip]) -> dict[str, Any]:
    return copy.deepcopy(make_document(_strips))


@pytest.fixture(scope="session")
def supplier_lots() -> list[SupplierLot]:
    return make_supplier_lots()
