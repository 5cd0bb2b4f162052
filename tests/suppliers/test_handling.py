"""What a lot's own criteria say of refunds and time comes back from the ledger with it."""

from datetime import UTC, datetime

from lotqa.evidence.money import Handling
from lotqa.inspection import Sources, run
from lotqa.ledger import Ledger
from lotqa.months import records
from tests.cli.lots import put_lot, readings

NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
OWN = "[money]\n# Shop.\nreturned_share = 0.5\ntuning_minutes = 20\nrate_per_hour = 24\n"


def test_the_criteria_of_the_lot_are_the_handling_of_its_record(tmp_path):
    folder = put_lot(tmp_path / "lot", readings=readings(seed=1))
    ledger = str(tmp_path / "ledger.sqlite")
    done = run(folder, now=NOW, ledger=ledger, sources=Sources(criteria_text=OWN))
    shipped = {x["key"]: x["value"] for x in done.document["criteria"]["limits"]}
    with Ledger.open(ledger, create=False) as book:
        [record] = records(book)
    assert record.handling == Handling(0.5, shipped["money.inspection_minutes"], 20.0, 24.0)
