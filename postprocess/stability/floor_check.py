"""Does a floor hold under given heads: uplift of every plug and flotation of the slab on it.

The one judgement of stopped pumps: of the slab check and "pumps may stop" of a run, of every pump
that an outage takes out, and of every step after a power failure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import shown
from wellring.inputs.site.site import Slab
from wellring.postprocess.run.answer import HELD
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.floor_columns import FloorColumns, floor_columns
from wellring.postprocess.stability.flotation import SlabCheck, slab_check
from wellring.postprocess.stability.stability_rules import Rules
from wellring.postprocess.stability.uplift import Boundary, uplift
from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FloorCheck:
    """A floor under one state of the water.

    Parameters
    ----------
    plugs : the worst place of every soil boundary under a plug, the governing one first.
    slab : flotation of the slab; None where none is cast.
    complete : whether the head is known in every cell under the floor.
    """

    plugs: list[Boundary]
    slab: SlabCheck | None
    complete: bool

    @property
    def utilisation(self) -> float | None:
        """The largest of all plugs and the slab; None where neither is there."""
        parts = [item.utilisation for item in self.plugs[:1]]
        parts += [] if self.slab is None else [self.slab.utilisation]
        return max(parts, default=None)

    @property
    def holds(self) -> bool | None:
        """Whether every plug and the slab hold; None where that is not judged.

        A floor that no plug lies under has nothing that could be lifted as a block: it holds.
        """
        used = self.utilisation
        if used is not None and used > HELD:
            return False
        return True if self.complete else None

    @property
    def plug(self) -> Boundary | None:
        """The plug that governs; None where there is none."""
        return self.plugs[0] if self.plugs else None

    def text(self, run: RunFolder) -> str:
        """The worst part with its head, allowable head, factor and utilisation, in words."""
        level = shown("level", run.ledger.show)
        parts = [
            (
                item.utilisation,
                f"plug of {run.ledger.units[item.upper].label} over "
                f"{run.ledger.units[item.lower].label}",
                item,
            )
            for item in self.plugs[:1]
        ] + ([] if self.slab is None else [(self.slab.utilisation, "slab (flotation)", self.slab)])
        if not parts:
            return "no slab and no plug under the floor"
        used, name, item = max(parts, key=lambda part: part[0])
        factor = (
            "no water pressure" if item.factor is None else f"factor of safety {item.factor:.2f}"
        )
        return (
            f"{name}: head {level.text(item.head)}, allowable head "
            f"{level.text(item.head_allowed)}, {factor}, utilisation {used:.2f}"
        )


def check_floor(
    run: RunFolder, result: StageResult, heads: Floats, rules: Rules, slab: Slab | None,
    *, lightest: FloorColumns | None = None, under_slab: float = -np.inf,
) -> FloorCheck:  # fmt: skip
    """Judge a stage's floor under other heads than its own.

    Tension piles count for the slab alone: how deep they are anchored is not known, so that they
    are not taken to hold the plug down. Water in the pit is not counted as load on a plug.

    Parameters
    ----------
    result : the stage: its grid, floor and formation.
    heads : (nlay, n) [m], NaN in cells left out.
    slab : the slab that stands, if any.
    lightest : columns of another state of the water; at each boundary the smaller of the two
        weights counts, since ground need not be wet again when the pressure beneath it is back.
    under_slab : head [m] that acts under the slab even where `heads` are lower there.
    """
    columns = floor_columns(run, result.with_heads(heads), slab.weight if slab else 0.0)
    if lightest is not None:
        columns = replace(columns, stress=np.minimum(columns.stress, lightest.stress))
    return FloorCheck(
        uplift(columns, rules, columns.plugged).boundaries,
        slab_check(run, columns, columns.heads, slab, rules, under_slab) if slab else None,
        bool(np.isfinite(columns.heads[columns.active]).all()),
    )
