"""Pages and plots: a document of an inspection goes in, a self-contained HTML page comes out.

Nothing is computed here.  A document becomes a view, in which every number is text already, and
the view goes into a template.  Jinja2 and matplotlib are loaded when something is drawn.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from lotqa.errors import LotqaError
from lotqa.report.page import render, safe_name, write_page
from lotqa.report.strip import Strip, SupplierLot

__all__ = [
    "Strip",
    "SupplierLot",
    "lot_page",
    "safe_name",
    "supplier_page",
    "write_page",
]

SCHEMA: Final = "lotqa.inspection.v1"


def lot_page(document: Mapping[str, Any], strips: Sequence[Strip]) -> str:
    """The page of one lot from its inspection document and the places of its spools.

    Raises LotqaError if the document is of another kind or version.
    """
    from lotqa.report.lot_view import lot_view

    if document.get("schema") != SCHEMA:
        raise LotqaError(
            f'the document says schema "{document.get("schema")}": '
            f"a lot page is drawn from {SCHEMA}; inspect the lot again with this version"
        )
    return render("lot.html.jinja", view=lot_view(document, strips))


def supplier_page(supplier: str, lots: Sequence[SupplierLot]) -> str:
    """The page of one supplier: all lots in the order received, on one scale."""
    from lotqa.report.supplier_view import supplier_view

    return render("supplier.html.jinja", view=supplier_view(supplier, lots))
