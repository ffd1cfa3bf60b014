"""Is every stage dry: how far the water stands below formation, and where least."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.heads import saturated
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import RunFolder, StageGrid

Floats = NDArray[np.float64]

TIGHT = 1e-7
"""kv [m/s] below which a floor holds its pore water for good: there the clearance is not judged
by the water table but the floor counts as tight (common practice, no source)."""


@dataclass(frozen=True)
class Dryness:
    """How dry one stage's floor is.

    Parameters
    ----------
    margin : least depth of the water below formation over the floor [m]; None where all of the
        floor is tight. Negative: water stands above formation.
    needed : the clearance asked [m].
    x, y : where the margin is least, site coordinates [m].
    level : the water's level there [m].
    tight_share : part of the floor's area in soil too tight to judge.
    depth_below : (m,) water's depth below formation under each floor cell [m], NaN where tight.
    plan : (m,) plan cells of the floor.
    """

    margin: float | None
    needed: float
    x: float | None
    y: float | None
    level: float | None
    tight_share: float
    depth_below: Floats
    plan: NDArray[np.intp]

    @property
    def dry(self) -> bool | None:
        """Whether the clearance is kept everywhere it can be judged; None where nowhere."""
        return None if self.margin is None else self.margin >= self.needed - 1e-3


def dryness(run: RunFolder, stage: StageEntry, grid: StageGrid, heads: Floats) -> Dryness:
    """Judge one stage by its heads (nlay, n) [m].

    Under each floor cell the level of the uppermost water is compared with formation. Where the
    soil at formation is tighter than :data:`TIGHT` the column is left out and its share told:
    such a floor is a matter of base stability, not of drainage.
    """
    plan = np.asarray(stage.floor, dtype=np.intp)
    kv = np.array([run.ledger.soils[unit.soil].kv for unit in run.ledger.units])
    first = np.argmax(grid.active[:, plan], axis=0)
    tight = kv[run.unit[first, plan]] < TIGHT
    wet = saturated(StageGrid(grid.edges[:, plan], grid.active[:, plan]), heads[:, plan])
    layer = np.argmax(wet, axis=0)
    level = np.where(wet.any(axis=0), heads[layer, plan], grid.edges[-1][plan])
    assert stage.formation is not None
    below = np.where(tight, np.nan, stage.formation - level)
    area = run.area[plan]
    share = float(area[tight].sum() / max(area.sum(), 1e-12))
    if np.isnan(below).all():
        return Dryness(None, run.ledger.clearance, None, None, None, share, below, plan)
    worst = int(np.nanargmin(below))
    x, y = run.centres
    return Dryness(
        margin=float(below[worst]),
        needed=run.ledger.clearance,
        x=float(x[plan[worst]]),
        y=float(y[plan[worst]]),
        level=float(level[worst]),
        tight_share=share,
        depth_below=below,
        plan=plan,
    )
