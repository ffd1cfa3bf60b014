"""Three sites solved by the tool and by a plain script: one matrix, so the same heads and flows.

The tool's own files are solved once more with closures as tight as the script's; what is left
then is rounding (levels and conductances are written as text). The run's own heads are compared
within the millimetre to which they are kept.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import flopy
import numpy as np
import pytest
import shapely
from plain_model import PlainModel, Solved, read_solved

from wellring.model.runs.run import run
from wellring.postprocess.run.run_folder import RunFolder

PIT = ((0, 0), (20, 0), (20, 12), (0, 12))
GRID = {"cell": 3.0, "sublayer": 2.0, "grid": {"growth": 1.6}}
TIGHT = """\
BEGIN OPTIONS
  NO_PTC ALL
END OPTIONS
BEGIN NONLINEAR
  OUTER_DVCLOSE 1e-10
  OUTER_MAXIMUM 400
  UNDER_RELAXATION DBD
  UNDER_RELAXATION_THETA 0.7
  UNDER_RELAXATION_KAPPA 0.1
END NONLINEAR
BEGIN LINEAR
  INNER_MAXIMUM 500
  INNER_DVCLOSE 1e-11
  INNER_RCLOSE 1e-7 STRICT
  LINEAR_ACCELERATION BICGSTAB
END LINEAR
"""


@dataclass
class Finished:
    """A run of the tool, its last stage solved again tightly, and where its own axes begin."""

    run: RunFolder
    stage: Path
    grid: Any
    solver: Path

    def place(self, x: float, y: float) -> tuple[float, float]:
        """A place of the plain site in the grid's own axes."""
        entry = self.run.ledger.grid
        assert entry.rotation % 360 == 0
        east, north = self.run.ledger.outline[0]
        return (
            x + east - entry.origin[0] - entry.x_edges[0],
            y + north - entry.origin[1] - min(entry.y_edges),
        )

    def shape(self, places: Any) -> list[tuple[float, float]]:
        return [self.place(*place) for place in places]

    def plain(self, k: dict[int, tuple[float, float]], **given: Any) -> PlainModel:
        """The plain model on this run's cells."""
        shape = (self.grid.nlay, self.grid.nrow, self.grid.ncol)
        with np.load(self.run.path / "ground.npz") as stored:
            unit = stored["unit"].reshape(shape)
        return PlainModel(self.grid, unit, shapely.Polygon(self.shape(PIT)), k=k, **given)

    def tight(self, active: Any) -> Solved:
        """The tool's own files, solved again."""
        again = self.stage.with_name("again")
        shutil.copytree(self.stage, again)
        (again / "gwf.ims").write_text(TIGHT)
        text = (again / "gwf.nam").read_text()
        (again / "gwf.nam").write_text(re.sub(r"(?im)^\s*newton.*$", "  NEWTON", text))
        subprocess.run([str(self.solver)], cwd=again, check=True, capture_output=True)
        return read_solved(again, "gwf", active)

    def heads(self, active: Any) -> Any:
        return read_solved(self.stage, "gwf", active).heads


@pytest.fixture
def finished(plain_site: Callable[..., Path], solver: Path, tmp_path: Path) -> Callable[..., Any]:
    def made(**site: Any) -> Finished:
        path = plain_site(tmp_path / "site", pit=PIT, **GRID, **site)
        done = run(path, solver=solver, figures=False, side_studies=False)[0].reader
        stage = done.path / "mf6" / done.ledger.stages[-1].folder
        file = flopy.mf6.utils.MfGrdFile(str(stage / "gwf.dis.grb"))
        grid = file.modelgrid
        file.file.close()
        return Finished(done, stage, grid, solver)

    return made


def agree(model: PlainModel, done: Finished, tmp_path: Path, rain: float = 0.0) -> Solved:
    start = np.full(model.shape, model.level)
    mine = model.solve(tmp_path / "plain", done.solver, start, rain)
    tool = done.tight(model.active)
    assert mine.heads.size == tool.heads.size > 1000
    assert np.abs(mine.heads).max() < 1e3
    span = max(1.0, float(np.abs(mine.heads).max()))
    np.testing.assert_allclose(tool.heads, mine.heads, rtol=0, atol=1e-6 * span)
    for kind, flow in mine.flows.items():
        assert tool.flows[kind] == pytest.approx(flow, rel=1e-6), kind
    np.testing.assert_allclose(done.heads(model.active), mine.heads, rtol=0, atol=1e-3)
    return mine


