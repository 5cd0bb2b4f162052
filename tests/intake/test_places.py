"""Places, doubled rows and trials, each against a case small enough to check by hand."""

from tests.intake.reading import HEADER, assert_rows_add_up, lot_of, told


def test_without_positions_a_direction_that_comes_again_opens_the_next_place():
    lot = lot_of("spool,direction_deg,diameter_mm\nA,0,1.75\nA,90,1.74\nA,0,1.75\nA,90,1.74\n"
                 "B,90,1.75\nB,0,1.76\n")  # fmt: skip
    assert lot.readings.place.tolist() == [0, 0, 1, 1, 2, 2]
    assert lot.problems == ()


def test_trials_of_a_direction_do_not_open_a_place():
    lot = lot_of("spool,direction_deg,trial,diameter_mm\nA,0,1,1.75\nA,0,2,1.75\nA,90,1,1.74\n"
                 "A,90,2,1.74\nA,0,1,1.76\n")  # fmt: skip
    assert lot.readings.place.tolist() == [0, 0, 0, 0, 1]


def test_with_neither_each_reading_is_a_place():
    lot = lot_of("spool,diameter_mm\nA,1.75\nA,1.75\nA,1.75\n")
    assert lot.readings.place.tolist() == [0, 1, 2]
    assert lot.problems == ()


def test_a_wide_row_without_position_is_a_place_and_equal_rows_are_no_slip():
    lot = lot_of("spool,d0_mm,d90_mm\nA,1.75,1.75\nA,1.75,1.75\n")
    assert lot.readings.place.tolist() == [0, 0, 1, 1]
    assert lot.problems == ()


def test_a_position_met_again_later_is_the_same_place():
    lot = lot_of(HEADER + "A,0,0,1.75\nA,1,0,1.74\nA,0,90,1.76\nA,1.00,90,1.73\nB,0,0,1.75\n")
    assert lot.readings.line.tolist() == [2, 4, 3, 5, 6]
    assert lot.readings.place.tolist() == [0, 0, 1, 1, 2]


def test_rows_with_and_without_position_in_one_spool():
    lot = lot_of(HEADER + "A,0,0,1.75\nA,,0,1.74\nA,,90,1.76\nA,,0,1.73\nA,,,1.72\nA,0,90,1.71\n")
    assert lot.readings.line.tolist() == [2, 7, 3, 4, 5, 6]
    assert lot.readings.place.tolist() == [0, 0, 1, 1, 2, 3]


DOUBLED = (
    "readings.csv:3: the row says the same as the one before it, line 2: was Enter struck twice? "
    "If it is a reading of its own, number both in a column trial [x]"
)


def test_a_doubled_enter_is_reported_and_not_used():
    lot = lot_of(HEADER + "A,0,0,1.75\nA,0,0,1.75\nA,0,90,1.75\n")
    assert lot.readings.line.tolist() == [2, 4]
    assert told(lot) == [DOUBLED]
    assert_rows_add_up(lot)


def test_enter_struck_three_times_leaves_one_reading():
    lot = lot_of(HEADER + "A,0,0,1.75\nA,0,0,1.75\nA,0,0,1.75\n")
    assert lot.readings.line.tolist() == [2]
    assert_rows_add_up(lot)


def test_a_blank_line_between_does_not_hide_a_doubled_enter():
    lot = lot_of(HEADER + "A,0,0,1.75\n\nA,0,0,1.75\n")
    assert lot.readings.line.tolist() == [2]


def test_a_row_between_that_cannot_be_used_still_lies_between():
    lot = lot_of(HEADER + "A,0,0,1.75\nA,0,0,x\nA,0,0,1.75\n")
    assert lot.readings.line.tolist() == [2, 4]
    assert lot.readings.trial.tolist() == [1, 2]
    assert_rows_add_up(lot)


def test_a_row_between_makes_it_a_repeat():
    lot = lot_of(HEADER + "A,0,0,1.75\nA,0,90,1.74\nA,0,0,1.75\nA,0,90,1.73\n")
    assert lot.readings.trial.tolist() == [1, 1, 2, 2]
    assert told(lot) == [
        "readings.csv:4: this place and direction was read before: kept as trial 2, and 1 more; "
        "say so in a column trial, or correct position_m and direction_deg"
    ]


def test_another_value_at_once_is_trial_2_with_one_note():
    lot = lot_of(HEADER + "A,0,0,1.75\nA,0,0,1.76\n")
    assert lot.readings.trial.tolist() == [1, 2]
    assert told(lot) == [
        "readings.csv:3: this place and direction was read before: kept as trial 2; "
        "say so in a column trial, or correct position_m and direction_deg"
    ]


def test_typed_trials_are_never_taken_for_a_doubled_enter():
    lot = lot_of("spool,position_m,trial,diameter_mm\nA,0,1,1.75\nA,0,2,1.75\nA,0,3,1.75\n")
    assert lot.readings.trial.tolist() == [1, 2, 3]
    assert lot.problems == ()


def test_two_operators_are_never_taken_for_a_doubled_enter():
    lot = lot_of("spool,position_m,operator,diameter_mm\nA,0,East,1.75\nA,0,West,1.75\n")
    assert lot.readings.trial.tolist() == [1, 1]
    assert lot.problems == ()


def test_a_trial_number_given_twice_is_reported():
    lot = lot_of("spool,position_m,trial,diameter_mm\nA,0,1,1.75\nA,0,1,1.76\n")
    assert told(lot) == [
        "readings.csv:3: trial 1 of this place and direction is there already: "
        "number it anew, or delete the row [x]"
    ]
    assert_rows_add_up(lot)


def test_one_direction_all_along_and_no_positions_makes_equal_neighbours_ordinary():
    lot = lot_of("spool,direction_deg,diameter_mm\nA,0,1.75\nA,0,1.75\nA,0,1.75\n")
    assert lot.readings.place.tolist() == [0, 1, 2]
    assert lot.problems == ()


def test_two_directions_and_no_positions_make_equal_neighbours_a_doubled_enter():
    lot = lot_of("spool,direction_deg,diameter_mm\nA,0,1.75\nA,0,1.75\nA,90,1.75\n")
    assert told(lot) == [DOUBLED]


def test_a_doubled_wide_row_falls_out_as_a_whole():
    lot = lot_of("spool,position_m,d0_mm,d90_mm\nA,0,1.75,1.74\nA,0,1.75,1.74\n")
    assert told(lot) == [DOUBLED]
    assert_rows_add_up(lot)
