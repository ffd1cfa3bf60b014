"""How a pit fills once its pumps have stopped: levels, volumes and the times that matter.

Read from the heads of every step. The pit's level is that of its volume, as in a basin: water that
runs in over a face spreads over the floor.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import MODEL, RunFolder, StageGrid
from wellring.postprocess.water.dryness import TIGHT

Floats = NDArray[np.float64]

FILM = 0.01
"""Depth of water [m] that counts: less of it is water on its way down through a cell."""


@dataclass(frozen=True)
class Flooding:
    """What the water does after the pumps stop; arrays over steps (m,), the first is the start.

    Parameters
    ----------
    hours : since the pumps stopped.
    under_floor : level of the highest water in the ground under the floor [m], at most formation
        while the floor is not wet; NaN where all of the floor is tight soil.
    volume : water in the pit [m³].
    pit_level : level that this volume stands at [m]; formation while there is none.
    inflow : into the pit [m³/s], mean of the step that ends there.
    formation, clearance : of the stage [m]; floor_area : of the pit's lowest cells [m²].
    """

    hours: Floats
    under_floor: Floats
    volume: Floats
    pit_level: Floats
    inflow: Floats
    formation: float
    clearance: float
    floor_area: float

    @property
    def water(self) -> Floats:
        """The highest water in or under the pit (m,) [m]."""
        wet = self.pit_level > self.formation + FILM
        return np.where(wet, np.fmax(self.pit_level, self.under_floor), self.under_floor)

    def to_clearance(self) -> float | None:
        """Hours until water stands the needed clearance below formation; None: not reached."""
        return self._first(self.water, self.formation - self.clearance)

    def to_formation(self) -> float | None:
        """Hours until water reaches formation from below, or a centimetre of it in the pit."""
        reached = [
            self._first(self.under_floor, self.formation - 1e-3),
            self._first(self.pit_level, self.formation + FILM),
        ]
        return min((hour for hour in reached if hour is not None), default=None)

    def to_depth(self, depth: float) -> float | None:
        """Hours until `depth` [m] of water stands in the pit."""
        return self._first(self.pit_level, self.formation + depth)

    def inflow_at(self, hour: float | None) -> float | None:
        """Inflow [m³/s] in the step in which `hour` lies."""
        if hour is None:
            return None
        step = min(int(np.searchsorted(self.hours, hour)), self.hours.size - 1)
        return float(self.inflow[max(step, 1)])

    def _first(self, values: Floats, level: float) -> float | None:
        """First time `values` reach `level`, on the straight line between two steps."""
        above = np.flatnonzero(values >= level)
        if not above.size:
            return None
        at = int(above[0])
        if at == 0 or not np.isfinite(values[at - 1]):
            return float(self.hours[at])
        share = (level - values[at - 1]) / (values[at] - values[at - 1])
        return float(self.hours[at - 1] + share * (self.hours[at] - self.hours[at - 1]))


@dataclass(frozen=True)
class Basin:
    """The pit as boxes: bottom and height [m] and plan area [m²] of each cell, all (c,)."""

    bottom: Floats
    height: Floats
    area: Floats

    def volume(self, heads: Floats) -> float:
        """Water in it [m³] for the heads (c,) of its cells [m]."""
        return float(np.sum(self.area * np.clip(heads - self.bottom, 0.0, self.height)))

    def levels(self, volumes: Floats, formation: float) -> Floats:
        """Level (m,) [m] at which each volume (m,) [m³] stands."""
        if not self.bottom.size:
            return np.full(volumes.shape, formation)
        known = np.unique(np.concatenate([self.bottom, self.bottom + self.height]))
        filled = np.zeros(known.size)
        for at, level in enumerate(known):
            filled[at] = np.sum(self.area * np.clip(level - self.bottom, 0.0, self.height))
        return np.asarray(np.interp(volumes, filled, known))


def read_flooding(run: RunFolder, stage: StageEntry, place: Path) -> Flooding:
    """Read the outage solved in `place` from a stage of a run.

    Parameters
    ----------
    run, stage : the steady stage in which the pumps stop.
    place : folder of the outage's MODFLOW 6 model.
    """
    from flopy.mf6.utils import MfGrdFile

    grid = run.grid_of(stage)
    file = MfGrdFile(str(place / f"{MODEL}.dis.grb"), verbose=False)
    open_water = (file.idomain.reshape(grid.active.shape) > 0) & ~grid.active
    layer, column = np.nonzero(open_water)
    basin = Basin(
        grid.bottom[layer, column],
        grid.top[layer, column] - grid.bottom[layer, column],
        run.area[column],
    )
    assert stage.formation is not None
    under = _UnderFloor(run, stage, grid)
    hours, table, volume = [0.0], [under.highest(run.heads(stage))], [0.0]
    for hour, heads in outage_heads(place, grid):
        hours.append(hour)
        table.append(under.highest(heads))
        volume.append(basin.volume(heads[layer, column]))
    amounts, when = np.array(volume), np.array(hours)
    inflow = np.zeros(when.size)
    inflow[1:] = np.diff(amounts) / (np.diff(when) * DAY / 24.0)
    return Flooding(
        hours=when,
        under_floor=np.array(table),
        volume=amounts,
        pit_level=basin.levels(amounts, stage.formation),
        inflow=inflow,
        formation=stage.formation,
        clearance=run.ledger.clearance,
        floor_area=float(run.area[np.unique(column)].sum()),
    )


def outage_heads(place: Path, grid: StageGrid) -> Iterator[tuple[float, Floats]]:
    """Hours and heads (nlay, n) [m] of every step of the outage in `place`; NaN where left out."""
    from flopy.utils import HeadFile

    with HeadFile(str(place / f"{MODEL}.hds"), precision="double") as file:
        for time in file.get_times():
            heads = file.get_data(totim=time).reshape(grid.active.shape)
            yield time * 24.0, np.where(np.abs(heads) < 1e20, heads, np.nan)


class _UnderFloor:
    """The highest water in the ground under a stage's floor, tight columns left out."""

    def __init__(self, run: RunFolder, stage: StageEntry, grid: StageGrid):
        plan = np.asarray(stage.floor, dtype=np.intp)
        kv = np.array([run.ledger.soils[unit.soil].kv for unit in run.ledger.units])
        first = np.argmax(grid.active[:, plan], axis=0)
        self.plan = plan[kv[run.unit[first, plan]] >= TIGHT]
        self.active = grid.active[:, self.plan]
        self.bottom = grid.bottom[:, self.plan]
        self.floor = grid.edges[-1][self.plan]

    def highest(self, heads: Floats) -> float:
        """Of heads (nlay, n) [m], NaN in cells left out; NaN where there is nothing to judge."""
        if not self.plan.size:
            return float("nan")
        under = heads[:, self.plan]
        with np.errstate(invalid="ignore"):
            wet = self.active & (under > self.bottom + FILM)
        layer = np.argmax(wet, axis=0)
        level = np.where(wet.any(axis=0), under[layer, np.arange(self.plan.size)], self.floor)
        return float(level.max())


def flooding_rows(flooding: Flooding) -> list[Sequence[float]]:
    """Rows of the table of steps, as :data:`COLUMNS` names them."""
    return [
        tuple(map(float, row))
        for row in zip(
            flooding.hours,
            flooding.under_floor,
            flooding.pit_level,
            np.maximum(flooding.pit_level - flooding.formation, 0.0),
            flooding.volume,
            flooding.inflow,
            strict=True,
        )
    ]


COLUMNS = (
    "hours",
    "highest_water_under_floor_m",
    "pit_level_m",
    "depth_in_pit_m",
    "volume_in_pit_m3",
    "inflow_m3_per_s",
)
