"""Net content of a lot against the packers' rules of Directive 76/211/EEC: a yardstick.

The rules bind the packer and speak of his batch; a buyer has what was sent to him.  So nothing
here rejects a lot unless the buyer says so (weight.average_rule = 1); a mean that is short beyond
doubt is told among the lot's reasons.  Spools on a supposed reel decide nothing: most of such a
net mass is the guess.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from lotqa.criteria import Criteria
from lotqa.evidence import net_content as law
from lotqa.evidence.summary import student_quantile
from lotqa.evidence.weighings import SpoolWeight
from lotqa.model import FloatArray, OutcomeWord
from lotqa.verdict.goods import Goods
from lotqa.verdict.outcome import PASS, REJECT, Reason, Severity
from lotqa.verdict.reference_test import ReferenceTest, reference_test
from lotqa.verdict.words import against, counted, interval, number

YARDSTICK = "yardstick: the packer's duty"


@dataclass(frozen=True, slots=True)
class Below:
    """How many of the weighed spools are below a limit, by what can be shown."""

    limit_g: float
    firmly: int
    estimated: int
    possibly: int


@dataclass(frozen=True, slots=True)
class Rule:
    """One of the three packers' rules; ``kept`` is None where it cannot be told."""

    number: Literal[1, 2, 3]
    kept: bool | None
    text: str


@dataclass(frozen=True, slots=True)
class NetContent:
    """What the weighings say of the net content of a lot; None where not known."""

    outcome: OutcomeWord  # of the rules; by itself no verdict on the lot
    text: str
    n_weighed: int  # on a reel that is known
    n_supposed: int
    batch: int
    label_g: float | None
    judged: bool  # the buyer rejects by the average rule
    mean: law.BatchMean | None = None
    t1: Below | None = None
    t2: Below | None = None
    rules: tuple[Rule, ...] = ()
    test: ReferenceTest | None = None
    short: bool = False  # mean below the label beyond sampling and measuring


def net_content(
    goods: Goods, criteria: Criteria, received: int | None, step_g: float = 0.0
) -> NetContent:
    """Net content of a lot of ``received`` spools (None: those that are known)."""
    weighed = [w for w in goods.weights if w is not None and w.net_g is not None]
    known = [w for w in weighed if w.tare is None or w.tare.known != "supposed"]
    n, n_supposed, batch = len(known), len(weighed) - len(known), len(goods.weights)
    batch = max(received or 0, batch)
    label, judged = goods.label_net_g, criteria["weight.average_rule"] >= 1
    net, u = (_column(known, name) for name in ("net_g", "u_net_g"))
    if not known:
        outcome: OutcomeWord = "undecided" if weighed and label is not None else "not_checked"
        test = None if label is None else reference_test(net, u, 0.0, label, batch)
        text = _nothing_known(n_supposed)
        return NetContent(outcome, text, n, n_supposed, batch, label, judged, test=test)
    own, common = np.array([_parts(w) for w in known]).T
    mean = law.batch_mean(net, own, common, batch, step_g)
    if label is None:
        text = f"{_mean_text(mean)}; the label's net mass is not known: not checked."
        return NetContent("not_checked", text, n, n_supposed, batch, label, judged, mean)
    t1, t2 = (_below(net, u, limit) for limit in law.limits_g(label))
    short = mean.short_of(label)
    test = reference_test(net, u, mean.u_common_g, label, batch)
    broken = short or t2.firmly > 0 or test.outcome == "reject"
    passed = test.outcome == "pass" and t2.possibly == 0
    return NetContent(
        outcome="reject" if broken else "pass" if passed else "undecided",
        text=_text(mean, label, known, short, n_supposed),
        n_weighed=n,
        n_supposed=n_supposed,
        batch=batch,
        label_g=label,
        judged=judged,
        mean=mean,
        t1=t1,
        t2=t2,
        rules=_rules(mean, t1, t2, test, label, short),
        test=test,
        short=short,
    )


