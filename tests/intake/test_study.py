"""The file of a gauge study: forms it is read in, and what is said of each slip."""

from io import BytesIO

import numpy as np
import openpyxl
import pytest

from lotqa.errors import UnusableInput
from lotqa.intake.pin_file import read_pin_file
from lotqa.intake.study import read_study, study_of
from lotqa.intake.study_cells import ONE_HAND, StudyTable

LONG = "place,operator,trial,diameter_mm\n"
FULL = (
    LONG + "1,east,1,1.75\n1,east,2,1.76\n2,east,1,1.70\n2,east,2,1.71\n"
    "1,west,1,1.74\n1,west,2,1.74\n2,west,1,1.69\n2,west,2,1.68\n"
)
CUBE = [[[1.75, 1.76], [1.74, 1.74]], [[1.70, 1.71], [1.69, 1.68]]]


def study(text: str, name: str = "study.csv") -> StudyTable:
    return study_of(name, text.encode())


def refused(text: str) -> tuple[str, list[str]]:
    """The refusal, and the problems that come with it as 'line: message'."""
    with pytest.raises(UnusableInput) as caught:
        study(text)
    return str(caught.value), [f"{p.line}: {p.message}" for p in caught.value.problems]


def cube(table: StudyTable) -> list:
    shape = (len(table.places), len(table.operators), table.n_trials)
    return table.value_mm.reshape(shape).tolist()


@pytest.mark.parametrize(
    "text",
    [
        FULL,
        FULL.replace(",", ";").replace("1.7", "1,7").replace("1.6", "1,6"),
        "Part\tWho\tRepeat\tDiameter (mm)\n" + FULL[len(LONG) :].replace(",", "\t"),
        "place,trial,east_mm,west_mm\n1,1,1.75,1.74\n1,2,1.76,1.74\n2,1,1.70,1.69\n2,2,1.71,1.68\n",
        "place,east_1_mm,east_2_mm,west_1_mm,west_2_mm\n1,1.75,1.76,1.74,1.74\n2,1.70,1.71,1.69,1.68\n",
        "place;trial;east mm;west (mm)\n1;1;1,75 mm;1,74\n1;2;1,76;1,74\n2;1;+001,70;1,69\n"
        "2;2;1,71;1,68\n",
        "\ufeff" + FULL,
    ],
    ids=["long", "semicolon", "tab and other names", "wide", "wide by trial", "units", "mark"],
)
def test_every_form_is_read_the_same(text):
    table = study(text)
    assert cube(table) == CUBE
    assert table.places == ("1", "2")
    assert table.operators == ("east", "west")
    assert table.problems == ()
    assert table.file.rows_read == table.file.rows_used


def test_a_workbook_is_read_and_names_stay_text():
    book = openpyxl.Workbook()
    for row in (["place", "operator", "diameter_mm"], ["007", "east", 1.75], ["007", "east", 1.76],
                ["7", "east", 1.70], ["7", "east", 1.71]):  # fmt: skip
        book.active.append(row)
    content = BytesIO()
    book.save(content)
    table = study_of("study.xlsx", content.getvalue())
    assert table.places == ("007", "7")
    assert table.value_mm.tolist() == [1.75, 1.76, 1.70, 1.71]


def test_inches_by_the_header():
    table = study("place,diameter_in\n1,0.0689\n1,0.0690\n2,0.0685\n2,0.0685\n")
    assert table.value_mm == pytest.approx(np.array([0.0689, 0.0690, 0.0685, 0.0685]) * 25.4)


def test_one_hand_that_nobody_named_and_trials_in_the_order_typed():
    table = study("position_m,diameter_mm\n0.5,1.75\n2,1.70\n0.50,1.76\n2.0,1.71\n")
    assert table.operators == (ONE_HAND,)
    assert table.places == ("0.5 m", "2 m")
    assert cube(table) == [[[1.75, 1.76]], [[1.70, 1.71]]]


