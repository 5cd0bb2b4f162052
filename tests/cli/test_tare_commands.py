"""``lotqa ledger tare``: what a person at the bench sees, and what a program reads."""

import json
import re
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.cli.contract import not_finite
from tests.cli.lots import SHEET, put_lot
from tests.cli.terminal import Answer, command
from tests.cli.test_contract import only_document

REEL = '\n[reel]\nkind = "grey ring"\nmaterial = "plastic"\n'
WEIGHED = "spool,kind,mass_g\n1,gross,1179\n2,gross,1216\n"
SIX = (213, 214, 215, 215, 216, 214)


def tare(*arguments: object) -> Answer:
    return command("ledger", "tare", *arguments)


def document(*arguments: object) -> dict:
    answer = tare(*arguments, "--json")
    assert (answer.code, answer.err) == (0, "")
    found = only_document(answer.out)
    assert list(not_finite(found)) == []
    assert found["schema"] == "lotqa.tares.v1"
    return found


def told(answer: Answer) -> str:
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.count("\n") == 1
    return answer.err.removeprefix("lotqa: ").rstrip()


def prose(answer: Answer) -> str:
    """What was printed, lines joined again; only a path may be too long for the terminal."""
    assert (answer.code, answer.err) == (0, "")
    lines = [line.rstrip() for line in answer.out.splitlines()]
    assert [line for line in lines if len(line) > 80 and not line.startswith("Ledger ")] == []
    return re.sub(r"\s+", " ", answer.out)


def inspected(bench: Path, lot: str = "K1", reel: str = REEL, weighings: str = WEIGHED) -> None:
    sheet = SHEET.replace('lot = "K1"', f'lot = "{lot}"') + reel
    put_lot(bench / lot, sheet, weighings=weighings)
    assert command("inspect", lot, "--no-report").code == 0


@pytest.fixture
def kept(bench: Path) -> Path:
    """A ledger with a lot of two spools on grey rings, weighed full only."""
    inspected(bench)
    return bench / "kept.sqlite"


def enter_six() -> None:
    for i, mass_g in enumerate(SIX):
        assert tare(mass_g, "--lot", "K1", "--note", f"reel {i}").code == 0


# Entering.


def test_a_reel_is_entered_and_said_back(kept: Path) -> None:
    said = prose(tare("214", "--supplier", "kranich  filament", "--reel", "Grey ring"))
    today = date.today().isoformat()
    assert said.startswith(
        f'Tare 1: 214 g, reel "Grey ring" of Kranich Filament, weighed {today}. '
    )
    assert "1 reel weighed empty, mean 214.0 g. The next one weighs" in said
    assert f"Ledger {kept}: tare 1." in said


@pytest.mark.usefixtures("kept")
def test_a_lot_says_whose_reel_it_is_and_of_what_kind() -> None:
    found = document("214,5 g", "--lot", "K1", "--spool", "2")["entered"]
    said = {k: found[k] for k in ("tare", "new", "mass_g", "supplier", "reel_kind",
                                  "reel_material", "lot", "spool")}  # fmt: skip
    assert said == {
        "tare": 1, "new": True, "mass_g": 214.5, "supplier": "Kranich Filament",
        "reel_kind": "grey ring", "reel_material": "plastic", "lot": "K1", "spool": "2",
    }  # fmt: skip


@pytest.mark.usefixtures("kept")
def test_the_same_line_twice_is_entered_once_and_another_needs_a_note() -> None:
    assert document("214", "--lot", "K1")["entered"]["new"] is True
    again = document("214", "--lot", "K1")
    assert (again["entered"]["new"], again["records"][0]["reels"]) == (False, 1)
    assert "needs a --note that tells it apart" in again["entered"]["texts"][0]
    assert document("214", "--lot", "K1", "--note", "two")["records"][0]["reels"] == 2


def test_the_first_reel_may_be_weighed_before_any_lot(ledger: Path) -> None:
    found = document("214", "--supplier", "Tallow & Reed", "--reel-material", "cardboard")
    assert found["entered"]["new"] is True
    assert ledger.exists()
    assert found["text"] == "No spool in the ledger waits for its reel."


