"""The gauge study of the scenario: ten marked places, two hands, three trials each."""

import numpy as np

from sample_measurements.making.scenario import CALLIPER, TOOLS
from sample_measurements.making.tables import Cells, csv_text
from tests.simulator import read

N_PLACES, N_TRIALS = 10, 3
HANDS = {"hand 1": 0.0, "hand 2": 0.004}  # the second closes the jaws less: reads more, in mm
PLACE_SD_MM = 0.015  # places of different diameter were looked for


def study_csv(seed: int) -> bytes:
    """gauge_study.csv, always the same for a seed."""
    rng = np.random.default_rng([seed, 16])
    true_mm = rng.normal(1.745, PLACE_SD_MM, N_PLACES)
    rows: list[Cells] = [("place", "operator", "trial", "diameter_mm")]
    for trial in range(1, N_TRIALS + 1):
        for hand, bias_mm in HANDS.items():
            shown = read(true_mm + bias_mm, TOOLS[CALLIPER], rng)
            order = rng.permutation(N_PLACES)  # read in a mixed order, each trial anew
            rows += [(str(p + 1), hand, str(trial), f"{shown[p]:.2f}") for p in order]
    return csv_text(rows, semicolon=False).encode()
