"""The command line: one module a command, each parses, calls and prints.

Nothing heavy is imported here or at the top of a command's module, so that ``lotqa --help``
answers at once.
"""

import os
import sys

import typer

from lotqa.cli import demo, drift, inspect, ledger, report, suppliers
from lotqa.errors import LotqaError

app = typer.Typer(
    name="lotqa",
    help="Is this lot of filament like the last one? Readings and weigh-ins go in; accept, tune "
    "or reject comes out, with reasons, a page to print and a ledger that remembers.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)

# The one list of commands: help, README and tests follow its order.
COMMANDS = (
    ("inspect", inspect.inspect),
    ("suppliers", suppliers.suppliers),
    ("drift", drift.drift),
    ("report", report.report),
    ("demo", demo.demo),
)
for name, function in COMMANDS:
    app.command(name)(function)
app.add_typer(ledger.app, name="ledger")


def main() -> None:
    """Run a command; an error that a person can mend is one line on standard error and exit 2."""
    try:
        app()
    except LotqaError as error:
        print(f"lotqa: {error}", file=sys.stderr)
        for problem in getattr(error, "problems", ()):
            print(f"  {located(problem)}", file=sys.stderr)
        sys.exit(2)
    except BrokenPipeError:
        # The reader of a pipe (head, less) went away; nothing is left to say.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        print("lotqa: stopped; nothing half done was kept", file=sys.stderr)
        sys.exit(130)


def located(problem: object) -> str:
    """'file:line: message' of a problem."""
    file, line = getattr(problem, "file", ""), getattr(problem, "line", None)
    where = f"{file}:{line}" if line else file
    return f"{where}: {getattr(problem, 'message', problem)}"
