import copy
import re
from typing import Any

import jinja2
import numpy as np
import pytest

from lotqa.errors import LotqaError
from lotqa.report import lot_page
from lotqa.report.lot_figures import feed_limits
from lotqa.report.page import css_text, environment
from lotqa.report.plots import FeedLimits
from tests.report.conftest import NOMINAL_MM, make_document, make_spool, make_strip
from tests.report.markup import (
    Page,
    cells_without_scope,
    outside_requests,
    repeated_ids,
    squeezed,
    unlabelled_pictures,
)

EVIL = "<script>alert(1)</script>\"'&{{ 7*7 }}</style>"


@pytest.fixture(scope="module")
def html() -> str:
    from tests.report.conftest import make_strips

    strips = make_strips()
    return lot_page(make_document(strips), strips)


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    return Page(html)


def many(n: int) -> tuple[dict[str, Any], list]:
    """A lot of n spools, of which number 5 is rejected and 6 is tuned."""
    strips = [
        make_strip(
            str(k),
            1.75,
            0.008,
            {5: "reject", 6: "tune"}.get(k, "accept"),
            "firm",
            seed=k,
        )
        for k in range(1, n + 1)
    ]
    document = make_document(strips[:3])
    document["spools"] = [make_spool(s, [], "Shelve it.", None) for s in strips]
    return document, strips


# ---------------------------------------------------------------- what stands on the page


def test_the_verdict_and_what_to_do_stand_first(page):
    text = squeezed(page.text)
    assert text.index("Reject") < text.index("What to do now: Send the lot back")
    assert text.index("What to do now") < text.index("Table 1")
    assert "until 6 March 2026" in text


def test_the_eight_sections_are_numbered_in_order(page):
    heads = [squeezed(e.text) for e in page.all("h2")]
    assert [h.split()[0] for h in heads] == [str(n) for n in range(1, 9)]
    anchors = [e.attributes["id"] for e in page.all("section") if "id" in e.attributes]
    assert [a for a in anchors if "-" not in a] == [f"s{n}" for n in range(1, 9)]
    links = [e.attributes["href"][1:] for e in page.all("a")]
    assert set(links) <= {e.attributes.get("id") for e in page.elements}


def test_tables_and_figures_are_numbered_without_gaps(page):
    text = squeezed(page.text)
    for kind in ("Table", "Figure"):
        captions = page.all("caption") if kind == "Table" else page.all("figcaption")
        numbers = [int(squeezed(e.text).split()[1]) for e in captions]
        assert numbers == list(range(1, len(numbers) + 1))
        assert len(numbers) >= 3
    assert "Table 1 The spools" in text


def test_every_reason_of_the_document_is_on_the_page(page, document):
    text = squeezed(page.text)
    said = [r["text"] for r in document["lot"]["reasons"]]
    said += [r["text"] for s in document["spools"] for r in s["reasons"]]
    assert len(said) >= 10
    for sentence in said:
        assert sentence in text


def test_what_counts_against_a_spool_is_open_and_what_holds_is_folded(page):
    folded = squeezed(" ".join(e.text for e in page.all("ul") if "details" in e.parents))
    assert "Flow is off by +0.2 %, within 2 %." in folded
    assert "Moisture was not judged" in folded
    assert "no setting cures it" not in folded
    assert "Ovality was read in two directions only" not in folded


def test_what_is_the_same_for_all_spools_is_said_once(document, strips):
    shared = dict(document["spools"][0]["reasons"][0], text="The pin read 1.754 mm.")
    for spool in document["spools"]:
        spool["reasons"].append(dict(shared))
    text = Page(lot_page(document, strips)).text
    assert text.count("The pin read 1.754 mm.") == 1
    assert "All spools alike" in text
    document["spools"][0]["reasons"][-1]["text"] = "The pin read 1.755 mm."
    text = Page(lot_page(document, strips)).text
    assert text.count("The pin read 1.754 mm.") == 2


def test_a_reason_against_every_spool_stays_with_every_spool(document, strips):
    for spool in document["spools"]:
        spool["reasons"].append(dict(spool["reasons"][0], outcome="tune", text="Dry it."))
    assert Page(lot_page(document, strips)).text.count("Dry it.") == 3


def test_the_sentences_of_the_document_are_on_the_page(page, document):
    text = squeezed(page.text)
    for sentence in (*document["cautions"], *document["missing"]):
        assert sentence in text
    for limit in document["criteria"]["limits"]:
        assert limit["why"] in text
    for item in document["files"]:
        assert item["sha256"] in text
    problem = document["problems"][0]
    assert "readings.csv:31" in text
    assert problem["message"] in text
    assert problem["value"] in text
    assert "left out" in text
    assert document["lot"]["unopened"]["text"] in text
    assert "Spool 2: 6 more places would settle it." in text


