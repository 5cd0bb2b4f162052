"""Reading a document without tripping over what it does not hold.

A block may be None where nothing was measured, and a document kept in a ledger may be older than
the newest of its keys; both read as 'not known'.
"""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from lotqa.report.texts import plain
from lotqa.report.words import WORDS


def get(block: Mapping[str, Any] | None, *path: str) -> Any:
    """The value at ``path``, or None where any step is absent or None.

    >>> get({"weight": None}, "weight", "net_g") is None
    True
    """
    here: Any = block
    for key in path:
        if not isinstance(here, Mapping):
            return None
        here = here.get(key)
    return here


def rows(block: Mapping[str, Any] | None, *path: str) -> list[Any]:
    """The list at ``path``, empty where it is absent."""
    return list(get(block, *path) or [])


def text(block: Mapping[str, Any] | None, *path: str) -> str:
    """The text at ``path`` made fit for a page, or a dash."""
    value = get(block, *path)
    return WORDS.dash if value is None or value == "" else plain(str(value))


def joined_known(parts: Iterable[Any], between: str = " ") -> str:
    """The known parts of a name in one string."""
    return between.join(plain(str(p)) for p in parts if p not in (None, ""))


def day(iso: str | None) -> str:
    """An ISO date with the name of its month, which no reader takes for another order.

    >>> day("2026-03-06"), day("2026-03-06T10:22:00+00:00"), day(None), day("soon")
    ('6 March 2026', '6 March 2026', '–', 'soon')
    """
    if not iso:
        return WORDS.dash
    try:
        when = date.fromisoformat(str(iso)[:10])
    except ValueError:
        return plain(str(iso))
    return WORDS.date.format(day=when.day, month=WORDS.months[when.month - 1], year=when.year)
