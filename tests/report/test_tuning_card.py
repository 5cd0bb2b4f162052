"""The tuning cards: one for each spool to be tuned, one big number, and what never goes with it."""

import copy
from typing import Any

import pytest

from lotqa.report import cards_page, lot_page
from lotqa.report.looks import TYPE_PT
from lotqa.report.strip import CardsLink
from lotqa.report.tuning_card import LABEL, CardSize, cards_view, has_cards
from tests.report.conftest import make_document, make_reason, make_strips
from tests.report.markup import Page, outside_requests, repeated_ids, squeezed, unlabelled_pictures
from tests.report.test_words import words_in_template

TUNING: dict[str, Any] = {
    "set_now": {"diameter_mm": 1.746, "multiplier": 0.985, "stated": True},
    "multiplier": 0.974,
    "multiplier_ci95": [0.9688, 0.9792],
    "diameter_mm": 1.7741,
    "diameter_ci95_mm": [1.769, 1.779],
    "after": {
        "swing_pct": 5.66,
        "swing_ci95_pct": [4.0, 8.0],
        "line_width_change_mm": [-0.01151, 0.01151],
    },
    "label_allows": {"flow_pct": [-5.63, 5.80], "line_width_change_mm": [-0.023, 0.024]},
    "multiplier_limits": [0.9, 1.1],
    "warning": None,
}
WET = make_reason("moisture.loss", "tune", 0.8, 0.5, "%", "It lost 0.8 %.")


@pytest.fixture
def document() -> dict[str, Any]:
    made = make_document(make_strips())
    for spool in made["spools"]:
        spool["tuning"], spool["coupon"] = copy.deepcopy(TUNING), None
    made["spools"][1]["flow"].update(multiplier=0.974, set_diameter_mm=1.7741)
    return made


def card(document: dict[str, Any]) -> str:
    """The one card as a browser shows it."""
    page = Page(cards_page(document))
    articles = page.all("article")
    assert len(articles) == 1
    return squeezed(articles[0].text)


def test_only_spools_to_be_tuned_have_a_card(document):
    """Of the three spools 1 is accepted, 2 to be tuned, 3 rejected."""
    text = card(document)
    assert "Spool 2 tune, provisional" in text
    assert "Kranich Filament, PLA, slate grey" in text
    assert "Lot KF-26-0217" in text


def test_the_card_says_one_number_and_what_never_goes_with_it(document):
    text = card(document)
    assert "multiplier to set 0.974 95 %: 0.969 to 0.979" in text
    assert "or enter diameter 1.774 mm, never both" in text
    assert "set now: 1.746 mm, \u00d7 0.985; 1 March 2026" in text
    big = [e for e in Page(cards_page(document)).all("b") if e.attributes.get("class") == "big"]
    assert [e.text for e in big] == ["0.974"]


def test_the_card_says_what_no_setting_cures(document):
    assert (
        "No setting cures: flow swings 5.7 %, line width \u22120.012 to +0.012 mm; label alone: "
        "\u22125.6 to +5.8 %"
    ) in card(document)


@pytest.mark.parametrize(
    ("after", "said"),
    [
        (
            {"swing_pct": None, "swing_ci95_pct": [0.0, 1.25], "line_width_change_mm": [None] * 2},
            "No setting cures: flow swings at most 1.2 %;",
        ),
        (
            {"swing_pct": None, "swing_ci95_pct": [None, None], "line_width_change_mm": None},
            "How much the flow swings along the spool was not read;",
        ),
    ],
)
def test_a_swing_that_is_not_known_is_no_number(document, after, said):
    document["spools"][1]["tuning"]["after"] = after
    assert said in card(document)


def test_a_number_without_an_interval_says_so(document):
    document["spools"][1]["tuning"]["multiplier_ci95"] = [None, None]
    assert "0.974 no interval: read more places" in card(document)


