"""A finished run as postprocess sees it: a folder with MODFLOW 6 output, ledger and provenance.

Arrays over cells have the shape (nlay, n) with n = nrow · ncol plan cells, in the ledger's order.
"""

from __future__ import annotations

import copy
import csv
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.basics.units import DAY
from wellring.postprocess.run.ledger import (
    FORMAT,
    LEDGER_FILE,
    Ledger,
    NewerFormat,
    PhaseEntry,
    StageEntry,
)
from wellring.postprocess.run.stage_flows import StageFlows

if TYPE_CHECKING:
    from wellring.inputs.geodata.receptors import Receptors
    from wellring.inputs.site.assessment import Assessment
    from wellring.inputs.site.site import Scheme, SiteDescription

Floats = NDArray[np.float64]

MODEL_FOLDER = "mf6"
MODEL = "gwf"
BUDGET_CSV = "budget.csv"
WELLS_CSV = "wells.csv"
"""MODFLOW 6's own record of each well, "HEAD1", "RATE1" … by the number of the point."""
RUN_FILE = "run.json"
ANSWERS_FILE = "answers.json"
GROUND_FILE = "ground.npz"
DESCRIPTION_FILE = "description.json"
"""The site description as it was run, in SI."""


@dataclass(frozen=True)
class StageGrid:
    """Cells of one stage: `edges` (nlay+1, n) levels [m] and `active` (nlay, n)."""

    edges: Floats
    active: NDArray[np.bool_]

    @property
    def bottom(self) -> Floats:
        """Bottom levels (nlay, n) [m]."""
        return self.edges[1:]

    @property
    def top(self) -> Floats:
        """Top levels (nlay, n) [m]."""
        return self.edges[:-1]

    @property
    def mid(self) -> Floats:
        """Mid levels (nlay, n) [m]."""
        return 0.5 * (self.edges[1:] + self.edges[:-1])


