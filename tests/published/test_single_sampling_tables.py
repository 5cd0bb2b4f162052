"""Single sampling plans by AQL, against the printed master tables.

1. MIL-STD-105E (1989), Table I: code letters of the special and general levels (seen in two open
   copies of the table; the general levels also in a copy of ISO 2859-1).
2. MIL-STD-105E, Tables II-A, II-B and II-C, columns 0.010 to 10 (the rejection numbers of II-A and
   II-B, columns 0.65 to 10, seen in a public building-services guide, FMOC AC-TABLE; all three in
   an open copy of the standard).  The tables are held below as printed: a number is the
   acceptance number, ``0/2`` acceptance and rejection number, ``v`` and ``^`` the arrows "use first
   sampling plan below" and "above".
"""

import pytest

from lotqa.sampling.plan import LETTERS, code_letter
from lotqa.sampling.single_plans import AQLS_PCT, LEVELS, SinglePlan, single_plan
from tests.sampling.code_letters import TABLE_I

ALL_LEVELS = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
FIRST_LOTS = [first for first, _ in TABLE_I]
LAST_LOTS = [first - 1 for first in FIRST_LOTS[1:]] + [2_000_000]
PRINTED_AQLS = [
    *["0.010", "0.015", "0.025", "0.040", "0.065", "0.10", "0.15", "0.25", "0.40", "0.65"],
    *["1.0", "1.5", "2.5", "4.0", "6.5", "10"],
]

TABLE_II_A = """
A    2  v v v v v v v  v  v  v  v  v  v  v  0  v
B    3  v v v v v v v  v  v  v  v  v  v  0  ^  v
C    5  v v v v v v v  v  v  v  v  v  0  ^  v  1
D    8  v v v v v v v  v  v  v  v  0  ^  v  1  2
E   13  v v v v v v v  v  v  v  0  ^  v  1  2  3
F   20  v v v v v v v  v  v  0  ^  v  1  2  3  5
G   32  v v v v v v v  v  0  ^  v  1  2  3  5  7
H   50  v v v v v v v  0  ^  v  1  2  3  5  7 10
J   80  v v v v v v 0  ^  v  1  2  3  5  7 10 14
K  125  v v v v v 0 ^  v  1  2  3  5  7 10 14 21
L  200  v v v v 0 ^ v  1  2  3  5  7 10 14 21  ^
M  315  v v v 0 ^ v 1  2  3  5  7 10 14 21  ^  ^
N  500  v v 0 ^ v 1 2  3  5  7 10 14 21  ^  ^  ^
P  800  v 0 ^ v 1 2 3  5  7 10 14 21  ^  ^  ^  ^
Q 1250  0 ^ v 1 2 3 5  7 10 14 21  ^  ^  ^  ^  ^
R 2000  ^ ^ 1 2 3 5 7 10 14 21  ^  ^  ^  ^  ^  ^
"""
TABLE_II_B = """
A    2  v v v v v v v v  v  v  v  v  v  v  v  v
B    3  v v v v v v v v  v  v  v  v  v  v  0  v
C    5  v v v v v v v v  v  v  v  v  v  0  v  v
D    8  v v v v v v v v  v  v  v  v  0  v  v  1
E   13  v v v v v v v v  v  v  v  0  v  v  1  2
F   20  v v v v v v v v  v  v  0  v  v  1  2  3
G   32  v v v v v v v v  v  0  v  v  1  2  3  5
H   50  v v v v v v v v  0  v  v  1  2  3  5  8
J   80  v v v v v v v 0  v  v  1  2  3  5  8 12
K  125  v v v v v v 0 v  v  1  2  3  5  8 12 18
L  200  v v v v v 0 v v  1  2  3  5  8 12 18  ^
M  315  v v v v 0 v v 1  2  3  5  8 12 18  ^  ^
N  500  v v v 0 v v 1 2  3  5  8 12 18  ^  ^  ^
P  800  v v 0 v v 1 2 3  5  8 12 18  ^  ^  ^  ^
Q 1250  v 0 v v 1 2 3 5  8 12 18  ^  ^  ^  ^  ^
R 2000  0 ^ v 1 2 3 5 8 12 18  ^  ^  ^  ^  ^  ^
S 3150  ^ ^ 1 ^ ^ ^ ^ ^  ^  ^  ^  ^  ^  ^  ^  ^
"""
TABLE_II_C = """
A    2  v v   v   v   v   v   v   v    v     v     v     v     v     v     0     v
B    2  v v   v   v   v   v   v   v    v     v     v     v     v     0     ^     v
C    2  v v   v   v   v   v   v   v    v     v     v     v     0     ^     v   0/2
D    3  v v   v   v   v   v   v   v    v     v     v     0     ^     v   0/2   1/3
E    5  v v   v   v   v   v   v   v    v     v     0     ^     v   0/2   1/3   1/4
F    8  v v   v   v   v   v   v   v    v     0     ^     v   0/2   1/3   1/4   2/5
G   13  v v   v   v   v   v   v   v    0     ^     v   0/2   1/3   1/4   2/5   3/6
H   20  v v   v   v   v   v   v   0    ^     v   0/2   1/3   1/4   2/5   3/6   5/8
J   32  v v   v   v   v   v   0   ^    v   0/2   1/3   1/4   2/5   3/6   5/8  7/10
K   50  v v   v   v   v   0   ^   v  0/2   1/3   1/4   2/5   3/6   5/8  7/10 10/13
L   80  v v   v   v   0   ^   v 0/2  1/3   1/4   2/5   3/6   5/8  7/10 10/13     ^
M  125  v v   v   0   ^   v 0/2 1/3  1/4   2/5   3/6   5/8  7/10 10/13     ^     ^
N  200  v v   0   ^   v 0/2 1/3 1/4  2/5   3/6   5/8  7/10 10/13     ^     ^     ^
P  315  v 0   ^   v 0/2 1/3 1/4 2/5  3/6   5/8  7/10 10/13     ^     ^     ^     ^
Q  500  0 ^   v 0/2 1/3 1/4 2/5 3/6  5/8  7/10 10/13     ^     ^     ^     ^     ^
R  800  ^ ^ 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13     ^     ^     ^     ^     ^     ^
"""