@pytest.mark.usefixtures("kept")
def test_a_reel_unlike_the_others_is_kept_and_asked_about() -> None:
    enter_six()
    usual = document("215.5", "--lot", "K1")["entered"]["texts"]
    assert len(usual) == 1
    odd = document("260", "--lot", "K1")["entered"]["texts"]
    # scipy's t; a kitchen scale: limit of error 2 g, step 1 g.
    seven = [*SIX, 215.5]
    reels_g = stats.t.ppf(0.975, 6) * np.std(seven, ddof=1) * np.sqrt(8 / 7)
    half_g = np.hypot(reels_g, stats.norm.ppf(0.975) * np.sqrt((2**2 + 0.25) / 3))
    lo_g, hi_g = np.mean(seven) - half_g, np.mean(seven) + half_g
    assert odd[1].startswith(
        f"The 7 reels weighed before lead to expect {lo_g:.0f} to {hi_g:.0f} g: is this"
    )


@pytest.mark.usefixtures("kept")
def test_a_slip_is_withdrawn() -> None:
    enter_six()
    slip = document("300", "--lot", "K1")["entered"]["tare"]
    said = prose(tare("--withdraw", slip))
    assert f"Tare {slip} is withdrawn: it stays in the ledger and counts no more." in said
    assert document()["records"][0]["reels"] == 6
    assert "was withdrawn already" in prose(tare("--withdraw", slip))
    assert json.loads(command("ledger", "check", "--json").out)["sound"] is True


# Hindsight.


@pytest.mark.usefixtures("kept")
def test_weighing_the_reel_of_a_spool_settles_it() -> None:
    before = document()
    assert [s["outcome"] for s in before["hindsight"]] == ["still open", "still open"]
    assert [s["now"] for s in before["hindsight"]] == [None, None]
    answer = tare("216", "--lot", "K1", "--spool", "2")
    said = prose(answer)
    settles = said.partition("This settles: ")[2]
    assert "Lot K1, spool 2. At intake (reel supposed): net" in settles
    assert "Now (this reel weighed empty): net 1000 g, 0 g short of the label" in settles
    assert "not more than the 15 g tolerated. Settled: not short." in settles
    second = {s["spool"]: s for s in document()["hindsight"]}["2"]
    assert (second["outcome"], second["changed"]) == ("settled: not short", True)
    assert second["now"]["net_g"] == 1216 - 216
    lo, hi = second["now"]["shortfall_ci95_g"]
    assert lo < 0 < hi < 15
    assert second["then"]["shortfall_ci95_g"][1] > 15


@pytest.mark.usefixtures("kept")
def test_the_record_of_the_kind_settles_spools_of_earlier_lots(bench: Path) -> None:
    enter_six()
    found = document()
    spool = {s["spool"]: s for s in found["hindsight"]}["1"]
    # 1179 - 214.5 is 35.5 g under the label: more than the 15 g of 76/211/EEC.
    assert spool["now"]["shortfall_g"] == pytest.approx(35.5)
    assert (spool["outcome"], spool["now"]["reels"]) == ("settled: short", 6)
    assert found["counts"] == {"spools": 2, "short": 1, "not_short": 1, "open": 0, "no_label": 0}
    said = prose(tare())
    assert "settled: short, new" in said
    assert "1 settled as short, 1 as not short, 0 still open." in said
    assert "Left out" not in said
    # A later lot on such reels is judged with the record from the start.
    inspected(bench, "K2")
    later = json.loads(command("inspect", "K2", "--no-report", "--json").out)
    weight = later["spools"][0]["weight"]
    assert (weight["tare_known"], weight["tare_g"]) == ("record", 214.5)


@pytest.mark.usefixtures("kept")
def test_what_a_slip_opens_again_is_said() -> None:
    enter_six()
    said = prose(tare("300", "--lot", "K1"))
    assert "This opens again: Lot K1, spool 1." in said


