"""Criteria: shipped limits with their reasons, a buyer's file over them, and every refusal."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.criteria import COUNTS, KNOWN, STOCK_FIELDS, default_text, read_criteria
from lotqa.errors import UnusableCriteria
from lotqa.reasons import reasons_above


def refusal(text, **scope):
    with pytest.raises(UnusableCriteria) as caught:
        read_criteria(text, name="mine.toml", **scope)
    return str(caught.value)


@pytest.mark.parametrize(("key", "value"), [
    ("spread.cp_min", 1.33),
    ("centring.cpk_min", 1.33),
    ("flow.error_max_pct", 2.0),
    ("places.min", 10),
    ("weight.shortfall_max_tne", 1.0),
    ("findings.critical_max", 0),
    ("lot.rejected_max", 0),
    ("lot.confidence", 0.95),
])  # fmt: skip
def test_limits_as_shipped(key, value):
    assert read_criteria()[key] == value


def test_cp_of_1_33_is_a_spread_of_0_0125_mm_at_0_05_mm():
    c = read_criteria()
    assert c.stock_for(1.75).tolerance_mm / (3 * c["spread.cp_min"]) == pytest.approx(
        0.0125, abs=5e-5
    )


@pytest.mark.parametrize(("nominal", "want"), [
    # tolerance, ovality, sticks, may stick, slips: common practice, no source
    (1.75, (0.05, 0.05, 1.90, 1.85, 1.60)),
    (2.85, (0.05, 0.08, 3.00, 2.95, 2.65)),
])  # fmt: skip
def test_stocks_as_shipped(nominal, want):
    stock = read_criteria().stock_for(nominal)
    assert tuple(getattr(stock, f) for f in STOCK_FIELDS) == want


@pytest.mark.parametrize("nominal", [1.75, 2.85])
def test_limits_of_a_stock_are_in_order(nominal):
    s = read_criteria().stock_for(nominal)
    low, high = nominal - s.tolerance_mm, nominal + s.tolerance_mm
    assert s.thin_reject_mm < low < nominal < high < s.thick_warn_mm < s.thick_reject_mm


def test_every_shipped_limit_has_a_reason_a_person_can_read():
    without = [limit.key for limit in read_criteria().limits() if len(limit.why.split()) < 4]
    assert without == []


def test_a_limit_without_a_comment_would_be_seen():
    text = default_text().replace("# Critical: danger, or the wrong thing altogether.", "")
    text = text.replace("None is accepted.\ncritical_max", "\ncritical_max")
    assert reasons_above(text)["findings.critical_max"] == ""


def test_the_shipped_file_names_every_known_limit_and_no_other():
    data = tomllib.loads(default_text())
    named = {
        f"{head}.{key}" for head, table in data.items() if isinstance(table, dict) for key in table
    }
    assert named == set(KNOWN)
    assert [limit.key for limit in read_criteria().limits()][: len(KNOWN)] == list(KNOWN)


def test_a_buyers_file_is_laid_over_key_by_key():
    c = read_criteria("name = 'strict'\n[spread]\n# Gears.\ncp_min = 1.67\n", name="mine.toml")
    assert (c["spread.cp_min"], c["centring.cpk_min"], c.name) == (1.67, 1.33, "strict")
    assert c.why["spread.cp_min"] == "Gears."
    assert c.why["centring.cpk_min"].startswith("How many standard deviations")


FOR = """
[[for]]
use = "looks"
flow.error_max_pct = 1.0
[[for]]
material = "TPU"
flow.error_max_pct = 4.0
[[for]]
material = "TPU"
supplier = "Tallow & Reed"
flow.error_max_pct = 3.0
"""


@pytest.mark.parametrize(("scope", "limit"), [
    ({}, 2.0),
    ({"use": "looks"}, 1.0),
    ({"use": " Looks "}, 1.0),
    ({"material": "tpu"}, 4.0),
    ({"material": "TPU", "use": "looks"}, 4.0),  # the last block that fits wins
    ({"material": "TPU", "supplier": "tallow & reed"}, 3.0),
    ({"material": "PLA", "supplier": "Tallow & Reed"}, 2.0),
])  # fmt: skip
def test_blocks_for_a_material_a_supplier_or_a_use(scope, limit):
    assert read_criteria(FOR, **scope)["flow.error_max_pct"] == limit


def test_a_stock_of_the_buyers_own_and_a_change_of_a_shipped_one():
    text = (
        "[[stock]]\nnominal_mm = 1.75\novality_max_mm = 0.03\n"
        "[[stock]]\nnominal_mm = 2.2\ntolerance_mm = 0.04\novality_max_mm = 0.05\n"
        "thick_reject_mm = 2.4\nthick_warn_mm = 2.3\nthin_reject_mm = 2.0\n"
    )
    c = read_criteria(text)
    assert (c.stock_for(1.75).ovality_max_mm, c.stock_for(1.75).tolerance_mm) == (0.03, 0.05)
    assert c.stock_for(2.2).thick_warn_mm == 2.3
    assert [s.nominal_mm for s in c.stocks] == [1.75, 2.2, 2.85]


@pytest.mark.parametrize(
    ("nominal", "stock"), [(1.75, 1.75), (1.8, 1.75), (3.0, 2.85), (2.3, None), (6.0, None)]
)
def test_stock_by_the_nearest_name(nominal, stock):
    found = read_criteria().stock_for(nominal)
    assert (found and found.nominal_mm) == stock


@pytest.mark.parametrize(
    ("kind", "tool"),
    [
        ("calliper", "calliper"),
        ("Caliper ", "calliper"),
        ("micrometer", "micrometer"),
        ("laser", "calliper"),
    ],
)
def test_tool_by_its_kind(kind, tool):
    assert read_criteria().tool_for(kind).kind == tool


MISSING = "tolerance_mm, ovality_max_mm, thick_reject_mm, thick_warn_mm, thin_reject_mm"


@pytest.mark.parametrize(("text", "message"), [
    ("[flow]\nerror_max = 1", "flow.error_max is not known: did you mean flow.error_max_pct?"),
    ("[colour]\nshade = 1", "colour.shade is not known: take it out"),
    ("cp_min = 1", "cp_min is not known: did you mean spread.cp_min?"),
    ('[flow]\nerror_max_pct = "2"', "flow.error_max_pct is '2': write a number from 0 to 50"),
    ("[flow]\nerror_max_pct = true", "flow.error_max_pct is True: write a number from 0 to 50"),
    ("[flow]\nerror_max_pct = nan", "flow.error_max_pct is nan: write a number from 0 to 50"),
    ("[flow]\nerror_max_pct = -1", "flow.error_max_pct is -1: write a number from 0 to 50"),
    ("[spread]\ncp_min = inf", "spread.cp_min is inf: write a number from 0 to 10"),
    ("[lot]\nconfidence = 95", "lot.confidence is 95: write a number from 0.5 to 0.999"),
    ("[[stock]]\nnominal_mm = 2.0", f"stock 2 mm lacks {MISSING}: add"),
    ("[[stock]]\nnominal_mm = 1.75\nthick = 2", "stock.thick is not known: take it out"),
    ('[[stock]]\nnominal_mm = "1.75"', "stock.nominal_mm is '1.75': write a number from 0.1 to 10"),
    ("[[stock]]\ntolerance_mm = 0.02", "stock.nominal_mm is None: write a number from 0.1 to 10"),
    ("stock = 3", "stock is not a list of tables: write [[stock]]"),
    ("[stock]\nnominal_mm = 1.75", "stock is not a list of tables: write [[stock]]"),
    ("for = 3", "for is not a list of tables: write [[for]]"),
    ('[[for]]\nnozzle = "0.4"', "nozzle is not known: take it out"),
    ("[[tool]]\nstep_mm = 0.1", 'a [[tool]] has no kind: write kind = "calliper"'),
    ('[[tool]]\nkind = "gauge"\nstep_mm = 0.01',
     "tool gauge lacks limit_of_error_mm, scatter_sd_mm, scatter_relative_uncertainty: add"),
])  # fmt: skip
def test_what_cannot_be_applied_is_refused_by_name(text, message):
    assert refusal(text) == f"mine.toml: {message}"


def test_broken_toml_is_located():
    assert refusal("[flow\nerror_max_pct = 2") == (
        "mine.toml:1: this line is not TOML: write key = value, text in double quotes"
    )


def test_a_wrong_key_in_a_block_that_fits_is_refused():
    text = '[[for]]\nmaterial = "PLA"\nflow.error_max = 1'
    assert refusal(text, material="PLA") == (
        "mine.toml: flow.error_max is not known: did you mean flow.error_max_pct?"
    )


@given(st.sampled_from(sorted(KNOWN)), st.floats(allow_nan=False))
def test_no_limit_is_taken_outside_its_range(key, value):
    _, least, most = KNOWN[key]
    head, field = key.split(".")
    text = f"[{head}]\n{field} = {value!r}"
    if least <= value <= most and (key not in COUNTS or float(value).is_integer()):
        assert read_criteria(text)[key] == value
    else:
        assert refusal(text).startswith(f"mine.toml: {key} is {value!r}: write ")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[places]\nmin = 10.5", "places.min is 10.5: write a whole number from 1 to 100000"),
        ("[findings]\ncritical_max = 1", "findings.critical_max is 1: write 0"),
        ("[flow]\nerror_max_pct = true", "flow.error_max_pct is True: write a number from 0 to 50"),
        (
            "[[stock]]\nnominal_mm = 1.75\ntolerance_mm = 0",
            "stock.tolerance_mm is 0: write a number from 1e-06 to 10",
        ),
        (
            '[[for]]\nmaterial = "PLA"\nflow.error_max = 1',
            "flow.error_max is not known: did you mean flow.error_max_pct?",
        ),
    ],
)
def test_what_would_be_right_is_said(text, said):
    assert refusal(text) == f"mine.toml: {said}"


def test_an_own_limit_does_not_borrow_the_shipped_reason():
    text = (
        "[spread]\ncp_min = 2.0\n[flow]\n# We sell by the look.\nerror_max_pct = 1.0\n"
        '[[for]]\nuse = "jigs"\n# Nobody sees a jig.\nflow.error_max_pct = 4.0\n'
    )
    plain = read_criteria(text, name="mine.toml").why
    assert plain["spread.cp_min"] == "Set in mine.toml, without a reason."
    assert plain["flow.error_max_pct"] == "We sell by the look."
    assert plain["centring.cpk_min"] == read_criteria().why["centring.cpk_min"]
    assert read_criteria(text, use="jigs").why["flow.error_max_pct"] == "Nobody sees a jig."


def test_the_hash_tells_whatever_decided():
    hashes = {
        read_criteria().sha256,
        read_criteria("").sha256,
        read_criteria("[spread]\ncp_min = 2.0").sha256,
        read_criteria(material="PLA").sha256,
        read_criteria(use="looks").sha256,
    }
    assert len(hashes) == 5
    assert read_criteria(material="PLA").sha256 == read_criteria(material="PLA").sha256


def test_reasons_stand_right_above_their_limit():
    text = "# One.\n\n# Two.\n# Three.\na = 1\nb = 2\n[c]\n# Four.\nd = 3  # not this\n"
    assert reasons_above(text) == {"a": "Two. Three.", "b": "", "c.d": "Four."}


@pytest.mark.parametrize(("material", "want"), [
    # lightest, heaviest, stands, loses water: common practice, no source
    ("Plastic", (180.0, 260.0, 60.0, False)),
    ("cardboard", (120.0, 180.0, 70.0, True)),
    ("none", (0.0, 40.0, None, False)),
])  # fmt: skip
def test_reels_as_shipped(material, want):
    reel = read_criteria().reel_for(material)
    assert (reel.tare_lo_g, reel.tare_hi_g, reel.stands_c, reel.loses_water) == want


def test_a_reel_that_nobody_described_is_not_known():
    assert read_criteria().reel_for(None) is None
    assert read_criteria().reel_for("bamboo") is None


def test_a_reel_of_the_buyers_own_and_a_change_of_a_shipped_one():
    c = read_criteria(
        '[[reel]]\nmaterial = "plastic"\nstands_c = 80\n'
        '[[reel]]\nmaterial = "Bamboo"\ntare_lo_g = 90\ntare_hi_g = 110\nloses_water = true\n'
    )
    assert (c.reel_for("plastic").stands_c, c.reel_for("plastic").tare_lo_g) == (80.0, 180.0)
    assert c.reel_for("bamboo").loses_water is True


@pytest.mark.parametrize(("text", "said"), [
    ("[[reel]]\ntare_lo_g = 1", 'a [[reel]] has no material: write material = "plastic"'),
    ('[[reel]]\nmaterial = "oak"\ntare_lo_g = 5',
     "reel oak: write tare_lo_g and a higher tare_hi_g"),
    ('[[reel]]\nmaterial = "plastic"\ntare_lo_g = 300',
     "reel plastic: write tare_lo_g and a higher tare_hi_g"),
    ('[[reel]]\nmaterial = "plastic"\nloses_water = 1',
     "reel.loses_water is 1: write true or false"),
    ('[[reel]]\nmaterial = "plastic"\nstand_c = 1',
     "reel.stand_c is not known: did you mean stands_c?"),
    ('[[reel]]\nmaterial = "plastic"\nstands_c = "hot"',
     "reel.stands_c is 'hot': write a number from 0 to 10000"),
])  # fmt: skip
def test_a_reel_that_cannot_be_applied_is_refused(text, said):
    assert refusal(text) == f"mine.toml: {said}"
