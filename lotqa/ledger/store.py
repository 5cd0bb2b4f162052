"""The ledger as one object: open it, enter inspections, ask it, keep it safe."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import sqlalchemy as sa

from lotqa import __version__
from lotqa.errors import LedgerError
from lotqa.evidence.tares import TareRecord, empty_reels, record_for
from lotqa.ledger import coupons, efforts, queries, raw, record, studies, tares
from lotqa.ledger.efforts import EffortChange, EffortRow, KeptOutcome
from lotqa.ledger.engine import WRITES, make_engine, not_a_ledger, plain_words
from lotqa.ledger.location import Place, locate
from lotqa.ledger.rows import (
    BenchScale,
    Entry,
    InspectionRow,
    LotRow,
    RawRow,
    SpoolHindsight,
    SpoolPlaces,
    SpoolRow,
)
from lotqa.ledger.studies import KnownScatter, StudyEntry
from lotqa.ledger.tares import NewestLot, TareEntry, TareRow
from lotqa.ledger.upgrade import bring_up_to_date, no_ledger
from lotqa.model import CouponReference, LotInput, SourceFile

SQLITE_START = b"SQLite format 3\x00"  # SQLite documentation, "Database File Format", 1.3.1
BUSY_TIMEOUT_S = 5.0  # long enough for another bench to enter a lot, short enough to be told


class Ledger:
    """The database of everything inspected; use it in a ``with`` statement.

    Every method raises LedgerError, in one line that says what to do.
    """

    def __init__(self, place: Place, engine: sa.Engine, timeout_s: float) -> None:
        self._place = place
        self._engine = engine
        self._timeout_s = timeout_s

    @classmethod
    def open(cls, location: str, *, create: bool = True, timeout_s: float = BUSY_TIMEOUT_S) -> Self:
        """Open the ledger at a file path or database URL, bringing an older one up to date.

        ``create``: start a ledger where there is none.  ``timeout_s``: how long to wait for
        another process that is writing.
        """
        place = locate(location)
        if place.path is not None:
            _see_to_folder(place, place.path, create=create)
        engine = make_engine(place, timeout_s)
        try:
            with plain_words(place, timeout_s):
                bring_up_to_date(engine, place, create=create)
            _use_write_ahead_log(engine)
        except BaseException:
            engine.dispose()
            raise
        return cls(place, engine, timeout_s)

    @property
    def location(self) -> str:
        """The ledger's place as shown to people; a password is hidden."""
        return self._place.shown

    def close(self) -> None:
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def record(
        self,
        lot: LotInput,
        document: Mapping[str, Any],
        *,
        now: datetime,
        criteria_text: str,
        effort: EffortChange | None = None,
    ) -> Entry:
        """Enter an inspection whole, in one transaction, unless the same content is there.

        ``effort``: the change of effort that the lot brings; entered with a new inspection only.
        """
        prepared = record.prepare(lot, document, now=now, criteria_text=criteria_text)
        try:
            with self._writing() as connection:
                entered = _enter(connection, prepared, effort, self.location)
        except LedgerError as exc:
            if not isinstance(exc.__cause__, sa.exc.IntegrityError):
                raise
            # Another bench entered the same lot or content at the same moment: now it is there.
            with self._writing() as connection:
                entered = _enter(connection, prepared, effort, self.location)
        return Entry(
            entered.inspection,
            entered.lot_id,
            entered.new,
            entered.earlier_inspections,
            self.location,
        )

    def outcomes(self, supplier: str, material: str) -> list[KeptOutcome]:
        """How the lots of a supplier and material came out, in the order of their days."""
        with self._reading() as connection:
            return efforts.outcomes(connection, supplier, material)

    def efforts(self, supplier: str | None = None, material: str | None = None) -> list[EffortRow]:
        """The changes of effort recorded, oldest first; of one supplier or material where named."""
        with self._reading() as connection:
            return efforts.changes(connection, supplier, material)

    def record_study(
        self, document: Mapping[str, Any], file: SourceFile, *, now: datetime
    ) -> StudyEntry:
        """Enter a gauge study by its instrument, unless the same one is there."""
        row = studies.prepare(document, file, now=now)
        with self._writing() as connection:
            study, new = studies.enter(connection, row)
        return StudyEntry(study, new, self.location)

    def scatter_for(self, instrument: str) -> KnownScatter | None:
        """(sd_mm, df, when) of the newest study of an instrument; None if there is none."""
        with self._reading() as connection:
            return studies.scatter_for(connection, instrument)

    def record_tare(
        self,
        mass_g: float,
        *,
        supplier: str,
        weighed_at: date,
        now: datetime,
        reel_kind: str | None = None,
        reel_material: str | None = None,
        lot_id: int | None = None,
        spool: str | None = None,
        scale_step_g: float | None = None,
        limit_of_error_g: float | None = None,
        note: str | None = None,
    ) -> TareEntry:
        """Enter one weighing of an empty reel, unless the same line is there."""
        row = tares.prepare(
            supplier=supplier,
            mass_g=mass_g,
            weighed_at=weighed_at,
            now=now,
            reel_kind=reel_kind,
            reel_material=reel_material,
            lot_id=lot_id,
            spool=spool,
            scale_step_g=scale_step_g,
            limit_of_error_g=limit_of_error_g,
            note=note,
            program_version=__version__,
        )
        with self._writing() as connection:
            tare, new = tares.enter(connection, row, self.location)
        return TareEntry(tare, new, self.location)

    def withdraw_tare(self, tare: int, *, now: datetime, note: str | None = None) -> TareEntry:
        """Say that a weighing was a slip: it stays, and counts no more."""
        with self._writing() as connection:
            number, new = tares.withdraw(connection, tare, note, now, self.location)
        return TareEntry(number, new, self.location)

    def tares(self, *, supplier: str | None = None) -> list[TareRow]:
        """All weighings of empty reels that count: with inspected lots, then entered by hand."""
        with self._reading() as connection:
            return tares.tare_rows(connection, supplier=supplier)

    def tare_record(
        self, supplier: str | None, reel_kind: str | None, reel_material: str | None
    ) -> TareRecord | None:
        """What the reels of a supplier weigh: of this kind, else of this material, else None."""
        if not supplier:
            return None
        reels = empty_reels(row.weighing for row in self.tares(supplier=supplier))
        return record_for(reels, supplier, reel_kind, reel_material)

    def coupon_reference(
        self,
        own: Mapping[str, str | None],
        received: date | None,
        *,
        named: str | None = None,
        machine: str | None = None,
        route: str | None = None,
    ) -> CouponReference | None:
        """The coupon ``named`` as LOT/SPOOL, else the newest earlier one of ``machine``, or None.

        ``own`` are supplier, product, material, colour and lot of the lot that asks, ``received``
        its day.  Of the machine only a coupon whose spool was firmly accepted, and that did not
        disagree with a reference of its own.  Raises NoReference if the named one will not do.
        """
        asked = coupons.Asked(named, machine, route)
        with self._reading() as connection:
            return coupons.coupon_reference(connection, own, received, asked)

    def hindsight(
        self, *, scale: BenchScale, like_sd_g: float, supplier: str | None = None
    ) -> list[SpoolHindsight]:
        """What is known now of every spool whose reel was not weighed itself at intake.

        ``scale`` stands in where a weighing does not name its own; ``like_sd_g`` is what reels of
        one kind are known to differ by.
        """
        from lotqa.ledger.look_back import look_back

        with self._reading() as connection:
            return look_back(connection, scale, like_sd_g, supplier=supplier)

    def reel_of(self, lot_id: int) -> tuple[NewestLot, list[str], dict[str, float]] | None:
        """What the newest inspection of a lot says of its reels, its spools, and their gross."""
        with self._reading() as connection:
            lot = tares.lot_of(connection, lot_id)
            if lot is None:
                return None
            gross = tares.weigh_ins(connection, lot.inspection, "gross")
            spools = tares.spools_of(connection, lot.inspection)
            return lot, spools, {row["spool"]: row["mass_g"] for row in gross}

    def lots(self, *, supplier: str | None = None, material: str | None = None) -> list[LotRow]:
        """Each lot as its newest inspection sees it, in the order of their dates."""
        with self._reading() as connection:
            return queries.lots(connection, supplier=supplier, material=material)

    def lot_history(self, lot_key: str | int) -> list[InspectionRow]:
        """All inspections of a lot, oldest first; the lot by number or as in :meth:`find`."""
        with self._reading() as connection:
            lot_id = queries.lot_id_of(connection, lot_key, self.location)
            return queries.inspections(connection, lot_id)

    def find(self, text: str) -> list[LotRow]:
        """Lots by lot code, by ``supplier/lot`` or by number (``12`` or ``#12``)."""
        with self._reading() as connection:
            return queries.find(connection, text)

    def document(self, inspection: int) -> dict[str, Any]:
        """The inspection document, its place in this ledger filled in."""
        with self._reading() as connection:
            return queries.document(connection, inspection, self.location)

    def sources(self, inspection: int) -> list[tuple[str, bytes]]:
        """The files of an inspection exactly as they came: (name, content)."""
        with self._reading(inspection) as connection:
            return queries.sources(connection, inspection)

    def raw_rows(self, inspection: int, *, spool: str | None = None) -> list[RawRow]:
        """The readings of an inspection, each beside its row as typed."""
        with self._reading(inspection) as connection:
            return raw.raw_rows(connection, inspection, spool=spool)

    def spool_summaries(
        self, *, supplier: str | None = None, material: str | None = None
    ) -> list[SpoolRow]:
        """The spools of each lot's newest inspection, in the order of the lots' dates."""
        with self._reading() as connection:
            return queries.spool_summaries(connection, supplier=supplier, material=material)

    def places(self, inspection: int, *, spools: Sequence[str] | None = None) -> list[SpoolPlaces]:
        """The places of each spool, or of those named, as read; for strips."""
        with self._reading(inspection) as connection:
            return raw.places(connection, inspection, spools=spools)

    def export(self, folder: Path) -> list[Path]:
        """Write everything as plain files into a new or empty folder; returns the files."""
        from lotqa.ledger.export import export

        with self._reading() as connection:
            return export(connection, folder)

    def backup(self, target: Path) -> None:
        """Copy the ledger while it is in use, and verify the copy; never overwrites a file."""
        from lotqa.ledger.backup import backup

        with self._reading() as connection:
            backup(connection, target, self.location)

    def check(self) -> list[str]:
        """What is wrong with the ledger, one sentence each; [] when it is sound."""
        from lotqa.ledger.check import check

        with self._reading() as connection:
            return check(connection)

    @contextmanager
    def _reading(self, inspection: int | None = None) -> Iterator[sa.Connection]:
        """A transaction that sees one unchanging state; the inspection must exist if named."""
        # A SQLite transaction sees one state by itself; a server has to be asked for it.
        options = {} if self._place.path else {"isolation_level": "REPEATABLE READ"}
        with (
            plain_words(self._place, self._timeout_s),
            self._engine.connect().execution_options(**options) as connection,
        ):
            if inspection is not None:
                queries.require_inspection(connection, inspection, self.location)
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[sa.Connection]:
        """A transaction that holds the write lock from its beginning; whole or absent."""
        with (
            plain_words(self._place, self._timeout_s),
            self._engine.connect().execution_options(**{WRITES: True}) as connection,
            connection.begin(),
        ):
            yield connection