def test_a_lot_whose_sheet_names_no_reel_is_settled_by_its_own_reels_only(bench: Path) -> None:
    inspected(bench, reel="")
    for i, mass_g in enumerate(SIX):
        document(mass_g, "--supplier", "Kranich Filament", "--note", i)
    first = document()["hindsight"][0]
    assert first["now"] is None
    assert "The lot sheet names no reel: give its kind under [reel]." in first["text"]
    assert document("214", "--lot", "K1", "--spool", "1")["hindsight"][0]["outcome"] == (
        "settled: short"
    )


# Listing.


def test_the_record_is_listed_by_supplier_and_kind(bench: Path) -> None:
    inspected(bench, weighings=WEIGHED + "2,tare,216\n")
    enter_six()
    for mass_g in (150, 152):
        document(mass_g, "--supplier", "Tallow & Reed", "--reel-material", "cardboard",
                 "--new-supplier", "--weighed", "2026-02-03")  # fmt: skip
    found = document()
    rows = [(r["supplier"], r["reel_kind"], r["reel_material"], r["reels"], r["weighings"])
            for r in found["records"]]  # fmt: skip
    assert rows == [
        ("Kranich Filament", "grey ring", "plastic", 7, 7),
        ("Tallow & Reed", None, "cardboard", 2, 2),
    ]
    board = found["records"][1]
    assert (board["mean_g"], board["min_g"], board["max_g"]) == (151.0, 150.0, 152.0)
    assert board["sd_g"] == pytest.approx(2**0.5)
    assert board["since"] == "2026-02-03"
    assert "a shortage of 15 g on 1000 g cannot be shown from the gross mass" in board["text"]
    assert "cannot be shown" not in found["records"][0]["text"]
    assert [w["tare"] for w in found["weighings"]] == [None, *range(1, 9)]
    said = prose(tare())
    assert "grey ring 7" in said
    assert "Left out" not in said
    one = prose(tare("--supplier", "tallow & reed"))
    assert "tare weighed mass, g reel" in one
    assert "grey ring" not in one


@pytest.mark.usefixtures("kept")
def test_a_list_can_be_narrowed_down(bench: Path) -> None:
    inspected(bench, "K2", '\n[reel]\nkind = "board"\nmaterial = "cardboard"\n')
    tare("214", "--lot", "K1")
    tare("150", "--lot", "K2")
    assert [r["reel_kind"] for r in document("--reel", "BOARD")["records"]] == ["board"]
    by_material = document("--reel-material", "plastic")
    assert {s["lot"] for s in by_material["hindsight"]} == {"K1"}
    by_lot = document("--lot", "K2")
    assert {s["lot"] for s in by_lot["hindsight"]} == {"K2"}
    assert by_lot["counts"]["spools"] == 2


@pytest.mark.usefixtures("kept")
def test_an_empty_record_says_how_to_begin() -> None:
    said = prose(tare())
    assert "No empty reel has been weighed yet: lotqa ledger tare 214 --supplier NAME" in said
    assert "2 spools came with a reel that was not weighed" in said
    assert said.endswith("Weigh the reel when the spool runs out. ")


def test_listing_makes_no_ledger(bench: Path, ledger: Path) -> None:
    assert told(tare()) == (
        f"ledger {ledger} does not exist yet: inspect a lot first or name another ledger"
    )
    assert list(bench.iterdir()) == []


# What cannot be.

