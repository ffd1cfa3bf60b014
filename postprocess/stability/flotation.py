"""Flotation of a cast slab: what holds it down against the water under it, with pumps and without.

Per area of the whole floor (a rigid slab): EN 1997-1 UPL, γ_G;dst·u ≤ γ_G;stb·W + T/γ_s;t, or a
global factor, W + T ≥ F·u; u = γ_w·(h − formation) on the underside, which lies at formation.
With the pumps on, the head is the model's under the floor, which stays drained below the slab;
without, it is that of the natural state at formation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import WATER_UNIT_WEIGHT
from wellring.inputs.site.site import Slab
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.floor_columns import FloorColumns
from wellring.postprocess.stability.stability_rules import Rules
from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SlabCheck:
    """One slab against one state of the water; pressures [Pa] are means over the floor.

    Parameters
    ----------
    slab : what holds it down, without factors.
    held : the greatest pressure that the rules permit under it [Pa].
    pressure : the water's [Pa].
    head : mean head on the underside [m]; head_allowed : that at which the rules just hold.
    """

    slab: Slab
    held: float
    pressure: float
    head: float
    head_allowed: float

    @property
    def utilisation(self) -> float:
        """Up to 1 it holds."""
        if self.held <= 0:
            return 99.0 if self.pressure > 0 else 0.0
        return self.pressure / self.held

    @property
    def factor(self) -> float | None:
        """Weight and tension over water pressure; None where there is no pressure."""
        total = self.slab.weight + self.slab.tension
        return total / self.pressure if self.pressure > 0 else None


def slab_check(
    run: RunFolder, columns: FloorColumns, heads: Floats, slab: Slab, rules: Rules,
    at_least: float = -np.inf,
) -> SlabCheck:  # fmt: skip
    """Check a slab against heads (nlay, m) [m] under the floor's columns.

    Parameters
    ----------
    at_least : head [m] that acts on the underside even where `heads` are lower there.
    """
    formation, area = columns.formation, run.area[columns.plan]
    under = heads[columns.first, np.arange(columns.plan.size)]
    under = np.maximum(np.nan_to_num(under, nan=formation), at_least)
    pressure = WATER_UNIT_WEIGHT * np.maximum(under - formation, 0.0)
    held = rules.slab_held(slab.weight, slab.tension)
    return SlabCheck(
        slab,
        held,
        float(np.average(pressure, weights=area)),
        float(np.average(under, weights=area)),
        formation + held / WATER_UNIT_WEIGHT,
    )


@dataclass(frozen=True)
class Flotation:
    """Flotation of one stage's slab with its pumps and with the natural water.

    `pumped` says whether any point of the scheme works in this stage.
    """

    with_pumps: SlabCheck
    without: SlabCheck
    pumped: bool

    @property
    def now(self) -> SlabCheck:
        """Of the stage as it is: with its pumps, or without where none works any more."""
        return self.with_pumps if self.pumped else self.without


def flotation(
    run: RunFolder, natural: Floats, result: StageResult, columns: FloorColumns, slab: Slab,
    rules: Rules,
) -> Flotation:  # fmt: skip
    """Check one stage's slab; `natural` are the heads (nlay, m) [m] before the work."""
    number = run.ledger.stages.index(result.entry)
    wells = run.ledger.wells
    return Flotation(
        slab_check(run, columns, columns.heads, slab, rules),
        slab_check(run, columns, natural, slab, rules),
        not wells or any(well.governing[number] != "not used" for well in wells),
    )
