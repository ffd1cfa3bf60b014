"""How much wall a scheme has: what its price is paid for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from wellring.inputs.site.walls import Wall
from wellring.postprocess.run.ledger import WallEntry
from wellring.postprocess.run.run_folder import RunFolder

STEP = 0.5
"""Distance [m] at which a wall's height is read along its line."""


@dataclass(frozen=True)
class WallArea:
    """A wall's area [m²] from its top, or the ground, to its toe, and the stage it comes in.

    `price` of one m², None where none is given; `stage` counts from 1.
    """

    name: str
    area: float
    price: float | None
    stage: int


def walls_of(run: RunFolder) -> Iterator[tuple[WallEntry, Wall | None]]:
    """Walls of the ledger, each with its table of the site file."""
    own = run.scheme.walls if run.scheme is not None else None
    given = run.description.walls if own is None else own
    known = len(given) == len(run.ledger.walls)
    for index, entry in enumerate(run.ledger.walls):
        yield entry, given[index] if known else None


def wall_areas(run: RunFolder, ground: NDArray[np.float64]) -> list[WallArea]:
    """The walls that have a toe.

    Parameters
    ----------
    ground : (n,) its level in every plan cell [m].
    """
    names = [stage.name for stage in run.description.excavation.stages]
    found = []
    for entry, wall in walls_of(run):
        if wall is None or not wall.toes or wall.kind == "none":
            continue
        stage = names.index(wall.stage) + 1 if wall.stage in names else 1
        found.append(WallArea(entry.name, _area(run, entry, wall, ground), wall.price, stage))
    return found


def _area(run: RunFolder, entry: WallEntry, wall: Wall, ground: NDArray[np.float64]) -> float:
    line = LineString(entry.line)
    count = max(int(np.ceil(line.length / STEP)), 1)
    along = (np.arange(count) + 0.5) * line.length / count
    places: Any = line.interpolate(along)
    top = np.full(count, np.nan if wall.top is None else wall.top)
    if wall.top is None:
        cells = [run.plan_cell(place.x, place.y) for place in places]
        top = np.array([np.nan if cell is None else ground[cell] for cell in cells])
    corners = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(entry.line, axis=0).T))])
    height = top - np.interp(along, corners, wall.toe_at_corners(corners.size))
    if not np.isfinite(height).any():
        return 0.0
    return float(np.nanmean(np.maximum(height, 0.0))) * line.length
