"""Columns of the ledger worked out from an inspection document, so that lists need no JSON.

Also how text, times and numbers are put into a form that every database keeps unchanged.
"""

import json
import math
from collections.abc import Mapping
from datetime import UTC, date, datetime
from statistics import fmean
from typing import Any

from lotqa.errors import LedgerError

Values = dict[str, Any]

IDENTITY = ("supplier", "product", "material", "colour", "lot")
COVERAGE_FACTOR = 2.0  # uncertainty_mean_mm is expanded with k = 2 in lotqa.inspection.v1


def storable(text: str) -> str:
    """The text without what UTF-8 or a database cannot hold: lone surrogates and NUL."""
    return text.encode("utf-8", "replace").decode("utf-8").replace("\x00", "\ufffd")


def text_or_none(value: object) -> str | None:
    return None if value is None else storable(str(value))


def finite(value: Any) -> float | None:
    """A float, or None for what is not known."""
    if value is None or not math.isfinite(value):
        return None
    return float(value)


def count(value: Any) -> int | None:
    return None if value is None else int(value)


def ends(interval: Any) -> tuple[float | None, float | None]:
    """Both ends of an interval; (None, None) if there is none."""
    if interval is None:
        return None, None
    lo, hi = interval
    return finite(lo), finite(hi)


def day(value: Any) -> date | None:
    """A date from a date, an ISO date or an ISO time."""
    if value is None or value == "":
        return None
    if isinstance(value, datetime):
        return value.date()
    return value if isinstance(value, date) else date.fromisoformat(str(value)[:10])


def utc(value: datetime | str) -> datetime:
    """A time in UTC; a time without a zone is taken as UTC."""
    moment = datetime.fromisoformat(value) if isinstance(value, str) else value
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


def utc_text(value: datetime | str) -> str:
    """A time as the ledger keeps it: UTC, microseconds, sorts as text."""
    return utc(value).isoformat(timespec="microseconds")


def document_text(document: Mapping[str, Any]) -> str:
    """The document as JSON, its own place in the ledger left out."""
    return kept_json({**document, "ledger": None}, "inspection document")


def kept_json(value: Any, what: str) -> str:
    """JSON for the ledger.

    Raises LedgerError for a number that is not finite: JSON has no word for it.
    """
    try:
        return json_text(value)
    except ValueError as exc:
        raise LedgerError(
            f"the {what} cannot be kept ({exc}): leave out numbers that are not known"
        ) from exc


def json_text(value: Any) -> str:
    """JSON whose characters every database keeps; raises ValueError for what JSON cannot say."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, default=_plain)
    return storable(text)


def _plain(value: Any) -> Any:
    """numpy scalars and arrays, dates and tuples' kin as JSON knows them."""
    if hasattr(value, "tolist"):
        return value.tolist()
    if isinstance(value, date):
        return value.isoformat()
    raise ValueError(f"{type(value).__name__} has no form in JSON")


def identity(document: Mapping[str, Any]) -> Values:
    """The five parts that make a lot the same lot; raises LedgerError without a lot code."""
    lot = document["lot"]
    parts = {key: storable(str(lot.get(key) or "")).strip() for key in IDENTITY}
    if not parts["lot"]:
        raise LedgerError("the lot has no lot code: give one as `lot` in the lot sheet")
    return parts


