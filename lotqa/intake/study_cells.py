"""Readings of a study put into full cells, place by operator by trial; holes are named."""

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from lotqa.intake.refusal import Refused
from lotqa.model import FloatArray, IntArray, Problem, SourceFile

NAMED_MOST = 12  # missing cells named one by one; more are a study that was broken off
ONE_HAND = "one hand"  # an operator who was not named


@dataclass(frozen=True, slots=True)
class Read:
    """One reading."""

    line: int
    place: str
    operator: str
    trial: int | None
    value_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class StudyTable:
    """A balanced study, one array element a reading, with its file and what was odd."""

    places: tuple[str, ...]
    operators: tuple[str, ...]
    n_trials: int
    place: IntArray  # index into places
    operator: IntArray  # index into operators
    value_mm: FloatArray
    instrument: str | None
    problems: tuple[Problem, ...]
    file: SourceFile


def arranged(
    label: str,
    reads: list[Read],
    instrument: str | None,
    problems: list[Problem],
    file: SourceFile,
) -> StudyTable:
    """Readings in full cells; raises Refused for a doubled or missing one."""
    seen: dict[tuple[str, str, int], int] = {}
    kept: list[Read] = []
    count: Counter[tuple[str, str]] = Counter()
    for read in reads:
        cell = (read.place, read.operator)
        count[cell] += 1
        trial = count[cell] if read.trial is None else read.trial
        key = (*cell, trial)
        if key in seen:
            where = f"stands in line {seen[key]} already"
            message = f"trial {trial} of {_named(cell)} {where}: number it anew"
            problems.append(Problem(label, read.line, "trial", str(trial), message, row_used=False))
            continue
        seen[key] = read.line
        kept.append(replace(read, trial=trial))
    places = tuple(dict.fromkeys(read.place for read in kept))
    operators = tuple(dict.fromkeys(read.operator for read in kept))
    trials = sorted({read.trial for read in kept if read.trial is not None})
    doubled = len(kept) < len(reads)
    _refuse_holes(label, set(seen), places, operators, trials, problems)
    if doubled:
        raise Refused(label, None, "a trial stands twice: see the problems listed", problems)
    index = {name: i for i, name in enumerate(places)}
    hand = {name: i for i, name in enumerate(operators)}
    kept.sort(key=lambda read: (index[read.place], hand[read.operator], read.trial or 0))
    return StudyTable(
        places=places,
        operators=operators,
        n_trials=len(trials),
        place=np.array([index[read.place] for read in kept], dtype=np.int64),
        operator=np.array([hand[read.operator] for read in kept], dtype=np.int64),
        value_mm=np.array([read.value_mm for read in kept]),
        instrument=instrument,
        problems=tuple(problems),
        file=file,
    )


def _refuse_holes(
    label: str,
    seen: set[tuple[str, str, int]],
    places: tuple[str, ...],
    operators: tuple[str, ...],
    trials: list[int],
    problems: list[Problem],
) -> None:
    """Name what is missing; where few cells have a trial that most lack, name those few."""
    cells = [(place, who) for place in places for who in operators]
    missing, surplus = [], []
    for trial in trials:
        having = [cell for cell in cells if (*cell, trial) in seen]
        lacking = [cell for cell in cells if (*cell, trial) not in seen]
        if len(having) < len(lacking):
            surplus += [f"trial {trial} of {_named(cell)}" for cell in having]
        else:
            missing += [f"trial {trial} of {_named(cell)}" for cell in lacking]
    if not missing and not surplus:
        return
    parts = []
    if missing:
        parts.append(f"missing: {_some(missing)}: read it, or take the place out for everybody")
    if surplus:
        parts.append(f"only there: {_some(surplus)}: take it out, or read it everywhere")
    raise Refused(label, None, "; ".join(parts), problems)


def _named(cell: tuple[str, str]) -> str:
    place, who = cell
    return f"place {place}" if who == ONE_HAND else f"place {place} by {who}"


def _some(names: list[str]) -> str:
    shown = ", ".join(names[:NAMED_MOST])
    more = len(names) - NAMED_MOST
    return f"{shown} and {more} more" if more > 0 else shown
