"""Criteria: the limits that a buyer applies, read from TOML and checked.

The shipped ``criteria.toml`` is one instance; a buyer's own file is laid over it key by key, then
its ``[[for]]`` blocks that fit the material, the supplier and the use.  Every limit keeps the
comment above it as its reason, so that a report can print why.  This module reads text that it is
given, plus the packaged defaults; it opens no other file.
"""

import difflib
import hashlib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

from lotqa.errors import UnusableCriteria
from lotqa.reasons import reasons_above

# Known limits: unit, smallest and largest value that makes sense.  No limit of acceptance is here.
KNOWN: dict[str, tuple[str, float, float]] = {
    "verdict.firm_confidence": ("", 0.5, 0.9999),
    "spread.cp_min": ("", 0.0, 10.0),
    "centring.cpk_min": ("", 0.0, 10.0),
    "flow.error_max_pct": ("%", 0.0, 50.0),
    "swing.fine_pct": ("%", 0.0, 100.0),
    "swing.bands_pct": ("%", 0.0, 100.0),
    "places.min": ("places", 1, 100000),
    "places.window_max": ("", 0.0, 1.0),
    "outliers.alpha": ("", 0.0, 0.5),
    "shape.alpha": ("", 0.0, 0.5),
    "order.alpha": ("", 0.0, 0.5),
    "weight.shortfall_max_tne": ("tolerable negative errors", 0.0, 100.0),
    "weight.shortfall_max_pct": ("%", 0.0, 100.0),
    "weight.tare_default_g": ("g", 0.0, 10000.0),
    "weight.tare_half_width_g": ("g", 0.0, 10000.0),
    "weight.tare_like_sd_g": ("g", 0.0, 1000.0),
    "weight.cut_length_error_mm": ("mm", 0.0, 1000.0),
    "weight.average_rule": ("", 0, 1),
    "moisture.loss_max_ratio": ("", 0.0, 1000.0),
    "moisture.reject_ratio": ("", 0.0, 1000.0),
    "moisture.reel_water_lo_pct": ("%", 0.0, 50.0),
    "moisture.reel_water_hi_pct": ("%", 0.0, 50.0),
    "moisture.plateau_pct": ("%", 0.0, 10.0),
    "moisture.plateau_hours": ("h", 0.0, 100.0),
    "drying.margin_k": ("K", 0.0, 100.0),
    "tuning.multiplier_min": ("", 0.1, 1.0),
    "tuning.multiplier_max": ("", 1.0, 10.0),
    "tuning.line_width_mm": ("mm", 0.05, 5.0),
    "tuning.layer_height_mm": ("mm", 0.01, 5.0),
    "coupon.gap_max_pct": ("%", 0.0, 50.0),
    "coupon.reference_u_pct": ("%", 0.0, 20.0),
    "findings.critical_max": ("", 0, 0),
    "findings.major_max": ("", 0, 100000),
    "gauge.pin_shift_max_mm": ("mm", 0.0, 1.0),
    "gauge.share_max_pct": ("%", 0.0, 1000.0),
    "gauge.interaction_alpha": ("", 0.0, 1.0),
    "gauge.fit_max_ratio": ("", 0.0, 10.0),
    "lot.rejected_max": ("spools", 0, 100000),
    "lot.alike_alpha": ("", 0.0, 0.5),
    "lot.confidence": ("", 0.5, 0.999),
    "lot.good_pct": ("%", 0.0, 50.0),
    "lot.good_accept": ("", 0.5, 0.9999),
    "lot.major_aql_pct": ("%", 0.0, 10.0),
    "lot.minor_aql_pct": ("%", 0.0, 10.0),
    "lot.minor_decides": ("", 0, 1),
    "lot.fit_min": ("", 0.0, 1.0),
    "effort.tighten_rejected": ("lots", 1, 1000),
    "effort.tighten_window": ("lots", 1, 1000),
    "effort.restore_accepted": ("lots", 1, 1000),
    "effort.reduce_accepted": ("lots", 1, 1000),
    "effort.skip_accepted": ("lots", 1, 1000),
    "effort.skip_interval": ("lots", 1, 1000),
    "effort.stop_rejected": ("lots", 1, 1000),
    "effort.firm_share": ("", 0.0, 1.0),
    "plan.between_sd_mm": ("mm", 0.0, 1.0),
    "plan.within_sd_mm": ("mm", 0.0, 1.0),
    "plan.consumer_risk": ("", 0.001, 0.5),
    "bench.look_minutes": ("min", 0.0, 1000.0),
    "bench.unroll_minutes": ("min", 0.0, 1000.0),
    "bench.reading_seconds": ("s", 0.1, 1000.0),
    "money.returned_share": ("", 0.0, 1.0),
    "money.inspection_minutes": ("min", 0.0, 10000.0),
    "money.tuning_minutes": ("min", 0.0, 10000.0),
    "money.rate_per_hour": ("", 0.0, 1000000.0),
    "money.reference_net_g": ("g", 1.0, 100000.0),
    "money.reference_density_g_cm3": ("g/cm3", 0.3, 10.0),
    "scale.step_g": ("g", 0.0, 1000.0),
    "scale.limit_of_error_g": ("g", 0.0, 1000.0),
}
STOCK_FIELDS = (
    "tolerance_mm",
    "ovality_max_mm",
    "thick_reject_mm",
    "thick_warn_mm",
    "thin_reject_mm",
)
TOOL_FIELDS = ("step_mm", "limit_of_error_mm", "scatter_sd_mm", "scatter_relative_uncertainty")
REEL_FIELDS = ("tare_lo_g", "tare_hi_g", "stands_c")
SCOPES = ("material", "supplier", "use")
SMALLEST = 1e-6  # of a stock or a tool: nothing of them can be zero
COUNTS = frozenset(
    {
        "places.min",
        "findings.critical_max",
        "findings.major_max",
        "lot.rejected_max",
        "lot.minor_decides",
        "effort.tighten_rejected",
        "effort.tighten_window",
        "effort.restore_accepted",
        "effort.reduce_accepted",
        "effort.skip_accepted",
        "effort.skip_interval",
        "effort.stop_rejected",
        "weight.average_rule",
    }
)
STOCK_MATCH_MM = 0.2  # 3.0 mm is how some sellers write 2.85


