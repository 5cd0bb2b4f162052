"""Which readings belong to one place, which were typed twice, which repeat a trial.

A place is all readings of a spool at one position.  Where no position was typed: each row of a wide
table is a place; in a long table a new place begins when a direction comes again; with no
direction either, each reading is a place of its own.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.intake.rows import Block, Ints
from lotqa.model import BoolArray, FloatArray


def doubled_rows(block: Block, *, is_wide: bool) -> BoolArray:
    """Rows that say the same as the data row just before them: Enter was struck twice.

    Equal neighbours are common at a step of 0.01 mm, so a position is asked for, or a direction
    where the spool was read in more than one.
    """
    n = len(block)
    doubled = np.zeros(n, dtype=np.bool_)
    if n < 2:
        return doubled
    now, before = slice(1, None), slice(None, -1)
    same = block.spool[now] == block.spool[before]
    same &= block.ordinal[now] - block.ordinal[before] == 1
    same &= (block.trial[now] == 0) & (block.trial[before] == 0)
    same &= (block.operator[now] == -1) & (block.operator[before] == -1)
    for column in (block.position_m, block.direction_deg, *block.diameter_mm.T):
        same &= _equal(column[now], column[before])
    located = np.isfinite(block.position_m[now])
    if not is_wide and same.any() and not located.all():
        turned = _spools_with_directions(block)
        located |= np.isfinite(block.direction_deg[now]) & turned[block.spool[now]]
    doubled[1:] = same & located
    return doubled


def _equal(a: FloatArray, b: FloatArray) -> BoolArray:
    same: BoolArray = (a == b) | (np.isnan(a) & np.isnan(b))
    return same


def _spools_with_directions(block: Block) -> BoolArray:
    """For each spool, whether it was read in more than one direction."""
    n_spools = int(block.spool.max()) + 1
    low, high = np.full(n_spools, np.inf), np.full(n_spools, -np.inf)
    given = np.isfinite(block.direction_deg)
    np.minimum.at(low, block.spool[given], block.direction_deg[given])
    np.maximum.at(high, block.spool[given], block.direction_deg[given])
    return high > low


def place_rows(block: Block, *, is_wide: bool) -> Ints:
    """The place of each row of a block that is sorted by spool, numbered by first appearance."""
    n = len(block)
    first = np.arange(n)  # of each row: the first row of its place
    given = np.isfinite(block.position_m)
    if given.any():
        rows = np.flatnonzero(given)
        first[rows] = rows[_first_of_key(block.spool[rows], block.position_m[rows])]
    if not is_wide and not given.all():
        _group_by_direction(block, ~given & np.isfinite(block.direction_deg), first)
    rank: Ints = np.cumsum(first == np.arange(n)) - 1
    return rank[first]


def _first_of_key(spool: Ints, position_m: FloatArray) -> Ints:
    """For each row the index of the first row with its spool and position."""
    n = len(spool)
    starts = np.ones(n, dtype=np.bool_)
    starts[1:] = (spool[1:] != spool[:-1]) | (position_m[1:] != position_m[:-1])
    run_start = np.flatnonzero(starts)
    run = np.cumsum(starts) - 1
    run_spool, run_position = spool[run_start], position_m[run_start]
    climbing = (run_spool[1:] > run_spool[:-1]) | (run_position[1:] > run_position[:-1])
    if climbing.all():  # typed from the free end on: each run is a place
        climbed: Ints = run_start[run]
        return climbed
    order = np.lexsort((run_position, run_spool))  # stable: the first run of a key stays first
    a, b = order[1:], order[:-1]
    new = np.ones(len(order), dtype=np.bool_)
    new[1:] = (run_spool[a] != run_spool[b]) | (run_position[a] != run_position[b])
    leader = order[np.flatnonzero(new)][np.cumsum(new) - 1]
    first_run = np.empty(len(order), dtype=np.int64)
    first_run[order] = leader
    gathered: Ints = run_start[first_run][run]
    return gathered


def _group_by_direction(block: Block, turned: BoolArray, first: Ints) -> None:
    """Join rows without position into places, in ``first``: a repeat opens the next place."""
    spools, directions = block.spool.tolist(), block.direction_deg.tolist()
    trials, operators = block.trial.tolist(), block.operator.tolist()
    start, spool, row_before = -1, -1, -2
    seen: set[tuple[float, int, int]] = set()
    for row in np.flatnonzero(turned).tolist():
        key = (directions[row], trials[row], operators[row])
        if spools[row] != spool or row != row_before + 1 or key in seen:
            start, spool = row, spools[row]
            seen = set()
        seen.add(key)
        first[row] = start
        row_before = row


@dataclass(frozen=True, slots=True, eq=False)
class Trials:
    """Trial numbers of readings sorted by place, and which of them were noticed as repeats."""

    trial: Ints
    repeats: Ints  # indices of readings that became trial 2, 3, ... on their own
    clashes: Ints  # indices of readings whose typed trial is there already


def number_trials(place: Ints, direction_key: FloatArray, operator: Ints, typed: Ints) -> Trials:
    """Count readings of one place, direction and operator 1, 2, 3 in the order typed.

    ``direction_key`` is finite; ``typed`` is 0 where no trial was typed.
    """
    n = len(place)
    trial = np.where(typed > 0, typed, 1)
    none = np.empty(0, dtype=np.int64)
    if n < 2:
        return Trials(trial, none, none)
    same_place = place[1:] == place[:-1]
    unsure = same_place & ~(direction_key[1:] > direction_key[:-1])
    if not unsure.any():
        return Trials(trial, none, none)
    doubtful = np.zeros(int(place[-1]) + 1, dtype=np.bool_)
    doubtful[place[1:][unsure]] = True
    rows = np.flatnonzero(doubtful[place])
    repeats: list[int] = []
    clashes: list[int] = []
    seen: dict[tuple[int, float, int], set[int]] = {}
    keys = zip(
        rows.tolist(),
        place[rows].tolist(),
        direction_key[rows].tolist(),
        operator[rows].tolist(),
        typed[rows].tolist(),
        strict=True,
    )
    place_now = -1
    for row, at, direction, who, number in keys:
        if at != place_now:
            place_now, seen = at, {}
        taken = seen.setdefault((at, direction, who), set())
        if number == 0:
            number = 1 + max(taken, default=0)
            if number > 1:
                repeats.append(row)
                trial[row] = number
        elif number in taken:
            clashes.append(row)
            continue
        taken.add(number)
    return Trials(trial, np.array(repeats, np.int64), np.array(clashes, np.int64))
