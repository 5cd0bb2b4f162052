"""Mean and standard deviation when readings are about as coarse as the spread itself.

A reading r of a display with step q says only that the value lay in (r - q/2, r + q/2].  The
likelihood of a normal sample is then a product of cell probabilities

    P = Phi(b) - Phi(a),  a = (r - q/2 - mu) / sigma,  b = (r + q/2 - mu) / sigma      [1]_

and is maximised here by EM [2]_ for many spools at once, through the counts of distinct values.
Standard errors come from the expected information; Sheppard's s**2 - q**2/12 is the cross-check.
When all n readings fall into c cells, one or two neighbours, any small sigma explains them: it is
not resolved, and only an upper bound stands, where that happens with probability a:

    P(c cells) <= (2 Phi(c / (2 sigma)) - 1)**n = a                                  [3]_

and the mean lies anywhere in the interval of its profile likelihood (chi-square, 1 df) [1]_.

.. [1] Gjeddebaek, Skand. Aktuarietidskr. 32 (1949) 135; Meeker & Escobar, Statistical Methods for
   Reliability Data (1998), 7.3, 8.3.   .. [2] Dempster, Laird & Rubin, JRSS B 39 (1977) 1, 4.2.2.
.. [3] Test inversion, Casella & Berger, Statistical Inference (2002), 9.2.1.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri, log_ndtr, ndtri

from lotqa.evidence.resolution import rounding_variance_mm2
from lotqa.model import BoolArray, FloatArray, IntArray

ROUNDS = 400  # EM halves the distance to the maximum every few rounds down to sigma = q / 4
SIGMA_FLOOR = 0.05  # of a step: below, cell probabilities are 0 or 1 to the last digit
FINE = 3.0  # steps of sigma above which rounding takes less than 1 % of the information
LOWEST = -690.0  # ln of the smallest number that can still be divided by
SIGMA_NODES, MU_NODES = 80, 241  # of the profile likelihood where sigma is not resolved
MU_REACH = 3.0  # steps either way of the middle, wider than any interval from two places on


@dataclass(frozen=True, slots=True, eq=False)
class Rounded:
    """Maximum likelihood from rounded readings; arrays (k,)."""

    mean_mm: FloatArray
    sd_mm: FloatArray  # of single readings, rounding removed; 0 where not resolved
    se_mean_mm: FloatArray
    df: FloatArray  # that a chi-square interval of sd would need for the same information
    sd_upper_mm: FloatArray  # NaN where resolved
    resolved: BoolArray


def censored_normal(
    owner: IntArray,
    n_owners: int,
    values_mm: FloatArray,
    weight: FloatArray,
    step_mm: float,
    confidence: float = 0.95,
) -> Rounded:
    """Mean and sd of each owner's readings (N,), each the interval of half a step either way [1]_.

    ``owner`` (N,) numbers the spools; ``weight`` (N,) counts a reading (1/m for the m readings of
    one place, which tell one fact).  An owner without readings is NaN and not resolved.
    """
    cells = np.round(values_mm / step_mm).astype(np.int64)
    low = np.full(n_owners, np.iinfo(np.int64).max)
    high = np.full(n_owners, np.iinfo(np.int64).min)
    np.minimum.at(low, owner, cells)
    np.maximum.at(high, owner, cells)
    width = np.where(high >= low, high - low + 1, 0)
    mean, sd, se, df, upper_bound = (np.full(n_owners, np.nan) for _ in range(5))
    out = Rounded(mean, sd, se, df, upper_bound, np.zeros(n_owners, dtype=bool))
    # Spools of like width go together, so that one wild reading costs its own spool only.
    for lower, upper in ((1, 2), (3, 8), (9, 32), (33, 10**9)):
        group = np.flatnonzero((width >= lower) & (width <= upper))
        if not len(group):
            continue
        index = np.full(n_owners, -1)
        index[group] = np.arange(len(group))
        mine = index[owner] >= 0
        columns = int(width[group].max())
        flat = index[owner[mine]] * columns + cells[mine] - low[owner[mine]]
        sums = np.bincount(flat, weight[mine], minlength=len(group) * columns)
        counts = np.asarray(sums.reshape(len(group), columns), dtype=np.float64)
        centre = np.asarray(low[group][:, None] + np.arange(columns), dtype=np.float64)
        if upper == 2:
            _unresolved(group, counts, centre, step_mm, confidence, out)
        else:
            _by_em(group, counts, centre, step_mm, out)
    return out


def _by_em(
    group: IntArray, counts: FloatArray, centre: FloatArray, step_mm: float, out: Rounded
) -> None:
    """EM in units of a step; ``counts``, ``centre`` (g, c)."""
    n = counts.sum(axis=1)
    mu = np.sum(counts * centre, axis=1) / n
    spread = np.sum(counts * (centre - mu[:, None]) ** 2, axis=1) / n
    sigma = np.sqrt(np.maximum(spread - rounding_variance_mm2(1.0), SIGMA_FLOOR**2))
    for _ in range(ROUNDS):
        first, second = _moments(centre, mu, sigma)
        new_mu = mu + sigma * np.sum(counts * first, axis=1) / n
        shift = (mu - new_mu) / sigma
        square = np.sum(counts * (second + 2 * shift[:, None] * first), axis=1) / n + shift**2
        new_sigma = np.maximum(sigma * np.sqrt(square), SIGMA_FLOOR)
        moved = np.max(np.abs(new_mu - mu) + np.abs(new_sigma - sigma))
        mu, sigma = new_mu, new_sigma
        if moved < 1e-8:
            break
    i_mm, i_ml, i_ll = (n * part for part in _information(mu, sigma))
    determinant = i_mm * i_ll - i_ml**2
    with np.errstate(divide="ignore", invalid="ignore"):
        var_mu, var_log = i_ll / determinant, i_mm / determinant
    # The maximum of the likelihood divides by n; n - 1 takes the mean's own freedom out.
    freedom = np.sqrt(n / np.maximum(n - 1, 0.5))
    out.mean_mm[group] = mu * step_mm
    out.sd_mm[group] = sigma * freedom * step_mm
    out.se_mean_mm[group] = np.sqrt(var_mu) * freedom * step_mm
    out.df[group] = np.minimum(1 / (2 * var_log), n - 1)
    out.resolved[group] = True


def _information(mu: FloatArray, sigma: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Expected information of one reading on (mu, log sigma): (mm, ml, ll), in units of a step.

    Summed over all cells that can occur; above FINE steps it is that of an unrounded normal.
    """
    reach = int(np.ceil(7 * FINE)) + 1
    near = np.minimum(sigma, FINE)
    cells = np.round(mu)[:, None] + np.arange(-reach, reach + 1)
    a = (cells - 0.5 - mu[:, None]) / near[:, None]
    b = (cells + 0.5 - mu[:, None]) / near[:, None]
    first, second = _moments(cells, mu, near)
    probability = np.exp(_log_cell(a, b))
    score_mu, score_log = first / near[:, None], second - 1
    mm, ml, ll = (
        np.sum(probability * product, axis=1)
        for product in (score_mu**2, score_mu * score_log, score_log**2)
    )
    fine = sigma > FINE
    return (
        np.where(fine, 1 / sigma**2, mm),
        np.where(fine, 0.0, ml),
        np.where(fine, 2.0, ll),
    )


