"""The whole ledger as plain files: one CSV a table, documents as JSON lines, raw files as files.

    columns.csv             what each column means
    lot.csv, reading.csv …  one table each; NULL is an empty field; UTF-8 with byte-order mark,
                            so that spreadsheets read it as UTF-8
    documents.jsonl         one inspection document a line
    criteria/<sha256>.toml  the criteria
    files/<inspection>/…    the raw files exactly as they came
    files/studies/…         the files of gauge studies

Text that a spreadsheet would take for a formula gets a leading apostrophe.  Text that would then
look the same without need gets a further one, so taking one apostrophe away from every text
that matches ``FORMULA`` gives back the ledger's text exactly.
"""

import csv
import os
import re
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.ledger import schema
from lotqa.ledger.queries import sources
from lotqa.ledger.studies import study_files

FETCH_ROWS = 10_000  # rows in memory at a time
NAME_LENGTH = 80  # of a raw file: well under the 255 bytes that file systems allow

# What starts a formula in a spreadsheet (also in its full-width form), behind blanks or not.
FORMULA = re.compile(r"'*(?:[\t\r\n]|\s*[=+\-@\uff1d\uff0b\uff0d\uff20])")

# Long texts that stand in files of their own.
_ELSEWHERE = {"document", "criteria_text", "content_zlib", "file_zlib"}


def export(connection: sa.Connection, folder: Path) -> list[Path]:
    """Write all files into a new or empty folder, which appears only when it is complete."""
    passing = folder.with_name(f".{folder.name}.part-{os.getpid()}")
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise LedgerError(f"export {folder} is not an empty folder: choose a new one")
        folder.parent.mkdir(parents=True, exist_ok=True)
        passing.mkdir()
        try:
            written = _write_all(connection, passing)
            if folder.exists():
                folder.rmdir()
            passing.rename(folder)
        except BaseException:
            shutil.rmtree(passing, ignore_errors=True)
            raise
    except OSError as exc:
        reason = (exc.strerror or str(exc)).lower()
        raise LedgerError(
            f"export {folder} cannot be written ({reason}): choose another folder or make room"
        ) from exc
    return [folder / path.relative_to(passing) for path in written]


def _write_all(connection: sa.Connection, folder: Path) -> list[Path]:
    written = [_columns(folder)]
    for table in schema.metadata.sorted_tables:
        written.append(_table(connection, table, folder))
    written.append(_documents(connection, folder))
    written += _criteria(connection, folder)
    written += _raw_files(connection, folder)
    written += _study_files(connection, folder)
    return written


def _columns(folder: Path) -> Path:
    rows = (
        (table.name, column.name, str(column.type), column.comment)
        for table in schema.metadata.sorted_tables
        for column in table.columns
    )
    return _csv(folder / "columns.csv", ("table", "column", "type", "meaning"), rows)


def _table(connection: sa.Connection, table: sa.Table, folder: Path) -> Path:
    columns = [column for column in table.columns if column.name not in _ELSEWHERE]
    names = [column.name for column in columns]
    kept = _rows(connection, table, columns)
    rows: Iterable[Sequence[Any]] = kept
    if table is schema.source_file:
        rows = ((*row, stored_as(row.inspection_id, row.n, row.name)) for row in kept)
        names.append("stored_as")
    return _csv(folder / f"{table.name}.csv", names, rows)


def _documents(connection: sa.Connection, folder: Path) -> Path:
    path = folder / "documents.jsonl"
    table = schema.inspection
    with path.open("w", encoding="utf-8") as file:
        for key, document in _rows(connection, table, [table.c.id, table.c.document]):
            file.write(f'{{"inspection": {key}, "document": {document}}}\n')
    return path


def _criteria(connection: sa.Connection, folder: Path) -> list[Path]:
    table = schema.inspection
    written = []
    for sha256 in connection.execute(sa.select(table.c.criteria_sha256).distinct()).scalars():
        text = connection.execute(
            sa.select(table.c.criteria_text).where(table.c.criteria_sha256 == sha256).limit(1)
        ).scalar_one()
        path = folder / "criteria" / f"{safe_name(sha256)}.toml"
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(text.encode("utf-8"))
        written.append(path)
    return written


def _raw_files(connection: sa.Connection, folder: Path) -> list[Path]:
    written = []
    for key in connection.execute(sa.select(schema.inspection.c.id)).scalars().all():
        for n, (name, content) in enumerate(sources(connection, key), start=1):
            path = folder / stored_as(key, n, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
            written.append(path)
    return written


def _study_files(connection: sa.Connection, folder: Path) -> list[Path]:
    written = []
    for key, name, content in study_files(connection):
        path = folder / "files" / "studies" / f"{int(key)}-{safe_name(name)}"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        written.append(path)
    return written


def stored_as(inspection_id: int, n: int, name: str) -> str:
    """Where a raw file stands in the export; nothing in its name can lead out of the folder."""
    return f"files/{int(inspection_id)}/{int(n)}-{safe_name(name)}"


def safe_name(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9._-]+", "_", text)[-NAME_LENGTH:]


def neutral(value: Any) -> Any:
    """A field for a spreadsheet: text that would be a formula gets a leading apostrophe.

    >>> neutral("=1+1"), neutral("PLA"), neutral(-0.5)
    ("'=1+1", 'PLA', -0.5)
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str) and FORMULA.match(value):
        return f"'{value}"
    return value


def _rows(
    connection: sa.Connection, table: sa.Table, columns: Sequence[sa.Column[Any]]
) -> Iterable[Any]:
    statement = sa.select(*columns).order_by(*table.primary_key.columns)
    return connection.execution_options(yield_per=FETCH_ROWS).execute(statement)


def _csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> Path:
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        for row in rows:
            writer.writerow([neutral(value) for value in row])
    return path
