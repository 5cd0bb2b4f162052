"""A quick look at tests/lot_study.py: the real procedure against what a plan states of it."""

from dataclasses import replace

import numpy as np
import pytest

from lotqa.criteria import read_criteria
from lotqa.inspection import inspect_lot
from lotqa.materials import read_materials
from lotqa.verdict import lot_numbers
from tests.lot_study import CASES, Case, drawn_lots, is_taken, share_taken, stated

N_LOTS = 200
ALLOWED = 0.01  # one percentage point, beside the sampling error of so few lots


def fits(found: float, said: float) -> bool:
    error = np.sqrt(said * (1 - said) / N_LOTS)
    return abs(found - said) <= ALLOWED + 3.5 * error


@pytest.mark.parametrize(
    ("case", "bad"), [(Case(3, 20, 0.012, 0.005), 0.30), (Case(5, 10, 0.020, 0.005), 0.05)]
)
def test_the_plan_states_what_the_procedure_does(case: Case, bad: float) -> None:
    said = float(stated(case, np.array([bad]), read_criteria())[0])
    found = share_taken(case, bad, N_LOTS)
    assert fits(found, said)
    # The look would see a plan that forgets to judge the means, or one for another sample.
    other = replace(case, n_spools=1)
    assert not fits(found, float(stated(other, np.array([bad]), read_criteria())[0]))


def test_the_short_road_judges_as_an_inspection_does_and_leaves_all_as_it_was() -> None:
    case, before = Case(3, 10, 0.012, 0.010), lot_numbers.COMPONENTS_SPOOLS
    lots = list(drawn_lots(case, 0.10, 20, seed=3))
    rejected = [inspect_lot(lot).lot.verdict == "reject" for lot in lots]
    assert 0 < sum(rejected) < len(lots)  # both verdicts occur
    assert share_taken(case, 0.10, 20, seed=3) == pytest.approx(1 - np.mean(rejected))
    assert [is_taken(lot, read_criteria(), read_materials()) for lot in lots] == [
        not r for r in rejected
    ]
    assert before == lot_numbers.COMPONENTS_SPOOLS


def test_the_study_covers_lots_that_differ_in_size_places_and_spread() -> None:
    for field in ("n_spools", "n_places", "between_sd_mm", "within_sd_mm"):
        assert len({getattr(case, field) for case in CASES}) > 1
