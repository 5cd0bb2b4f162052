"""Files that people really hand in: each gets its message, told once, whole, with what to do.

What cannot be used at all ends with exit status 2 and leaves nothing behind; what can be used in
part is a problem in the document, and every row is accounted for.
"""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.lots import SHEET, put_lot, readings, sheet_with
from tests.cli.terminal import command

HEADER = "spool,position_m,direction_deg,diameter_mm\n"


def refused(bench: Path, *arguments: object) -> str:
    """The message of an ``inspect`` that ends with 2; nothing may have been written."""
    before = sorted(bench.rglob("*"))
    answer = command("inspect", *arguments)
    assert (answer.code, answer.out) == (2, "")
    assert sorted(bench.rglob("*")) == before
    return answer.err


def judged(*arguments: object) -> dict[str, Any]:
    """The document of an ``inspect`` that could be done."""
    answer = command("inspect", *arguments, "--json", "--no-ledger", "--no-report")
    assert (answer.code, answer.err) == (0, "")
    document: dict[str, Any] = json.loads(answer.out)
    for file in document["files"]:
        assert file["rows_read"] == file["rows_used"] + file["rows_reported"]
    return document


def problems(document: dict[str, Any]) -> list[str]:
    return [f"{p['file']}:{p['line']}: {p['message']}" for p in document["problems"]]


UNUSABLE = {
    "missing columns": (
        "spool,position_m\n1,2\n",
        "lotqa: readings.csv:1: the column diameter_mm is missing, the header has spool, "
        "position_m: add it to the header\n",
    ),
    "empty file": (
        "",
        "lotqa: readings.csv: the file is empty: write a header line and the rows under it\n",
    ),
    "a header only": (
        HEADER,
        "lotqa: readings.csv:1: a header and no rows: write the readings under it\n",
    ),
    "a picture": (
        b"\x89PNG\r\n\x1a\n" + b"\x00\x01\x02" * 100,
        "lotqa: readings.csv: not a text file: save the table as CSV in UTF-8\n",
    ),
    "inch values without a unit": (
        HEADER + "".join(f"1,{i},0,0.069\n" for i in range(1, 6)),
        "lotqa: readings.csv:2: diameter_mm is 0.069, nearly all readings are like it: these look "
        "like inches (0.069 in is 1.75 mm): give --unit in, or name the column diameter_in\n",
    ),
}


@pytest.mark.parametrize(("content", "message"), UNUSABLE.values(), ids=UNUSABLE)
def test_unusable_readings(bench: Path, content: str | bytes, message: str) -> None:
    put_lot(bench / "lot", readings=content)
    assert refused(bench, "lot") == message


def test_a_slip_of_the_finger_is_reported_with_its_value_and_left_out(bench: Path) -> None:
    put_lot(bench / "lot", readings=readings() + "1,11,0,1.7S\n2,11,0,17.5\n")
    document = judged("lot")
    assert problems(document) == [
        'readings.csv:42: diameter_mm is "1.7S": write a number such as 1.75',
        "readings.csv:43: diameter_mm is 17.5, outside 0.5 to 5 mm: a slip for 1.75?",
    ]
    rows = document["files"][-1]
    assert (rows["rows_read"], rows["rows_used"], rows["rows_reported"]) == (42, 40, 2)


def test_every_problem_is_told_when_nothing_is_left(bench: Path) -> None:
    put_lot(bench / "lot", readings=HEADER + "".join(f"1,{i},0,x{i}\n" for i in range(1, 31)))
    lines = refused(bench, "lot").splitlines()
    assert lines[0] == (
        "lotqa: readings.csv:2: none of the 30 rows can be used: "
        'diameter_mm is "x1": write a number such as 1.75'
    )
    assert lines[1] == '  readings.csv:2: diameter_mm is "x1": write a number such as 1.75'
    assert lines[20] == '  readings.csv:21: diameter_mm is "x20": write a number such as 1.75'
    assert lines[21:] == ["  and 10 more like these"]


def test_a_weigh_in_of_a_spool_without_readings(bench: Path) -> None:
    put_lot(bench / "lot", weighings="spool,kind,mass_g\n1,gross,1190\n9,gross,1200\n")
    document = judged("lot")
    assert problems(document) == [
        'weighings.csv:3: no readings for spool "9": the row is kept, the spool has none'
    ]
    assert [s["spool"] for s in document["spools"]] == ["1", "2", "9"]


