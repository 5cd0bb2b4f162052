"""The restricted likelihood with whole matrices, and seeded data to hold components against.

    -2 L = (N - 1) log(2 pi) + log |V| + log(1'V^-1 1) + (y - m)'V^-1 (y - m)
    m    = 1'V^-1 y / 1'V^-1 1

Patterson and Thompson, Biometrika 58 (1971) 545 (from memory); all constants but those of the
choice of contrasts, as programs for mixed models print it.
"""

import numpy as np

SIZES = {
    "equal": [4, 4, 4, 4, 4],
    "unequal": [2, 9, 3, 5, 1, 4],
    "mostly alone": [1, 1, 1, 2, 1, 3],
    "two": [3, 5],
}
PLACES = {  # readings at each place of each spool
    "equal": [[2, 2, 2]] * 5,
    "unequal": [[2, 3], [1, 1, 4], [5], [2, 2, 1, 3], [1, 2]],
    "mostly alone": [[1, 2], [1, 1], [1, 1, 1], [2]],
}


def alike(label):
    """1 where two values carry the same label: the covariance of a unit component."""
    return (label[:, None] == label[None, :]).astype(float)


def dense(y, V):
    """Restricted log likelihood, mean, its variance and P y, with no use of the structure of V."""
    ones = np.ones(len(y))
    inverse = np.linalg.inv(V)
    T = ones @ inverse @ ones
    m = ones @ inverse @ y / T
    rest = inverse @ (y - m)
    minus_two = (len(y) - 1) * np.log(2 * np.pi) + np.linalg.slogdet(V)[1] + np.log(T)
    return -(minus_two + (y - m) @ rest) / 2, m, 1 / T, rest


def oneway_data(sizes, seed, between=1.0):
    rng = np.random.default_rng(seed)
    group = np.repeat(np.arange(len(sizes)), sizes)
    shift = between * rng.normal(size=len(sizes))
    return shift[group] + rng.normal(size=len(group)), group


def nested_data(places, seed, spool=1.0, place=1.0):
    """Values, spool, place numbered within its spool, place numbered across spools."""
    rng = np.random.default_rng(seed)
    n = np.concatenate([np.array(row) for row in places])
    of = np.repeat(np.arange(len(places)), [len(row) for row in places])
    within = np.concatenate([np.arange(len(row)) for row in places])
    cell = np.repeat(np.arange(len(n)), n)
    level = spool * rng.normal(size=len(places))[of] + place * rng.normal(size=len(n))
    return level[cell] + rng.normal(size=len(cell)), of[cell], within[cell], cell
