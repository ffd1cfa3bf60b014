"""The case that variants differ from: its site, its layouts, heads to start from, files to copy.

It is made once a study. A variant that changes values alone (conductivities, levels, leakage,
flows) takes over the base case's strata, grid and layers, copies its files and starts from its
heads; one that changes geometry is built from its tables as any site.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.toml_text import TomlFaults
from wellring.inputs.measured.observations import Observation
from wellring.inputs.read_site import Site, read_description, site_of_tables
from wellring.inputs.site.overrides import Keys, find_path, value_at, with_values
from wellring.model.layouts.layout import Layout, lay_out
from wellring.model.mf6.solver import Solver
from wellring.model.mf6.stage_copies import StagePattern, strip_to_pattern
from wellring.model.runs.own_version import own_version
from wellring.model.runs.result_folders import put_in_place
from wellring.model.runs.stages import solve_scheme
from wellring.model.studies.variants import Variant

Floats = NDArray[np.float64]
Say = Callable[[str], None]

_VALUES = re.compile(
    r"soils\..*"
    r"|water\.(level|levels\.[^.]+)"
    r"|water\.boundary\.\d+\.(stage|bed|bed_conductance|width|head|rate)"
    r"|(schemes\.\d+\.)?walls\.\d+\.(k|thickness|joint_resistance|pile_width)"
    r"|schemes\.\d+\.drainage\.\d+\.(hold|rate|rates\..*|efficiency|skin\..*|pump\..*|capacity|share|vacuum)"
    r"|excavation\.(clearance|stages\.\d+\.(slab\..*|lasts|day))"
    r"|operations\..*"
)
"""Paths whose values change no geometry: the base case's grid and layers stand. Where a soil lies
is read from the logs, so that none of its properties moves a layer."""


KEPT = 2
"""Raised where what is kept of a variant changes: what was kept before is solved again. Since 2 the
neighbours are assessed."""


@dataclass
class BaseScheme:
    """One scheme of the base case.

    `heads` are those of every stage, natural state first, (nlay, nrow, ncol) [m]; `patterns` the
    stage folders by name.
    """

    number: int
    layout: Layout
    heads: list[Floats] = field(default_factory=list)
    patterns: dict[str, StagePattern] = field(default_factory=dict)


@dataclass
class BaseCase:
    """A site with everything its variants share; can be sent to another process."""

    site: Site
    tables: dict[str, Any]
    solver: Solver
    schemes: dict[str, BaseScheme]
    warm: bool = True
    """Whether variants start from the base case's heads."""
    observations: tuple[Observation, ...] = ()
    """What every variant is asked beside its answers."""
    controls: bool = False
    """Whether variants also keep what sizing looks at."""

    def keys(self, path: str) -> Keys:
        """The keys of a path of the site file.

        Raises
        ------
        InputFaults : there is no such path; the nearest one is suggested.
        """
        faults = self.site.fault_log()
        found = find_path(path, self.site.description, self.site.file.name, "a value", faults)
        faults.raise_if_any()
        assert found is not None
        return found

    def value(self, path: str) -> Any:
        """The base case's value at a path, in SI; None where it is left out."""
        return value_at(self.site.description, self.keys(path))

    @property
    def hash(self) -> str:
        """Over the inputs, what is asked, this version of wellring and the solver."""
        told = base_hash(self.site, self.solver)
        asked = [(item.kind, item.point, item.stage, item.day) for item in self.observations]
        if not asked:
            return told
        return hashlib.sha256(json.dumps([told, asked]).encode()).hexdigest()

    def site_of(self, variant: Variant) -> tuple[Site, bool]:
        """The site of a variant, and whether it differs from the base case in values alone.

        Raises
        ------
        InputFaults : the changed site is refused, as any site file would be.
        """
        if not variant.overrides:
            return self.site, True
        keys = {self.keys(path): value for path, value in variant.overrides.items()}
        tables = with_values(self.tables, self.site.description, keys)
        if not all(_VALUES.fullmatch(".".join(map(str, path))) for path in keys):
            return site_of_tables(self.site.file, tables, self.site.lines), False
        faults = TomlFaults(file=self.site.file.name, lines=self.site.lines)
        description = read_description(tables, self.site.file.name, faults)
        faults.raise_if_any()
        assert description is not None
        return replace(self.site, description=description), True


def base_hash(site: Site, solver: Solver) -> str:
    """One hash over all inputs but the plans of studies, wellring's version and the solver."""
    told = site.description.model_dump_json(exclude={"vary", "match"})
    files = sorted(item for item in site.files.items() if item[0] != site.file.name)
    content = json.dumps([told, files, own_version(), KEPT, solver.sha256])
    return hashlib.sha256(content.encode()).hexdigest()


def prepare(
    site: Site,
    tables: dict[str, Any],
    schemes: Sequence[tuple[int, Any]],
    solver: Solver,
    folder: Path,
    say: Say,
    observations: tuple[Observation, ...] = (),
) -> BaseCase:
    """Solve the base case of some schemes, or take it over from an earlier, killed study.

    Parameters
    ----------
    schemes : (number, scheme) as :func:`wellring.model.runs.run.schemes_of` gives them.
    folder : where the base case's files are kept, to be copied by variants.
    observations : what variants are asked beside their answers.

    Raises
    ------
    InputFaults, SolverFailed : the base case itself has no answer.
    """
    # Plain mappings: read-only views cannot be sent to another process.
    site = replace(
        site,
        geometries=dict(site.geometries),
        series=dict(site.series),
        files=dict(site.files),
        lines=dict(site.lines),
    )
    base = BaseCase(site, tables, solver, {}, observations=observations)
    for number, scheme in schemes:
        layout = lay_out(site, scheme, number)
        made = BaseScheme(number, layout)
        told = f"{base_hash(site, solver)} {scheme.name}"
        told = hashlib.sha256(told.encode()).hexdigest()[:20]
        final = folder / told
        if not zipfile.is_zipfile(final / "heads.npz"):  # never solved, or cut short since
            say(f"base case of '{scheme.name}': {layout.ground.active.sum():,} cells")
            _solve_base(layout, solver, final, say)
        with np.load(final / "heads.npz") as stored:
            made.heads = [stored[name] for name in sorted(stored.files)]
        for place in sorted((final / "mf6").iterdir()):
            made.patterns[place.name] = StagePattern(place, layout.ground.kh, layout.ground.kv)
        base.schemes[scheme.name] = made
    return base


def _solve_base(layout: Layout, solver: Solver, final: Path, say: Say) -> None:
    partial = final.with_name(f".{final.name}.partial")
    shutil.rmtree(partial, ignore_errors=True)
    partial.mkdir(parents=True)
    stages = solve_scheme(layout, partial / "mf6", solver.path, say)
    for stage in stages:
        strip_to_pattern(partial / "mf6" / stage.folder)
    heads: dict[str, Any] = {f"{i:04d}": stage.heads for i, stage in enumerate(stages)}
    np.savez(partial / "heads.npz", **heads)
    put_in_place(partial, final)
