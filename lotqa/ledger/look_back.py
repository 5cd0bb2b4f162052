"""What the ledger knows now of spools whose reel was not weighed itself when they came.

A spool's reel is known best by itself, weighed empty when the spool ran out.  Else by the reels of
its lot or by the supplier's record of its kind, whichever tells its mass more closely.  Worked
out each time it is asked for, never stored: what was said at intake stays as it was said.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from lotqa.evidence.hindsight import hindsight
from lotqa.evidence.tares import (
    EmptyReel,
    TareRecord,
    empty_reels,
    record_for,
    record_of,
    tare_from_record,
)
from lotqa.evidence.weight import u_weighing_g
from lotqa.ledger import schema
from lotqa.ledger.rows import BenchScale, KnownNow, SpoolHindsight
from lotqa.ledger.summary import COVERAGE_FACTOR, storable
from lotqa.ledger.tares import NewestLot, TareRow, newest_lots, tare_rows, weigh_ins


@dataclass(frozen=True, slots=True)
class _Now:
    """What a reel is known to weigh now."""

    tare: tuple[float, float]
    known: KnownNow
    n_reels: int


def look_back(
    connection: sa.Connection, scale: BenchScale, like_sd_g: float, *, supplier: str | None = None
) -> list[SpoolHindsight]:
    """All spools with a gross mass whose reel was not weighed itself, in the order of the lots."""
    rows = tare_rows(connection, supplier=supplier)
    reels = empty_reels(row.weighing for row in rows)
    table = schema.inspection
    found = []
    for lot in newest_lots(connection, supplier):
        text = connection.execute(
            sa.select(table.c.document).where(table.c.id == lot.inspection)
        ).scalar_one()
        document = json.loads(text)
        bench = _scale_of(document, scale)
        known = _Known([row for row in rows if row.lot_id == lot.lot_id], reels, like_sd_g, bench)
        steps = {
            row["spool"]: row["scale_step_g"]
            for row in weigh_ins(connection, lot.inspection, "gross")
            if row["scale_step_g"] is not None
        }
        for block in document.get("spools") or ():
            one = _spool(lot, document, block, known, steps)
            if one is not None:
                found.append(one)
    return found


@dataclass(frozen=True, slots=True)
class _Known:
    """What is known of the reels of one lot."""

    of_lot: Sequence[TareRow]
    reels: Sequence[EmptyReel]
    like_sd_g: float
    scale: BenchScale

    def now(self, lot: NewestLot, spool: str) -> _Now | None:
        """The best that is known of the reel under one spool."""
        own = [row for row in self.of_lot if row.spool == spool]
        if own:
            mass_g = sum(row.mass_g for row in own) / len(own)
            return _Now((mass_g, max(self._u(row) for row in own)), "itself", 1)
        alike = record_of(empty_reels(row.weighing for row in self.of_lot))
        record = None
        if lot.reel_kind or lot.reel_material:  # else nothing says that the reels are alike
            record = record_for(self.reels, lot.supplier, lot.reel_kind, lot.reel_material)
        return min(
            (*self._from(alike, "alike"), *self._from(record, "record")),
            key=lambda now: now.tare[1],
            default=None,
        )

    def _from(self, record: TareRecord | None, known: KnownNow) -> tuple[_Now, ...]:
        if record is None:
            return ()
        u_scale_g = u_weighing_g(self.scale.limit_of_error_g, self.scale.step_g)
        return (_Now(tare_from_record(record, u_scale_g, self.like_sd_g), known, record.n),)

    def _u(self, row: TareRow) -> float:
        limit, step = row.limit_of_error_g, row.scale_step_g
        return u_weighing_g(
            self.scale.limit_of_error_g if limit is None else limit,
            self.scale.step_g if step is None else step,
        )


def _spool(
    lot: NewestLot,
    document: Mapping[str, Any],
    block: Mapping[str, Any],
    known: _Known,
    steps: Mapping[str, float],
) -> SpoolHindsight | None:
    weight = block.get("weight") or {}
    gross_g, net_g, expanded_g = (weight.get(k) for k in ("gross_g", "net_g", "uncertainty_g"))
    if gross_g is None or net_g is None or expanded_g is None:
        return None
    if weight.get("tare_known") == "itself":
        return None
    spool = storable(str(block["spool"]))
    now = known.now(lot, spool)
    label_g = (document.get("label") or {}).get("net_g")
    corrected_g = weight.get("gross_corrected_g")
    u_gross_g = (weight.get("scale") or {}).get("u_g")
    if u_gross_g is None:  # a document of an older lotqa: no known mass was weighed
        step_g = steps.get(spool, known.scale.step_g)
        u_gross_g = u_weighing_g(known.scale.limit_of_error_g, step_g)
    return SpoolHindsight(
        inspection=lot.inspection,
        lot_id=lot.lot_id,
        supplier=lot.supplier,
        lot=lot.lot,
        spool=spool,
        reel_kind=lot.reel_kind,
        reel_material=lot.reel_material,
        label_g=label_g,
        gross_g=gross_g,
        tare_then_g=weight.get("tare_g"),
        known_then=weight.get("tare_known"),
        tare_now_g=None if now is None else now.tare[0],
        u_tare_now_g=None if now is None else now.tare[1],
        known_now=None if now is None else now.known,
        n_reels=0 if now is None else now.n_reels,
        found=hindsight(
            net_g,
            expanded_g / COVERAGE_FACTOR,
            label_g,
            gross_g if corrected_g is None else corrected_g,
            u_gross_g,
            None if now is None else now.tare,
        ),
    )


def _scale_of(document: Mapping[str, Any], otherwise: BenchScale) -> BenchScale:
    """The scale that a lot was weighed on."""
    for tool in document.get("instruments") or ():
        if tool.get("kind") == "scale" and tool.get("resolution_g") is not None:
            limit = tool.get("limit_of_error_g")
            return BenchScale(
                tool["resolution_g"], otherwise.limit_of_error_g if limit is None else limit
            )
    return otherwise
