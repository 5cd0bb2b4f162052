"""Speed and memory as ratios to a baseline timed in the same run: ``python -m tests.benchmarks``."""
