"""Points that hang on a header or on supply and return: drawn one by one, named once a row."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from wellring.inputs.site.drainage import Wellpoints
from wellring.postprocess.figures.labels import LabelPlacer
from wellring.postprocess.figures.method_marks import mark_of
from wellring.postprocess.figures.style import Scales, plain
from wellring.postprocess.run.ledger import WellEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.water.drainage_groups import DrainageGroup, drainage_groups

Floats = NDArray[np.float64]
SPOTS = 24
"""Points of a row beside which its name is tried."""


def pipe_rows(run: RunFolder) -> list[DrainageGroup]:
    """The groups whose points hang on pipes."""
    return [group for group in drainage_groups(run) if mark_of(group.table.method).pipes]


def at_work(wells: Sequence[WellEntry], stage: int) -> NDArray[np.bool_]:
    """Flags (wells,): which points take or give water in a stage of the ledger.

    All do where nothing was solved.
    """
    solved = any(level is not None for well in wells for level in well.level)
    return np.array([not solved or runs(well, stage) for well in wells], dtype=bool)


def runs(well: WellEntry, stage: int) -> bool:
    """Whether a point takes or gives water in a stage of the ledger."""
    return well.level[stage] is not None and abs(well.flow[stage]) > 1e-9


def name_rows(
    rows: list[DrainageGroup],
    scales: Scales,
    placer: LabelPlacer,
    window: BaseGeometry,
    middle: tuple[float, float],
    stage: int,
) -> None:
    """Name each row once on a plan, with the flow of all its points in stage number `stage`."""
    for row in rows:
        at = scales.crs(row.places)
        seen = at[shapely.contains_xy(window, at)]
        if not len(seen):
            continue
        text = f"{plain(row.label, 24)} ({len(row.wells)} points)"
        if any(runs(well, stage) for well in row.wells):
            text += f"\n{scales.amount(float(row.flow(stage).sum()))}"
        tried = seen[np.unique(np.linspace(0, len(seen) - 1, SPOTS).astype(int))]
        for spot in tried:
            if placer.place(tuple(spot), text, 6.3, away_from=middle):
                break
        else:
            placer.place(tuple(tried[0]), text, 6.3, away_from=middle, must=True)


def header_of(row: DrainageGroup) -> float | None:
    """Level [m] of the header that a row hangs on; None where it stands at the ground."""
    return row.table.header if isinstance(row.table, Wellpoints) else None


def heads_of_rows(
    seen: list[tuple[DrainageGroup, float, float]], width: float
) -> list[tuple[float, float, str]]:
    """Names of rows over a section: one for all points that come within `width` of each other.

    Parameters
    ----------
    seen : row, distance and level of each point that is drawn (shown units).
    """
    heads = []
    for row in {id(row): row for row, _, _ in seen}.values():
        own = sorted((s, level) for other, s, level in seen if other is row)
        s = np.array([at for at, _ in own])
        for part in np.split(np.arange(s.size), np.flatnonzero(np.diff(s) > width) + 1):
            level = max(own[index][1] for index in part)
            name = plain(row.label, 22) + (f" ({part.size})" if part.size > 1 else "")
            heads.append((float(s[part].mean()), level, name))
    return heads
