"""Every test works in a folder of its own, with a ledger of its own, at 80 columns."""

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder that the person stands in; nothing outside it may be touched."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LOTQA_LEDGER", str(tmp_path / "kept.sqlite"))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home" / "data"))
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("LOTQA_TRACEBACK", raising=False)
    return tmp_path


@pytest.fixture
def ledger(bench: Path) -> Path:
    """Where the ledger of the test lies, once something is entered."""
    return bench / "kept.sqlite"
