"""Settlement in the course of time at named points and where it is largest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.compaction import Compaction
from wellring.postprocess.settlement.settlement import (
    Consolidation,
    begin_day,
    end_day,
    not_assessed,
    settlement_from_heads,
    settlements,
)

if TYPE_CHECKING:
    from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

LARGEST = "where it is largest"
STEPS = 40
"""Days in each stage at which the course is computed."""


@dataclass(frozen=True)
class Place:
    """A place followed in time: its name, plan cell and final settlement in the last stage [m]."""

    name: str
    cell: int
    final: float


@dataclass(frozen=True)
class SettlementCourse:
    """Settlement of places in time.

    Parameters
    ----------
    day : (m,) days, by Terzaghi from steady level to steady level.
    terzaghi : (m, places) [m].
    model_day, model : (k,) days and (k, places) [m] from the model's own pore pressures in time;
        empty where the run was not followed in time.
    """

    places: tuple[Place, ...]
    day: Floats
    terzaghi: Floats
    model_day: Floats
    model: Floats


def places_of(run: RunFolder, results: Sequence[StageResult]) -> tuple[Place, ...]:
    """Named points outside the pit, and where the last stage's settlement is largest."""
    found = settlements(run, results)
    if not found:
        return ()
    final = found[-1].final
    if not np.isfinite(final).any():
        return ()
    named = [(point.name, run.plan_cell(point.x, point.y)) for point in run.ledger.points]
    named.append((LARGEST, int(np.nanargmax(final))))
    return tuple(
        Place(name, cell, float(final[cell]))
        for name, cell in named
        if cell is not None and np.isfinite(final[cell])
    )


def settlement_on_days(
    run: RunFolder,
    results: Sequence[StageResult],
    days: Floats,
    columns: NDArray[np.intp] | None = None,
) -> Floats | None:
    """Settlement (days, n) or (days, columns) [m] on rising days, by Terzaghi's consolidation.

    On a stage's first day its water has not fallen yet; before the first stage nothing settles.
    None where a stage has no day. NaN where it is not assessed.
    """
    begins = [begin_day(run.ledger, number) for number in range(1, len(results))]
    compaction = Compaction(run, results[0].grid, results[0].heads, columns)
    aside = not_assessed(run, results)
    aside = aside if columns is None else aside[columns]
    consolidation = Consolidation(compaction)
    field = np.zeros((len(days), aside.size))
    for number, result in enumerate(results[1:], start=1):
        consolidation.add(*compaction.load(result.heads), begins[number - 1])
        first, last = begins[number - 1], begins[number] if number < len(begins) else np.inf
        if first is None or last is None:
            return None
        for index in np.flatnonzero((days > first) & (days <= last)):
            shortening = consolidation.at(float(days[index]))
            assert shortening is not None
            field[index] = shortening.sum(axis=0)
    field[:, aside] = np.nan
    return field


def settlement_course(run: RunFolder, results: Sequence[StageResult]) -> SettlementCourse | None:
    """Follow the places of a run; None where a stage has no day or the last one no end."""
    places = places_of(run, results)
    if not places:
        return None
    cells = np.array([place.cell for place in places], dtype=np.intp)
    compaction = Compaction(run, results[0].grid, results[0].heads, cells)
    consolidation = Consolidation(compaction)
    days, settled = [begin_day(run.ledger, 1) or 0.0], [np.zeros(cells.size)]
    for number, result in enumerate(results[1:], start=1):
        begins, ends = begin_day(run.ledger, number), end_day(run.ledger, number)
        consolidation.add(*compaction.load(result.heads), begins)
        if begins is None or ends is None:
            return None
        # Early consolidation goes with the root of time.
        for day in begins + (ends - begins) * np.linspace(0.0, 1.0, STEPS) ** 2:
            shortening = consolidation.at(float(day))
            assert shortening is not None
            days.append(float(day))
            settled.append(shortening.sum(axis=0))
    model_day, model = _from_model(run, results, cells)
    return SettlementCourse(places, np.array(days), np.array(settled), model_day, model)


def _from_model(
    run: RunFolder, results: Sequence[StageResult], cells: NDArray[np.intp]
) -> tuple[Floats, Floats]:
    steps = (step for phase in run.ledger.phases for step in run.heads_in_time(phase))
    found = [
        (day, np.sum(list(parts.values()), axis=0))
        for day, parts in settlement_from_heads(run, results, steps, cells)
    ]
    if not found:
        return np.zeros(0), np.zeros((0, cells.size))
    return np.array([day for day, _ in found]), np.array([field for _, field in found])
