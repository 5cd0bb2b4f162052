"""What a page shows, as records of finished text: the last step before the template.

Every number is text here, with its digits settled.  A template puts these records in order and
computes nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from lotqa.report.looks import OUTCOME_MARKS, PALETTE
from lotqa.report.terms import OUTCOME_WORDS, STANDING_WORDS, VERDICT_WORDS
from lotqa.report.words import WORDS


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a table; ``second`` is a smaller line under the text."""

    text: str
    second: str = ""
    mark: str = ""  # name of a mark in looks.MARKS
    tone: str = ""  # name of a colour for the word
    is_code: bool = False
    is_interval: bool = False  # the second line is one and stays on one line where it can


@dataclass(frozen=True, slots=True)
class Column:
    head: str
    is_number: bool = False
    is_prose: bool = False  # sentences: take the whole width on a phone


@dataclass(frozen=True, slots=True)
class Table:
    """A numbered table.  The first cell of each row is the head of that row."""

    number: int
    anchor: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    is_stacked: bool = True  # rows become cards on a phone; False: the table scrolls there


@dataclass(frozen=True, slots=True)
class Figure:
    """A numbered figure, drawn once for wide and once for narrow windows."""

    number: int
    anchor: str
    caption: str
    wide_svg: str
    narrow_svg: str
    mark: str = ""
    tone: str = ""
    word: str = ""


@dataclass(frozen=True, slots=True)
class Reason:
    outcome_word: str
    mark: str
    tone: str
    name: str
    text: str
    detail: str
    key: str


@dataclass(frozen=True, slots=True)
class ReasonGroup:
    """Reasons of one thing judged: what counts against it open, the rest folded under."""

    number: str
    anchor: str
    title: str
    verdict: Cell | None
    action: str
    failing: tuple[Reason, ...]
    folded: tuple[Reason, ...]
    folded_title: str
    sureness: str = ""  # how likely the spool truly conforms, and who bears the risk
    statements: tuple[str, ...] = ()  # what may be stated to the supplier
    statement_rule: str = ""
    wave: str = ""  # a wave that was found


@dataclass(frozen=True, slots=True)
class Fact:
    """A line of the decision: a name and what to know about it."""

    name: str
    text: str
    second: str = ""


@dataclass(frozen=True, slots=True)
class TallyMark:
    mark: str
    tone: str
    name: str


@dataclass(frozen=True, slots=True)
class Section:
    number: int
    anchor: str
    title: str


def verdict_cell(verdict: str, standing: str | None = None) -> Cell:
    """A verdict as word and shape, with the standing under it."""
    return Cell(
        text=VERDICT_WORDS.get(verdict, verdict),
        second=STANDING_WORDS.get(standing, standing) if standing else "",
        mark=verdict if verdict in VERDICT_WORDS else "none",
        tone=verdict if verdict in PALETTE else "",
    )


def is_only_weighed(spool: Mapping[str, Any]) -> bool:
    """Nothing was read of this spool and nothing speaks against it: it counts as not opened."""
    places = (spool.get("diameter") or {}).get("places")
    return places == 0 and spool["verdict"] == "accept"


def spool_cell(spool: Mapping[str, Any]) -> Cell:
    """The verdict of a spool; one that was only weighed is told as that."""
    if is_only_weighed(spool):
        return Cell(text=WORDS.only_weighed, mark="unopened", tone="soft")
    return verdict_cell(spool["verdict"], spool.get("standing"))


def outcome_look(outcome: str) -> tuple[str, str, str]:
    """(word, mark, tone) of the outcome of a check."""
    tone = outcome if outcome in ("tune", "reject") else ""
    return OUTCOME_WORDS.get(outcome, outcome), OUTCOME_MARKS.get(outcome, "none"), tone
