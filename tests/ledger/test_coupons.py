"""Which past coupon is the reference: by name, or the newest of the machine; never a later one."""

from dataclasses import replace
from datetime import date

import pytest

from lotqa.errors import LedgerError
from lotqa.ledger.coupons import NoReference
from lotqa.model import CouponReference, CouponSettings, KeptResidual
from tests.ledger.conftest import Delivery, spool_block

KRANICH = "Kranich Filament"
OWN = {
    "supplier": KRANICH,
    "product": "Basic",
    "material": "PLA",
    "colour": "slate",
    "lot": "K-9",
}
TODAY = date(2026, 6, 1)
SHARP, BLUNT = (1.01, 1.03), (0.98, 1.06)


def route(residual=1.02, ends=SHARP, **changed):
    return {
        "residual": residual,
        "residual_ci95": list(ends),
        "residual_u": 0.003,
        "residual_u_tools": 0.002,
        "against_reference": False,
        "word": "not_diameter",
        **changed,
    }


def coupon(machine="bench 2", wall=None, mass=None, by="wall"):
    wall = route() if wall is None and mass is None else wall
    return {"machine": machine, "wall": wall, "mass": mass, "by": by}


def entered(ledger, code, received, *spools, machine="bench 2", **fields):
    """A lot in the ledger; ``spools`` are the blocks of its document."""
    found = Delivery().varied(f"{code} {received} {fields}", lot=code, received=received, **fields)
    found.document["spools"] = list(spools) or [spool_block("1", coupon=coupon(machine))]
    sheet = replace(found.lot.sheet, coupon=CouponSettings(machine=machine, wall_target_mm=0.45))
    return replace(found, lot=replace(found.lot, sheet=sheet)).entered_in(ledger)


def newest(ledger, received=TODAY, machine="bench 2", own=OWN, **asked):
    return ledger.coupon_reference(own, received, machine=machine, **asked)


def refused(ledger, named, received=TODAY, machine="bench 2", own=OWN, **asked):
    with pytest.raises(NoReference) as caught:
        ledger.coupon_reference(own, received, named=named, machine=machine, **asked)
    assert isinstance(caught.value, LedgerError)
    return str(caught.value)


# The newest of the machine.


def test_the_newest_coupon_of_the_machine_comes_back_whole(ledger):
    entered(ledger, "K-2", "2026-03-01")
    entered(ledger, "K-1", "2026-02-01")
    assert newest(ledger, machine=" Bench  2") == CouponReference(
        supplier=KRANICH,
        lot="K-2",
        spool="1",
        day=date(2026, 3, 1),
        machine="bench 2",
        verdict="accept",
        standing="firm",
        residuals=(KeptResidual("wall", 1.02, 0.003, 0.002, 1.01, 1.03),),
    )


def test_another_machine_or_none_gives_nothing(ledger):
    entered(ledger, "K-1", "2026-02-01", machine="bench 1")
    entered(ledger, "K-2", "2026-02-02", machine=None)
    assert newest(ledger) is None
    assert newest(ledger, machine=None) is None
    assert newest(ledger, machine=" ") is None
    assert newest(ledger, machine="bench 1").lot == "K-1"


@pytest.mark.parametrize(
    "changed", [{"verdict": "tune"}, {"verdict": "reject"}, {"standing": "provisional"}]
)
def test_only_a_spool_that_was_firmly_accepted_counts_unasked(ledger, changed):
    entered(ledger, "K-1", "2026-02-01")
    entered(ledger, "K-2", "2026-03-01", spool_block("1", coupon=coupon(), **changed))
    assert newest(ledger).lot == "K-1"
    # The buyer may know better.
    assert newest(ledger, named="K-2/1").lot == "K-2"


@pytest.mark.parametrize(
    "block",
    [
        {"coupon": None},
        {"coupon": coupon(wall=route(residual=None))},
        {"coupon": coupon(wall={"multiplier": 1.0, "residual": None, "word": None}, by=None)},
        {"coupon": coupon(wall=route(ends=(None, None)))},
        {},
    ],
)
def test_a_coupon_that_says_nothing_is_none(ledger, block):
    entered(ledger, "K-1", "2026-02-01", spool_block("1", **block))
    assert newest(ledger) is None


