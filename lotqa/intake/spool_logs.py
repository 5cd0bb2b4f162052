"""Which files of a lot are in-line logs, and of which spool.

``trace_<spool>.csv`` (or .tsv, .txt) is the log of that spool; a ``[[trace]]`` block of the lot
sheet names a file of any name, its spool, and what the log does not say itself: columns, units, the
length of a row, with the meaning of the options of ``lotqa trace``.  Only the head of a log is read
here; its rows pass when the lot is judged.  A lot can do without any of its logs, so one that
cannot be used is a problem.  Of two logs of one spool the first is used.

Logs are kept with the lot as they came, up to KEPT_BYTES together; of what is beyond, the hash and
the size are.
"""

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from hashlib import sha256
from pathlib import Path, PurePath

import numpy as np

from lotqa.intake.crosscheck import MANY_SPOOLS, spool_key
from lotqa.intake.names import did_you_mean
from lotqa.intake.roles import TEXT_SUFFIXES
from lotqa.model import LogEntry, Problem, Readings, SourceFile, SpoolTrace

BEGINNING = "trace_"
KEPT_BYTES = 16 << 20  # of a lot: a ledger of many lots stays small enough to copy
BLOCK_BYTES = 1 << 20
_STRAY = re.compile(r"traces?([ -].*|_)?")


def spool_of(name: str) -> str | None:
    """The spool whose log a file is by its name; None for any other file.

    >>> spool_of("trace_007.csv"), spool_of("Trace_A_2.TXT"), spool_of("trace.csv")
    ('007', 'A_2', None)
    """
    path = PurePath(name)
    is_log = path.stem.casefold().startswith(BEGINNING) and path.suffix.casefold() in TEXT_SUFFIXES
    return (path.stem[len(BEGINNING) :].strip() or None) if is_log else None


def stray(name: str) -> Problem | None:
    """The report of a file that looks like a log and is left out for its name."""
    path = PurePath(name)
    stem, suffix = path.stem.casefold(), path.suffix.casefold()
    if spool_of(name) is not None:
        return None
    if stem.startswith(BEGINNING) and suffix in (".xlsx", ".xls", ".ods"):
        return Problem(name, None, None, None, "left out: save the log as CSV, under the same name")
    if suffix in TEXT_SUFFIXES and _STRAY.fullmatch(stem):
        advice = f"name the log of a spool {BEGINNING}<spool>.csv, or name it under [[trace]]"
        return Problem(name, None, None, None, f"left out: {advice}")
    return None


def spool_logs(
    files: Mapping[str, Path | bytes],
    entries: Sequence[LogEntry],
    taken: Mapping[str, str],
    *,
    sheet_file: str,
    nominal_mm: float | None,
    problems: list[Problem],
) -> tuple[list[SpoolTrace], list[SourceFile]]:
    """The logs of a lot with the files that stand for them, one log a spool.

    ``files`` are those that may be logs, by name; ``taken`` says what other role a file has.
    """
    chosen = [e for e in entries if _is_usable(e, files, taken, sheet_file, problems)]
    named = {entry.file for entry in chosen}
    chosen += [LogEntry(name) for name in sorted(files) if spool_of(name) and name not in named]
    traces: list[SpoolTrace] = []
    sources: list[SourceFile] = []
    first: dict[str, str] = {}
    if chosen:
        from lotqa.intake.lot_log import open_log  # not needed by most lots
    for entry in chosen:
        name = str(entry.file)
        spool = entry.spool or str(spool_of(name))
        if spool in first:
            message = (
                f'spool "{spool}" has a log already, {first[spool]}: this one is left out; put two '
                "stretches of one spool into one file, or give another spool its own name"
            )
            problems.append(Problem(name, None, None, None, message))
            continue
        log = open_log(name, files[name], entry, nominal_mm, problems)
        if log is None:
            continue
        first[spool] = name
        source = _source(name, files[name], KEPT_BYTES - sum(len(s.content) for s in sources))
        sources.append(source)
        traces.append(SpoolTrace(spool, name, source.name, log))
    return traces, sources


def no_readings() -> Readings:
    """The readings of a lot that was logged and not read by hand."""
    whole, real = np.zeros(0, dtype=np.int64), np.zeros(0)
    return Readings((), whole, whole, real, real, real, whole, (), whole, "", whole)


def near_names(traces: Sequence[SpoolTrace], spools: Sequence[str]) -> Iterator[Problem]:
    """Logs of a spool without readings whose name is nearly that of one with readings."""
    known = set(spools)
    if len(known) > MANY_SPOOLS:
        return
    by_key = {spool_key(spool): spool for spool in reversed(spools)}
    for trace in traces:
        near = None if trace.spool in known else by_key.get(spool_key(trace.spool))
        if near is not None:
            message = (
                f'no readings for spool "{trace.spool}": did you mean {near}? It is kept apart'
            )
            yield Problem(trace.file, None, "spool", trace.spool, message)


def _is_usable(
    entry: LogEntry,
    files: Mapping[str, Path | bytes],
    taken: Mapping[str, str],
    sheet_file: str,
    problems: list[Problem],
) -> bool:
    """Whether a [[trace]] block names a file that is there and a spool."""
    if entry.file is None:
        what = 'file is missing under [[trace]]: write file = "line3.csv"'
    elif entry.file in taken:
        what = f"{entry.file} is read as {taken[entry.file]}: give the log a file of its own"
    elif entry.file not in files:
        near = did_you_mean(entry.file, list(files))
        advice = f"did you mean {near}?" if near else "put the log beside the lot sheet"
        what = f'file is "{entry.file}", and there is no such file in the folder: {advice}'
    elif entry.spool is None and spool_of(entry.file) is None:
        what = f'spool is missing under [[trace]] of {entry.file}: write spool = "1"'
    else:
        return True
    problems.append(Problem(sheet_file, entry.line, "trace", entry.file, what))
    return False


def _source(name: str, content: Path | bytes, room_bytes: int) -> SourceFile:
    """The log as it came where there is room for it, else a line that says which log it was."""
    size = len(content) if isinstance(content, bytes) else content.stat().st_size
    if size <= room_bytes:
        whole = content if isinstance(content, bytes) else content.read_bytes()
        return SourceFile(name, whole, sha256(whole).hexdigest())
    digest = sha256()
    file = io.BytesIO(content) if isinstance(content, bytes) else content.open("rb")
    with file:
        while block := file.read(BLOCK_BYTES):
            digest.update(block)
    line = f"{digest.hexdigest()}  {name}  {size} bytes\n".encode()
    return SourceFile(f"{name}.sha256", line, sha256(line).hexdigest())
