"""The tool as a process of its own: start-up, pipes, Ctrl-C, completion, the demo."""

import io
import json
import os
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from lotqa.ledger import Ledger
from lotqa.samples import sample_lots
from tests.cli.lots import put_lot, readings
from tests.cli.terminal import RUN_MAIN, Answer, command, environment, process

HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "sqlalchemy", "openpyxl", "jinja2", "alembic")
# Runs a command, then says on standard error which packages it loaded.
LOADED = """
import sys
from lotqa.cli import main
try:
    main()
finally:
    print(*sorted({name.partition(".")[0] for name in sys.modules}), file=sys.stderr)
"""


def loaded(*arguments: object) -> set[str]:
    """The top-level packages that a command loads."""
    answer = process(*arguments, code=LOADED)
    assert answer.code == 0
    return set(answer.err.split())


@contextmanager
def started(*arguments: object) -> Iterator["subprocess.Popen[str]"]:
    """A running command; it is ended whatever becomes of the test."""
    with subprocess.Popen(
        [sys.executable, "-c", RUN_MAIN, *(str(a) for a in arguments)],
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    ) as running:
        try:
            yield running
        finally:
            running.kill()


def ended(running: "subprocess.Popen[str]") -> Answer:
    out, err = running.communicate(timeout=120)
    return Answer(running.returncode, out, err)


def test_help_loads_nothing_heavy() -> None:
    for arguments in (("--help",), ("inspect", "--help"), ("ledger", "--help")):
        found = loaded(*arguments)
        assert "typer" in found  # the probe sees what is loaded
        assert found & {*HEAVY, "rich"} == set()


def test_a_lot_without_a_page_loads_only_what_it_needs(bench: Path) -> None:
    put_lot(bench / "lot")
    first = loaded("inspect", "lot", "--no-report")
    assert "alembic" in first  # the ledger was made: this probe sees what it is to see
    again = loaded("inspect", "lot", "--no-report", "--json")
    unneeded = {"pandas", "matplotlib", "openpyxl", "jinja2", "alembic", "rich"}
    assert again & unneeded == set()
    assert {"numpy", "sqlalchemy"} <= again


def test_json_is_the_one_document_on_standard_output(bench: Path) -> None:
    put_lot(bench / "lot")
    answer = process("inspect", "lot", "--no-report", "--json")
    assert (answer.code, answer.err) == (0, "")
    assert json.loads(answer.out)["schema"] == "lotqa.inspection.v1"
    assert process("inspect", "lot", "--no-report", "--gate", "--json").code == 4
    refused = process("inspect", "nowhere", "--json")
    assert (refused.code, refused.out) == (2, "")
    assert refused.err.startswith("lotqa: nowhere: there is no such file or folder")


def test_a_terminal_without_unicode(bench: Path) -> None:
    put_lot(bench / "lot")
    plain = environment(
        LC_ALL="C", LANG="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0", NO_COLOR="1", TERM="dumb"
    )
    plain.pop("PYTHONIOENCODING", None)
    answer = process("inspect", "lot", "--no-ledger", "--no-report", env=plain)
    assert (answer.code, answer.err) == (0, "")
    assert "o ACCEPT" in answer.out
    assert answer.out.isascii()


def test_a_reader_that_goes_away_is_no_accident(bench: Path) -> None:
    many = readings(spools=tuple(f"s{i}" for i in range(300)), places=2)
    put_lot(bench / "lot", readings=many)
    for arguments in (("--json",), ()):
        with started("inspect", "lot", "--no-ledger", "--no-report", *arguments) as running:
            assert running.stdout is not None
            assert running.stderr is not None
            running.stdout.close()
            said = running.stderr.read()
            assert (running.wait(timeout=60), said) == (0, "")


