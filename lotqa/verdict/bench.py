"""Checks of the measuring itself: enough places, nothing out of line, order, shape, the pin."""

import numpy as np

from lotqa.criteria import Criteria
from lotqa.evidence.spool import MIN_OUTLIERS, LotEvidence
from lotqa.evidence.window import blind_wavelengths
from lotqa.verdict.outcome import Check, to_be_settled
from lotqa.verdict.words import against, counted, number, probability

ORDER_TESTS = 3  # runs, trend, lag 1: the chance of a false alarm is shared among them
NAMED_WAVES = 5  # the longest ones; the rest is counted
K = 2  # coverage factor of an expanded uncertainty (GUM 6.3.3)
USUAL_PIN_READINGS = 6  # three before, three after: what a pin check is taken to be


def enough_places(evidence: LotEvidence, criteria: Criteria) -> Check:
    """Fewer places than asked leave every verdict provisional."""
    n = evidence.diameter.n_places.astype(np.float64)
    least = criteria["places.min"]

    def sentence(i: int) -> str:
        count = int(n[i])
        if count >= least:
            return f"{counted(count, 'place')} were read, at least {least:g} asked."
        verb = "was" if count == 1 else "were"
        head = f"{counted(count, 'place')} {verb} read, at least {least:g} asked"
        return f"{head}: read {least - count:g} more."

    return to_be_settled(
        "readings.places",
        open_question=n < least,
        checked=np.ones(len(n), dtype=bool),
        value=n,
        limit=np.full(len(n), least),
        unit="places",
        sentence=sentence,
    )


def outliers(evidence: LotEvidence, criteria: Criteria) -> Check:
    """Places out of line are to be read again; they stay in every number."""
    d, where = evidence.diameter, evidence.places
    count = np.bincount(where.spool[evidence.outlier], minlength=len(evidence.spools))

    def sentence(i: int) -> str:
        if d.n_places[i] < MIN_OUTLIERS:
            return "Too few places to tell which are out of line: not checked."
        if not count[i]:
            return "No place is out of line with the rest of the spool."
        listed = []
        first = int(np.searchsorted(where.spool, i))
        for p in np.flatnonzero(evidence.outlier & (where.spool == i)):
            spot = (
                f"{where.position_m[p]:g} m"
                if np.isfinite(where.position_m[p])
                else f"place {p - first + 1}"
            )
            listed.append(f"{spot} ({number(where.mean_mm[p], 3)} mm)")
        return (
            f"Out of line with the rest of the spool: {', '.join(listed)}. Read again there; the "
            "first reading stays in every number. A lump or a neck is a fact, not an error."
        )

    return to_be_settled(
        "diameter.outliers",
        open_question=count > 0,
        checked=d.n_places >= MIN_OUTLIERS,
        value=count.astype(np.float64),
        limit=np.zeros(len(count)),
        unit="places",
        sentence=sentence,
    )


def shape(evidence: LotEvidence, criteria: Criteria) -> Check:
    """Where places are not normal, a quantile index must agree with Cp."""
    o, c = evidence.order, evidence.capability
    alpha, cp_min = criteria["shape.alpha"], criteria["spread.cp_min"]
    judged = o.shape_resolved & np.isfinite(o.normal_p)
    not_normal = judged & (o.normal_p < alpha)
    disagree = not_normal & ((c.quantile_index >= cp_min) != (c.cp >= cp_min))

    def sentence(i: int) -> str:
        if not judged[i]:
            return "Too few places, or too coarse a step, to judge the shape: not checked."
        p = f"p {probability(o.normal_p[i])}"
        if not not_normal[i]:
            return f"The places look normal (Anderson-Darling, {p}); the intervals suppose it."
        text = (
            f"The places do not look normal (Anderson-Darling, {p}). From quantiles the index is "
            f"{number(c.quantile_index[i], 2)} (at least {cp_min:g} asked)"
        )
        if disagree[i]:
            return text + ", which does not agree with Cp: read more places."
        return text + ", which agrees with Cp."

    return to_be_settled(
        "diameter.shape",
        open_question=disagree,
        checked=judged,
        value=o.normal_p,
        limit=np.full(len(judged), alpha),
        unit="",
        sentence=sentence,
    )


