"""The bar: only on a terminal, only for what takes long, and gone when the work is done."""

import io
import time
from contextlib import redirect_stderr

import pytest

from lotqa.cli import progress
from lotqa.cli.progress import Bar, bar

GONE = "\x1b[?25h\r\x1b[1A\x1b[2K"  # cursor shown, up a line, line erased (ECMA-48)


class Terminal(io.StringIO):
    """Standard error as a terminal."""

    encoding = "utf-8"  # type: ignore[assignment]  # a property of the text stream

    def isatty(self) -> bool:
        return True


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bar does not wait, so that the test need not."""
    monkeypatch.setattr(progress, "WAIT_S", 0.0)
    monkeypatch.setenv("TERM", "xterm")


def wait_until_shown(shown: Bar) -> None:
    for _ in range(1000):
        if shown._progress is not None:
            return
        time.sleep(0.01)
    raise AssertionError("no bar was shown")


def test_work_that_takes_long_shows_what_goes_on_with_brackets_as_text() -> None:
    with redirect_stderr(Terminal()) as terminal, bar(3) as shown:
        shown.step("reading [red]")
        wait_until_shown(shown)
        shown.step("judging")
    assert "reading [red]" in terminal.getvalue()
    assert " of 3" in terminal.getvalue()
    assert terminal.getvalue().endswith(GONE)


def test_a_long_step_shows_how_far_it_has_come() -> None:
    with redirect_stderr(Terminal()) as terminal, bar(100, " %") as shown:
        shown.reach(0, "starting")
        wait_until_shown(shown)
        shown.reach(42, "reading log.csv")
        shown._progress.refresh()
    assert "reading log.csv" in terminal.getvalue()
    assert "42 of 100 %" in terminal.getvalue()


def test_work_that_is_done_at_once_shows_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "WAIT_S", 60.0)
    with redirect_stderr(Terminal()) as terminal, bar(3) as shown:
        shown.step("reading")
    assert terminal.getvalue() == ""


def test_a_bar_that_comes_too_late_stays_away(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "WAIT_S", 60.0)
    with redirect_stderr(Terminal()) as terminal:
        shown = Bar(3)
        shown.close()
        shown._show()  # as if the timer had gone off at that very moment
    assert terminal.getvalue() == ""


def test_nothing_is_shown_where_nobody_looks() -> None:
    with redirect_stderr(io.StringIO()) as pipe, bar(3) as shown:
        shown.step("reading")
        time.sleep(0.05)
    assert pipe.getvalue() == ""


def test_a_failure_takes_the_bar_off() -> None:
    def work() -> None:
        with bar(3) as shown:
            shown.step("reading")
            wait_until_shown(shown)
            raise ValueError("broken")

    with redirect_stderr(Terminal()) as terminal, pytest.raises(ValueError, match="broken"):
        work()
    assert terminal.getvalue().endswith(GONE)
