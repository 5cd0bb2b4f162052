"""Imports go one way through the house, and the computing rooms touch nothing outside.

The checkers take source text, so that each is shown a planted violation that it must catch.
Imports under TYPE_CHECKING are for the reader and the type checker only; they are left out.
"""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "lotqa"
# From the bottom up; a room may import from rows below its own.
ROWS = (
    ("errors", "model", "reasons"),
    ("criteria", "material_names"),
    ("materials", "findings"),  # tell what is wrong in a file with the words of the criteria
    ("evidence",),
    ("sampling",),  # plans places by what the evidence would not see from them
    ("suppliers",),  # compares lots with the intervals of the evidence
    ("verdict", "contradictions"),
    ("weighed", "printed", "logged"),  # put the goods, prints and logs of them together
    ("intake", "case", "ledger", "report", "samples"),
    ("history",),  # what the ledger says of the lots before one
    ("inspection", "months", "instrument", "trace", "plan"),
    ("cli",),
)
ROW = {room: i for i, row in enumerate(ROWS) for room in row}
PURE = ("evidence", "sampling", "verdict")  # same readings, same verdict, for ever
NUMERIC = ("numpy", "scipy")
# What could make the same readings say something else tomorrow, or is not a computing room's job.
UNTOUCHED = (
    "pandas", "matplotlib", "typer", "rich", "sqlalchemy", "alembic", "jinja2", "openpyxl",
    "platformdirs", "pathlib", "os", "io", "shutil", "tempfile", "glob", "sqlite3", "socket",
    "subprocess", "random", "secrets", "uuid", "time", "datetime", "locale", "importlib", "logging",
)  # fmt: skip
CALLS = ("open", "print", "input", "__import__", "eval", "exec")
HEAVY = ("pandas", "matplotlib", "typer", "sqlalchemy", "jinja2", "scipy.stats")


def imported(module: str, source: str) -> Iterator[str]:
    """Dotted names that ``source`` imports when it runs, at the top or inside a function."""
    tree = ast.parse(source)
    skipped = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        for inner in ast.walk(ast.Module(node.body, []))
    }
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            parts = module.split(".")[: -node.level] if node.level else []
            base = ".".join([*parts, *([node.module] if node.module else [])])
            yield from (f"{base}.{alias.name}" for alias in node.names)


def room_of(dotted: str) -> str | None:
    """'evidence' for lotqa.evidence.flow; None outside the package and for its version."""
    parts = dotted.split(".")
    return parts[1] if parts[0] == "lotqa" and len(parts) > 1 and parts[1] in ROW else None


def against_direction(module: str, source: str) -> list[str]:
    """Imports of ``module`` from its own row or above it."""
    here = room_of(module)
    if here is None:
        return []
    found = []
    for name in imported(module, source):
        there = room_of(name)
        if there is not None and there != here and ROW[there] >= ROW[here]:
            found.append(f"{module} imports {name}")
    return found


