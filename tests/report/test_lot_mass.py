"""What a lot page says of masses, weighed lengths, drying, net content and money."""

import copy
import re
from typing import Any

import pytest
from matplotlib.colors import to_hex

from lotqa.report import lot_page
from lotqa.report.looks import NARROW, PALETTE, WIDE
from lotqa.report.lot_figures import net_mass_figure
from lotqa.report.lot_mass import digits_by
from lotqa.report.lot_notes import bundled
from lotqa.report.plots import IntervalRow, figure_svg, net_mass_plot
from lotqa.report.words import WORDS
from tests.report.markup import (
    Page,
    cells_without_scope,
    outside_requests,
    repeated_ids,
    squeezed,
    unlabelled_pictures,
)
from tests.report.masses import MONEY, NET_CONTENT, OPEN_TEXT, cut, dried, lay_over, weighed

MINUS = "\u2212"


@pytest.fixture
def lot(document: dict[str, Any]) -> dict[str, Any]:
    return lay_over(document)


def page_of(document: dict[str, Any], strips: Any) -> Page:
    return Page(lot_page(document, strips))


def table_rows(page: Page, caption: str) -> list[list[str]]:
    """The rows under a caption, cell by cell, as text."""
    found: list[list[str]] = []
    inside = False
    for e in page.elements:
        if e.tag == "caption":
            inside = caption in squeezed(e.text)
        elif inside and e.tag == "tr" and "tbody" in e.parents:
            found.append([])
        elif inside and e.tag in ("td", "th") and "tbody" in e.parents:
            found[-1].append(squeezed(e.text))
    return found


# ---------------------------------------------------------------- what is on the reel


def test_each_weighed_spool_is_a_row_with_what_it_holds(lot, strips):
    rows = table_rows(page_of(lot, strips), WORDS.mass_table)
    assert rows[0] == [
        "1 gross 1220 g",
        "1003 \u00b1 2",
        "3 over 1 to 5",
        "335 320 to 351",
        "809 779 to 839",
        "2.98 2.94 to 3.02",
        "217 \u00b1 2, weighed empty",
    ]
    assert rows[1][:3] == ["2 gross 1195 g", "978 \u00b1 20", "22 short 2 to 42"]
    assert rows[1][6] == "217 \u00b1 20, from reels like it"
    assert rows[2][:3] == ["3 gross 1171.6 g", "955 \u00b1 2", "45 short 44 to 47"]


def test_an_interval_astride_the_label_keeps_the_sense_of_its_word(lot, strips):
    lot["spools"][0]["weight"] = weighed(1001.0, 3.0)
    rows = table_rows(page_of(lot, strips), WORDS.mass_table)
    assert rows[0][2] == f"1 over {MINUS}2 to 4"
    lot["spools"][0]["weight"] = weighed(999.0, 3.0)
    rows = table_rows(page_of(lot, strips), WORDS.mass_table)
    assert rows[0][2] == f"1 short {MINUS}2 to 4"


def test_the_digits_of_a_mass_follow_its_uncertainty(lot, strips):
    assert [digits_by(u) for u in (81.0, 1.0, 0.99, 0.1, 0.04, None, float("nan"))] == [
        0, 0, 1, 1, 2, 0, 0
    ]  # fmt: skip
    lot["spools"][0]["weight"] = weighed(1003.24, 0.4)
    assert table_rows(page_of(lot, strips), WORDS.mass_table)[0][1] == "1003.2 \u00b1 0.4"


def test_what_the_spools_share_is_said_once(lot, strips):
    text = squeezed(page_of(lot, strips).text)
    for once in (
        "Scale: 2 readings of 1000 g were +1 g off.",
        "Lengths and volumes at 1.240 g/cm\u00b3: that of PLA.",
        "Bag and clip must be off the scale.",
        "Spools 1, 2, 3: too near 1.75 mm",
        "Spool 2: Reel 217 g: alike.",
        "Spools 1, 3: g per m from the weighed length;",
    ):
        assert text.count(once) == 1, once
    assert "Reel 217 g: itself." not in text  # the table says that it was weighed itself