TOMORROW = (date.today() + timedelta(days=2)).isoformat()
SHOWN = "write the grams that the scale shows, such as 214"


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("-5", "--lot", "K1"),
         f'MASS_G is "-5", an empty reel weighs more than nothing: {SHOWN}'),
        (("0", "--lot", "K1"), f'MASS_G is "0", an empty reel weighs more than nothing: {SHOWN}'),
        (("abc", "--lot", "K1"), f'MASS_G is "abc": {SHOWN}'),
        (("nan", "--lot", "K1"), f'MASS_G is "nan": {SHOWN}'),
        (("0.214", "--lot", "K1"),
         'MASS_G is "0.214", too little for grams, a slip for kilograms? Then write 214'),
        (("0,214 kg", "--lot", "K1"), 'MASS_G is "0,214 kg", in kilograms: write 214'),
        (("1216", "--lot", "K1", "--spool", "2"),
         'MASS_G is "1216", but spool 2 of lot K1 weighed 1216 g with its filament on: weigh the '
         "reel when it is empty"),
        (("900", "--lot", "K1"),
         'MASS_G is "900", much for an empty reel, is filament still on it? Weigh it empty, or '
         "add --sure if the reel does weigh that much"),
        (("214", "--supplier", "Kranich Filamnet"),
         'supplier "Kranich Filamnet" is not in the ledger: did you mean Kranich Filament? For a '
         "first reel of a supplier add --new-supplier"),
        (("--supplier", "Tallow & Reed"),
         'supplier "Tallow & Reed" is not in the ledger: it knows Kranich Filament'),
        (("214",), "--supplier is missing: say whose reel it is, or name its --lot"),
        (("214", "--spool", "2"), '--spool is "2": say of which lot, with --lot'),
        (("214", "--lot", "K1", "--spool", "9"),
         '--spool is "9", which is not among the spools inspected of lot K1: it has 1, 2; for '
         "another reel of the lot leave --spool out"),
        (("214", "--lot", "K9"), 'lot "K9" is not in the ledger: see lotqa ledger list'),
        (("214", "--lot", "K1", "--supplier", "Tallow & Reed"),
         '--supplier is "Tallow & Reed", but lot K1 came from Kranich Filament: leave --supplier '
         "out, or name another lot"),
        (("214", "--lot", "K1", "--weighed", TOMORROW),
         f"--weighed is {TOMORROW}, a day to come: write the day the reel was on the scale"),
        (("214", "--lot", "K1", "--weighed", "2025-12-31"),
         "--weighed is 2025-12-31, but lot K1 came on 2026-01-05: write the day the reel was on "
         "the scale"),
        (("214", "--lot", "K1", "--reel-material", "wood"),
         '--reel-material is "wood": write plastic, cardboard, metal or none'),
        (("214", "--withdraw", "1"), "--withdraw takes a number back: leave MASS_G out"),
    ],
)  # fmt: skip
def test_slips_are_told_and_nothing_is_entered(arguments, message) -> None:
    assert told(tare(*arguments)) == message
    assert document()["weighings"] == []


@pytest.mark.usefixtures("kept")
def test_what_looks_wrong_can_be_confirmed() -> None:
    heavy = document("900", "--lot", "K1", "--sure")
    assert heavy["entered"]["mass_g"] == 900
    other = document("214", "--supplier", "Kranich Filamnet", "--new-supplier")
    assert other["entered"]["supplier"] == "Kranich Filamnet"


def test_a_slip_before_there_is_a_ledger_makes_none(ledger: Path) -> None:
    for arguments in (("0.2", "--supplier", "x"), ("900", "--supplier", "x"), ("214",),
                      ("214", "--lot", "K1"), ("214", "--supplier", " ")):  # fmt: skip
        told(tare(*arguments))
    assert not ledger.exists()


@pytest.mark.usefixtures("kept")
def test_criteria_of_ones_own_say_what_reels_differ_by(bench: Path) -> None:
    (bench / "mine.toml").write_text("[weight]\ntare_like_sd_g = 20.0\n")
    tare("214", "--lot", "K1")
    wide, usual = (
        document(*more)["records"][0]["next_uncertainty_g"]
        for more in (("--criteria", "mine.toml"), ())
    )
    assert wide > 2 * usual


@pytest.mark.usefixtures("kept")
def test_a_plain_terminal_gets_plain_signs() -> None:
    answer = command("ledger", "tare", "214", "--lot", "K1", encoding="ascii")
    assert answer.code == 0
    assert "+/-" in answer.out