def test_the_sharpest_coupon_of_a_lot_is_taken(ledger):
    blunt, sharp = (coupon(wall=route(ends=ends)) for ends in (BLUNT, SHARP))
    entered(
        ledger,
        "K-1",
        "2026-02-01",
        spool_block("1", coupon=blunt),
        spool_block("2", coupon=sharp),
        spool_block("3", coupon=blunt),
    )
    assert newest(ledger).spool == "2"


def test_a_route_that_is_asked_for_is_looked_for(ledger):
    both = coupon(wall=route(), mass=route(1.03, BLUNT))
    entered(ledger, "K-1", "2026-02-01", spool_block("1", coupon=both))
    entered(ledger, "K-2", "2026-03-01")
    assert [r.route for r in newest(ledger).residuals] == ["wall"]
    by_mass = newest(ledger, route="mass")
    assert (by_mass.lot, [r.residual for r in by_mass.residuals]) == ("K-1", [1.03])


def test_a_coupon_that_disagreed_with_its_own_reference_is_passed_over_and_told(ledger):
    """What was wet then would be what all later lots are held against."""
    entered(ledger, "K-1", "2026-02-01")
    wet = coupon(wall=route(1.06, (1.05, 1.07), against_reference=True))
    entered(ledger, "K-2", "2026-03-01", spool_block("1", coupon=wet))
    found = newest(ledger)
    assert (found.lot, found.passed_over) == ("K-1", ("K-2/1",))
    fits = coupon(wall=route(against_reference=True, word="explained"))
    entered(ledger, "K-3", "2026-03-02", spool_block("1", coupon=fits))
    assert (newest(ledger).lot, newest(ledger).passed_over) == ("K-3", ())


# What is earlier.


def test_a_later_lot_is_never_the_reference_of_an_earlier_one(ledger):
    entered(ledger, "K-1", "2026-02-01")
    entered(ledger, "K-5", "2026-05-01")
    assert newest(ledger, date(2026, 4, 1)).lot == "K-1"
    assert newest(ledger, date(2026, 1, 1)) is None
    assert refused(ledger, "K-5/1", date(2026, 4, 1)) == (
        'reference is "K-5/1", and lot K-5 of 2026-05-01 came later than this one: no reference is '
        'used; write lot and spool of an earlier coupon, such as "K-1/1"'
    )


def test_of_one_day_the_lot_that_was_entered_before_is_earlier(ledger):
    entered(ledger, "K-1", "2026-02-01")
    entered(ledger, "K-2", "2026-02-01")
    day = date(2026, 2, 1)
    assert newest(ledger, day).lot == "K-2"
    assert newest(ledger, day, own={**OWN, "lot": "K-2"}).lot == "K-1"
    assert newest(ledger, day, own={**OWN, "lot": "K-1"}) is None
    # By name a lot of the same delivery will do, in whatever order they were entered.
    assert newest(ledger, day, own={**OWN, "lot": "K-1"}, named="K-2/1").lot == "K-2"


def test_a_lot_without_a_day_keeps_the_place_that_it_has_in_the_ledger(ledger):
    entered(ledger, "K-1", "2026-02-01")
    entered(ledger, "K-9", None)  # inspected on 2026-03-01
    entered(ledger, "K-5", "2026-05-01")
    assert newest(ledger, None).lot == "K-1"
    assert newest(ledger, None, own={**OWN, "lot": "K-new"}).lot == "K-5"


def test_a_lot_is_never_its_own_reference(ledger):
    entered(ledger, "K-9", "2026-02-01")
    assert newest(ledger) is None
    assert refused(ledger, "K-9/1") == (
        'reference is "K-9/1", which is of this lot itself: no reference is used; the ledger has '
        "no earlier coupon that would do: write reference_residual"
    )


