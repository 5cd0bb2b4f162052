"""Grams per metre of lots against simulated lots whose truth is known, and against closed forms."""

import numpy as np
import pytest
from scipy import stats

from lotqa.suppliers.drift import drift_document
from lotqa.suppliers.mass_flow import SpoolCut, described, lot_grams_per_m
from lotqa.suppliers.words import drift_sentences
from tests.suppliers.lots import lot

DENSITY, D_MM = 1.24, 1.75
G_PER_M = np.pi / 4 * D_MM**2 * DENSITY
WEIGHED = {"product": "Zug PLA", "colour": "black"}


@pytest.mark.parametrize("n_cuts", [1, 2, 3])
def test_the_interval_covers_the_lot_nineteen_times_of_twenty(n_cuts: int) -> None:
    """Spools differ by 0.15 % of mass a metre, 2 m of one by 0.3 %, scale and rule by 0.1 %.

    3000 lots: a share of 0.95 has the standard error 0.004. Wider is allowed: what scale and rule
    add and what a spool differs by along itself are each counted in full.
    """
    rng = np.random.default_rng(11)
    between, along, common = 0.0015, 0.003, 0.001
    inside = 0
    for _ in range(3000):
        spools = 1 + between * rng.standard_normal(n_cuts)
        read = G_PER_M * (
            spools + along * rng.standard_normal(n_cuts) + common * rng.standard_normal()
        )
        cuts = [SpoolCut(g, common * g, np.hypot(common, along) * g) for g in read]
        mean, u = lot_grams_per_m(cuts, between)
        inside += abs(mean - G_PER_M) <= stats.norm.ppf(0.975) * u
    assert inside / 3000 > 0.95 - 4 * 0.004


def test_more_cuts_narrow_the_interval_but_not_below_the_scale() -> None:
    cuts = [SpoolCut(3.0, 0.006, 0.010)] * 40
    widths = [lot_grams_per_m(cuts[:n])[1] for n in (1, 4, 40)]
    assert widths[0] > widths[1] > widths[2] > 0.006
    assert widths[0] == pytest.approx(0.010)
    assert lot_grams_per_m([]) is None


def test_spools_that_differ_more_than_their_metres_widen_it() -> None:
    """Student of two spools: closed form, t(1) s / sqrt(2)."""
    cuts = [SpoolCut(2.9, 0.0, 0.001), SpoolCut(3.1, 0.0, 0.001)]
    mean, u = lot_grams_per_m(cuts)
    assert mean == pytest.approx(3.0)
    half = stats.t.ppf(0.975, 1) * np.std([2.9, 3.1], ddof=1) / np.sqrt(2)
    assert stats.norm.ppf(0.975) * u == pytest.approx(half)


def test_a_lot_is_compared_with_the_last_of_its_product_and_colour_that_was_weighed() -> None:
    black, green = WEIGHED, WEIGHED | {"colour": "green"}
    earlier = [
        lot("A", 0, g_per_m=3.0, u_g_per_m=0.003, n_cuts=1, **black),
        lot("B", 1, g_per_m=2.0, u_g_per_m=0.003, n_cuts=1, **green),
        lot("C", 2, **black),
    ]
    now = lot("D", 3, g_per_m=2.97, u_g_per_m=0.003, n_cuts=2, product="zug  pla", colour="Black")
    row = described(now, earlier)
    assert (row["grams_per_m"], row["cuts"]) == (2.97, 2)
    flow = row["mass_flow"]
    assert flow["against"] == "A"
    assert flow["change_pct"] == pytest.approx(-1.0)
    # GUM 5.1.2: relative uncertainties add in squares.
    half = stats.norm.ppf(0.975) * 100 * 0.99 * np.hypot(0.003 / 3.0, 0.003 / 2.97)
    assert flow["ci95_pct"] == pytest.approx([-1 - half, -1 + half])
    assert flow["changed"] is True
    assert flow["text"].startswith("1.0 % less mass a metre than lot A (95 % ")


def test_nothing_is_said_where_nothing_was_cut() -> None:
    row = described(lot("A"), [lot("B")])
    assert row == {"grams_per_m": None, "grams_per_m_ci95": None, "cuts": 0, "mass_flow": None}
    first = described(lot("A", g_per_m=3.0, u_g_per_m=0.01, n_cuts=1), [])
    assert first["mass_flow"] is None
    assert first["grams_per_m_ci95"][0] < 3.0 < first["grams_per_m_ci95"][1]


def test_the_sentences_tell_a_change_or_that_there_is_none() -> None:
    def said(second: float) -> str:
        lots = [
            lot(name, 90 * i, [1.75], g_per_m=g, u_g_per_m=0.005, n_cuts=1, **WEIGHED)
            for i, (name, g) in enumerate((("A", 3.0), ("B", second)))
        ]
        return "\n".join(drift_sentences(drift_document(lots, "Kranich Filament", "PLA")))

    assert "lot B (2024-04-14): 3.0 % less mass a metre than lot A" in said(2.91)
    assert "1 lot weighed by the metre: none differs from the one before" in said(3.001)
    assert "mass a metre than" not in said(3.001)
