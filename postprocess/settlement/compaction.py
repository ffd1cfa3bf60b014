"""The strain of every cell through a sequence of heads, from the natural state on."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.run_folder import RunFolder, StageGrid
from wellring.postprocess.settlement.compressibility import Laws, laws_of
from wellring.postprocess.settlement.consolidation import SLOW
from wellring.postprocess.settlement.effective_stress import Weights, effective_stress, wet_depth

Floats = NDArray[np.float64]


class Compaction:
    """Follows the strain of every cell through a sequence of heads, from the natural state on.

    The natural columns carry all stresses: outside the pit nothing is dug away.

    Parameters
    ----------
    grid, heads : the natural state; heads (nlay, n) [m] of all plan cells.
    columns : plan cells to follow, all where None; fields are over these only.
    """

    def __init__(
        self,
        run: RunFolder,
        grid: StageGrid,
        heads: Floats,
        columns: NDArray[np.intp] | None = None,
    ):
        self._columns = columns
        if columns is not None:
            grid = StageGrid(grid.edges[:, columns], grid.active[:, columns])
        self.grid, self.unit = grid, self._own(run.unit)
        heads = self._own(heads)
        self.laws: Laws = laws_of(run)
        self.weights = Weights.of(run)
        self.thickness = np.where(grid.active, grid.top - grid.bottom, 0.0)
        self.initial = effective_stress(grid, heads, self.unit, self.weights)
        self._bears = self.laws.preconsolidation(self.unit, self.initial)
        self._highest = self._bears.copy()
        self._labels = [unit.label for unit in run.ledger.units]
        slow = (self.laws.kv < SLOW) | ~np.isnan(self.laws.cv)
        self.slow = slow[self.unit] & grid.active
        """Cells whose consolidation takes time."""
        self._tight_and_full = self.slow & self._full(heads)

    def _own(self, field: NDArray[Any]) -> NDArray[Any]:
        return field if self._columns is None else field[:, self._columns]

    def _full(self, heads: Floats, share: float = 0.999) -> NDArray[np.bool_]:
        return wet_depth(self.grid, heads) >= share * self.thickness

    def load(self, heads: Floats) -> tuple[Floats, Floats]:
        """Strain and change of effective stress [Pa] (nlay, columns) since the natural state.

        `heads` (nlay, n) [m] are of all plan cells.
        """
        now = effective_stress(self.grid, self._own(heads), self.unit, self.weights)
        np.maximum(self._highest, now, out=self._highest)
        strain = self.laws.strain(self.unit, self.initial, now, self._bears, self._highest)
        now -= self.initial
        return np.where(self.grid.active, strain, 0.0), now

    def by_unit(self, shortening: Floats) -> dict[str, Floats]:
        """Sum (columns,) over the cells of each unit of a field (nlay, columns) [m]."""
        return {
            label: np.where(self.unit == index, shortening, 0.0).sum(axis=0)
            for index, label in enumerate(self._labels)
        }

    def not_counted(self, change: Floats, outside: NDArray[np.bool_]) -> dict[str, float]:
        """Largest change of stress [Pa] outside the pit of each unit that has no law.

        `change` (nlay, columns) [Pa] and `outside` (columns,) are of the columns followed.
        """
        found = {}
        for index in np.flatnonzero(~self.laws.counted):
            cells = (self.unit == index) & self.grid.active & outside
            found[self._labels[index]] = float(change[cells].max(initial=0.0))
        return found

    def drained(self, heads: Floats, outside: NDArray[np.bool_]) -> tuple[str, ...]:
        """Tight units, full before, of which some cell has lost a tenth of its water or more.

        `heads` (nlay, n) [m] are of all plan cells, `outside` (columns,) of those followed.
        """
        return self._units_of(self._tight_and_full & outside & ~self._full(self._own(heads), 0.9))

    def afloat(self, outside: NDArray[np.bool_]) -> tuple[str, ...]:
        """Units whose initial effective stress is not positive in some cell.

        Only columns that are `outside` (columns,) the pit count.
        """
        return self._units_of(self.grid.active & outside & (self.initial <= 0.0))

    def _units_of(self, cells: NDArray[np.bool_]) -> tuple[str, ...]:
        return tuple(self._labels[index] for index in np.unique(self.unit[cells]))