def test_a_spool_that_gives_more_metres_is_named_with_how_many(lot, strips):
    lot["spools"][0]["weight"] |= {"thin_gain_m": 12.2, "thin_gain_ci95_m": [8.1, 16.4]}
    lot["spools"][2]["weight"] |= {"thin_gain_m": -6.0, "thin_gain_ci95_m": [-9.3, -2.6]}
    text = squeezed(page_of(lot, strips).text)
    assert "Spool 1 gives 12 m more than it would at 1.75 mm (8 to 16)." in text
    assert "Spool 3 gives 6 m fewer than it would at 1.75 mm (3 to 9)." in text
    assert "Spool 2: too near 1.75 mm" in text


def test_sentences_that_differ_in_numbers_only_are_told_once():
    said = [("1", "Lost 9 g."), ("2", "Lost 12.5 g."), ("3", "Gained 1 g.")]
    assert bundled(said, 3) == (
        "Spools 1, 2 alike but for the numbers; of spool 1: Lost 9 g.",
        "Spool 3: Gained 1 g.",
    )
    assert bundled([("1", "Dry."), ("2", "Dry.")], 2) == ("Dry.",)
    assert bundled([("1", "Dry."), ("2", "Dry.")], 3) == ("Spools 1, 2: Dry.",)
    names = [(str(k), "Dry.") for k in range(1, 31)]
    assert bundled(names, 40) == ("Spools 1, 2, 3, 4, 5, 6, 7, 8 and 22 more: Dry.",)


# ---------------------------------------------------------------- reasons told once


def undecided(document: dict[str, Any], outcome: str = "undecided") -> None:
    for spool, net in zip(document["spools"], (975, 972, 968), strict=True):
        spool["reasons"] = [r for r in spool["reasons"] if r["check"] != "weight.net"]
        spool["reasons"].append(
            {
                "check": "weight.net",
                "outcome": outcome,
                "value": float(1000 - net),
                "limit": 15.0,
                "unit": "g",
                "text": OPEN_TEXT.format(net=net, short=1000 - net),
                "standing": "provisional",
            }
        )


def test_a_net_mass_that_cannot_be_settled_is_told_once_for_all_spools(lot, strips):
    undecided(lot)
    page = page_of(lot, strips)
    text = squeezed(page.text)
    assert text.count("the reel is known to 40 g only") == 1
    assert (
        "Spools 1, 2, 3 alike but for the numbers; of spool 1: Net mass 975 g is 25 g short of "
        "the label's 1000 g: the reel is known to 40 g only. The numbers of each stand in table 2."
    ) in text
    folded = squeezed(" ".join(e.text for e in page.all("ul") if "details" in e.parents))
    assert "known to 40 g only" not in folded
    assert "Table 2 What is on the reel" in text


def test_a_net_mass_that_counts_against_a_spool_stays_with_it(lot, strips):
    undecided(lot, "reject")
    assert page_of(lot, strips).text.count("the reel is known to 40 g only") == 3


# ---------------------------------------------------------------- weighed lengths


def test_a_weighed_length_stands_beside_the_calliper(lot, strips):
    rows = table_rows(page_of(lot, strips), WORDS.cut_table)
    mean = f"{float(strips[0].mean_mm.mean()):.3f}"
    assert rows[0][0] == "1 2 m, 5.97 g"
    assert rows[0][2] == "1.751 1.711 to 1.791"
    assert rows[0][3].startswith(mean)
    assert rows[0][4] == f"+0.002 {MINUS}0.041 to +0.044"
    assert rows[0][5:] == ["1.752 20 % from the weight", "1.238 1.219 to 1.257",
                           "agree expected 1.24"]  # fmt: skip
    assert [rows[1][5], rows[1][7]] == ["\u2013", "differ: too light expected 1.24"]


