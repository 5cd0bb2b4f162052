"""``suppliers``, ``drift`` and ``report``: what the ledger remembers, months later."""

import json
from pathlib import Path
from typing import Any

import pytest

from lotqa.cli.drift import material_of
from lotqa.errors import UnusableInput
from lotqa.ledger import Ledger
from tests.cli.lots import put_lot, readings, sheet_with
from tests.cli.terminal import command

# supplier, material, colour, lot, received
LOTS = (
    ("Kranich Filament", "PLA", "black", "K1", "2026-01-05"),
    ("Kranich Filament", "PETG", "clear", "K2", "2026-02-05"),
    ("Kranich Filament", "PLA", "green", "K3", "2026-03-05"),
    ("Brightwater Polymers", "PLA", "black", "B1", "2026-01-15"),
)
# What the agreed document has of each row.
ROW = (
    *("supplier", "material", "lots", "spools", "accepted", "tuned", "rejected"),
    *("offset_mm", "offset_ci95_mm", "lot_to_lot_sd_mm", "within_spool_sd_mm"),
    *("price_per_litre", "price_per_accepted_litre", "next_lot"),
)


@pytest.fixture(scope="module")
def remembered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger with four lots, made once."""
    folder = tmp_path_factory.mktemp("remembered")
    for seed, (supplier, material, colour, lot, received) in enumerate(LOTS):
        sheet = sheet_with(
            supplier=f'"{supplier}"', material=f'"{material}"', colour=f'"{colour}"',
            lot=f'"{lot}"', received=received,
        )  # fmt: skip
        put_lot(folder / lot, sheet, readings=readings(seed=seed))
        made = command(
            "inspect", folder / lot, "--no-report", "--ledger", folder / "l.sqlite", "--json"
        )
        assert made.code == 0
    return folder / "l.sqlite"


@pytest.fixture(autouse=True)
def at_hand(remembered: Path, bench: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The ledger is the one of the environment; the folder stays that of the test."""
    monkeypatch.setenv("LOTQA_LEDGER", str(remembered))
    return bench


def document(*arguments: object) -> dict[str, Any]:
    answer = command(*arguments, "--json")
    assert (answer.code, answer.err) == (0, "")
    found: dict[str, Any] = json.loads(answer.out)
    return found


def test_suppliers_stand_side_by_side_by_material() -> None:
    rows = document("suppliers")["suppliers"]
    assert [(r["supplier"], r["material"], r["lots"]) for r in rows] == [
        ("Brightwater Polymers", "PLA", 1),
        ("Kranich Filament", "PETG", 1),
        ("Kranich Filament", "PLA", 2),
    ]
    assert all(set(ROW) <= set(r) for r in rows)
    out = command("suppliers").out
    assert "Kranich Filament, PETG:" in out.splitlines()


def test_suppliers_of_one_material() -> None:
    rows = document("suppliers", "--material", "petg")["suppliers"]
    assert [(r["supplier"], r["material"]) for r in rows] == [("Kranich Filament", "PETG")]
    answer = command("suppliers", "--material", "PVA")
    assert (answer.code, answer.out) == (
        0,
        "The ledger holds no lot of PVA: lotqa inspect enters one.\n",
    )


def test_an_empty_ledger_has_no_suppliers_and_no_lots() -> None:
    with Ledger.open("empty.sqlite"):
        pass
    answer = command("suppliers", "--ledger", "empty.sqlite")
    assert (answer.code, answer.out) == (
        0,
        "The ledger holds no lot: lotqa inspect enters one.\n",
    )
    assert document("suppliers", "--ledger", "empty.sqlite")["suppliers"] == []
    answer = command("ledger", "list", "--ledger", "empty.sqlite")
    assert (answer.code, answer.out) == (
        0,
        "No lot in the ledger fits: lotqa inspect enters one.\n",
    )
    answer = command("drift", "Kranich Filament", "--ledger", "empty.sqlite")
    assert (answer.code, answer.err) == (
        2,
        'lotqa: supplier "Kranich Filament" is not in the ledger: it knows none yet\n',
    )


def test_drift_takes_the_material_with_the_most_lots_and_names_the_others() -> None:
    found = document("drift", "kranich filament", "--no-report")
    assert found["schema"] == "lotqa.drift.v1"
    assert {"supplier", "material", "lots", "changes", "trend"} <= set(found)
    assert (found["supplier"], found["material"]) == ("Kranich Filament", "PLA")
    assert [lot["lot"] for lot in found["lots"]] == ["K1", "K3"]
    assert found["other_materials"] == ["PETG"]
    out = " ".join(command("drift", "kranich filament", "--no-report").out.split())
    assert (
        "These are the lots of PLA; others: PETG (1): "
        "lotqa drift 'Kranich Filament' --material PETG"
    ) in out


def test_drift_of_the_material_asked_for() -> None:
    found = document("drift", "Kranich Filament", "--material", "petg", "--no-report")
    assert (found["material"], found["other_materials"]) == ("PETG", ["PLA"])
    assert [lot["lot"] for lot in found["lots"]] == ["K2"]


def test_drift_of_one_colour_counts_the_lots_of_that_colour() -> None:
    found = document("drift", "Kranich Filament", "--colour", "Clear", "--no-report")
    assert (found["material"], found["other_materials"]) == ("PETG", [])


def test_of_materials_with_equally_many_lots_the_first_by_name_is_taken() -> None:
    assert material_of("S", {"PLA": 2, "ABS": 2, "PETG": 1}, None) == "ABS"
    assert material_of("S", {}, None) is None
    assert material_of("S", {"pla": 1, "PLA": 1}, "pla") == "pla"
    with pytest.raises(UnusableInput) as caught:
        material_of("S", {"PLA": 2, "ABS": 2}, "PVA")
    assert str(caught.value) == 'material "PVA" is not among the lots of S: there is ABS, PLA'


def test_drift_of_a_supplier_or_material_that_is_not_there(bench: Path) -> None:
    assert command("drift", "Tallow & Reed").err == (
        'lotqa: supplier "Tallow & Reed" is not in the ledger: '
        "it knows Brightwater Polymers, Kranich Filament\n"
    )
    answer = command("drift", "Kranich Filament", "--material", "PVA")
    assert (answer.code, answer.out, answer.err) == (
        2,
        "",
        'lotqa: material "PVA" is not among the lots of Kranich Filament: there is PETG, PLA\n',
    )
    assert list(bench.iterdir()) == []


def test_drift_draws_the_lots_of_the_material_on_one_page(bench: Path) -> None:
    found = document("drift", "Kranich Filament", "--report", "pages")
    page = (bench / found["page"]).read_text(encoding="utf-8")
    assert "K1" in page
    assert "K3" in page
    assert "K2" not in page


def test_report_writes_the_page_of_a_lot_again(bench: Path) -> None:
    found = document("report", "K2")
    assert found["schema"] == "lotqa.inspection.v1"
    assert found["lot"]["lot"] == "K2"
    assert "K2" in (bench / found["page"]).read_text(encoding="utf-8")
    assert command("report", "K2").out == f"Page: {found['page']}\n"
    (bench / "taken").write_text("a file", encoding="utf-8")
    assert command("report", "K2", "--report", "taken").err == (
        "lotqa: taken: pages cannot be written there (not a directory): choose a folder that you "
        "may write to with --report\n"
    )
