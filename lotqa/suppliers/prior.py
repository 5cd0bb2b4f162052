"""What earlier lots say of the mean of a spool to come: a normal prior for JCGM 106, 6.3.

Mean of the lot means; variance from lot to lot (their own scatter, which holds that of their
measurement) plus the mean variance between spools of a lot.  With few lots the variance is widened
by (n + 1) / (n - 1), as a prediction from n lots is.
"""

from collections.abc import Sequence

import numpy as np

from lotqa.evidence.conformity import Prior

MIN_LOTS = 3  # two lots say nothing of how much lots differ


def spool_prior(
    lot_means_mm: Sequence[float], between_spool_sds_mm: Sequence[float]
) -> Prior | None:
    """Prior for a spool mean; None below three lots or when they do not differ at all.

    >>> prior = spool_prior([1.74, 1.75, 1.76], [0.003, 0.004, 0.005])
    >>> round(prior.mean_mm, 3), round(prior.sd_mm, 4), prior.n_lots
    (1.75, 0.0147, 3)
    """
    n = len(lot_means_mm)
    if n < MIN_LOTS:
        return None
    between_lots = float(np.var(lot_means_mm, ddof=1)) * (n + 1) / (n - 1)
    between_spools = (
        float(np.mean(np.square(between_spool_sds_mm))) if between_spool_sds_mm else 0.0
    )
    sd = float(np.sqrt(between_lots + between_spools))
    return Prior(float(np.mean(lot_means_mm)), sd, n) if sd > 0 else None
