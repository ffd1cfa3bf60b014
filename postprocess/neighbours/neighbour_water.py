"""What the lowered water takes from neighbours: wells, streams, and wood piles under buildings."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.inputs.geodata.receptors import Receptors
from wellring.postprocess.run.heads import Drawdowns, unit_head
from wellring.postprocess.run.run_folder import RunFolder, StageGrid

if TYPE_CHECKING:
    from wellring.postprocess.run.ledger import BoundaryEntry, PhaseEntry
    from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

NEAR_STREAM = 50.0
"""A stream without the name of its boundary is the river that acts this near to it [m] (common
practice, no source)."""


class NeighbourWater:
    """Wells, streams and wood piles of a run; arrays (n,) over all features, NaN for others.

    Parameters
    ----------
    cell : (n,) plan cell of one point of each feature, -1 outside the grid.

    `notes` says what could not be judged.
    """

    def __init__(
        self,
        run: RunFolder,
        results: Sequence[StageResult],
        receptors: Receptors,
        cell: Ints,
    ):
        self.run, self.results, self.receptors, self.cell = run, results, receptors, cell
        self.notes: list[str] = []
        self.count = len(receptors)
        self.wells = receptors.is_kind("well") & (cell >= 0)
        self.bottom = self._bottoms()
        self.unit = self._aquifers()
        self.rest = self._rest_levels()
        self.streams = self._streams()

    def well_falls(self, fall: Drawdowns) -> Floats:
        """Fall (n,) [m] of the head in the layer each well draws from."""
        found = np.full(self.count, np.nan)
        for index, entry in enumerate(self.run.ledger.units):
            own = self.wells & (self.unit == index)
            if own.any():
                found[own] = fall.units[entry.label][self.cell[own]]
        return found

    def measures(self, found: dict[str, Floats], depletion: Floats) -> dict[str, Floats]:
        """Measures beside those in `found`, where streams lose `depletion` (n,) [m³/s].

        `available`: water above a well's pump, or bottom, less what its own pumping needs [m];
        `depletion`: flow a stream loses [m³/s]; `share`: of a well's available water, or of a
        stream's flow; `table_fall_allowed` and `..._used` [m]: how far the water table may fall,
        and falls, over wood piles; `pile_cover` [m]: what is left over their heads.
        """
        item = self.receptors.numbers
        lowest = np.where(np.isnan(item["pump_level"]), self.bottom, item["pump_level"])
        available = self.rest - lowest - np.nan_to_num(item["own_drawdown"])
        available = np.where(self.wells, np.maximum(available, 0.0), np.nan)
        with np.errstate(divide="ignore", invalid="ignore"):
            taken = np.where(available > 0, found["drawdown_most"] / available, np.inf)
            share = np.where(np.isfinite(available), taken, depletion / item["flow"])
        piles = (self.receptors.texts["foundation"] == "wood piles") & ~np.isnan(item["pile_head"])
        needed = item["pile_head"] + np.nan_to_num(item["limit_cover"])
        fall, after = found["table_fall"], found["table_lowest"]
        allowed = np.maximum(after + fall - needed, 0.0)
        return {
            "available": available,
            "depletion": depletion,
            "share": share,
            "table_fall_allowed": np.where(piles, allowed, np.nan),
            "table_fall_allowed_used": np.where(piles, fall, np.nan),
            "pile_cover": np.where(piles, after - item["pile_head"], np.nan),
        }

    def _bottoms(self) -> Floats:
        """Level (n,) of the wells' bottoms; a depth counts from the ground of their cell."""
        item = self.receptors.numbers
        ground = self.results[0].grid.edges[0][np.maximum(self.cell, 0)]
        return np.where(np.isnan(item["bottom"]), ground - item["depth"], item["bottom"])

    def _aquifers(self) -> Ints:
        """Unit (n,) a well draws from: the most transmissive it passes below the water table.

        -1 where the well's bottom is not known, or it reaches no water.
        """
        found = np.full(self.count, -1)
        known = np.flatnonzero(self.wells & np.isfinite(self.bottom))
        if not known.size:
            return found
        grid, cell = self.results[0].grid, self.cell[known]
        top = np.minimum(grid.top[:, cell], self.results[0].table[cell])
        wet = np.clip(top - np.maximum(grid.bottom[:, cell], self.bottom[known]), 0.0, None)
        wet = np.where(grid.active[:, cell], np.nan_to_num(wet), 0.0)
        unit = self.run.unit[:, cell]
        kh = np.array([self.run.ledger.soils[entry.soil].kh for entry in self.run.ledger.units])
        carries = np.stack(
            [np.where(unit == i, wet, 0.0).sum(axis=0) * k for i, k in enumerate(kh)]
        )
        found[known] = np.where(carries.max(axis=0) > 0, np.argmax(carries, axis=0), -1)
        return found

    def _rest_levels(self) -> Floats:
        """Natural level (n,) [m] in each well's own layer, else the natural water table."""
        natural = self.results[0]
        found = np.where(self.wells, natural.table[np.maximum(self.cell, 0)], np.nan)
        for index in np.unique(self.unit[self.unit >= 0]):
            own = self.unit == index
            cell = self.cell[own]
            grid = StageGrid(natural.grid.edges[:, cell], natural.grid.active[:, cell])
            found[own] = unit_head(grid, natural.heads[:, cell], self.run.unit[:, cell], int(index))
        return found

    def _streams(self) -> dict[int, list[BoundaryEntry]]:
        """The river boundaries of each stream, by the stream's place among the features."""
        rivers = [entry for entry in self.run.ledger.boundaries if entry.kind == "river"]
        named: dict[str, list[BoundaryEntry]] = {}
        for entry in rivers:  # the builder numbers boundaries after the name that the user gave
            for called in {entry.name, re.sub(r" \d+$", "", entry.name)}:
                named.setdefault(called, []).append(entry)
        found: dict[int, list[BoundaryEntry]] = {}
        for place in np.flatnonzero(self.receptors.is_kind("surface_water")):
            asked = self.receptors.texts["boundary"][place]
            name = asked or self.receptors.name[place]
            if name in named:
                found[int(place)] = named[name]
            elif not asked:
                near = [entry for entry in rivers if self._near(int(place), entry)]
                if len(near) == 1:
                    found[int(place)] = near
            if int(place) not in found:
                why = f"no river boundary is called '{asked}'" if asked else (
                    "no single river boundary lies along it"
                )  # fmt: skip
                self.notes.append(
                    f"the flow that '{self.receptors.name[place]}' loses is not told: {why}; give "
                    "its boundary attribute, or model it as a [[water.boundary]] river"
                )
        return found

    def _near(self, place: int, entry: BoundaryEntry) -> bool:
        cells = np.unique(np.asarray(entry.nodes, dtype=np.intp) % self.run.area.size)
        if not cells.size:
            return False
        x, y = (centres[cells] for centres in self.run.centres)
        gap = shapely.distance(self.receptors.shapes[place], shapely.points(x, y))
        return bool(gap.min() <= NEAR_STREAM)

    def depletion(self, number: int) -> Floats:
        """Flow (n,) [m³/s] that each stream gives more, or gets less, in stage `number`."""
        return self._given(number) - self._given(0)

    def depletion_in_time(self, phase: PhaseEntry) -> Floats:
        """The same (m, n) at every step of a phase, against the natural state."""
        day, rates = self.run.budget_in_time(phase)
        found = np.full((day.size, self.count), np.nan)
        for place, entries in self.streams.items():
            names = [entry.package.upper() for entry in entries]
            found[:, place] = sum(rates[f"{name}_IN"] - rates[f"{name}_OUT"] for name in names)
        return found - self._given(0)

    def _given(self, number: int) -> Floats:
        """Flow (n,) [m³/s] that each stream gives the ground in a stage."""
        found = np.full(self.count, np.nan)
        for place, entries in self.streams.items():
            found[place] = sum(
                float(self.run.package_flows(self.results[number].entry, entry.package)[1].sum())
                for entry in entries
            )
        return found
