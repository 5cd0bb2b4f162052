"""A page taken apart by Python's own HTML parser, for tests to look into."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "br", "hr", "img", "link", "input", "path", "circle", "use"}


@dataclass
class Element:
    tag: str
    attributes: dict[str, str]
    parents: tuple[str, ...]
    text: str = ""


@dataclass
class Page(HTMLParser):
    """Elements in order, the visible text, and every tag that closes what was not open."""

    elements: list[Element] = field(default_factory=list)
    unbalanced: list[str] = field(default_factory=list)
    text: str = ""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements, self.unbalanced, self.text = [], [], ""
        self._open: list[Element] = []
        self.feed(html)
        self.close()
        self.unbalanced += [f"<{e.tag}> stays open" for e in self._open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = self._add(tag, attrs)
        if tag not in ("meta", "br", "hr", "img", "link", "input"):
            self._open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._add(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        if self._open and self._open[-1].tag == tag:
            self._open.pop()
        else:
            self.unbalanced.append(f"</{tag}>")

    def handle_data(self, data: str) -> None:
        for element in self._open:
            element.text += data
        if not any(e.tag in ("style", "script", "title") for e in self._open):
            self.text += data

    def all(self, tag: str) -> list[Element]:
        return [e for e in self.elements if e.tag == tag]

    def _add(self, tag: str, attrs: list[tuple[str, str | None]]) -> Element:
        element = Element(tag, {k: v or "" for k, v in attrs}, tuple(e.tag for e in self._open))
        self.elements.append(element)
        return element


def squeezed(text: str) -> str:
    """Text with every run of white space as one space, as a browser shows it."""
    return " ".join(text.split())


# ------------------------------------------------------------------ guards used by several tests


def unlabelled_pictures(page: Page) -> list[Element]:
    """SVG elements that neither have a text alternative nor are hidden from a reader."""
    return [
        e
        for e in page.all("svg")
        if e.attributes.get("aria-hidden") != "true"
        and not (e.attributes.get("role") == "img" and e.attributes.get("aria-label", "").strip())
    ]


def cells_without_scope(page: Page) -> list[Element]:
    return [e for e in page.all("th") if e.attributes.get("scope") not in ("col", "row")]


def outside_requests(html: str) -> list[str]:
    """Everything that would make a browser ask another place for something."""
    page = Page(html)
    found = []
    for e in page.elements:
        for name, value in e.attributes.items():
            if name in ("src", "href", "xlink:href", "srcset", "data", "poster", "action"):
                if not value.startswith("#"):
                    found.append(f"{e.tag} {name}={value}")
            elif "url(" in value and "url(#" not in value:
                found.append(f"{e.tag} {name}={value}")
    for e in page.all("style"):
        if "@import" in e.text or "url(" in e.text:
            found.append("style")
    found += [e.tag for e in page.elements if e.tag in ("script", "link", "iframe", "object")]
    return found


def repeated_ids(page: Page) -> set[str]:
    ids = [e.attributes["id"] for e in page.elements if "id" in e.attributes]
    return {i for i in ids if ids.count(i) > 1}
