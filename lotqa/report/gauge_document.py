"""The document of a gauge study, lotqa.gauge.v1: what was found, as plain data and sentences.

Unknown and unbounded numbers are None.  Variances are in mm2, shares in percent.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from lotqa.report.gauge_words import study_sentences

if TYPE_CHECKING:
    from lotqa.evidence.crossed import Line
    from lotqa.evidence.gauge import Scatter
    from lotqa.evidence.gauge_study import GaugeStudy, Model
    from lotqa.model import Problem, SourceFile

SCHEMA: Final = "lotqa.gauge.v1"
INTERVALS: Final = (
    "95 %, two-sided: repeatability exact chi-square; other components modified large sample "
    "(Graybill & Wang 1980; Ting et al. 1990); place / gauge Burdick, Borror & Montgomery 2003, "
    "exact F with one operator"
)


def study_document(
    study: "GaugeStudy",
    scatter: "Scatter",
    *,
    now: datetime,
    program_version: str,
    instrument: str | None,
    operators: Sequence[str],
    file: "SourceFile",
    problems: Sequence["Problem"],
    tolerance_mm: float | None,
    share_max_pct: float,
    interaction_alpha: float,
) -> dict[str, Any]:
    """Everything about one study; ``ledger`` and ``page`` are filled in by who makes them."""
    models = {
        "with_interaction": study.with_interaction,
        "without_interaction": study.without_interaction,
    }
    chosen = next((name for name, m in models.items() if m is study.chosen), "one_operator")
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "program_version": program_version,
        "studied_at": now.isoformat(),
        "instrument": instrument,
        "file": {
            "name": file.name,
            "sha256": file.sha256,
            "rows_read": file.rows_read,
            "rows_used": file.rows_used,
            "rows_reported": file.rows_reported,
        },
        "places": study.n_places,
        "operators": list(operators),
        "trials": study.n_trials,
        "readings": study.n_places * study.n_operators * study.n_trials,
        "mean_mm": study.mean_mm,
        "step_mm": study.step_mm,
        "resolved": study.resolved,
        "tolerance_mm": tolerance_mm,
        "share_max_pct": share_max_pct,
        "interaction_alpha": interaction_alpha,
        "interaction_pooled": study.interaction_pooled,
        "model": chosen,
        **_model(study.chosen),
        "models": {name: None if m is None else _model(m) for name, m in models.items()},
        "intervals": INTERVALS,
        "scatter": {"sd_mm": scatter.sd_mm, "df": scatter.df},
        "problems": [{k: v for k, v in asdict(p).items() if k != "row_used"} for p in problems],
        "ledger": None,
    }
    document["texts"] = study_sentences(document)
    return document


def _model(model: "Model") -> dict[str, Any]:
    r = model.ratio
    return {
        "anova": [_line(line) for line in model.table],
        "components": [
            {
                "name": c.name,
                "variance_mm2": c.variance_mm2,
                "estimate_mm2": c.estimate_mm2,
                "sd_mm": c.sd_mm,
                "sd_ci95_mm": _pair(c.sd_ci_mm),
                "contribution_pct": c.contribution_pct,
                "share_of_total_pct": c.share_of_total_pct,
                "share_of_tolerance_pct": c.share_of_tolerance_pct,
                "share_of_tolerance_ci95_pct": _pair(c.share_of_tolerance_ci_pct),
            }
            for c in model.components
        ],
        "ratio": {
            "place_to_gauge": finite(r.place_to_gauge),
            "place_to_gauge_ci95": _pair(r.place_to_gauge_ci),
            "gauge_share_of_total_pct": r.gauge_share_pct,
            "gauge_share_of_total_ci95_pct": _pair(r.gauge_share_ci_pct),
            "distinct_categories": r.categories,
            "distinct_categories_ci95": list(r.categories_ci),
        },
        "df_repeatability": model.df_repeatability,
    }


def _line(line: "Line") -> dict[str, Any]:
    return {
        "source": line.source,
        "df": line.df,
        "ss_mm2": line.ss_mm2,
        "ms_mm2": line.ms_mm2,
        "f": line.f,
        "p": line.p,
    }


def _pair(interval: tuple[float, float] | None) -> list[float | None] | None:
    return None if interval is None else [finite(end) for end in interval]


def finite(value: float | None) -> float | None:
    """A number that JSON can say, or None."""
    return value if value is not None and math.isfinite(value) else None


def component(document: Mapping[str, Any], name: str) -> Mapping[str, Any] | None:
    """The component of that name in a study document or one of its models."""
    return next((c for c in document["components"] if c["name"] == name), None)
