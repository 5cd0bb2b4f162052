"""The command line as the tests meet it: in this process for speed, or in one of its own."""

import io
import os
import subprocess
import sys
from collections.abc import Mapping
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import lotqa
from lotqa.cli import main

ROOT = Path(lotqa.__file__).parent.parent
RUN_MAIN = "from lotqa.cli import main; main()"


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command left: exit status, standard output, standard error."""

    code: int
    out: str
    err: str


def command(*arguments: object, encoding: str = "utf-8") -> Answer:
    """Run ``lotqa ARGUMENTS`` in this process; ``encoding`` is that of the terminal."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding=encoding) for _ in range(2))
    code: Any = None
    with redirect_stdout(out), redirect_stderr(err):
        try:
            main([str(a) for a in arguments])
        except SystemExit as left:
            code = left.code
    for stream in (out, err):
        stream.flush()
    texts = [s.buffer.getvalue().decode(encoding) for s in (out, err)]  # type: ignore[attr-defined]  # BytesIO
    return Answer(int(code or 0), *texts)


def environment(**more: str) -> dict[str, str]:
    """The environment of a process that must find the package from any folder."""
    return {**os.environ, "PYTHONPATH": str(ROOT), **more}


def process(
    *arguments: object, env: Mapping[str, str] | None = None, code: str = RUN_MAIN
) -> Answer:
    """Run ``lotqa ARGUMENTS`` in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", code, *(str(a) for a in arguments)],
        env=environment() if env is None else env,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
    )
    return Answer(done.returncode, done.stdout, done.stderr)
