"""Names that should agree between the tables of a lot.  All of it is noted, nothing falls out."""

import re
from collections.abc import Iterator, Sequence

import numpy as np

from lotqa.intake.names import did_you_mean
from lotqa.model import (
    Finding,
    LotSheet,
    MassCheck,
    PinCheck,
    Problem,
    Readings,
    WallReading,
    WeighIn,
)

_IDLE = re.compile(r"[\s_-]+|(?<![0-9])0+(?=[0-9])")  # what two ways to write a name differ in
MANY_SPOOLS = 2000  # above it no search for a near name, which compares with each of them


def cross_check(
    sheet: LotSheet,
    readings: Readings,
    weigh_ins: Sequence[WeighIn],
    findings: Sequence[Finding],
    checks: Sequence[PinCheck | MassCheck],
    walls: Sequence[WallReading] = (),
) -> Iterator[Problem]:
    """Spools and instruments that are named in one table and not, or otherwise, in another."""
    known = set(readings.spools)
    by_key: dict[str, str] = {}
    yield from _alike(readings, by_key)
    told: set[tuple[str, str]] = set()
    rows: list[WeighIn | Finding | WallReading] = [*weigh_ins, *findings, *walls]
    for row in rows:
        if row.spool not in known and (row.file, row.spool) not in told:
            told.add((row.file, row.spool))
            near = by_key.get(spool_key(row.spool))
            if near is None and len(known) <= MANY_SPOOLS:
                near = did_you_mean(row.spool, readings.spools)
            advice = f"did you mean {near}?" if near else "the row is kept, the spool has none"
            message = f'no readings for spool "{row.spool}": {advice}'
            yield Problem(row.file, row.line, "spool", row.spool, message)
    instruments = [instrument.name for instrument in sheet.instruments]
    for check in (*checks, *(wall for wall in walls if wall.instrument is not None)):
        if not instruments or check.instrument is None or check.instrument in instruments:
            continue
        if (check.file, check.instrument) not in told:
            told.add((check.file, check.instrument))
            near = did_you_mean(check.instrument, instruments)
            advice = f"did you mean {near}?" if near else "add it as [[instrument]]"
            message = f'instrument "{check.instrument}" is not in the lot sheet: {advice}'
            yield Problem(check.file, check.line, "instrument", check.instrument, message)


def spool_key(name: str) -> str:
    """What is left of a name without case, spaces and leading zeros.

    >>> spool_key("Roll 007") == spool_key("roll7")
    True
    """
    return _IDLE.sub("", name.casefold())


def _alike(readings: Readings, by_key: dict[str, str]) -> Iterator[Problem]:
    """Two names of spools that may be one spool typed in two ways; fills ``by_key``."""
    for number, name in enumerate(readings.spools):
        first = by_key.setdefault(spool_key(name), name)
        if first != name:
            at = int(np.searchsorted(readings.spool, number))
            line = int(readings.line[at])
            message = (
                f'spool "{name}" is kept apart from spool "{first}": '
                "if they are one spool, write its name in one way"
            )
            yield Problem(readings.file, line, "spool", name, message)
