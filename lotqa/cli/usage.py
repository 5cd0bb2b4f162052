"""A command typed wrongly, told like every other error: what was typed and what to do."""

import difflib
import re
import sys
from typing import Any, Final

import typer

from lotqa.cli.words import clean

# The family of errors of the parser underneath, whatever package it lives in.
MISUSED: Final[tuple[type[Exception], ...]] = tuple(
    c for c in typer.BadParameter.__mro__ if c.__name__ == "ClickException"
)

PLAINER: Final = (
    (r"^Missing argument '(.*)'", r"\1 is missing"),
    (r"^Got unexpected extra arguments?\W*s?\W*\((.*)\)", r'"\1" is too much'),
    (r"^Option '(.*)' requires an argument", r"\1 needs a value behind it"),
    (r"^Option '(.*)' does not take a value", r"\1 takes no value"),
)


def misuse(error: Any) -> int:
    """Tell the error on standard error; the exit status."""
    if type(error).__name__ == "NoArgsIsHelpError":
        print(error.format_message(), file=sys.stderr)
        return 2
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "lotqa"
    print(f"{command}: {clean(_what(error))}: see {command} --help", file=sys.stderr)
    return 2


def _what(error: Any) -> str:
    option = str(getattr(error, "option_name", ""))
    if type(error).__name__ == "NoSuchOption":
        near = difflib.get_close_matches(option, _options(error), n=1)
        return f"there is no option {option}" + (f", did you mean {near[0]}?" if near else "")
    text: str = error.format_message().strip().rstrip(".")
    found = re.fullmatch(r"No such command '(.*?)'(?:.*'(.*)'\?)?", text, re.DOTALL)
    if found:
        other = f", did you mean {found[2]}?" if found[2] else ""
        return f'there is no command "{found[1]}"{other}'
    for pattern, told in PLAINER:
        plainer, n_found = re.subn(pattern, told, text, flags=re.DOTALL)
        if n_found:
            return plainer
    return text[:1].lower() + text[1:]


def _options(error: Any) -> list[str]:
    context = getattr(error, "ctx", None)
    params = [] if context is None else context.command.params
    return [name for p in params for name in p.opts if name.startswith("--")]
