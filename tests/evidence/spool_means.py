"""Spools with a mean and a spread as wanted, and how near a quantile of draws must come.

Draws fill the space evenly: tolerances ask that a quantile is no worse than one standard error of
as many draws at random, sqrt(p (1 - p) / m), which is turned into ends by the exact quantile.
"""

import numpy as np

from lotqa.evidence.lot_model import SpoolMeans

NEVER = 1e9  # mm or degrees of freedom: so many that nothing comes of it
CASE = {
    "k": 6,
    "n_places": 5,
    "variance": 4e-4,
    "df": 24,
    "reading": 1e-4,
    "u_offset": 0.004,
    "offset_df": 8,
}


def spools(k, s=0.01, mean=1.75, n_places=NEVER, variance=1e-4, df=1e7, reading=1e-4, **more):
    """k spools whose means have mean and standard deviation as given, exactly."""
    pattern = np.random.default_rng(k).normal(size=k)
    pattern = (pattern - pattern.mean()) / pattern.std(ddof=1)
    return SpoolMeans(
        mean_mm=mean + s * pattern,
        n_places=np.full(k, float(n_places)),
        variance_mm2=variance,
        df=df,
        reading_variance_mm2=reading,
        u_offset_mm=more.get("u_offset", 0.0),
        offset_df=more.get("offset_df", np.inf),
        reading_limits_mm2=more.get("limits"),
    )


def slack(p, m):
    return np.sqrt(p * (1 - p) / m)


def between(value, quantile, p, m):
    """Whether a quantile is as good as that of m random draws."""
    ends = sorted(float(quantile(q)) for q in (p - slack(p, m), p + slack(p, m)))
    return ends[0] <= value <= ends[1]


def half(ends):
    return (ends[1] - ends[0]) / 2
