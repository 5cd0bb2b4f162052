"""Pages and plots: a document of an inspection goes in, a self-contained HTML page comes out.

Nothing is computed here.  A document becomes a view, in which every number is text already, and
the view goes into a template.  Jinja2 and matplotlib are loaded when something is drawn.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

from lotqa.errors import LotqaError
from lotqa.report.page import render, safe_name, write_page
from lotqa.report.strip import CardsLink, Strip, SupplierLot

if TYPE_CHECKING:
    from lotqa.findings import Catalogue

__all__ = [
    "CardsLink",
    "Strip",
    "SupplierLot",
    "cards_page",
    "lot_page",
    "plan_page",
    "safe_name",
    "supplier_page",
    "write_lot_pages",
    "write_page",
]

SCHEMA: Final = "lotqa.inspection.v1"


def lot_page(
    document: Mapping[str, Any], strips: Sequence[Strip], cards: CardsLink | None = None
) -> str:
    """The page of one lot from its inspection document and the places of its spools.

    ``cards`` is where its tuning cards lie, beside the page.
    Raises LotqaError if the document is of another kind or version.
    """
    from lotqa.report.lot_view import lot_view

    if document.get("schema") != SCHEMA:
        raise LotqaError(
            f'the document says schema "{document.get("schema")}": '
            f"a lot page is drawn from {SCHEMA}; inspect the lot again with this version"
        )
    return render("lot.html.jinja", view=lot_view(document, strips), cards=cards)


def cards_page(document: Mapping[str, Any]) -> str:
    """The tuning cards of one lot: one for each spool that is to be tuned, none if none is."""
    from lotqa.report.tuning_card import cards_view

    return render("tuning_card.html.jinja", view=cards_view(document))


def write_lot_pages(
    document: Mapping[str, Any], strips: Sequence[Strip], folder: Path, name: str
) -> tuple[Path, Path | None]:
    """Write the page of a lot and, if a spool is to be tuned, its cards; their paths.

    Cards that an earlier inspection left there are written over, so that no old number stays.
    Raises LotqaError if the folder cannot be written to.
    """
    from lotqa.report.card_words import CARD_WORDS
    from lotqa.report.tuning_card import has_cards

    name_of_cards = f"{safe_name(name)}_cards"
    file = f"{safe_name(name_of_cards)}.html"
    wanted = has_cards(document)
    link = CardsLink(quote(file), CARD_WORDS.link) if wanted else None
    html = lot_page(document, strips, link)
    cards = None
    if wanted or (folder / file).exists():
        cards = write_page(cards_page(document), folder, name_of_cards)
    return write_page(html, folder, name), cards if wanted else None


def plan_page(document: Mapping[str, Any], catalogue: "Catalogue", made_on: str) -> str:
    """The page of a plan, with the weigh list and the measuring sheets, made on an ISO day."""
    from lotqa.report.plan_view import plan_view

    return render("plan.html.jinja", view=plan_view(document, catalogue, made_on))


def supplier_page(supplier: str, lots: Sequence[SupplierLot]) -> str:
    """The page of one supplier: all lots in the order received, on one scale."""
    from lotqa.report.supplier_view import supplier_view

    return render("supplier.html.jinja", view=supplier_view(supplier, lots))
