"""The export reads back by eye and by program, and no text in it acts on its own."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.errors import LedgerError
from lotqa.ledger import export, schema
from tests.ledger.conftest import CRITERIA, READINGS_CSV, source


def table(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def out(tmp_path):
    return tmp_path / "out"


def test_every_table_and_file_is_there(ledger, delivery, out):
    delivery.entered_in(ledger)
    written = ledger.export(out)
    assert sorted(written) == sorted(path for path in out.rglob("*") if path.is_file())
    assert {path.stem for path in out.glob("*.csv")} == {*schema.metadata.tables, "columns"}
    assert not [path for path in out.parent.iterdir() if "part" in path.name]


def test_the_numbers_read_back_exactly(ledger, delivery, out):
    delivery.entered_in(ledger)
    ledger.export(out)
    given_mm = delivery.lot.readings.diameter_mm.tolist()
    assert [float(row["diameter_mm"]) for row in table(out, "reading")] == given_mm
    frame = pd.read_csv(out / "reading.csv")  # a second reader agrees
    assert frame["diameter_mm"].tolist() == given_mm
    spool = table(out, "spool_result")[0]
    assert (spool["spool"], spool["sd_hi_mm"], float(spool["mean_mm"])) == ("007", "", 1.755)


def test_documents_criteria_and_raw_files_read_back(ledger, delivery, out):
    delivery.entered_in(ledger)
    ledger.export(out)
    lines = (out / "documents.jsonl").read_text(encoding="utf-8").splitlines()
    kept = [json.loads(line) for line in lines]
    assert kept == [{"inspection": 1, "document": delivery.document}]
    (criteria,) = (out / "criteria").iterdir()
    assert criteria.read_text(encoding="utf-8") == CRITERIA
    assert criteria.stem == table(out, "inspection")[0]["criteria_sha256"]
    stored = out / table(out, "source_file")[0]["stored_as"]
    assert stored.read_bytes() == READINGS_CSV.encode()


def test_every_column_is_explained(ledger, out):
    ledger.export(out)
    explained = {(row["table"], row["column"]) for row in table(out, "columns")}
    assert explained == {
        (name, column.name) for name, t in schema.metadata.tables.items() for column in t.columns
    }
    assert all(row["meaning"] for row in table(out, "columns"))


HOSTILE = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "  =1", "'=1", "＝1"]


@pytest.mark.parametrize("text", HOSTILE)
def test_text_that_would_be_a_formula_is_neutralised(ledger, delivery, out, text):
    note = replace(delivery.lot.weigh_ins[0], note=text)
    lot = replace(delivery.lot, weigh_ins=(note,))
    replace(delivery.varied(colour=text), lot=lot).entered_in(ledger)
    ledger.export(out)
    assert table(out, "weigh_in")[0]["note"] == f"'{text}"
    assert table(out, "lot")[0]["colour"] == f"'{text.strip()}"
    assert ledger.find("K-0412")[0].colour == text.strip()  # in the ledger it is as given


@pytest.mark.parametrize("text", ["PLA", "", "1.75", "a=b", "K-0412", "'quoted'", "'", "μm"])
def test_harmless_text_stays_as_it_is(text):
    assert export.neutral(text) == text


def test_negative_numbers_stay_numbers(ledger, delivery, out):
    document = json.loads(json.dumps(delivery.document))
    document["spools"][0]["flow"]["error_pct"] = -0.25
    replace(delivery, document=document).entered_in(ledger)
    ledger.export(out)
    assert table(out, "spool_result")[0]["flow_error_pct"] == "-0.25"


@given(st.text(alphabet="'=+-@\t\r\n ab", max_size=6))
def test_taking_the_apostrophe_away_gives_back_the_text(text):
    shown = export.neutral(text)
    taken = shown[1:] if export.FORMULA.match(shown) else shown
    assert taken == text
    assert shown[:1] not in tuple("=+-@\t\r\n")


@pytest.mark.parametrize(
    "name", ["../../evil.csv", "/etc/passwd", "..", "C:\\x\\y.csv", "a\nb", "CON", "x" * 300, ""]
)
def test_a_file_name_never_leads_out_of_the_folder(ledger, delivery, out, name):
    lot = replace(delivery.lot, files=(source(name, b"1"),))
    replace(delivery, lot=lot).entered_in(ledger)
    written = ledger.export(out)
    assert all(path.resolve().is_relative_to(out.resolve()) for path in written)
    assert (out / table(out, "source_file")[0]["stored_as"]).read_bytes() == b"1"


def test_a_folder_with_something_in_it_is_left_alone(ledger, out):
    out.mkdir()
    ledger.export(out)  # an empty one will do
    with pytest.raises(LedgerError) as caught:
        ledger.export(out)
    assert str(caught.value) == f"export {out} is not an empty folder: choose a new one"


def test_a_folder_that_cannot_be_made(ledger, tmp_path):
    (tmp_path / "file").write_text("in the way")
    folder = tmp_path / "file" / "out"
    with pytest.raises(LedgerError) as caught:
        ledger.export(folder)
    assert str(caught.value) == (
        f"export {folder} cannot be written (file exists): choose another folder or make room"
    )


def test_an_export_that_fails_halfway_leaves_nothing(ledger, delivery, out, monkeypatch):
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    delivery.entered_in(ledger)
    monkeypatch.setattr(export, "_raw_files", full)
    with pytest.raises(LedgerError) as caught:
        ledger.export(out)
    assert str(caught.value) == (
        f"export {out} cannot be written (no space left on device): "
        "choose another folder or make room"
    )
    assert [path.name for path in out.parent.iterdir() if "out" in path.name] == []
