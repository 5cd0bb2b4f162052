"""Views into templates into pages: one file that needs nothing from outside itself."""

import hashlib
import os
import re
import tempfile
import unicodedata
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lotqa.errors import LotqaError
from lotqa.report.looks import MARKS, PAGE_FONT, PALETTE
from lotqa.report.words import WORDS

if TYPE_CHECKING:
    from jinja2 import Environment

LONGEST_NAME: Final = 80  # characters; well below what file systems allow, with room for a folder
HASH_LENGTH: Final = 6
_UNSAFE = re.compile(r"[^\w.-]+|\.{2,}")
# Names that one common system keeps for devices, with any ending.
_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


@cache
def environment() -> "Environment":
    """The templates, with every text escaped and every missing name an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    env = Environment(
        loader=PackageLoader("lotqa.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.globals.update(w=WORDS, marks=MARKS, palette=PALETTE, page_font=PAGE_FONT)
    env.filters["css_text"] = css_text
    return env


def render(template: str, **views: Any) -> str:
    """The page of ``template``; raises jinja2.UndefinedError if a view lacks what it names."""
    return environment().get_template(template).render(**views)


def css_text(text: str) -> str:
    """``text`` inside a quoted string of a style sheet, whatever is in it.

    Letters, digits and spaces stand as they are; everything else is written as its number, so no
    character can end the string or the style sheet.

    >>> css_text('A "1"</style>')
    'A \\\\22 1\\\\22 \\\\3c \\\\2f style\\\\3e '
    """
    return "".join(c if c.isalnum() or c == " " else f"\\{ord(c):x} " for c in text)


def safe_name(name: str) -> str:
    """A file name without ending made of ``name``; different names stay different.

    Only letters, digits, point, hyphen and underscore are kept.  Where something had to go, a
    few characters of a hash are added, so that ``A/1`` and ``A-1`` get two files.

    >>> safe_name("KF-26-0217"), safe_name("../../etc/passwd")[:11]
    ('KF-26-0217', 'etc-passwd-')
    """
    composed = unicodedata.normalize("NFC", name)
    safe = _UNSAFE.sub("-", composed).strip(".-")[:LONGEST_NAME].rstrip(".-")
    if safe and safe == name and not _DEVICES.fullmatch(safe):
        return safe
    tag = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:HASH_LENGTH]
    return f"{safe}-{tag}" if safe and not _DEVICES.fullmatch(safe) else f"page-{tag}"


def write_page(html: str, folder: Path, name: str) -> Path:
    """Write a page into ``folder`` under a safe form of ``name`` and return its path.

    The page appears whole or not at all.  Raises LotqaError if the folder cannot be written to.
    """
    target = folder / f"{safe_name(name)}.html"
    part: Any = None
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", errors="replace", dir=folder, suffix=".part", delete=False
        ) as part:
            part.write(html)
        os.chmod(part.name, 0o644)
        os.replace(part.name, target)
    except OSError as failed:
        reason = (failed.strerror or str(failed)).lower()
        raise LotqaError(
            f"{folder}: the page {target.name} cannot be written ({reason}): "
            "choose a folder that you may write to"
        ) from failed
    finally:  # also when somebody presses Ctrl-C in the middle
        if part is not None:
            Path(part.name).unlink(missing_ok=True)
    return target