def order(evidence: LotEvidence, criteria: Criteria) -> Check:
    """Ordered places repeat each other; how far they do is itself an estimate."""
    o, d = evidence.order, evidence.diameter
    alpha = criteria["order.alpha"]
    tests = np.stack([o.runs_p, o.trend_p, o.lag1_p])
    known = np.asarray(np.isfinite(tests).any(axis=0))
    smallest = np.where(np.isfinite(tests), tests, 1.0).min(axis=0)
    ordered = known & (smallest < alpha / ORDER_TESTS)

    def sentence(i: int) -> str:
        if not known[i]:
            return "Too few places to see an order along the filament: not checked."
        fewer = d.n_effective[i] < d.n_places[i]
        worth = f"count as {number(d.n_effective[i], 1)} independent ones in every interval"
        if not ordered[i]:
            if not fewer:
                return "The order of the places shows no drift and no likeness of neighbours."
            count = counted(int(d.n_places[i]), "place")
            return f"Near places may be alike, though it is not certain: {count} {worth}."
        seen = []
        if o.trend_p[i] < alpha / ORDER_TESTS:
            seen.append(
                f"a drift of {number(1000 * o.trend_per_m[i], 2)} um a metre"
                if np.isfinite(o.trend_per_m[i])
                else "a drift"
            )
        if o.lag1_p[i] < alpha / ORDER_TESTS:
            how = "go together" if o.lag1[i] > 0 else "take turns"
            seen.append(f"neighbours that {how} (lag-1 correlation {number(o.lag1[i], 2)})")
        if o.runs_p[i] < alpha / ORDER_TESTS:
            seen.append("an unusual number of runs above and below the median")
        result = f"they {worth}" if fewer else "the intervals suppose that there is no order"
        return (
            f"The places show {' and '.join(seen)} (p {probability(smallest[i])}): {result}. Read "
            "further places, unevenly spaced and farther apart."
        )

    return to_be_settled(
        "diameter.order",
        open_question=ordered,
        checked=known,
        value=smallest,
        limit=np.full(len(known), alpha / ORDER_TESTS),
        unit="",
        sentence=sentence,
    )


def positions(evidence: LotEvidence, criteria: Criteria) -> Check:
    """Places that stand evenly all meet the same phase of some wave and do not see it."""
    window, where = evidence.order.window, evidence.places
    most = criteria["places.window_max"]
    known = np.isfinite(window)

    def sentence(i: int) -> str:
        if not known[i]:
            return "No positions, or too few, to tell which waves the places miss: not checked."
        if window[i] <= most:
            return "The places stand unevenly enough to meet every wave at different phases."
        waves = blind_wavelengths(where.position_m[where.spool == i], most)
        lengths = [f"{number(w.wavelength_m, 3)} m" for w in waves[:NAMED_WAVES]]
        named = ", ".join(lengths)
        if len(waves) > NAMED_WAVES:
            named += f" and {len(waves) - NAMED_WAVES} shorter ones down to "
            named += f"{number(waves[-1].wavelength_m, 3)} m"
        return (
            f"The places stand so evenly that they do not see waves of {named}; one of nearly such "
            "a length would look like a drift. Use uneven places: lotqa plan."
        )

    return to_be_settled(
        "readings.positions",
        open_question=known & ~(window <= most),
        checked=known,
        value=window,
        limit=np.full(len(window), most),
        unit="",
        sentence=sentence,
    )


