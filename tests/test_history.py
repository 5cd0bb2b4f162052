"""History sets the effort: lots come to a bench one after another, late, twice, out of order."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lotqa.criteria import read_criteria
from lotqa.errors import UnusableCriteria
from lotqa.history import Course, Past, course, effort_before, outcome_of, past_of, rules_of
from lotqa.ledger import EffortChange, Ledger
from lotqa.sampling.switching import LotOutcome, Rules, effort_after
from tests.cli.lots import put_lot, sheet_with
from tests.ledger.conftest import Delivery, spool_block

KRANICH = "Kranich Filament"
SHIPPED = read_criteria()
STRICT = read_criteria("effort.tighten_rejected = 1\n", name="strict.toml")
START = date(2026, 1, 5)
KINDS = {
    "a": ("accept", "firm", 0, True),
    "p": ("accept", "provisional", 0, True),
    "r": ("reject", "firm", 0, True),
    "c": ("accept", "firm", 1, True),
    "u": ("accept", "firm", 0, False),
}


def week(n: int) -> date:
    return START + timedelta(weeks=n)


@dataclass
class Bench:
    """Inspects and enters lots as the main job does; today is a week later with each."""

    book: Ledger
    today: datetime = datetime(2026, 1, 5, 10, 0, tzinfo=UTC)
    courses: list[Course] = field(default_factory=list)

    def past(self, code: str, received: date | None, criteria=SHIPPED, **names: str) -> Past:
        named = {"supplier": KRANICH, "material": "PLA", "product": "Basic", "colour": "slate"}
        named |= names
        supplier, material = named.pop("supplier"), named.pop("material")
        return past_of(self.book, supplier, material, received, code, criteria, **named)

    def inspect(
        self, kind: str, code: str, received: date | None, criteria=SHIPPED, **names: str
    ) -> Course:
        verdict, standing, critical, measured = KINDS[kind]
        past = self.past(code, received, criteria, **names)
        day = self.today.date() if received is None else received
        outcome = LotOutcome(code, day.isoformat(), verdict, standing, critical, measured)
        found = course(past, outcome)
        assert found is not None
        block = spool_block(
            "1",
            findings={"critical": critical, "major": 0, "minor": 0, "items": []},
            diameter={"places": 20 if measured else 0},
        )
        delivery = Delivery().varied(
            f"{code} {self.today}",
            now=self.today,
            lot=code,
            received=None if received is None else received.isoformat(),
            verdict=verdict,
            standing=standing,
            **names,
        )
        delivery.document["spools"] = [block]
        self.book.record(
            delivery.lot,
            delivery.document,
            now=self.today,
            criteria_text=delivery.criteria,
            effort=found.change,
        )
        self.today += timedelta(weeks=1)
        self.courses.append(found)
        return found

    def row(self, kinds: str, first: int = 0) -> Course:
        """Lots K-1, K-2, ... received a week apart, each inspected as it comes."""
        for n, kind in enumerate(kinds, first):
            found = self.inspect(kind, f"K-{n + 1}", week(n))
        return found

    def recorded(self) -> list[tuple[str, str, str, bool]]:
        rows = self.book.efforts(KRANICH, "PLA")
        return [(r.lot, r.before, r.after, r.is_correction) for r in rows]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with Ledger.open(str(tmp_path / "ledger.sqlite")) as book:
        yield Bench(book)


# The rules.


def test_the_shipped_rules():
    assert rules_of(SHIPPED) == Rules(2, 5, 5, 10, 10, 4, 5, 0.5)


def test_a_supplier_may_have_rules_of_its_own():
    text = f'[[for]]\nsupplier = "{KRANICH}"\neffort.skip_interval = 2\neffort.firm_share = 1\n'
    found = rules_of(read_criteria(text, supplier=KRANICH))
    assert (found.skip_interval, found.firm_share) == (2, 1.0)
    assert rules_of(read_criteria(text, supplier="Tallow & Reed")) == rules_of(SHIPPED)


@pytest.mark.parametrize(("text", "told"), [
    ("effort.tighten_rejected = 6", "effort.tighten_rejected is 6, of a tighten_window of 5: so "
     "many can never be rejected, make the window wider"),
    ("effort.tighten_window = 1", "effort.tighten_rejected is 2, of a tighten_window of 1: so "
     "many can never be rejected, make the window wider"),
    ("effort.skip_interval = 0",
     "mine.toml: effort.skip_interval is 0: write a whole number from 1 to 1000"),
    ("effort.restore_accepted = 2.5",
     "mine.toml: effort.restore_accepted is 2.5: write a whole number from 1 to 1000"),
    ("effort.firm_share = 50", "mine.toml: effort.firm_share is 50: write a number from 0 to 1"),
    ("effort.skip_lots = 4",
     "mine.toml: effort.skip_lots is not known: did you mean effort.skip_interval?"),
])  # fmt: skip
def test_rules_that_cannot_be_name_their_key(text, told):
    with pytest.raises(UnusableCriteria) as caught:
        rules_of(read_criteria(text, name="mine.toml"))
    assert str(caught.value) == told


# What a lot meets.


def test_without_a_ledger_or_a_name_every_lot_is_inspected_as_normal(bench: Bench):
    bench.row("rr")
    for book, supplier, material in [
        (None, KRANICH, "PLA"),
        (bench.book, None, "PLA"),
        (bench.book, KRANICH, None),
        (bench.book, " ", "PLA"),
    ]:
        found = effort_before(
            book, supplier, material, week(9), "N", SHIPPED, product=None, colour=None
        )
        assert (found.state, found.why) == ("normal", "no earlier lots: normal")


def test_nobody_known_leaves_no_course_and_a_new_ledger_does(bench: Bench):
    outcome = LotOutcome("N", "2026-01-05", "reject", "firm")
    assert course(bench.past("N", START, supplier=""), outcome) is None
    past = past_of(None, KRANICH, "PLA", START, "N", STRICT, product=None, colour=None)
    found = course(past, outcome)
    assert found is not None
    assert found.change == EffortChange(
        "normal", "tightened", "the last lot was rejected: tightened"
    )


def test_a_lot_meets_what_lots_of_earlier_days_left(bench: Bench):
    bench.row("rr")
    assert bench.past("K-9", week(1)).before.state == "normal"  # the day of the second
    assert bench.past("K-9", week(2)).before.state == "tightened"
    assert bench.past("K-9", None).before.state == "tightened"
    assert bench.past("K-9", week(2), material="PETG").before.state == "normal"
    assert bench.past("K-9", week(2), supplier="KRANICH  filament").before.state == "tightened"


def test_a_lot_does_not_count_against_itself(bench: Bench):
    bench.row("rr")
    assert bench.past("K-2", week(9)).before.state == "normal"
    assert bench.past(" k-2", None, colour="Slate").before.state == "normal"
    # The same code in another colour is another lot.
    assert bench.past("K-2", week(9), colour="chalk").before.state == "tightened"


def test_a_lot_without_a_day_inspected_again_meets_what_it_met_at_first(bench: Bench):
    bench.inspect("r", "A", None)
    bench.inspect("a", "B", None)
    bench.inspect("r", "C", None)
    assert bench.past("B", None).before.state == "normal"
    assert bench.past("D", None).before.state == "tightened"


# What it leaves, in words.

FIRST = "Inspected as normal (no earlier lots)."
QUIET = "Inspected as normal (no lot so far asks for a change)."
SAME = "The next lot: the same."
TWO_BAD = "the last two lots were rejected: tightened"
TIGHT = f"Inspected as tightened since 2026-01-12 ({TWO_BAD})."
FIVE = "five lots in a row were taken: back to normal"


@pytest.mark.parametrize(("kinds", "text"), [
    ("a", f"{FIRST} {SAME}"),
    ("aa", f"{QUIET} {SAME}"),
    ("rr", f"{QUIET} The next lot: tightened inspection ({TWO_BAD})."),
    ("rra", f"{TIGHT} {SAME}"),
    ("rraaaaa", f"{TIGHT} The next lot: normal inspection ({FIVE})."),
    ("rraaaaaa", f"Inspected as normal since 2026-02-16 ({FIVE}). {SAME}"),
    ("rr" + "r" * 5, f"{TIGHT} {SAME} Five lots were rejected since tightening began: stop buying "
     "until the supplier has acted."),
    ("rrppppp", f"{TIGHT} {SAME} Five lots in a row were taken, but none of them firmly: normal "
     "inspection asks for 3 firm ones, so measure enough spools and places."),
    ("a" * 10, f"{QUIET} The next lot: reduced inspection (ten lots in a row were taken: "
     "reduced)."),
    ("a" * 10 + "c", "Inspected as reduced since 2026-03-09 (ten lots in a row were taken: "
     "reduced). The next lot: normal inspection (lot K-11 had a critical finding: back to "
     "normal)."),
    ("a" * 20, "Inspected as reduced since 2026-03-09 (ten lots in a row were taken: reduced). The "
     "next lot: skip-lot, to be weighed and looked at only (ten further lots in a row were taken: "
     "skip-lot, one lot of four is measured)."),
    ("a" * 20 + "u", "Inspected as skip-lot since 2026-05-18, not due to be measured (ten further "
     "lots in a row were taken: skip-lot, one lot of four is measured). The next lot: skip-lot, to "
     "be weighed and looked at only."),
    ("a" * 20 + "uuu", "Inspected as skip-lot since 2026-05-18, not due to be measured (ten "
     "further lots in a row were taken: skip-lot, one lot of four is measured). The next lot: "
     "skip-lot, to be measured."),
    ("a" * 20 + "uuua", "Inspected as skip-lot since 2026-05-18, due to be measured (ten further "
     "lots in a row were taken: skip-lot, one lot of four is measured). The next lot: skip-lot, to "
     "be weighed and looked at only."),
    ("a" * 20 + "r", "Inspected as skip-lot since 2026-05-18, not due to be measured (ten further "
     "lots in a row were taken: skip-lot, one lot of four is measured). The next lot: normal "
     "inspection (lot K-21 was rejected: back to normal)."),
])  # fmt: skip
def test_the_course_in_words(bench: Bench, kinds, text):
    assert bench.row(kinds).text == text


def test_what_lots_coming_steadily_change_is_recorded_step_by_step(bench: Bench):
    bench.row("rraaaaa" + "a" * 20 + "r")
    assert bench.recorded() == [
        ("K-2", "normal", "tightened", False),
        ("K-7", "tightened", "normal", False),
        ("K-17", "normal", "reduced", False),
        ("K-27", "reduced", "skip", False),
        ("K-28", "skip", "normal", False),
    ]
    whys = [row.why for row in bench.book.efforts(KRANICH, "PLA")]
    assert whys[:2] == [TWO_BAD, FIVE]
    assert bench.book.check() == []


def test_what_is_left_is_what_the_next_lot_meets(bench: Bench):
    bench.row("rraaaaa" + "a" * 20 + "r")
    met = [c.before for c in bench.courses]
    left = [c.after for c in bench.courses]
    assert met[1:] == left[:-1]


LOOKED_AT = "spool,finding,class,count\n1,glass in the winding,critical,2\n2,dust,minor,1\n"


@pytest.mark.parametrize(("files", "critical"), [({}, 0), ({"findings": LOOKED_AT}, 2)])
def test_an_outcome_just_judged_is_what_the_ledger_keeps(tmp_path, files, critical):
    from lotqa.inspection import run

    folder = put_lot(tmp_path / "lot", sheet_with(received="2026-02-03"), **files)
    now = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    done = run(folder, now=now, ledger=str(tmp_path / "ledger.sqlite"))
    assert done.inspection is not None
    found = outcome_of(done.inspection, now.date())
    assert (found.lot, found.day) == ("K1", "2026-02-03")
    assert (found.critical, found.measured) == (critical, True)
    with Ledger.open(str(tmp_path / "ledger.sqlite")) as book:
        assert [k.outcome for k in book.outcomes(KRANICH, "PLA")] == [found]


# Out of order, again, and under other rules.


def test_a_lot_entered_late_counts_on_its_day_and_is_a_correction(bench: Bench):
    bench.row("ra", first=1)  # K-2 and K-3
    before = bench.book.efforts()
    found = bench.inspect("r", "K-1", week(0))
    assert found.before.why == "no earlier lots: normal"
    assert found.after.since == week(1).isoformat()
    assert found.text == (
        f"{FIRST} For the next one 2 more lots of the same day or later count. The next lot: "
        f"tightened inspection ({TWO_BAD}). The record is corrected from normal inspection: lot "
        "K-1 of 2026-01-05 was entered after lots of later days."
    )
    (row,) = bench.book.efforts()
    assert before == []
    assert (row.lot, row.day, row.before, row.after) == ("K-1", week(0), "normal", "tightened")
    assert row.is_correction
    assert row.why == (
        "lot K-1 of 2026-01-05 was entered after lots of later days; all lots counted in the order "
        f"of their days: {TWO_BAD}"
    )


def test_a_lot_entered_late_rewrites_nothing_recorded(bench: Bench):
    bench.row("a" * 10, first=1)
    kept = bench.book.efforts()
    assert bench.recorded() == [("K-11", "normal", "reduced", False)]
    bench.inspect("r", "K-5b", week(5))  # into the row of ten
    assert bench.book.efforts()[:1] == kept
    assert bench.recorded()[1:] == [("K-5b", "reduced", "normal", True)]
    assert bench.book.check() == []


def test_a_lot_entered_late_that_changes_nothing_is_not_recorded(bench: Bench):
    bench.row("rra", first=1)
    found = bench.inspect("a", "K-1", week(0))
    assert (found.change, found.after.state) == (None, "tightened")
    assert found.text == (
        f"{FIRST} For the next one 3 more lots of the same day or later count. The next lot: "
        "tightened inspection (two of the last three lots were rejected: tightened)."
    )


def test_lots_of_one_day_do_not_wait_for_each_other(bench: Bench):
    bench.inspect("r", "A", week(0))
    found = bench.inspect("r", "B", week(0))
    assert found.text == (
        f"{FIRST} For the next one 1 more lot of the same day or later counts. The next lot: "
        f"tightened inspection ({TWO_BAD})."
    )
    assert bench.recorded() == [("B", "normal", "tightened", False)]


def test_a_lot_inspected_again_replaces_what_was_said_of_it(bench: Bench):
    bench.row("rra")
    found = bench.inspect("a", "K-2", week(1))
    assert found.before.state == "normal"
    assert found.change is not None
    assert found.change.why == (
        "lot K-2 was inspected again; all lots counted in the order of their days: no lot so far "
        "asks for a change: normal"
    )
    assert bench.recorded() == [
        ("K-2", "normal", "tightened", False),
        ("K-2", "tightened", "normal", True),
    ]
    assert bench.past("K-4", week(3)).before.state == "normal"


def test_a_critical_finding_on_a_second_look_ends_skip_lot(bench: Bench):
    bench.row("a" * 20)
    found = bench.inspect("c", "K-20", week(19))
    assert (found.before.state, found.after.state) == ("reduced", "normal")
    assert found.after.why == "lot K-20 had a critical finding: back to normal"
    assert bench.recorded()[-1] == ("K-20", "skip", "normal", True)


def test_a_lot_inspected_again_with_the_same_outcome_changes_nothing(bench: Bench):
    bench.row("rra")
    assert bench.inspect("r", "K-2", week(1)).change is None
    assert len(bench.recorded()) == 1


def test_a_lot_without_a_day_keeps_the_day_of_its_first_inspection(bench: Bench):
    for code, kind in zip("ABCD", "raar", strict=True):
        bench.inspect(kind, code, None)
    assert bench.recorded() == [("D", "normal", "tightened", False)]
    found = bench.inspect("r", "A", None)  # again, weeks later: still the first of all
    assert found.change is None
    assert found.after.since == week(3).isoformat()
    kept = bench.book.outcomes(KRANICH, "PLA")
    assert [k.outcome.lot for k in kept] == ["A", "B", "C", "D"]
    assert found.after == effort_after([k.outcome for k in kept], rules_of(SHIPPED))


def test_other_rules_are_told_as_such_with_the_next_lot(bench: Bench):
    bench.row("ra")
    found = bench.inspect("a", "K-3", week(2), STRICT)
    assert found.change == EffortChange(
        "normal",
        "tightened",
        "nothing was recorded before this lot; all lots counted in the order of their days: the "
        "last lot was rejected: tightened",
        is_correction=True,
    )
    found = bench.inspect("a", "K-4", week(3))
    assert found.change == EffortChange(
        "tightened",
        "normal",
        "the lots or the rules have changed since the last record; all lots counted in the order "
        "of their days: no lot so far asks for a change: normal",
        is_correction=True,
    )
    assert found.text.endswith(
        "The record is corrected from tightened inspection: the lots or the rules have changed "
        "since the last record."
    )


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    st.lists(
        st.tuples(
            st.sampled_from("aaaprcu"), st.integers(1, 6), st.one_of(st.none(), st.integers(0, 6))
        ),
        max_size=12,
    ),
)
def test_whatever_comes_in_the_record_ends_where_the_lots_do(tmp_path_factory, visits):
    """Lots late, twice and undated: the record is a chain, and its end follows from the ledger."""
    text = "effort.reduce_accepted = 2\neffort.skip_accepted = 1\neffort.restore_accepted = 2\n"
    criteria = read_criteria(text, name="quick.toml")
    place = tmp_path_factory.mktemp("book") / "ledger.sqlite"
    with Ledger.open(str(place)) as book:
        bench = Bench(book)
        for kind, number, day in visits:
            kept = book.efforts()
            received = None if day is None else week(day)
            found = bench.inspect(kind, f"K-{number}", received, criteria)
            row = [k.outcome for k in book.outcomes(KRANICH, "PLA")]
            assert found.after == effort_after(row, rules_of(criteria))
            recorded = book.efforts()
            assert recorded[: len(kept)] == kept
            assert (recorded[-1].after if recorded else "normal") == found.after.state
        assert book.check() == []
