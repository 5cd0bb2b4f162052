"""The JSON document of ``inspect`` on every sample lot, against the agreed list of keys."""

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from lotqa.samples import sample_lots
from tests.cli.contract import breaches, not_finite
from tests.cli.lots import put_lot, readings
from tests.cli.terminal import command

LOTS = sample_lots()


def only_document(text: str) -> dict[str, Any]:
    """The one JSON document that ``text`` is; fails on anything before or after it, and on NaN."""

    def refuse(name: str) -> None:
        raise AssertionError(f"{name} stands in the document")

    found = json.loads(text, parse_constant=refuse)
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize("folder", LOTS, ids=lambda folder: folder.name)
def test_every_sample_lot_keeps_the_contract(folder: Path) -> None:
    answer = command("inspect", folder, "--json", "--no-report", "--no-ledger")
    assert (answer.code, answer.err) == (0, "")
    document = only_document(answer.out)
    assert list(breaches(document)) == []
    for file in document["files"]:
        assert file["rows_read"] == file["rows_used"] + file["rows_reported"]


@pytest.mark.parametrize(
    "files",
    [
        {"readings": readings(places=1)},
        {"readings": "spool,diameter_mm\n1,1.75\n"},
        {"readings": "spool,diameter_mm\n1,1.75\n1,1.75\n"},
        {"readings": readings(directions=(0,))},
        {"readings": "diameter_mm\n" + "1.75\n" * 12},
    ],
    ids=["one place", "one reading", "two readings", "one direction", "no spread at all"],
)
def test_what_is_not_known_is_null_and_never_nan(bench: Path, files: dict[str, str]) -> None:
    put_lot(bench / "lot", **files)
    answer = command("inspect", "lot", "--json", "--no-report", "--no-ledger")
    assert (answer.code, answer.err) == (0, "")
    assert list(breaches(only_document(answer.out))) == []


def test_a_missing_key_is_caught() -> None:
    whole = only_document(command("inspect", LOTS[0], "--json", "--no-report", "--no-ledger").out)
    for path in (("lot", "within_spool_sd_mm"), ("spools", 0, "diameter", "cpk_ci95"), ("schema",)):
        document = copy.deepcopy(whole)
        block: Any = document
        for key in path[:-1]:
            block = block[key]
        del block[path[-1]]
        where = "".join(f"[{k}]" if isinstance(k, int) else f".{k}" for k in path)
        assert list(breaches(document)) == [f"document{where} is missing"]


def test_a_wrong_word_and_a_broken_interval_are_caught() -> None:
    document = only_document(
        command("inspect", LOTS[0], "--json", "--no-report", "--no-ledger").out
    )
    document["lot"]["verdict"] = "fine"
    document["spools"][0]["flow"]["error_ci95_pct"] = [0.1]
    assert list(breaches(document)) == [
        "document.lot.verdict is 'fine', not one of accept, tune, reject",
        "document.spools[0].flow.error_ci95_pct is [0.1], not two bounds",
    ]


def test_a_nan_is_caught() -> None:
    assert list(not_finite({"a": [1.0, float("nan")], "b": {"c": float("inf")}})) == [
        "document.a[1]",
        "document.b.c",
    ]
    with pytest.raises(AssertionError, match="NaN stands in the document"):
        only_document('{"a": NaN}')