def test_a_wet_spool_is_dried_first(document):
    spool = document["spools"][1]
    assert "Dry" not in card(document)
    spool["reasons"].append(WET)
    text = card(document)
    assert text.index("Dry it first") < text.index("multiplier to set")
    spool["moisture"]["drying"] = {"home": {"lo_h": 4.0, "hi_h": 12.0, "lo_c": 65.0, "hi_c": 65.0}}
    assert "Dry it first: 4 to 12 h at 65 \u00b0C" in card(document)


def test_a_spool_that_only_wants_drying_keeps_its_multiplier(document):
    spool = document["spools"][1]
    spool["reasons"] = [WET]
    text = card(document)
    assert "multiplier: leave it 0.985" in text
    assert "0.974" not in text
    assert "or enter" not in text


def test_a_correction_beyond_what_is_usual_is_warned_of(document):
    assert "Outside" not in card(document)
    document["spools"][1]["tuning"]["warning"] = "something else is wrong"
    assert "Outside 0.90 to 1.10: look for another cause first" in card(document)


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("explained", "the diameter explains it"),
        ("not_diameter", "not the diameter"),
        ("cannot_tell", "it cannot tell"),
    ],
)
def test_the_coupon_has_a_line(document, word, said):
    document["spools"][1]["coupon"] = {
        "by": "wall",
        "wall": {"multiplier": 0.9663, "multiplier_ci95": [0.95, 0.98], "word": word},
        "mass": None,
    }
    assert f"Coupon by wall: 0.966 (0.950 to 0.980); {said}" in card(document)


def test_a_coupon_that_says_nothing_has_no_line(document):
    document["spools"][1]["coupon"] = {"by": None, "wall": None, "mass": None}
    assert "Coupon" not in card(document)


def test_a_document_from_before_tuning_was_kept_has_no_cards(document):
    assert has_cards(document)
    for spool in document["spools"]:
        del spool["tuning"]
    assert not has_cards(document)
    assert "No spool of this lot is to be tuned." in Page(cards_page(document)).text


def test_the_page_stands_alone_and_is_sound(document):
    document["spools"][1]["spool"] = '<b>"2"</b> & a name that is far too long for any label'
    html = cards_page(document)
    page = Page(html)
    assert outside_requests(html) == []
    assert page.unbalanced == []
    assert repeated_ids(page) == set()
    assert unlabelled_pictures(page) == []
    assert "<b>&#34;" not in html
    assert "&lt;b&gt;&#34;2&#34;&lt;" in html  # its beginning, and none of its markup
    assert [e.text for e in page.all("h1")] == ["Tuning cards: Lot KF-26-0217"]
    # The verdict is a word and a shape, not a colour alone.
    assert page.all("svg")
    assert "tune" in page.text


def test_the_label_is_data(document):
    html = cards_page(document)
    assert "@page{size:62.0mm 100.0mm;margin:2.5mm}" in html
    assert html.rindex("@page{") > html.index("@page{size:auto")  # the page's own comes last
    other = cards_view(document, CardSize(50.0, 80.0, 2.0, 30.0, 8.0, 7.0))
    assert other.intro.endswith("a label of 50 x 80 mm.")
    assert LABEL.least_pt >= TYPE_PT["small"]


def test_many_spools_are_many_cards_with_anchors_of_their_own(document):
    first = document["spools"][1]
    document["spools"] += [{**copy.deepcopy(first), "spool": str(n)} for n in range(10, 30)]
    page = Page(cards_page(document))
    assert len(page.all("article")) == 21
    assert repeated_ids(page) == set()


def test_the_lot_page_links_to_the_cards_only_where_there_are_any(document):
    strips = make_strips()
    without = lot_page(document, strips)
    link = CardsLink("K1%20x_cards.html", "Tuning cards")
    found = [e for e in Page(lot_page(document, strips, link)).all("a") if e.text == link.text]
    assert [e.attributes["href"] for e in found] == ["K1%20x_cards.html"]
    assert "Tuning cards" not in without
    assert outside_requests(without) == []


def test_the_template_says_nothing_of_its_own():
    planted = '<p class="x">{{ c.big }}</p>now'
    assert words_in_template(planted) == "now"
