"""Gauge studies in the ledger: kept by instrument, the newest one speaks.

An instrument is the same whatever the case and the blanks its name was typed with.  The same file
with the same outcome is entered once.
"""

import hashlib
import json
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.ledger import schema
from lotqa.ledger.content import sha256_of_text
from lotqa.ledger.summary import Values, finite, json_text, storable, utc, utc_text
from lotqa.model import SourceFile

ZLIB_LEVEL = 6  # a study is small: the size counts, not the time


@dataclass(frozen=True, slots=True)
class StudyEntry:
    """Where a study stands in the ledger."""

    study: int
    new: bool  # False: the same study was already there and nothing was entered
    location: str


class KnownScatter(NamedTuple):
    """Scatter of one reading, rounding taken out, from the newest study of an instrument."""

    sd_mm: float
    df: float
    when: datetime


def instrument_key(name: str) -> str:
    """An instrument's name without case and extra blanks.

    >>> instrument_key(" Bench  Calliper")
    'bench calliper'
    """
    return " ".join(storable(name).split()).casefold()


def prepare(document: Mapping[str, Any], file: SourceFile, *, now: datetime) -> Values:
    """The row of a study; LedgerError without the name of an instrument."""
    name = storable(str(document.get("instrument") or ""))
    if not instrument_key(name):
        raise LedgerError("the study names no instrument: give its name with --instrument")
    try:
        text = json_text({**document, "ledger": None})
    except ValueError as exc:
        raise LedgerError(
            f"the study cannot be kept ({exc}): unknown numbers must be null"
        ) from exc
    columns = _columns(document)
    return {
        **columns,
        "content_hash": _content_hash(file.sha256, columns),
        "entered_at": utc_text(now),
        "study_document": text,
        "file": storable(file.name),
        "file_sha256": file.sha256,
        "file_zlib": zlib.compress(file.content, ZLIB_LEVEL),
    }


def _columns(document: Mapping[str, Any]) -> Values:
    """Columns taken from the document, which must for ever say the same."""
    sd_mm = {c["name"]: finite(c["sd_mm"]) for c in document["components"]}
    name = storable(str(document["instrument"]))
    return {
        "instrument": name,
        "instrument_key": instrument_key(name),
        "studied_at": utc_text(document["studied_at"]),
        "program_version": storable(str(document.get("program_version") or "")),
        "n_places": int(document["places"]),
        "n_operators": len(document["operators"]),
        "n_trials": int(document["trials"]),
        "step_mm": float(document["step_mm"]),
        "tolerance_mm": finite(document.get("tolerance_mm")),
        "scatter_sd_mm": float(document["scatter"]["sd_mm"]),
        "scatter_df": float(document["scatter"]["df"]),
        "repeatability_sd_mm": sd_mm["repeatability"],
        "reproducibility_sd_mm": sd_mm.get("reproducibility"),
        "gauge_sd_mm": sd_mm["gauge"],
        "place_sd_mm": sd_mm["place"],
    }


def _content_hash(file_sha256: str, columns: Values) -> str:
    parts = [file_sha256, *(columns[k] for k in ("instrument_key", "scatter_sd_mm", "scatter_df"))]
    return sha256_of_text(json_text(parts))


def enter(connection: sa.Connection, row: Values) -> tuple[int, bool]:
    """(number, new) of a study; the caller holds the transaction."""
    table = schema.gauge_study
    found = connection.execute(
        sa.select(table.c.id).where(table.c.content_hash == row["content_hash"])
    ).scalar_one_or_none()
    if found is not None:
        return int(found), False
    return int(connection.execute(table.insert().returning(table.c.id), row).scalar_one()), True


def scatter_for(connection: sa.Connection, instrument: str) -> KnownScatter | None:
    """What the newest study of an instrument found; None if there is none."""
    table = schema.gauge_study
    row = connection.execute(
        sa.select(table.c.scatter_sd_mm, table.c.scatter_df, table.c.studied_at)
        .where(table.c.instrument_key == instrument_key(instrument))
        .order_by(table.c.studied_at.desc(), table.c.id.desc())
        .limit(1)
    ).one_or_none()
    return None if row is None else KnownScatter(row[0], row[1], utc(row[2]))


def study_files(connection: sa.Connection) -> Iterator[tuple[int, str, bytes]]:
    """(number, name, content) of the file of every study, exactly as it came."""
    table = schema.gauge_study
    columns = (table.c.id, table.c.file, table.c.file_zlib)
    for key, name, packed in connection.execute(sa.select(*columns).order_by(table.c.id)).all():
        yield key, name, zlib.decompress(packed)


def check_studies(connection: sa.Connection, advice: str) -> Iterator[str]:
    """What is wrong with the studies, one sentence each, ending with ``advice``."""
    table = schema.gauge_study
    for found in connection.execute(sa.select(table).order_by(table.c.id)).mappings().all():
        row, where = dict(found), f"gauge study {found['id']}"
        try:
            content = zlib.decompress(row["file_zlib"])
        except zlib.error as exc:
            yield f"{where}: file {row['file']} cannot be unpacked ({exc}): {advice}"
        else:
            if hashlib.sha256(content).hexdigest() != row["file_sha256"]:
                yield f"{where}: file {row['file']} differs from its hash: {advice}"
        try:
            expected = _columns(json.loads(row["study_document"]))
        except (ValueError, TypeError, KeyError, AttributeError) as exc:
            yield (f"{where}: the document cannot be read ({type(exc).__name__}: {exc}): {advice}")
            continue
        expected["content_hash"] = _content_hash(row["file_sha256"], expected)
        for column, value in expected.items():
            if row[column] != value:
                yield (
                    f"{where}: column {column} is {row[column]}, the document says {value}: "
                    f"{advice}"
                )
