from dataclasses import replace

import pytest

from lotqa.report import supplier_page
from tests.report.markup import (
    Page,
    cells_without_scope,
    outside_requests,
    repeated_ids,
    squeezed,
    unlabelled_pictures,
)


@pytest.fixture(scope="module")
def html(supplier_lots) -> str:
    return supplier_page("Brightwater Polymers", supplier_lots)


def test_the_page_is_sound_and_asks_nothing_of_another_place(html):
    page = Page(html)
    assert page.unbalanced == []
    assert repeated_ids(page) == set()
    assert outside_requests(html) == []
    assert cells_without_scope(page) == []
    assert unlabelled_pictures(page) == []


def test_the_same_lots_give_the_same_bytes(html, supplier_lots):
    assert supplier_page("Brightwater Polymers", supplier_lots) == html


def test_lots_stand_in_the_order_received_whatever_order_they_come_in(html, supplier_lots):
    assert supplier_page("Brightwater Polymers", supplier_lots[::-1]) == html
    rows = [squeezed(e.text) for e in Page(html).all("th") if e.attributes["scope"] == "row"]
    assert [r.split()[0] for r in rows] == [lot.lot for lot in supplier_lots]


def test_counts_and_latest_lot_stand_first(html):
    text = squeezed(Page(html).text)
    assert "9 lots, 14 January 2025 to 14 May 2026: 3 accept, 4 tune, 2 reject" in text
    assert "BP-2605, 14 May 2026: reject, provisional" in text


def test_every_lot_is_drawn(html, supplier_lots):
    labels = " ".join(e.attributes.get("aria-label", "") for e in Page(html).all("svg"))
    for lot in supplier_lots:
        assert f"lot {lot.lot}, {lot.verdict}" in labels
        assert f"{lot.lot} {lot.mean_mm:.3f}" in labels  # in the plot of the means


def test_lots_of_two_nominal_diameters_do_not_share_a_scale(supplier_lots):
    thick = replace(
        supplier_lots[0],
        lot="BP-285",
        nominal_mm=2.85,
        strips=tuple(
            replace(s, low_mm=s.low_mm + 1.1, high_mm=s.high_mm + 1.1, mean_mm=s.mean_mm + 1.1)
            for s in supplier_lots[0].strips
        ),
    )
    page = Page(supplier_page("Brightwater Polymers", [*supplier_lots, thick]))
    captions = [squeezed(e.text) for e in page.all("figcaption")]
    assert any("BP-285, nominal diameter 2.85 mm" in c for c in captions)
    assert not any("BP-2501" in c and "2.85" in c for c in captions)


def test_little_may_be_known(supplier_lots):
    bare = replace(
        supplier_lots[0],
        received=None,
        product=None,
        material=None,
        mean_mm=None,
        mean_ci95_mm=(None, None),
        sd_mm=None,
        sd_ci95_mm=(None, None),
        price_per_litre=None,
        currency=None,
        nominal_mm=None,
        tolerance_mm=None,
        strips=(),
    )
    for lots in ([], [bare], [bare, supplier_lots[1]]):
        page = Page(supplier_page("Kranich Filament", lots))
        assert page.unbalanced == []
        assert "None" not in page.text
    assert "No lots are known." in Page(supplier_page("", [])).text


def test_markup_in_names_is_shown_and_not_obeyed(supplier_lots):
    evil = "<img src=x onerror=alert(1)>"
    page = Page(supplier_page(evil, [replace(supplier_lots[0], lot=evil, product=evil)]))
    assert page.all("img") == []
    assert evil in page.text


def test_more_lots_than_fit_one_plot_go_on_in_the_next(supplier_lots):
    lots = [replace(supplier_lots[k % 9], lot=f"L{k:03d}", strips=()) for k in range(60)]
    captions = [squeezed(e.text) for e in Page(supplier_page("x", lots)).all("figcaption")]
    assert sum("Mean of each lot" in c for c in captions) == 3
