"""Findings and the catalogue: a blank class, a class of one's own, and what nobody knows."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lotqa.findings import read_catalogue
from lotqa.intake import ReadOptions
from lotqa.model import FINDING_CLASSES
from tests.intake.reading import assert_rows_add_up, lot_of, told

READINGS = "spool,diameter_mm\nA,1.75\n"
FIND = "spool,finding,class\n"
SAMPLES = Path(__file__).resolve().parents[2] / "sample_measurements"
OWN = """
[[finding]]
name = "dust"
class = "major"

[[finding]]
name = "glitter sheds"
also = ["Glitzer"]
class = "minor"
look_for = "Rub it."
effect = "It clogs."
photograph = "The cloth."
"""


def graded(lot):
    return [(f.finding, f.grade) for f in lot.findings]


def test_a_blank_class_is_taken_from_the_catalogue():
    lot = lot_of(READINGS, findings=FIND + "A,Lumps,\nA,loose coil\nA, metal chip , \n")
    assert told(lot) == []
    assert graded(lot) == [
        ("Lumps", "major"), ("loose coil", "minor"), ("metal chip", "critical"),
    ]  # fmt: skip
    assert_rows_add_up(lot)


def test_without_a_column_for_the_class_the_table_is_still_refused():
    # A header with a slip in it must not silently hand every class to the catalogue.
    lot = lot_of(READINGS, findings="spool,finding,clas\nA,dust,critical\n")
    assert lot.findings == ()
    assert "write class for clas?" in told(lot)[-1]


@pytest.mark.parametrize(("row", "message"), [
    ("A,splcie,", 'class is empty, and "splcie" is not in the catalogue: did you mean splice? '
     "Else write critical, major or minor"),
    ("A,colour is off,", 'class is empty, and "colour is off" is not in the catalogue: '
     "did you mean colour shift or wrong colour? Else write critical, major or minor"),
    ("A,melon,", 'class is empty, and "melon" is not in the catalogue: '
     "write critical, major or minor"),
    ("A,melon,bad", 'class is "bad": write critical, major or minor'),
    ("A,lump,bad", 'class is "bad": write critical, major or minor'),
])  # fmt: skip
def test_a_finding_whose_class_nobody_knows_is_not_used(row, message):
    lot = lot_of(READINGS, findings=f"{FIND}{row}\nA,dust,minor\n")
    assert told(lot) == [f"findings.csv:2: {message} [x]"]
    assert graded(lot) == [("dust", "minor")]
    assert_rows_add_up(lot)


def test_a_row_without_finding_and_class_lacks_both():
    lot = lot_of(READINGS, findings=FIND + "A,,\n")
    assert told(lot) == [
        "findings.csv:2: finding is empty: write what was seen, such as lump [x]",
        "findings.csv:2: class is empty: write critical, major or minor [x]",
    ]
    assert_rows_add_up(lot)


def test_an_unknown_finding_with_its_class_is_used_without_a_word():
    lot = lot_of(READINGS, findings=FIND + "A,melon,minor\n")
    assert told(lot) == []
    assert graded(lot) == [("melon", "minor")]


def test_a_class_against_the_catalogue_counts_and_is_told():
    lot = lot_of(READINGS, findings="spool,finding,severity\nA,tangles,Minor\nA,lump,major\n")
    assert told(lot) == [
        'findings.csv:2: severity is "Minor", but crossed winding is major in the catalogue: minor '
        "counts; if that is meant for every lot, write it as a [[finding]] into your criteria file"
    ]
    assert graded(lot) == [("tangles", "minor"), ("lump", "major")]
    assert_rows_add_up(lot)


def test_the_users_own_catalogue_decides_where_it_is_given():
    options = ReadOptions(catalogue=read_catalogue(OWN))
    table = FIND + "A,dust,\nA,glitzer,\nA,dust,minor\n"
    lot = lot_of(READINGS, options=options, findings=table)
    assert graded(lot) == [("dust", "major"), ("glitzer", "minor"), ("dust", "minor")]
    assert [line.split(" counts")[0] for line in told(lot)] == [
        'findings.csv:4: class is "minor", but dust is major in the catalogue: minor'
    ]
    shipped = lot_of(READINGS, findings=table)
    assert graded(shipped) == [("dust", "minor"), ("dust", "minor")]
    assert [line[:15] for line in told(shipped)] == ["findings.csv:3:"]


@pytest.mark.parametrize(
    "path", sorted(SAMPLES.glob("*/findings.csv")), ids=lambda p: p.parent.name
)
def test_the_sample_findings_agree_with_the_catalogue(path):
    names = {line.split(",")[0] for line in path.read_text("utf-8").splitlines()[1:]}
    readings = "spool,diameter_mm\n" + "".join(f"{name},1.75\n" for name in names)
    lot = lot_of(readings, findings=path.read_bytes())
    assert told(lot) == []
    assert len(lot.findings) > 0


NAMES = [n for e in read_catalogue().entries for n in (e.name, *e.also)]


@settings(deadline=None)
@given(st.lists(st.tuples(
    st.sampled_from(["A", "A", ""]),
    st.one_of(st.sampled_from(NAMES), st.sampled_from(["", "melon", "windig"])),
    st.sampled_from(["", "", "Minor", "major", "critical", "majr"]),
), max_size=12))  # fmt: skip
def test_rows_add_up_and_a_class_is_either_typed_or_the_catalogues(rows):
    table = FIND + "".join(f"{','.join(row)},\n" for row in rows)
    lot = lot_of(READINGS, findings=table.replace(",\n", "\n"))
    assert_rows_add_up(lot)
    shipped = read_catalogue()
    for f in lot.findings:
        _, what, typed = rows[f.line - 2]
        known = shipped.find(what)
        assert f.grade == (typed.casefold() or (known and known.grade))
        assert f.grade in FINDING_CLASSES
        noted = [p for p in lot.problems if p.line == f.line]
        assert all(p.row_used for p in noted)
        assert len(noted) == (known is not None and known.grade != f.grade)
