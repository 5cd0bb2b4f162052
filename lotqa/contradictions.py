"""What was given about one spool and cannot be true of one spool: two spools under one name?

Nothing is taken out: both values stay in every number, and a person is told where to look.
"""

from collections import defaultdict

import numpy as np

from lotqa.evidence.gauge import Scatter
from lotqa.evidence.weighings import Scale
from lotqa.model import Problem, Readings, WeighIn

FAR = 5.0  # standard deviations of a difference: once in two million by chance
KINDS = ("gross", "tare", "net")  # what a spool has one of


def unlike_weighings(weigh_ins: tuple[WeighIn, ...], scale: Scale) -> list[Problem]:
    """Weighings of one kind of one spool that no scale of this bench lets differ so far."""
    first: dict[tuple[str, str], WeighIn] = {}
    found = []
    for w in weigh_ins:
        if w.kind not in KINDS:
            continue
        other = first.setdefault((w.spool, w.kind), w)
        step = max(s or scale.step_g for s in (w.scale_step_g, other.scale_step_g))
        if abs(w.mass_g - other.mass_g) <= 2 * (scale.limit_of_error_g + step):
            continue
        found.append(
            Problem(
                w.file,
                w.line or None,
                "mass_g",
                f"{w.mass_g:g}",
                f'spool "{w.spool}" weighs {w.mass_g:g} g {w.kind} here and {other.mass_g:g} g in '
                f"line {other.line}: two spools under one name? The mean of both is used",
            )
        )
    return found


def unlike_repeats(readings: Readings, scatter: Scatter) -> list[Problem]:
    """Readings of one place and direction that no hand lets differ so far; one line a spool."""
    again = (readings.trial > 1) & np.isfinite(readings.direction_deg)
    if not again.any():
        return []
    rows = np.flatnonzero(
        np.isin(readings.place, readings.place[again]) & np.isfinite(readings.direction_deg)
    )
    far_mm = FAR * np.sqrt(2) * max(scatter.sd_mm, np.finfo(float).eps)
    seen: dict[tuple[int, float], int] = {}
    worst: dict[int, list[int]] = defaultdict(list)
    for row in rows:
        key = (int(readings.place[row]), float(readings.direction_deg[row]))
        other = seen.setdefault(key, int(row))
        if abs(readings.diameter_mm[row] - readings.diameter_mm[other]) > far_mm:
            worst[int(readings.spool[row])].append(int(row))
    found = []
    for spool, here in worst.items():
        at = here[0]
        before = seen[(int(readings.place[at]), float(readings.direction_deg[at]))]
        values = readings.diameter_mm
        more = f", and {len(here) - 1} more such" if len(here) > 1 else ""
        found.append(
            Problem(
                readings.file,
                int(readings.line[at]),
                "diameter_mm",
                f"{values[at]:g}",
                f'spool "{readings.spools[spool]}" reads {values[at]:g} mm here and '
                f"{values[before]:g} mm in line {readings.line[before]}, the same place and "
                f"direction{more}: two spools under one name? All are used",
            )
        )
    return found