def _enter(
    connection: sa.Connection,
    prepared: record.Prepared,
    effort: EffortChange | None,
    shown: str,
) -> record.Entered:
    """One inspection and the change it brings, in the transaction that the caller holds."""
    entered = record.enter(connection, prepared)
    if effort is not None and entered.new:
        efforts.enter(connection, effort, entered.inspection, shown)
    return entered


def _see_to_folder(place: Place, path: Path, *, create: bool) -> None:
    try:
        if path.is_dir():
            raise LedgerError(
                f"ledger {place.shown} is a folder: name a file in it, "
                f"such as {Path(place.shown) / 'ledger.sqlite'}"
            )
        if path.exists():
            _see_to_kind(place, path)
            return
        if not create:
            raise LedgerError(no_ledger(place))
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        reason = (exc.strerror or str(exc)).lower()
        raise LedgerError(
            f"ledger {place.shown} cannot be made: its folder {path.parent} cannot be used "
            f"({reason}): name another place"
        ) from exc


def _see_to_kind(place: Place, path: Path) -> None:
    """SQLite takes a very short file for an empty database and would write over it."""
    try:
        with path.open("rb") as file:
            start = file.read(len(SQLITE_START))
    except PermissionError:
        return  # SQLite will say it
    if start not in (b"", SQLITE_START):
        raise LedgerError(not_a_ledger(place))


def _use_write_ahead_log(engine: sa.Engine) -> None:
    """Let readers and a writer work side by side (SQLite only).

    A ledger on a read-only disk, or one that others are using at this moment, works without: the
    next opening tries again.  The mode is kept in the file, so this writes once.
    """
    if engine.dialect.name != "sqlite":
        return
    connection = engine.raw_connection()
    try:
        cursor = connection.cursor()
        if cursor.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
            cursor.execute("PRAGMA journal_mode = WAL")
    except engine.dialect.dbapi.OperationalError:  # type: ignore[union-attr]  # dbapi is sqlite3
        pass
    finally:
        connection.close()