def test_the_newest_inspection_of_a_lot_speaks(ledger):
    entered(ledger, "K-1", "2026-02-01")
    again = coupon(wall=route(1.05, (1.04, 1.06)))
    entered(ledger, "K-1", "2026-02-01", spool_block("1", coupon=again), price=1.0)
    assert newest(ledger).residuals[0].residual == 1.05


# By name.


@pytest.mark.parametrize(
    "named", ["K-1/1", " k-1 / 1 ", "Kranich Filament/K-1/1", "KRANICH  filament/K-1/1"]
)
def test_a_named_coupon_is_found_as_people_write_it(ledger, named):
    entered(ledger, "K-1", "2026-02-01")
    entered(ledger, "K-2", "2026-03-01")
    found = newest(ledger, named=named)
    assert (found.lot, found.spool, found.is_named) == ("K-1", "1", True)


def test_a_slash_in_the_code_of_a_lot_belongs_to_it(ledger):
    entered(ledger, "KF 26", "2026-02-01")
    entered(ledger, "KF 26/19-2", "2026-02-02", spool_block("a/1", coupon=coupon()))
    found = newest(ledger, named="KF 26/19-2/a/1")
    assert (found.lot, found.spool) == ("KF 26/19-2", "a/1")
    assert newest(ledger, named="KF 26/1").lot == "KF 26"


def test_codes_that_differ_in_case_only_are_two_lots(ledger):
    entered(ledger, "K-1", "2026-02-01")
    entered(ledger, "k-1", "2026-02-02")
    assert [newest(ledger, named=n).lot for n in ("K-1/1", "k-1/1")] == ["K-1", "k-1"]


def test_a_name_that_the_ledger_does_not_have_says_what_would_be_right(ledger):
    tail = ': no reference is used; write lot and spool of an earlier coupon, such as "K-2/1"'
    entered(ledger, "K-1", "2026-02-01", spool_block("1", coupon=None), spool_block("2"))
    entered(ledger, "K-2", "2026-03-01")
    entered(ledger, "B-1", "2026-03-02", machine="bench 1")
    said = {
        "K-7/1": "and the ledger has no such lot",
        "K-2": "which is no lot and spool",
        "K-1/1": "and lot K-1 has no printed coupon in the ledger",
        "B-1/1": 'which was printed on machine "bench 1", not "bench 2"',
    }
    for named, why in said.items():
        assert refused(ledger, named) == f'reference is "{named}", {why}{tail}'
    assert refused(ledger, "K-2/3") == (
        'reference is "K-2/3", and lot K-2 has no coupon of such a spool in the ledger: no '
        'reference is used; it has "K-2/1"'
    )
    assert refused(ledger, "K-2/1", route="mass") == (
        'reference is "K-2/1", and its coupon could not be compared with its diameter by mass: no '
        "reference is used; the ledger has no earlier coupon that would do: write "
        "reference_residual"
    )


def test_a_machine_that_is_not_stated_on_one_side_is_no_other_machine(ledger):
    entered(ledger, "K-1", "2026-02-01", machine=None)
    entered(ledger, "K-2", "2026-02-02")
    assert newest(ledger, named="K-1/1").lot == "K-1"
    assert newest(ledger, machine=None, named="K-2/1").lot == "K-2"


def test_one_code_from_two_suppliers_is_not_guessed(ledger):
    entered(ledger, "7", "2026-02-01")
    entered(ledger, "7", "2026-02-02", supplier="Moewe")
    assert refused(ledger, "7/1") == (
        'reference is "7/1", and the ledger has 2 lots of that code, from Kranich Filament and '
        "Moewe: no reference is used; write the supplier, too, such as "
        '"Kranich Filament/7/1"'
    )
    assert newest(ledger, named="moewe/7/1").supplier == "Moewe"
    entered(ledger, "7", "2026-02-03", colour="red")
    assert refused(ledger, "7/1").endswith("used; write reference_residual")


def test_a_ledger_without_coupons_says_so(ledger):
    assert newest(ledger) is None
    assert refused(ledger, "K-1/1") == (
        'reference is "K-1/1", and the ledger has no such lot: no reference is used; the ledger '
        "has no earlier coupon that would do: write reference_residual"
    )
