"""From bytes to lines, and from a line to its cells.

UTF-8 (with or without byte order mark), UTF-16 with byte order mark, and Latin-1 as the reported
last resort.  A line break inside quotes is followed for a few lines only, so that one stray quote
(an inch mark, say) cannot swallow the rest of a file, as the rules of comma-separated values [1]_
alone would let it.

.. [1] RFC 4180 (2005), Common Format and MIME Type for CSV Files, section 2.
"""

import codecs
import re
from collections.abc import Sequence

from lotqa.intake.refusal import Refused
from lotqa.model import Problem

EMPTY = "the file is empty: write a header line and the rows under it"
_FILLED = re.compile(r"[^\n\ufeff \t;,]")
HEAD_BYTES = 65_536  # enough to tell text from rubbish
QUOTED_LINES = 20  # a note of more lines than this in one cell is rather a quote gone astray
SEPARATORS = ("\t", ";", ",")
_CONTROL = bytes(set(range(32)) - {9, 10, 12, 13, 26, 27})
_MAGIC = (
    (b"PK\x03\x04", "this is a workbook or zip archive: rename it to .xlsx, or save it as CSV"),
    (b"\xd0\xcf\x11\xe0", "this is an old or locked workbook: save it as .xlsx without a password"),
    (b"%PDF", "this is a PDF: save the table as CSV"),
)


def decode(name: str, content: bytes) -> tuple[str, tuple[Problem, ...]]:
    """The text of a file with ``\\n`` line ends, and a note if the encoding had to be guessed.

    :raises Refused: the file is empty or is not text.
    """
    if not content or content.isspace():
        raise Refused(name, None, EMPTY)
    for magic, advice in _MAGIC:
        if content.startswith(magic):
            raise Refused(name, None, f"not a text file: {advice}")
    text, problems = _decoded(name, content)
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not _FILLED.search(text):
        raise Refused(name, None, EMPTY)
    return text, problems


def _decoded(name: str, content: bytes) -> tuple[str, tuple[Problem, ...]]:
    rubbish = Refused(name, None, "not a text file: save the table as CSV in UTF-8")
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            text = content.decode("utf-16")
        except UnicodeDecodeError:
            raise rubbish from None
        if "\0" in text:
            raise rubbish
        return text, ()
    head = content[:HEAD_BYTES]
    if b"\0" in content or len(head.translate(None, _CONTROL)) < 0.99 * len(head):
        raise rubbish
    try:
        return content.decode("utf-8-sig"), ()
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        message = (
            "the text is not UTF-8 and is read as Latin-1: "
            "check letters with accents in names, or save the file as UTF-8"
        )
        return content.decode("latin-1"), (Problem(name, line, None, None, message),)


def split_cells(line: str, separator: str | None) -> tuple[list[str], bool]:
    """The cells of a line, quotes taken off, and whether a quote is still open at its end.

    >>> split_cells('A;"1;5";x', ";")
    (['A', '1;5', 'x'], False)
    """
    if '"' not in line:
        return (line.split(separator) if separator else [line]), False
    cells: list[str] = []
    cell: list[str] = []
    quoted = False
    position = 0
    while position < len(line):
        char = line[position]
        if quoted:
            if char != '"':
                cell.append(char)
            elif line[position + 1 : position + 2] == '"':
                cell.append('"')
                position += 1
            else:
                quoted = False
        elif char == '"' and not cell:
            quoted = True
        elif char == separator:
            cells.append("".join(cell))
            cell = []
        else:
            cell.append(char)
        position += 1
    cells.append("".join(cell))
    return cells, quoted


def record_at(lines: Sequence[str], index: int, separator: str | None) -> tuple[list[str], int]:
    """The cells that start in ``lines[index]`` and how many lines they take."""
    line = lines[index]
    cells, is_open = split_cells(line, separator)
    if not is_open:
        return cells, 1
    for taken in range(2, QUOTED_LINES + 1):
        if index + taken > len(lines):
            break
        joined, is_open = split_cells("\n".join(lines[index : index + taken]), separator)
        if not is_open:
            return joined, taken
    return (line.split(separator) if separator else [line]), 1


def is_blank(cells: Sequence[str]) -> bool:
    """Whether a row holds nothing but spaces and separators."""
    return not any(cell and not cell.isspace() for cell in cells)
