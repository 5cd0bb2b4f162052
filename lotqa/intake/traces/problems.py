"""Problems of a log of any size: runs of rows told as one, and a bounded number of them.

Rows that follow each other and have the same thing wrong are one problem.  Of each kind the first
``RUNS_TOLD`` runs are told one by one; the rest are counted.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from lotqa.model import IntArray, Problem

RUNS_TOLD = 20  # of each kind in each column: more are not read by anybody


@dataclass(slots=True)
class _Run:
    """Rows in a row with the same thing wrong."""

    first_line: int
    last_line: int
    n_rows: int
    value: str | None
    single: str
    many: tuple[str, str]


@dataclass(slots=True)
class _Kind:
    """All runs of one kind in one column."""

    column: str | None
    row_used: bool
    runs: list[_Run] = field(default_factory=list)
    more: _Run | None = None  # runs that are only counted, as one
    n_more: int = 0
    last_index: int = -2


@dataclass(frozen=True, slots=True)
class Told:
    """What to say of a row: the value as typed, and the sentence alone and for a whole run.

    ``many`` stands after "lines 12-15: " and has the number of rows between its two parts.
    """

    value: str | None
    single: str
    many: tuple[str, str]


def told(value: str | None, message: str) -> Told:
    """A sentence that serves the first row of a run, too."""
    return Told(value, message, ("", f" rows, the first: {message}"))


class ProblemLog:
    """Collects problems row by row or run by run; rows are numbered over the whole log."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._kinds: dict[tuple[str, str | None], _Kind] = {}
        self._notes: list[Problem] = []
        self.n_rows_reported = 0

    def note(self, message: str, line: int | None = None, column: str | None = None) -> None:
        """Something to know that costs no row."""
        self._notes.append(Problem(self._file, line, column, None, message))

    def add(
        self, kind: str, column: str | None, line: int, index: int, say: Told, used: bool = False
    ) -> None:
        """One row; ``index`` is its number among all rows read."""
        if not used:
            self.n_rows_reported += 1
        found = self._kinds.setdefault((kind, column), _Kind(column, used))
        if index == found.last_index + 1:
            run = found.more or found.runs[-1]
            run.n_rows += 1
            run.last_line = line
        elif len(found.runs) < RUNS_TOLD:
            found.runs.append(_Run(line, line, 1, say.value, say.single, say.many))
        else:
            found.n_more += 1
            if found.more is None:
                found.more = _Run(line, line, 1, say.value, say.single, say.many)
            else:
                found.more.n_rows += 1
                found.more.last_line = line
        found.last_index = index

    def add_rows(
        self,
        kind: str,
        column: str | None,
        line: IntArray,
        index: IntArray,
        say: Callable[[int], Told],
        used: bool = False,
    ) -> None:
        """Rows in ascending order; ``say`` is asked about the first row of a run only."""
        if not len(line):
            return
        if not used:
            self.n_rows_reported += len(line)
        found = self._kinds.setdefault((kind, column), _Kind(column, used))
        starts = np.flatnonzero(np.diff(index, prepend=found.last_index) != 1).tolist()
        n_going_on = starts[0] if starts else len(line)
        if n_going_on:  # these rows follow the last one told
            run = found.more or found.runs[-1]
            run.n_rows += n_going_on
            run.last_line = int(line[n_going_on - 1])
        found.last_index = int(index[-1])
        if not starts:
            return
        ends = [*starts[1:], len(line)]
        n_free = RUNS_TOLD - len(found.runs)
        for first, last in zip(starts[:n_free], ends[:n_free], strict=True):
            found.runs.append(_run(line, first, last, say(first)))
        rest = starts[n_free:]
        if rest:
            found.n_more += len(rest)
            if found.more is None:
                found.more = _run(line, rest[0], len(line), say(rest[0]))
            else:
                found.more.n_rows += len(line) - rest[0]
                found.more.last_line = int(line[-1])

    @property
    def n_problems(self) -> int:
        """Runs and notes, told or only counted."""
        return len(self._notes) + sum(len(k.runs) + k.n_more for k in self._kinds.values())

    def problems(self) -> tuple[Problem, ...]:
        """Notes first, then runs by their first line, then what was only counted."""
        listed: list[Problem] = []
        counted: list[Problem] = []
        for kind in self._kinds.values():
            for run in kind.runs:
                listed.append(self._problem(kind, run, ""))
            if kind.more is not None:
                what = (
                    f"and {kind.n_more:,} more places like this up to line {kind.more.last_line}, "
                    f"{kind.more.n_rows:,} rows, not listed one by one, the first: "
                )
                counted.append(self._problem(kind, kind.more, what))
        listed.sort(key=lambda p: (p.line or 0, p.column or "", p.message))
        counted.sort(key=lambda p: (p.line or 0, p.column or "", p.message))
        return (*self._notes, *listed, *counted)

    def _problem(self, kind: _Kind, run: _Run, lead: str) -> Problem:
        if lead or run.n_rows == 1:
            message = lead + run.single
        else:
            before, after = run.many
            lines = f"lines {run.first_line}-{run.last_line}"
            message = f"{lines}: {before}{run.n_rows}{after}"
        return Problem(self._file, run.first_line, kind.column, run.value, message, kind.row_used)


def _run(line: IntArray, first: int, last: int, say: Told) -> _Run:
    n = last - first
    return _Run(int(line[first]), int(line[last - 1]), n, say.value, say.single, say.many)