def pin(evidence: LotEvidence, criteria: Criteria) -> Check:
    """The offset of the tool, from a pin of known size."""
    offset, d = evidence.offset, evidence.diameter
    k = len(evidence.spools)
    checked = np.full(k, offset.n_pin_readings > 0)

    def sentence(i: int) -> str:
        if offset.n_pin_readings:
            way = "too much" if offset.offset_mm >= 0 else "too little"
            return (
                f"The tool read {number(abs(offset.offset_mm), 4)} mm {way} on the pin "
                f"({offset.n_pin_readings} readings, standard uncertainty "
                f"{number(offset.u_mm, 4)} mm); every reading is corrected by that."
            )
        text = "No pin of known size was read, so the limit of error of the tool stays in full"
        if d.n_places[i] < 2:
            return text + "."
        u_pin = _u_with_pin_mm(evidence)
        now, then = 2 * d.u_mean_mm[i], 2 * np.hypot(d.u_sampling_mm[i], u_pin)
        return (
            f"{text}: a pin check of {USUAL_PIN_READINGS} readings would shrink the uncertainty "
            f"of the mean from +/- {number(now, 3)} mm to +/- {number(then, 3)} mm."
        )

    return to_be_settled(
        "gauge.pin",
        open_question=np.zeros(k, dtype=bool),
        checked=checked,
        value=np.full(k, offset.offset_mm if offset.n_pin_readings else np.nan),
        limit=np.full(k, np.nan),
        unit="mm",
        sentence=sentence,
    )


def _u_with_pin_mm(evidence: LotEvidence) -> float:
    """Standard uncertainty of the offset that the usual number of pin readings would leave."""
    variance = evidence.scatter.sd_mm**2 + evidence.step_mm**2 / 12
    return float(np.sqrt(variance / USUAL_PIN_READINGS))


def tool_fit(evidence: LotEvidence, criteria: Criteria) -> Check:
    """Whether this tool can judge this tolerance at all, however many places are read."""
    k, most = len(evidence.spools), criteria["gauge.fit_max_ratio"]
    tolerance = evidence.section.tolerance_mm
    expanded = K * evidence.offset.u_mm
    ratio = expanded / tolerance
    unfit = not ratio <= most
    then = K * _u_with_pin_mm(evidence)

    def sentence(_i: int) -> str:
        own, band = against(expanded, tolerance, 3)
        if not unfit:
            return f"The tool's own uncertainty of +/- {own} mm leaves room within +/- {band} mm."
        if evidence.offset.n_pin_readings == 0 and then / tolerance <= most:
            cure = f"{USUAL_PIN_READINGS} readings of a pin would bring +/- {number(then, 3)} mm"
        else:
            cure = "a micrometer, or many more pin readings, would bring less"
        return (
            f"This tool cannot judge +/- {band} mm: its own uncertainty is +/- {own} mm however "
            f"many places are read; {cure}."
        )

    return to_be_settled(
        "gauge.fit",
        open_question=np.full(k, unfit),
        checked=evidence.diameter.n_places > 0,
        value=np.full(k, ratio),
        limit=np.full(k, most),
        unit="",
        sentence=sentence,
    )


def pin_shift(evidence: LotEvidence, criteria: Criteria) -> Check:
    """The pin reads the same after the session as before."""
    k, most = len(evidence.spools), criteria["gauge.pin_shift_max_mm"]
    shift = evidence.offset.shift_mm
    moved = shift is not None and not abs(shift) <= most

    def sentence(i: int) -> str:
        if shift is None:
            return "The pin was not read both before and after the session: not checked."
        text = f"From before to after the session the pin reading moved {number(shift, 4)} mm"
        if moved:
            return f"{text}, more than {number(most, 3)} mm: clean the jaws and measure again."
        return f"{text}; up to {number(most, 3)} mm is accepted."

    return to_be_settled(
        "gauge.shift",
        open_question=np.full(k, moved),
        checked=np.full(k, shift is not None),
        value=np.full(k, np.nan if shift is None else abs(shift)),
        limit=np.full(k, most),
        unit="mm",
        sentence=sentence,
    )
