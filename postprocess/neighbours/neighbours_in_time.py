"""On which day each neighbour first exceeds a limit, from the model's own heads in time.

Drawdown, settlement (from the model's pore pressures) and what rivers give are read at every step;
between two steps the part of a limit that is taken up runs straight.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.answer import HELD
from wellring.postprocess.run.heads import Drawdowns, drawdowns
from wellring.postprocess.run.run_folder import DESCRIPTION_FILE, StageGrid
from wellring.postprocess.settlement.compaction import Compaction

if TYPE_CHECKING:
    from wellring.postprocess.neighbours.neighbours import Assessor

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True)
class Exceedance:
    """What the days followed ask of each neighbour.

    Parameters
    ----------
    day : (n,) day on which a limit is first exceeded; NaN where none is within the days followed.
    stage : (n,) index of the dug stage that stands on that day; -1 where none.
    use : (n,) largest part of any limit taken up on any day; NaN where none could be compared.
    until : last day followed.
    """

    day: Floats
    stage: Ints
    use: Floats
    until: float


def first_exceedance(assessor: Assessor) -> Exceedance | None:
    """Follow all neighbours through the days of a run; None where it was not followed in time."""
    run, natural = assessor.run, assessor.results[0]
    phases = run.ledger.phases
    if not phases:
        return None
    columns = assessor.columns
    grid = StageGrid(natural.grid.edges[:, columns], natural.grid.active[:, columns])
    before = grid, natural.heads[:, columns]
    settles = (run.path / DESCRIPTION_FILE).is_file()
    compaction = Compaction(run, natural.grid, natural.heads, columns) if settles else None
    day = np.full(assessor.count, np.nan)
    stage = np.full(assessor.count, -1)
    most = np.full(assessor.count, np.nan)
    last, used = phases[0].begins, np.zeros(assessor.count)
    for phase in phases:
        lost = assessor.water.depletion_in_time(phase)
        for step, (ends, heads) in enumerate(run.heads_in_time(phase)):
            fall = drawdowns(run, before, (grid, heads[:, columns]), columns)
            spread = Drawdowns(
                _spread(fall.table, columns, run.area.size),
                {name: _spread(part, columns, run.area.size) for name, part in fall.units.items()},
            )
            settled = None
            if compaction is not None:
                strain, _ = compaction.load(heads)
                shortening = (strain * compaction.thickness).sum(axis=0)
                settled = _spread(shortening, columns, run.area.size)
            use = assessor.use(assessor.measures(spread, settled, lost[step]))
            most = np.fmax(most, use)
            now = np.nan_to_num(use, nan=0.0, posinf=1e9)
            over = np.isnan(day) & (now > HELD)
            share = np.clip((1.0 - used[over]) / (now[over] - used[over]), 0.0, 1.0)
            day[over] = last + share * (ends - last)
            stage[over] = phase.stage - 1
            last, used = ends, now
    return Exceedance(day, stage, most, last)


def _spread(values: Floats, columns: Ints, count: int) -> Floats:
    """Values of some plan cells as a field (count,), NaN elsewhere."""
    field = np.full(count, np.nan)
    field[columns] = values
    return field
