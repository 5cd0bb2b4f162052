"""A matplotlib figure as a piece of SVG that can stand inside a page.

The same figure gives the same bytes: fixed salt for the ids, no date, no creator.  Text stays
text, so that it can be searched, copied and read by a screen reader; it is laid out with a wide
font and shown in the font of the page, which is narrower, so nothing is cut.  All ids get a
prefix, since several figures share a page and matplotlib numbers each from one.
"""

import hashlib
import io
import re
import warnings
from typing import TYPE_CHECKING, Final
from xml.sax.saxutils import escape, quoteattr

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SALT: Final = "lotqa"
KEY_LENGTH: Final = 10
_FRONT = re.compile(r"\A.*?(?=<svg\b)", re.DOTALL)
# The style would reach out of the figure into the whole page; its one rule moves to the root.
_DROPPED = re.compile(
    r"\s*<metadata>.*?</metadata>|\s*<defs>\s*<style\b.*?</style>\s*</defs>", re.DOTALL
)
_ROOT = re.compile(r"<svg\b[^>]*>")
_VIEW_BOX = re.compile(r'viewBox="[^"]*"')
_TAG = re.compile(r"<[^!?/][^>]*>")
_ID = re.compile(r'(\bid="|xlink:href="#|url\(#)')
_FONT_FAMILY = re.compile(r"font-family: [^;\"]*")


def figure_svg(fig: "Figure", *, label: str = "", key: str | None = None) -> str:
    """The figure as one ``<svg>`` element without a fixed size.

    ``label`` is the text alternative; without it the label that the drawing function left on the
    figure is taken.  ``key`` begins every id; without it a hash of the drawing is used, so two
    different figures never share an id.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    buffer = io.StringIO()
    with rc_context({"svg.hashsalt": SALT, "svg.fonttype": "none"}), warnings.catch_warnings():
        # The font of the layout lacks some scripts; the page shows them with the reader's fonts.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        fig.set_canvas(FigureCanvasSVG(fig))
        fig.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    text = _DROPPED.sub("", _FRONT.sub("", buffer.getvalue())).strip()
    key = key or "f" + hashlib.sha256(text.encode()).hexdigest()[:KEY_LENGTH]
    text = _TAG.sub(lambda tag: _ID.sub(rf"\g<1>{key}-", tag[0]), text)
    text = _TAG.sub(lambda tag: _FONT_FAMILY.sub("font-family: inherit", tag[0]), text)
    return _ROOT.sub(lambda root: _root(root[0], str(label or fig.get_label())), text, count=1)


def _root(old: str, label: str) -> str:
    view_box = _VIEW_BOX.search(old)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
        f' class="plot" role="img" aria-label={quoteattr(label)} stroke-linejoin="round"'
        f" {view_box[0] if view_box else ''}><title>{escape(label)}</title>"
    )
