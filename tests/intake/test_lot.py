"""Folders and files on disk, and the same lot again from the bytes that were kept."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from lotqa.errors import UnusableInput
from lotqa.intake import read_lot, read_sources
from tests.intake.reading import told

READINGS = "spool,diameter_mm\nA,1.75\nA,1.7S\n"


def folder(path: Path, **files: str) -> Path:
    for name, content in files.items():
        (path / name.replace("__", ".")).write_text(content, encoding="utf-8")
    return path


def refusal(path: Path) -> str:
    with pytest.raises(UnusableInput) as caught:
        read_lot(path)
    return str(caught.value).replace(str(path), "PATH")


def test_a_folder_is_read_as_a_whole_and_other_files_are_ignored(tmp_path):
    folder(
        tmp_path,
        lot__toml='[lot]\nsupplier = "Brightwater Polymers"\n',
        readings__csv=READINGS,
        weighings__csv="spool,kind,mass_g\nA,gross,1193\n",
        findings__csv="spool,finding,class\nA,dust,minor\n",
        pin_checks__csv="instrument,when,reference_mm,reading_mm\nbench,before,1.75,1.76\n",
        criteria__toml="x = 1\n",
        photo__txt="not of the lot",
    )
    (tmp_path / "~$readings.xlsx").write_bytes(b"lock")
    (tmp_path / "pictures").mkdir()
    lot = read_lot(tmp_path)
    assert lot.sheet.supplier == "Brightwater Polymers"
    assert [f.name for f in lot.files] == [
        "findings.csv",
        "lot.toml",
        "pin_checks.csv",
        "readings.csv",
        "weighings.csv",
    ]
    assert (len(lot.weigh_ins), len(lot.findings), len(lot.pin_checks)) == (1, 1, 1)
    assert told(lot) == ['readings.csv:3: diameter_mm is "1.7S": write a number such as 1.75 [x]']


def test_what_the_ledger_kept_gives_the_same_lot(tmp_path):
    folder(tmp_path, lot__toml="[lot]\nlot = 7\n", readings__csv=READINGS, weighing__csv="x")
    first = read_lot(tmp_path)
    again = read_sources([(file.name, file.content) for file in first.files])
    assert again.files == first.files
    assert again.problems == first.problems
    assert again.sheet == first.sheet
    np.testing.assert_array_equal(again.readings.diameter_mm, first.readings.diameter_mm)


def test_hash_is_sha256_of_the_bytes(tmp_path):
    # FIPS 180-4 test vector "abc", NIST example values
    folder(tmp_path, readings__csv=READINGS, pins__csv="abc")
    hashes = {f.name: f.sha256 for f in read_lot(tmp_path).files}
    assert hashes["pins.csv"] == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )


def test_one_readings_file_is_enough(tmp_path):
    path = folder(tmp_path, roll7__csv=READINGS) / "roll7.csv"
    assert read_lot(path).readings.file == "roll7.csv"


@pytest.mark.parametrize(
    ("name", "message"),
    [
        (
            "weighing.csv",
            "weighing.csv: left out: did you mean weighings.csv? Rename it",
        ),
        (
            "pins.csv",
            "pins.csv: left out: did you mean pin_checks.csv? Rename it",
        ),
        (
            "lots.toml",
            "lots.toml: left out: did you mean lot.toml? Rename it",
        ),
        (
            "readings-2.csv",
            "readings-2.csv: left out: readings.csv is "
            "used: add the rows of this file to it if they belong to the lot",
        ),
    ],
)
def test_a_file_with_a_slip_in_its_name_is_told(tmp_path, name, message):
    folder(tmp_path, readings__csv="spool,diameter_mm\nA,1.75\n")
    (tmp_path / name).write_text("x")
    assert told(read_lot(tmp_path)) == [message]


@pytest.mark.parametrize(
    ("files", "message"),
    [
        ({}, "PATH: the folder is empty: put the diameters into readings.csv"),
        (
            {"notes__md": "x"},
            "PATH: there is no readings.csv: put the diameters into it",
        ),
        (
            {"lot__toml": "", "measured__csv": READINGS},
            "PATH: there is no readings.csv, but measured.csv: rename it to readings.csv",
        ),
        (
            {"measured__ods": "x"},
            "PATH: there is no readings.csv, but measured.ods: save it as readings.xlsx",
        ),
        (
            {"readings-2__csv": READINGS},
            "PATH: there is no readings.csv, but readings-2.csv: rename it to readings.csv",
        ),
        (
            {"lot__toml": "", "weighings__csv": "spool,kind,mass_g\n"},
            "PATH: there is no readings.csv: put the diameters into it",
        ),
    ],
)
def test_a_folder_without_readings_is_refused(tmp_path, files, message):
    assert refusal(folder(tmp_path, **files)) == message


def test_a_path_that_is_not_there_is_refused_with_the_nearest_name(tmp_path):
    folder(tmp_path, roll7__csv=READINGS)
    assert refusal(tmp_path / "rol7.csv") == (
        "PATH: there is no such file or folder: did you mean roll7.csv?"
    )
    assert refusal(tmp_path / "else" / "where") == (
        "PATH: there is no such file or folder: give a lot folder or a readings file"
    )


@pytest.mark.parametrize(
    ("name", "message"),
    [
        (
            "lot.toml",
            "lot.toml: this file holds no readings: give the folder that it lies in, or a "
            "readings file",
        ),
        (
            "weighings.csv",
            "weighings.csv: this file holds no readings: give the folder that it "
            "lies in, or a readings file",
        ),
        ("roll7.ods", "roll7.ods: this kind of file is not read: save it as .xlsx or CSV"),
    ],
)
def test_a_file_of_another_kind_is_refused(tmp_path, name, message):
    (tmp_path / name).write_text("x = 1\n")
    assert refusal(tmp_path / name) == message


@pytest.mark.parametrize("target", ["readings.csv", "."])
def test_what_may_not_be_read_is_refused(tmp_path, monkeypatch, target):
    """The refusal of the system is played, since the tests may run as a user who may read all."""
    folder(tmp_path, readings__csv=READINGS)
    denied = PermissionError(13, os.strerror(13))

    def deny(*_args):
        raise denied

    monkeypatch.setattr(Path, "read_bytes" if target == "readings.csv" else "iterdir", deny)
    kind = "file" if target == "readings.csv" else "folder"
    assert refusal(tmp_path).replace("PATH/readings.csv", "PATH") == (
        f"PATH: the {kind} cannot be read (permission denied): check its permissions"
    )


def test_a_small_lot_of_text_loads_neither_pandas_nor_openpyxl(tmp_path):
    folder(tmp_path, readings__csv=READINGS, lot__toml="", weighings__csv="spool,kind,mass_g\n")
    code = (
        "import sys; from pathlib import Path; from lotqa.intake import read_lot; "
        f"read_lot(Path({str(tmp_path)!r})); "
        "print([m for m in ('pandas', 'openpyxl', 'scipy', 'matplotlib') if m in sys.modules])"
    )
    run = [sys.executable, "-B", "-c", code]
    root = Path(__file__).parents[2]
    done = subprocess.run(run, capture_output=True, text=True, check=True, cwd=root)
    assert done.stdout.strip() == "[]"
    planted = [*run[:3], "import pandas; " + code]
    done = subprocess.run(planted, capture_output=True, text=True, check=True, cwd=root)
    assert "pandas" in done.stdout
