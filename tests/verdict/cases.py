"""Cases for the checks of the verdict: evidence with chosen figures, goods, criteria."""

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from lotqa.criteria import Criteria, read_criteria
from lotqa.evidence.spool import LotEvidence
from lotqa.evidence.weighings import SpoolWeight
from lotqa.materials import Material, read_materials
from lotqa.model import Finding
from lotqa.verdict.goods import Goods
from lotqa.verdict.spool import Case
from tests.evidence.lots import evidence, exact, readings

NAMES = ("roll 1", "roll 2", "roll 3")
PLA = read_materials()["PLA"]
UNWEIGHED = SpoolWeight(**dict.fromkeys((f.name for f in fields(SpoolWeight)), None))


def plain(
    n_spools: int = 1, n: int = 20, mean_mm: float = 1.752, s_mm: float = 0.007
) -> LotEvidence:
    """Evidence of good spools, read with a pinned calliper of known scatter."""
    spools = {
        name: exact(n, mean_mm, s_mm, oval_mm=0.01, seed=i + 1)
        for i, name in enumerate(NAMES[:n_spools])
    }
    return evidence(readings(spools))


def told(found: LotEvidence, room: str, **figures: Any) -> LotEvidence:
    """``found`` with figures of one room replaced, the same for every spool or one each."""
    k = len(found.spools)
    arrays = {name: np.broadcast_to(np.asarray(v), (k,)) for name, v in figures.items()}
    return replace(found, **{room: replace(getattr(found, room), **arrays)})


def goods(
    n_spools: int = 1,
    *,
    weights: Sequence[SpoolWeight | None] | None = None,
    findings: Sequence[Sequence[Finding]] | None = None,
    label_net_g: float | None = 1000.0,
    material: Material | None = PLA,
) -> Goods:
    """Goods of which nothing is known unless said."""
    n_spools = max(n_spools, len(weights or ()), len(findings or ()))
    return Goods(
        weights=[None] * n_spools if weights is None else weights,
        findings=[()] * n_spools if findings is None else findings,
        findings_given=findings is not None,
        label_net_g=label_net_g,
        material=material,
    )


def case(
    found: LotEvidence,
    beside: Goods | None = None,
    *,
    limits: Mapping[str, float] | None = None,
    ovality_limit_mm: float | None = 0.05,
) -> Case:
    """A case with the shipped criteria, single limits changed by ``limits``."""
    criteria: Criteria = read_criteria()
    if limits:
        criteria = replace(criteria, values=dict(criteria.values) | dict(limits))
    return Case(
        evidence=found,
        goods=goods(len(found.spools)) if beside is None else beside,
        criteria=criteria,
        stock=criteria.stock_for(found.section.nominal_mm),
        ovality_limit_mm=ovality_limit_mm,
    )