def test_two_directions_of_a_position_are_two_places():
    text = "spool,position_m,direction_deg,trial,diameter_mm\n"
    text += "A,1,0,1,1.75\nA,1,0,2,1.75\nA,1,90,1,1.71\nA,1,90,2,1.71\n"
    assert study(text).places == ("spool A, 1 m, 0 deg", "spool A, 1 m, 90 deg")


def test_the_instrument_is_known_whatever_its_case():
    text = "place,instrument,diameter_mm\n1,Bench 1,1.75\n1,bench  1,1.75\n2,Bench 1,1.7\n2,,1.7\n"
    assert study(text).instrument == "Bench 1"


def test_mixed_instruments_are_refused():
    text = "place,instrument,diameter_mm\n1,Bench 1,1.75\n1,Bench 2,1.75\n2,Bench 1,1.7\n"
    assert refused(text)[0] == (
        "study.csv: readings of Bench 1 and Bench 2 are mixed: a study is of one instrument, "
        "part them into a file each"
    )


def test_every_missing_cell_is_named():
    text = FULL.replace("2,west,2,1.68\n", "").replace("1,east,1,1.75\n", "")
    assert refused(text)[0] == (
        "study.csv: missing: trial 1 of place 1 by east, trial 2 of place 2 by west: read it, or "
        "take the place out for everybody"
    )


def test_a_study_broken_off_names_the_first_and_counts_the_rest():
    rows = [f"{p},{t},1.75" for p in range(1, 41) for t in (1, 2) if t == 1 or p <= 20]
    message, _ = refused("place,trial,diameter_mm\n" + "\n".join(rows))
    assert message.startswith("study.csv: missing: trial 2 of place 21, trial 2 of place 22,")
    assert " and 8 more: read it" in message


def test_an_extra_trial_is_named_and_not_everything_that_lacks_it():
    assert refused(FULL + "2,west,3,1.68\n")[0] == (
        "study.csv: only there: trial 3 of place 2 by west: take it out, or read it everywhere"
    )


def test_an_operator_who_read_one_place_only_is_missing_at_the_other():
    message, _ = refused(FULL.replace("2,west,1,1.69\n2,west,2,1.68\n", ""))
    assert "missing: trial 1 of place 2 by west, trial 2 of place 2 by west" in message


def test_a_trial_that_stands_twice():
    message, problems = refused(FULL.replace("1,east,2,1.76", "1,east,1,1.76"))
    assert message.startswith("study.csv: missing: trial 2 of place 1 by east")
    assert problems == ["3: trial 1 of place 1 by east stands in line 2 already: number it anew"]
    message, problems = refused(FULL + "1,east,2,1.77\n")
    assert message == "study.csv: a trial stands twice: see the problems listed"
    assert problems == ["10: trial 2 of place 1 by east stands in line 3 already: number it anew"]


@pytest.mark.parametrize(
    ("row", "problem"),
    [
        ("1,east,2,1.7S", 'diameter_mm is "1.7S": write a number such as 1.75'),
        ("1,east,2,17.6", "diameter_mm is 17.6, outside 0.5 to 5 mm: a slip for 1.76?"),
        ("1,east,2,", "diameter_mm is empty: write a number such as 1.75"),
        ("1,east,2.5,1.76", 'trial is "2.5": count trials 1, 2, 3'),
        ("1,east,,1.76", "trial is empty: write a number such as 2"),
        ("1,,2,1.76", "operator is empty: write who read, in every row"),
        (",east,2,1.76", "place is empty: write the place in every row"),
    ],
)
def test_a_row_that_cannot_be_used_is_told_and_then_missed(row, problem):
    message, problems = refused(FULL.replace("1,east,2,1.76", row))
    assert problems == [f"3: {problem}"]
    assert "trial 2 of place 1 by east" in message


