"""The estimate on one sheet of paper that stands beside the model's inflow.

The pit is taken as one large well in horizontal layers: Q = 2π·(Φ(H) − Φ(h)) / ln(R/r_e) with
Girinskii's potential Φ(h) = ∫ k(z)·(h − z) dz from the aquifer's base to h (Girinskii 1946), which
is Dupuit's formula in one layer and Thiem's where the layer stays full.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from wellring.postprocess.run.heads import water_table
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import RunFolder


@dataclass(frozen=True)
class ClosedForm:
    """Equivalent-well estimate of one stage: flow [m³/s] and what went into it (SI)."""

    flow: float
    radius: float
    source: float
    natural: float
    lowered: float
    base: float
    differs: tuple[str, ...]


def girinskii(
    level: float, tops: np.ndarray, bottoms: np.ndarray, k: np.ndarray, base: float
) -> float:
    """Φ(level) = ∫ k·(level − z) dz [m³/s] over the layers between `base` and `level`.

    `tops` and `bottoms` [m] and `k` [m/s] are of the layers (n,).

    >>> round(girinskii(10.0, np.array([20.0]), np.array([0.0]), np.array([1e-4]), 0.0), 6)
    0.005
    """
    high = np.clip(tops, base, level)
    low = np.clip(bottoms, base, level)
    return float(np.sum(k * 0.5 * ((level - low) ** 2 - (level - high) ** 2)))


def closed_form(run: RunFolder, stage: StageEntry) -> ClosedForm | None:
    """The estimate for lowering the water to the clearance under formation; None if not needed.

    The aquifer's base is the top of the first unit below that level which is at least 100 times
    tighter than the best unit above it, or the model floor.
    """
    ledger = run.ledger
    natural_stage = ledger.stages[0]
    grid, heads = run.grid_of(natural_stage), run.heads(natural_stage)
    outline = shapely.Polygon(ledger.outline)
    place = run.plan_cell(outline.centroid.x, outline.centroid.y)
    if place is None or stage.formation is None:
        return None
    natural = float(water_table(grid, heads)[place])
    lowered = stage.formation - ledger.clearance
    if not np.isfinite(natural) or natural <= lowered:
        return None
    column = grid.active[:, place]
    tops, bottoms = grid.top[column, place], grid.bottom[column, place]
    soils = [ledger.soils[ledger.units[i].soil] for i in run.unit[column, place]]
    k = np.array([soil.kh for soil in soils])
    base, lowered = _base(tops, bottoms, k, natural, lowered)
    radius = float(np.sqrt(outline.area / np.pi))
    source = ledger.source_distance + radius
    rise = girinskii(natural, tops, bottoms, k, base) - girinskii(lowered, tops, bottoms, k, base)
    flow = 2 * np.pi * rise / np.log(source / radius)
    return ClosedForm(
        flow,
        radius,
        source,
        natural,
        lowered,
        base,
        tuple(_differences(run, stage, lowered, base, bottoms)),
    )


def _base(
    tops: np.ndarray, bottoms: np.ndarray, k: np.ndarray, natural: float, lowered: float
) -> tuple[float, float]:
    """Base of the aquifer the pit draws on, and the lowered level, not below that base."""
    best = float(k[bottoms < natural].max())
    tight = (tops <= lowered) & (k < best / 100)
    base = float(tops[tight].max()) if tight.any() else float(bottoms.min())
    return base, max(lowered, base)


def _differences(
    run: RunFolder, stage: StageEntry, lowered: float, base: float, bottoms: np.ndarray
) -> list[str]:
    """Why the model's inflow is not the closed form's, as far as the ledger tells."""
    reasons = []
    number = [entry.folder for entry in run.ledger.stages].index(stage.folder)
    levels = [well.level[number] for well in run.ledger.wells]
    lowest = min((level for level in levels if level is not None), default=lowered)
    if lowest < lowered - 0.5:
        reasons.append(
            f"it lowers the water only to the clearance; the wells are drawn to {lowest:.2f} m"
        )
    if any(wall.holds_water for wall in run.ledger.walls):
        reasons.append("it has no wall: a wall lengthens or cuts the water's path")
    if any(entry.kind == "river" for entry in run.ledger.boundaries):
        reasons.append("it has no river: a river nearer than the assumed source gives more")
    if base > bottoms.min() + 0.1:
        reasons.append("it leaves out what rises through the tight layer below")
    if len(run.ledger.units) > 1:
        reasons.append("it takes the layers as level, as at the pit's centre")
    reasons.append(
        "it takes the pit as round and drained to one level; wells and floor draw otherwise"
    )
    return reasons