def lot_reasons(found: NetContent | None) -> tuple[Severity, tuple[Reason, ...]]:
    """What the mean adds to the lot's level, and the line about it if there is one to tell.

    Told when the mean is short beyond doubt, and always where the buyer rejects by it.  A mean
    that weighing cannot settle does not enter the verdict, or weighing would be worse than not.
    """
    if found is None or found.mean is None or found.label_g is None:
        return PASS, ()
    if not (found.short or found.judged):
        return PASS, ()
    mean, label = found.mean, found.label_g
    level = REJECT if found.short and found.judged else PASS
    outcome: OutcomeWord = "reject" if level == REJECT else "undecided"
    if mean.lo_g >= label:
        outcome = "pass"
    if not found.short:
        said = "not short" if outcome == "pass" else "weighing cannot tell whether it is short"
    elif found.judged:
        said = "short beyond doubt, by which these criteria reject the lot"
    else:
        said = "short beyond doubt; these criteria do not reject by it"
    value, _ = against(mean.mean_g, label, 1)
    head = f"Mean net mass {value} g ({_ends(mean, label)}) against the label's {label:g} g"
    reason = Reason(
        check="lot.net_content",
        outcome=outcome,
        value=mean.mean_g,
        limit=label,
        unit="g",
        text=f"{head}: {said} ({YARDSTICK}).",
        standing="provisional" if outcome == "undecided" and not found.short else "firm",
    )
    return level, (reason,)


def _column(weights: Sequence[SpoolWeight], name: str) -> FloatArray:
    return np.array([getattr(w, name) or 0.0 for w in weights], dtype=np.float64)


def _parts(weight: SpoolWeight) -> tuple[float, float]:
    """(own, common) uncertainty of one net mass; a reel weighed itself leaves the scale only."""
    u = weight.u_net_g or 0.0
    if weight.tare is None or weight.tare.known == "itself":
        return 0.0, u
    return law.tare_parts_g(u, weight.tare.u_g, weight.tare.n_reels or 1)


def _below(net: FloatArray, u: FloatArray, limit_g: float) -> Below:
    return Below(limit_g, *(int(np.count_nonzero(v)) for v in law.below(net, u, limit_g)))


def _rules(
    mean: law.BatchMean, t1: Below, t2: Below, test: ReferenceTest, label_g: float, short: bool
) -> tuple[Rule, ...]:
    """The three rules of Annex I, 1."""
    average = False if short else True if mean.lo_g >= label_g else None
    few = {"pass": True, "reject": False}.get(test.contents)
    none = False if t2.firmly else True if not t2.possibly and mean.n == mean.batch else None
    of = f"of {counted(mean.n, 'spool')} weighed"
    low, lowest = (f"{x.firmly} firmly, {x.possibly} possibly" for x in (t1, t2))
    return (
        Rule(1, average, f"On average not less than {label_g:g} g: {_KEPT[average]}."),
        Rule(2, few, f"Few below T1 ({t1.limit_g:g} g): {low} {of}; {_KEPT[few]}."),
        Rule(3, none, f"None below T2 ({t2.limit_g:g} g): {lowest} {of}; {_KEPT[none]}."),
    )


_KEPT = {True: "kept", False: "not kept", None: "cannot be told"}


def _nothing_known(n_supposed: int) -> str:
    if not n_supposed:
        return "No net mass was weighed: net content not checked."
    return (
        f"{counted(n_supposed, 'spool')} weighed on a supposed reel: that decides nothing about "
        "the net content. Weigh a reel when it is empty."
    )


def _ends(mean: law.BatchMean, label_g: float | None) -> str:
    """The interval, with digits enough that no end reads like the label unless it is."""
    ends = (mean.lo_g, mean.hi_g)
    digits = (
        1 if label_g is None else max(len(against(v, label_g, 1)[0].split(".")[-1]) for v in ends)
    )
    return interval(*ends, digits)


def _mean_text(mean: law.BatchMean, label_g: float | None = None) -> str:
    of = f"{mean.n} of {counted(mean.batch, 'spool')}"
    return f"Mean net mass {number(mean.mean_g, 1)} g ({_ends(mean, label_g)}; {of})"


def _text(
    mean: law.BatchMean, label_g: float, known: Sequence[SpoolWeight], short: bool, n_supposed: int
) -> str:
    """The mean against the label, and what of its doubt more weighing would not take away."""
    if short:
        said = "short beyond doubt"
    elif mean.lo_g >= label_g:
        said = "not short"
    else:
        said = "weighing cannot tell whether it is short"
    head = f"{_mean_text(mean, label_g)} against the label's {label_g:g} g"
    parts = [f"{head}: {said} ({YARDSTICK})."]
    reach = float(student_quantile(np.inf)) * mean.u_common_g
    shared = any(w.tare is not None and w.tare.known != "itself" for w in known)
    what = "the scale and a reel's mass taken from others" if shared else "the scale"
    if reach > 0 and mean.n > 1:
        parts.append(
            f"Of that doubt ±{number(reach, 1)} g is common to all spools ({what}): it does not "
            "average out, however many are weighed."
        )
    if n_supposed:
        parts.append(f"{counted(n_supposed, 'spool')} on a supposed reel left out.")
    return " ".join(parts)