@dataclass(frozen=True, slots=True)
class Stock:
    """What is sold by the name of one diameter."""

    nominal_mm: float
    tolerance_mm: float
    ovality_max_mm: float
    thick_reject_mm: float
    thick_warn_mm: float
    thin_reject_mm: float


@dataclass(frozen=True, slots=True)
class Tool:
    """A measuring tool as it is when nothing else is known of it."""

    kind: str
    step_mm: float
    limit_of_error_mm: float
    scatter_sd_mm: float
    scatter_relative_uncertainty: float


@dataclass(frozen=True, slots=True)
class EmptyReel:
    """A reel as it is when nothing but its material is known."""

    material: str
    tare_lo_g: float
    tare_hi_g: float
    stands_c: float | None  # None: nothing there that could sag
    loses_water: bool  # in drying, of its own


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit as the report prints it."""

    key: str
    value: float
    unit: str
    why: str


@dataclass(frozen=True, slots=True)
class Criteria:
    """All limits in force for one lot."""

    name: str
    values: Mapping[str, float]
    why: Mapping[str, str]
    stocks: tuple[Stock, ...]
    tools: tuple[Tool, ...]
    text: str  # the buyer's file, or the defaults
    sha256: str  # of everything that decided: defaults, buyer's file, scope
    reels: tuple[EmptyReel, ...] = ()

    def __getitem__(self, key: str) -> float:
        return self.values[key]

    def stock_for(self, nominal_mm: float) -> Stock | None:
        """The stock whose nominal diameter is nearest, if near enough."""
        best = min(self.stocks, key=lambda s: abs(s.nominal_mm - nominal_mm), default=None)
        if best is None or abs(best.nominal_mm - nominal_mm) > STOCK_MATCH_MM:
            return None
        return best

    def tool_for(self, kind: str) -> Tool:
        """The tool of this kind; a tool of unknown kind is taken for the first, the calliper."""
        wanted = kind.strip().lower()
        for tool in self.tools:
            if tool.kind == wanted or (tool.kind == "calliper" and wanted == "caliper"):
                return tool
        return self.tools[0]

    def reel_for(self, material: str | None) -> EmptyReel | None:
        """The empty reel of this material; None where it is not known."""
        wanted = (material or "").strip().casefold()
        return next((reel for reel in self.reels if reel.material == wanted), None)

    def limits(self) -> list[Limit]:
        """Every limit with its reason, in the order of the file."""
        rows = [Limit(key, self.values[key], KNOWN[key][0], self.why.get(key, "")) for key in KNOWN]
        for stock in self.stocks:
            head = f"stock {stock.nominal_mm:g}"
            rows += [
                Limit(f"{head}.{f}", getattr(stock, f), "mm", self.why.get(f"{head}.{f}", ""))
                for f in STOCK_FIELDS
            ]
        return rows


def default_text() -> str:
    """The shipped criteria file."""
    return resources.files("lotqa").joinpath("criteria.toml").read_text(encoding="utf-8")


def read_criteria(
    text: str | None = None,
    *,
    name: str = "criteria",
    material: str | None = None,
    supplier: str | None = None,
    use: str | None = None,
) -> Criteria:
    """Criteria from the buyer's file ``text`` laid over the defaults, for one scope.

    Raises UnusableCriteria naming the file, the key, the value and what would be right.
    """
    base = default_text()
    scope = {"material": material, "supplier": supplier, "use": use}
    sheets = [("criteria.toml", base)] + ([] if text is None else [(name, text)])
    values: dict[str, float] = {}
    why: dict[str, str] = {}
    stocks: dict[float, dict[str, float]] = {}
    tools: dict[str, dict[str, float]] = {}
    reels: dict[str, dict[str, Any]] = {}
    title = ""
    for file, content in sheets:
        data = _parse(file, content)
        title = str(data.pop("name", title))
        blocks = data.pop("for", [])
        _tables(data.pop("finding", []), "finding", file)  # of the catalogue: findings.py reads it
        reasons = reasons_above(content)
        shipped = "" if file == "criteria.toml" else f"Set in {file}, without a reason."
        _lay(data, values, stocks, tools, reels, file)
        why.update({k: v or shipped for k, v in reasons.items() if not k.startswith("for#")})
        for n, block in enumerate(_tables(blocks, "for", file), 1):
            limits = {k: v for k, v in block.items() if k not in SCOPES}
            if all(_fits(block.get(s), scope[s]) for s in SCOPES):
                _lay(limits, values, stocks, tools, reels, file)
                head = f"for#{n}."
                own_reasons = {k: v for k, v in reasons.items() if k.startswith(head)}
                why.update({k.removeprefix(head): v or shipped for k, v in own_reasons.items()})
            else:  # a slip in a block that does not fit today must not wait for the day it does
                _lay(limits, {}, {}, {}, {}, file)
    own = base if text is None else text
    digest = hashlib.sha256("\0".join([base, own, repr(sorted(scope.items(), key=str))]).encode())
    return Criteria(
        name=title,
        values=values,
        why=why,
        stocks=tuple(_stock(n, f, sheets[-1][0]) for n, f in sorted(stocks.items())),
        tools=tuple(_tool(k, f, sheets[-1][0]) for k, f in tools.items()),
        reels=tuple(_reel(k, f, sheets[-1][0]) for k, f in reels.items()),
        text=own,
        sha256=digest.hexdigest(),
    )


def _parse(file: str, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UnusableCriteria(toml_trouble(file, error)) from None


def toml_trouble(file: str, error: tomllib.TOMLDecodeError) -> str:
    """'file:line: what' from the reader's own words, which put the line last.

    >>> toml_trouble("c.toml", tomllib.TOMLDecodeError("Invalid value (at line 3, column 10)"))
    'c.toml:3: this line is not TOML: write key = value, text in double quotes'
    """
    found = re.search(r"at line (\d+)", str(error))
    where = f"{file}:{found[1]}" if found else file
    return f"{where}: this line is not TOML: write key = value, text in double quotes"


def _tables(value: object, key: str, file: str) -> list[dict[str, Any]]:
    if isinstance(value, list) and all(isinstance(row, dict) for row in value):
        return value
    raise UnusableCriteria(f"{file}: {key} is not a list of tables: write [[{key}]]")


def _fits(wanted: object, given: str | None) -> bool:
    if wanted is None:
        return True
    return given is not None and str(wanted).strip().casefold() == given.strip().casefold()


def _lay(
    data: Mapping[str, Any],
    values: dict[str, float],
    stocks: dict[float, dict[str, float]],
    tools: dict[str, dict[str, float]],
    reels: dict[str, dict[str, Any]],
    file: str,
) -> None:
    """Lay one file or block over what is there."""
    for key, value in data.items():
        if key == "stock":
            for row in _tables(value, key, file):
                nominal = _number(row.get("nominal_mm"), "stock.nominal_mm", 0.1, 10.0, file)
                stocks.setdefault(nominal, {}).update(
                    _fields(row, STOCK_FIELDS, "stock", "nominal_mm", file)
                )
        elif key == "tool":
            for row in _tables(value, key, file):
                kind = str(row.get("kind", "")).strip().lower()
                if not kind:
                    raise UnusableCriteria(
                        f'{file}: a [[tool]] has no kind: write kind = "calliper"'
                    )
                tools.setdefault(kind, {}).update(_fields(row, TOOL_FIELDS, "tool", "kind", file))
        elif key == "reel":
            for row in _tables(value, key, file):
                material = str(row.get("material", "")).strip().casefold()
                if not material:
                    raise UnusableCriteria(
                        f'{file}: a [[reel]] has no material: write material = "plastic"'
                    )
                numbers = {k: v for k, v in row.items() if k != "loses_water"}
                reels.setdefault(material, {}).update(
                    _fields(numbers, REEL_FIELDS, "reel", "material", file, (0.0, 10000.0))
                    | _loses_water(row, file)
                )
        elif isinstance(value, dict):
            for field, number in value.items():
                dotted = f"{key}.{field}"
                if dotted not in KNOWN:
                    raise UnusableCriteria(f"{file}: {dotted} is not known{_near(dotted, KNOWN)}")
                _, least, most = KNOWN[dotted]
                values[dotted] = _number(number, dotted, least, most, file)
        else:
            raise UnusableCriteria(f"{file}: {key} is not known{_near(key, KNOWN)}")


def _fields(
    row: Mapping[str, Any],
    fields: tuple[str, ...],
    head: str,
    label: str,
    file: str,
    limits: tuple[float, float] = (SMALLEST, 10.0),
) -> dict[str, float]:
    found = {}
    for key, value in row.items():
        if key == label:
            continue
        if key not in fields:
            raise UnusableCriteria(f"{file}: {head}.{key} is not known{_near(key, fields)}")
        found[key] = _number(value, f"{head}.{key}", *limits, file)
    return found


def _loses_water(row: Mapping[str, Any], file: str) -> dict[str, bool]:
    if "loses_water" not in row:
        return {}
    if not isinstance(row["loses_water"], bool):
        typed = repr(row["loses_water"])
        raise UnusableCriteria(f"{file}: reel.loses_water is {typed}: write true or false")
    return {"loses_water": row["loses_water"]}


def _number(value: object, key: str, least: float, most: float, file: str) -> float:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    # Compared before it becomes a float: an integer may be too large for one.  NaN fails, too.
    fits = isinstance(value, int | float) and number and least <= value <= most
    if fits and (key not in COUNTS or float(value).is_integer()):  # type: ignore[arg-type]
        return float(value)  # type: ignore[arg-type]
    shown = repr(value)
    shown = shown if len(shown) <= 40 else f"{shown[:37]}..."
    kind = "whole number" if key in COUNTS else "number"
    right = f"{least:g}" if least == most else f"a {kind} from {least:g} to {most:g}"
    raise UnusableCriteria(f"{file}: {key} is {shown}: write {right}")


def _near(key: str, known: Mapping[str, object] | tuple[str, ...]) -> str:
    close = difflib.get_close_matches(key, list(known), n=1)
    return f": did you mean {close[0]}?" if close else ": take it out"


def _stock(nominal_mm: float, fields: Mapping[str, float], file: str) -> Stock:
    missing = [f for f in STOCK_FIELDS if f not in fields]
    if missing:
        raise UnusableCriteria(f"{file}: stock {nominal_mm:g} mm lacks {', '.join(missing)}: add")
    return Stock(nominal_mm=nominal_mm, **fields)


def _tool(kind: str, fields: Mapping[str, float], file: str) -> Tool:
    missing = [f for f in TOOL_FIELDS if f not in fields]
    if missing:
        raise UnusableCriteria(f"{file}: tool {kind} lacks {', '.join(missing)}: add")
    return Tool(kind=kind, **fields)


def _reel(material: str, fields: Mapping[str, Any], file: str) -> EmptyReel:
    low, high = (fields.get(key) for key in ("tare_lo_g", "tare_hi_g"))
    if low is None or high is None or not low <= high:
        raise UnusableCriteria(f"{file}: reel {material}: write tare_lo_g and a higher tare_hi_g")
    return EmptyReel(material, **{"stands_c": None, "loses_water": False} | dict(fields))