def test_ctrl_c_while_reading(bench: Path) -> None:
    """A pipe in place of the file: the tool waits for it for ever, so the moment is certain."""
    os.mkfifo(bench / "endless.csv")
    with started("inspect", "endless.csv") as running, (bench / "endless.csv").open("w") as writer:
        # The pipe opened, so the tool is reading by now.
        writer.write("spool,diameter_mm\n")
        writer.flush()
        running.send_signal(signal.SIGINT)
        writer.close()  # a signal that comes just before the wait is noticed after it
        answer = ended(running)
    assert (answer.code, answer.out) == (130, "")
    assert answer.err == "lotqa: stopped; the ledger holds whole inspections only\n"
    assert not (bench / "reports").exists()
    assert not (bench / "kept.sqlite").exists()


@pytest.mark.parametrize("wait_s", [0.0, 0.2, 0.5, 0.9])
def test_ctrl_c_at_any_moment_leaves_a_sound_ledger(
    bench: Path, ledger: Path, wait_s: float
) -> None:
    many = readings(spools=tuple(f"s{i}" for i in range(400)), places=20)
    put_lot(bench / "lot", readings=many)
    with started("inspect", "lot", "--report", "pages") as running:
        while not (bench / "pages").exists() and running.poll() is None:
            time.sleep(0.01)  # the folder is made when the work begins
        time.sleep(wait_s)
        running.send_signal(signal.SIGINT)
        answer = ended(running)
    assert answer.code in (0, 130)
    assert "Traceback" not in answer.err
    if ledger.exists():
        with Ledger.open(str(ledger)) as book:
            assert book.check() == []
            n_lots = len(book.lots())
        assert n_lots in (0, 1)


def test_completion_is_shown_and_completes() -> None:
    ask = environment(_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION="1")
    shown = process("--show-completion", "bash", env=ask)
    assert shown.code == 0
    assert "_LOTQA_COMPLETE=complete_bash" in shown.out

    def completed(typed: str) -> list[str]:
        words = typed.split(" ")
        env = environment(
            _LOTQA_COMPLETE="complete_bash", COMP_WORDS=typed, COMP_CWORD=str(len(words) - 1)
        )
        return process(env=env).out.split()

    assert completed("lotqa in") == ["inspect"]
    assert completed("lotqa ledger b") == ["backup"]
    assert "--criteria" in completed("lotqa inspect --cr")


def test_completion_is_installed_for_a_shell(bench: Path) -> None:
    home = bench / "home"
    home.mkdir()
    ask = environment(_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION="1", HOME=str(home))
    answer = process("--install-completion", "bash", env=ask)
    assert answer.code == 0
    written = "".join(p.read_text(encoding="utf-8") for p in home.rglob("*") if p.is_file())
    assert "_LOTQA_COMPLETE" in written


def test_the_demo_stays_out_of_the_ledger_that_is_kept(
    bench: Path, ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    few = sample_lots()[:3]  # the whole scenario is run by those who check the installed package
    monkeypatch.setattr("lotqa.samples.sample_lots", lambda: few)
    answer = command("demo", "--json")
    assert (answer.code, answer.err) == (0, "")
    made = json.loads(answer.out)
    assert made["ledger"] == "lotqa-demo.sqlite"
    assert (bench / "lotqa-demo.sqlite").is_file()
    assert not ledger.exists()
    assert len(made["lots"]) == len({lot["page"] for lot in made["lots"]})
    for page in [*(lot["page"] for lot in made["lots"]), *made["supplier_pages"].values()]:
        assert (bench / page).is_file()
    out = command("ledger", "list", "--ledger", "lotqa-demo.sqlite").out
    assert "3 lots." in out
    shown = command("demo").out
    assert "all readings are invented" in shown
    first = shown.partition("Open this page first:\n  ")[2].partition("\n")[0]
    assert first == made["lots"][0]["page"]


def test_a_workbook_of_the_wrong_kind_is_told(bench: Path) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("hello.txt", "not a workbook")
    (bench / "readings.xlsx").write_bytes(packed.getvalue())
    answer = process("inspect", "readings.xlsx")
    assert (answer.code, answer.out) == (2, "")
    assert answer.err == (
        "lotqa: readings.xlsx: cannot be read as a workbook: open it in a spreadsheet program and "
        "save it as .xlsx, or save the table as CSV\n"
    )
