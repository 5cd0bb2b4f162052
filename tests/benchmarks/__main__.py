"""Print the table of benchmarks; run by hand, since seconds are not a matter for a test."""

import argparse
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.archive import write_archive
from tests.benchmarks.timing import Cost, best_of, cost_of

MAIN = "import sys; from lotqa.cli import main; sys.argv = ['lotqa', *sys.argv[1:]]; main()"
BARE_READ = """
import sys, pandas
t = pandas.read_csv(sys.argv[1])
t.groupby("spool")["diameter_mm"].agg(["mean", "std", "min", "max"])
"""
ARCHIVE = """
import sys
from pathlib import Path
from lotqa.inspection import inspect_lot
from lotqa.intake import read_lot
found = inspect_lot(read_lot(Path(sys.argv[1])))
assert len(found.judgement.point) == int(sys.argv[2])
"""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table."""

    what: str
    against: str
    cost: Cost
    baseline: Cost
    most: float  # the ratio that is asked for
    most_mib: float | None = None


def start_up(repeats: int) -> Iterator[Row]:
    """What a person waits for at every command."""
    typer = best_of(repeats, "import typer")
    pandas = best_of(repeats, "import pandas")
    yield Row("lotqa --help", "import typer", best_of(repeats, MAIN, "--help"), typer, 3)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        readings = folder / "spool.csv"
        write_archive(readings, n_spools=1, n_places=20)
        ledger = str(folder / "ledger.sqlite")
        arguments = ("inspect", str(readings), "--ledger", ledger, "--no-report")
        first = cost_of(MAIN, *arguments, cwd=folder)
        # Each run meets new content, so that each enters an inspection.
        costs = []
        for seed in range(1, repeats + 1):
            write_archive(readings, n_spools=1, n_places=20, seed=seed)
            costs.append(cost_of(MAIN, *arguments, cwd=folder))
        again = min(costs, key=lambda c: c.seconds)
        what = "inspect one spool, 20 x 2, into a ledger"
        yield Row(what, "import pandas", again, pandas, 3)
        yield Row(what + " made by this run", "import pandas", first, pandas, float("inf"))


def archive(n_spools: int) -> Iterator[Row]:
    """An archive of many spools in one file: all diameter evidence and verdicts."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "archive.csv"
        write_archive(path, n_spools=n_spools, n_places=30)
        bare = best_of(2, BARE_READ, str(path))
        ours = best_of(2, ARCHIVE, str(path), str(n_spools))
    what = f"{n_spools:,} spools x 30 places x 2: evidence and verdicts"
    yield Row(what, "pandas.read_csv + groupby().agg()", ours, bare, 10, 2048)


def main() -> None:
    """Run all benchmarks and print them as a table for DEVELOPERS.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--spools", type=int, default=100_000)
    parser.add_argument("--repeats", type=int, default=7)
    given = parser.parse_args()
    print("| what | against | seconds | baseline | ratio | asked | peak MiB |")
    print("|---|---|---|---|---|---|---|")
    for row in (*start_up(given.repeats), *archive(given.spools)):
        ratio = row.cost.seconds / row.baseline.seconds
        asked = "–" if row.most == float("inf") else f"≤ {row.most:g}"
        peak = f"{row.cost.peak_mib:.0f}"
        if row.most_mib is not None:
            peak += f" (≤ {row.most_mib:.0f})"
        print(
            f"| {row.what} | {row.against} | {row.cost.seconds:.2f} | {row.baseline.seconds:.2f} "
            f"| {ratio:.1f} | {asked} | {peak} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
