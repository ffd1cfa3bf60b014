"""What drives an answer: shares of its variance, and rank correlations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BOOTSTRAPS = 400


@dataclass(frozen=True)
class Indices:
    """Shares of the variance (d,) with their 95 % intervals (d, 2), and the rows that count."""

    first: Floats
    total: Floats
    first_interval: Floats
    total_interval: Floats
    rows: int


def variance_indices(answers: Floats, parameters: int, seed: int = 1) -> Indices | None:
    """First-order and total indices from the answers of design "indices", in its order.

    First order after Saltelli et al. (2010, table 2 b), total after Jansen (1999). Rows in which
    any case failed are left out. None where the answer does not vary or fewer than 4 rows remain.

    Parameters
    ----------
    answers : (n·(d + 2),).
    """
    d = parameters
    table = answers.reshape(d + 2, -1)
    table = table[:, np.isfinite(table).all(axis=0)]
    n = table.shape[1]
    if n < 4 or np.ptp(table) <= 1e-12 * max(1e-300, float(np.abs(table).max())):
        return None
    first, total = _indices(table)
    rng = np.random.default_rng(seed)
    again = np.array(
        [_indices(table[:, rng.integers(0, n, n)]) for _ in range(BOOTSTRAPS)]
    )  # (bootstraps, 2, d)
    low, high = np.nanpercentile(again, [2.5, 97.5], axis=0)
    return Indices(
        first, total, np.column_stack([low[0], high[0]]), np.column_stack([low[1], high[1]]), n
    )


def _indices(table: Floats) -> tuple[Floats, Floats]:
    mean = table[:2].mean()
    a, b, mixed = table[0] - mean, table[1] - mean, table[2:] - mean
    variance = np.concatenate([a, b]).var()
    if variance <= 0:
        nothing = np.full(len(mixed), np.nan)
        return nothing, nothing
    first = (b * (mixed - a)).mean(axis=1) / variance
    total = 0.5 * ((a - mixed) ** 2).mean(axis=1) / variance
    return first, total


def rank_correlations(points: Floats, answers: Floats) -> Floats:
    """Spearman's correlation (d,) of each parameter's points (n, d) with an answer (n,)."""
    from scipy.stats import rankdata

    good = np.isfinite(answers)
    if good.sum() < 4 or np.ptp(answers[good]) == 0:
        return np.full(points.shape[1], np.nan)
    ranks = rankdata(answers[good])
    return np.array([float(np.corrcoef(rankdata(column), ranks)[0, 1]) if np.ptp(column) else
                     np.nan for column in points[good].T])  # fmt: skip