def test_what_a_disagreement_means_stands_under_the_table(lot, strips):
    text = squeezed(page_of(lot, strips).text)
    assert text.count("Spool 3: Voids, or a calliper that reads thick.") == 1
    assert "2.00 m weigh 5.97 g." not in text  # the table holds it
    lot["spools"][2]["weight"]["cut"] = cut(None, combined_mm=None, text="2 m; no comparison.")
    text = squeezed(page_of(lot, strips).text)
    assert "Spool 3: 2 m; no comparison." in text


def test_a_piece_weighed_in_water_is_told_of_its_spool(lot, strips):
    assert "Spool 2: 1 piece weighed in water: 1.237 g/cm3." in squeezed(page_of(lot, strips).text)
    lot["spools"][1]["weight"]["immersion"] = None
    assert WORDS.immersion not in page_of(lot, strips).text


# ---------------------------------------------------------------- net content, a yardstick


def test_net_content_is_told_as_a_yardstick(lot, strips):
    text = squeezed(page_of(lot, strips).text)
    for sentence in (NET_CONTENT["text"], *(r["text"] for r in NET_CONTENT["rules"])):
        assert sentence in text
    assert "They do not enter the verdict" in text
    assert "Reference test: a batch of 10 is weighed whole." in text
    lot["lot"]["net_content"]["enters_verdict"] = True
    assert "These criteria reject a lot" in squeezed(page_of(lot, strips).text)


def test_a_lot_without_weighings_has_no_yardstick_and_no_words_for_it(lot, strips):
    for spool in lot["spools"]:
        spool["weight"] = None
    lot["lot"]["net_content"] |= {"n_weighed": 0, "rules": []}
    text = squeezed(page_of(lot, strips).text)
    assert WORDS.weigh_none in text
    for absent in (WORDS.net_content, "T1, T2", "Reference test", WORDS.net_mass_caption):
        assert absent not in text


# ---------------------------------------------------------------- moisture and drying


def test_a_wet_spool_gets_advice_with_its_cautions(lot, strips):
    lot["spools"][0]["moisture"] = dried("wet")
    lot["spools"][1]["moisture"] = dried("dry", 0.4)
    page = page_of(lot, strips)
    text = squeezed(page.text)
    rows = table_rows(page, WORDS.moisture_table)
    assert rows[0] == ["1 6 h at 45 \u00b0C", "wet", "9.0", "0.90 0.80 to 1.00", "0 to 13",
                       "0.00 to 0.95", "yes last stretch 1.9 g"]  # fmt: skip
    assert rows[1][1] == "dry"
    assert text.count("Drying at home, on the reel: 4 to 6 h at 40 to 45 C in a home dryer.") == 1
    assert text.count("Never dry in an oven used for food.") == 1
    assert "In industry, hotter. Not with its reel." in text
    assert "Spools 1, 2 alike but for the numbers; of spool 1: This scale shows a loss" in text
    assert "The reel loses." not in text  # the table holds what it can lose


def test_dry_spools_need_no_advice(lot, strips):
    lot["spools"][1]["moisture"] = dried("dry", 0.4)
    text = squeezed(page_of(lot, strips).text)
    assert "Drying at home" not in text
    assert "Never dry in an oven" not in text


def test_a_reel_of_unknown_material_is_a_supposition(lot, strips):
    share = {"known": False, "lo_g": 0.0, "hi_g": 17.3, "text": "What the reel is made of?"}
    lot["spools"][1]["moisture"] = dried("wet", reel_share=share)
    page = page_of(lot, strips)
    assert table_rows(page, WORDS.moisture_table)[0][4] == "0 to 17 if it is cardboard"
    assert "What the reel is made of?" in page.text
    lot["spools"][1]["moisture"] = dried("wet", reel_share={"known": True, "text": "None."})
    assert table_rows(page_of(lot, strips), WORDS.moisture_table)[0][4] == "none"


# ---------------------------------------------------------------- money


