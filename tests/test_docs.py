"""What the documents promise is so."""

import re
import textwrap
from pathlib import Path

import numpy as np
import pytest

from lotqa.cli import COMMANDS, GROUPS
from lotqa.evidence.spool import LotEvidence
from lotqa.inspection import inspect_lot
from lotqa.intake import read_lot
from lotqa.samples import sample_lots
from lotqa.verdict import diameter
from lotqa.verdict.outcome import REJECT, Check

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_two_commands_stand_as_they_are_run():
    commands = re.findall(r"^python3 -m venv .*$", README, flags=re.MULTILINE)
    assert commands == [
        "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/lotqa demo",
        "python3 -m venv .venv && .venv/bin/pip install '.[test]' && .venv/bin/pytest",
    ]


def test_the_readme_lists_the_commands_in_their_order():
    rows = re.findall(r"^\| `lotqa (\w+)", README, flags=re.MULTILINE)
    assert rows == [name for name, _ in (*COMMANDS, *GROUPS)]


def test_every_lot_that_the_readme_names_is_there():
    named = set(re.findall(r"sample_measurements/[\w./-]+", README)) - {"sample_measurements/"}
    assert len(named) > 3
    for path in named:
        assert (ROOT / path).exists(), path


def test_every_path_that_the_developers_guide_names_is_there():
    inside = re.findall(r"`((?:tests|verdict|evidence|report)/[\w/.]+)`", DEVELOPERS)
    assert len(inside) > 5
    for name in inside:
        assert (ROOT / name).exists() or (ROOT / "lotqa" / name).exists(), name


def worked_example() -> str:
    return textwrap.dedent(re.search(r"```python\n(.*?)```", DEVELOPERS, flags=re.DOTALL)[1])


@pytest.mark.parametrize(
    ("lot", "outcomes"),
    [
        ("2025-03_brightwater_pla_white", {"pass"}),
        ("2025-10_kranich_pla_green", {"pass", "reject"}),
    ],
)
def test_the_worked_example_works(lot, outcomes):
    names = {
        **vars(diameter),
        "LotEvidence": LotEvidence,
        "Check": Check,
        "REJECT": REJECT,
        "np": np,
    }
    exec(worked_example(), names)
    folder = next(p for p in sample_lots() if p.name == lot)
    case = inspect_lot(read_lot(folder)).prepared.case
    check = names["outside"](case.evidence, {"outside.max_pct": 0.3})
    n = range(len(case.evidence.spools))
    assert {check.outcome(i) for i in n} == outcomes
    assert all("% of the places are outside the tolerance" in check.reason(i).text for i in n)