def test_a_reading_typed_twice(bench: Path) -> None:
    put_lot(bench / "lot", readings=readings() + "1,3,0,1.75\n")
    document = judged("lot")
    assert problems(document) == [
        "readings.csv:42: this place and direction was read before: kept as trial 2; say so in a "
        "column trial, or correct position_m and direction_deg"
    ]
    assert document["spools"][0]["diameter"]["readings"] == 21


def test_one_place_only(bench: Path) -> None:
    put_lot(bench / "lot", readings=readings(places=1))
    spool = judged("lot")["spools"][0]
    assert spool["diameter"]["places"] == 1
    assert spool["standing"] == "provisional"
    assert spool["diameter"]["sd_mm"] is None
    assert spool["diameter"]["cpk"] is None
    texts = [r["text"] for r in spool["reasons"]]
    assert "1 place was read, at least 10 asked: read 9 more." in texts
    for text in texts:
        assert "unknown" not in text.replace("interval unknown", "")


def test_one_direction_only(bench: Path) -> None:
    put_lot(bench / "lot", readings=readings(directions=(0,)))
    spool = judged("lot")["spools"][0]
    assert spool["ovality"] is None
    reason = next(r for r in spool["reasons"] if r["check"] == "ovality.mean")
    assert reason["outcome"] == "not_checked"


def test_all_readings_equal(bench: Path) -> None:
    rows = "".join(f"1,{i},{d},1.75\n" for i in range(1, 11) for d in (0, 90))
    put_lot(bench / "lot", readings=HEADER + rows)
    diameter = judged("lot")["spools"][0]["diameter"]
    assert diameter["sd_observed_mm"] == 0
    assert diameter["sd_mm"] is None
    assert diameter["sd_resolved"] is False
    assert diameter["cp"] is None
    assert diameter["cpk"] is None
    # A rounded reading hides a spread up to about its step: the interval must not close on zero.
    assert diameter["sd_ci95_mm"][1] > 0
    out = command("inspect", "lot", "--no-ledger", "--no-report").out
    assert "nan" not in out.casefold()
    assert "inf" not in out.casefold().replace("info", "")


def test_a_lot_with_one_spool(bench: Path) -> None:
    put_lot(bench / "lot", sheet_with(spools_received="1"), readings=readings(spools=("1",)))
    lot = judged("lot")["lot"]
    assert (lot["spools_inspected"], lot["spools_received"]) == (1, 1)
    assert lot["between_spool_sd_mm"] is None
    assert lot["verdict"] == "accept"


def test_mixed_nominal_diameters(bench: Path) -> None:
    thick = "".join(f"3,{i},0,2.85\n" for i in range(1, 6))
    put_lot(bench / "lot", readings=readings() + thick)
    document = judged("lot")
    assert problems(document) == [
        f'readings.csv:{line}: spool "3" reads about 2.85 mm and the lot is 1.75 mm: inspect it '
        "as a lot of its own"
        for line in range(42, 47)
    ]
    assert [s["spool"] for s in document["spools"]] == ["1", "2"]


@pytest.mark.parametrize("value", ['"2026-02-30"', "2026-02-30"])
def test_a_day_that_does_not_exist(bench: Path, value: str) -> None:
    put_lot(bench / "lot", sheet_with(received=value))
    document = judged("lot")
    assert problems(document) == [
        'lot.toml:6: received is "2026-02-30", a day that does not exist: correct the date'
    ]
    assert document["lot"]["received"] is None
    assert document["lot"]["claim_until"] is None


def test_nothing_at_that_place(bench: Path) -> None:
    put_lot(bench / "lot_march")
    assert refused(bench, "lot_mrach") == (
        "lotqa: lot_mrach: there is no such file or folder: did you mean lot_march?\n"
    )


def test_a_folder_where_the_readings_should_be(bench: Path) -> None:
    put_lot(bench / "lot")
    (bench / "lot" / "readings.csv").unlink()
    (bench / "lot" / "readings.csv").mkdir()
    assert refused(bench, "lot") == (
        "lotqa: lot: there is no readings.csv: put the diameters into it\n"
    )