def test_every_unit_has_its_price_with_the_interval(lot, strips):
    page = page_of(lot, strips)
    (row,) = table_rows(page, "What it costs, in EUR, by the mass as weighed")
    assert row == [
        "23.90 EUR a spool",
        "24.89 24.50 to 25.30",
        "30.86 29.50 to 32.30",
        "0.0745 0.0712 to 0.0781",
        "46.30 44.20 to 48.50",
        "30.86",
    ]
    assert "A litre that can be used costs 46.30 EUR." in squeezed(page.text)
    lot["lot"]["money"] = {**MONEY, "usable": {**MONEY["usable"], "rejected": 0}}
    (row,) = table_rows(page_of(lot, strips), "What it costs")
    assert len(row) == 5  # nothing was rejected, so nothing is refunded


def test_a_pack_that_holds_much_less_is_compared_with_the_usual_one(lot, strips):
    assert "of the usual pack" not in page_of(lot, strips).text
    lot["lot"]["money"]["compared"] = {"share_pct": 41.0, "text": "41 % of the usual pack."}
    assert "41 % of the usual pack." in page_of(lot, strips).text


def test_without_a_price_the_page_says_what_is_missing(lot, strips):
    lot["lot"]["money"] = {**MONEY, "price": None, "text": "Write price under [lot]."}
    page = page_of(lot, strips)
    assert "Write price under [lot]." in page.text
    assert table_rows(page, "What it costs") == []


# ---------------------------------------------------------------- the decision


def facts(page: Page) -> dict[str, str]:
    names = [squeezed(e.text) for e in page.all("dt")]
    return dict(zip(names, (squeezed(e.text) for e in page.all("dd")), strict=True))


def test_the_decision_tells_what_is_on_a_reel_and_what_a_litre_costs(lot, strips):
    assert facts(page_of(lot, strips))["On a reel"] == (
        "mean net mass 960 g (942 to 977) of the label\u2019s 1000 g; 774 ml, 321 m; "
        "30.86 EUR a litre"
    )
    lot["lot"]["money"] |= {"mass_source": "label", "mass_g": 1000.0}
    lot["lot"]["net_content"] |= {"n_supposed_reel": 3, "text": "Weighed on a supposed reel."}
    said = facts(page_of(lot, strips))["On a reel"]
    assert said.startswith("1000 g by the label, not by weighing; 774 ml")
    assert said.endswith("Weighed on a supposed reel.")
    del lot["lot"]["money"]
    assert "On a reel" not in facts(page_of(lot, strips))


@pytest.mark.parametrize(
    ("inspected", "said"),
    [
        ("2026-03-06T23:59:00+00:00", "until 6 March 2026, that is 14 days from receipt"),
        ("2026-03-07T00:00:00+00:00", "the window closed on 6 March 2026, 14 days from receipt"),
    ],
)
def test_a_claim_window_that_has_closed_is_told_as_closed(lot, strips, inspected, said):
    lot["inspected_at"] = inspected
    assert facts(page_of(lot, strips))["Claim"] == said
    lot["lot"]["claim_days"] = None
    assert facts(page_of(lot, strips))["Claim"] == said.split(",")[0]


# ---------------------------------------------------------------- the page as a whole


def test_the_weighed_page_is_sound_for_every_reader(lot, strips):
    lot["spools"][0]["moisture"] = dried("wet")
    html = lot_page(lot, strips)
    page = Page(html)
    assert page.unbalanced == []
    assert repeated_ids(page) == set()
    assert cells_without_scope(page) == []
    assert unlabelled_pictures(page) == []
    assert outside_requests(html) == []
    assert "None" not in re.sub(r"None (beyond|below)", "", page.text)
    numbers = [int(squeezed(e.text).split()[1]) for e in page.all("caption")]
    assert numbers == list(range(1, len(numbers) + 1))
    numbers = [int(squeezed(e.text).split()[1]) for e in page.all("figcaption")]
    assert numbers == list(range(1, len(numbers) + 1))


def test_every_number_of_a_weighed_lot_may_be_unknown(lot, strips):
    def emptied(block: Any) -> Any:
        if isinstance(block, dict):
            return {k: emptied(v) for k, v in block.items()}
        if isinstance(block, list):
            return [emptied(v) for v in block]
        return None if isinstance(block, float) else block

    lot["spools"][0]["moisture"] = dried("wet")
    before = copy.deepcopy(lot)
    page = page_of(emptied(lot), strips)
    assert page.unbalanced == []
    assert "None" not in page.text.replace("None beyond the method itself", "")
    assert lot == before


