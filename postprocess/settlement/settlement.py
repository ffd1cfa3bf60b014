"""Settlement of the ground around the pit from the change of effective stress in every cell.

Each column of the grid has its own layers, so a soft layer that thins out settles less where it is
thin. The pit itself, whose ground is unloaded and dug away, is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY
from wellring.postprocess.run.ledger import Ledger, StageEntry
from wellring.postprocess.run.run_folder import DESCRIPTION_FILE, RunFolder
from wellring.postprocess.settlement.compaction import Compaction
from wellring.postprocess.settlement.consolidation import (
    consolidation_rate,
    degree_of_consolidation,
)

if TYPE_CHECKING:
    from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

BLOCK = 25_000
"""Cells whose stresses are worked out at a time: some fifteen arrays over them are held at once."""


@dataclass(frozen=True)
class Settlement:
    """Settlement of one dug stage over the plan (n,) [m], NaN where it is not assessed.

    Parameters
    ----------
    final : when the stage's steady heads have acted for ever; positive down, negative heave.
    by_unit : the part of each unit, by its label.
    at_stage_end : at the end of the stage, by Terzaghi; None where days are not given.
    by_unit_at_end : the part of each unit then; None where days are not given.
    at_stage_end_model : at the end of the stage, from the model's own pore pressures in time;
        None where the run was not followed in time.
    end_day : day on which the stage ends, None where not given.
    strain : largest compression in each column [-].
    not_counted : largest rise of effective stress [Pa] in each unit without compression data.
    drained : units that hold their water by tightness but fell partly dry in the model.
    afloat : units with no effective stress somewhere before the work.
    """

    entry: StageEntry
    final: Floats
    by_unit: dict[str, Floats]
    at_stage_end: Floats | None
    by_unit_at_end: dict[str, Floats] | None
    at_stage_end_model: Floats | None
    end_day: float | None
    strain: Floats
    not_counted: dict[str, float]
    drained: tuple[str, ...]
    afloat: tuple[str, ...]


def settlements(run: RunFolder, results: Sequence[StageResult]) -> list[Settlement]:
    """Settlement of every dug stage, in order; computed once and kept in the results.

    Parameters
    ----------
    results : all stages, the natural state first.

    Returns
    -------
    One entry a dug stage; none where the folder was made without a site description.
    """
    if not (run.path / DESCRIPTION_FILE).is_file():
        return []
    kept = [result.settlement for result in results[1:]]
    if all(item is not None for item in kept):
        return [item for item in kept if item is not None]
    aside = not_assessed(run, results)
    wide = max(BLOCK // results[0].heads.shape[0], 1)
    blocks = [
        _of_columns(run, results, np.arange(low, min(low + wide, aside.size)), aside)
        for low in range(0, aside.size, wide)
    ]
    found = []
    for result in results[1:]:
        result.settlement = _joined([block.pop(0) for block in blocks])
        found.append(result.settlement)
    return found


def _of_columns(
    run: RunFolder,
    results: Sequence[StageResult],
    columns: NDArray[np.intp],
    aside: NDArray[np.bool_],
) -> list[Settlement]:
    """Settlement of some columns in every dug stage: columns know nothing of one another."""
    natural, aside = results[0], aside[columns]
    compaction = Compaction(run, natural.grid, natural.heads, columns)
    course = Consolidation(compaction)
    in_model = _at_phase_ends(run, results, columns)
    found = []
    for number, result in enumerate(results[1:], start=1):
        strain, change = compaction.load(result.heads)
        course.add(strain, change, begin_day(run.ledger, number))
        end = end_day(run.ledger, number)
        parts = _masked(compaction.by_unit(strain * compaction.thickness), aside)
        at_end = None if end is None else course.at(end)
        ended = None if at_end is None else _masked(compaction.by_unit(at_end), aside)
        found.append(
            Settlement(
                entry=result.entry,
                final=_sum(parts),
                by_unit=parts,
                at_stage_end=None if ended is None else _sum(ended),
                by_unit_at_end=ended,
                at_stage_end_model=in_model.get(number),
                end_day=end,
                strain=np.where(aside, np.nan, strain.max(axis=0)),
                not_counted=compaction.not_counted(change, ~aside),
                drained=compaction.drained(result.heads, ~aside),
                afloat=compaction.afloat(~aside),
            )
        )
    return found


def _joined(pieces: Sequence[Settlement]) -> Settlement:
    """One stage's settlement from that of its blocks of columns, in order."""
    first = pieces[0]
    model = [each.at_stage_end_model for each in pieces if each.at_stage_end_model is not None]
    ended = [item.by_unit_at_end for item in pieces if item.by_unit_at_end is not None]
    ends = [item.at_stage_end for item in pieces if item.at_stage_end is not None]
    return Settlement(
        entry=first.entry,
        final=np.concatenate([item.final for item in pieces]),
        by_unit=_together([item.by_unit for item in pieces]),
        at_stage_end=np.concatenate(ends) if ends else None,
        by_unit_at_end=_together(ended) if ended else None,
        at_stage_end_model=np.concatenate(model) if model else None,
        end_day=first.end_day,
        strain=np.concatenate([item.strain for item in pieces]),
        not_counted={
            label: max(item.not_counted[label] for item in pieces) for label in first.not_counted
        },
        drained=tuple(dict.fromkeys(label for item in pieces for label in item.drained)),
        afloat=tuple(dict.fromkeys(label for item in pieces for label in item.afloat)),
    )


