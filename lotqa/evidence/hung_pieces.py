"""Which weighing in air belongs to which in water."""

from collections import defaultdict
from collections.abc import Iterator, Sequence

from lotqa.model import WeighIn


def pairs(weigh_ins: Sequence[WeighIn]) -> Iterator[tuple[WeighIn, WeighIn]]:
    """Each piece in water with its weighing in air: in the order typed, the last if there is none.

    A piece that was hung twice and weighed in air once has one weighing in air.
    """
    air: dict[str, list[WeighIn]] = defaultdict(list)
    for w in weigh_ins:
        if w.kind == "in_air":
            air[w.spool].append(w)
    met: dict[str, int] = defaultdict(int)
    for w in weigh_ins:
        if w.kind == "in_water" and air[w.spool]:
            yield air[w.spool][min(met[w.spool], len(air[w.spool]) - 1)], w
            met[w.spool] += 1
