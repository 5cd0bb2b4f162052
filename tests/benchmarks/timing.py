"""Time and peak memory of a piece of Python in a process of its own."""

import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True, slots=True)
class Cost:
    """Wall time and peak resident memory of one process."""

    seconds: float
    peak_mib: float


def cost_of(code: str, *arguments: str, cwd: Path = ROOT) -> Cost:
    """Run ``python -c code arguments`` once.  Raises CalledProcessError if it fails."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    begin = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        cwd=cwd,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    assert process.stderr is not None
    complaint = process.stderr.read()
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - begin
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, code, stderr=complaint)
    return Cost(seconds, usage.ru_maxrss / 1024)


def best_of(n: int, code: str, *arguments: str, cwd: Path = ROOT) -> Cost:
    """The fastest of ``n`` runs: what the work costs without the noise of the machine."""
    costs = [cost_of(code, *arguments, cwd=cwd) for _ in range(n)]
    return min(costs, key=lambda c: c.seconds)
