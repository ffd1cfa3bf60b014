"""How a floor is judged when pumps stop: under heads that are solved, and in the end."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import MODEL, RunFolder
from wellring.postprocess.run.stage_flows import StageFlows
from wellring.postprocess.stability.floor_check import FloorCheck, check_floor
from wellring.postprocess.stability.pump_stop import pump_stop
from wellring.postprocess.stability.stability import FloorStability
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.sump_load import sump_capacity

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Judge:
    """A stage of a finished run, to judge other heads in it.

    Parameters
    ----------
    run, result, stable : the run, and the stage with its stability.
    """

    run: RunFolder
    result: StageResult
    stable: FloorStability

    def check(self, heads: Floats) -> FloorCheck:
        """The floor under the heads (nlay, n) [m] of a state that is solved."""
        return check_floor(
            self.run, self.result, heads, self.stable.rules, self.stable.slab,
            lightest=self.stable.columns,
        )  # fmt: skip

    def flooded(self, folder: Path, relieved: float) -> bool:
        """Whether more comes to the sump than its pumps take, in a stage solved in `folder`."""
        capacity = sump_capacity(self.run)
        if capacity is None:
            return False
        packages = StageFlows(folder / f"{MODEL}.bud").packages
        drained = -sum(
            float(flow.sum()) for name, (_, flow) in packages.items() if name.startswith("DRN_")
        )
        return drained + relieved > capacity


@dataclass(frozen=True)
class End:
    """The floor under what comes back in the end: the check, its verdict and the reason."""

    check: FloorCheck
    holds: bool | None
    text: str


def all_stop(
    run: RunFolder, results: list[StageResult], entry: StageEntry, stable: FloorStability
) -> End:
    """All pumps out for good: under a slab as in the run's own answer, the worst of its states."""
    found = pump_stop(run, results)
    states = next(
        (
            checks
            for checks in (found.stages if found is not None else [])
            if checks[0].result.entry is entry
        ),
        None,
    )
    if states is None:
        check = stable.recovered
        text = check.text(run) if check.complete else "a head under the floor is not known"
        return End(check, check.holds, text)
    order = {False: 0, None: 1, True: 2}
    worst = min(states, key=lambda item: order[item.holds])
    return End(worst.check, worst.holds, worst.text(run))