def touches_outside(module: str, source: str) -> list[str]:
    """What a pure module imports or calls beyond computing."""
    found = [
        f"{module} imports {name}"
        for name in imported(module, source)
        if name.split(".")[0] in UNTOUCHED
    ]
    tree = ast.parse(source)
    # A generator with its seed given draws the same list for ever.
    seeded = {
        id(node.func.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr == "default_rng"
        and (node.args or node.keywords)
    }
    for node in ast.walk(tree):
        called = node.func if isinstance(node, ast.Call) else None
        if isinstance(called, ast.Name) and called.id in CALLS:
            found.append(f"{module} calls {called.id}")
        is_random = isinstance(node, ast.Attribute) and ast.unparse(node).endswith("np.random")
        if is_random and id(node) not in seeded:
            found.append(f"{module} draws random numbers")
    return found


def beyond_numbers(module: str, source: str) -> list[str]:
    """Third-party imports of the evidence and sampling rooms other than numpy and scipy."""
    allowed = {"lotqa", *NUMERIC, *sys.stdlib_module_names}
    found = [n for n in imported(module, source) if n.split(".")[0] not in allowed]
    nouns = (None, "errors", "model", "evidence", room_of(module))
    rooms = [n for n in imported(module, source) if room_of(n) not in nouns]
    return [f"{module} imports {n}" for n in (*found, *rooms)]


def modules(*rooms: str) -> list[tuple[str, str]]:
    """(dotted name, source) of every module of the package, or of some rooms."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        dotted = ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts)
        if not rooms or room_of(dotted) in rooms:
            found.append((dotted, path.read_text(encoding="utf-8")))
    return found


def test_every_room_has_its_row():
    rooms = {m.split(".")[1] for m, _ in modules()} - {"__init__"}
    assert rooms - set(ROW) == set()
    assert set(ROW) - rooms == set()


def test_imports_go_one_way():
    assert [line for m, text in modules() for line in against_direction(m, text)] == []


def test_pure_rooms_touch_nothing_outside():
    checked = modules(*PURE)
    assert len(checked) > 20
    assert [line for m, text in checked for line in touches_outside(m, text)] == []


def test_evidence_and_sampling_know_numbers_and_nouns_only():
    checked = modules("evidence", "sampling")
    assert [line for m, text in checked for line in beyond_numbers(m, text)] == []


@pytest.mark.parametrize(("module", "source"), [
    ("lotqa.evidence.flow", "from lotqa.verdict.spool import judge_spools"),
    ("lotqa.evidence.flow", "import lotqa.report"),
    ("lotqa.evidence.flow", "def f():\n    from lotqa.ledger import Ledger"),
    ("lotqa.evidence.flow", "from ..verdict import words"),
    ("lotqa.evidence.flow", "from lotqa import cli"),
    ("lotqa.evidence.flow", "from lotqa.sampling import plan"),
    ("lotqa.verdict.more", "from lotqa.case import prepare"),
    ("lotqa.report.page", "from lotqa.ledger import Ledger"),
    ("lotqa.inspection", "from lotqa.cli import app"),
    ("lotqa.model", "from lotqa.criteria import Criteria"),
])  # fmt: skip
def test_an_import_against_the_direction_is_caught(module, source):
    assert len(against_direction(module, source)) == 1


@pytest.mark.parametrize(("module", "source"), [
    ("lotqa.verdict.more", "from lotqa.evidence.diameter import project"),
    ("lotqa.evidence.flow", "from . import weight"),
    ("lotqa.evidence.flow", "import numpy as np\nfrom lotqa.model import FloatArray"),
    ("lotqa.report.page", "if TYPE_CHECKING:\n    from lotqa.inspection import Inspection"),
    ("lotqa.cli.drift", "from lotqa import __version__"),
])  # fmt: skip
def test_an_import_along_the_direction_is_let_pass(module, source):
    assert against_direction(module, source) == []


def test_the_other_branch_of_type_checking_is_still_looked_at():
    source = "if TYPE_CHECKING:\n    pass\nelse:\n    from lotqa.cli import app"
    assert against_direction("lotqa.report.page", source) == [
        "lotqa.report.page imports lotqa.cli.app"
    ]


@pytest.mark.parametrize("source", [
    "import pandas as pd",
    "import pandas.core.frame",
    "def f():\n    import matplotlib.figure",
    "from pathlib import Path",
    "from datetime import date",
    "import time",
    "import random",
    "import os",
    "from importlib import resources",
    "open('limits.toml')",
    "import numpy as np\nx = np.random.default_rng()",
    "import numpy as np\nx = np.random.normal()",
    "__import__('pandas')",
])  # fmt: skip
def test_a_touch_outside_is_caught(source):
    assert len(touches_outside("lotqa.evidence.flow", source)) >= 1


@pytest.mark.parametrize(
    "source", ["import statsmodels.api", "from lotqa.criteria import Criteria", "import attrs"]
)
def test_more_than_numbers_is_caught(source):
    assert len(beyond_numbers("lotqa.evidence.flow", source)) == 1


def test_a_seeded_draw_is_no_touch_outside():
    source = "import numpy as np\ndef f(seed):\n    return np.random.default_rng(seed)"
    assert touches_outside("lotqa.sampling.positions", source) == []


def loaded(code: str, names: tuple[str, ...]) -> list[str]:
    """Which of ``names`` a fresh interpreter has loaded after running ``code``."""
    ask = f"\nimport sys\nprint('LOADED', *[n for n in {names!r} if n in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code + ask],
        capture_output=True,
        text=True,
        check=True,
        cwd=PACKAGE.parent,
    )
    return done.stdout.splitlines()[-1].split()[1:]


@pytest.mark.parametrize("room", PURE)
def test_a_pure_room_loads_nothing_heavy_in_a_fresh_interpreter(room):
    code = "\n".join(f"import {m.removesuffix('.__init__')}" for m, _ in modules(room))
    assert loaded(code, HEAVY) == []


def test_help_answers_without_loading_what_computes():
    code = """
import sys
sys.argv = ["lotqa", "--help"]
from lotqa.cli import main
try:
    main()
except SystemExit as left:
    assert not left.code
"""
    heavy = ("numpy", "pandas", "scipy", "matplotlib", "sqlalchemy", "jinja2", "openpyxl")
    assert loaded(code, heavy) == []


def test_a_planted_load_is_seen():
    assert loaded("import lotqa.evidence.flow, sqlite3", ("sqlite3", "numpy", "pandas")) == [
        "sqlite3",
        "numpy",
    ]
