"""Tables that fit the terminal: names wrap between words, then the least needed columns go."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from rich.table import Table

GAP: Final = 2  # blanks between columns
NARROWEST: Final = 6  # below this a folded name cannot be read
# Rows of a box: only the rule under the headings is drawn.
_BOX: Final = "\n".join(
    ["    ", "    ", " {0}{0} ", "    ", "    ", " {0}{0} ", "    ", "    ", ""]
)


@dataclass(frozen=True, slots=True)
class Column:
    """One column; the higher ``drop``, the sooner it goes when the terminal is narrow."""

    heading: str
    side: Literal["left", "right"] = "left"
    drop: int = 0  # 0: never
    wraps: bool = False  # names may take several lines; figures never do


def right(heading: str, drop: int = 0) -> Column:
    """A column of figures."""
    return Column(heading, "right", drop)


def name(heading: str, drop: int = 0) -> Column:
    """A column of names, which wrap between words."""
    return Column(heading, "left", drop, wraps=True)


def fitted(
    width: int, columns: Sequence[Column], rows: Sequence[Sequence[str]], plain: bool
) -> tuple["Table", list[str]]:
    """The table for a terminal of this width, and the headings of the columns left out."""
    from rich.box import Box
    from rich.table import Table
    from rich.text import Text

    kept = _kept(width, columns, rows)
    widths = _widths(width, [columns[i] for i in kept], [[row[i] for i in kept] for row in rows])
    table = Table(
        box=Box(_BOX.format("-" if plain else "─"), ascii=plain),
        show_edge=False,
        pad_edge=False,
        padding=(0, 0, 0, GAP - 1),  # the box has one blank of its own between columns
        header_style="bold",
    )
    for i, cells in zip(kept, widths, strict=True):
        table.add_column(
            Text(columns[i].heading), justify=columns[i].side, overflow="fold", width=cells
        )
    for row in rows:
        # Text, since a lot code may hold [brackets].
        table.add_row(*(Text(row[i]) for i in kept))
    return table, [c.heading for i, c in enumerate(columns) if i not in kept]


def _kept(width: int, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> list[int]:
    """Numbers of the columns that find room when every name is wrapped as far as words allow."""
    kept = list(range(len(columns)))
    least = [_least(c, [row[i] for row in rows]) for i, c in enumerate(columns)]
    for i in sorted(kept, key=lambda i: -columns[i].drop):
        if _total([least[k] for k in kept]) <= width or not columns[i].drop:
            break
        kept.remove(i)
    return kept


def _widths(width: int, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> list[int]:
    """Cells of each column: as wide as wanted, the widest names giving way first."""
    contents = [[c.heading, *(row[i] for row in rows)] for i, c in enumerate(columns)]
    widths = [max(_cells(text) for text in texts) for texts in contents]
    floors = [_least(c, [row[i] for row in rows]) for i, c in enumerate(columns)]
    for floor in (floors, [min(NARROWEST, f) for f in floors]):
        while _total(widths) > width:
            loose = [i for i, c in enumerate(columns) if c.wraps and widths[i] > floor[i]]
            if not loose:
                break
            widths[max(loose, key=lambda i: widths[i])] -= 1
    return widths


def _least(column: Column, cells: Sequence[str]) -> int:
    """Cells that a column needs: its longest word, or its longest text if it may not wrap."""
    texts = [column.heading, *cells]
    words = [w for text in texts for w in text.split()] if column.wraps else texts
    return max((_cells(word) for word in words), default=1)


def _total(widths: Sequence[int]) -> int:
    return sum(widths) + GAP * (len(widths) - 1)


def _cells(text: str) -> int:
    from rich.cells import cell_len

    return cell_len(text)
