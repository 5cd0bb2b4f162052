"""Where a ledger lies: a file path or a database URL, and how it is named to people."""

from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from lotqa.errors import LedgerError


@dataclass(frozen=True, slots=True)
class Place:
    """``path`` is None for a database that is not a SQLite file."""

    url: sa.URL
    path: Path | None
    shown: str  # for messages and documents; a password is hidden


def default_location() -> str:
    """The ledger file in the user's data folder."""
    import platformdirs

    return str(Path(platformdirs.user_data_dir("lotqa", appauthor=False)) / "ledger.sqlite")


def locate(location: str) -> Place:
    """Read a file path or URL; raises LedgerError for a URL that names no ledger."""
    text = location.strip()
    if not text:
        raise LedgerError("ledger: the location is empty: give a file or a database URL")
    if "://" not in text:
        path = Path(text).expanduser().absolute()
        return Place(sa.URL.create("sqlite", database=str(path)), path, text)
    try:
        url = sa.make_url(text)
        backend = url.get_backend_name()
    except (sa.exc.ArgumentError, ValueError):
        # The text is not repeated: a mistyped URL may hold a password.
        raise LedgerError(
            "ledger: the database URL cannot be read: "
            "write a file path, sqlite:///FILE or postgresql://USER@HOST/DATABASE"
        ) from None
    shown = text if backend == "sqlite" else url.render_as_string(hide_password=True)
    if backend == "postgresql":
        return Place(url.set(drivername="postgresql+psycopg"), None, shown)
    if backend != "sqlite":
        raise LedgerError(
            f'ledger {shown}: "{backend}" is not a database that lotqa keeps a ledger in: '
            "give a file path, sqlite:///FILE or postgresql://USER@HOST/DATABASE"
        )
    if not url.database or url.database == ":memory:" or url.database.startswith("file:"):
        raise LedgerError(f"ledger {shown}: a ledger needs a file: write sqlite:///FILE")
    path = Path(url.database).expanduser().absolute()
    return Place(sa.URL.create("sqlite", database=str(path)), path, shown)


def ledger_exists(location: str) -> bool:
    """Whether a ledger file is there; a database on a server is always taken as there.

    An empty file is none yet: the first inspection makes it one.
    """
    place = locate(location)
    if place.path is None:
        return True
    return place.path.is_file() and place.path.stat().st_size > 0
