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
BARE_LOG = "import sys, pandas; pandas.read_csv(sys.argv[1])"
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


def trace(n_rows: int, repeats: int) -> Iterator[Row]:
    """An in-line log: the whole process, from the file to the document."""
    # What this process holds counts into the peak of its children until they load something.
    from tests.benchmarks.log import write_log

    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "trace.csv"
        write_log(path, n_rows)
        arguments = ("trace", str(path), "--no-report", "--json")
        # Turn about, so that a neighbour on the machine disturbs both alike.
        pairs = [(cost_of(BARE_LOG, str(path)), cost_of(MAIN, *arguments)) for _ in range(repeats)]
    # Both of one pair, the least disturbed one: the best of each could be of different moments.
    bare, ours = min(pairs, key=lambda pair: sum(c.seconds for c in pair))
    what = f"trace, {n_rows:,} rows of length and two diameters"
    yield Row(what, "pandas.read_csv", ours, bare, 3, 600)


def main() -> None:
    """Run all benchmarks and print them as a table for DEVELOPERS.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--spools", type=int, default=100_000)
    parser.add_argument("--repeats", type=int, default=7)
    parser.add_argument("--trace-rows", type=int, default=10_000_000)
    parser.add_argument("--only", choices=("start", "archive", "trace"))
    given = parser.parse_args()
    parts = {
        "start": lambda: start_up(given.repeats),
        "archive": lambda: archive(given.spools),
        "trace": lambda: trace(given.trace_rows, min(given.repeats, 5)),
    }
    print("| what | against | seconds | baseline | ratio | asked | peak MiB |")
    print("|---|---|---|---|---|---|---|")
    for row in (
        row for name, part in parts.items() if given.only in (None, name) for row in part()
    ):
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
