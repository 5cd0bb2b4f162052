"""A progress bar for what takes longer than a second; it shows on standard error only."""

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

WAIT_S: Final = 1.0  # a bar that flashes by for less than this only disturbs


class Bar:
    """A progress bar that appears only when the work takes longer than a second."""

    def __init__(self, total: int, unit: str = "") -> None:
        self._total = total
        self._unit = unit
        self._done = -1
        self._text = ""
        self._lock = threading.Lock()
        self._closed = False
        self._progress: Any = None
        self._task: Any = None
        self._timer = threading.Timer(WAIT_S, self._show)
        self._timer.daemon = True
        if sys.stderr.isatty():
            self._timer.start()

    def _show(self) -> None:
        from rich.progress import BarColumn, Progress, TextColumn

        from lotqa.cli.screen import console

        with self._lock:
            if self._closed:
                return
            self._progress = Progress(
                TextColumn("{task.description}", markup=False),
                BarColumn(),
                TextColumn("{task.completed:.0f} of {task.total:.0f}" + self._unit),
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

    def reach(self, done: int, text: str) -> None:
        """Say how far a long step has come."""
        with self._lock:
            self._done, self._text = done, text
            if self._progress is not None:
                self._progress.update(self._task, description=text, completed=done)

    def close(self) -> None:
        """Take the bar off the screen."""
        self._timer.cancel()
        with self._lock:
            self._closed = True
            if self._progress is not None:
                self._progress.stop()


@contextmanager
def bar(total: int, unit: str = "") -> Iterator[Bar]:
    """A bar that is taken off whatever happens; ``unit`` stands behind its figures."""
    made = Bar(total, unit)
    try:
        yield made
    finally:
        made.close()
