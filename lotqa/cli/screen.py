"""What a person sees in the terminal: tables of 80 columns, and a bar for what takes long."""

import json
import sys
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

WAIT_S = 1.0  # a bar that flashes by for less than this only disturbs
# Verdicts are told by word and sign, so that nothing hangs on colour.
SIGNS = {"accept": "●", "tune": "◐", "reject": "⊠"}
PLAIN_SIGNS = {"accept": "o", "tune": "~", "reject": "x"}


def console(*, to_errors: bool = False) -> "Console":
    """A console on standard output, or on standard error when that carries JSON."""
    from rich.console import Console

    return Console(stderr=to_errors, highlight=False, soft_wrap=False)


def sign(verdict: str) -> str:
    """The sign of a verdict, in letters where the terminal has no better."""
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower()
    return (SIGNS if encoding.startswith("utf") else PLAIN_SIGNS)[verdict]


def told(verdict: str, standing: str | None = None) -> str:
    """'● accept', with '?' behind a provisional one."""
    return f"{sign(verdict)} {verdict}" + ("?" if standing == "provisional" else "")


def table(
    columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[str]], title: str = ""
) -> "Table":
    """A table; ``columns`` are (heading, 'left' or 'right')."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    made = Table(
        title=title or None,
        title_justify="left",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        padding=(0, 1),
    )
    for heading, side in columns:
        made.add_column(heading, justify="right" if side == "right" else "left", overflow="fold")
    for row in rows:
        made.add_row(*(Text(cell) for cell in row))  # text: a lot code may hold [brackets]
    return made


def say(screen: "Console", text: str) -> None:
    """One paragraph, wrapped; brackets in it are text."""
    screen.print(text, markup=False, highlight=False)


def print_json(document: Mapping[str, Any]) -> None:
    """The one document on standard output."""
    sys.stdout.write(json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n")
    sys.stdout.flush()


class Bar:
    """A progress bar that appears only when the work takes longer than a second."""

    def __init__(self, total: int) -> None:
        self._total = total
        self._done = -1
        self._text = ""
        self._lock = threading.Lock()
        self._progress: Any = None
        self._task: Any = None
        self._timer = threading.Timer(WAIT_S, self._show)
        self._timer.daemon = True
        if sys.stderr.isatty():
            self._timer.start()

    def _show(self) -> None:
        from rich.progress import BarColumn, Progress, TextColumn

        with self._lock:
            self._progress = Progress(
                TextColumn("{task.description}", markup=False),
                BarColumn(),
                TextColumn("{task.completed:.0f} of {task.total:.0f}"),
                console=console(to_errors=True),
                transient=True,
            )
            self._task = self._progress.add_task(
                self._text, total=self._total, completed=max(self._done, 0)
            )
            self._progress.start()

    def step(self, text: str) -> None:
        """Say what begins now; what began before is done."""
        with self._lock:
            self._done += 1
            self._text = text
            if self._progress is not None:
                self._progress.update(self._task, description=text, completed=self._done)

    def close(self) -> None:
        """Take the bar off the screen."""
        self._timer.cancel()
        with self._lock:
            if self._progress is not None:
                self._progress.stop()


@contextmanager
def bar(total: int) -> Iterator[Bar]:
    """A bar that is taken off whatever happens."""
    made = Bar(total)
    try:
        yield made
    finally:
        made.close()


def digits(value: float | None, n: int, sign_always: bool = False) -> str:
    """A number for a table; '–' where it is not known."""
    if value is None:
        return "–"
    text = f"{value:+.{n}f}" if sign_always else f"{value:.{n}f}"
    return text.lstrip("-") if float(text) == 0 and not sign_always else text


def plus_minus(value: float | None, half: float | None, n: int) -> str:
    """'1.752 ± 0.004'."""
    if value is None:
        return "–"
    return digits(value, n) if half is None else f"{value:.{n}f} ± {half:.{n}f}"
