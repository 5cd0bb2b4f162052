"""What the ledger remembers before a lot is judged, and what it must not count."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from lotqa.inspection import Memory, Sources, remembered, run
from lotqa.intake import read_lot
from lotqa.ledger import Ledger
from tests.cli.lots import put_lot, readings, sheet_with

NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
MEANS = (1.742, 1.750, 1.761, 1.747)


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    return tmp_path


def ledger_at(bench: Path) -> str:
    return str(bench / "ledger.sqlite")


def sheet(number: int, month: int, **values: str) -> str:
    named = {"lot": f'"L{number}"', "received": f"2026-0{month}-05"}
    return sheet_with(**named | values)


def enter(bench: Path, number: int, mean_mm: float, month: int, **values: str) -> float:
    """Enter one lot; the mean that the ledger keeps of it."""
    text = readings(mean_mm=mean_mm, seed=number, decimals=3)
    folder = put_lot(bench / f"lot{number}", sheet(number, month, **values), readings=text)
    done = run(folder, now=NOW, ledger=ledger_at(bench))
    return float(done.document["lot"]["mean_mm"])


def lot_to_come(bench: Path, number: int = 9, month: int = 5, text: str | None = None, **v: str):
    content = sheet(number, month, **v) if text is None else text
    return read_lot(put_lot(bench / f"coming{number}", content))


def history(bench: Path) -> list[float]:
    return [enter(bench, i + 1, mean, i + 1) for i, mean in enumerate(MEANS)]


def knows_nothing(found: Memory) -> bool:
    """Nothing but the rules by which the lots to come will be looked at."""
    past = found.past
    assert past is not None
    assert (past.before.state, past.others, past.itself) == ("normal", (), None)
    return replace(found, past=None) == Memory()


def test_no_ledger_knows_nothing(bench: Path) -> None:
    assert remembered(None, lot_to_come(bench)) == Memory()


def test_a_missing_ledger_knows_nothing_and_is_not_made(bench: Path) -> None:
    before = lot_to_come(bench)
    there = sorted(p.name for p in bench.iterdir())
    for place in (bench / "none.sqlite", bench / "no folder" / "l.sqlite"):
        for location in (str(place), f"sqlite:///{place}"):
            assert knows_nothing(remembered(location, before))
    assert sorted(p.name for p in bench.iterdir()) == there


def test_earlier_lots_of_the_supplier_are_the_prior(bench: Path) -> None:
    kept = history(bench)
    prior = remembered(ledger_at(bench), lot_to_come(bench)).prior
    assert prior is not None
    assert prior.n_lots == 4
    assert prior.mean_mm == pytest.approx(np.mean(kept), abs=1e-12)
    # At least the spread of the lots, and not more than three times it.
    assert np.std(kept, ddof=1) < prior.sd_mm < 3 * np.std(kept, ddof=1)


def test_two_lots_are_too_few(bench: Path) -> None:
    for i in (0, 1):
        enter(bench, i + 1, MEANS[i], i + 1)
    assert remembered(ledger_at(bench), lot_to_come(bench)).prior is None


def test_lots_that_came_later_do_not_count(bench: Path) -> None:
    kept = history(bench)
    prior = remembered(ledger_at(bench), lot_to_come(bench, month=4)).prior
    assert prior is not None
    assert prior.n_lots == 3  # the fourth came on the same day
    assert prior.mean_mm == pytest.approx(np.mean(kept[:3]), abs=1e-12)
    assert remembered(ledger_at(bench), lot_to_come(bench, month=3)).prior is None


def test_the_lot_itself_is_no_witness(bench: Path) -> None:
    history(bench)
    late = remembered(ledger_at(bench), lot_to_come(bench, number=4, month=5)).prior
    assert late is not None
    assert late.n_lots == 3


def test_a_lot_without_a_code_and_a_date_is_no_witness_of_itself(bench: Path) -> None:
    history(bench)
    nameless = "\n".join(
        line for line in sheet(1, 1).splitlines() if not line.startswith(("lot =", "received ="))
    )
    folder = put_lot(bench / "nameless", nameless)
    first = run(folder, now=NOW, ledger=ledger_at(bench))
    assert first.document["lot"]["lot_self_assigned"] is True
    again = remembered(ledger_at(bench), read_lot(folder)).prior
    assert again is not None
    assert again.n_lots == 4


@pytest.mark.parametrize("other", [{"supplier": '"Tallow & Reed"'}, {"material": '"PETG"'}])
def test_another_supplier_or_material_does_not_count(bench: Path, other: dict[str, str]) -> None:
    for i, mean in enumerate(MEANS[:3]):
        enter(bench, i + 1, mean, i + 1)
    enter(bench, 4, 1.79, 4, **other)
    prior = remembered(ledger_at(bench), lot_to_come(bench)).prior
    assert prior is not None
    assert prior.n_lots == 3
    assert remembered(ledger_at(bench), lot_to_come(bench, number=8, **other)).prior is None


@pytest.mark.parametrize("key", ["supplier", "material"])
def test_a_lot_that_does_not_say_whose_it_is_has_no_prior(bench: Path, key: str) -> None:
    history(bench)
    text = "\n".join(ln for ln in sheet(9, 5).splitlines() if not ln.startswith(f"{key} ="))
    assert knows_nothing(remembered(ledger_at(bench), lot_to_come(bench, text=text)))


@pytest.mark.parametrize("stated", [True, False])
def test_stock_of_another_diameter_does_not_count(bench: Path, stated: bool) -> None:
    """Whether the lot sheet states 1.75 mm or the readings tell it."""
    for i, mean in enumerate(MEANS[:3]):
        enter(bench, i + 1, mean, i + 1)
    enter(bench, 4, 2.85, 4, nominal_mm="2.85")
    lines = sheet(9, 5).splitlines()
    text = "\n".join(ln for ln in lines if stated or not ln.startswith("nominal_mm"))
    prior = remembered(ledger_at(bench), lot_to_come(bench, text=text)).prior
    assert prior is not None
    assert prior.n_lots == 3
    assert prior.mean_mm == pytest.approx(1.75, abs=0.01)


def test_the_document_says_that_a_prior_was_used(bench: Path) -> None:
    folder = put_lot(bench / "coming", sheet(9, 5))
    without = run(folder, now=NOW).document["spools"][0]["conformity"]
    assert without["prior"] is None
    history(bench)
    found = run(folder, now=NOW, ledger=ledger_at(bench)).document["spools"][0]["conformity"]
    assert found["prior"]["lots"] == 4
    assert "(the mean also weighed by 4 earlier lots)" in found["text"]


def test_looking_back_changes_nothing(bench: Path) -> None:
    history(bench)
    coming = lot_to_come(bench)
    with Ledger.open(ledger_at(bench), create=False) as book:
        before = [(r.lot, r.inspection) for r in book.lots()]
    first, second = (remembered(ledger_at(bench), coming, Sources()) for _ in range(2))
    assert first == second
    with Ledger.open(ledger_at(bench), create=False) as book:
        assert [(r.lot, r.inspection) for r in book.lots()] == before
        assert book.check() == []


REEL = '[reel]\nkind = "grey ring"\nmaterial = "plastic"\n'
WEIGH = "spool,kind,mass_g\n"


def with_reel(number: int, month: int, reel: str = REEL) -> str:
    return f"{sheet(number, month)}\n{reel}"


def test_reels_weighed_empty_in_earlier_lots_are_the_record(bench: Path) -> None:
    empties = {1: (218.0, 222.0), 2: (220.0,)}
    for number, masses in empties.items():
        rows = "".join(f"{i},tare,{m:g}\n" for i, m in enumerate(masses))
        folder = put_lot(
            bench / f"lot{number}",
            with_reel(number, number),
            readings=readings(seed=number),
            weighings=WEIGH + rows,
        )
        run(folder, now=NOW, ledger=ledger_at(bench))
    found = remembered(ledger_at(bench), lot_to_come(bench, text=with_reel(9, 5))).tare
    assert found is not None
    assert (found.n, found.mean_g, found.kind) == (3, 220.0, "grey ring")
    # Of a reel that nobody describes nothing is supposed from the record.
    assert remembered(ledger_at(bench), lot_to_come(bench, number=8)).tare is None
    coming = put_lot(
        bench / "weighed",
        with_reel(7, 6),
        readings=readings(seed=7),
        weighings=WEIGH + "1,gross,1190\n",
    )
    document = run(coming, now=NOW, ledger=ledger_at(bench)).document
    tares = [s["weight"]["tare"] for s in document["spools"] if s["weight"]]
    assert [(t["known"], t["mass_g"], t["reels"]) for t in tares] == [("record", 220.0, 3)]
