"""What stands on the screen: tables that fit, words kept whole, nothing that a terminal obeys."""

import json
import re
from pathlib import Path

import pytest

from lotqa.cli.words import clean, digits, told
from lotqa.samples import sample_lots
from tests.cli.lots import put_lot, readings, sheet_with
from tests.cli.terminal import command

WIDTHS = (40, 60, 80, 120)
NARROW, USUAL, WIDE = 60, 80, 120
LONG_NAMES = ("Brightwater Polymers", "Kranich Filament", "Tallow & Reed")
SUPPLIERS_LOTS = ("2025-03_bright", "2025-04_kranich", "2025-05_tallow", "2025-08_tallow")


@pytest.fixture(scope="module")
def remembered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger with a few sample lots, whose names are as long as names are."""
    ledger = tmp_path_factory.mktemp("remembered") / "l.sqlite"
    for lot in sample_lots():
        if lot.name.startswith(SUPPLIERS_LOTS):
            assert command("inspect", lot, "--no-report", "--ledger", ledger, "--json").code == 0
    return ledger


def screens(remembered: Path, lot: Path) -> list[str]:
    """What every looking command prints."""
    asked = (
        ("inspect", lot, "--no-ledger", "--no-report"),
        ("suppliers",),
        ("drift", "Tallow & Reed", "--no-report"),
        ("ledger", "list"),
        ("ledger", "show", "1"),
    )
    ledger = ("--ledger", remembered)
    return [command(*a, *(() if a[0] == "inspect" else ledger)).out for a in asked]


def tables(text: str) -> list[list[str]]:
    """The rows of each table: what stands under a rule until a blank line."""
    found, rows = [], None
    for line in text.splitlines():
        if re.fullmatch(r"[─-]{10,}", line.strip()):
            rows = []
            found.append(rows)
        elif not line.strip():
            rows = None
        elif rows is not None:
            rows.append(line)
    return found


@pytest.mark.parametrize("width", WIDTHS)
def test_no_line_is_wider_than_the_terminal(
    width: int, remembered: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    for text in screens(remembered, sample_lots()[0]):
        lines = [x for x in text.splitlines() if not x.startswith("Ledger ")]  # a path stays whole
        assert max(map(len, lines)) <= width
        assert tables(text)


@pytest.mark.parametrize("width", [NARROW, USUAL, WIDE])
def test_names_wrap_between_words_and_figures_never(
    width: int, remembered: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    words = {word for name in LONG_NAMES for word in name.split()}
    for command_line in (("suppliers",), ("ledger", "list")):
        text = command(*command_line, "--ledger", remembered).out
        cells = {w for row in tables(text)[0] for w in row.split()}
        assert words <= cells
    listed = command("ledger", "list", "--ledger", remembered).out
    verdicts = re.findall(r"[●◐⊠] (?:accept|tune|reject)\??\s*$", listed, re.MULTILINE)
    assert len(verdicts) == 4


def test_a_wide_terminal_keeps_a_lot_on_one_line(
    remembered: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(WIDE))
    assert len(tables(command("ledger", "list", "--ledger", remembered).out)[0]) == 4


def test_what_a_narrow_terminal_leaves_out_is_said(
    remembered: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(NARROW))
    out = command("suppliers", "--ledger", remembered).out
    assert "between" not in out.splitlines()[1]
    assert "Left out for want of width: between" in out


@pytest.mark.parametrize("width", ["0", "1", "-5", "wide", "100000"])
def test_a_terminal_of_no_sensible_width_still_gets_its_table(
    width: str, remembered: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", width)
    answer = command("ledger", "list", "--ledger", remembered)
    assert (answer.code, answer.err) == (0, "")


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252"])
def test_a_terminal_without_our_signs_gets_plain_ones(encoding: str, remembered: Path) -> None:
    answer = command("ledger", "show", "1", "--ledger", remembered, encoding=encoding)
    assert answer.code == 0
    assert "o ACCEPT" in answer.out
    assert "mean +/- U" in answer.out
    assert answer.out.isascii()
    rows = tables(answer.out)[-1]
    assert len({row.index("+/-") for row in rows}) == 1  # still a table


def test_a_name_that_the_terminal_cannot_write_gets_question_marks(bench: Path) -> None:
    put_lot(bench / "lot", sheet_with(colour='"žlutá"'))
    answer = command("inspect", "lot", "--no-ledger", "--no-report", encoding="latin-1")
    assert answer.code == 0
    assert "?lutá" in answer.out


def test_json_is_whole_in_a_terminal_without_its_letters(bench: Path) -> None:
    put_lot(bench / "lot", sheet_with(colour='"žlutá"'))
    arguments = ("inspect", "lot", "--no-ledger", "--no-report", "--json")
    for encoding in ("ascii", "latin-1", "utf-8"):
        answer = command(*arguments, encoding=encoding)
        assert json.loads(answer.out)["lot"]["colour"] == "žlutá"


def test_brackets_in_names_are_text(bench: Path) -> None:
    put_lot(
        bench / "lot",
        sheet_with(lot='"[red]"', supplier='"[bold]Kranich[/bold]"', colour='"[link=x]"'),
        readings=readings(spools=("[dim]1", "[/]")),
    )
    out = command("inspect", "lot", "--no-report").out + command("ledger", "list").out
    for text in ("lot [red]", "[bold]Kranich[/bold]", "[link=x]", "[dim]1", "[/]"):
        assert text in out


def test_nothing_in_a_file_can_command_the_terminal(bench: Path) -> None:
    evil = "\x1b]0;gotcha\x07\x9b2J\u202e"
    sheet = sheet_with(lot=r'"\u001b]0;gotcha\u0007\u009b2J\u202e"')
    put_lot(bench / "lot", sheet, readings=readings() + f"1,11,0,{evil}\n")
    answer = command("inspect", "lot", "--no-report")
    listed = command("ledger", "list")
    missing = command("ledger", "show", f"{evil} 2")
    for text in (answer.out, answer.err, listed.out, missing.err):
        assert not set(text) & set("\x1b\x07\x9b\u202e")
    assert "gotcha" in answer.out
    assert "gotcha" in missing.err


@pytest.mark.parametrize("setting", [{"NO_COLOR": "1"}, {"TERM": "dumb"}])
def test_plain_terminals_get_no_escape_codes(
    setting: dict[str, str], remembered: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for key, value in setting.items():
        monkeypatch.setenv(key, value)
    assert "\x1b" not in command("ledger", "show", "1", "--ledger", remembered).out


def test_a_page_of_a_long_name_can_be_copied_from_the_screen(bench: Path) -> None:
    put_lot(bench / "lot")
    folder = "a-folder-of-a-rather-long-name/" + "x" * 80
    out = command("inspect", "lot", "--no-ledger", "--report", folder).out
    [page] = (bench / folder).iterdir()
    assert f"Page: {folder}/{page.name}" in out.splitlines()


def test_zero_has_no_sign_and_the_unknown_no_digits() -> None:
    assert digits(-0.0004, 3) == "0.000"
    assert digits(0.04, 1, sign_always=True) == "0.0"
    assert digits(-0.06, 1, sign_always=True) == "-0.1"
    assert digits(None, 3) == "–"


def test_a_provisional_verdict_carries_its_doubt_in_every_table() -> None:
    assert told("tune", "provisional") == "◐ tune?"
    assert told("tune", "firm") == "◐ tune"


def test_line_ends_stay_and_tabs_become_blanks() -> None:
    assert clean("a\tb\nc\rd\x00") == "a b\nc\ufffdd\ufffd"
