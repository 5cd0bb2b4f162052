"""The folder that pages go into, made sure of before anything is entered into the ledger."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from lotqa.errors import LotqaError

WAY_OUT: Final = "choose a folder that you may write to with --report"


@contextmanager
def page_folder(folder: Path | None, way_out: str = WAY_OUT) -> Iterator[None]:
    """Make ``folder`` and try it; take away again what was made if the job fails.

    Raises LotqaError if pages cannot be written there, so that the job ends before it begins.
    """
    made: list[Path] = []
    try:
        if folder is not None:
            _make(folder, made, way_out)
        yield
    except BaseException:
        for path in reversed(made):
            with suppress(OSError):  # something is in it by now
                path.rmdir()
        raise


def _make(folder: Path, made: list[Path], way_out: str) -> None:
    try:
        missing = []
        for path in (folder, *folder.parents):
            if path.exists():
                break
            missing.append(path)
        for path in reversed(missing):
            path.mkdir(exist_ok=True)
            made.append(path)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise LotqaError(f"{folder}: pages cannot be written there ({reason}): {way_out}") from None
