"""What a plan costs at the bench, and what fits into the minutes that are there.

What gives way first: places, down to the fewest that say anything of a spool; then spools.  Half as
many places cost a spool's verdict some firmness; a spool not measured costs the lot what it alone
could have shown.
"""

from dataclasses import dataclass

SECONDS = 60.0


@dataclass(frozen=True, slots=True)
class BenchTimes:
    """How long the work of one spool takes."""

    look_minutes: float  # every spool: weigh it, look at it
    unroll_minutes: float  # a measured one, beside its readings
    reading_seconds: float


@dataclass(frozen=True, slots=True)
class Fitted:
    """What is measured, and how long that takes with weighing and looking at all spools."""

    n_spools: int
    n_places: int
    minutes: float
    fits: bool


def minutes_needed(
    received: int, n_spools: int, n_places: int, n_directions: int, times: BenchTimes
) -> float:
    """Minutes to weigh and look at ``received`` spools and to measure ``n_spools`` of them.

    >>> minutes_needed(10, 3, 20, 2, BenchTimes(0.5, 1.0, 7.0))
    22.0
    """
    one = times.unroll_minutes + n_places * n_directions * times.reading_seconds / SECONDS
    return received * times.look_minutes + n_spools * one


def fitted(
    available_minutes: float | None,
    received: int,
    n_spools: int,
    n_places: int,
    least_places: int,
    n_directions: int,
    times: BenchTimes,
) -> Fitted:
    """The most of ``n_spools`` times ``n_places`` that fits; ``None`` minutes: all of it.

    One spool at ``least_places`` is never given up: without it nothing is known of the diameter.

    >>> times = BenchTimes(0.5, 1.0, 7.0)
    >>> [fitted(m, 10, 3, 20, 10, 2, times).n_places for m in (22, 18, 10)]
    [20, 14, 10]
    >>> [fitted(m, 10, 3, 20, 10, 2, times).n_spools for m in (22, 18, 10)]
    [3, 3, 1]
    """
    least = min(least_places, n_places)
    ladder = [(n_spools, places) for places in range(n_places, least - 1, -1)]
    ladder += [(spools, least) for spools in range(n_spools - 1, 0, -1)]
    for spools, places in ladder:
        minutes = minutes_needed(received, spools, places, n_directions, times)
        if available_minutes is None or minutes <= available_minutes:
            return Fitted(spools, places, minutes, True)
    spools, places = ladder[-1]
    return Fitted(
        spools,
        places,
        minutes_needed(received, spools, places, n_directions, times),
        fits=False,
    )