class RunFolder:
    """Read access to one run folder.

    Raises
    ------
    InputFaults : the folder is not a run of wellring (on first access of the ledger).
    """

    def __init__(self, path: str | Path):
        self.path = Path(path)

    @cached_property
    def ledger(self) -> Ledger:
        """Names of cells and faces."""
        try:
            return Ledger.read(self.path)
        except NewerFormat as newer:
            faults = FaultLog()
            faults.add(
                self.path,
                f"{LEDGER_FILE}, format",
                newer.format,
                f"at most {FORMAT}",
                "Written by a newer wellring: update it, or run the site again with this one.",
            )
            faults.raise_if_any()
            raise
        except (OSError, ValueError, KeyError, TypeError) as error:
            faults = FaultLog()
            faults.add(
                self.path,
                LEDGER_FILE,
                None,
                "a finished run folder with a readable ledger",
                f"Name the folder 'wellring run' wrote ({type(error).__name__}).",
            )
            faults.raise_if_any()
            raise

    @cached_property
    def provenance(self) -> dict[str, Any]:
        """What run.json holds."""
        return json.loads((self.path / RUN_FILE).read_text(encoding="utf-8"))

    @cached_property
    def description(self) -> SiteDescription:
        """The site description as it was run: stiffnesses, slabs, limits, operation."""
        from wellring.inputs.site.site import SiteDescription

        text = (self.path / DESCRIPTION_FILE).read_text(encoding="utf-8")
        return SiteDescription.model_validate_json(text)

    @cached_property
    def receptors(self) -> Receptors | None:
        """The neighbours the run was made with; None where it has none."""
        from wellring.inputs.geodata.receptors import RECEPTORS_FILE, Receptors
        from wellring.postprocess.fields import site_crs

        path = self.path / RECEPTORS_FILE
        return Receptors.read(path, site_crs(self)) if path.is_file() else None

    def with_receptors(self, receptors: Receptors, sources: dict[str, Any]) -> RunFolder:
        """The same run seen with other neighbours; `sources` as in :meth:`reassessed`."""
        return self._seen_with(sources, receptors=receptors)

    def reassessed(self, description: SiteDescription, sources: dict[str, Any]) -> RunFolder:
        """The same run seen with another description; `sources` tell where that comes from.

        Nothing is written: the sources stand in :attr:`provenance` under "reassessed", beside
        those of other changes to how this run is seen.
        """
        return self._seen_with(sources, description=description)

    def _seen_with(self, sources: dict[str, Any], **changed: Any) -> RunFolder:
        known = {**self.provenance.get("reassessed", {}), **sources}
        other = copy.copy(self)
        for of_description in ("assessment", "scheme"):
            other.__dict__.pop(of_description, None)
        other.__dict__ |= {"provenance": {**self.provenance, "reassessed": known}, **changed}
        return other

    @cached_property
    def assessment(self) -> Assessment:
        """Thresholds of maps and areas; the defaults where the folder holds no description."""
        from wellring.inputs.site.assessment import Assessment

        there = (self.path / DESCRIPTION_FILE).is_file()
        return self.description.assessment if there else Assessment()

    @cached_property
    def scheme(self) -> Scheme | None:
        """The run's scheme as described; None where a site has none and its open pit was run."""
        named = (s for s in self.description.schemes if s.name == self.ledger.scheme)
        return next(named, None)

    @cached_property
    def unit(self) -> NDArray[np.int16]:
        """Unit index of each cell (nlay, n)."""
        with np.load(self.path / GROUND_FILE) as stored:
            return stored["unit"]

    @cached_property
    def plan_shape(self) -> tuple[int, int]:
        """(nrow, ncol)."""
        return self.ledger.grid.nrow, self.ledger.grid.ncol

    @cached_property
    def area(self) -> Floats:
        """Plan areas (n,) [m²]."""
        grid = self.ledger.grid
        return np.outer(-np.diff(grid.y_edges), np.diff(grid.x_edges)).ravel()

    @cached_property
    def local_centres(self) -> tuple[Floats, Floats]:
        """Local x (ncol,) and y (nrow,) of the cell centres [m]."""
        x, y = np.asarray(self.ledger.grid.x_edges), np.asarray(self.ledger.grid.y_edges)
        return 0.5 * (x[1:] + x[:-1]), 0.5 * (y[1:] + y[:-1])

    @cached_property
    def centres(self) -> tuple[Floats, Floats]:
        """Site x and y (n,) of the cell centres [m]."""
        x, y = self.local_centres
        grid_x, grid_y = np.meshgrid(x, y)
        site_x, site_y = self.to_site(grid_x, grid_y)
        return site_x.ravel(), site_y.ravel()

    def to_site(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Local to site coordinates (any shape) [m]."""
        angle = np.radians(self.ledger.grid.rotation)
        cos, sin = np.cos(angle), np.sin(angle)
        x0, y0 = self.ledger.grid.origin
        return x0 + cos * x - sin * y, y0 + sin * x + cos * y

    def to_local(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Site to local coordinates (any shape) [m]."""
        angle = np.radians(self.ledger.grid.rotation)
        cos, sin = np.cos(angle), np.sin(angle)
        dx = np.asarray(x) - self.ledger.grid.origin[0]
        dy = np.asarray(y) - self.ledger.grid.origin[1]
        return cos * dx + sin * dy, -sin * dx + cos * dy

    def plan_cell(self, x: float, y: float) -> int | None:
        """Flat plan index of the cell at a site point, None outside the grid."""
        local_x, local_y = self.to_local(np.array([x]), np.array([y]))
        grid = self.ledger.grid
        column = int(np.searchsorted(grid.x_edges, local_x[0], side="right")) - 1
        row = int(np.searchsorted(-np.asarray(grid.y_edges), -local_y[0], side="right")) - 1
        inside = 0 <= column < grid.ncol and 0 <= row < grid.nrow
        return row * grid.ncol + column if inside else None

    def place(self, cell: int) -> tuple[float, float]:
        """x and y of a plan cell's middle in the site's own coordinates and unit."""
        x, y = (float(each[cell]) / self.ledger.metres_per_unit for each in self.centres)
        return x, y

    def stage_folder(self, stage: StageEntry) -> Path:
        """The stage's MODFLOW 6 folder."""
        return self.path / MODEL_FOLDER / stage.folder

    def grid_of(self, stage: StageEntry) -> StageGrid:
        """Cells of a stage, from its binary grid file."""
        from flopy.mf6.utils import MfGrdFile

        file = MfGrdFile(str(self.stage_folder(stage) / f"{MODEL}.dis.grb"), verbose=False)
        nlay, n = file.nlay, file.nrow * file.ncol
        edges = np.vstack([file.top.reshape(1, n), file.bot.reshape(nlay, n)])
        return StageGrid(edges, file.idomain.reshape(nlay, n) > 0)

    def heads(self, stage: StageEntry) -> Floats:
        """Heads (nlay, n) [m] of a stage; NaN in cells that are left out."""
        from flopy.utils import HeadFile

        with HeadFile(str(self.stage_folder(stage) / f"{MODEL}.hds"), precision="double") as file:
            heads = file.get_data(totim=file.get_times()[-1])
        heads = heads.reshape(heads.shape[0], -1)
        return np.where(np.abs(heads) < 1e20, heads, np.nan)

    def heads_in_time(self, phase: PhaseEntry) -> Iterator[tuple[float, Floats]]:
        """Day and heads (nlay, n) [m], NaN in cells left out, of every step of a phase."""
        from flopy.utils import HeadFile

        path = self.path / MODEL_FOLDER / phase.folder / f"{MODEL}.hds"
        with HeadFile(str(path), precision="double") as file:
            for time in file.get_times():
                heads = file.get_data(totim=time)
                heads = heads.reshape(heads.shape[0], -1)
                yield phase.begins + time, np.where(np.abs(heads) < 1e20, heads, np.nan)

    def heads_at_end(self, phase: PhaseEntry) -> Floats:
        """Heads (nlay, n) [m] of a phase's last step; NaN in cells that are left out."""
        from flopy.utils import HeadFile

        path = self.path / MODEL_FOLDER / phase.folder / f"{MODEL}.hds"
        with HeadFile(str(path), precision="double") as file:
            heads = file.get_data(totim=file.get_times()[-1])
        heads = heads.reshape(heads.shape[0], -1)
        return np.where(np.abs(heads) < 1e20, heads, np.nan)

    def budget_in_time(self, phase: PhaseEntry) -> tuple[Floats, dict[str, Floats]]:
        """Days (m,) of all steps of a phase, and rates (m,) [m³/s] by MODFLOW 6's own names.

        "MAW_OUT" is what wells take from the ground, "DRN_FLOOR_OUT" what the floor gives.
        """
        path = self.path / MODEL_FOLDER / phase.folder / BUDGET_CSV
        with open(path, newline="", encoding="ascii") as file:
            head = [name.strip() for name in next(csv.reader(file))]
            values = np.loadtxt(file, delimiter=",", ndmin=2)
        rates = {
            # MODFLOW 6 writes TYPE(PACKAGE)_IN; the package's name alone is clear.
            re.sub(r"^.*\((.*)\)", r"\1", name): column / DAY
            for name, column in zip(head[1:], values.T[1:], strict=True)
        }
        return phase.begins + values[:, 0], rates

    def wells_in_time(self, phase: PhaseEntry) -> tuple[Floats, dict[str, tuple[Floats, Floats]]]:
        """Days (m,) of all steps of a phase, and of each point its level [m] and flow [m³/s].

        Flows are positive out of the ground; levels are NaN where a point is shut.
        """
        path = self.path / MODEL_FOLDER / phase.folder / WELLS_CSV
        if not phase.points or not path.is_file():
            return np.zeros(0), {}
        with open(path, newline="", encoding="ascii") as file:
            head = [name.strip().upper() for name in next(csv.reader(file))]
            values = np.loadtxt(file, delimiter=",", ndmin=2)
        columns = dict(zip(head, values.T, strict=True))
        found = {}
        for number, name in enumerate(phase.points, start=1):
            level = columns[f"HEAD{number}"]
            taken = sum(columns[f"{kind}{number}"] for kind in ("RATE", "CONSTANT", "FW-RATE"))
            shut = np.abs(level) >= 1e20
            flow = np.where(np.abs(taken) < 1e20, -taken / DAY, 0.0)
            found[name] = (np.where(shut, np.nan, level), flow)
        return phase.begins + values[:, 0], found

    def package_flows(self, stage: StageEntry, package: str) -> tuple[NDArray[np.intp], Floats]:
        """Nodes and flows (m,) [m³/s] of one package, positive into the ground; empty if not there.

        Parameters
        ----------
        package : its name in the stage's files ("drn_floor", "maw", "ghb_1").
        """
        nothing = np.zeros(0, np.intp), np.zeros(0)
        return self._flows(stage).packages.get(package.upper(), nothing)

    def face_flows(self, stage: StageEntry) -> Floats:
        """MODFLOW 6's FLOW-JA-FACE of a stage (nja,) [m³/s], in its own order."""
        return self._flows(stage).faces()

    @cached_property
    def _read_flows(self) -> dict[str, StageFlows]:
        return {}

    def _flows(self, stage: StageEntry) -> StageFlows:
        if stage.folder not in self._read_flows:
            path = self.stage_folder(stage) / f"{MODEL}.bud"
            self._read_flows[stage.folder] = StageFlows(path)
        return self._read_flows[stage.folder]
