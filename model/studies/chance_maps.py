"""Maps of chance: in how many cases drawdown or settlement exceeds a depth, cell by cell."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.model.grid_sizes import formations
from wellring.model.make_ledger import make_ledger
from wellring.model.stages import stage_folder_name
from wellring.postprocess.ledger import StageEntry
from wellring.postprocess.rasters import Quantity, write_plan_field
from wellring.postprocess.run_folder import RunFolder

if TYPE_CHECKING:
    from wellring.model.studies.vary import Varied

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


def write_chance_maps(done: Varied, folder: Path) -> list[Path]:
    """GeoTIFFs of the chance [0 to 1] that each mapped depth is exceeded, for every stage."""
    folder.mkdir(exist_ok=True)
    layout = done.study.base.schemes[done.scheme].layout
    stages = layout.site.description.excavation.stages
    entries = [
        StageEntry(
            name=stage.name,
            folder=stage_folder_name(index + 1, stage.name),
            formation=formation,
            day=None,
            lasts=None,
            floor=[],
            drains={},
            rung="",
            discrepancy=0.0,
            seconds=0.0,
        )
        for index, (stage, formation) in enumerate(
            zip(stages, formations(layout.site), strict=True)
        )
    ]
    run = RunFolder(folder)
    run.__dict__["ledger"] = make_ledger(layout, [], entries)
    modelled = layout.frame.modelled
    written: list[Path] = []
    for name, beyond in done.plan.beyond.items():
        shares = exceeded_share(done.study.store.fields_of(done.variants, name), beyond)
        if shares is None:
            continue
        quantity = Quantity(
            f"chance_{name}", f"share of cases with more than {beyond:g} m {name}", False, "1"
        )
        for entry, share in zip(entries, shares, strict=True):
            field = np.where(modelled, share, np.nan)
            written += write_plan_field(run, entry, field, quantity, folder, layout.site.crs)
    return written
