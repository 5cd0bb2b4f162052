"""False-alarm and detection rates of the wave search, by simulation.

    python -m tests.evidence.waves.false_alarms 1000

First-order noise of a step of 2.5 mm, without any wave; then waves of 10, 20 and 36 cm with half
the amplitude that the noise has as standard deviation.
"""

import sys

import numpy as np

from tests.evidence.waves.traces import STEP_M, look, red_noise

PHIS = (0.0, 0.5, 0.9, 0.97, 0.99)


def false_alarm_counts(n_rows, n_runs, phi, seed, levels=(0.01, 0.1)):
    """In how many of ``n_runs`` traces of pure noise a wave is told, at each level."""
    rng = np.random.default_rng([seed, round(1000 * phi)])  # other noise for every phi
    noise = red_noise(rng, (n_runs, n_rows), phi, 0.006)
    length_m = STEP_M * np.arange(n_rows)
    counts = np.zeros(len(levels), dtype=int)
    for x in noise:
        told = [w.significance for w in look(length_m, x, false_alarm=max(levels)).waves]
        counts += np.array([any(p <= level for p in told) for level in levels])
    return counts


def detected(n_rows, n_runs, phi, period_m, seed, amplitude_sd=0.5):
    """(found, amplitude over the true one of those found); period within 2 %."""
    rng = np.random.default_rng(seed)
    length_m = STEP_M * np.arange(n_rows)
    found = []
    for x in red_noise(rng, (n_runs, n_rows), phi, 0.006):
        amplitude = amplitude_sd * 0.006
        wave = amplitude * np.sin(2 * np.pi * (length_m / period_m + rng.uniform()))
        told = [w for w in look(length_m, x + wave).waves if abs(w.period_m / period_m - 1) < 0.02]
        found += [w.amplitude_mm / amplitude for w in told[:1]]
    return len(found), np.array(found)


if __name__ == "__main__":
    runs = int(sys.argv[1])
    for rows in (480, 2_000, 8_000, 40_000):
        for phi in PHIS:
            at_1, at_10 = false_alarm_counts(rows, runs, phi, seed=rows)
            print(
                f"{rows} rows, phi {phi}: {100 * at_1 / runs:.2f} % at 1 %, "
                f"{100 * at_10 / runs:.1f} % at 10 %",
                flush=True,
            )
    for rows in (4_000, 16_000, 134_000):
        for phi in (0.9, 0.95, 0.99):
            for period in (0.10, 0.20, 0.36):
                n, ratio = detected(rows, 40, phi, period, seed=rows)
                mean = ratio.mean() if n else np.nan
                print(
                    f"{rows} rows, phi {phi}, {period} m: found {n} of 40, amplitude x {mean:.3f}",
                    flush=True,
                )