def _moments(
    centre: FloatArray, mu: FloatArray, sigma: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """E[z] and E[z**2] of a standard normal within each cell (truncated normal)."""
    a = (centre - 0.5 - mu[:, None]) / sigma[:, None]
    b = (centre + 0.5 - mu[:, None]) / sigma[:, None]
    log_p = _log_cell(a, b)
    # Far out in a tail both densities over P grow without bound; so does the score there.
    phi_a, phi_b = (
        np.exp(np.minimum(-(v**2) / 2 - log_p, -LOWEST)) / np.sqrt(2 * np.pi) for v in (a, b)
    )
    return phi_a - phi_b, 1 + a * phi_a - b * phi_b


def _log_cell(a: FloatArray, b: FloatArray) -> FloatArray:
    """ln(Phi(b) - Phi(a)), from the tail where the digits are."""
    upper = a > 0
    lo, hi = np.where(upper, -b, a), np.where(upper, -a, b)
    with np.errstate(divide="ignore"):  # a cell too far out to have any probability
        log_p = log_ndtr(hi) + np.log1p(-np.exp(log_ndtr(lo) - log_ndtr(hi)))
    return np.asarray(np.maximum(log_p, LOWEST))


def unresolved_quantile(n: ArrayLike, confidence: float = 0.95) -> FloatArray:
    """Cells on either side of the middle, in units of the bound of sigma, for n readings [3]_.

    >>> round(float(0.5 / unresolved_quantile(20)), 3)    # all 20 alike: the bound, in steps
    0.363
    """
    chance = ((1 - confidence) / 2) ** (1 / np.asarray(n, dtype=np.float64))
    return np.asarray(ndtri((1 + chance) / 2))


def _unresolved(
    group: IntArray,
    counts: FloatArray,
    centre: FloatArray,
    step_mm: float,
    confidence: float,
    out: Rounded,
) -> None:
    """One cell or two neighbours: sigma is bounded from above, the mean from both sides."""
    n = counts.sum(axis=1)
    share = counts[:, -1] / n if counts.shape[1] == 2 else np.zeros(len(n))
    two = share > 0
    # Spools of like counts have like intervals, and most of a lot are like.
    seen, which = np.unique(np.round(np.stack([n, share], axis=1), 9), axis=0, return_inverse=True)
    ends = np.array([_mean_interval(a, b, confidence) for a, b in seen])[which.ravel()]
    drawn_at = float(ndtri(0.5 + confidence / 2))
    u = (ends[:, 1] - ends[:, 0]) / 2 / drawn_at
    # Anywhere in one cell: a rectangle, whose u is more than its half width over the quantile.
    rectangle = np.sqrt(rounding_variance_mm2(1.0))
    out.mean_mm[group] = (centre[:, 0] + ends.mean(axis=1)) * step_mm
    out.sd_mm[group] = 0.0
    out.se_mean_mm[group] = np.where(two, u, np.maximum(u, rectangle)) * step_mm
    out.df[group] = n - 1
    out.sd_upper_mm[group] = np.where(two, 1.0, 0.5) / unresolved_quantile(n, confidence) * step_mm


def _mean_interval(n: float, share: float, confidence: float) -> tuple[float, float]:
    """Ends of the mean's interval, in steps from the middle of the lower cell [1]_.

    ``share`` of the n readings lies in the upper cell; 0 means that there is one cell only.
    """
    mu = np.linspace(-MU_REACH, MU_REACH, MU_NODES) + (0.5 if share > 0 else 0.0)
    sigma = np.geomspace(0.002, 4.0, SIGMA_NODES)[:, None]
    log_likelihood = n * (1 - share) * _log_cell((-0.5 - mu) / sigma, (0.5 - mu) / sigma)
    if share > 0:
        log_likelihood = log_likelihood + n * share * _log_cell(
            (0.5 - mu) / sigma, (1.5 - mu) / sigma
        )
    profile = log_likelihood.max(axis=0)
    drop = float(chdtri(1, 1 - confidence)) / 2
    allowed = mu[profile >= profile.max() - drop]
    spacing = mu[1] - mu[0]  # the next node: never too narrow by the grid
    return float(allowed[0] - spacing), float(allowed[-1] + spacing)