# ---------------------------------------------------------------- the plot


def net_rows() -> list[IntervalRow]:
    return [
        IntervalRow("Spool 1", "accept", 1003.0, (1001.2, 1004.8)),
        IntervalRow("Spool 2", "", 978.0, (958.0, 998.0)),
        IntervalRow("Spool 3", "reject", 954.6, (952.8, None)),
    ]


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
def test_the_plot_has_a_line_each_for_label_t1_and_t2(size):
    fig = net_mass_plot(net_rows(), 1000.0, 15.0, size=size)
    (ax,) = fig.axes
    lines = {
        float(line.get_xdata()[0]): line.get_linestyle()
        for line in ax.lines
        if len(line.get_xdata()) == 2 and line.get_xdata()[0] == line.get_xdata()[1]
    }
    # Directive 76/211/EEC, Annex I, 2.4: 15 g for 500 to 1000 g.
    assert set(lines) == {1000.0, 985.0, 970.0}
    lo, hi = ax.get_xlim()
    assert all(lo < value < hi for value in lines)
    styles = {
        str(line._unscaled_dash_pattern)  # told apart without colour
        for line in ax.lines
        if len(line.get_xdata()) == 2 and line.get_xdata()[0] == line.get_xdata()[1]
    }
    assert len(styles) == 3
    said = {t.get_text() for t in ax.texts}
    assert {"label 1000", "T1 985", "T2 970", "1003", "978", "955"} <= said
    heights = [t.get_position()[1] for t in ax.texts if t.get_text()[:2] in ("la", "T1", "T2")]
    assert len(set(heights)) == 3  # names on lines of their own cannot collide


def test_the_plot_says_in_words_what_it_shows():
    fig = net_mass_plot(net_rows(), 1000.0, 15.0)
    assert fig.get_label() == (
        "Net mass in g with 95 % intervals, label 1000, T1 985, T2 970: Spool 1 1003 "
        "(1001 to\u00a01005); Spool 2 978 (958 to\u00a0998); Spool 3 955 (at least 953)."
    )
    assert figure_svg(fig) == figure_svg(net_mass_plot(net_rows(), 1000.0, 15.0))


def test_limits_that_are_not_known_are_not_drawn():
    fig = net_mass_plot(net_rows(), 1000.0, None)
    assert "T1" not in " ".join(t.get_text() for t in fig.axes[0].texts)
    colours = {to_hex(line.get_color()) for line in fig.axes[0].lines}
    assert colours <= set(PALETTE.values())


def test_one_spool_needs_no_plot(lot, strips):
    assert WORDS.net_mass_caption in page_of(lot, strips).text
    for spool in lot["spools"][1:]:
        spool["weight"] = None
    assert WORDS.net_mass_caption not in page_of(lot, strips).text
    assert net_mass_figure(lot, 1) is None


def test_of_many_spools_the_twelve_lightest_are_drawn(lot):
    lot["spools"] = [
        {**lot["spools"][0], "spool": str(k), "weight": weighed(1020.0 - k, 1.8)}
        for k in range(1, 16)
    ]
    figure = net_mass_figure(lot, 1)
    assert figure is not None
    drawn = set(re.findall(r"Spool (\d+) \d", figure.wide_svg))
    assert drawn == {str(k) for k in range(4, 16)}


@pytest.mark.parametrize(
    ("outcome", "colour"), [("pass", "accept"), ("reject", "reject"), ("undecided", "soft")]
)
def test_the_sign_of_a_row_is_what_its_net_mass_says(lot, outcome, colour):
    undecided(lot, outcome)
    figure = net_mass_figure(lot, 1)
    assert figure is not None
    assert PALETTE[colour] in figure.wide_svg
    others = {PALETTE[c] for c in ("accept", "tune", "reject")} - {PALETTE[colour]}
    assert not any(other in figure.wide_svg for other in others)
