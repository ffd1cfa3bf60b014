"""Maps of chance: in how many cases drawdown or settlement exceeds a depth, cell by cell."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.geodata.crs import SiteCrs
from wellring.model.studies.unsolved_run import unsolved_run
from wellring.postprocess.gis.rasters import Quantity, write_plan_field
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import RunFolder

if TYPE_CHECKING:
    from wellring.model.studies.vary.vary import Varied

Floats = NDArray[np.float64]


def exceeded_share(fields: Iterable[NDArray[np.float32]], beyond: float) -> Floats | None:
    """Share of the cases (stages, n) in which a field is above `beyond`; NaN where none has one.

    Fields are read one at a time, so that memory does not grow with their number.
    """
    above: Floats | None = None
    counted: Floats | None = None
    for field in fields:
        known = np.isfinite(field)
        if above is None or counted is None:
            above, counted = np.zeros(field.shape), np.zeros(field.shape)
        above += np.where(known, field > beyond, False)
        counted += known
    if above is None or counted is None:
        return None
    return np.where(counted > 0, above / np.maximum(counted, 1), np.nan)


@dataclass(frozen=True)
class ChanceMaps:
    """Shares of the cases (stages, n) beyond a depth [m], by what is mapped.

    `run` knows the grid and the stages; nothing of it was solved, and it has no folder.
    """

    run: RunFolder
    modelled: NDArray[np.bool_]
    beyond: dict[str, float]
    shares: dict[str, Floats]

    def of_stages(self, name: str) -> list[tuple[StageEntry, Floats]]:
        """Each stage with its share (n,), NaN outside the model."""
        return [
            (entry, np.where(self.modelled, share, np.nan))
            for entry, share in zip(self.run.ledger.stages, self.shares[name], strict=True)
        ]


def chance_maps(done: Varied) -> ChanceMaps:
    """The chances of all mapped depths, in every stage."""
    layout = done.study.base.schemes[done.scheme].layout
    run = unsolved_run(layout, done.study.folder)
    shares = {}
    for name, beyond in done.plan.beyond.items():
        found = exceeded_share(done.study.store.fields_of(done.variants, name), beyond)
        if found is not None:
            shares[name] = found
    return ChanceMaps(run, layout.frame.modelled, done.plan.beyond, shares)


def write_chance_maps(maps: ChanceMaps, crs: SiteCrs, folder: Path) -> list[Path]:
    """GeoTIFFs of the chance [0 to 1] that each mapped depth is exceeded, for every stage."""
    folder.mkdir(exist_ok=True)
    written: list[Path] = []
    for name in maps.shares:
        quantity = Quantity(
            f"chance_{name}", f"share of cases with more than {maps.beyond[name]:g} m {name}",
            False, "1",
        )  # fmt: skip
        for entry, field in maps.of_stages(name):
            written += write_plan_field(maps.run, entry, field, quantity, folder, crs)
    return written
