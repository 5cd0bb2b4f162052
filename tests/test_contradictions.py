"""Two spools under one name are told, with both lines; honest repeats are left alone."""

from tests.test_lots_half_known import SHEET, judged

HEAD = "spool,position_m,direction_deg,diameter_mm\n"


def told(document: dict) -> list[str]:
    return [
        f"{p['file']}:{p['line']}: {p['message']}"
        for p in document["problems"]
        if "two spools under one name" in p["message"]
    ]


def test_readings_that_no_hand_lets_differ_so_far():
    once = "".join(f"1,{i},{d},1.72\n" for i in range(3) for d in (0, 90))
    twice = once.replace("1.72", "1.78")
    assert told(judged(lot__toml=SHEET, readings__csv=HEAD + once + twice)) == [
        'readings.csv:8: spool "1" reads 1.78 mm here and 1.72 mm in line 2, the same place and '
        "direction, and 5 more such: two spools under one name? All are used"
    ]
    near = once.replace("1.72", "1.74")  # 0.02 mm apart: a hand does that
    assert told(judged(lot__toml=SHEET, readings__csv=HEAD + once + near)) == []


def test_weighings_that_no_scale_lets_differ_so_far():
    once = "".join(f"1,{i},{d},1.75\n" for i in range(3) for d in (0, 90))
    weighings = "spool,kind,mass_g\n1,gross,1200\n1,gross,1010\n"
    document = judged(lot__toml=SHEET, readings__csv=HEAD + once, weighings__csv=weighings)
    assert told(document) == [
        'weighings.csv:3: spool "1" weighs 1010 g gross here and 1200 g in line 2: two spools '
        "under one name? The mean of both is used"
    ]
    again = weighings.replace("1010", "1201")
    assert told(judged(lot__toml=SHEET, readings__csv=HEAD + once, weighings__csv=again)) == []
