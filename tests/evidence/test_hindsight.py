"""Short or not, asked again: which side of the limit the whole interval lies on."""

import math

import numpy as np
import pytest

from lotqa.evidence.hindsight import answer, hindsight, shortfall

LABEL_G = 1000.0  # its tolerable negative error: 15 g, Directive 76/211/EEC, Annex I, 2.4


def asked(gross_g, tare, *, label_g=LABEL_G, then=(980.0, 40.0), u_gross_g=1.0):
    return hindsight(*then, label_g, gross_g, u_gross_g, tare)


def test_a_spool_known_to_be_short_and_one_known_not_to_be():
    found = asked(1180.0, (215.0, 3.0))
    assert (found.then.answer, found.now.answer) == ("open", "short")
    assert (found.outcome, found.changed, found.limit_g) == ("settled: short", True, 15.0)
    assert (found.now.net_g, found.now.shortfall_g) == (965.0, 35.0)
    other = asked(1212.0, (215.0, 3.0))
    assert (other.outcome, other.changed) == ("settled: not short", True)


def test_a_reel_known_too_poorly_leaves_it_open():
    found = asked(1180.0, (215.0, 12.0))
    assert (found.outcome, found.changed) == ("still open", False)


def test_without_more_knowledge_the_answer_of_intake_stands():
    found = asked(1180.0, None, then=(900.0, 10.0))
    assert (found.now, found.outcome, found.changed) == (None, "settled: short", False)


def test_an_answer_may_open_again():
    found = asked(1180.0, (200.0, 12.0), then=(940.0, 5.0))
    assert (found.then.answer, found.outcome, found.changed) == ("short", "still open", True)


def test_without_a_label_there_is_a_net_mass_and_nothing_to_settle():
    found = asked(1180.0, (215.0, 3.0), label_g=None)
    assert (found.limit_g, found.outcome, found.changed) == (None, None, False)
    assert found.now.net_g == 965.0
    assert found.now.answer is None


def test_uncertainties_of_gross_and_tare_add_as_variances():
    found = asked(1180.0, (215.0, 4.0), u_gross_g=3.0)
    assert found.now.u_net_g == pytest.approx(5.0)  # 3, 4, 5


@pytest.mark.parametrize(
    ("lo_g", "hi_g", "said"),
    [
        (15.0, 20.0, "open"),  # not more than the limit
        (np.nextafter(15.0, 16.0), 20.0, "short"),
        (-5.0, 15.0, "not short"),
        (-5.0, np.nextafter(15.0, 16.0), "open"),
        (math.nan, math.nan, "open"),
    ],
)
def test_the_limit_itself_is_not_exceeded_and_the_unknown_settles_nothing(lo_g, hi_g, said):
    assert answer(lo_g, hi_g, 15.0) == said


def test_a_spool_that_is_just_at_the_limit_is_rarely_called_short():
    """Two-sided 95 %: 2.5 % on one side, within four standard errors of the simulation."""
    rng, draws, u_g = np.random.default_rng(76211), 20_000, 6.0
    nets_g = rng.normal(LABEL_G - 15.0, u_g, draws)
    said = [shortfall(float(net_g), u_g, LABEL_G).answer for net_g in nets_g]
    for word in ("short", "not short"):
        assert abs(said.count(word) / draws - 0.025) < 4 * np.sqrt(0.025 * 0.975 / draws)