def test_confined_wells(finished: Callable[..., Finished], tmp_path: Path) -> None:
    """Two wells in sand under clay; the dig stays in the clay."""
    rate = 2.0 / 3600
    done = finished(
        layers=(("clay", -4.0), ("sand", -14.0)),
        soils={"clay": (1e-8, 5e-9), "sand": (2e-4, 7e-5)},
        level=-0.5,
        formations=(-2.0,),
        drainage=[
            {"points": ((4.6, 5.2), (16.1, 7.0)), "screen": (-13.0, -5.0), "diameter": "300 mm",
             "rate": "2 m3/h"}
        ],
    )  # fmt: skip
    model = done.plain({0: (1e-8, 5e-9), 1: (2e-4, 7e-5)}, source=60.0, level=-0.5, formation=-2.0)
    model.distant_edge()
    model.floor_and_faces(lambda level: 0.0)
    for place in ((4.6, 5.2), (16.1, 7.0)):
        model.well(*done.place(*place), (-13.0, -5.0), 0.15, rate=rate)
    found = agree(model, done, tmp_path)
    assert found.flows["MAW"] == pytest.approx(-2 * rate * 86400)
    assert found.heads.min() < -0.7  # the wells do something


def test_unconfined_pit_in_sheet_piles(finished: Callable[..., Finished], tmp_path: Path) -> None:
    """Seepage under and through a hanging wall into an open pit, with a water table."""
    leakage = 3e-7 / 0.6
    done = finished(
        level=-1.0,
        formations=(-4.0,),
        walls=[
            {"kind": "sheet pile", "line": "outline", "toe": -8.0,
             "joint_resistance": "3e-7 m/s", "pile_width": 0.6}
        ],
    )  # fmt: skip
    model = done.plain({0: (1e-4, 1e-4)}, source=60.0, level=-1.0, formation=-4.0)
    model.distant_edge()
    model.floor_and_faces(lambda level: 1.0 / (leakage * 86400) if level > -8.0 else 0.0)
    model.wall_below(-8.0, leakage)
    found = agree(model, done, tmp_path)
    assert found.flows["DRN"] == pytest.approx(-found.flows["GHB"], rel=1e-6)


def test_layered_ground_with_river_and_rain(
    finished: Callable[..., Finished], tmp_path: Path
) -> None:
    """Sand, clay, sand; a river over the upper one, rain, wells held at a level in the lower."""
    line = [(-45.0, -30.0), (70.0, -24.0)]
    done = finished(
        ground=0.5,
        layers=(("sand", -6.0), ("clay", -8.0), ("gravel", -14.0)),
        soils={"sand": (1e-4, 4e-5), "clay": (1e-7, 5e-8), "gravel": (3e-4, 1e-4)},
        level=-0.5,
        formations=(-3.0,),
        boundaries=[
            {"kind": "river", "line": line, "stage": -0.2, "width": "6 m",
             "bed_conductance": "2e-6 1/s"},
            {"kind": "recharge", "rate": "300 mm/year"},
        ],
        drainage=[
            {"points": ((-3.0, 6.0), (23.0, 6.0)), "screen": (-13.5, -8.5), "diameter": "300 mm",
             "hold": -2.0}
        ],
    )  # fmt: skip
    # Neither screen nor pump limits the wells, so that the level asked for is the one that counts.
    assert [well.level[-1] for well in done.run.ledger.wells] == [-2.0, -2.0]
    k = {0: (1e-4, 4e-5), 1: (1e-7, 5e-8), 2: (3e-4, 1e-4)}
    model = done.plain(k, source=60.0, level=-0.5, formation=-3.0)
    model.distant_edge()
    model.river(shapely.LineString(done.shape(line)), 6.0, -0.2, 2e-6)
    model.floor_and_faces(lambda level: 0.0)
    for place in ((-3.0, 6.0), (23.0, 6.0)):
        model.well(*done.place(*place), (-13.5, -8.5), 0.15, held=-2.0)
    found = agree(model, done, tmp_path, rain=0.3 / (365.25 * 86400))
    assert found.flows["RCHA"] > 0
    assert found.flows["MAW"] < 0
