"""The command line: one module a command, each parses, calls and prints.

Nothing heavy is imported here or at the top of a command's module, so that ``lotqa --help``
answers at once.
"""

import os
import sys
import warnings
from collections.abc import Sequence
from typing import Annotated, NoReturn

import typer

from lotqa.cli import demo, drift, gauge, inspect, ledger, plan, report, suppliers, trace
from lotqa.cli.usage import MISUSED, misuse
from lotqa.errors import LotqaError

INTERRUPTED = 130  # what shells report of a program that Ctrl-C ended: 128 + SIGINT
BUG = 1
PROBLEMS_SHOWN = 20  # of a file of another kind every line is a problem

app = typer.Typer(
    name="lotqa",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # a help text may hold [brackets], and plain help needs no rich
    context_settings={"help_option_names": ["-h", "--help"]},
)

# The one list of commands: help, README and tests follow its order.
COMMANDS = (
    ("inspect", inspect.inspect),
    ("plan", plan.plan),
    ("trace", trace.trace),
    ("suppliers", suppliers.suppliers),
    ("drift", drift.drift),
    ("report", report.report),
    ("demo", demo.demo),
)
for name, function in COMMANDS:
    app.command(name)(function)
# Commands that hold further ones; they come last, in this order.
GROUPS = (("gauge", gauge.app), ("ledger", ledger.app))
for name, group in GROUPS:
    app.add_typer(group, name=name)


def _version(wanted: bool) -> None:
    if wanted:
        from lotqa import __version__

        print(f"lotqa {__version__}")
        raise typer.Exit


@app.callback()
def lotqa(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Show the version."),
    ] = False,
) -> None:
    """Is this lot of filament like the last one?

    Readings and weigh-ins go in; accept, tune or reject comes out, with reasons, a page to print
    and a ledger that remembers.
    """


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run a command and leave with its exit status; without ``arguments`` those of the process."""
    if arguments is None and not sys.warnoptions:
        # Warnings of libraries are for developers, who ask for them with -W.
        warnings.simplefilter("ignore")
    sys.exit(status(arguments))


def status(arguments: Sequence[str] | None = None) -> int:
    """Run a command; the exit status.

    An error that a person can mend is one line on standard error and 2.
    """
    _never_choke(sys.stdout)
    try:
        command = typer.main.get_command(app)
        args = None if arguments is None else list(arguments)
        code = command.main(args, prog_name="lotqa", standalone_mode=False)
        sys.stdout.flush()
    except MISUSED as error:
        return misuse(error)
    except LotqaError as error:
        _tell_all(error)
        return 2
    except (KeyboardInterrupt, typer.Abort):
        code = INTERRUPTED
    except BrokenPipeError:
        from lotqa.cli.screen import forget_output

        forget_output()
        return 0
    except Exception as error:
        if os.environ.get("LOTQA_TRACEBACK"):
            raise
        _tell(
            f"this is a fault of lotqa, not of your files ({type(error).__name__}: {error}): "
            "set LOTQA_TRACEBACK=1, repeat and report what it prints"
        )
        return BUG
    if code == INTERRUPTED:
        _tell("stopped; the ledger holds whole inspections only")
    return int(code or 0)


def _never_choke(stream: object) -> None:
    """A terminal that lacks a letter of a name shows '?' for it."""
    encoding = str(getattr(stream, "encoding", None) or "")
    if not encoding.lower().startswith("utf") and hasattr(stream, "reconfigure"):
        stream.reconfigure(errors="replace")


def _tell_all(error: LotqaError) -> None:
    _tell(str(error))
    problems = list(getattr(error, "problems", ()))
    for problem in problems[:PROBLEMS_SHOWN]:
        _tell(located(problem), head="  ")
    if len(problems) > PROBLEMS_SHOWN:
        _tell(f"and {len(problems) - PROBLEMS_SHOWN} more like these", head="  ")


def _tell(text: str, head: str = "lotqa: ") -> None:
    from lotqa.cli.words import clean

    print(f"{head}{clean(text)}", file=sys.stderr)


def located(problem: object) -> str:
    """'file:line: message' of a problem."""
    file, line = getattr(problem, "file", ""), getattr(problem, "line", None)
    where = f"{file}:{line}" if line else file
    return f"{where}: {getattr(problem, 'message', problem)}"
