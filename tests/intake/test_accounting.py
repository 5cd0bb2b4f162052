"""Rows read = rows used + rows reported, for any rubbish whatever, and never a traceback."""

from hypothesis import given, settings
from hypothesis import strategies as st

from lotqa.errors import UnusableInput
from tests.intake.reading import assert_rows_add_up, lot_of

CELL = st.one_of(
    st.sampled_from(
        [
            "A",
            "B",
            "7",
            "0",
            "0.31",
            "90",
            "1.75",
            "1,75",
            "1.74 mm",
            "17.5",
            "2.85",
            "0.0689",
            "",
            "gross",
            "tare",
            "cut",
            "critical",
            "minr",
            "before",
            "pin",
            "1193",
            "1.193",
            "2",
            "-3",
        ]
    ),
    st.text(max_size=5),
)
HEADERS = {
    "readings": [
        "spool,position_m,direction_deg,diameter_mm",
        "spool;diameter_mm;operator;trial",
        "spool,d0_mm,d60_mm,d120_mm",
        "diameter_in",
        "position_m,diameter_mm,dia",
    ],
    "weighings": ["spool,kind,mass_g,length_m,hours,temperature_c,scale_step_g,note"],
    "findings": ["spool,finding,class,count,position_m,note"],
    "pin_checks": ["instrument,when,reference_mm,reading_mm"],
}
GOOD = {
    "readings": "spool,diameter_mm\nA,1.75\n",
    "weighings": "spool,kind,mass_g\nA,gross,1193\n",
    "findings": "spool,finding,class\nA,lump,major\n",
    "pin_checks": "instrument,when,reference_mm,reading_mm\ncalliper,before,1.75,1.76\n",
}


def table(header):
    separator = ";" if ";" in header else ","
    row = st.lists(CELL, max_size=9).map(separator.join)
    return st.lists(row, max_size=15).map(lambda rows: "\n".join([header, *rows]))


@settings(deadline=None)
@given(
    st.sampled_from([(role, header) for role in HEADERS for header in HEADERS[role]]).flatmap(
        lambda pair: st.tuples(st.just(pair[0]), table(pair[1]))
    )
)
def test_rows_add_up_for_any_table(case):
    role, text = case
    files = {**GOOD, role: text}
    try:
        lot = lot_of(**files)
    except UnusableInput as refusal:
        told_where = role == "readings" and str(refusal).startswith("readings.csv")
        if not told_where:
            raise
        return
    assert_rows_add_up(lot)
    file = next(f for f in lot.files if f.name == f"{role}.csv")
    used = {
        "readings": {int(line) for line in lot.readings.line},
        "weighings": {w.line for w in lot.weigh_ins},
        "findings": {f.line for f in lot.findings},
        "pin_checks": {p.line for p in lot.pin_checks},
    }[role]
    assert len(used) == file.rows_used
    lost = {p.line for p in lot.problems if p.file == file.name and not p.row_used}
    assert not used & lost


@settings(deadline=None)
@given(st.binary(max_size=80), st.sampled_from(["readings.csv", "x.txt", "readings.xlsx"]))
def test_no_bytes_make_it_stumble(content, name):
    try:
        assert_rows_add_up(lot_of(content, name=name))
    except UnusableInput as refusal:
        if not str(refusal).startswith(name):
            raise


@settings(deadline=None)
@given(st.text(max_size=200))
def test_no_lot_sheet_makes_it_stumble(text):
    lot = lot_of(GOOD["readings"], sheet=text)
    assert len(lot.readings) == 1
    assert all(p.file == "lot.toml" for p in lot.problems)
