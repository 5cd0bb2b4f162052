"""Was a spool short?  Asked again when more is known of its reel than at intake.

    net = gross - tare,   u**2 = u_gross**2 + u_tare**2,   shortfall = label - net      [1]_

The gross mass stays as it was weighed; only the tare is known better.  A spool is short by more
than one tolerable negative error of its label [2]_ if the whole 95 % interval of the shortfall
lies above that error, and not short if the whole interval lies at or below it.  What lies astride
is open.  The gross mass cannot be weighed again: a wrong one stays wrong.

.. [1] JCGM 100:2008 (GUM), 5.1.2.
.. [2] Council Directive 76/211/EEC, Annex I, 2.4; for a buyer a yardstick, not the law's test.
"""

from dataclasses import dataclass
from typing import Literal

from lotqa.evidence.weight import interval, net_mass, tolerable_negative_error_g

Answer = Literal["short", "not short", "open"]
Outcome = Literal["settled: short", "settled: not short", "still open"]


@dataclass(frozen=True, slots=True)
class Shortfall:
    """Net mass and shortfall of one spool, with 95 % intervals; no label, no shortfall."""

    net_g: float
    u_net_g: float
    net_lo_g: float
    net_hi_g: float
    shortfall_g: float | None
    lo_g: float | None
    hi_g: float | None
    answer: Answer | None  # to 'short by more than one tolerable negative error?'


@dataclass(frozen=True, slots=True)
class Hindsight:
    """The answer at intake and the answer now; ``now`` is None while no more is known."""

    limit_g: float | None  # one tolerable negative error of the label
    then: Shortfall
    now: Shortfall | None
    outcome: Outcome | None  # None: no net mass on the label, nothing to settle
    changed: bool


def answer(lo_g: float, hi_g: float, limit_g: float) -> Answer:
    """Where an interval of the shortfall lies; what is not a number settles nothing.

    >>> answer(16.0, 30.0, 15.0), answer(-5.0, 15.0, 15.0), answer(10.0, 16.0, 15.0)
    ('short', 'not short', 'open')
    """
    if hi_g <= limit_g:
        return "not short"
    return "short" if lo_g > limit_g else "open"


def shortfall(net_g: float, u_net_g: float, label_g: float | None) -> Shortfall:
    """Net mass against a label.

    >>> found = shortfall(970.0, 5.0, 1000.0)
    >>> found.shortfall_g, round(found.lo_g, 1), found.answer
    (30.0, 20.2, 'short')
    """
    net_lo, net_hi = interval(net_g, u_net_g)
    if label_g is None:
        return Shortfall(net_g, u_net_g, net_lo, net_hi, None, None, None, None)
    limit = float(tolerable_negative_error_g(label_g))
    lo, hi = label_g - net_hi, label_g - net_lo
    return Shortfall(net_g, u_net_g, net_lo, net_hi, label_g - net_g, lo, hi, answer(lo, hi, limit))


def hindsight(
    then_net_g: float,
    u_then_g: float,
    label_g: float | None,
    gross_g: float,
    u_gross_g: float,
    tare: tuple[float, float] | None,
) -> Hindsight:
    """What was said of a spool and what can be said now.

    ``tare`` is mass and standard uncertainty of its reel as known now, None if no more is known.
    """
    then = shortfall(then_net_g, u_then_g, label_g)
    now = None
    if tare is not None:
        known = net_mass(gross_g, u_gross_g, *tare, label_g)
        now = shortfall(known.net_g, known.u_g, label_g)
    last = then if now is None else now
    return Hindsight(
        limit_g=None if label_g is None else float(tolerable_negative_error_g(label_g)),
        then=then,
        now=now,
        outcome=_outcome(last.answer),
        changed=last.answer != then.answer,
    )


def _outcome(given: Answer | None) -> Outcome | None:
    if given is None:
        return None
    if given == "open":
        return "still open"
    return "settled: short" if given == "short" else "settled: not short"