def test_only_a_spool_whose_flow_is_to_be_tuned_gets_a_number_to_enter(document, strips):
    def entries() -> list[str]:
        made = Page(lot_page(document, strips))
        return [
            squeezed(e.text) for e in made.all("td") if e.attributes.get("data-head") == "Enter"
        ]

    # Flow goes with the area, so the multiplier is the ratio of the areas.
    multiplier = (NOMINAL_MM / float(strips[1].mean_mm.mean())) ** 2
    assert [e.split()[0] for e in entries()] == ["nothing", f"{multiplier:.3f}", "nothing"]
    wet = [r for r in document["spools"][1]["reasons"] if not r["check"].startswith("diameter.")]
    document["spools"][1]["reasons"] = [dict(wet[0], check="moisture.loss", outcome="tune")]
    document["lot"]["multiplier"] = 1.003
    assert entries() == []
    assert "1.003" not in Page(lot_page(document, strips)).text


def test_one_multiplier_for_the_lot_says_that_the_diameter_stays(document, strips):
    document["lot"].update(verdict="tune", multiplier=0.9741)
    text = squeezed(Page(lot_page(document, strips)).text)
    assert "multiplier 0.974" in text
    assert "never change both" in text


def test_feed_limits_come_from_the_criteria_or_from_the_reasons(document):
    assert feed_limits(document) == FeedLimits(1.60, 1.90)
    document["criteria"]["feed"] = {
        "thick_reject_mm": 1.88,
        "thick_warn_mm": 1.85,
        "thin_reject_mm": 1.62,
    }
    assert feed_limits(document) == FeedLimits(1.62, 1.88)


def test_limits_of_stock_of_another_diameter_are_left_out(document, strips):
    document["criteria"]["limits"] += [
        {"key": "stock 1.75.thick", "value": 1.9, "unit": "mm", "why": "Jams."},
        {"key": "stock 2.85.thick", "value": 3.0, "unit": "mm", "why": "Jams, too."},
    ]
    text = Page(lot_page(document, strips)).text
    assert "stock 1.75.thick" in text
    assert "stock 2.85.thick" not in text


def test_a_scale_is_shown_in_grams(page):
    row = next(e.text for e in page.all("tr") if "shelf scale" in e.text)
    assert "1\u00a0g" in row
    assert "mm" not in row


# ---------------------------------------------------------------- how the page is made


def test_the_same_input_gives_the_same_bytes(html, strips):
    assert lot_page(make_document(strips), strips) == html


def test_the_document_is_left_as_it_was(document, strips):
    before = copy.deepcopy(document)
    lot_page(document, strips)
    assert document == before


def test_the_markup_is_sound(page):
    assert page.unbalanced == []
    assert repeated_ids(page) == set()
    assert len(page.all("h1")) == 1
    assert [e.attributes["lang"] for e in page.all("html")] == ["en"]


