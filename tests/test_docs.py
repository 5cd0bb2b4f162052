"""What the documents promise is so."""

import re
import textwrap
from pathlib import Path

import numpy as np
import pytest

from lotqa.cli import COMMANDS, GROUPS
from lotqa.criteria import read_criteria
from lotqa.evidence.scale import net_mass_table
from lotqa.evidence.spool import LotEvidence
from lotqa.inspection import inspect_lot
from lotqa.intake import read_lot
from lotqa.intake.roles import TABLES
from lotqa.model import WEIGH_IN_KINDS, Reel
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
    assert list(dict.fromkeys(rows)) == [name for name, _ in (*COMMANDS, *GROUPS)]


def test_the_readme_lists_every_command_of_the_ledger():
    rows = re.findall(r"^\| `lotqa ledger (\w+)([^|]*)\|", README, flags=re.MULTILINE)
    named = [n for first, more in rows for n in (first, *re.findall(r"`(\w+)`", more))]
    ledger = dict(GROUPS)["ledger"]
    assert set(named) == {command.name for command in ledger.registered_commands}
    assert len(named) == len(set(named))


def net_mass_lines() -> str:
    """The README's table of net mass, written from the function and the shipped criteria."""
    limits = read_criteria(None)
    table = net_mass_table(
        like_sd_g=limits["weight.tare_like_sd_g"],
        default_half_width_g=limits["weight.tare_half_width_g"],
        material_half_width_g={
            r.material: (r.tare_hi_g - r.tare_lo_g) / 2
            for r in limits.reels
            if r.material in ("plastic", "cardboard")
        },
    )
    lines = [["what is known of the reel", *table.scales], ["---"] * (1 + len(table.scales))]
    for reel, column in zip(table.reels, table.expanded_g.T, strict=True):
        lines.append([reel, *(f"± {v:.{int(v < 9.95)}f}" for v in column)])
    return "".join(f"| {' | '.join(cells)} |\n" for cells in lines)


def test_the_readmes_table_of_net_mass_is_what_the_function_says():
    shown = README.partition("<!-- net mass -->\n")[2].partition("<!-- /net mass -->")[0]
    assert shown == net_mass_lines()
    # Closed form, for one corner: two weighings, each within 1 g and rounded to 1 g.
    assert "| this reel weighed empty | ± 1.8 |" in shown
    assert round(2 * np.sqrt(2 * (1 / 3 + 1 / 12)), 1) == 1.8


def test_the_readme_says_how_firm_is_judged():
    """97.5 % of a two-sided interval: beyond either end lies 1.25 %, which is under 2 of 100."""
    said = re.search(r"held at ([\d.]+) %\s+\(`verdict.firm_confidence`", README)
    assert float(said[1]) / 100 == read_criteria(None)["verdict.firm_confidence"]
    wrong = re.search(r"firmly\s+wrong in fewer than (\d+) of 100", README)
    assert (1 - float(said[1]) / 100) / 2 < float(wrong[1]) / 100


def test_the_readmes_lot_sheet_is_read_without_a_complaint(tmp_path):
    sheet = re.search(r"```toml\n(.*?)```", README, flags=re.DOTALL)[1]
    (tmp_path / "lot.toml").write_text(sheet, encoding="utf-8")
    (tmp_path / "readings.csv").write_text("spool,diameter_mm\n1,1.75\n", encoding="utf-8")
    lot = read_lot(tmp_path)
    assert lot.problems == ()
    assert lot.sheet.reel == Reel("brown board 1 kg", "cardboard")


def test_the_readme_names_every_kind_of_weighing_and_every_table():
    (row,) = re.findall(r"^\| `weighings.csv` .*$", README, flags=re.MULTILINE)
    assert set(re.findall(r"\w+", row.partition("kind is ")[2])) >= set(WEIGH_IN_KINDS)
    for name in TABLES:
        assert f"`{name}.csv`" in README, name


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
