"""How much larger than their defaults cells must be for a grid of at most so many cells."""

from __future__ import annotations

from collections.abc import Callable

COARSEST = 32.0
"""The largest factor on all sizes: beyond it a grid tells nothing of a pit (own choice)."""
_HALVINGS = 7
"""Bisections of the factor: it is then within half a percent of the least one."""


def least_factor(count: Callable[[float], int], most: int) -> float:
    """Least factor on all sizes with which a grid has at most `most` cells, and not below 1.

    Parameters
    ----------
    count : number of cells for a factor on all sizes; it falls with the factor.

    Returns
    -------
    float : 1 where the default sizes fit; infinite where :data:`COARSEST` does not.

    Examples
    --------
    >>> round(least_factor(lambda factor: int(8000 / factor**3), 1000), 1)
    2.0
    """
    if count(1.0) <= most:
        return 1.0
    low, high = 1.0, 2.0
    while count(high) > most:
        low, high = high, 2 * high
        if low >= COARSEST:
            return float("inf")
    for _ in range(_HALVINGS):
        middle = (low * high) ** 0.5
        low, high = (low, middle) if count(middle) <= most else (middle, high)
    return high
