"""Flotation of a cast slab: what holds it down against the water under it, with pumps and without.

Per area of the whole floor (a rigid slab): EN 1997-1 UPL, γ_G;dst·u ≤ γ_G;stb·W + T/γ_s;t, or a
global factor, W + T ≥ F·u; u = γ_w·(h − formation) on the underside, which lies at formation.
With the pumps on, the head is the model's under the floor, which stays drained below the slab;
without, it is that of the natural state at formation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wellring.inputs.site import Slab
from wellring.inputs.units import WATER_UNIT_WEIGHT
from wellring.postprocess.answer import HELD
from wellring.postprocess.floor_columns import FloorColumns
from wellring.postprocess.run_folder import RunFolder
from wellring.postprocess.stability_rules import Rules
from wellring.postprocess.stage_results import StageResult


@dataclass(frozen=True)
class Flotation:
    """Flotation of one stage's slab; pressures [Pa] are means over the floor.

    `head_allowed` [m] is the level to which the water may rise under the slab; `natural` [m] the
    mean natural level there; `pumped` whether any point of the scheme works in this stage.
    """

    slab: Slab
    held: float
    with_pumps: float
    without: float
    head_allowed: float
    natural: float
    pumped: bool

    @property
    def utilisation(self) -> float:
        """Of the stage as it is: with its pumps, or without where none works any more."""
        return self._used(self.with_pumps if self.pumped else self.without)

    @property
    def utilisation_without(self) -> float:
        """With all pumps stopped."""
        return self._used(self.without)

    @property
    def may_stop(self) -> bool:
        """Whether all pumps may stop."""
        return self.utilisation_without <= HELD

    def _used(self, pressure: float) -> float:
        return pressure / self.held if self.held > 0 else (99.0 if pressure > 0 else 0.0)


def flotation(
    run: RunFolder, natural: StageResult, result: StageResult, columns: FloorColumns,
    slab: Slab, rules: Rules,
) -> Flotation:  # fmt: skip
    """Check one stage's slab."""
    area, column = run.area[columns.plan], np.arange(columns.plan.size)
    first, formation = columns.first, columns.formation
    under = np.nan_to_num(columns.heads[first, column], nan=formation)
    before = np.nan_to_num(natural.heads[first, columns.plan], nan=formation)
    with_pumps, without = (
        float(np.average(WATER_UNIT_WEIGHT * np.maximum(h - formation, 0.0), weights=area))
        for h in (under, before)
    )
    number = run.ledger.stages.index(result.entry)
    held = rules.slab_held(slab.weight, slab.tension)
    wells = run.ledger.wells
    return Flotation(
        slab,
        held,
        with_pumps,
        without,
        formation + held / WATER_UNIT_WEIGHT,
        float(np.average(before, weights=area)),
        not wells or any(well.governing[number] != "not used" for well in wells),
    )
