"""The job of a log as a whole: memory that does not grow, and a job that is stopped."""

import tracemalloc
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from lotqa.cli import INTERRUPTED
from lotqa.criteria import read_criteria
from lotqa.evidence.traces import Envelope
from lotqa.evidence.waves.spectrum import Spectrum
from lotqa.intake.traces import Axis
from lotqa.model import TraceChunk
from lotqa.trace import Stated, pass_over, run_trace
from tests.benchmarks.log import SHAPE, write_log
from tests.cli.terminal import command
from tests.traces import simulated

NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
ROWS_A_CHUNK = 50_000


class EndlessLog:
    """A log that is made while it is read, so that no file of its length is needed."""

    name = "endless.csv"
    bytes_read = bytes_total = 1
    axes = (Axis("d_x_mm", 0.0, True), Axis("d_y_mm", 90.0, True))

    def __init__(self, n_rows: int) -> None:
        self.n_rows = n_rows

    def __iter__(self) -> Iterator[TraceChunk]:
        piece = simulated(ROWS_A_CHUNK, SHAPE)
        for first in range(0, self.n_rows, ROWS_A_CHUNK):
            yield TraceChunk(piece.length_m + first / 1000, piece.diameter_mm.copy(), first)


def peak_of(n_rows: int) -> int:
    """Bytes that a pass over so many rows held at once, with what is drawn."""
    tracemalloc.start()
    try:
        pass_over(EndlessLog(n_rows), read_criteria(), Stated(), Envelope())  # type: ignore[arg-type]
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_memory_does_not_grow_with_the_log(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four times the rows; a pass that keeps its rows is caught.  The reader has its own test."""
    first, second = peak_of(400_000), peak_of(1_600_000)
    assert second < 1.1 * first
    kept, real = [], Spectrum.add

    def keeping(spectrum: Spectrum, chunk: TraceChunk) -> None:
        kept.append(chunk)
        real(spectrum, chunk)

    monkeypatch.setattr(Spectrum, "add", keeping)
    assert peak_of(1_600_000) > 1.5 * first


@pytest.fixture
def _small_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """The reader takes the file in smaller pieces, so that the files can be small."""
    monkeypatch.setattr("lotqa.intake.traces.blocks.BLOCK_BYTES", 1 << 18)
    monkeypatch.setattr("lotqa.intake.traces.reader.HEAD_BYTES", 1 << 16)


@pytest.mark.usefixtures("_small_blocks")
def test_progress_is_told_and_ends_with_the_file(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    write_log(path, 60_000)
    told: list[tuple[int, int]] = []
    run_trace(path, read_criteria(), now=NOW, progress=lambda *p: told.append(p))
    assert len(told) > 1
    assert told == sorted(told)
    assert {total for _, total in told} == {path.stat().st_size}
    assert 0 < told[0][0] < told[-1][0] <= path.stat().st_size


def test_a_job_that_is_stopped_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C in the middle of reading and in the middle of drawing."""
    path = tmp_path / "log.csv"
    write_log(path, 60_000)
    monkeypatch.chdir(tmp_path)

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    for where in ("lotqa.evidence.waves.spectrum.Spectrum.add", "lotqa.trace.render",
                  "os.replace"):  # fmt: skip
        with monkeypatch.context() as patched:
            patched.setattr(where, stop)
            answer = command("trace", "log.csv")
        assert (answer.code, answer.out) == (INTERRUPTED, "")
        assert [p.name for p in tmp_path.iterdir()] == ["log.csv"]


def test_the_page_does_not_change_the_figures(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    write_log(path, 20_000)
    with_page = run_trace(path, read_criteria(), now=NOW, report_folder=tmp_path).document
    without = run_trace(path, read_criteria(), now=NOW).document
    assert with_page == without
    assert np.isfinite(without["diameter"]["mean_mm"])