def _together(parts: Sequence[dict[str, Floats]]) -> dict[str, Floats]:
    return {label: np.concatenate([each[label] for each in parts]) for label in parts[0]}


def _at_phase_ends(
    run: RunFolder, results: Sequence[StageResult], columns: NDArray[np.intp]
) -> dict[int, Floats]:
    """Settlement (columns,) [m] at the end of each stage followed in time, by its number."""
    phases = run.ledger.phases
    if not phases:
        return {}
    ends = ((phase.ends, run.heads_at_end(phase)) for phase in phases)
    steps = settlement_from_heads(run, results, ends, columns)
    return {phase.stage: _sum(parts) for phase, (_, parts) in zip(phases, steps, strict=True)}


def settlement_from_heads(
    run: RunFolder,
    results: Sequence[StageResult],
    heads_at_times: Iterable[tuple[float, Floats]],
    columns: NDArray[np.intp] | None = None,
) -> Iterator[tuple[float, dict[str, Floats]]]:
    """Settlement from the model's own pore pressures in time, step by step.

    Parameters
    ----------
    results : all stages; the natural state is the start.
    heads_at_times : day and heads (nlay, n) [m] in the order of time.
    columns : plan cells to follow, all where None.

    Yields
    ------
    Day, and settlement (n,) or (columns,) [m] of each unit by its label; NaN where it is not
    assessed.
    """
    compaction = Compaction(run, results[0].grid, results[0].heads, columns)
    aside = not_assessed(run, results)
    aside = aside if columns is None else aside[columns]
    for day, heads in heads_at_times:
        strain, _ = compaction.load(heads)
        yield day, _masked(compaction.by_unit(strain * compaction.thickness), aside)


def not_assessed(run: RunFolder, results: Sequence[StageResult]) -> NDArray[np.bool_]:
    """Columns (n,) that are the pit, are dug into in some stage, or are not modelled."""
    natural = results[0].grid.active
    aside = np.logical_not(natural.any(axis=0), dtype=np.bool_)
    aside[np.asarray(run.ledger.inside, dtype=np.intp)] = True
    for result in results[1:]:
        aside |= (natural & ~result.grid.active).any(axis=0)
    return aside


def begin_day(ledger: Ledger, number: int) -> float | None:
    """Day from which the water of stage `number` falls: its own, or that on which pumping starts.

    Pumping that starts before the dig lowers the water before the first stage's day.
    """
    day = ledger.stages[number].day
    if day is None or number > 1 or not ledger.phases:
        return day
    return min(day, ledger.phases[0].begins)


def end_day(ledger: Ledger, number: int) -> float | None:
    """Day on which stage `number` ends: the next stage's day, else its own day and length.

    The last stage of a run followed in time ends where that ends.
    """
    stage = ledger.stages[number]
    if stage.day is None:
        return None
    if number + 1 < len(ledger.stages) and ledger.stages[number + 1].day is not None:
        return ledger.stages[number + 1].day
    if stage.lasts is not None:
        return stage.day + stage.lasts
    return max((phase.ends for phase in ledger.phases if phase.stage == number), default=None)


class Consolidation:
    """Sums the stages' steps of final shortening, each consolidating from its own day on."""

    def __init__(self, compaction: Compaction):
        self.compaction, self.slow = compaction, compaction.slow
        self.steps: list[tuple[float, Floats, Floats]] = []
        self.complete = True
        self._before = np.zeros(compaction.unit.shape)

    def add(self, strain: Floats, change: Floats, day: float | None) -> None:
        """A stage whose steady heads stand from `day` on.

        `strain` [-] and `change` of effective stress [Pa], both (nlay, columns), are since the
        natural state.
        """
        if day is None:
            self.complete = False
        if not self.complete:
            return
        item = self.compaction
        mv = item.laws.stiffness(item.unit, item.initial, change, strain)
        cv = item.laws.consolidation(item.unit, mv)
        kv = item.laws.kv[item.unit]
        rate, _ = consolidation_rate(item.grid.active, self.slow, item.thickness, kv, cv)
        final = strain * item.thickness
        assert day is not None
        self.steps.append((day, (final - self._before)[self.slow], rate[self.slow]))
        self._before = final

    def at(self, day: float) -> Floats | None:
        """Shortening (nlay, columns) [m] on a day not before the last stage added.

        None where a stage so far has no day.
        """
        if not self.complete:
            return None
        shortening = self._before.copy()
        slow = np.zeros(self.steps[0][1].size)
        for begins, step, rate in self.steps:
            seconds = max(day - begins, 0.0) * DAY
            with np.errstate(invalid="ignore"):
                tv = np.where(np.isinf(rate), np.inf, rate * seconds)
            slow += step * degree_of_consolidation(tv)
        shortening[self.slow] = slow
        return shortening


def _sum(parts: dict[str, Floats]) -> Floats:
    return np.sum(list(parts.values()), axis=0)


def _masked(parts: dict[str, Floats], aside: NDArray[np.bool_]) -> dict[str, Floats]:
    return {label: np.where(aside, np.nan, part) for label, part in parts.items()}