def test_a_bad_cell_of_a_wide_table_costs_only_itself():
    text = "place,trial,east_mm,west_mm\n1,1,1.75,x\n1,2,1.76,1.74\n2,1,1.70,1.69\n2,2,1.71,0.175\n"
    text += "3,1,1.73,1.72\n3,2,1.73,1.72\n4,1,,\n4,2,1.73,1.73\n"
    message, problems = refused(text)
    assert problems == [
        '2: west_mm is "x": write a number such as 1.75',
        "5: west_mm is 0.175, outside 0.5 to 5 mm: a slip for 1.75?",
        "8: no reading stands in the row: write the diameter under east_mm",
    ]
    assert message == (
        "study.csv: missing: trial 1 of place 1 by west, trial 1 of place 4 by east, trial 1 of "
        "place 4 by west, trial 2 of place 2 by west: read it, or take the place out for everybody"
    )


def test_a_wide_row_without_any_reading_is_told():
    _, problems = refused("place,note,east_mm\n1,,1.75\n1,,1.76\n2,later,\n2,,1.70\n")
    assert problems == ["4: no reading stands in the row: write the diameter under east_mm"]


def test_a_place_that_fell_out_whole_is_reported_and_the_rest_used():
    table = study(FULL + "3,east,1,x\n3,east,2,x\n3,west,1,x\n3,west,2,x\n")
    assert cube(table) == CUBE
    assert len(table.problems) == 4
    assert (table.file.rows_read, table.file.rows_used, table.file.rows_reported) == (12, 8, 4)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "operator,trial,diameter_mm\nada,1,1.75\n",
            "study.csv: there is no column place or position_m, so nobody can tell which readings "
            "are of the same place: add a column place (1, 2, 3)",
        ),
        (
            "place,d0_mm,d90_mm\n1,1.75,1.74\n",
            "study.csv: d0_mm and d90_mm are directions and no hands: write one reading a row, "
            "with columns place, direction_deg, operator, trial, diameter_mm",
        ),
        (
            "place,east\n1,1.75\n",
            "study.csv: the column diameter_mm is missing, the header has place, east: add it to "
            "the header, or name a column for each hand, such as east_mm",
        ),
        (LONG, "study.csv: a header and no rows: write the readings under it"),
        ("", "study.csv: the file is empty: write a header line and the rows under it"),
        (LONG + "1,east,1,x\n", "study.csv: none of the rows can be used"),
    ],
)
def test_a_table_that_is_no_study_says_what_it_needs(text, message):
    assert refused(text)[0] == message


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(UnusableInput) as caught:
        read_study(tmp_path / "none.csv")
    assert str(caught.value) == (
        f"{tmp_path / 'none.csv'}: there is no such file: give a table of readings"
    )
    with pytest.raises(UnusableInput, match="cannot be read"):
        read_study(tmp_path)


# Pin checks alone.

PINS = "instrument,when,reference_mm,reading_mm\nBench 1,before,1.75,1.76\n"


def test_pin_checks_are_read_from_their_file_or_a_folder_without_readings(tmp_path):
    (tmp_path / "pin_checks.csv").write_text(PINS + "Bench 1,after,1.75,3.00\n")
    (tmp_path / "lot.toml").write_text('[[instrument]]\nkind = "micrometer"\nname = "Bench 1"\n')
    for path in (tmp_path, tmp_path / "pin_checks.csv"):
        found = read_pin_file(path)
        assert [c.reading_mm for c in found.checks] == [1.76]
        assert [p.message for p in found.problems] == [
            "reading_mm is 3.00 on a pin of 1.75 mm, more than 0.2 mm off: another pin? "
            "Read it again"
        ]
        assert found.rows_read == 2
    assert read_pin_file(tmp_path).sheet.instruments[0].kind == "micrometer"


def test_no_pin_reading_that_can_be_used(tmp_path):
    path = tmp_path / "pin_checks.csv"
    path.write_text(PINS.replace("before", "during"))
    with pytest.raises(UnusableInput) as caught:
        read_pin_file(path)
    assert str(caught.value) == (
        f"{path}: no pin reading can be used: write instrument, when (before or after), "
        "reference_mm and reading_mm into pin_checks.csv"
    )
    assert [p.line for p in caught.value.problems] == [2]