def lot_summary(document: Mapping[str, Any]) -> Values:
    """Summary columns of the table ``inspection``."""
    lot = document["lot"]
    label = document.get("label") or {}
    spools = document.get("spools") or []
    mean_lo_mm, mean_hi_mm = ends(lot.get("mean_ci95_mm"))
    return {
        "program_version": storable(str(document.get("program_version") or "")),
        "criteria_name": storable(str((document.get("criteria") or {}).get("name") or "")),
        "received": day(lot.get("received")),
        "claim_until": day(lot.get("claim_until")),
        "verdict": str(lot["verdict"]),
        "standing": str(lot["standing"]),
        **{
            key: count(lot.get(key))
            for key in ("spools_received", "spools_inspected", "accepted", "tuned", "rejected")
        },
        "nominal_mm": finite(label.get("nominal_mm")),
        "tolerance_mm": finite(label.get("tolerance_mm")),
        "label_net_g": finite(label.get("net_g")),
        "mean_mm": finite(lot.get("mean_mm")),
        "mean_lo_mm": mean_lo_mm,
        "mean_hi_mm": mean_hi_mm,
        "between_spool_sd_mm": finite(lot.get("between_spool_sd_mm")),
        "within_spool_sd_mm": finite(lot.get("within_spool_sd_mm")),
        "ovality_mm": _mean_over(spools, "ovality", "mean_mm"),
        "net_g": finite(lot.get("net_g")),
        "shortfall_g": _mean_over(spools, "weight", "shortfall_g"),
        "price": finite(lot.get("price")),
        "currency": text_or_none(lot.get("currency")),
        "price_per_litre": finite(lot.get("price_per_litre")),
    }


def spool_summary(spool: Mapping[str, Any]) -> Values:
    """Summary columns of the table ``spool_result`` for one spool of a document."""
    diameter = spool.get("diameter") or {}
    flow = spool.get("flow") or {}
    weight = spool.get("weight") or {}
    findings = spool.get("findings") or {}
    mean_lo_mm, mean_hi_mm = ends(diameter.get("mean_ci95_mm"))
    sd_lo_mm, sd_hi_mm = ends(diameter.get("sd_ci95_mm"))
    net_lo_g, net_hi_g = ends(weight.get("net_ci95_g"))
    shortfall_lo_g, shortfall_hi_g = ends(weight.get("shortfall_ci95_g"))
    expanded_mm = finite(diameter.get("uncertainty_mean_mm"))
    return {
        "spool": storable(str(spool["spool"])),
        "verdict": text_or_none(spool.get("verdict")),
        "standing": text_or_none(spool.get("standing")),
        "places": count(diameter.get("places")),
        "readings": count(diameter.get("readings")),
        "mean_mm": finite(diameter.get("mean_mm")),
        "mean_lo_mm": mean_lo_mm,
        "mean_hi_mm": mean_hi_mm,
        "u_mean_mm": None if expanded_mm is None else expanded_mm / COVERAGE_FACTOR,
        "sd_mm": finite(diameter.get("sd_mm")),
        "sd_lo_mm": sd_lo_mm,
        "sd_hi_mm": sd_hi_mm,
        "sd_observed_mm": finite(diameter.get("sd_observed_mm")),
        "min_mm": finite(diameter.get("min_mm")),
        "max_mm": finite(diameter.get("max_mm")),
        "cp": finite(diameter.get("cp")),
        "cpk": finite(diameter.get("cpk")),
        "fraction_outside": finite(diameter.get("fraction_outside")),
        "ovality_mm": finite((spool.get("ovality") or {}).get("mean_mm")),
        "flow_error_pct": finite(flow.get("error_pct")),
        "flow_swing_pct": finite(flow.get("swing_pct")),
        "multiplier": finite(flow.get("multiplier")),
        "net_g": finite(weight.get("net_g")),
        "net_lo_g": net_lo_g,
        "net_hi_g": net_hi_g,
        "shortfall_g": finite(weight.get("shortfall_g")),
        "shortfall_lo_g": shortfall_lo_g,
        "shortfall_hi_g": shortfall_hi_g,
        "length_m": finite(weight.get("length_m")),
        "moisture_loss_pct": finite((spool.get("moisture") or {}).get("loss_pct")),
        "n_critical": count(findings.get("critical")),
        "n_major": count(findings.get("major")),
        "n_minor": count(findings.get("minor")),
    }


def _mean_over(spools: list[Mapping[str, Any]], block: str, key: str) -> float | None:
    """Mean of a number over the spools that have it."""
    values = [finite((spool.get(block) or {}).get(key)) for spool in spools]
    known = [value for value in values if value is not None]
    return fmean(known) if known else None
