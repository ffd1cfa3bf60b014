"""Does a sump keep up: what comes to it in a stage against what its pumps take."""

from __future__ import annotations

from dataclasses import dataclass

from wellring.inputs.site.drainage import Sump
from wellring.postprocess.run.inflow import Inflow
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import DESCRIPTION_FILE, RunFolder


@dataclass(frozen=True)
class SumpLoad:
    """Water that comes to the sumps of one stage and what all their pumps take [m³/s]."""

    flow: float
    capacity: float

    @property
    def floods(self) -> bool:
        """Whether more comes than is pumped, so that the pit fills."""
        return self.flow > self.capacity


def sump_capacity(run: RunFolder) -> float | None:
    """What all sumps of the scheme take [m³/s]; None without a sump or where one is not limited."""
    if not (run.path / DESCRIPTION_FILE).is_file() or run.scheme is None:
        return None
    given = [table.pump_capacity for table in run.scheme.drainage if isinstance(table, Sump)]
    limits = [capacity for capacity in given if capacity is not None]
    return sum(limits) if limits and len(limits) == len(given) else None


def sump_load(run: RunFolder, stage: StageEntry, flows: Inflow) -> SumpLoad | None:
    """The load of the sumps in a stage; None where nothing limits them.

    Relief wells flow onto the floor, so that the sump takes their water too.
    """
    capacity = sump_capacity(run)
    if capacity is None:
        return None
    number = run.ledger.stages.index(stage)
    relieved = sum(
        max(well.flow[number], 0.0) for well in run.ledger.wells if well.method == "relief wells"
    )
    return SumpLoad(flows.excavation + relieved, capacity)