TABLES = {"normal": TABLE_II_A, "tightened": TABLE_II_B, "reduced": TABLE_II_C}


def follow(severity, letter, column):
    """Letter arrived at, sample size, acceptance and rejection number, walking the arrows."""
    rows = [line.split() for line in TABLES[severity].split("\n") if line]
    row = [r[0] for r in rows].index(letter)
    step = {"v": 1, "^": -1}
    while (entry := rows[row][2 + column]) in step:
        row += step[entry]
    acceptance, _, rejection = entry.partition("/")
    return rows[row][0], int(rows[row][1]), int(acceptance), int(rejection or int(acceptance) + 1)


def largest_lot_with(letter):
    """Level and lot size of the largest lot that has this letter, so that it holds the sample."""
    return max(
        (last, level)
        for (_, letters), last in zip(TABLE_I, LAST_LOTS, strict=True)
        for level, found in zip(ALL_LEVELS, letters, strict=True)
        if found == letter
    )


def test_preferred_values_are_those_of_the_tables():
    assert list(AQLS_PCT) == [float(printed) for printed in PRINTED_AQLS]
    assert tuple(LEVELS) == ALL_LEVELS
    assert set(ALL_LEVELS) == set(LETTERS)


@pytest.mark.parametrize(("column", "level"), list(enumerate(ALL_LEVELS)))
def test_code_letters_at_both_ends_of_every_row(column, level):
    printed = [letters[column] for _, letters in TABLE_I]
    assert [code_letter(first, level) for first in FIRST_LOTS] == printed
    assert [code_letter(last, level) for last in LAST_LOTS] == printed


@pytest.mark.parametrize("severity", TABLES)
@pytest.mark.parametrize("letter", "ABCDEFGHJKLMNPQR")
def test_every_plan_of_the_master_tables(letter, severity):
    lot_size, level = largest_lot_with(letter)
    for column, printed in enumerate(PRINTED_AQLS):
        arrived, n, acceptance, rejection = follow(severity, letter, column)
        expected = SinglePlan(arrived, min(n, lot_size), acceptance, rejection)
        assert single_plan(lot_size, float(printed), level, severity) == expected, printed


@pytest.mark.parametrize("severity", TABLES)
@pytest.mark.parametrize("level", ALL_LEVELS)
def test_every_row_of_lots_meets_its_own_plan(level, severity):
    """Both ends of every row of Table I, at an AQL with arrows and at one without."""
    column = PRINTED_AQLS.index("2.5")
    for (_, letters), *ends in zip(TABLE_I, FIRST_LOTS, LAST_LOTS, strict=True):
        letter = letters[ALL_LEVELS.index(level)]
        arrived, n, acceptance, rejection = follow(severity, letter, column)
        for lot_size in ends:
            expected = SinglePlan(arrived, min(n, lot_size), acceptance, rejection)
            assert single_plan(lot_size, 2.5, level, severity) == expected


# Reject numbers of AC-TABLE, tables 1-A and 1-B: an oracle beside that copy.  A row begins
# at the AQL named, at the first number of its letter that is not 1.
SEEN_REJECTIONS = {
    "normal": {
        "F": ("2.5", [2, 3, 4, 6]),
        "H": ("1.0", [2, 3, 4, 6, 8, 11]),
        "K": ("0.65", [3, 4, 6, 8, 11, 15, 22]),
        "M": ("0.65", [6, 8, 11, 15, 22]),
        "Q": ("0.65", [15, 22]),
    },
    "tightened": {
        "F": ("4.0", [2, 3, 4]),
        "H": ("1.5", [2, 3, 4, 6, 9]),
        "K": ("0.65", [2, 3, 4, 6, 9, 13, 19]),
        "L": ("0.65", [3, 4, 6, 9, 13, 19]),
    },
}


@pytest.mark.parametrize(
    ("severity", "letter"), [(s, letter) for s, rows in SEEN_REJECTIONS.items() for letter in rows]
)
def test_rejection_numbers_of_a_second_copy(severity, letter):
    first, rejections = SEEN_REJECTIONS[severity][letter]
    start = PRINTED_AQLS.index(first)
    columns = PRINTED_AQLS[start : start + len(rejections)]
    lot_size, level = largest_lot_with(letter)
    for printed, rejection in zip(columns, rejections, strict=True):
        plan = single_plan(lot_size, float(printed), level, severity)
        assert (plan.letter, plan.acceptance, plan.rejection) == (letter, rejection - 1, rejection)
