"""The scales of the bench: what each reading says of the mass, and how well.

A reading is corrected by the offset that the known mass nearest to it showed, where that is near
enough to speak for it, and keeps its limit of error elsewhere: scale.py.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from lotqa.evidence.scale import ScaleCheck, corrected_g, nearest_check, speaks_for, u_mass_g
from lotqa.model import WeighIn

FINE_LIMIT_STEPS = 2.0  # limit of error of a finer scale that nobody named, in its own steps


@dataclass(frozen=True, slots=True)
class Scale:
    """One scale; ``others`` are further ones of the bench, found by the step that a row names."""

    step_g: float
    limit_of_error_g: float
    checks: tuple[ScaleCheck, ...] = ()
    others: tuple["Scale", ...] = ()

    def of_step(self, step_g: float | None, *, fine: bool = False) -> "Scale":
        """The scale that a row was weighed on; ``fine``: a piece, weighed on a finer one.

        A step that no scale of the bench has is that of this scale set to another step, or, for a
        piece, of a scale that nobody named.
        """
        if step_g is None:
            return self
        for known in (self, *self.others):
            if np.isclose(known.step_g, step_g):
                return known
        if fine:
            return Scale(step_g, FINE_LIMIT_STEPS * step_g)
        return replace(self, step_g=step_g, checks=self.checks if step_g >= self.step_g else ())

    def check_for(self, mass_g: float) -> ScaleCheck | None:
        """The check whose known mass is nearest, whether or not it speaks for this mass."""
        return nearest_check(self.checks, mass_g)

    def weighed(self, reading_g: float) -> tuple[float, float]:
        """(mass, standard uncertainty) of one reading."""
        check = self.check_for(reading_g)
        return (
            corrected_g(check, reading_g),
            u_mass_g(self.step_g, self.limit_of_error_g, check, reading_g),
        )


@dataclass(frozen=True, slots=True)
class Weighed:
    """Weighings of one kind of one spool, put together."""

    reading_g: float  # their mean as typed
    mass_g: float  # without the offset of the scale
    u_g: float
    step_g: float
    limit_of_error_g: float
    check: ScaleCheck | None  # that spoke for this mass

    @property
    def offset_g(self) -> float:
        """What was taken off the reading."""
        return self.reading_g - self.mass_g


def weighed(rows: Sequence[WeighIn], scale: Scale) -> Weighed | None:
    """Mean of repeated weighings; repeating does not shrink the limit of error."""
    if not rows:
        return None
    steps = [r.scale_step_g for r in rows if r.scale_step_g is not None]
    # A row without a step was weighed on the first scale: the coarsest of all counts.
    step = max([*steps, scale.step_g]) if len(steps) < len(rows) else max(steps)
    used = scale.of_step(step)
    reading = float(np.mean([r.mass_g for r in rows]))
    mass, u = used.weighed(reading)
    check = used.check_for(reading)
    return Weighed(
        reading_g=reading,
        mass_g=mass,
        u_g=u,
        step_g=used.step_g,
        limit_of_error_g=used.limit_of_error_g,
        check=check if speaks_for(check, reading) else None,
    )
