"""A file of any size as blocks of whole lines, in bytes that a number parser takes.

Line ends become ``\\n``, UTF-16 becomes UTF-8, a byte order mark goes.  A carriage return alone
ends a line only in a file that has no other line ends; elsewhere it is a blank.  A line longer
than ``LINE_BYTES`` is shortened, so that a file without line ends cannot fill the memory.
"""

import codecs
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from lotqa.errors import UnusableInput
from lotqa.intake.refusal import Refused

BLOCK_BYTES = 4 << 20  # 170,000 rows of three columns; larger ones gain nothing, measured
LINE_BYTES = 1 << 20
HEAD_BYTES = 1 << 20
MOST_NULS = 0.2  # of the beginning; a power cut leaves a few, UTF-16 without its mark half
_MAGIC = (
    (b"PK\x03\x04", "this is a workbook or zip archive: unpack it, or save the log as CSV"),
    (b"\xd0\xcf\x11\xe0", "this is a workbook: save the log as CSV"),
    (b"\x1f\x8b", "this is packed by gzip: unpack it first"),
    (b"%PDF", "this is a PDF: save the log as CSV"),
)


@dataclass(frozen=True, slots=True)
class Encoding:
    """How the bytes of a file become lines."""

    name: str  # utf-8, utf-16-le or utf-16-be
    mark_bytes: int  # of the byte order mark
    is_cr: bool  # lines end in a carriage return alone


@dataclass(frozen=True, slots=True)
class Block:
    """Whole lines, each ended by ``\\n``."""

    first_line: int  # counted from 1
    data: bytes
    n_lines: int
    is_open: bool = False  # the last line had no line end in the file


def opened(path: Path) -> BinaryIO:
    """The file, open for reading.

    :raises UnusableInput: there is none, or it cannot be read.
    """
    try:
        return path.open("rb")
    except FileNotFoundError:
        raise UnusableInput(f"{path}: there is no such file: give a log") from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UnusableInput(f"{path}: the file cannot be read ({reason}): give a log") from None


def encoding_of(name: str, head: bytes) -> Encoding:
    """Encoding and line ends, from the beginning of a file.

    :raises Refused: it is empty or is a file of another kind.
    """
    if not head.strip(b"\0 \t\r\n"):
        raise Refused(name, None, "the log is empty: give a log with rows of diameters")
    for magic, advice in _MAGIC:
        if head.startswith(magic):
            raise Refused(name, None, f"not a text file: {advice}")
    if head.startswith(codecs.BOM_UTF16_LE):
        kind, mark = "utf-16-le", 2
    elif head.startswith(codecs.BOM_UTF16_BE):
        kind, mark = "utf-16-be", 2
    else:
        kind, mark = "utf-8", 3 if head.startswith(codecs.BOM_UTF8) else 0
    if mark != 2 and head.count(b"\0") > MOST_NULS * len(head):
        raise Refused(name, None, "not a text file: save the log as CSV in UTF-8")
    text = head.decode(kind, "replace").encode() if mark == 2 else head
    return Encoding(kind, mark, b"\r" in text and b"\n" not in text)


def n_line_ends(data: bytes) -> int:
    """The number of lines, five times as fast as counting in bytes."""
    return int(np.count_nonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n")))


class Blocks:
    """Iterates the blocks of an open file from its beginning; counts the bytes as it goes."""

    def __init__(self, file: BinaryIO, encoding: Encoding, block_bytes: int | None = None) -> None:
        self._file = file
        self._encoding = encoding
        self._block_bytes = block_bytes or BLOCK_BYTES
        self.bytes_read = 0

    def __iter__(self) -> Iterator[Block]:
        line, rest = 1, b""
        for piece in self._pieces():
            end = piece.rfind(b"\n") + 1
            if end:
                data = b"".join((rest, memoryview(piece)[:end]))
                n_lines = n_line_ends(data)
                yield Block(line, data, n_lines)
                line += n_lines
                rest = piece[end:]
            else:
                rest += piece
            if len(rest) > LINE_BYTES + 1:
                rest = rest[: LINE_BYTES + 1]
        if rest:
            yield Block(line, rest + b"\n", 1, is_open=True)

    def _read(self) -> bytes:
        try:
            return self._file.read(self._block_bytes)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise UnusableInput(
                f"{self._file.name}: the file cannot be read any further ({reason}): copy it anew"
            ) from None

    def _pieces(self) -> Iterator[bytes]:
        """The file as UTF-8 with ``\\n`` line ends; a carriage return waits for what follows."""
        self._file.seek(self._encoding.mark_bytes)
        self.bytes_read = self._encoding.mark_bytes
        decoder = None
        if self._encoding.name != "utf-8":
            decoder = codecs.getincrementaldecoder(self._encoding.name)("replace")
        waiting = b""
        while True:
            piece = self._read()
            at_end = not piece
            self.bytes_read += len(piece)
            if decoder is not None:
                piece = decoder.decode(piece, at_end).encode("utf-8", "replace")
            piece = waiting + piece
            waiting = b""
            if piece.endswith(b"\r") and not at_end:
                piece, waiting = piece[:-1], b"\r"
            if b"\r" in piece:
                piece = piece.replace(b"\r\n", b"\n")
                piece = piece.replace(b"\r", b"\n" if self._encoding.is_cr else b" ")
            if piece:
                yield piece
            if at_end:
                return
