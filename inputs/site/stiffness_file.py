"""Other stiffnesses for a finished run: a TOML file with [soils.NAME] compression tables."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Annotated

from pydantic import Field

from wellring.inputs.basics.faults import nearest
from wellring.inputs.basics.table import Table
from wellring.inputs.basics.toml_table import read_table
from wellring.inputs.site.assessment import Assessment
from wellring.inputs.site.site import Compression, SiteDescription


class StiffSoil(Table):
    """[soils.NAME] of such a file: what a reviewer may change without a new run."""

    compression: Compression


class StiffnessFile(Table):
    """A whole file: compression of some soils, and thresholds of the maps if they change too."""

    soils: Annotated[dict[str, StiffSoil], Field(min_length=1)]
    assessment: Assessment | None = None


def read_stiffness(path: str | Path, description: SiteDescription) -> tuple[SiteDescription, str]:
    """A site description with the compression tables of the file at `path`, and the file's SHA-256.

    Raises
    ------
    InputFaults : the file cannot be read, holds other keys, or names a soil the run has not.
    """
    path = Path(path)
    given, faults = read_table(path, StiffnessFile)
    for name in given.soils:
        if name not in description.soils:
            remedy = nearest(name, description.soils)
            faults.add(path.name, f"soils.{name}", None, "a soil of the run", remedy)
    faults.raise_if_any()
    soils = {
        name: soil
        if name not in given.soils
        else soil.model_copy(update={"compression": given.soils[name].compression})
        for name, soil in description.soils.items()
    }
    changes: dict[str, object] = {"soils": soils}
    if given.assessment is not None:
        changes["assessment"] = given.assessment
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    return description.model_copy(update=changes), digest
