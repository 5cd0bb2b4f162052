"""Commands typed wrongly, and the help that a person asks for."""

import itertools
import re

import pytest

from lotqa import __version__
from lotqa.cli import COMMANDS, GROUPS
from lotqa.cli.options import amount, count, day, one_of
from lotqa.errors import UnusableInput
from tests.cli.terminal import command

IN_GROUPS = {
    name: [str(command.name) for command in group.registered_commands] for name, group in GROUPS
}
EVERY_COMMAND = [(name,) for name, _ in COMMANDS] + [
    (group, name) for group, names in IN_GROUPS.items() for name in names
]

MISTAKES = {
    ("inspct", "x"): 'lotqa: there is no command "inspct", did you mean inspect?: see lotqa --help',
    ("weigh",): 'lotqa: there is no command "weigh": see lotqa --help',
    ("ledger", "shw"): (
        'lotqa ledger: there is no command "shw", did you mean show?: see lotqa ledger --help'
    ),
    ("inspect",): "lotqa inspect: PATH is missing: see lotqa inspect --help",
    ("drift",): "lotqa drift: SUPPLIER is missing: see lotqa drift --help",
    ("inspect", "x", "y"): 'lotqa inspect: "y" is too much: see lotqa inspect --help',
    ("inspect", "x", "--raport", "y"): (
        "lotqa inspect: there is no option --raport, did you mean --report?: "
        "see lotqa inspect --help"
    ),
    ("inspect", "x", "--zzz"): (
        "lotqa inspect: there is no option --zzz: see lotqa inspect --help"
    ),
    ("inspect", "x", "--price"): "lotqa: --price needs a value behind it: see lotqa --help",
    ("inspect", "x", "--json=yes"): "lotqa: --json takes no value: see lotqa --help",
    ("inspect", "x", "--price", "cheap"): (
        'lotqa: --price is "cheap": write a number from 0 to 1000000, such as 21.50'
    ),
    ("inspect", "x", "--price", "nan"): (
        'lotqa: --price is "nan": write a number from 0 to 1000000, such as 21.50'
    ),
    ("inspect", "x", "--nominal", "17.5"): (
        'lotqa: --nominal is "17.5": write a number from 0.5 to 5, such as 1.75'
    ),
    ("inspect", "x", "--received", "2026-02-30"): (
        'lotqa: --received is "2026-02-30": write a day that exists, as 2026-03-31'
    ),
    ("inspect", "x", "--spools-received", "1.5"): (
        'lotqa: --spools-received is "1.5": write a whole number from 1 to 1000000'
    ),
    ("inspect", "x", "--unit", "cm"): 'lotqa: --unit is "cm": write mm or in',
}


@pytest.mark.parametrize(("typed", "message"), MISTAKES.items(), ids=map(" ".join, MISTAKES))
def test_a_command_typed_wrongly_is_told_in_one_line(typed: tuple[str, ...], message: str) -> None:
    answer = command(*typed)
    assert (answer.code, answer.out, answer.err) == (2, "", message + "\n")


def test_without_a_command_the_help_is_shown() -> None:
    answer = command()
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.startswith("Usage: lotqa [OPTIONS] COMMAND")


@pytest.mark.parametrize("typed", EVERY_COMMAND, ids=" ".join)
def test_every_command_has_help_that_fits_and_a_json_document(typed: tuple[str, ...]) -> None:
    answer = command(*typed, "--help")
    assert (answer.code, answer.err) == (0, "")
    lines = answer.out.splitlines()
    assert max(map(len, lines)) <= 80
    assert "--json" in answer.out
    options = [line for line in lines if re.match(r"  -", line)]
    # An option without a word of explanation is a line with one column.
    alone = [
        line
        for line, following in itertools.pairwise(lines)
        if line in options
        and not re.search(r"\S {2,}\S", line)
        and not following.startswith("    ")
    ]
    assert alone == []
    assert command(*typed, "-h") == answer


def test_the_list_of_commands_is_in_order_and_no_line_of_it_is_cut_short() -> None:
    expected = {(): [name for name, _ in (*COMMANDS, *GROUPS)]}
    expected |= {(group,): names for group, names in IN_GROUPS.items()}
    assert IN_GROUPS["ledger"] == ["list", "show", "export", "backup", "check", "tare", "remaining"]
    for typed, names in expected.items():
        table = command(*typed, "--help").out.partition("Commands:")[2]
        assert re.findall(r"^  ([a-z]+)  ", table, re.MULTILINE) == names
        assert "..." not in table


def test_brackets_in_a_help_text_are_text() -> None:
    assert "[[for]]" in command("inspect", "--help").out


def test_the_version() -> None:
    assert command("--version").out == f"lotqa {__version__}\n"


def test_values_of_options_read_as_people_write_them() -> None:
    assert amount("--x", 0, 10, "1")(" 1,75 ") == 1.75
    assert count("--x", 0, 10)("07") == 7
    assert day("--x")("2024-02-29").isoformat() == "2024-02-29"
    assert one_of("--x", "mm", "in")("in") == "in"


@pytest.mark.parametrize("text", ["", "1e999", "-0.1", "10.1", "inf", "NaN", "1_0x", "١٠x"])
def test_an_amount_out_of_bounds_or_no_number_is_refused(text: str) -> None:
    with pytest.raises(UnusableInput):
        amount("--x", 0, 10, "1")(text)


@pytest.mark.parametrize("text", ["", "-1", "1.0", "1e1", "11", "9" * 5000, "²"])
def test_a_count_out_of_bounds_or_not_whole_is_refused(text: str) -> None:
    with pytest.raises(UnusableInput):
        count("--x", 0, 10)(text)
