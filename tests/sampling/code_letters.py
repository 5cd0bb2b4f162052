"""MIL-STD-105E, table I: sample size code letters, as ISO 2859-1 has them."""

TABLE_I = [  # first lot size of the row: letters at S-1, S-2, S-3, S-4, I, II, III
    (2, "AAAAAAB"),
    (9, "AAAAABC"),
    (16, "AABBBCD"),
    (26, "ABBCCDE"),
    (51, "BBCCCEF"),
    (91, "BBCDDFG"),
    (151, "BCDEEGH"),
    (281, "BCDEFHJ"),
    (501, "CCEFGJK"),
    (1201, "CDEGHKL"),
    (3201, "CDFGJLM"),
    (10001, "CDFHKMN"),
    (35001, "DEGJLNP"),
    (150001, "DEGJMPQ"),
    (500001, "DEHKNQR"),
]
