"""What a person sees in the terminal: paragraphs, tables, one JSON document."""

import json
import os
import shutil
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from lotqa.cli.tables import Column, fitted
from lotqa.cli.words import is_plain, shown

if TYPE_CHECKING:
    from rich.console import Console

WIDTH: Final = 80  # where no terminal tells
NARROWEST: Final = 20
PROSE_WIDTH: Final = 100  # longer lines are hard to read


def console(*, to_errors: bool = False) -> "Console":
    """A console on standard output, or on standard error when that carries JSON."""
    from rich.console import Console

    class Screen(Console):
        def on_broken_pipe(self) -> None:
            forget_output()
            raise SystemExit(0)

    width = max(shutil.get_terminal_size((WIDTH, 24)).columns, NARROWEST)
    return Screen(stderr=to_errors, highlight=False, width=width)


def forget_output() -> None:
    """The reader of a pipe (head, less) went away; nothing is left to say."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def say(screen: "Console", text: str = "", *, indent: int = 0, style: str = "") -> None:
    """Paragraphs, wrapped; lines after the first stand two further in if ``indent`` is given."""
    from rich.text import Text

    hang = indent + 2 if indent else 0
    width = max(min(screen.width, PROSE_WIDTH) - hang, NARROWEST // 2)
    for paragraph in shown(text).split("\n"):
        lines = Text(paragraph, style=style).wrap(screen, width) or [Text("")]
        for number, line in enumerate(lines):
            line.rstrip()
            line.pad_left(hang if number else indent)
            screen.print(line, soft_wrap=True)


def tell(screen: "Console", text: str) -> None:
    """One line that is not broken, so that a path in it can be copied."""
    screen.print(shown(text), markup=False, soft_wrap=True)


def show_table(screen: "Console", columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
    """A table with a blank line before and after; says which columns the width left out."""
    made, left_out = fitted(
        screen.width,
        [replace(column, heading=shown(column.heading)) for column in columns],
        [[shown(cell) for cell in row] for row in rows],
        is_plain(),
    )
    screen.print()
    screen.print(made)
    if left_out:
        say(screen, f"Left out for want of width: {', '.join(left_out)}.")
    screen.print()


def print_json(document: Mapping[str, Any]) -> None:
    """The one document on standard output."""
    text = json.dumps(document, ensure_ascii=is_plain(), indent=1, allow_nan=False)
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:  # half a character, from the name of a file
        text = json.dumps(document, ensure_ascii=True, indent=1, allow_nan=False)
    try:
        sys.stdout.write(text + "\n")
        sys.stdout.flush()
    except BrokenPipeError:
        forget_output()
        raise SystemExit(0) from None
