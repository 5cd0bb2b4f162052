"""Which tare counts, and what a scale that was checked with a known mass says.

Sources: simulation with fixed seeds; the standard deviation of a rectangle by scipy.stats.
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.bench_scale import Scale, weighed
from lotqa.evidence.reel_tare import Tare, lot_tare, range_tare, record_words
from lotqa.evidence.scale import scale_checks
from lotqa.evidence.tares import TareRecord
from lotqa.evidence.weighings import Filament, spool_weight
from lotqa.evidence.weight import interval, u_weighing_g
from lotqa.model import WeighIn

SCALE = Scale(1.0, 2.0)
SUPPOSED = Tare(190.0, 40.0, "supposed", "supposed")
RECORD = TareRecord(221.0, 4.1, 6, "2025-03-01", "2026-01-05", "grey ring 1 kg")
NOTHING_KNOWN = Filament(None, 0.0, None, 0.0)


def tared(*weigh_ins: WeighIn, record: TareRecord | None = RECORD) -> Tare:
    return lot_tare(weigh_ins, SCALE, SUPPOSED, 8.0, record)


def test_reels_of_this_lot_go_before_the_record_and_the_record_before_a_range():
    other = WeighIn("2", "tare", 230.0)
    assert (tared(other).known, tared(other).mass_g) == ("alike", 230.0)
    assert (tared().known, tared().mass_g, tared().n_reels) == ("record", 221.0, 6)
    assert tared(record=None) is SUPPOSED
    mine = [WeighIn("1", "gross", 1219.0), WeighIn("1", "tare", 222.0)]
    assert spool_weight(mine, SCALE, tared(), 1000.0, NOTHING_KNOWN).tare.known == "itself"


def test_a_reel_as_heavy_as_the_full_spool_does_not_speak_for_others():
    exchanged = [WeighIn("2", "tare", 1210.0), WeighIn("2", "gross", 200.0)]
    other = WeighIn("1", "tare", 220.0)
    assert (tared(*exchanged, other).mass_g, tared(*exchanged, other).n_reels) == (220.0, 1)
    assert tared(*exchanged).known == "record"
    assert tared(WeighIn("2", "tare", 210.0), WeighIn("2", "gross", 1200.0)).mass_g == 210.0


def test_the_next_reel_of_a_record_is_covered():
    """Simulated: reels that scatter by 5 g, a record of six, the seventh under the spool."""
    rng = np.random.default_rng(11)
    k = 3000
    reels = 220 + 5 * rng.standard_normal((k, 7))
    inside = 0
    for row in reels:
        record = TareRecord(float(row[:6].mean()), float(row[:6].std(ddof=1)), 6, None, None, None)
        t = tared(record=record)
        lo, hi = interval(t.mass_g, t.u_g)
        inside += lo <= row[6] <= hi
    slack = 4 * np.sqrt(0.95 * 0.05 / k)
    assert 0.95 - slack <= inside / k


def test_a_range_is_a_rectangle():
    found = range_tare(120.0, 180.0, "cardboard")
    assert found.mass_g == 150.0
    assert found.u_g == pytest.approx(stats.uniform(120, 60).std(), rel=1e-12)
    assert found.known == "supposed"


@pytest.mark.parametrize(("record", "words"), [
    (RECORD, 'tare record, 6 empty reels "grey ring 1 kg" of this supplier, '
     "2025-03-01 to 2026-01-05"),
    (TareRecord(221.0, None, 1, "2025-03-01", "2025-03-01", None),
     "tare record, 1 empty reel of this supplier, 2025-03-01"),
    (TareRecord(221.0, 9.0, 5, None, None, None, n_kinds=3),
     "tare record, 5 empty reels of 3 other kinds of this supplier"),
    (TareRecord(221.0, None, 2, None, None, None, n_kinds=1),
     "tare record, 2 empty reels of another kind of this supplier"),
])  # fmt: skip
def test_the_source_of_a_record_in_words(record, words):
    assert record_words(record) == words


def checked(offset_g: float, *, step_g: float = 1.0, limit_g: float = 2.0) -> Scale:
    checks = scale_checks(
        [1000.0, 1000.0],
        [1000.0 + offset_g] * 2,
        np.array([False, True]),
        step_g=step_g,
        limit_of_error_g=limit_g,
    )
    return Scale(step_g, limit_g, checks)


def test_the_offset_of_a_known_mass_is_taken_off_masses_near_it_only():
    gross = weighed([WeighIn("1", "gross", 1220.0)], checked(2.0))
    assert (gross.reading_g, gross.mass_g, gross.offset_g) == (1220.0, 1218.0, 2.0)
    assert gross.u_g < u_weighing_g(2.0, 1.0)
    tare = weighed([WeighIn("1", "tare", 220.0)], checked(2.0))
    assert (tare.mass_g, tare.check) == (220.0, None)
    assert tare.u_g == u_weighing_g(2.0, 1.0)


def test_a_net_mass_says_what_was_taken_off():
    rows = [WeighIn("1", "gross", 1220.0), WeighIn("1", "tare", 220.0)]
    found = spool_weight(rows, checked(2.0), SUPPOSED, 1000.0, NOTHING_KNOWN)
    assert (found.gross_g, found.net_g, found.shortfall_g) == (1220.0, 998.0, 2.0)
    plain = spool_weight(rows, SCALE, SUPPOSED, 1000.0, NOTHING_KNOWN)
    assert plain.net_g == 1000.0
    assert found.u_net_g < plain.u_net_g


def test_a_checked_scale_covers_the_true_mass():
    """Simulated: a span error within the limit of error, a known mass read twice, one spool."""
    rng = np.random.default_rng(12)
    k = 2000
    span = rng.uniform(-2.0, 2.0, k) / 1000  # a limit of error of 2 g near a kilogram
    true_g = rng.uniform(1150.0, 1260.0, k)
    inside = 0
    for i in range(k):
        known = np.round(1000 * (1 + span[i]) + 0.3 * rng.standard_normal(2))
        checks = scale_checks(
            [1000.0] * 2, known, np.array([False, True]), step_g=1.0, limit_of_error_g=2.0
        )
        reading = float(np.round(true_g[i] * (1 + span[i]) + 0.3 * rng.standard_normal()))
        mass, u = Scale(1.0, 2.0, checks).weighed(reading)
        lo, hi = interval(mass, u)
        inside += lo <= true_g[i] <= hi
    assert inside / k >= 0.95 - 4 * np.sqrt(0.95 * 0.05 / k)


def test_a_row_is_of_the_scale_that_has_its_step():
    fine = Scale(0.01, 0.05)
    bench = Scale(1.0, 2.0, checked(2.0).checks, (fine,))
    assert bench.of_step(None) is bench
    assert bench.of_step(1.0) is bench
    assert bench.of_step(0.01) is fine
    assert bench.of_step(0.01, fine=True) is fine
    # A piece on a scale that nobody named: two steps; a spool: this scale with another step.
    assert bench.of_step(0.001, fine=True) == Scale(0.001, 0.002)
    assert bench.of_step(0.1) == Scale(0.1, 2.0, (), (fine,))


def test_of_rows_with_and_without_a_step_the_coarsest_counts():
    rows = [WeighIn("1", "net", 990.0, scale_step_g=0.1), WeighIn("1", "net", 991.0)]
    assert weighed(rows, SCALE).step_g == 1.0
    assert weighed(rows[:1], SCALE).step_g == 0.1
    assert weighed([], SCALE) is None
