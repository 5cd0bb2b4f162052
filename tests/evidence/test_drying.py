"""Temperatures for drying at home: the practice, cut to what glass transition and reel allow."""

import numpy as np
import pytest

from lotqa.evidence.drying import home_drying


def dry(practice_c, transition_c, stands_c, margin_k=5.0, practice_h=(4.0, 6.0)):
    return home_drying(
        practice_c,
        practice_h,
        glass_transition_c=transition_c,
        margin_k=margin_k,
        stands_c=stands_c,
    )


@pytest.mark.parametrize(("practice_c", "transition_c", "stands_c", "want"), [
    ((40, 45), 50, None, (40, 45, None)),  # PLA: just allowed
    ((40, 45), 50, 60, (40, 45, None)),
    ((50, 60), 78, 60, (50, 60, None)),
    ((50, 60), 78, 55, (50, 55, "reel")),
    ((40, 45), 48, 60, (40, 43, "glass transition")),
    ((40, 45), 45, 60, (40, 40, "glass transition")),  # one temperature is left
    ((65, 90), None, 70, (65, 70, "reel")),  # nylon is dried above its glass transition
    ((65, 90), None, None, (65, 90, None)),
])  # fmt: skip
def test_what_is_above_the_ceiling_is_cut_off(practice_c, transition_c, stands_c, want):
    found = dry(practice_c, transition_c, stands_c)
    assert (found.lo_c, found.hi_c, found.cut_by) == want
    assert (found.lo_h, found.hi_h) == (4.0, 6.0)
    assert found.refused is None


@pytest.mark.parametrize(("practice_c", "transition_c", "stands_c", "refused", "by"), [
    ((65, 90), None, 60, "nothing is safe", "reel"),
    ((65, 70), 60, 90, "nothing is safe", "glass transition"),
    (None, 60, 60, "not known", None),
    (None, None, None, "not known", None),
])  # fmt: skip
def test_no_temperature_is_given_where_none_is_safe_or_known(
    practice_c, transition_c, stands_c, refused, by
):
    found = dry(practice_c, transition_c, stands_c)
    assert (found.lo_c, found.hi_c, found.lo_h, found.hi_h) == (None,) * 4
    assert (found.refused, found.cut_by) == (refused, by)


def test_hours_without_temperatures_are_not_given():
    assert dry((40, 45), 60, None, practice_h=None).refused == "not known"


def test_never_warmer_than_either_limit():
    rng = np.random.default_rng(4)
    for lo, span, transition, stands in rng.uniform([30, 0, 30, 30], [90, 40, 150, 120], (500, 4)):
        found = dry((lo, lo + span), transition, stands)
        if found.refused is None:
            assert lo <= found.hi_c <= min(transition - 5, stands, lo + span)
        else:
            assert lo > min(transition - 5, stands)
