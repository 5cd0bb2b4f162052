"""What cannot be true of one spool is told, with both lines; honest repeats are left alone."""

import pytest

from lotqa.materials import read_materials, unknown_material
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


ONCE = "".join(f"{s},{i},{d},1.75\n" for s in "123" for i in range(3) for d in (0, 90))
WEIGH = "spool,kind,mass_g,length_m,scale_step_g\n"


def problems(sheet: str, weighings: str, **files: str) -> list[str]:
    document = judged(
        lot__toml=sheet, readings__csv=HEAD + ONCE, weighings__csv=WEIGH + weighings, **files
    )
    return [
        f"{p['file']}:{p['line']}: {p['message']}"
        for p in document["problems"]
        if p["file"] != "readings.csv"
    ]


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            "1,tare,1190\n1,gross,1160\n",
            'weighings.csv:2: spool "1" weighs 1190 g empty here and 1160 g full in line 3: were '
            "the two exchanged? No net mass is taken from them",
        ),
        (
            "1,gross,150\n",
            'weighings.csv:2: spool "1" weighs 150 g gross, no more than its reel alone (190 g, '
            "supposed, none like it was weighed empty): is it another spool? State its reel in "
            "lot.toml or weigh it; no net mass is taken",
        ),
        (
            "1,gross,520\n1,tare,220\n",
            'weighings.csv:2: spool "1" weighs 520 g gross, so about 300 g net, far from the '
            "label's 1000 g: another spool, one in use, or another label? It stays in every number",
        ),
        (
            "1,net,300\n",
            'weighings.csv:2: spool "1" weighs 300 g net, far from the label\'s 1000 g: another '
            "spool, one in use, or another label? It stays in every number",
        ),
        (
            "1,gross,1230\n2,gross,1235\n3,gross,985\n",
            'weighings.csv:4: spool "3" weighs 985 g gross and the others of the lot about 1232 g: '
            "is it another spool? It stays in every number",
        ),
        (
            "1,before_drying,1190\n1,after_drying,1195\n1,after_drying,1196\n",
            'weighings.csv:3: spool "1" weighs 1195 g after drying and 1190 g before, in line 2: '
            "nothing gains in a dryer; were the two exchanged, or is it another spool? Both are "
            "used",
        ),
        (
            "1,cut,5.96,1,0.01\n",
            'weighings.csv:2: spool "1": 5.96 g on 1 m is 5.96 g a metre; at 1.75 mm that is 2.48 '
            "g/cm3, and PLA has 1.2 to 1.3: check length and mass. It stays in every number",
        ),
    ],
)
def test_masses_that_cannot_be_those_of_this_spool(rows, message):
    assert problems(SHEET, rows) == [message]


@pytest.mark.parametrize(
    "rows",
    [
        "1,gross,1190\n1,tare,220\n",
        "1,gross,1230\n2,gross,1235\n3,gross,1190\n",
        "1,before_drying,1190\n1,after_drying,1192\n",  # two roundings of a gram
        "1,cut,5.4,2,0.01\n",  # a tenth lighter: voids, told by the check, no slip
        "1,coupon,3\n",
    ],
)
def test_masses_that_can_be_are_not_told(rows):
    commanded = "[coupon]\ncommanded_mm = 1000\n"  # without it a weighed coupon says nothing
    assert problems(SHEET + commanded, rows) == []


def test_a_label_without_net_mass_and_a_material_that_nobody_knows():
    bare = SHEET.replace("net_g", "#").replace('"PLA"', '"PLAA"')
    line = bare.splitlines().index('material = "PLAA"') + 1
    assert problems(bare, "1,gross,1190\n") == [
        f"lot.toml:{line}: {unknown_material('PLAA', read_materials())}; until then no length, "
        "volume or moisture limit",
        "lot.toml:None: net_g is missing under [label], and the spools were weighed: write what "
        "the label promises in grams, such as net_g = 1000, or nobody sees a shortage",
    ]
    assert problems(SHEET.replace("net_g", "#"), "1,cut,5.96,2,0.01\n") == []


def test_a_scale_beyond_its_limit_and_a_check_of_another_scale():
    sheet = SHEET + '\n[[instrument]]\nkind = "scale"\nname = "parcel"\nlimit_of_error_g = 2\n'
    checks = (
        "instrument,when,reference_g,reading_g\nparcel,before,1000,990\n"
        "parcel,after,1000,990\nkitchen,after,500,501\n"
    )
    assert problems(sheet, "1,gross,1190\n", mass_checks__csv=checks) == [
        'mass_checks.csv:4: instrument "kitchen" is not in the lot sheet: add it as [[instrument]]',
        'mass_checks.csv:2: "parcel" shows 10 g too little at 1000 g, beyond its limit of error of '
        "2 g: adjust it, or check the known mass; the offset is taken off",
        'mass_checks.csv:4: instrument is "kitchen", but the spools were weighed on "parcel": this '
        "mass check is not used; name the scale as in lot.toml",
    ]
