"""Steps in time: short after a change and where given values move fast, long elsewhere."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.measured.series import Series

Floats = NDArray[np.float64]

MOST_STEPS = 400
"""Steps of one phase at most where values that change in time ask for short ones."""
_ALIKE = 4.0
"""Neighbouring stretches whose longest steps differ less than this are followed as one."""


@dataclass(frozen=True)
class Stretch:
    """A part of a phase with one longest step.

    Parameters
    ----------
    length, longest : [days].
    sudden : something jumps at its beginning, so that its steps begin short.
    """

    length: float
    longest: float
    sudden: bool = False


def stretches(
    begins: float, ends: float, longest: float, series: Iterable[Series]
) -> list[Stretch]:
    """The parts of a phase from day `begins` to `ends`, by what moves in them.

    Where a value moves no step is longer than the time between its two days; a single move in less
    than a :data:`MOST_STEPS`-th of the phase is a jump. Where so many steps do not do, shorter
    swings than that are averaged by the solver.

    Parameters
    ----------
    longest : the longest step where nothing moves [days].
    series : values given in time.
    """
    least = (ends - begins) / MOST_STEPS
    moving: list[list[tuple[float, float]]] = []
    jumps: set[float] = set()
    for one in series:
        moves = _moves(one)
        jumps |= {a for single, a, b in moves if single and b - a < least}
        moving.append([(a, b) for single, a, b in moves if not (single and b - a < least)])
        jumps |= _sudden(one, longest)
    inside = {day for moves in moving for move in moves for day in move} | jumps
    days = [begins, *sorted(day for day in inside if begins < day < ends), ends]
    lengths = np.diff(days)
    asked = np.minimum(longest, _gaps(np.array(days), moving))
    if (lengths / asked).sum() > MOST_STEPS:
        asked = np.minimum(longest, np.maximum(asked, least))
    found: list[Stretch] = []
    for start, length, gap in zip(days[:-1], lengths.tolist(), asked.tolist(), strict=True):
        own = Stretch(length, gap, start in jumps)
        if found and not own.sudden and _alike(own, found[-1]):
            before = found.pop()
            own = Stretch(before.length + length, min(before.longest, gap), before.sudden)
        found.append(own)
    return found


def _gaps(days: Floats, moving: Sequence[Sequence[tuple[float, float]]]) -> Floats:
    """Days (n − 1,) between the given values that move from each of `days` (n,) to the next."""
    middle = 0.5 * (days[:-1] + days[1:])
    found = np.full(middle.size, np.inf)
    for moves in moving:
        if moves:
            low, high = np.array(moves).T
            at = np.maximum(np.searchsorted(low, middle) - 1, 0)
            inside = (low[at] < middle) & (middle < high[at])
            found = np.where(inside, np.minimum(found, (high - low)[at]), found)
    return found


def _alike(one: Stretch, other: Stretch) -> bool:
    return one.longest / _ALIKE < other.longest < one.longest * _ALIKE


def _moves(series: Series) -> list[tuple[bool, float, float]]:
    """(single, from day, to day) of every two days of a series between which its value moves.

    A single move has none before or after it.
    """
    pairs = list(pairwise(zip(series.day, series.value, strict=True)))
    moves = [
        before != after or (series.holds and at > 0 and pairs[at - 1][0][1] != before)
        for at, ((_, before), (_, after)) in enumerate(pairs)
    ]
    return [
        (not any(moves[max(at - 1, 0) : at] + moves[at + 1 : at + 2]), a, b)
        for at, ((a, _), (b, _)) in enumerate(pairs)
        if moves[at]
    ]


def _sudden(series: Series, longest: float) -> set[float]:
    """Days on which a value that holds for several steps becomes another."""
    if not series.holds:
        return set()
    gaps = [math.inf, *(b - a for a, b in pairwise(series.day)), math.inf]
    return {
        day
        for at, day in enumerate(series.day)
        if at > 0
        and series.value[at] != series.value[at - 1]
        and min(gaps[at], gaps[at + 1]) > 5.0 * longest
    }


@dataclass(frozen=True)
class Stepping:
    """File texts of the time discretisation and of the adaptive steps (steps.ats), over `days`."""

    days: float
    periods: str
    steps: str


def stepping(parts: Sequence[Stretch], first: float, growth: float) -> Stepping:
    """The time discretisation of the parts of a phase, one stress period each.

    Steps grow from `first` [days], and again after a jump and after every stretch of shorter ones.
    A failed step is cut to a third and tried again.
    """
    rows, periods = [], []
    step = first
    for number, part in enumerate(parts, start=1):
        step = min(first if part.sudden else step, part.longest, part.length)
        rows.append(f"  {number} {step:.6e} {1e-4 * step:.6e} {part.longest:.6e} {growth:g} 3.0\n")
        periods.append(f"  {part.length:.8f} 1 1.0\n")
        step = max(first, min(part.longest, part.length))
    steps = (
        f"BEGIN DIMENSIONS\n  MAXATS {len(parts)}\nEND DIMENSIONS\n"
        f"BEGIN PERIODDATA\n{''.join(rows)}END PERIODDATA\n"
    )
    times = (
        "BEGIN OPTIONS\n  TIME_UNITS DAYS\n  ATS6 FILEIN steps.ats\nEND OPTIONS\n"
        f"BEGIN DIMENSIONS\n  NPER {len(parts)}\nEND DIMENSIONS\n"
        f"BEGIN PERIODDATA\n{''.join(periods)}END PERIODDATA\n"
    )
    return Stepping(sum(part.length for part in parts), times, steps)