def test_nothing_is_asked_of_another_place(html):
    assert outside_requests(html) == []
    for planted in (
        '<img src="https://example.org/x.png">',
        "<style>@import 'x.css';</style>",
        '<p style="background:url(x.png)">',
        "<script>1</script>",
    ):
        assert outside_requests(html + planted), planted
    namespaces = {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert set(re.findall(r"https?://[^\s\"'<>]+", html)) == namespaces


def test_tables_have_head_cells_with_scope(page):
    assert cells_without_scope(page) == []
    assert len(page.all("caption")) == len(page.all("table"))
    assert cells_without_scope(Page("<table><tr><th>x</th></tr></table>"))
    for table in ("thead", "tbody"):
        assert len(page.all(table)) == len(page.all("table"))


def test_every_picture_has_a_text_alternative_or_is_hidden(page):
    assert unlabelled_pictures(page) == []
    assert unlabelled_pictures(Page('<svg role="img"></svg>'))
    strips = [
        e for e in page.all("svg") if e.attributes.get("aria-label", "").startswith("Filament")
    ]
    assert len(strips) == 6  # three spools, wide and narrow
    tally = [e for e in page.all("p") if e.attributes.get("role") == "img"]
    assert "1 accept, 1 tune, 1 reject, 7 not opened" in tally[0].attributes["aria-label"]


def test_the_printed_page_carries_lot_and_page_number(html):
    assert "@bottom-left" in html
    assert "Kranich Filament" in html[html.index("@bottom-left") : html.index("@bottom-right")]
    assert "counter(page)" in html
    assert "counter(pages)" in html


def test_names_are_escaped_wherever_they_stand(document, strips):
    lot = document["lot"]
    for key in ("supplier", "product", "material", "colour", "lot", "action", "currency"):
        lot[key] = EVIL
    lot["reasons"][0]["text"] = EVIL
    document["spools"][0].update(spool=EVIL, action=EVIL)
    document["problems"][0].update(value=EVIL, file=EVIL, message=EVIL, column=EVIL)
    document["cautions"] = document["missing"] = [EVIL]
    document["criteria"].update(name=EVIL, text=EVIL)
    document["criteria"]["limits"][0]["why"] = EVIL
    document["instruments"][0].update(name=EVIL, text=EVIL)
    document["files"][0]["name"] = EVIL
    renamed = [make_strip(EVIL, 1.75, 0.01, "accept", "firm"), *strips[1:]]
    made = lot_page(document, renamed)
    evil_page = Page(made)
    assert evil_page.all("script") == []
    assert len(evil_page.all("style")) == 1
    assert evil_page.unbalanced == []
    assert "alert(1)" in evil_page.text  # shown as text
    assert "{{ 7*7 }}" in evil_page.text


def test_text_cannot_leave_a_string_of_the_style_sheet():
    assert css_text('"</style>\\\n') == "\\22 \\3c \\2f style\\3e \\5c \\a "
    assert css_text("Lot 7") == "Lot 7"


def test_a_name_that_the_view_does_not_have_is_an_error():
    template = environment().from_string("{{ view.verdikt }}")
    with pytest.raises(jinja2.UndefinedError):
        template.render(view=object())
    with pytest.raises(jinja2.UndefinedError):
        environment().from_string("{{ w.no_such_word }}").render()


def test_a_document_of_another_kind_is_refused(document, strips):
    document["schema"] = "lotqa.inspection.v9"
    with pytest.raises(LotqaError, match=r"lotqa\.inspection\.v9"):
        lot_page(document, strips)


# ---------------------------------------------------------------- little is known


def without(document: dict[str, Any], *paths: str) -> dict[str, Any]:
    for path in paths:
        *steps, last = path.split(".")
        block: Any = document
        for step in steps:
            block = block[int(step)] if step.isdigit() else block[step]
        block[int(last) if last.isdigit() else last] = None
    return document


def test_all_optional_blocks_may_be_none(document, strips):
    for spool in document["spools"]:
        for block in ("ovality", "weight", "moisture", "findings", "more_places"):
            spool[block] = None
    without(document, "ledger", "lot.unopened", "lot.claim_until", "lot.claim_days", "lot.net_g")
    for key in ("supplier", "product", "material", "colour", "lot", "received", "mean_mm"):
        document["lot"][key] = None
    document["label"] = dict.fromkeys(document["label"])
    document["print"] = dict.fromkeys(document["print"])
    document.update(instruments=[], files=[], missing=[], cautions=[], problems=[])
    document["criteria"]["limits"] = []
    made = Page(lot_page(document, strips))
    text = squeezed(made.text)
    assert "Lot without a lot code" in text
    assert "supplier not given" in text
    assert "last day not known" in text
    assert "No weigh-ins" in text
    assert "No problems were found in the input." in text
    assert "None" not in re.sub(r"None beyond the method itself", "", text)
    assert "nan" not in text.lower().split()
    assert made.unbalanced == []


def test_every_number_may_be_unknown(document, strips):
    def emptied(block: Any) -> Any:
        if isinstance(block, dict):
            return {k: emptied(v) for k, v in block.items()}
        if isinstance(block, list):
            return [emptied(v) for v in block]
        return None if isinstance(block, float) else block

    made = Page(lot_page(emptied(document), strips))
    assert made.unbalanced == []
    assert "None" not in made.text.replace("None beyond the method itself", "")


def test_an_older_document_without_the_newest_keys_is_still_drawn(document, strips):
    for spool in document["spools"]:
        for block in ("ovality", "weight", "moisture", "findings"):
            del spool[block]
        del spool["diameter"]["order"], spool["diameter"]["normality"]
    del document["print"], document["ledger"], document["instruments"]
    assert Page(lot_page(document, strips)).unbalanced == []


def test_one_spool_one_place_no_position(document):
    strip = make_strip("1", 1.75, 0.0, "accept", "provisional", n=1)
    strip = type(strip)(
        **{
            **{f: getattr(strip, f) for f in strip.__slots__},
            "position_m": np.array([1.0]),
            "position_known": False,
        }
    )
    document["spools"] = document["spools"][:1]
    made = Page(lot_page(document, [strip]))
    assert "place number" in made.text
    assert "Mean of each spool" not in made.text  # one mean needs no plot beside its strip


def test_a_lot_without_readings_has_no_strips(document):
    for spool in document["spools"]:
        spool["diameter"] = dict.fromkeys(spool["diameter"])
    assert "No readings to draw." in squeezed(Page(lot_page(document, [])).text)


def test_only_the_twelve_worst_of_many_spools_are_drawn():
    document, strips = many(15)
    for spool in document["spools"]:
        judged = spool["verdict"] != "accept"
        spool["diameter"]["cpk"] = 99.0 if judged else float(spool["spool"])
    made = Page(lot_page(document, strips))
    drawn = {
        squeezed(e.text).split()[3].rstrip(":") for e in made.all("figcaption") if "Spool" in e.text
    }
    # 5 and 6 by their verdict in spite of their Cpk, then the accepted spools of the smallest Cpk
    assert drawn == {str(k) for k in range(1, 13)}
    text = squeezed(made.text)
    assert "3 of 15 spools are not drawn" in text
    assert "stand in table 1" in text
    rows = [e for e in made.all("th") if e.attributes.get("scope") == "row"]
    assert "15" in {squeezed(e.text).split()[0] for e in rows}


def test_many_spools_do_not_make_an_endless_row_of_marks():
    document, strips = many(3)
    document["lot"]["unopened"]["spools"] = 5000
    made = lot_page(document, strips)
    assert made.count('stroke-dasharray="2.2 1.9"') == 57
    assert "and 4943 more" in made