def test_a_file_that_may_not_be_read(bench: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The refusal of the system is feigned, since an administrator may read everything."""
    put_lot(bench / "lot")

    def refuse(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "read_bytes", refuse)
    assert refused(bench, "lot/readings.csv") == (
        "lotqa: lot/readings.csv: the file cannot be read (permission denied): "
        "check its permissions\n"
    )


@pytest.mark.parametrize(
    ("folder", "reason"),
    [("taken", "not a directory"), ("taken/deeper", "not a directory")],
)
def test_pages_into_a_folder_that_cannot_be(bench: Path, folder: str, reason: str) -> None:
    put_lot(bench / "lot")
    (bench / "taken").write_text("a file", encoding="utf-8")
    assert refused(bench, "lot", "--report", folder) == (
        f"lotqa: {folder}: pages cannot be written there ({reason}): choose a folder that you may "
        "write to with --report\n"
    )


def test_a_read_only_folder(bench: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The refusal of the system is feigned, since an administrator may write everywhere."""
    put_lot(bench / "lot")

    def refuse(path: Path, *_: object, **__: object) -> None:
        raise OSError(30, "Read-only file system", str(path))

    monkeypatch.setattr(Path, "mkdir", refuse)
    assert refused(bench, "lot") == (
        "lotqa: reports: pages cannot be written there (read-only file system): choose a folder "
        "that you may write to with --report\n"
    )


def test_a_refused_lot_leaves_no_folder_for_pages(bench: Path) -> None:
    put_lot(bench / "lot", readings="")
    refused(bench, "lot", "--report", "new/folder")


def test_a_ledger_that_fails_leaves_no_folder_for_pages(bench: Path) -> None:
    put_lot(bench / "lot")
    (bench / "notes.txt").write_text("shopping list: filament, glue", encoding="utf-8")
    assert refused(bench, "lot", "--ledger", "notes.txt") == (
        "lotqa: ledger notes.txt is not a ledger: name another file; nothing was changed\n"
    )


CRITERIA = {
    "unknown key": (
        "[spread]\ncp_mim = 1.5\n",
        "lotqa: c.toml: spread.cp_mim is not known: did you mean spread.cp_min?\n",
    ),
    "text for a number": (
        '[spread]\ncp_min = "high"\n',
        "lotqa: c.toml: spread.cp_min is 'high': write a number from 0 to 10\n",
    ),
    "a limit that makes no sense": (
        "[spread]\ncp_min = -1\n",
        "lotqa: c.toml: spread.cp_min is -1: write a number from 0 to 10\n",
    ),
}


@pytest.mark.parametrize(("content", "message"), CRITERIA.values(), ids=CRITERIA)
def test_criteria_that_cannot_be_applied(bench: Path, content: str, message: str) -> None:
    put_lot(bench / "lot")
    (bench / "c.toml").write_text(content, encoding="utf-8")
    assert refused(bench, "lot", "--criteria", "c.toml") == message


def test_criteria_that_are_no_toml(bench: Path) -> None:
    put_lot(bench / "lot")
    (bench / "c.toml").write_text("[spread]\ncp_min = = 2\n", encoding="utf-8")
    said = refused(bench, "lot", "--criteria", "c.toml")
    assert said == (
        "lotqa: c.toml:2: this line is not TOML: write key = value, text in double quotes\n"
    )


@pytest.mark.parametrize("option", ["--criteria", "--materials"])
def test_a_criteria_or_materials_file_that_is_not_there(bench: Path, option: str) -> None:
    put_lot(bench / "lot")
    assert refused(bench, "lot", option, "none.toml").casefold() == (
        "lotqa: none.toml: cannot be read (no such file or directory): give a toml file\n"
    )


def test_a_lot_sheet_that_is_no_toml_does_not_stop_the_readings(bench: Path) -> None:
    put_lot(bench / "lot", SHEET.replace('lot = "K1"', "lot = K1"))
    document = judged("lot")
    [problem] = document["problems"]
    assert (problem["file"], problem["line"]) == ("lot.toml", 5)
    assert len(document["spools"]) == 2
