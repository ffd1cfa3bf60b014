"""Which points of a run belong to which drainage table of the site file, and when they run."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.site.drainage import Drainage, Sump
from wellring.postprocess.run.ledger import WellEntry
from wellring.postprocess.run.run_folder import RunFolder

Floats = NDArray[np.float64]

TRICKLE = 1e-6
"""Flow [m³/s] below which a pump is taken to stand still (3.6 L/h)."""


@dataclass(frozen=True)
class DrainageGroup:
    """All points of one drainage table, in their order along ring or line."""

    label: str
    table: Drainage
    wells: list[WellEntry]

    @property
    def places(self) -> Floats:
        """Site positions (n, 2) [m]."""
        return np.array([(well.x, well.y) for well in self.wells])

    def flow(self, stage: int) -> Floats:
        """Flows (n,) [m³/s] in a stage of the ledger, positive out of the ground."""
        return np.array([well.flow[stage] for well in self.wells])

    def stands(self, stage: int) -> bool:
        """Whether these points are there in a stage."""
        return any(well.governing[stage] != "not used" for well in self.wells)


def drainage_groups(run: RunFolder) -> list[DrainageGroup]:
    """Points by table. A table's points are numbered from 1 on, table after table."""
    if run.scheme is None:
        return []
    tables = [table for table in run.scheme.drainage if not isinstance(table, Sump)]
    parted: list[list[WellEntry]] = []
    labels: list[str] = []
    for well in run.ledger.wells:
        label, number = re.fullmatch(r"(.*) (\d+)", well.name, re.DOTALL).groups()  # type: ignore[union-attr]
        if number == "1" or not parted:
            parted.append([])
            labels.append(label)
        parted[-1].append(well)
    return [
        DrainageGroup(label, table, wells)
        for label, table, wells in zip(labels, tables, parted, strict=True)
    ]


def sump_of(run: RunFolder) -> Sump | None:
    """The scheme's sump, if it has one."""
    tables = run.scheme.drainage if run.scheme is not None else ()
    return next((table for table in tables if isinstance(table, Sump)), None)
